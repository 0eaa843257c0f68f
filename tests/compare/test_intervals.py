"""Stretches and lanes: they add up to the whole, and each is what shapely or a formula says."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.compare import intervals
from pipeline.compare.crosslines import Lanes, lanes
from pipeline.compare.intervals import by_interval, interval_stations
from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import parts, quantity
from pipeline.demo import truth
from pipeline.design import strips
from pipeline.design.alignment import build, point_at
from pipeline.errors import JobError
from pipeline.model import AlignmentRows, Corridor, ElementRow, Layer, Profile
from pipeline.settings import DesignRules
from pipeline.surface import tin
from pipeline.surface.mesh import area

COLUMNS = (
    "cut_m3", "fill_m3", "cut_area_m2", "fill_area_m2", "compared_area_m2", "uncovered_area_m2",
)  # fmt: skip


@pytest.fixture(scope="module")
def straight():
    """East along northing 25, from 0 to 70."""
    row = ElementRow("line", 70.0, start=(0.0, 25.0))
    return build(AlignmentRows("x", (row,), 0.0, np.pi / 2))[0]


@pytest.fixture(scope="module")
def bend():
    """A bend to the right about (35, -15), radius 40: a line, 60 m of arc, a line."""
    rows = (
        ElementRow("line", 20.0, start=(-20.0, 25.0)),
        ElementRow("arc", 60.0, 40.0, 40.0, 1),
        ElementRow("line", 20.0),
    )
    return build(AlignmentRows("x", rows, 0.0, np.pi / 2))[0]


def wedge(alignment, start, end, reach=38.0):
    """What lies between two cross-sections, as far as they do not meet."""
    s = np.linspace(start, end, 400)
    left = np.stack(point_at(alignment, s, np.full(400, -reach))[:2], axis=1)
    right = np.stack(point_at(alignment, s, np.full(400, reach))[:2], axis=1)
    return shapely.Polygon(np.concatenate((left, right[::-1])))


def clipped(pieces, region):
    """Net volume and area of an overlay's pieces within a polygon: shapely, one by one."""
    net = area = 0.0
    for a, b in zip(pieces.start[:-1], pieces.start[1:], strict=True):
        x, y, cut = pieces.x[a:b], pieces.y[a:b], pieces.cut[a:b]
        plane = np.linalg.lstsq(np.stack((x, y, np.ones(b - a)), axis=1), cut, rcond=None)[0]
        part = shapely.Polygon(np.stack((x, y), axis=1) + pieces.origin).intersection(region)
        if not part.is_empty and part.area > 0:
            at = np.array(part.centroid.coords[0]) - pieces.origin
            net += part.area * (plane @ [*at, 1.0])
            area += part.area
    return net, area


@pytest.mark.parametrize("line", ["straight", "bend"])
def test_every_stretch_is_what_shapely_cuts_out(line, request, random_pair):
    """The cross-sections of a bend are straight lines too: cutting there is exact."""
    alignment = request.getfixturevalue(line)
    ground, design = random_pair(3, 40, 25)
    pieces = overlay(ground, design)
    stations = np.array([12.0, 27.5, 41.0, 58.0])
    got = by_interval("clay", pieces, design, alignment, stations)
    for start, end in pairwise(stations):
        (k,) = np.flatnonzero((got.start == start) & (got.end == end))
        net, area = clipped(pieces, wedge(alignment, start, end))
        assert got.net_m3[k] == pytest.approx(net, abs=1e-7)
        assert got.compared_area_m2[k] == pytest.approx(area, abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 1000),
    stations=st.lists(st.floats(-5, 75), min_size=2, max_size=9, unique=True),
)
def test_stretches_add_up_to_the_whole(seed, stations, random_pair, straight):
    at = np.sort(stations)
    if np.diff(at).min() < 1e-3:
        return
    ground, design = random_pair(seed, 30, 20)
    pieces = overlay(ground, design)
    whole = quantity("clay", pieces, area(design))
    got = by_interval("clay", pieces, design, straight, at)
    for name in COLUMNS:
        total = getattr(got, name).sum()
        assert total == pytest.approx(getattr(whole, name), rel=1e-9, abs=1e-9), name


