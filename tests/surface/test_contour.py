"""Lines of equal height: against matplotlib, contourpy and closed formulas."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from contourpy import contour_generator
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.tri import LinearTriInterpolator, Triangulation

from pipeline.model import NO_LINES, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface.contour import isolines
from pipeline.surface.tin import build
from tests.forms import both_forms

form = both_forms("pipeline.surface.contour.BREAK_EVEN")

WHOLE = SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e6)


def ground(seed=0, n=400, size=50.0):
    rng = np.random.default_rng(seed)
    places = rng.random((n, 2)) * size
    z = 2 * np.sin(places[:, 0] / 9) + np.cos(places[:, 1] / 6) + rng.normal(0, 0.05, n)
    surface, _ = build(make_shots(places[:, 0], places[:, 1], z), NO_LINES, WHOLE)
    return surface


def each_line(lines):
    """(level, points) of every line."""
    points = np.column_stack([lines.x, lines.y])
    return [
        (lines.level[k], points[lines.start[k] : lines.start[k + 1]]) for k in range(len(lines))
    ]


def length(points):
    return np.hypot(*np.diff(points, axis=0).T).sum()


def cone(rings=12, spokes=48, radius=20.0, height=4.0):
    """Vertices on circles about the origin; the height falls evenly from the middle."""
    angle = np.arange(spokes) * 2 * np.pi / spokes
    x, y, z, faces = [0.0], [0.0], [height], []
    for k in range(1, rings + 1):
        r = radius * k / rings
        x += (r * np.cos(angle)).tolist()
        y += (r * np.sin(angle)).tolist()
        z += [height * (1 - k / rings)] * spokes
        for s in range(spokes):
            a, b = 1 + (k - 1) * spokes + s, 1 + (k - 1) * spokes + (s + 1) % spokes
            if k == 1:
                faces.append((0, a, b))
            else:
                faces += [(a - spokes, a, b), (a - spokes, b, b - spokes)]
    return np.array(x), np.array(y), np.array(z), np.array(faces)


def test_a_pyramid_at_half_its_height(published):
    reference = published("REF-TIN-4")
    base, height = reference.inputs["base"], reference.inputs["height"]
    x, y, z = [0, base, base, 0, base / 2], [0, 0, base, base, base / 2], [0, 0, 0, 0, height]
    lines = isolines(
        x, y, z, [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)], [reference.inputs["level"]]
    )
    ((level, points),) = each_line(lines)

    assert level == reference.inputs["level"]
    reference.check("contour_length", length(points))
    reference.check("contour_area", shapely.Polygon(points).area)


@pytest.mark.parametrize("level", [0.5, 1.3, 2.0, 3.9])
def test_a_cone_has_closed_lines_within_two_circles(level):
    """A line at height h is a polygon between the circle of radius R (1 - h / H), which its
    corners touch on the spokes, and that circle times cos(pi / 48), which its chords touch."""
    x, y, z, faces = cone()
    ((_, points),) = each_line(isolines(x, y, z, faces, [level]))
    circle = 20.0 * (1 - level / 4.0)
    distance = np.hypot(*points.T)

    np.testing.assert_array_equal(points[0], points[-1])
    assert distance.max() <= circle * (1 + 1e-12)
    assert distance.min() >= circle * np.cos(np.pi / 48) * (1 - 1e-12)
    assert 2 * 48 * circle * np.sin(np.pi / 48) <= length(points) * (1 + 1e-12)
    assert length(points) <= 2 * np.pi * circle
    # higher ground on the left: round a hill the line runs counter-clockwise
    assert shapely.LinearRing(points).is_ccw


def test_a_hollow_is_run_round_clockwise():
    x, y, z, faces = cone()
    ((_, points),) = each_line(isolines(x, y, -z, faces, [-2.0]))

    assert not shapely.LinearRing(points).is_ccw


@pytest.mark.parametrize("seed", range(4))
def test_lines_by_matplotlib_on_the_same_triangles(seed):
    surface = ground(seed)
    levels = np.arange(-2.93, 3.0, 0.25)
    lines = isolines(surface.x, surface.y, surface.z, surface.triangles, levels)
    triangulation = Triangulation(surface.x, surface.y, surface.triangles)
    drawn = Figure().subplots().tricontour(triangulation, surface.z, levels=levels)

    for level, segments in zip(drawn.levels, drawn.allsegs, strict=True):
        ours = [points for at, points in each_line(lines) if at == level]
        assert sum(map(length, ours)) == pytest.approx(sum(map(length, segments)), abs=1e-9)
        assert len(ours) == len(segments)
        if ours:
            theirs = shapely.union_all([shapely.LineString(s) for s in segments])
            mine = shapely.union_all([shapely.LineString(p) for p in ours])
            assert shapely.hausdorff_distance(mine, theirs) < 1e-9


def test_lines_by_contourpy_on_a_grid():
    """Squares and triangles agree where the height is a plane, and there the lines are straight."""
    north, east = np.mgrid[0:9, 0:13].astype(float)
    z = 0.3 * east + 0.1 * north
    triangulation = Triangulation(east.ravel(), north.ravel())
    lines = isolines(
        east.ravel(), north.ravel(), z.ravel(), triangulation.triangles, [0.55, 1.15, 2.05]
    )
    generator = contour_generator(east, north, z)

    for level, points in each_line(lines):
        (theirs,) = generator.lines(level)
        assert length(points) == pytest.approx(length(theirs), rel=1e-12)
        assert shapely.hausdorff_distance(
            shapely.LineString(points), shapely.LineString(theirs)
        ) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_every_point_has_the_height_of_its_line_and_higher_ground_on_the_left(seed):
    surface = ground(seed)
    lines = isolines(surface.x, surface.y, surface.z, surface.triangles, np.arange(-3, 3, 0.37))
    at = Triangulation(surface.x, surface.y, surface.triangles)
    height = LinearTriInterpolator(at, surface.z)
    for level, points in each_line(lines):
        middle = (points[1:] + points[:-1]) / 2
        step = np.diff(points, axis=0)
        left = np.column_stack([-step[:, 1], step[:, 0]])
        size = np.hypot(*left.T)
        beside = middle + left / size[:, None] * 1e-6
        long = size > 1e-4
        got = height(*beside[long].T).filled(np.nan)
        assert (got[np.isfinite(got)] > level).all()
        np.testing.assert_allclose(height(*middle[long].T), level, atol=1e-9)


def test_a_level_through_vertices_is_no_special_case():
    """The roof of the docstring, at heights that vertices have."""
    x, y, z = [0, 4, 8, 0, 4, 8], [0, 0, 0, 6, 6, 6], [0, 2, 0, 0, 2, 0]
    faces = [(0, 1, 4), (0, 4, 3), (1, 2, 5), (1, 5, 4)]

    # a vertex on the level counts as below: the ridge just reaches 2, nothing is higher
    assert len(isolines(x, y, z, faces, [2])) == 0
    # the eaves are at 0 and the roof is higher: one line along each
    lines = each_line(isolines(x, y, z, faces, [0]))
    assert [points.tolist() for _, points in lines] == [[[0, 6], [0, 0]], [[8, 0], [8, 6]]]


def test_summit_hollow_and_plateau_on_a_level():
    x, y, z, faces = cone(rings=3, spokes=12, radius=3.0, height=3.0)

    assert len(isolines(x, y, z, faces, [3.0])) == 0
    assert len(isolines(x, y, -z, faces, [-3.0])) == 0
    plateau = np.minimum(z, 2.0)
    assert len(isolines(x, y, plateau, faces, [2.0])) == 0
    ((_, points),) = each_line(isolines(x, y, -plateau, faces, [-2.0]))
    # along the rim of the flat floor, twelve chords of the circle of radius 1
    assert length(points) == pytest.approx(12 * 2 * np.sin(np.pi / 12))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_heights_in_whole_steps_give_sound_lines(seed):
    """Vertices on levels everywhere: no step without length, nothing left open inside."""
    rng = np.random.default_rng(seed)
    north, east = np.mgrid[0:6, 0:6].reshape(2, -1) * 1.0
    z = rng.integers(0, 4, 36).astype(float)
    triangulation = Triangulation(east, north)
    for level, points in each_line(isolines(east, north, z, triangulation.triangles, range(5))):
        assert len(points) > 1
        assert (np.hypot(*np.diff(points, axis=0).T) > 0).all()
        if not np.array_equal(points[0], points[-1]):
            on_rim = (points[[0, -1]] == 0) | (points[[0, -1]] == 5)
            assert on_rim.any(axis=1).all()
        assert level in range(4)


def test_neighbours_given_or_found_give_the_same_lines():
    surface = ground(7)
    levels = np.arange(-3, 3, 0.1)
    found = isolines(surface.x, surface.y, surface.z, surface.triangles, levels)
    given = isolines(surface.x, surface.y, surface.z, surface.triangles, levels, surface.neighbours)

    for name in ("level", "x", "y", "start"):
        np.testing.assert_array_equal(getattr(found, name), getattr(given, name))


def test_the_sense_of_a_triangle_and_the_order_of_levels_do_not_matter():
    surface = ground(8, n=60)
    levels = [0.5, -0.5, 0.25, 0.5]
    plain = isolines(surface.x, surface.y, surface.z, surface.triangles, levels)
    mixed = surface.triangles.copy()
    mixed[::2] = mixed[::2, [0, 2, 1]]
    turned = isolines(surface.x, surface.y, surface.z, mixed, sorted(levels))

    assert sorted(set(plain.level.tolist())) == [-0.5, 0.25, 0.5]
    assert (np.diff(plain.level) >= 0).all()
    for name in ("level", "x", "y", "start"):
        np.testing.assert_array_equal(getattr(plain, name), getattr(turned, name))


def test_a_triangle_without_height_has_no_lines():
    x, y, z, faces = cone(rings=4, spokes=12)
    z = z.copy()
    z[1] = np.nan
    lines = isolines(x, y, z, faces, [2.5])
    touching = (faces == 1).any(axis=1)
    rest = isolines(x, y, np.nan_to_num(z), faces[~touching], [2.5])

    assert sum(length(p) for _, p in each_line(lines)) == pytest.approx(
        sum(length(p) for _, p in each_line(rest))
    )
    assert np.isfinite(lines.x).all()
    assert len(lines) == 1
    assert (lines.x[0], lines.y[0]) != (lines.x[-1], lines.y[-1])


def test_where_triangles_lie_over_each_other_the_line_ends():
    # the second triangle is folded back over the first along their edge
    lines = isolines([0, 10, 5, 5], [0, 0, 8, 6], [0, 2, 1, 1], [(0, 1, 2), (0, 1, 3)], [0.9])

    assert len(lines) == 2
    assert all(len(points) == 2 for _, points in each_line(lines))


def test_nothing_to_draw():
    x, y, z, faces = cone(rings=2, spokes=8)

    for lines in (
        isolines(x, y, z, faces, []),
        isolines(x, y, z, faces, [99.0]),
        isolines([], [], [], np.empty((0, 3), dtype=int), [1.0]),
    ):
        assert len(lines) == 0
        assert lines.start.tolist() == [0]


def test_a_level_that_is_no_number_is_refused():
    x, y, z, faces = cone(rings=2, spokes=8)

    with pytest.raises(ValueError, match="a level to draw is not finite"):
        isolines(x, y, z, faces, [1.0, np.nan])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 60), st.booleans())
def test_both_forms_give_the_same_bits(form, seed, n, even):
    """Any triangles, some over others or in the other sense, heights on levels and missing."""
    if form == "numpy":
        return
    rng = np.random.default_rng(seed)
    x, y, z = *rng.uniform(0, 5, (2, n)), rng.normal(0, 0.3, n)
    z = np.round(z, 1) if even else np.where(rng.random(n) < 0.1, np.nan, z)
    triangles = rng.integers(0, n, (2 * n, 3))
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    levels = np.arange(-5, 6) * 0.1
    with pytest.MonkeyPatch.context() as patch:
        made = isolines(x, y, z, triangles, levels)
        patch.setattr("pipeline.surface.contour.BREAK_EVEN", 1 << 62)
        plain = isolines(x, y, z, triangles, levels)
    for name in ("level", "x", "y", "start"):
        assert getattr(made, name).tobytes() == getattr(plain, name).tobytes(), name
