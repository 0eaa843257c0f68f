"""Standing water, against hollows whose depth is known and a grid filled by another algorithm."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.compare import compose, ponds
from pipeline.model import Mesh
from pipeline.surface import tin


def surface(x, y, z, faces):
    n = len(x)
    ids = np.array([str(k) for k in range(n)], dtype=object)
    mesh = Mesh("x", 5e5 + np.asarray(x), 6e6 + np.asarray(y), z, np.asarray(faces, np.int32), ids)
    return tin.from_mesh(mesh)[0]


def field(z):
    """A grid of heights at whole metres as triangles."""
    rows, columns = z.shape
    y, x = np.mgrid[0:rows, 0:columns]
    k = np.arange(z.size).reshape(z.shape)
    a, b, c, d = k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]
    faces = np.concatenate([
        np.stack([a, b, c], axis=2).reshape(-1, 3), np.stack([a, c, d], axis=2).reshape(-1, 3),
    ])  # fmt: skip
    return surface(x.ravel(), y.ravel(), z.ravel(), faces)


def test_a_pit_fills_to_its_rim():
    z = np.full((7, 7), 10.0)
    z[3, 3] = 9.80
    (pond,) = ponds.ponds(field(z), 0.010)

    assert pond.depth == pytest.approx(0.20)
    assert (pond.easting, pond.northing) == (500_003.0, 6_000_003.0)
    assert pond.bottom == pytest.approx(9.80)


def test_a_pit_with_an_outlet_fills_to_its_sill_and_a_basin_empties_it():
    z = np.full((7, 7), 10.0)
    z[3, 3] = 9.80
    z[3, 4:] = [9.93, 9.91, 9.90]
    (pond,) = ponds.ponds(field(z), 0.010)

    assert pond.depth == pytest.approx(0.13)
    assert ponds.ponds(field(z), 0.010, [(500_003.4, 6_000_003.2)]) == ()
    assert ponds.ponds(field(z), 0.14) == ()


def test_a_plane_and_a_crown_hold_no_water():
    y, x = np.mgrid[0:9, 0:9]
    assert ponds.ponds(field(10.0 - 0.01 * x - 0.02 * np.abs(y - 4.0)), 1e-6) == ()


def test_depths_agree_with_filling_by_relaxation():
    """Another algorithm: lower every level to the higher of its own ground and its neighbours'."""
    rng = np.random.default_rng(5)
    z = rng.uniform(0.0, 1.0, (14, 14))
    level = np.where(np.pad(np.zeros((12, 12), bool), 1, constant_values=True), z, 9.0)
    for _ in range(400):
        around = np.full_like(level, np.inf)
        # the diagonal of each cell runs from its first corner to the opposite one
        for dy, dx in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, -1)):
            moved = np.full_like(level, np.inf)
            inner = (slice(max(dy, 0), 14 + min(dy, 0)), slice(max(dx, 0), 14 + min(dx, 0)))
            outer = (slice(max(-dy, 0), 14 + min(-dy, 0)), slice(max(-dx, 0), 14 + min(-dx, 0)))
            moved[inner] = level[outer]
            around = np.minimum(around, moved)
        level = np.minimum(level, np.maximum(z, around))
    found = ponds.ponds(field(z), 0.0)

    assert max(pond.depth for pond in found) == pytest.approx(float((level - z).max()), abs=1e-12)


def test_water_crosses_a_seam_but_not_a_wall_of_two_parts():
    y, x = np.mgrid[0:5, 0:5]
    upper = field(np.asarray(10.0 - 0.02 * x, dtype=float))
    # the second part goes on where the first ends, cut at other places
    n = 9
    yy, xx = np.mgrid[0:n, 0:3]
    k = np.arange(n * 3).reshape(n, 3)
    a, b, c, d = k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]
    faces = np.concatenate([
        np.stack([a, b, c], axis=2).reshape(-1, 3), np.stack([a, c, d], axis=2).reshape(-1, 3),
    ])  # fmt: skip
    east, north = 4.0 + xx.ravel() * 2.0, yy.ravel() * 0.5
    lower = surface(east, north, 10.0 - 0.02 * east, faces)
    whole = compose.compose("finish", [("a", upper), ("b", lower)])
    assert ponds.ponds(whole.surface, 1e-6) == ()

    dam = surface(east, north, 10.5 - 0.02 * east, faces)
    blocked = compose.compose("finish", [("a", upper), ("b", dam)])
    # the first part still runs out over its own sides
    assert ponds.ponds(blocked.surface, 1e-6) == ()
    assert y.shape == (5, 5)