def test_a_bend_tighter_than_the_ground_is_wide_still_counts_everything_once(random_pair):
    """Ground beyond the centre of the bend: the stretch may be another, the sum may not."""
    rows = (ElementRow("arc", 25.0, 8.0, 8.0, 1, start=(10.0, 25.0)),)
    tight, _ = build(AlignmentRows("x", rows, 0.0, np.pi / 2))
    ground, design = random_pair(8)
    pieces = overlay(ground, design)
    whole = quantity("clay", pieces, area(design))
    got = by_interval("clay", pieces, design, tight, np.arange(0.0, 26.0, 5.0))
    assert got.cut_m3.sum() == pytest.approx(whole.cut_m3, rel=1e-9)
    assert got.fill_m3.sum() == pytest.approx(whole.fill_m3, rel=1e-9)


def test_ground_that_nobody_shot_is_counted_stretch_by_stretch(rectangle, straight):
    """Analytic: ground ends at easting 33, the design goes on to 60, 10 m wide."""
    design = rectangle(60, 10, at=(0, 20))
    ground = rectangle(33, 10, (0.25, 0, 0), at=(0, 20))
    got = by_interval("clay", overlay(ground, design), design, straight, np.arange(0.0, 61.0, 20.0))
    assert got.uncovered_area_m2 == pytest.approx([0, 70, 200], abs=1e-9)
    assert got.compared_area_m2 == pytest.approx([200, 130, 0], abs=1e-9)
    assert got.cut_m3 == pytest.approx([50, 32.5, 0], abs=1e-9)
    assert got.mean_cut_m[:2] == pytest.approx([0.25, 0.25])
    assert np.isnan(got.mean_cut_m[2])


def test_what_lies_beyond_the_stations_has_rows_of_its_own(rectangle, straight):
    design = rectangle(60, 10, at=(0, 20))
    ground = rectangle(60, 10, (0.1, 0, 0), at=(0, 20))
    got = by_interval("clay", overlay(ground, design), design, straight, np.array([10.0, 50.0]))
    assert got.start.tolist() == [-np.inf, 10.0, 50.0]
    assert got.cut_m3 == pytest.approx([10.0, 40.0, 10.0])


def test_stations_that_do_not_rise_are_a_fault_of_the_caller(rectangle, straight):
    one = rectangle(60, 10, at=(0, 20))
    with pytest.raises(ValueError, match="stations of intervals rise"):
        by_interval("clay", overlay(one, one), one, straight, np.array([10.0, 10.0]))


def test_interval_stations_are_whole_multiples_with_both_ends():
    assert interval_stations(0.0, 420.0, 20.0).tolist() == [20.0 * k for k in range(22)]
    with pytest.raises(JobError, match=r"volumes\.interval_m: found a step of 0"):
        interval_stations(0.0, 10.0, 0.0)


# --- lanes ------------------------------------------------------------------------------------


def corridor_of(alignment, breaks, offsets, length):
    names, sides = zip(*breaks, strict=True)
    ends = np.array([0.0, length])
    rise = np.zeros((2, len(names)))
    layer = Layer("clay", "clay", names, sides, ends, np.tile(offsets, (2, 1)), rise)
    grade = Profile("profile", ends, [100.0], [0.0], [0.0], [np.inf])
    return Corridor("made", alignment, grade, (layer,))


EDGES = (("edge of clay", -1), ("crown", 0), ("edge of clay", 1))


def test_lanes_of_the_planar_street_have_their_closed_form(straight, surface_of):
    """The demo's planes, whose cut and fill by side have a formula: `truth.volumes`."""
    width = truth.HALF_WIDTH_M
    corridor = corridor_of(straight, EDGES, [-width, 0.0, width], 70.0)
    rules = DesignRules()
    design = strips.triangulate(corridor, "clay", rules)
    s, o = (v.ravel() for v in np.meshgrid(np.arange(0.0, 71.0, 10.0), [-width, 0.0, width]))
    east, north, _ = point_at(straight, s, o)
    ground = surface_of(east, north, 100.0 + truth.difference(s, o))
    got = by_interval(
        "clay", overlay(ground, design), design, straight, np.array([10.0, 70.0]),
        lanes(corridor, "clay", rules),
    )  # fmt: skip
    inside = got.start == 10.0
    want = truth.volumes(10.0, 70.0)
    assert got.lane[inside].tolist() == ["edge of clay L to crown", "crown to edge of clay R"]
    assert got.cut_m3[inside] == pytest.approx([want.cut_left_m3, want.cut_right_m3], rel=1e-9)
    assert got.fill_m3[inside] == pytest.approx([0.0, want.fill_right_m3], rel=1e-9, abs=1e-12)


