"""Where points are set along a line, what they are called and in what order: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.compare.streets import Street
from pipeline.crew.hubs import stakes
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.stretches import multiples
from pipeline.design import alignment as line
from pipeline.design import changes, section
from pipeline.design import profile as heights
from pipeline.model import (
    AlignmentRows,
    BreakRow,
    Corridor,
    Depression,
    ElementRow,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
)
from pipeline.settings import LayerRule, StakeRules

RULES = StakeRules(interval_m=20.0, interval_curve_m=5.0, hub_behind_m=1.5, reference="back")
CURB = (BreakRow("flowline", 4.0, fall=0.02), BreakRow("back", 0.25, step=0.150))
LINE_ARC_LINE = (
    ElementRow("line", 45.0, start=(5240.0, 3110.0)), ElementRow("arc", 30.0, 50.0, turn=1),
    ElementRow("line", 45.0),
)  # fmt: skip


def street(elements=LINE_ARC_LINE, points=((0.0, 50.0), (120.0, 50.0)), **more):
    """A street of these elements and PVIs (station, height, half); sections as far as both go."""
    rows = AlignmentRows("street", tuple(elements), more.get("start", 0.0), 0.7)
    alignment, _ = line.build(rows)
    profile, _ = heights.build(
        ProfileRows("street", tuple(ProfileRow(*p[:2], *2 * p[2:]) for p in points))
    )
    right, left = more.get("halves", (CURB, CURB))
    row = SectionRow("one", -50.0, 400.0, (SectionLayer("finish", right, left),))
    layers = section.layers(SectionTable("s.toml", (row,)), [LayerRule(name="finish")])
    return Corridor("street", alignment, profile, layers)


@pytest.mark.parametrize(
    ("made", "stations"),
    [
        # on the arc from 45 to 75 every 5 m, its start counted, its end on the line ahead of it
        (street(), [0, 20, 40, 45, 50, 55, 60, 65, 70, 80, 100, 120]),
        # the profile is shorter, then the alignment
        (street(points=((3.0, 50.0), (62.0, 50.5), (117.0, 50.0))),
         [3, 20, 40, 45, 50, 55, 60, 65, 70, 80, 100, 117]),
        (street(points=((-9.0, 50.0), (62.0, 50.5), (300.0, 50.0))),
         [0, 20, 40, 45, 50, 55, 60, 65, 70, 80, 100, 120]),
        # arcs at both ends
        (street((ElementRow("arc", 12.0, 50.0, turn=1, start=(0.0, 0.0)), ElementRow("line", 40.0),
                 ElementRow("arc", 12.0, 50.0, turn=1)), ((0.0, 50.0), (64.0, 50.0))),
         [0, 5, 10, 20, 40, 55, 60, 64]),
        # a clothoid is curved from its straight end on
        (street((ElementRow("line", 45.0, start=(0.0, 0.0)),
                 ElementRow("clothoid", 20.0, np.inf, 50.0, 1),
                 ElementRow("clothoid", 15.0, 50.0, np.inf, 1), ElementRow("line", 20.0)),
                ((0.0, 50.0), (100.0, 50.0))),
         [0, 20, 40, 45, 50, 55, 60, 65, 70, 75, 80, 100]),
        # ends 30 mm from a whole station are the same lath, 60 mm are not
        (street(points=((0.0, 50.0), (100.03, 50.0))),
         [0, 20, 40, 45, 50, 55, 60, 65, 70, 80, 100]),
        (street(points=((19.94, 50.0), (100.06, 50.0))),
         [19.94, 20, 40, 45, 50, 55, 60, 65, 70, 80, 100, 100.06]),
        (street(points=((-10.0, 50.0), (40.0, 50.0)), start=-30.0),
         [-10, 0, 15, 20, 25, 30, 35, 40]),
    ],
)  # fmt: skip
def test_laths_stand_at_whole_intervals_and_closer_on_curves(made, stations):
    np.testing.assert_allclose(stakes.interval_stations(made, RULES), stations, atol=1e-9)


def test_a_range_that_ends_on_a_whole_station_but_for_rounding_has_it():
    hair = 1e-8
    for first, last in ((20 + hair, 60 - hair), (20 - hair, 60 + hair), (20, 60)):
        assert multiples(first, last, 20.0).tolist() == [20.0, 40.0, 60.0]
    assert multiples(20.001, 59.999, 20.0).tolist() == [40.0]


def test_a_part_with_marks_of_its_own_has_laths_there_only():
    made = street()
    own = Street("corner", "C", "return", made, ((0.0, "PC"), (7.25, "1/2"), (14.5, "PT")))

    assert stakes.street_stations(own, RULES).tolist() == [0.0, 7.25, 14.5]
    plain = replace(own, marks=())
    assert len(stakes.street_stations(plain, RULES)) == 12
    points = stakes.points_to_set(made, RULES, own.marks)
    assert points.station[:6].tolist() == [0.0, 7.25, 14.5, 14.5, 7.25, 0.0]
    assert points.mark[6:].tolist() == ["PC", "1/2", "PT"]
    assert points.id[6:].tolist() == ["PC0000.0", "1of2-0007.3", "PT0014.5"]


@pytest.fixture(scope="module")
def crest():
    """Up 2 % to 0+060, down 2 %, curve of 40 m: high point 0.2 m under the PVI at 0+060."""
    return street(points=((0.0, 50.0), (60.0, 51.2, 20.0), (120.0, 50.0)))


def test_points_of_the_line_come_by_station_then_from_left_to_right(crest):
    points = stakes.points_to_set(crest, RULES)
    rows = [k for k in range(len(points)) if points.kind[k] == "point"]
    told = [(points.mark[k], float(points.station[k]), float(points.offset[k])) for k in rows]

    # both edges have an even width and rise, so their high points stand beside that of the line
    assert [one[0] for one in told] == ["start", "PC", "HP", "HP", "HP", "PT", "end"]
    np.testing.assert_allclose([one[1] for one in told], [0, 45, 60, 60, 60, 75, 120], atol=1e-9)
    np.testing.assert_allclose([one[2] for one in told], [0, 0, -4.25, 0, 4.25, 0, 0], atol=1e-9)
    what = [points.what[k] for k in rows]
    assert what[1:6] == [
        "point of curvature", "high point of back", "high point of crown", "high point of back",
        "point of tangency",
    ]  # fmt: skip
    assert [points.id[k] for k in rows][1:6] == [
        "PC0045.0", "HP0060.0L", "HP0060.0", "HP0060.0R", "PT0075.0",
    ]  # fmt: skip
    # 2 % up for 60 m less the curve's middle ordinate A L / 8
    z = [float(points.design[k, 0]) for k in rows]
    top = 51.2 - 0.04 * 40.0 / 8.0
    np.testing.assert_allclose(z[2:5], [top - 0.08 + 0.15, top, top - 0.08 + 0.15], atol=1e-9)
    names = {stakes._point_words(one, "") for one in ("LP", "TS", "PI")}
    assert names == {"low point", "tangent to spiral", "PI"}


def test_a_side_without_the_reference_has_no_high_points_of_it():
    for halves, offset in (((CURB, ()), 4.25), (((), CURB), -4.25)):
        one_sided = street(points=((0.0, 50.0), (60.0, 51.2, 20.0), (120.0, 50.0)), halves=halves)
        points = stakes.points_to_set(one_sided, RULES)
        high = [float(points.offset[k]) for k in range(len(points)) if points.mark[k] == "HP"]
        assert sorted(high) == pytest.approx(sorted([0.0, offset]))
        hubs = points.offset[[kind == "stake" for kind in points.kind]]
        assert set(hubs.round(9)) == {offset + 1.5 * np.sign(offset)}


@pytest.mark.parametrize(
    ("at", "stations"),
    [
        (80.2, [65.0, 70.0, 80.2, 100.0]), (79.8, [65.0, 70.0, 79.8, 100.0]),
        (80.4, [65.0, 70.0, 80.0, 80.4, 100.0]), (79.6, [65.0, 70.0, 79.6, 80.0, 100.0]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("side", [-1, 1])
def test_a_hub_within_300_mm_of_that_of_a_basin_gives_way(at, stations, side):
    made = street()
    one = Depression(side, "flowline", 0.05, 1.0, 2.0, 0.5, True, station=at, basin="CB7")
    with_basin = replace(made, layers=changes.apply(made.layers, [one]), basins=(one,))
    points = stakes.points_to_set(with_basin, RULES)
    hubs = [kind == "stake" for kind in points.kind]
    own = points.station[(points.offset * side > 0) & hubs]
    assert sorted(float(s) for s in own if 62.0 < s < 110.0) == pytest.approx(stations)
    # the other side knows nothing of it
    other = points.station[(points.offset * side < 0) & hubs]
    assert sorted(s for s in other if 62.0 < s < 110.0) == [65.0, 70.0, 80.0, 100.0]
    (told,) = (what for what in points.what if "basin" in what)
    assert told.startswith("hub 1.50 behind back: basin CB7: flowline 49.870")


def test_how_far_behind_is_said_in_centimetres_or_tenths_of_a_foot():
    assert stakes.behind_words(RULES, METRIC) == "1.50"
    # 1.5 m are 4.92 feet
    assert stakes.behind_words(RULES, Measures("ft")) == "4.9"


def test_the_list_prints_its_reference_for_hubs_only(crest):
    points = stakes.points_to_set(crest, RULES)
    points = replace(points, station=points.station + 0.001)
    rows = stakes.table(points, RULES, {"": crest}).rows
    columns = stakes.table(points, RULES).columns
    reference, station = columns.index("reference"), columns.index("station")

    for kind, row in zip(points.kind, rows, strict=True):
        assert row[reference] == ("back" if kind == "stake" else "")
    assert rows[0][station] == "0+000.001"
