import numpy as np
import pytest
import shapely
from matplotlib.tri import Triangulation

from pipeline.compare.map import bands, contours, not_surveyed, zero_line
from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import quantity
from pipeline.surface.mesh import area

INF = float("inf")
LIMITS = [-INF, -0.2, -0.1, -0.05, -0.02, 0.02, 0.05, 0.1, 0.2, INF]


def polygon(region):
    return shapely.Polygon(region.rings[0], region.rings[1:])


def drawn(band):
    return sum(polygon(region).area for region in band.regions)


def lines_of(isolines):
    for k in range(len(isolines.level)):
        rows = slice(isolines.start[k], isolines.start[k + 1])
        yield float(isolines.level[k]), np.c_[isolines.x[rows], isolines.y[rows]]


def is_closed(line):
    return bool((line[0] == line[-1]).all())


# --- bands ------------------------------------------------------------------------------------


def test_bands_of_a_tilted_plane_are_rectangles(rectangle):
    """Analytic: d = 0.04 (x - 5) over 10 x 4 m passes 0.05 m every 1.25 m."""
    found = overlay(rectangle(10, 4, (-0.2, 0.04, 0)), rectangle(10, 4))
    got = bands(found, [-INF, -0.1, 0.0, 0.05, INF])
    assert [(b.lower, b.upper) for b in got] == [(-INF, -0.1), (-0.1, 0), (0, 0.05), (0.05, INF)]
    edges = [0, 2.5, 5, 6.25, 10]
    for band, west, east in zip(got, edges[:-1], edges[1:], strict=True):
        assert band.area_m2 == pytest.approx((east - west) * 4)
        (region,) = band.regions
        assert (region.lower, region.upper) == (band.lower, band.upper)
        assert polygon(region).symmetric_difference(shapely.box(west, 0, east, 4)).area < 1e-9


def test_bands_of_a_pyramid_are_square_rings(pyramid, rectangle):
    """Analytic: above height z the pyramid of REF-TIN-4 covers (10 (1 - z/3))^2."""
    limits = [0.0, 0.9, 1.5, 2.4, INF]
    got = bands(overlay(pyramid, rectangle(10, 10)), limits)
    beyond = [(10 * max(1 - z / 3, 0)) ** 2 for z in limits]
    assert [b.area_m2 for b in got] == pytest.approx(-np.diff(beyond), rel=1e-12)
    assert [len(b.regions) for b in got] == [1, 1, 1, 1]
    assert [len(b.regions[0].rings) for b in got] == [2, 2, 2, 1]


@pytest.mark.parametrize("seed", [21, 22, 23])
def test_bands_cover_what_is_compared_once(seed, random_pair, triangle_polygons):
    """Source: union, intersection and validity by shapely."""
    ground, design = random_pair(seed, 90, 60)
    found = overlay(ground, design)
    got = bands(found, LIMITS)
    compared = quantity("clay", found, area(design)).compared_area_m2
    assert sum(b.area_m2 for b in got) == pytest.approx(compared, rel=1e-9)
    for band in got:
        expected = band.area_m2 - band.dropped_m2 + band.closed_m2
        assert drawn(band) == pytest.approx(expected, rel=1e-6)
    regions = [polygon(r) for b in bands(found, LIMITS, smallest_m2=0) for r in b.regions]
    assert shapely.is_valid(regions).all()
    both = shapely.union_all(triangle_polygons(ground)).intersection(
        shapely.union_all(triangle_polygons(design))
    )
    assert shapely.union_all(regions).symmetric_difference(both).area < 1e-6 * compared
    assert sum(r.area for r in regions) == pytest.approx(both.area, rel=1e-6)


