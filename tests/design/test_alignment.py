"""The line in plan: a published road, chained elements, and what is wrong with files."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_simpson

from pipeline.design import alignment as line
from pipeline.errors import DesignError
from pipeline.model import AlignmentRows, ElementRow

START = (5240.0, 3110.0)


def rows_of(*elements, azimuth=0.5, station=0.0):
    first, *others = elements
    return AlignmentRows(
        "invented", (dataclasses.replace(first, start=START), *others), station, azimuth
    )


# buildingSMART-Finland/InfraModel examples, CC-BY-4.0: check points of the main road, computed
# from the file by another program (station, northing, easting, azimuth in degrees)
@pytest.mark.parametrize(
    ("station", "northing", "easting", "azimuth"),
    [
        (100.0, 6782650.6928, 21530282.9307, 30.241629),
        (500.0, 6782922.7967, 21530571.3997, 37.704662),
        (1000.0, 6783099.9146, 21531024.0802, 76.430787),
    ],
)
def test_the_published_road_has_its_check_points(
    open_road_rows, station, northing, easting, azimuth
):
    alignment, _ = line.build(open_road_rows[0])

    e, n, a = line.point_at(alignment, station)

    assert float(n) == pytest.approx(northing, abs=1e-4)
    assert float(e) == pytest.approx(easting, abs=1e-4)
    assert math.degrees(a) == pytest.approx(azimuth, abs=2e-6)


def test_the_published_road_is_as_long_as_its_file_says(open_road_rows):
    alignment, found = line.build(open_road_rows[0])

    declared = [row.length for row in open_road_rows[0].elements]
    np.testing.assert_allclose(np.diff(alignment.station), declared, rtol=0, atol=2e-6)
    assert alignment.station[-1] == pytest.approx(1266.246238, abs=2e-6)
    assert found == ()


def test_every_element_of_the_published_road_ends_where_its_file_says(open_road_rows):
    rows, _ = open_road_rows
    alignment, _ = line.build(rows)

    just_before = np.nextafter(alignment.station[1:], 0.0)
    easting, northing, _ = line.point_at(alignment, just_before)

    np.testing.assert_allclose(easting, [row.end[0] for row in rows.elements], rtol=0, atol=2e-6)
    np.testing.assert_allclose(northing, [row.end[1] for row in rows.elements], rtol=0, atol=2e-6)


# mac999/landxml_parser @ fe363394703b, landxml_road_cl_sample.xml, MIT: line, clothoid, arc,
# clothoid, line; (northing, easting) as in the file
SAMPLE = (
    ("line", 300.0, (4500.0, 5000.0), (4759.807621135332, 5150.0)),
    ("clothoid", 80.0, (4759.807621135332, 5150.0), (4830.352784728756, 5187.652266484913)),
    ("arc", 200.0, (4830.352784728756, 5187.652266484913), (5025.301075223637, 5221.839167897646)),
    ("clothoid", 80.0, (5025.301075223637, 5221.839167897646),
     (5104.448515045761, 5210.437586977566)),
    ("line", 300.0, (5104.448515045761, 5210.437586977566), (5399.792997353741, 5157.791250255709)),
)  # fmt: skip
SAMPLE_PIS = {1: (4806.019859579980, 5176.680648305874), 3: (5051.915299968832, 5219.801842942023)}


def sample_rows(**changes):
    elements = []
    for i, (kind, length, start, end) in enumerate(SAMPLE):
        element = ElementRow(
            kind,
            length,
            radius_start=math.inf if i == 1 or kind == "line" else 400.0,
            radius_end=math.inf if i == 3 or kind == "line" else 400.0,
            turn=0 if kind == "line" else -1,
            start=start[::-1],
            end=end[::-1],
            centre=(4823.006029554706, 4994.770307799261) if kind == "arc" else None,
            intersection=SAMPLE_PIS[i][::-1] if i in SAMPLE_PIS else None,
        )
        elements.append(dataclasses.replace(element, **changes.get(f"_{i}", {})))
    return AlignmentRows("sample", tuple(elements), declared_length=960.0)


def test_a_published_clothoid_sample_fits_its_points():
    alignment, found = line.build(sample_rows())

    assert found == ()
    assert alignment.station[-1] == pytest.approx(960.0, abs=1e-6)
    before_end = np.nextafter(alignment.station[1:], 0.0)
    e, n, azimuth = line.point_at(alignment, before_end)
    np.testing.assert_allclose(n, [row[3][0] for row in SAMPLE], rtol=0, atol=1e-6)
    np.testing.assert_allclose(e, [row[3][1] for row in SAMPLE], rtol=0, atol=1e-6)
    # the file's own directions, clockwise from north: they are not read, but here they agree
    np.testing.assert_allclose(
        np.degrees(azimuth[[1, 2]]), [24.270422048692, 355.622532292151], rtol=0, atol=1e-6
    )
    assert [what for _, what in line.key_points(alignment)] == [
        "start", "TS", "SC", "CS", "ST", "end",
    ]  # fmt: skip


def test_a_clothoid_without_length_gets_the_one_that_fits_its_ends():
    alignment, _ = line.build(sample_rows(_1={"length": math.nan, "intersection": None}))

    assert np.diff(alignment.station)[1] == pytest.approx(80.0, abs=1e-6)


def test_a_clothoid_that_misses_its_end_is_found():
    end = SAMPLE[1][3]
    _, found = line.build(sample_rows(_1={"end": (end[1] + 0.05, end[0])}))

    kinds = {finding.kind for finding in found}
    assert "clothoid misfit" in kinds
    assert any("misses its end point by 0.02" in finding.text for finding in found)
    assert any("starts 0.0441 m from the end" in f.text for f in found)


def test_a_pi_that_lies_elsewhere_is_found():
    pi = SAMPLE_PIS[1]
    _, found = line.build(sample_rows(_1={"intersection": (pi[1] + 1.0, pi[0])}))

    assert [f.kind for f in found] == ["clothoid misfit"]
    assert "the tangent towards its PI is 0.9" in found[0].text


@settings(max_examples=40, deadline=None)
@given(
    data=st.lists(
        st.tuples(
            st.sampled_from(["line", "arc", "clothoid", "egg"]),
            st.floats(5.0, 60.0),
            st.floats(12.0, 300.0),
            st.sampled_from([-1, 1]),
        ),
        min_size=1,
        max_size=6,
    ),
    azimuth=st.floats(0.0, 6.28),
)
def test_the_line_is_the_integral_of_its_direction(data, azimuth):
    elements = []
    for kind, length, radius, turn in data:
        ends = {
            "line": (math.inf, math.inf), "arc": (radius, radius),
            "clothoid": (math.inf, radius), "egg": (radius, 1.7 * radius),
        }[kind]  # fmt: skip
        elements.append(
            ElementRow(
                "clothoid" if kind == "egg" else kind, length, *ends, 0 if kind == "line" else turn
            )
        )
    alignment, found = line.build(rows_of(*elements, azimuth=azimuth))

    # joints of other radii are told by themselves, and are meant here
    assert {one.kind for one in found} <= {"clothoid radius"}
    start_e, start_n = START
    for i in range(len(elements)):
        # Simpson over 2001 directions of each element, independent of every closed form
        s = np.linspace(alignment.station[i], alignment.station[i + 1], 2001)
        e, n, a = line.point_at(alignment, np.minimum(s, np.nextafter(s[-1], -1.0)))
        by_sum = cumulative_simpson(np.stack([np.sin(a), np.cos(a)]), x=s, initial=0.0)
        np.testing.assert_allclose(e - start_e, by_sum[0], rtol=0, atol=1e-8)
        np.testing.assert_allclose(n - start_n, by_sum[1], rtol=0, atol=1e-8)
        start_e, start_n = e[-1], n[-1]


def test_elements_by_points_and_by_length_give_one_line():
    chained = rows_of(
        ElementRow("line", 40.0),
        ElementRow("clothoid", 30.0, math.inf, 60.0, +1),
        ElementRow("arc", 250.0, 60.0, 60.0, +1),
        ElementRow("clothoid", 20.0, 60.0, 90.0, +1),
        station=100.0,
    )
    alignment, _ = line.build(chained)
    ends = line.point_at(alignment, np.nextafter(alignment.station[1:], 0.0))
    elements = []
    for i, row in enumerate(chained.elements):
        start = alignment.easting[i], alignment.northing[i]
        a, k = alignment.azimuth[i], alignment.curvature_start[i]
        centre = (start[0] + math.cos(a) / k, start[1] - math.sin(a) / k) if k else None
        elements.append(
            dataclasses.replace(
                row,
                start=start,
                end=(float(ends[0][i]), float(ends[1][i])),
                centre=centre if row.kind == "arc" else None,
            )
        )

    # the arc sweeps 238.7°: its side comes from the turn, its sweep from the centre
    again, found = line.build(AlignmentRows("points", tuple(elements), 100.0))

    assert found == ()
    s = np.linspace(100.0, alignment.station[-1], 200)
    np.testing.assert_allclose(
        np.stack(line.point_at(again, s)), np.stack(line.point_at(alignment, s)), atol=1e-8
    )


def test_a_full_circle_starts_and_ends_at_one_point():
    circle = ElementRow(
        "arc", length=2 * math.pi * 12, turn=+1, start=(100.0, 50.0), end=(100.0, 50.0),
        centre=(112.0, 50.0),
    )  # fmt: skip
    alignment, found = line.build(AlignmentRows("bulb", (circle,)))

    e, n, _ = line.point_at(alignment, [0.0, 6 * math.pi, 12 * math.pi, 18 * math.pi])
    np.testing.assert_allclose(e, [100, 112, 124, 112], atol=1e-9)
    np.testing.assert_allclose(n, [50, 62, 50, 38], atol=1e-9)
    assert found == ()


def test_stations_run_on_along_the_end_tangents():
    alignment, _ = line.build(rows_of(ElementRow("arc", 30.0, 20.0, 20.0, +1), azimuth=0.0))

    e, n, a = line.point_at(alignment, [-10.0, 40.0], [2.0, 0.0])

    assert (e[0] - START[0], n[0] - START[1]) == pytest.approx((2.0, -10.0), abs=1e-9)
    end = START[0] + 20 - 20 * math.cos(1.5), START[1] + 20 * math.sin(1.5)
    assert e[1] == pytest.approx(end[0] + 10 * math.sin(1.5), abs=1e-9)
    assert n[1] == pytest.approx(end[1] + 10 * math.cos(1.5), abs=1e-9)
    np.testing.assert_allclose(a, [0.0, 1.5], atol=1e-12)


def test_an_offset_is_square_to_the_line_and_right_is_plus(open_road_rows):
    alignment, _ = line.build(open_road_rows[0])
    s = np.linspace(0.0, 1266.0, 50)
    e0, n0, a = line.point_at(alignment, s)
    e, n, _ = line.point_at(alignment, s, 3.5)

    np.testing.assert_allclose((e - e0) * np.sin(a) + (n - n0) * np.cos(a), 0.0, atol=2e-8)
    np.testing.assert_allclose((e - e0) * np.cos(a) - (n - n0) * np.sin(a), 3.5, atol=2e-8)


def test_key_points_have_the_names_of_the_trade():
    alignment, _ = line.build(
        rows_of(
            ElementRow("line", 10.0),
            ElementRow("arc", 10.0, 50.0, 50.0, +1),
            ElementRow("arc", 10.0, 30.0, 30.0, +1),
            ElementRow("arc", 10.0, 30.0, 30.0, +1),
            ElementRow("arc", 10.0, 40.0, 40.0, -1),
            ElementRow("line", 10.0),
            ElementRow("line", 10.0),
            ElementRow("clothoid", 10.0, math.inf, 40.0, -1),
            ElementRow("clothoid", 10.0, 40.0, math.inf, -1),
            ElementRow("line", 10.0),
            station=1000.0,
        )
    )

    # common practice, no source; two arcs of one radius and two lines in one direction: nothing
    assert line.key_points(alignment) == (
        (1000.0, "start"), (1010.0, "PC"), (1020.0, "PCC"), (1040.0, "PRC"), (1050.0, "PT"),
        (1070.0, "TS"), (1080.0, "spiral to spiral"), (1090.0, "ST"), (1100.0, "end"),
    )  # fmt: skip
    assert line.element_kinds(alignment)[6:9] == ("line", "clothoid", "clothoid")


def two_lines(dx=0.0, dy=0.0, bend=0.0):
    """50 m north, then 50 m on after a gap and a bend to the right [rad]."""
    x, y = 100.0 + dx, 250.0 + dy
    return AlignmentRows(
        "two",
        (
            ElementRow("line", start=(100.0, 200.0), end=(100.0, 250.0)),
            ElementRow(
                "line", start=(x, y), end=(x + 50 * math.sin(bend), y + 50 * math.cos(bend))
            ),
        ),
    )


@pytest.mark.parametrize(
    ("rows", "kind", "severity", "words"),
    [
        (two_lines(dx=0.005), "alignment gap", "note", "starts 0.0050 m from the end"),
        (two_lines(dy=0.5), "alignment gap", "person", "starts 0.5000 m from the end"),
        (two_lines(bend=5e-4), "alignment kink", "note", "turns 0.0286° to the right"),
        # the kink of 1.2824° that a published alignment has after its fifth element
        (
            two_lines(bend=-math.radians(1.2824)),
            "alignment kink",
            "person",
            "turns 1.2824° to the left",
        ),
    ],
)
def test_gaps_and_kinks_are_found_with_their_size_and_station(rows, kind, severity, words):
    _, found = line.build(rows)

    assert [(f.kind, f.severity, f.station) for f in found] == [(kind, severity, 50.0)]
    assert words in found[0].text
    assert "0+050.000" in found[0].text


def test_an_intended_corner_is_a_pi():
    alignment, _ = line.build(two_lines(bend=0.3))

    assert line.key_points(alignment)[1] == (50.0, "PI")


def arc_rows(**changes):
    """A quarter circle of 20 m to the right, by points."""
    arc = ElementRow(
        "arc", turn=+1, start=(0.0, 0.0), end=(20.0, 20.0), centre=(20.0, 0.0),
        length=math.pi * 10, radius_start=20.0,
    )  # fmt: skip
    return AlignmentRows("arc", (dataclasses.replace(arc, **changes),))


@pytest.mark.parametrize(
    ("changes", "kind", "words"),
    [
        ({"end": (20.0, 20.01)}, "arc radii", "centre is 20.0000 m from the start and 20.0100 m"),
        (
            {"length": 32.0},
            "declared length",
            "the file says length 32.0000 m, its points give 31.",
        ),
        ({"radius_start": 21.0}, "arc radius", "says radius 21.0000 m, its points give 20.0000 m"),
        # the wrong side: the arc goes the long way round, and its length says that it does not
        ({"turn": -1}, "declared length", "its points give 94.2478 m"),
    ],
)
def test_an_arc_that_contradicts_itself_is_found(changes, kind, words):
    _, found = line.build(arc_rows(**changes))

    assert kind in [f.kind for f in found]
    assert any(words in f.text for f in found)
    assert all(f.severity == "person" for f in found)


def test_a_declared_total_length_is_compared():
    rows = dataclasses.replace(arc_rows(), declared_length=40.0)
    _, found = line.build(rows)

    assert [f.kind for f in found] == ["declared length"]
    assert "alignment 'arc': the file says length 40.0000 m, its elements give 31.4159" in (
        found[0].text
    )


def test_rounded_points_of_a_good_file_raise_no_findings():
    """Millimetre coordinates are common practice (no source): an arc of 1 m on R 200 m."""
    arc = ElementRow(
        "arc", turn=+1, length=1.0, radius_start=200.0, start=(0.0, 0.0), end=(0.002, 1.0),
        centre=(200.0, 0.001),
    )  # fmt: skip
    alignment, found = line.build(AlignmentRows("short", (arc,)))

    assert found == ()
    assert 1 / alignment.curvature_start[0] == pytest.approx(200.0, abs=0.002)


def test_elements_without_length_are_left_out_and_said():
    nothing = ElementRow("line", start=(100.0, 250.0), end=(100.0, 250.0), where="road.xml line 9")
    first, second = two_lines().elements
    alignment, found = line.build(AlignmentRows("three", (first, nothing, second)))

    assert len(alignment.easting) == 2
    assert [(f.kind, f.severity) for f in found] == [("element without length", "note")]
    assert "road.xml line 9" in found[0].text


def test_station_equations_are_carried(open_road_rows):
    rows = dataclasses.replace(open_road_rows[0], equations=((240.0, 240.0, 200.0),))

    assert line.build(rows)[0].equations == ((240.0, 240.0, 200.0),)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (AlignmentRows("a", ()), "alignment 'a': it has no elements"),
        (AlignmentRows("a", (ElementRow("line", 5.0),), 0.0, 0.0), "element 1 .*no start point"),
        (AlignmentRows("a", (ElementRow("line", 5.0, start=START),)), "has no direction"),
        (AlignmentRows("a", (ElementRow("line", start=START),), 0.0, 0.0), "line has length nan"),
        (rows_of(ElementRow("arc", 5.0, 20.0)), "the arc does not say which way it turns"),
        (rows_of(ElementRow("arc", 5.0, turn=1)), "the arc has no radius. Give its radius"),
        (rows_of(ElementRow("arc", 5.0, -20.0, turn=1)), "the arc has radius -20.0"),
        (rows_of(ElementRow("arc", 200.0, 20.0, turn=1)), "turns 573.0°, more than a full circle"),
        (rows_of(ElementRow("clothoid", 5.0, turn=1)), "the clothoid has no radius"),
        (rows_of(ElementRow("clothoid", 5.0, 20.0, math.nan, 1)), "radius 20.0 and nan"),
        (rows_of(ElementRow("line", 5.0), station=math.inf), "it starts at station inf"),
        (arc_rows(turn=0), "the arc does not say which way it turns"),
        (arc_rows(end=(math.nan, 0.0)), "a point at easting nan"),
        (arc_rows(centre=None, end=(0.0, 0.0)), "the alignment has no direction"),
        (arc_rows(end=(0.0, 0.0), length=math.nan), "starts and ends at one point"),
        (arc_rows(centre=(0.0, 0.0), end=(0.0, 0.0)), "centre lies on the arc"),
        (sample_rows(_1={"turn": 0}), "element 2 of .*: the clothoid does not say which way"),
        (sample_rows(_1={"length": -1.0}), "the clothoid has length -1.0"),
    ],
)
def test_rows_that_make_no_line_are_refused_by_name(rows, message):
    with pytest.raises(DesignError, match=message):
        line.build(rows)


def test_the_row_of_the_file_is_named():
    row = ElementRow("line", math.nan, start=START, where="alignment.csv line 7")

    with pytest.raises(DesignError, match=r"alignment.csv line 7: the line has length nan"):
        line.build(AlignmentRows("a", (row,), 0.0, 0.0))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (
            [("line", 50, math.inf, math.inf, 0), ("clothoid", 30, math.inf, 100, 1),
             ("arc", 40, 120, 120, 1)],
            ["element 3", "this arc begins with radius 120.000 m to the right",
             "the clothoid before it ends with radius 100.000 m to the right", "0+080.000"],
        ),
        (
            [("arc", 40, 120, 120, -1), ("clothoid", 30, 90, math.inf, -1)],
            ["element 2", "this clothoid begins with radius 90.000 m to the left",
             "the arc before it ends with radius 120.000 m to the left", "0+040.000"],
        ),
        (
            [("clothoid", 30, math.inf, 100, 1), ("line", 40, math.inf, math.inf, 0)],
            ["this line begins straight", "ends with radius 100.000 m to the right"],
        ),
        (
            [("clothoid", 30, math.inf, 100, 1), ("arc", 40, 100, 100, -1)],
            ["with radius 100.000 m to the left", "with radius 100.000 m to the right"],
        ),
    ],
)  # fmt: skip
def test_a_clothoid_that_meets_another_radius_is_told_with_both(rows, words):
    elements = [ElementRow(*row) for row in rows]
    _, found = line.build(rows_of(*elements, azimuth=1.0))
    (told,) = [one for one in found if one.kind == "clothoid radius"]

    assert told.severity == "person"
    for word in words:
        assert word in told.text


def test_a_clothoid_between_line_and_arc_of_its_radius_has_nothing_to_tell():
    elements = (
        ElementRow("line", 50.0), ElementRow("clothoid", 30.0, math.inf, 100.0, 1),
        ElementRow("arc", 40.0, 100.004, 100.004, 1), ElementRow("clothoid", 30.0, 100.0, 60.0, 1),
        ElementRow("arc", 40.0, 60.0, 60.0, 1),
    )  # fmt: skip
    assert line.build(rows_of(*elements, azimuth=1.0))[1] == ()


def on_its_way(*more, station=1000.0, **first):
    """40.001 m north from 1+000, then the elements given."""
    first = ElementRow("line", 40.001, **{"start": (100.0, 200.0), **first})
    return AlignmentRows("way", (first, *more), station, 0.0)


def test_what_is_wrong_with_an_element_is_told_at_its_own_station():
    """A third element starts 30 mm aside; a second one contradicts its own centre."""
    east, north = 100.0, 240.001
    line_on = ElementRow("line", 9.5)
    aside = ElementRow("line", start=(east + 0.030, north + 9.5), end=(east + 0.030, north + 20.0))
    _, found = line.build(on_its_way(line_on, aside))
    assert [(f.kind, f.station) for f in found] == [("alignment gap", pytest.approx(1049.501))]
    assert found[0].text.endswith(", at station 1+049.501")

    arc = ElementRow(
        "arc", turn=+1, start=(east, north), end=(east + 20.0, north + 20.01),
        centre=(east + 20.0, north), radius_start=20.0,
    )  # fmt: skip
    _, found = line.build(on_its_way(arc))
    assert found[0].kind == "arc radii"
    assert found[0].station == pytest.approx(1040.001)
    assert ", at station 1+040.001" in found[0].text


@pytest.mark.parametrize("declared", [40.001 + 0.003, 40.001 - 0.003])
def test_a_total_is_compared_both_ways_and_without_the_first_station(declared):
    rows = on_its_way()
    assert line.build(dataclasses.replace(rows, declared_length=40.002))[1] == ()
    (found,) = line.build(dataclasses.replace(rows, declared_length=declared))[1]
    assert f"says length {declared:.4f} m, its elements give 40.0010 m" in found.text


def test_a_first_element_that_does_not_say_its_start_is_refused_whatever_follows():
    rows = AlignmentRows(
        "a",
        (ElementRow("line", 5.0, end=(1.0, 2.0)), ElementRow("line", 5.0, start=START)),
        0.0, 0.0,
    )  # fmt: skip
    with pytest.raises(DesignError, match=r"element 1 .*no start point"):
        line.build(rows)


def test_at_a_joint_the_element_ahead_counts_and_off_the_ends_the_nearest():
    alignment, _ = line.build(on_its_way(ElementRow("arc", 10.0, 50.0, turn=1), station=0.0))

    found = line.element_of(alignment, [-5.0, 0.0, 40.0, 40.001, 50.001, 60.0])
    assert found.tolist() == [0, 0, 0, 1, 1, 1]
    assert found.dtype == np.int64


def test_curvature_runs_evenly_along_a_clothoid():
    """From radius 80 to radius 20 over 30 m, to the left: by the definition of a clothoid."""
    spiral = ElementRow("clothoid", 30.0, 80.0, 20.0, -1, start=(0.0, 0.0))
    alignment, _ = line.build(AlignmentRows("s", (spiral,), 100.0, 0.0))
    station = np.array([100.0, 110.0, 115.0, 130.0])

    found = line.curvature_on(alignment, np.zeros(4, dtype=np.int64), station)
    share = np.array([0.0, 1 / 3, 1 / 2, 1.0])
    np.testing.assert_allclose(found, -(1 / 80 + share * (1 / 20 - 1 / 80)), rtol=1e-12)


def test_a_corner_to_the_left_is_a_pi_too_and_an_arc_goes_on_unnamed():
    assert line.key_points(line.build(two_lines(bend=-0.3))[0])[1] == (50.0, "PI")
    assert len(line.key_points(line.build(two_lines(bend=1e-7))[0])) == 2
    arcs = [ElementRow("arc", 10.0, radius, turn=turn) for radius, turn in
            ((50.0, -1), (50.0, -1), (50.003, -1), (30.0, -1), (30.0, 1))]  # fmt: skip
    names = [what for _, what in line.key_points(line.build(on_its_way(*arcs))[0])]
    # of radii that rounded points could have made of one nobody marks the joint
    assert names == ["start", "PC", "PCC", "PRC", "end"]
