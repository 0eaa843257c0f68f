"""Few points in many triangles: looked up in the surface's own cells, with the same answer."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.model import NO_LINES, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface import locate
from pipeline.surface.cells import cells_of
from pipeline.surface.tin import build


@pytest.fixture(scope="module")
def ground():
    """60 000 triangles on a plane, with a long thin end that reaches far beyond the rest."""
    rng = np.random.default_rng(3)
    x = np.concatenate([rng.uniform(0, 200, 30_000), [900.0, 900.0]])
    y = np.concatenate([rng.uniform(0, 30, 30_000), [14.0, 16.0]])
    shots = make_shots(5000 + x, 8000 + y, 100 + 0.02 * x - 0.03 * y)
    surface, _ = build(shots, NO_LINES, SurfaceRules(max_edge_m=1000.0, same_place_m=0.0))
    return surface


def points_on(ground):
    """Inside, far outside, on a vertex, in the middle of an edge, and nowhere."""
    rng = np.random.default_rng(4)
    x, y = rng.uniform(-20, 950, 1500), rng.uniform(-5, 35, 1500)
    corner = ground.triangles[rng.integers(0, len(ground.triangles), 400)]
    mid = [(v[corner[:, 0]] + v[corner[:, 1]]) / 2 for v in (ground.x, ground.y)]
    at = [v[corner[:, 2]] for v in (ground.x, ground.y)]
    east = np.concatenate([x + 5000 - ground.origin[0], mid[0], at[0], [1e6, np.nan]])
    north = np.concatenate([y + 8000 - ground.origin[1], mid[1], at[1], [0.0, 0.0]])
    return east + ground.origin[0], north + ground.origin[1]


def test_the_cells_give_what_trying_every_run_of_points_gives(ground):
    east, north = points_on(ground)
    assert len(east) * 16 < len(ground.triangles)
    near = east - ground.origin[0], north - ground.origin[1]

    found = locate.find(ground, east, north)

    assert (found >= 0).mean() > 0.5
    assert (found[:-2] < 0).any()
    assert found.tolist() == locate.locate(ground.x, ground.y, ground.triangles, near).tolist()


def test_heights_are_those_of_the_plane(ground):
    # analytic: every shot lies on one plane, so every triangle does
    east, north = points_on(ground)
    inside = locate.find(ground, east, north) >= 0

    z = locate.interpolate(ground, east, north)

    assert np.isnan(z[~inside]).all()
    plane = 100 + 0.02 * (east - 5000) - 0.03 * (north - 8000)
    assert np.abs(z[inside] - plane[inside]).max() < 1e-7


def test_the_cells_are_made_once(ground):
    assert cells_of(ground) is cells_of(ground)


def test_a_long_thin_triangle_is_not_in_every_cell_of_its_box(ground):
    # geometry: a triangle touches about A / c2 + 2 P / (pi c) + 1 cells of side c (Cauchy's
    # formula for the mean width, from memory); boxes of the long ones alone would be far more
    cells = cells_of(ground)
    corner = ground.triangles
    edge = [ground.x[np.roll(corner, -1, 1)] - ground.x[corner],
            ground.y[np.roll(corner, -1, 1)] - ground.y[corner]]  # fmt: skip
    perimeter = float(np.hypot(*edge).sum())
    area = 200.0 * 30.0 + 0.5 * 700.0 * 32.0
    c = cells.grid.cell
    expected = area / c**2 + 2 * perimeter / (np.pi * c) + len(corner)

    assert len(cells.triangle) < 1.2 * expected
