"""What several measurements share, made once a run and kept in a folder of the run."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from benchmarks import jobs
from pipeline.design import alignment
from pipeline.model import NO_LINES, Alignment, AlignmentRows, ElementRow, Surface, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface import tin

KEPT = Path(os.environ.get("LATH_BENCHMARKS", "/tmp/lath-benchmarks"))
NO_MERGING = SurfaceRules(same_place_m=0.0)


def points(n: int) -> np.ndarray:
    """x, y, z of n shots, near zero, (3, n)."""
    path = KEPT / f"points-{n}.npy"
    if not path.exists():
        east, north, z = jobs.places(n)
        np.save(path, np.stack([east - 5300.0, north - 3200.0, z]))
    return np.load(path)


def ground(n: int) -> Surface:
    """The triangulated ground of n shots: about 2 n triangles."""
    return _surface(f"ground-{n}", lambda: points(n))


def design(n: int) -> Surface:
    """A smooth surface of about 2 n triangles over the same plan."""

    def made() -> np.ndarray:
        x, y, z = points(max(n, 1000))[:, :n]
        return np.stack([x, y, z - 0.05 + 0.03 * np.sin(x / 7.0) * np.cos(y / 5.0)])

    return _surface(f"design-{n}", made)


def _surface(name: str, made) -> Surface:
    path = KEPT / f"{name}.npz"
    columns = ("origin", "x", "y", "z", "triangles", "neighbours", "fixed", "point")
    if not path.exists():
        surface, _ = tin.build(make_shots(*made()), NO_LINES, NO_MERGING)
        np.savez(path, **{column: getattr(surface, column) for column in columns})
    with np.load(path) as kept:
        return Surface("ground", **{column: kept[column] for column in columns})


def line_of_40() -> Alignment:
    """Ten tangents, each followed by clothoid, arc, clothoid, left and right in turn."""
    rows = [ElementRow("line", 60.0, start=(0.0, 0.0))]
    for k in range(10):
        turn = 1 if k % 2 else -1
        rows += [
            ElementRow("clothoid", 30.0, radius_end=80.0, turn=turn),
            ElementRow("arc", 40.0, radius_start=80.0, radius_end=80.0, turn=turn),
            ElementRow("clothoid", 30.0, radius_start=80.0, turn=turn),
        ]
        if k < 9:
            rows.append(ElementRow("line", 60.0))
    return alignment.build(AlignmentRows("forty", tuple(rows), 0.0, 0.3))[0]


def beside_line(line: Alignment, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing of n places up to 15 m beside the line."""
    rng = np.random.default_rng(jobs.SEED)
    station = rng.uniform(line.station[0], line.station[-1], n)
    east, north, _ = alignment.point_at(line, station, rng.uniform(-15.0, 15.0, n))
    return east, north


def queries(n: int) -> tuple[np.ndarray, np.ndarray]:
    """n places on the ground, in no order."""
    x, y, _ = points(1_000_000)
    rows = np.random.default_rng(1).permutation(len(x))[:n]
    return x[rows] + 0.013, y[rows] - 0.007