@pytest.mark.parametrize("seed", [66, 117, 153])
def test_bands_of_points_a_tenth_of_a_millimetre_apart(seed, surface_of):
    """Area to 0.1 mm a side: welding turns some slivers over, and rings then cross."""
    rng = np.random.default_rng(seed)
    pair = []
    for _ in range(2):
        points = rng.uniform(0, 12, (60, 2))
        points = np.concatenate((points, points[::2] + rng.normal(0, 1e-4, (30, 2))))
        pair.append(surface_of(*points.T, rng.integers(0, 3, 90) * 0.1))
    for band in bands(overlay(*pair), [-INF, -0.1, -0.05, 0, 0.05, 0.1, INF], smallest_m2=0):
        assert drawn(band) == pytest.approx(band.area_m2, abs=1e-3)


@pytest.mark.parametrize("seed", [40, 44, 52])
def test_level_ground_on_a_limit_is_in_one_band_only(seed, surface_of):
    """Heights of whole decimetres on a metre lattice: many pieces lie on a limit, and 0.3 - 0.2
    is not 0.1 to the last bit. Area by the whole of what is compared."""
    rng = np.random.default_rng(seed)
    pair = []
    for _ in range(2):
        points = np.unique(rng.integers(0, 12, (60, 2)), axis=0)
        pair.append(surface_of(*points.T, rng.integers(0, 3, len(points)) * 0.1))
    found = overlay(*pair)
    compared = quantity("clay", found, area(pair[1])).compared_area_m2
    got = bands(found, [-INF, -0.1, -0.05, 0, 0.05, 0.1, INF], smallest_m2=0)
    assert sum(band.area_m2 for band in got) == pytest.approx(compared, rel=1e-12)
    assert sum(drawn(band) for band in got) == pytest.approx(compared, rel=1e-6)


def test_a_place_in_a_band_has_its_cut(random_pair, height_at):
    """Source: scipy's interpolation of both surfaces at 1 500 places."""
    ground, design = random_pair(24, 80, 80)
    found = overlay(ground, design)
    e, n = np.random.default_rng(2).uniform(0, 65, (2, 1500))
    cut = height_at(ground)(e, n) - height_at(design)(e, n)
    places = shapely.points(e, n)
    seen = np.zeros(len(e), dtype=int)
    for band in bands(found, LIMITS, smallest_m2=0):
        for region in band.regions:
            shape = polygon(region)
            shapely.prepare(shape)
            inside = shapely.contains(shape, places)
            assert (cut[inside] >= band.lower - 1e-6).all()
            assert (cut[inside] <= band.upper + 1e-6).all()
            seen += inside
    assert (seen == ~np.isnan(cut)).all()


def test_level_ground_belongs_to_the_band_above_its_limit(rectangle):
    found = overlay(rectangle(3, 2, (0.25, 0, 0)), rectangle(3, 2))
    got = bands(found, [-INF, 0.0, 0.25, 0.5])
    assert [b.area_m2 for b in got] == pytest.approx([0, 0, 6])
    assert [len(b.regions) for b in got] == [0, 0, 1]


