"""Station and offset of a point: exact, the nearest, and every other one said."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point

from pipeline.design import alignment as line
from pipeline.design import chunks
from pipeline.model import AlignmentRows, ElementRow

KINDS = {
    "line": lambda length, r, turn: [ElementRow("line", length)],
    "arc": lambda length, r, turn: [ElementRow("arc", min(length, 6.0 * r), r, r, turn)],
    "bulb": lambda length, r, turn: [ElementRow("arc", 4.5 * r, r, r, turn)],
    "spiral in": lambda length, r, turn: [ElementRow("clothoid", length, math.inf, r, turn)],
    "spiral out": lambda length, r, turn: [ElementRow("clothoid", length, r, math.inf, turn)],
    "egg": lambda length, r, turn: [ElementRow("clothoid", length, r, 2.5 * r, turn)],
    "bend": lambda length, r, turn: [
        ElementRow("clothoid", 0.4 * length, math.inf, r, turn),
        ElementRow("arc", 0.6 * length, r, r, turn),
        ElementRow("clothoid", 0.4 * length, r, math.inf, turn),
    ],
}

elements = st.lists(
    st.tuples(
        st.sampled_from(sorted(KINDS)), st.floats(5.0, 60.0), st.floats(9.0, 120.0),
        st.sampled_from([-1, 1]),
    ),
    min_size=1, max_size=5,
)  # fmt: skip


def chain(parts, azimuth=0.5, start=(5240.0, 3110.0), station=100.0):
    """Elements one after the other from a start; a flat list of `KINDS` and their sizes."""
    rows = [row for kind, *sizes in parts for row in KINDS[kind](*sizes)]
    first = rows[0]
    rows[0] = ElementRow(
        first.kind, first.length, first.radius_start, first.radius_end, first.turn, start=start
    )
    return line.build(AlignmentRows("invented", tuple(rows), station, azimuth))[0]


def by_hand(dx=0.0, bends=(0.0,), lengths=(50.0, 50.0)):
    """Lines from (0, 0) northward, turning right by each bend."""
    x, y, azimuth, rows = 0.0, 0.0, 0.0, []
    for length, bend in zip(lengths, (0.0, *bends), strict=True):
        azimuth += bend
        end = x + length * math.sin(azimuth), y + length * math.cos(azimuth)
        rows.append(ElementRow("line", start=(x, y), end=end))
        x, y = end[0] + dx, end[1]
    return line.build(AlignmentRows("by hand", tuple(rows)))[0]


@settings(max_examples=150, deadline=None)
@given(parts=elements, share=st.floats(0.0, 1.0), offset=st.floats(-40.0, 40.0))
def test_station_and_offset_to_the_grid_and_back(parts, share, offset):
    alignment = chain(parts)
    station = 100.0 + share * (alignment.station[-1] - 100.0)
    i = line.element_of(alignment, station)
    # at the very centre of a bend all of its stations are right
    assume(abs(1.0 - offset * line.curvature_on(alignment, i, np.float64(station))) > 1e-3)
    easting, northing, _ = line.point_at(alignment, station, offset)

    feet = line.locate(alignment, easting, northing)
    every = line.all_feet(alignment, float(easting), float(northing))

    # what went in is among the feet, however deep inside a bend
    assert min(math.dist(foot, (station, offset)) for foot in every) < 1e-6
    # and nothing is nearer than what came out, which gives the point back
    assert abs(feet.offset[0]) <= abs(offset) + 1e-6
    back = line.point_at(alignment, feet.station[0], feet.offset[0])
    assert math.dist(back[:2], (easting, northing)) < 1e-8
    if abs(feet.offset[0]) > abs(offset) - 1e-6 and feet.feet[0] == 1:
        assert feet.station[0] == pytest.approx(station, abs=1e-6)
        assert feet.offset[0] == pytest.approx(offset, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    parts=elements,
    places=st.lists(
        st.tuples(st.floats(-60.0, 60.0), st.floats(-60.0, 60.0)), min_size=5, max_size=5
    ),
    middle=st.floats(0.0, 1.0),
)
def test_the_foot_is_the_nearest_and_every_perpendicular_is_counted(parts, places, middle):
    """Against 20 000 points along the line: nearest distance, and changes of the lag's sign."""
    alignment = chain(parts)
    s = np.linspace(100.0, alignment.station[-1], 20_001)
    e, n, a = line.point_at(alignment, s)
    at = int(middle * 20_000)
    easting = e[at] + np.array([place[0] for place in places])
    northing = n[at] + np.array([place[1] for place in places])

    feet = line.locate(alignment, easting, northing, reach=math.inf)

    for i in range(len(places)):
        lag = (easting[i] - e) * np.sin(a) + (northing[i] - n) * np.cos(a)
        # a foot at the very end, or two that nearly run into one, cannot be told by sampling
        turning = np.flatnonzero(np.diff(np.sign(np.diff(lag))))
        assume(np.abs(lag[[0, *(turning + 1), -1]]).min() > 1e-2)
        distance = np.hypot(easting[i] - e, northing[i] - n)
        ahead = max(0.0, 100.0 - feet.station[i]) + max(0.0, feet.station[i] - s[-1])
        assert math.hypot(ahead, feet.offset[i]) <= distance.min() + 1e-9
        assert math.hypot(ahead, feet.offset[i]) >= distance.min() - 0.01
        changes = int(np.sum((lag[1:] > 0) != (lag[:-1] > 0)))
        assert feet.feet[i] == changes + (feet.beyond[i] != 0)
        assert len(line.all_feet(alignment, easting[i], northing[i])) == feet.feet[i]


