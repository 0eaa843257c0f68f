import itertools
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.compare import candidates
from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import volumes_per_piece
from pipeline.model import Surface
from pipeline.surface.mesh import area
from tests.forms import both_forms

form = both_forms("pipeline.compare.overlay.BREAK_EVEN")


def volumes(found):
    return [float(v.sum()) for v in volumes_per_piece(found)]


def plane(surface, t):
    """z = p0 + p1 (x - x0) + p2 (y - y0) through the corners, solved by numpy; job grid."""
    e, n, z = (
        v[surface.triangles[t]]
        for v in (surface.x + surface.origin[0], surface.y + surface.origin[1], surface.z)
    )
    return np.linalg.solve(np.c_[np.ones(3), e - e[0], n - n[0]], z), (e[0], n[0])


def height(fit, e, n):
    (p0, p1, p2), (e0, n0) = fit
    return p0 + p1 * (e - e0) + p2 * (n - n0)


def test_every_pair_as_a_geometry_library_has_it(random_pair, triangle_polygons):
    """Source: shapely intersects every triangle with every other, numpy solves the planes."""
    ground, design = random_pair(1)
    found = overlay(ground, design)
    pieces = {
        pair: k
        for k, pair in enumerate(
            zip(found.ground_triangle.tolist(), found.design_triangle.tolist(), strict=True)
        )
    }
    cut, fill, area = volumes_per_piece(found)
    net = total = 0.0
    a, b = triangle_polygons(ground), triangle_polygons(design)
    for g in range(len(a)):
        for d, shape in enumerate(shapely.intersection(a[g], b)):
            if shape.area < 1e-9:
                assert (g, d) not in pieces or area[pieces[g, d]] < 1e-8
                continue
            k = pieces[g, d]
            centre = shape.centroid
            deep = height(plane(ground, g), centre.x, centre.y) - height(
                plane(design, d), centre.x, centre.y
            )
            assert area[k] == pytest.approx(shape.area, rel=1e-9)
            assert cut[k] - fill[k] == pytest.approx(deep * shape.area, rel=1e-9, abs=1e-12)
            net, total = net + deep * shape.area, total + shape.area
    assert area.sum() == pytest.approx(total, rel=1e-9)
    assert cut.sum() - fill.sum() == pytest.approx(net, rel=1e-9)


def test_cut_at_every_corner_is_plane_minus_plane(random_pair):
    ground, design = random_pair(2)
    found = overlay(ground, design)
    for k in range(len(found.ground_triangle)):
        rows = slice(found.start[k], found.start[k + 1])
        e, n = found.x[rows] + found.origin[0], found.y[rows] + found.origin[1]
        upper = height(plane(ground, found.ground_triangle[k]), e, n)
        lower = height(plane(design, found.design_triangle[k]), e, n)
        np.testing.assert_allclose(found.cut[rows], upper - lower, atol=1e-9)


def test_pieces_are_convex_and_run_counter_clockwise(random_pair):
    found = overlay(*random_pair(3))
    for k in range(len(found.ground_triangle)):
        rows = slice(found.start[k], found.start[k + 1])
        ring = np.c_[found.x[rows], found.y[rows]]
        side = np.roll(ring, -1, axis=0) - ring
        after = np.roll(side, -1, axis=0)
        assert 3 <= len(ring) <= 6
        assert (side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0] > -1e-9).all()


def test_order_is_by_ground_and_then_by_design(random_pair):
    found = overlay(*random_pair(4, 120, 80))
    pairs = list(zip(found.ground_triangle.tolist(), found.design_triangle.tolist(), strict=True))
    assert pairs == sorted(set(pairs))


def test_blocks_do_not_change_a_bit(random_pair, monkeypatch):
    ground, design = random_pair(5, 100, 60)
    whole = overlay(ground, design)
    monkeypatch.setattr(candidates, "GROUND_BLOCK", 11)
    monkeypatch.setattr(candidates, "PAIR_BLOCK", 13)
    parts = overlay(ground, design)
    for name in ("origin", "x", "y", "cut", "start", "ground_triangle", "design_triangle"):
        assert getattr(whole, name).tobytes() == getattr(parts, name).tobytes(), name


