"""Invented jobs of any size: the demo street, scanned or shot by hand n times."""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

import numpy as np

from pipeline.demo import lay_down, truth

DAY = "2026-05-15"
SEED = 8
NOISE_M = 0.005
SIDE_M = 12.0
SCAN = """
[[shots.formats]]
files = "*.la[sz]"
kind = "scan"
unit = "m"

[shots.scans]
cell_m = {cell}
take_out_objects = {objects}
"""


def places(n: int, seed: int = SEED) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Easting, northing, elevation of n places spread evenly over the demo street's ground."""
    rng = np.random.default_rng(seed)
    station = rng.uniform(0.5, truth.LENGTH - 0.5, n)
    offset = rng.uniform(-SIDE_M, SIDE_M, n)
    parts = [slice(k, k + 200_000) for k in range(0, n, 200_000)]
    height = np.concatenate([truth.ground(station[p], offset[p]) for p in parts])
    east, north = along_table(station, offset)
    return east, north, height + rng.normal(0.0, NOISE_M, n)


def along_table(station: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Grid coordinates by a table of the line each 5 cm; good to a millimetre, and quick."""
    s = np.arange(0.0, truth.LENGTH + 0.05, 0.05).clip(max=truth.LENGTH)
    line = [truth.point(float(x), 0.0) for x in s]
    turn = np.unwrap([truth.azimuth(float(x)) for x in s])
    east, north = (np.interp(station, s, [at[k] for at in line]) for k in (0, 1))
    azimuth = np.interp(station, s, turn)
    return east + offset * np.cos(azimuth), north - offset * np.sin(azimuth)


def scan_job(folder: Path, n: int, *, cell_m: float = 0.01, objects: bool = False) -> Path:
    """A demo job whose latest day is one LAS file of n points; all are kept with so small cells."""
    _demo(folder, SCAN.format(cell=cell_m, objects=str(objects).lower()))
    write_las(folder / "shots" / DAY / "scan.las", *places(n))
    return folder


def hand_job(folder: Path, n: int) -> Path:
    """A demo job whose latest day is one table of n shots by hand, all coded as ground."""
    _demo(folder, "")
    east, north, height = places(n)
    rows = [
        f"{k + 1},{y:.4f},{x:.4f},{z:.4f},GR"
        for k, (x, y, z) in enumerate(
            zip(east.tolist(), north.tolist(), height.tolist(), strict=True)
        )
    ]
    head = "point,northing,easting,elevation,code"
    (folder / "shots" / DAY / "morning.csv").write_text("\n".join([head, *rows, ""]))
    return folder


def _demo(folder: Path, more: str) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    lay_down(folder)
    text = (folder / "job.toml").read_text("utf-8")
    at = text.index("[design]")
    (folder / "job.toml").write_text(text[:at] + more + "\n" + text[at:], "utf-8")
    shutil.rmtree(folder / "shots")
    (folder / "shots" / DAY).mkdir(parents=True)


def write_las(path: Path, east: np.ndarray, north: np.ndarray, height: np.ndarray) -> None:
    """LAS 1.2, point format 0, steps of 0.1 mm: the bytes of the published layout."""
    steps, columns = 1e-4, (east, north, height)
    offset = [float(np.floor(c.min())) for c in columns]
    raw = [np.rint((c - o) / steps).astype("<i4") for c, o in zip(columns, offset, strict=True)]
    fields = [("x", "<i4"), ("y", "<i4"), ("z", "<i4"), ("intensity", "<u2"), ("flags", "u1"),
              ("class", "u1"), ("angle", "i1"), ("user", "u1"), ("source", "<u2")]  # fmt: skip
    records = np.zeros(len(east), dtype=fields)
    for axis, values in zip("xyz", raw, strict=True):
        records[axis] = values
    records["flags"] = 0b001001  # one return of one
    lows = [o + steps * int(r.min()) for o, r in zip(offset, raw, strict=True)]
    highs = [o + steps * int(r.max()) for o, r in zip(offset, raw, strict=True)]
    header = struct.pack(
        "<4s4xIHH8sBB32s32sHHHIIBHI5I3d3d6d",
        b"LASF", 0, 0, 0, b"", 1, 2, b"", b"benchmark", 135, 2026, 227, 227, 0, 0, 20, len(east),
        len(east), 0, 0, 0, 0, steps, steps, steps, *offset,
        highs[0], lows[0], highs[1], lows[1], highs[2], lows[2],
    )  # fmt: skip
    with path.open("wb") as stream:
        stream.write(header)
        records.tofile(stream)