@settings(max_examples=60, deadline=None)
@given(
    bends=st.lists(st.floats(-1.2, 1.2), min_size=1, max_size=4),
    x=st.floats(-80.0, 80.0),
    y=st.floats(-40.0, 160.0),
)
def test_a_line_with_kinks_agrees_with_a_general_geometry_library(bends, x, y):
    """shapely's LineString: distance to the line and distance along it, corners included."""
    alignment = by_hand(bends=tuple(bends), lengths=(30.0,) * (len(bends) + 1))
    ends = line.point_at(alignment, np.append(alignment.station[:-1], alignment.station[-1]))
    polyline = LineString(np.stack(ends[:2], axis=1))
    point = Point(x, y)

    feet = line.locate(alignment, x, y)

    past = max(0.0, -feet.station[0]) + max(0.0, feet.station[0] - alignment.station[-1])
    assert math.hypot(past, feet.offset[0]) == pytest.approx(polyline.distance(point), abs=1e-9)
    # the library's own station, unless another foot is as near
    nearest = sorted(abs(o) for _, o in line.all_feet(alignment, x, y))
    if len(nearest) < 2 or nearest[1] - nearest[0] > 1e-6:
        along = min(max(feet.station[0], 0.0), alignment.station[-1])
        assert along == pytest.approx(polyline.project(point), abs=1e-6)


def test_outside_a_kink_the_corner_itself_is_nearest():
    alignment = by_hand(bends=(math.pi / 2,))

    # 3-4-5 from the corner at (0, 50), on the outside: left of a turn to the right
    feet = line.locate(alignment, -3.0, 54.0)

    assert (feet.station[0], feet.offset[0]) == pytest.approx((50.0, -5.0))
    assert (feet.feet[0], feet.beyond[0]) == (0, 0)
    assert line.all_feet(alignment, -3.0, 54.0) == ((50.0, -5.0),)


def test_inside_a_kink_both_feet_are_given():
    alignment = by_hand(bends=(math.pi / 2,))

    feet = line.locate(alignment, 3.0, 46.0)

    assert (feet.station[0], feet.offset[0], feet.feet[0]) == pytest.approx((46.0, 3.0, 2))
    assert line.all_feet(alignment, 3.0, 46.0) == (
        pytest.approx((46.0, 3.0)), pytest.approx((53.0, 4.0)),
    )  # fmt: skip


def test_a_joint_rounded_to_micrometres_has_no_gap_and_no_second_foot(open_road_rows):
    alignment, _ = line.build(open_road_rows[0])
    offset = np.linspace(-15.0, 15.0, 61)
    for station in alignment.station[1:-1]:
        s = station + np.linspace(-2e-6, 2e-6, 61)
        easting, northing, _ = line.point_at(alignment, s, offset)

        feet = line.locate(alignment, easting, northing)

        np.testing.assert_allclose(feet.station, s, rtol=0, atol=2e-5)
        np.testing.assert_allclose(feet.offset, offset, rtol=0, atol=1e-6)
        assert feet.feet.max() == 1