@pytest.mark.parametrize("seed", [1, 6])
def test_a_surface_against_itself_is_nothing_everywhere(seed, random_pair):
    ground, _ = random_pair(seed, 300)
    found = overlay(ground, ground)
    assert (found.cut == 0).all()
    assert volumes(found) == [0.0, 0.0, pytest.approx(area(ground), rel=1e-12)]
    assert (found.ground_triangle == found.design_triangle).all()


def test_swapped_roles_swap_cut_and_fill(random_pair):
    ground, design = random_pair(7, 200, 150)
    cut, fill, area = volumes(overlay(ground, design))
    assert volumes(overlay(design, ground)) == pytest.approx([fill, cut, area], rel=1e-12)


@pytest.mark.parametrize(
    "shift", [(500_000.0, 6_000_000.0), (500_000.123, 6_000_000.456), (-4e6, 0)]
)
def test_a_shift_changes_nothing(shift, random_pair, surface_of):
    """Common practice, no source: eastings of 500 km and northings of 6 000 km."""
    pair = random_pair(8)
    moved = [
        surface_of(s.x + s.origin[0] + shift[0], s.y + s.origin[1] + shift[1], s.z, s.triangles)
        for s in pair
    ]
    assert volumes(overlay(*moved)) == pytest.approx(volumes(overlay(*pair)), rel=1e-9)


def test_pieces_are_near_zero_wherever_the_surfaces_say_zero_is(random_pair, surface_of):
    """Coordinates of 6 000 km kept in full would cost 1e-9 m each, and areas more."""
    far = [
        surface_of(s.x + 500_000.0, s.y + 6_000_000.0, s.z, s.triangles, origin=(0, 0))
        for s in random_pair(8)
    ]
    found = overlay(*far)
    assert np.abs([found.x, found.y]).max() < 100
    assert (found.origin == np.round(found.origin)).all()


@pytest.mark.parametrize("angle", [0.3, 1.0, np.pi / 2, 4.0])
def test_a_rotation_changes_nothing(angle, random_pair, surface_of):
    pair = random_pair(9)
    c, s = np.cos(angle), np.sin(angle)
    turned = []
    for one in pair:
        e, n = one.x + one.origin[0], one.y + one.origin[1]
        turned.append(surface_of(c * e - s * n, s * e + c * n, one.z, one.triangles))
    assert volumes(overlay(*turned)) == pytest.approx(volumes(overlay(*pair)), rel=1e-9)


def test_origins_may_differ_and_be_far_away(random_pair, surface_of):
    ground, design = random_pair(10)
    far = surface_of(
        design.x + design.origin[0], design.y + design.origin[1], design.z,
        design.triangles, origin=(-3000.5, 12.25),
    )  # fmt: skip
    found = overlay(ground, far)
    assert volumes(found) == pytest.approx(volumes(overlay(ground, design)), rel=1e-10)
    assert np.abs([found.x, found.y]).max() < 100


def test_where_they_do_not_overlap_there_are_no_pieces(rectangle):
    one = rectangle(10, 10)
    for at in ((20.0, 0.0), (10.0, 0.0), (10.0, 10.0)):
        found = overlay(one, rectangle(10, 10, at=at))
        assert found.start.tolist() == [0]
        assert len(found.cut) == 0


def test_nothing_against_something_is_nothing(rectangle, surface_of):
    bare = surface_of([0, 1, 0], [0, 0, 1], [0, 0, 0], np.empty((0, 3), dtype=int))
    assert overlay(bare, rectangle(1, 1)).start.tolist() == [0]
    assert overlay(rectangle(1, 1), bare).start.tolist() == [0]


def test_a_clockwise_triangle_is_refused(rectangle, surface_of):
    good = rectangle(10, 10)
    bad = surface_of([0, 1, 0], [0, 0, 1], [0, 0, 0], [[0, 1, 2]], name="turned")
    object.__setattr__(bad, "triangles", bad.triangles[:, ::-1])
    with pytest.raises(ValueError, match="triangle 0 of surface 'turned' runs clockwise"):
        overlay(good, bad)