def test_lanes_by_breaks_of_another_layer_on_a_bend(bend, surface_of):
    """Analytic: level planes 0.2 m apart; a ring between radii 40 - b and 40 - a over an angle.

    The lane's edges are chords of 2 mm sagitta at most, so areas are within 2 mm times the length.
    """
    corridor = corridor_of(bend, EDGES, [-6.0, 0.0, 6.0], 100.0)
    inner = corridor_of(bend, (("lip", -1), ("crown", 0), ("lip", 1)), [-4.0, 0.0, 4.0], 100.0)
    both = Corridor("made", bend, corridor.profile, (corridor.layers[0], _renamed(inner)))
    rules = DesignRules()
    design = strips.triangulate(both, "clay", rules)
    box = np.array([[-40, -80], [100, -80], [100, 80], [-40, 80]], dtype=float)
    ground = surface_of(box[:, 0], box[:, 1], np.full(4, 100.2), [[0, 1, 2], [0, 2, 3]])
    pieces = overlay(ground, design)
    got = by_interval(
        "clay", pieces, design, bend, np.array([30.0, 65.0]), lanes(both, "finish", rules)
    )
    inside = got.start == 30.0
    area = [35.0 / 40 * ((40 - a) ** 2 - (40 - b) ** 2) / 2 for a, b in _pairs()]
    assert got.lane[inside].tolist() == [
        "left of lip L", "lip L to crown", "crown to lip R", "right of lip R",
    ]  # fmt: skip
    assert got.compared_area_m2[inside] == pytest.approx(area, abs=0.15)
    assert got.cut_m3[inside] == pytest.approx(0.2 * got.compared_area_m2[inside], rel=1e-9)
    whole = by_interval("clay", pieces, design, bend, np.array([30.0, 65.0]))
    assert got.cut_m3.sum() == pytest.approx(whole.cut_m3.sum(), rel=1e-9)
    assert got.cut_m3[inside].sum() == pytest.approx(whole.cut_m3[whole.start == 30.0][0], rel=1e-9)


def _pairs():
    return ((-6.0, -4.0), (-4.0, 0.0), (0.0, 4.0), (4.0, 6.0))


def _renamed(corridor):
    one = corridor.layers[0]
    return Layer("finish", "finish", one.breaks, one.side, one.station, one.offset, one.rise)


@pytest.mark.parametrize("crossing", [False, True])
@pytest.mark.parametrize("shots", [(900, 30), (30, 6000)])
def test_what_is_not_cut_counts_where_cutting_would_have_put_it(
    straight, random_pair, crossing, shots
):
    """Small pieces, or those of small triangles of the design, are told apart as they are;
    cutting every one of them gives the same rows."""
    ground, design = random_pair(4, *shots)
    pieces = overlay(ground, design)
    knot, stations = np.linspace(2.0, 48.0, 12), np.arange(5.0, 46.0, 5.0)
    offset = np.broadcast_to(np.array([-9.0, -4.0, 0.0, 4.0, 9.0]), (2, 11, 5)).copy()
    offset[:, 3:6, 1] = np.nan
    if crossing:
        offset[1, 7, 3] = -2.0
    bounds = Lanes(tuple("abcdef"), knot, offset)
    area, of = intervals._design_rows(design, straight, stations, bounds)
    assert area.sum() == pytest.approx(tin.area(design), rel=1e-12)
    known = of[pieces.design_triangle]
    assert (np.mean(known < 0) < 0.5) == (shots[1] > shots[0])
    got = intervals._sums(straight, pieces, (known, stations), bounds)
    corners = np.stack((pieces.x, pieces.y, pieces.cut))
    cut, row = intervals._placed(straight, pieces.origin, corners, (pieces.start, stations), bounds)
    each = parts(intervals._cuttings(cut))
    wanted = intervals.summed(row, intervals._contents(each), got.shape[1])
    assert (wanted[4] > 1e-3).sum() > 20
    np.testing.assert_allclose(got, wanted, rtol=1e-9, atol=1e-9)