def test_inside_the_radius_of_a_bulb_the_foot_across_is_counted():
    # a bulb of 12 m about (12, 0) from the west clockwise through 270°; the point lies
    # sqrt(20) m from the centre, atan(2 / 4) past the east
    alignment = chain([("arc", 12.0 * 1.5 * math.pi, 12.0, +1)], azimuth=0.0, start=(0.0, 0.0))
    near = 100.0 + 12.0 * (math.pi + math.atan(0.5)), 12.0 - math.sqrt(20.0)
    across = 100.0 + 12.0 * math.atan(0.5), 12.0 + math.sqrt(20.0)

    feet = line.locate(alignment, 16.0, -2.0)

    assert (feet.station[0], feet.offset[0], feet.feet[0]) == pytest.approx((*near, 2), abs=1e-9)
    assert line.all_feet(alignment, 16.0, -2.0) == (
        pytest.approx(near, abs=1e-9), pytest.approx(across, abs=1e-9),
    )  # fmt: skip


def test_at_the_centre_of_a_bend_the_offset_is_the_radius():
    alignment = chain([("arc", 15.0, 10.0, -1)], azimuth=0.0, start=(0.0, 0.0))

    feet = line.locate(alignment, -10.0, 0.0)

    assert feet.offset[0] == pytest.approx(-10.0, abs=1e-12)
    assert 100.0 <= feet.station[0] <= 115.0


def test_a_foot_out_of_reach_is_no_rival():
    # a hairpin: two legs 60 m apart
    alignment = chain(
        [("line", 100.0, 0, 1), ("arc", 30.0 * math.pi, 30.0, +1), ("line", 100.0, 0, 1)],
        azimuth=0.0,
    )
    point = line.point_at(alignment, 150.0, 5.0)[:2]

    assert line.locate(alignment, *point).feet[0] == 1
    assert line.locate(alignment, *point, reach=56.0).feet[0] == 2
    assert line.locate(alignment, *point, reach=1.0).feet[0] == 1
    # the third is across the centre of the bend
    assert len(line.all_feet(alignment, *map(float, point))) == 3
    assert len(line.all_feet(alignment, *map(float, point), reach=50.0)) == 1


def test_off_the_ends_station_and_offset_go_on_along_the_tangent():
    alignment = chain([("bend", 50.0, 30.0, -1)])
    s = np.array([90.0, 99.999, 100.0, alignment.station[-1], alignment.station[-1] + 7.5])
    easting, northing, _ = line.point_at(alignment, s, 2.5)

    feet = line.locate(alignment, easting, northing)

    np.testing.assert_allclose(feet.station, s, atol=1e-9)
    np.testing.assert_allclose(feet.offset, 2.5, atol=1e-9)
    assert feet.beyond.tolist() == [-1, -1, 0, 0, 1]
    assert feet.feet.tolist() == [1, 1, 1, 1, 1]


def test_a_coordinate_that_is_missing_has_no_foot():
    alignment = chain([("bend", 50.0, 30.0, -1)])

    feet = line.locate(alignment, [math.nan, 5240.0], [3110.0, math.nan])

    assert np.isnan(feet.station).all()
    assert np.isnan(feet.offset).all()
    assert feet.feet.tolist() == [0, 0]
    assert line.all_feet(alignment, math.nan, 0.0) == ()


def test_no_points_are_no_feet():
    assert len(line.locate(chain([("line", 5.0, 0, 1)]), [], []).station) == 0


@settings(max_examples=40, deadline=None)
@given(
    parts=elements, turn=st.floats(-3.1, 3.1), east=st.floats(-1e5, 1e5), north=st.floats(-1e5, 1e5)
)
def test_turning_and_shifting_the_job_changes_no_station_and_no_offset(parts, turn, east, north):
    x, y = np.meshgrid(np.linspace(-40.0, 40.0, 7), np.linspace(-30.0, 50.0, 7))
    x, y = x.ravel(), y.ravel()
    before = line.locate(chain(parts, 0.5, (0.0, 0.0)), x, y)
    sin, cos = math.sin(turn), math.cos(turn)
    moved = chain(parts, 0.5 + turn, (east, north))

    after = line.locate(moved, east + x * cos + y * sin, north - x * sin + y * cos)

    # at 1e5 m float64 leaves 1.5e-11 m; a point with two feet equally near may take either
    np.testing.assert_allclose(np.abs(after.offset), np.abs(before.offset), rtol=0, atol=1e-8)
    one = (before.feet == 1) & (np.abs(before.offset) < 8.0)
    np.testing.assert_allclose(after.station[one], before.station[one], rtol=0, atol=1e-8)