def test_a_wall_is_compared_on_the_plan_it_has(surface_of, rectangle):
    """A curb face 0.1 mm wide and 0.15 m high: heights stay between its foot and its top."""
    e = np.array([0, 2, 2.0001, 4])
    z = np.array([0, 0, 0.15, 0.15])
    k = np.arange(3)
    triangles = np.r_[np.c_[k, k + 1, k + 5], np.c_[k, k + 5, k + 4]]
    curb = surface_of(np.tile(e, 2), np.repeat([0.0, 3.0], 4), np.tile(z, 2), triangles)
    found = overlay(rectangle(4, 3, at=(0.0, 0.7)), curb)
    assert found.cut.min() == pytest.approx(-0.15, abs=1e-12)
    assert found.cut.max() == 0
    # 2.3 m of plan: flat, then 1.9999 m filled 0.15 m deep, the face half of that
    cut, fill, area = volumes(found)
    assert (cut, area) == (0.0, pytest.approx(4 * 2.3))
    assert fill == pytest.approx(2.3 * 0.15 * (1.9999 + 0.00005), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(3, 60), st.integers(3, 60))
def test_two_planes_differ_by_their_difference_at_the_centroid(seed, first, second):
    """However two planes are triangulated: net = area x difference at the centroid of the
    common plan (analytic; hulls and centroid by shapely)."""
    rng = np.random.default_rng(seed)
    p, q = rng.normal(0, 0.05, (2, 3))
    a, b = rng.uniform(0, 30, (first, 2)), rng.uniform(5, 40, (second, 2))
    common = shapely.MultiPoint(a).convex_hull.intersection(shapely.MultiPoint(b).convex_hull)
    found = overlay(_delaunay(a, p), _delaunay(b, q))
    cut, fill, area = volumes(found)
    at = np.array([1.0, common.centroid.x, common.centroid.y]) if common.area else np.zeros(3)
    assert area == pytest.approx(common.area, rel=1e-9, abs=1e-9)
    assert cut - fill == pytest.approx(common.area * float((p - q) @ at), rel=1e-9, abs=1e-8)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_corners_and_edges_in_common_are_no_trouble(seed):
    """Points on a turned metre lattice: corners, edges and collinear runs coincide, to rounding.
    Area by shapely, heights from one plane each, so that the net is analytic."""
    rng = np.random.default_rng(seed)
    p, q = rng.normal(0, 0.05, (2, 3))
    lattice = np.stack(np.meshgrid(np.arange(7.0), np.arange(6.0)), axis=-1).reshape(-1, 2)
    lattice = lattice @ np.array([[np.cos(0.3), np.sin(0.3)], [-np.sin(0.3), np.cos(0.3)]])
    a, b = (lattice[rng.random(len(lattice)) < 0.8] for _ in range(2))
    common = shapely.MultiPoint(a).convex_hull.intersection(shapely.MultiPoint(b).convex_hull)
    found = overlay(_delaunay(a, p), _delaunay(b, q))
    cut, fill, area = volumes(found)
    at = np.array([1.0, common.centroid.x, common.centroid.y])
    # no crumbs along the edges that both have
    assert volumes_per_piece(found)[2].min() > 1e-12
    assert area == pytest.approx(common.area, rel=1e-9)
    assert cut - fill == pytest.approx(common.area * float((p - q) @ at), rel=1e-9, abs=1e-9)


def _delaunay(points, fit):
    from scipy.spatial import Delaunay

    from pipeline.model import Surface

    tri = Delaunay(points).simplices
    a, b, c = (points[tri[:, k]] for k in range(3))
    turn = np.cross(np.c_[b - a, np.zeros(len(a))], np.c_[c - a, np.zeros(len(a))])[:, 2]
    tri = np.where((turn < 0)[:, None], tri[:, ::-1], tri)
    return Surface(
        name="plane", origin=(0, 0), x=points[:, 0], y=points[:, 1],
        z=fit[0] + points @ fit[1:], triangles=tri, neighbours=np.full(tri.shape, -1),
        fixed=np.zeros(tri.shape, dtype=bool), point=np.full(len(points), -1),
    )  # fmt: skip


def nothing(name="none"):
    """A surface without a triangle, as a ground is that nobody shot."""
    none = np.empty(0)
    return Surface(
        name=name, origin=np.array([7.0, 8.0]), x=none, y=none, z=none,
        triangles=np.empty((0, 3), dtype=np.int64), neighbours=np.empty((0, 3), dtype=np.int64),
        fixed=np.empty((0, 3), dtype=bool), point=np.empty(0, dtype=np.int64),
    )  # fmt: skip