def _bump(surface_of, side, height):
    """20 x 20 m at zero with one small pyramid in the middle."""
    low, high = 10 - side / 2, 10 + side / 2
    e = [0, 20, 20, 0, low, high, high, low, 10]
    n = [0, 0, 20, 20, low, low, high, high, 10]
    outer = [[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
    return e, n, [0] * 8 + [height], outer, [[4, 5, 8], [5, 6, 8], [6, 7, 8], [7, 4, 8]]


def test_a_speck_is_not_drawn_and_is_accounted_for(surface_of, rectangle):
    """A pyramid 0.2 m wide on level ground: above half its height 0.01 m2, and a hole as large."""
    e, n, z, outer, inner = _bump(surface_of, 0.2, 0.1)
    found = overlay(surface_of(e, n, z, outer + inner), rectangle(20, 20))
    low, high = bands(found, [0.0, 0.05, INF])
    assert (low.closed_m2, low.dropped_m2) == (pytest.approx(0.01), 0)
    assert (high.closed_m2, high.dropped_m2) == (0, pytest.approx(0.01))
    assert (len(low.regions), len(low.regions[0].rings), len(high.regions)) == (1, 1, 0)
    assert (low.area_m2, high.area_m2) == (pytest.approx(399.99), pytest.approx(0.01))
    assert drawn(low) == pytest.approx(400)
    low, high = bands(found, [0.0, 0.05, INF], smallest_m2=0.001)
    assert (len(low.regions[0].rings), len(high.regions)) == (2, 1)


def test_a_small_hole_that_nobody_shot_is_never_closed(surface_of, rectangle):
    e, n, z, outer, _ = _bump(surface_of, 0.1, 0.0)
    found = overlay(surface_of(e, n, z, outer), rectangle(20, 20))
    (band,) = bands(found, [-1.0, 1.0])
    assert band.closed_m2 == 0
    assert len(band.regions[0].rings) == 2
    assert drawn(band) == pytest.approx(400 - 0.01)


def test_bands_that_touch_in_a_saddle(surface_of, rectangle):
    """Cut in two opposite quarters, fill in the others: two regions each, touching in a point."""
    e, n = np.meshgrid([-1.0, 0, 1], [-1.0, 0, 1])
    around = [1, 2, 5, 8, 7, 6, 3, 0]
    triangles = [[4, a, b] for a, b in zip(around, around[1:] + around[:1], strict=True)]
    found = overlay(surface_of(e, n, e * n, triangles), rectangle(2, 2, at=(-1, -1)))
    for band in bands(found, [-INF, 0.0, INF]):
        assert len(band.regions) == 2
        assert [polygon(r).area for r in band.regions] == pytest.approx([1, 1])
        assert all(polygon(r).is_valid for r in band.regions)


def test_the_same_ground_gives_the_same_bytes(random_pair):
    pair = random_pair(25)
    once, again = (bands(overlay(*pair), LIMITS) for _ in range(2))
    for a, b in zip(once, again, strict=True):
        assert [ring.tobytes() for r in a.regions for ring in r.rings] == [
            ring.tobytes() for r in b.regions for ring in r.rings
        ]


def test_bands_of_nothing_are_empty(rectangle):
    found = overlay(rectangle(1, 1), rectangle(1, 1, at=(9, 9)))
    assert [(b.area_m2, b.regions) for b in bands(found, [-1, 0, 1])] == [(0, ()), (0, ())]


@pytest.mark.parametrize("limits", [[0.1], [0.1, 0.0], [0.0, 0.0, 1.0], [0.0, float("nan")]])
def test_limits_that_do_not_rise_are_refused(limits, rectangle):
    found = overlay(rectangle(1, 1), rectangle(1, 1))
    with pytest.raises(ValueError, match="limits of bands rise, at least two of them"):
        bands(found, limits)


# --- what nobody shot -------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [31, 32])
def test_not_surveyed_is_design_less_ground(seed, random_pair, triangle_polygons):
    """Source: union and difference by shapely."""
    ground, design = random_pair(seed)
    got = not_surveyed(ground, design, smallest_m2=0)
    expected = shapely.union_all(triangle_polygons(design)).difference(
        shapely.union_all(triangle_polygons(ground))
    )
    shapes = [polygon(region) for region in got]
    assert shapely.union_all(shapes).symmetric_difference(expected).area < 1e-9
    uncovered = quantity("clay", overlay(ground, design), area(design)).uncovered_area_m2
    assert sum(s.area for s in shapes) == pytest.approx(uncovered, rel=1e-9)
    assert all(np.isnan([region.lower, region.upper]).all() for region in got)


def test_a_hole_in_the_ground_is_not_surveyed(surface_of, rectangle):
    e, n, z, outer, _ = _bump(surface_of, 2.0, 0.0)
    (region,) = not_surveyed(surface_of(e, n, z, outer), rectangle(20, 20))
    assert polygon(region).equals(shapely.box(9, 9, 11, 11))
    assert not_surveyed(surface_of(e, n, z, outer), rectangle(20, 20), smallest_m2=4.1) == ()


def test_design_without_any_ground_is_wholly_not_surveyed(rectangle):
    (region,) = not_surveyed(rectangle(1, 1, at=(50, 50)), rectangle(3, 2, at=(1000, 2000)))
    assert region.rings[0].tolist() == [[1000, 2000], [1003, 2000], [1003, 2002], [1000, 2002]]


def test_ground_that_covers_the_design_leaves_nothing(rectangle):
    assert not_surveyed(rectangle(30, 30, at=(-5, -5)), rectangle(3, 2)) == ()


# --- lines ------------------------------------------------------------------------------------


def test_contour_of_a_pyramid(pyramid, rectangle, published):
    ref = published("REF-TIN-4")
    got = contours(overlay(pyramid, rectangle(10, 10)), [ref.inputs["level"]])
    ((level, line),) = lines_of(got)
    assert level == ref.inputs["level"]
    assert is_closed(line)
    ring = shapely.Polygon(line)
    ref.check("contour_length", ring.length)
    ref.check("contour_area", ring.area)


def test_zero_line_of_a_pyramid_over_a_third_of_its_height(pyramid, rectangle):
    """Analytic: a square of two thirds of the base, whatever the design's diagonal."""
    ((level, line),) = lines_of(zero_line(overlay(pyramid, rectangle(10, 10, (1, 0, 0)))))
    assert level == 0
    assert shapely.Polygon(line).symmetric_difference(
        shapely.box(5 / 3, 5 / 3, 25 / 3, 25 / 3)
    ).area == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("seed", [41, 42])
def test_contours_lie_on_their_level(seed, random_pair, height_at):
    """Source: scipy's interpolation of both surfaces along the lines."""
    ground, design = random_pair(seed)
    found = overlay(ground, design)
    levels = [-0.3, -0.05, 0.0, 0.05, 0.3]
    got = list(lines_of(contours(found, levels)))
    assert {level for level, _ in got} == set(levels)
    for level, line in got:
        middles = (line[:-1] + line[1:]) / 2
        for e, n in (line.T, middles.T):
            cut = height_at(ground)(e, n) - height_at(design)(e, n)
            known = ~np.isnan(cut)
            assert known.mean() > 0.9 or len(line) < 20
            np.testing.assert_allclose(cut[known], level, atol=1e-6)


def test_contours_end_only_where_a_surface_ends(random_pair, triangle_polygons):
    """Source: the common outline by shapely."""
    ground, design = random_pair(43)
    outline = (
        shapely.union_all(triangle_polygons(ground))
        .intersection(shapely.union_all(triangle_polygons(design)))
        .boundary
    )
    got = [line for _, line in lines_of(contours(overlay(ground, design), [-0.1, 0.0, 0.1]))]
    open_ends = [line[k] for line in got if not is_closed(line) for k in (0, -1)]
    assert open_ends
    assert shapely.distance(shapely.points(open_ends), outline).max() < 1e-6


def test_contours_over_a_level_design_are_those_of_the_ground(random_pair, rectangle):
    """Source: matplotlib's contours of the ground alone, length by length."""
    from matplotlib.figure import Figure

    ground, _ = random_pair(44)
    found = overlay(ground, rectangle(60, 60, (100, 0, 0), at=(-5, -5)))
    levels = [0.25, 0.5, 0.75]
    got = contours(found, levels)
    mesh = Triangulation(ground.x, ground.y, ground.triangles)
    theirs = Figure().subplots().tricontour(mesh, ground.z - 100, levels=levels)
    for level, paths in zip(levels, theirs.get_paths(), strict=True):
        expected = sum(
            shapely.LineString(part).length for part in paths.to_polygons(closed_only=False)
        )
        length = sum(shapely.LineString(line).length for at, line in lines_of(got) if at == level)
        assert length == pytest.approx(expected, rel=1e-6)


def test_no_level_and_no_overlap_give_no_line(rectangle, pyramid):
    assert list(lines_of(contours(overlay(pyramid, rectangle(10, 10)), []))) == []
    apart = overlay(pyramid, rectangle(1, 1, at=(99, 99)))
    assert list(lines_of(zero_line(apart))) == []