def test_the_mirrored_street_has_its_offsets_mirrored():
    parts = [("bend", 50.0, 30.0, -1), ("arc", 20.0, 15.0, +1), ("egg", 30.0, 20.0, +1)]
    mirrored = [(kind, length, r, -turn) for kind, length, r, turn in parts]
    x, y = np.meshgrid(np.linspace(-40.0, 40.0, 15), np.linspace(-30.0, 90.0, 15))

    right = line.locate(chain(parts, 0.0, (0.0, 0.0)), x.ravel(), y.ravel())
    left = line.locate(chain(mirrored, 0.0, (0.0, 0.0)), -x.ravel(), y.ravel())

    np.testing.assert_allclose(left.station, right.station, atol=1e-9)
    np.testing.assert_allclose(left.offset, -right.offset, atol=1e-9)
    assert left.feet.tolist() == right.feet.tolist()


def test_the_published_road_places_its_points_at_large_coordinates(open_road_rows):
    alignment, _ = line.build(open_road_rows[0])
    rng = np.random.default_rng(5)
    s, o = rng.uniform(0.0, 1266.24, 20_000), rng.uniform(-15.0, 15.0, 20_000)

    feet = line.locate(alignment, *line.point_at(alignment, s, o)[:2])

    # eastings of 2e7 m leave 3.7e-9 m of float64
    np.testing.assert_allclose(feet.station, s, rtol=0, atol=1e-6)
    np.testing.assert_allclose(feet.offset, o, rtol=0, atol=1e-6)
    assert np.median(np.abs(feet.station - s)) < 1e-8


@settings(max_examples=60, deadline=None)
@given(
    parts=elements,
    bends=st.lists(st.floats(-2.5, 2.5), min_size=1, max_size=4),
    seed=st.integers(0, 10**6),
)
def test_a_piece_that_is_passed_over_for_a_chunk_would_have_changed_nothing(parts, bends, seed):
    """Chunks of 20 points that lie together, against every point on every piece."""
    rng = np.random.default_rng(seed)
    for alignment in (chain(parts), by_hand(0.0, bends, [20.0] * (len(bends) + 1))):
        ends = alignment.easting, alignment.northing
        at = [rng.uniform(v.min() - 60.0, v.max() + 60.0, 400) for v in ends]
        at[0][7] = np.nan
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(chunks, "CHUNK", 20)
            few = line.locate(alignment, *at)
            patch.setattr(chunks.Sides, "matter", lambda self, points: self.front == self.front)
            patch.setattr(chunks, "CHUNK", 1000)
            every = line.locate(alignment, *at)
        # a search ends when the last of its chunk is there, so the last digits may differ
        np.testing.assert_allclose(few.station, every.station, rtol=0, atol=1e-9)
        np.testing.assert_allclose(few.offset, every.offset, rtol=0, atol=1e-9)
        assert few.feet.tolist() == every.feet.tolist()
        assert few.beyond.tolist() == every.beyond.tolist()


def test_a_million_points_at_once(record_property):
    parts = []
    for turn, radius in zip((1, -1) * 5, range(60, 160, 10), strict=True):
        parts += [("line", 30.0, 0, 1), ("bend", 70.0, float(radius), turn)]
    alignment = chain(parts)
    assert len(alignment.easting) == 40
    rng = np.random.default_rng(1)
    s = rng.uniform(100.0, alignment.station[-1], 1_000_000)
    o = rng.uniform(-15.0, 15.0, 1_000_000)
    easting, northing, _ = line.point_at(alignment, s, o)

    began = time.perf_counter()
    feet = line.locate(alignment, easting, northing)
    record_property("seconds for a million points on 40 elements", time.perf_counter() - began)

    np.testing.assert_allclose(feet.station, s, rtol=0, atol=1e-9)
    np.testing.assert_allclose(feet.offset, o, rtol=0, atol=1e-9)
    assert (feet.feet == 1).all()
    assert (feet.beyond == 0).all()