def test_it_is_worked_out_about_the_middle_of_the_smaller_of_the_two(rectangle, surface_of):
    """By hand: whole metres, and of a long strip and a square the square."""
    strip = rectangle(200.0, 5.0, at=(1000.0, 2020.0))
    square = surface_of([1030, 1081, 1081, 1030], [2000, 2000, 2061, 2061], np.zeros(4),
                        [[0, 1, 2], [0, 2, 3]], origin=(900.0, 1900.0))  # fmt: skip
    for pair in ((strip, square), (square, strip)):
        found = overlay(*pair)
        # halves go to the even metre: 1055.5, 2030.5
        assert found.origin.tolist() == [1056.0, 2030.0]
        assert sum(plan_area_of(found)) == pytest.approx(51.0 * 5.0)


def plan_area_of(found):
    for a, b in itertools.pairwise(found.start.tolist()):
        x, y = found.x[a:b], found.y[a:b]
        yield 0.5 * (np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def test_of_what_is_not_there_nothing_is_compared(rectangle):
    for pair in ((nothing(), rectangle(4, 4)), (rectangle(4, 4), nothing())):
        found = overlay(*pair)
        assert found.origin.tolist() == [2.0, 2.0]
        assert (len(found.x), found.start.tolist()) == (0, [0])
    both = overlay(nothing(), nothing())
    assert both.origin.tolist() == [0.0, 0.0]
    assert both.ground_triangle.dtype == np.int64


def test_a_triangle_of_no_area_is_left_out_and_a_clockwise_one_named(surface_of, rectangle):
    flat = surface_of([0, 4, 4, 2], [0, 0, 4, 0], np.zeros(4), [[0, 1, 2], [0, 3, 1]])
    found = overlay(flat, rectangle(4, 4, (1.0, 0, 0)))
    assert set(found.ground_triangle.tolist()) == {0}
    assert sum(plan_area_of(found)) == pytest.approx(8.0)

    good = rectangle(4, 4)
    triangles = good.triangles.copy()
    triangles[1] = triangles[1][[0, 2, 1]]
    turned = replace(good, triangles=triangles)
    with pytest.raises(ValueError, match=r"triangle 1 .*clockwise"):
        overlay(turned, good)


@pytest.mark.parametrize(("leg", "kept"), [(1.8e-6, True), (1.2e-6, False)])
def test_a_sliver_under_a_square_micrometre_is_left_out(surface_of, rectangle, leg, kept):
    """Legs of 1.8 µm have 1.6 square micrometres, of 1.2 µm 0.7."""
    crumb = surface_of([0, leg, 0], [0, 0, leg], np.ones(3), [[0, 1, 2]], origin=(0.0, 0.0))

    # whose diagonal runs elsewhere
    design = rectangle(4, 4, at=(-1.0, -2.0))
    assert (len(overlay(crumb, design).ground_triangle) > 0) is kept


@pytest.mark.parametrize(("apart", "cut"), [(1.5e-9, 1.5e-9), (0.5e-9, 0.0), (-1.5e-9, -1.5e-9)])
def test_heights_within_a_nanometre_are_the_same(rectangle, apart, cut):
    found = overlay(rectangle(4, 4, (apart, 0, 0)), rectangle(4, 4))

    np.testing.assert_allclose(found.cut, cut, rtol=1e-12, atol=0)


@pytest.mark.parametrize(("leg", "refused"), [(1.58e-6, True), (1.38e-6, False)])
def test_a_clockwise_crumb_is_refused_from_a_square_micrometre_on(rectangle, leg, refused):
    """Legs of 1.58 µm have 1.25 square micrometres, of 1.38 µm 0.95: no area, so no way round."""
    good = rectangle(4, 4)
    x, y = np.array([0, 0, leg, 3.0]), np.array([0, leg, 0, 3.0])
    crumb = replace(
        good, x=x, y=y, triangles=np.array([[0, 1, 2]]), neighbours=np.full((1, 3), -1),
        fixed=np.zeros((1, 3), dtype=bool),
    )  # fmt: skip
    if refused:
        with pytest.raises(ValueError, match=r"triangle 0 .*clockwise"):
            overlay(crumb, good)
    else:
        assert len(overlay(crumb, good).ground_triangle) == 0
