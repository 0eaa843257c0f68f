"""The points to set: close enough on curves, at every change, clear of the machine and of pipes."""

from __future__ import annotations

import csv
import io
import itertools
from dataclasses import replace

import numpy as np
import pytest

from pipeline.crew.hubs import hub_places, layout, stakes
from pipeline.crew.measures import Measures
from pipeline.deliver.csv import csv_text
from pipeline.design import alignment as line
from pipeline.design import changes, section
from pipeline.design import profile as heights
from pipeline.errors import DesignError, JobError
from pipeline.model import (
    AlignmentRows,
    BreakRow,
    Corridor,
    CurbDrop,
    Depression,
    ElementRow,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
    Utilities,
    Widening,
    texts,
)
from pipeline.settings import LayerRule, LayoutRules, StakeRules

STAKES = StakeRules(reference="back")
RULES = LayoutRules()


def half(fall):
    return (
        BreakRow("flowline", 4.0, fall=fall),
        BreakRow("back", 0.25, step=0.150),
    )


def corridor(elements, points, sections, equations=()):
    alignment, _ = line.build(
        AlignmentRows("street", tuple(elements), 0.0, 0.7, equations=equations)
    )
    profile, _ = heights.build(ProfileRows("street", tuple(points)))
    table = SectionTable("sections.toml", tuple(sections))
    layers = section.layers(table, [LayerRule(name="finish")])
    return Corridor("street", alignment, profile, layers)


@pytest.fixture(scope="module")
def sag():
    """Worked by hand: a 60 m sag, 2 -> 3 % from 190 to 220, 4.0 m wide."""
    return corridor(
        [ElementRow("line", 300.0, start=(5240.0, 3110.0))],
        [ProfileRow(0.0, 54.0), ProfileRow(200.0, 50.0, 30.0, 30.0), ProfileRow(300.0, 51.5)],
        [
            SectionRow("two", 0.0, 190.0, (SectionLayer("finish", half(0.02), half(0.02)),)),
            SectionRow("three", 220.0, 300.0, (SectionLayer("finish", half(0.03), half(0.03)),)),
        ],
    )


@pytest.fixture(scope="module")
def bends():
    """A spiral, R 60 right, R 12 left: chords must shorten."""
    section_row = SectionRow("one", 0.0, 160.0, (SectionLayer("finish", half(0.02), half(0.02)),))
    return corridor(
        [
            ElementRow("line", 41.3, start=(5240.0, 3110.0)),
            ElementRow("clothoid", 18.7, np.inf, 60.0, +1),
            ElementRow("arc", 40.0, 60.0, turn=+1),
            ElementRow("line", 20.0),
            ElementRow("arc", 15.0, 12.0, turn=-1),
            ElementRow("line", 25.0),
        ],
        [ProfileRow(0.0, 50.0), ProfileRow(80.0, 51.2, 25.0, 25.0), ProfileRow(160.0, 50.0)],
        [section_row],
    )


def hubs(points, side):
    rows = [i for i in range(len(points)) if points.kind[i] == "stake"]
    return [i for i in rows if np.sign(points.offset[i]) == side]


def test_the_gutter_low_point_is_set_where_the_fixture_has_it(sag):
    points, _ = layout.points_to_set(sag, STAKES, RULES, None)

    # gutter LP at chain 206.571, crown LP at 204.286, elevation 50.1566 and 50.2571
    low = [i for i in range(len(points)) if points.what[i] == "LP flowline"]
    assert [round(float(points.station[i]), 3) for i in low] == [206.571, 206.571]
    assert points.offset[low].tolist() == [-4.0, 4.0]
    np.testing.assert_allclose(points.design[low, 0], 50.1566, atol=1e-4)
    crown = [i for i in range(len(points)) if points.what[i] == "LP crown"]
    assert [round(float(points.station[i]), 3) for i in crown] == [204.286]
    assert [points.mark[i] for i in (*low, *crown)] == ["LP", "LP", "LP"]
    for side in (-1, 1):
        stations = points.station[hubs(points, side)]
        for wanted in (170.0, 190.0, 204.2857, 206.5714, 220.0, 230.0, 300.0):
            assert np.abs(stations - wanted).min() < 1e-3


def test_hubs_stand_behind_the_reference_and_carry_its_height(sag):
    points, found = layout.points_to_set(sag, STAKES, RULES, None)

    rows = hubs(points, 1)
    np.testing.assert_allclose(points.offset[rows], 4.25 + 1.5, atol=1e-9)
    at_100 = next(i for i in rows if abs(points.station[i] - 100.0) < 1e-6)
    # crown 52.000, 2 % over 4.0 m down, 0.150 up
    assert points.design[at_100, 0] == pytest.approx(52.0 - 0.08 + 0.15, abs=1e-9)
    assert points.id[at_100] == "0100.0R"
    assert points.mark[at_100] == "1.50 BACK"
    assert not found


@pytest.mark.parametrize("sagitta", [0.005, 0.020, 0.080])
def test_no_chord_between_hubs_leaves_its_curve_by_more_than_allowed(bends, sagitta):
    rules = replace(RULES, sagitta_m=sagitta)
    points, _ = layout.points_to_set(bends, STAKES, rules, None)

    worst = 0.0
    for side in (-1, 1):
        rows = sorted(hubs(points, side), key=lambda i: points.station[i])
        for i, j in itertools.pairwise(rows):
            station = np.linspace(points.station[i], points.station[j], 41)
            offset = np.full(41, points.offset[i])
            e, n, _ = line.point_at(bends.alignment, station, offset)
            # distance of sampled curve points from the straight chord: plain plane geometry
            de, dn = e[-1] - e[0], n[-1] - n[0]
            away = np.abs((e - e[0]) * dn - (n - n[0]) * de) / np.hypot(de, dn)
            worst = max(worst, float(away.max()))
    assert 0.2 * sagitta < worst <= sagitta * 1.002


def test_the_interval_follows_the_square_root_of_8_r_m():
    bend = corridor(
        [ElementRow("arc", 100.0, 200.0, turn=-1, start=(0.0, 0.0))],
        [ProfileRow(0.0, 50.0), ProfileRow(100.0, 51.0)],
        [SectionRow("one", 0.0, 100.0, (SectionLayer("finish", half(0.02), half(0.02)),))],
    )
    rules = replace(RULES, sagitta_m=0.02, apart_m=0.01)

    found = hub_places.interval_reasons(bend, rules, np.array([0.0]))

    # sqrt(8 * 200 * 0.02) = 5.66 m, so a half of 10 m
    assert {round(b.station - a.station, 6) for a, b in itertools.pairwise(found)} == {5}


def test_the_interval_follows_the_square_root_of_800_k_m():
    crest = corridor(
        [ElementRow("line", 200.0, start=(0.0, 0.0))],
        [ProfileRow(0.0, 50.0), ProfileRow(100.0, 55.0, 50.0, 50.0), ProfileRow(200.0, 50.0)],
        [SectionRow("one", 0.0, 200.0, (SectionLayer("finish", half(0.02), half(0.02)),))],
    )
    found = hub_places.interval_reasons(crest, RULES, np.array([0.0]))

    # K = 100 m / 10 % = 10: sqrt(800 * 10 * 0.005) = 6.32 m, so 5 m between 50 and 150
    stations = np.unique([reason.station for reason in found])
    inside = stations[(stations >= 50.0) & (stations <= 150.0)]
    assert set(np.diff(inside).round(6)) == {5.0}
    assert set(np.diff(stations[stations <= 50.0]).round(6)) == {10.0}


def test_no_two_hubs_stand_on_top_of_each_other_and_no_id_is_there_twice(bends):
    points, _ = layout.points_to_set(bends, STAKES, RULES, None)

    assert len(set(points.id)) == len(points)
    for side in (-1, 1):
        rows = hubs(points, side)
        e, n = points.easting[rows], points.northing[rows]
        away = np.hypot(e[:, None] - e[None, :], n[:, None] - n[None, :])
        np.fill_diagonal(away, np.inf)
        assert away.min() >= RULES.apart_m - 1e-3


def test_the_list_walks_up_the_left_and_back_down_the_right(bends):
    points, _ = layout.points_to_set(bends, STAKES, RULES, None)

    left, right = hubs(points, -1), hubs(points, 1)
    assert (np.diff(points.station[left]) > 0.0).all()
    assert (np.diff(points.station[right]) < 0.0).all()
    assert max(left) < min(right)


def test_ids_do_not_change_when_the_interval_does(bends):
    coarse, _ = layout.points_to_set(bends, STAKES, RULES, None)
    fine, _ = layout.points_to_set(bends, STAKES, replace(RULES, interval_m=5.0), None)

    def told(points):
        """Those that stand at something, not at an interval."""
        plain = "hub 1.50 behind back"
        return {one for one, what in zip(points.id, points.what, strict=True) if what != plain}

    assert told(coarse) == told(fine)
    assert len(fine) > len(coarse)
    assert len(told(coarse)) > 20


def things(easting, northing):
    n = len(easting)
    return Utilities(
        id=texts([f"WV{i + 1}" for i in range(n)]), kind=texts(["valve"] * n),
        easting=np.array(easting), northing=np.array(northing), lid=np.full(n, np.nan),
        depth_to_top=np.full(n, np.nan), note=texts([""] * n),
    )  # fmt: skip


def test_a_hub_in_the_zone_of_a_recorded_thing_is_moved_along_its_line(sag):
    e, n, _ = line.point_at(sag.alignment, 50.1, 5.75)
    points, found = layout.points_to_set(sag, STAKES, RULES, things([float(e)], [float(n)]))

    (moved,) = [i for i in range(len(points)) if points.note[i]]
    # 0.60 m clear of 50.1: 0.75 ahead is 0.65 away, 0.50 back only 0.60 less nothing
    assert points.station[moved] == pytest.approx(49.5, abs=1e-9)
    assert points.note[moved] == "moved 0.50 m back, clear of WV1"
    assert points.offset[moved] == pytest.approx(5.75)
    assert [finding.kind for finding in found] == ["hub moved"]
    away = np.hypot(points.easting - float(e), points.northing - float(n))
    assert away.min() >= RULES.utility_clear_m - 1e-9


def test_a_point_that_cannot_move_is_left_out_and_told(sag):
    e, n, _ = line.point_at(sag.alignment, 206.571, 4.0)
    points, found = layout.points_to_set(sag, STAKES, RULES, things([float(e)], [float(n)]))

    assert [finding.kind for finding in found] == ["point left out"]
    assert found[0].severity == "person"
    assert "LP flowline at 0+206.6 R: within the distance kept from WV1" in found[0].text
    assert sum(what == "LP flowline" for what in points.what) == 1


def test_a_hub_with_no_clear_place_is_left_out(sag):
    station = np.arange(94.0, 106.1, 0.5)
    e, n, _ = line.point_at(sag.alignment, station, np.full(len(station), -5.75))
    points, found = layout.points_to_set(sag, STAKES, RULES, things(e, n))

    assert "0100.0L" not in set(points.id)
    assert "0100.0R" in set(points.id)
    assert any("no place near it is clear" in finding.text for finding in found)
    words = " ".join(f"{finding.text} {finding.do}" for finding in found) + layout.CAUTION
    assert "safe to dig" not in words
    assert "no locate" in layout.CAUTION


def test_hubs_in_the_machines_path_are_refused(sag):
    with pytest.raises(JobError, match=r"1\.50 m behind back stand in the machine's path"):
        layout.points_to_set(sag, STAKES, replace(RULES, machine_behind_m=1.6), None)


def test_hubs_without_their_reference_are_refused(sag):
    with pytest.raises(DesignError, match="reference 'kerb': no section has a break of that name"):
        layout.points_to_set(sag, replace(STAKES, reference="kerb"), RULES, None)


def test_stations_after_an_equation_are_round_and_named_with_their_region():
    # 123.4 back = 80 ahead
    street = corridor(
        [ElementRow("line", 300.0, start=(0.0, 0.0))],
        [ProfileRow(0.0, 54.0), ProfileRow(300.0, 51.0)],
        [SectionRow("one", 0.0, 300.0, (SectionLayer("finish", half(0.02), half(0.02)),))],
        equations=((123.4, 123.4, 80.0),),
    )
    points, _ = layout.points_to_set(street, STAKES, RULES, None)
    table = layout.table(street, points, STAKES)
    rows = list(csv.DictReader(io.StringIO(csv_text(table))))
    left = [row for row in rows if row["side"] == "L"]

    assert [row["station"] for row in left[8:16]] == [
        "0+080.000 (1)", "0+090.000 (1)", "0+100.000 (1)", "0+110.000 (1)", "0+120.000 (1)",
        "0+080.000 (2)", "0+090.000 (2)", "0+100.000 (2)",
    ]  # fmt: skip
    assert left[13]["id"] == "0080.0L-2"
    assert len({row["id"] for row in rows}) == len(rows)
    chains = points.station[hubs(points, -1)]
    assert (np.diff(chains) > 0.0).all()


def test_an_eased_taper_and_a_driveway_are_set_at_their_ends_only(sag):
    taper = Widening(1, "flowline", ((40.0, 0.0), (60.0, 1.0)), "crossfall", "smooth")
    drop = CurbDrop(1, 103.0, 107.0, 0.9, 0.02, "back", "flowline")
    changed = replace(sag, layers=changes.apply(sag.layers, (taper, drop)))
    points, _ = layout.points_to_set(changed, STAKES, RULES, None)

    words = [
        (round(float(points.station[i]), 3), str(points.what[i]))
        for i in hubs(points, 1)
        if "section" in points.what[i]
    ]
    assert {station for station, _ in words} == {
        40.0, 60.0, 102.1, 103.0, 107.0, 107.9, 190.0, 220.0,
    }  # fmt: skip
    # hubs follow the taper out, at once back where it ends
    offset = {round(float(points.station[i]), 3): points.offset[i] for i in hubs(points, 1)}
    assert offset[50.0] == pytest.approx(5.75 + 0.5, abs=1e-6)
    assert offset[70.0] == pytest.approx(5.75)


def test_what_a_list_says_of_places_is_in_the_unit_of_the_job(sag):
    """A move of 0.50 m is 1.64 ft; heights are metric, and say so."""
    e, n, _ = line.point_at(sag.alignment, 50.1, 5.75)
    one = Depression(1, "flowline", 0.05, 1.0, 2.0, 0.5, True, station=80.0, basin="CB7")
    street = replace(sag, layers=changes.apply(sag.layers, [one]), basins=(one,))
    points, found = layout.points_to_set(
        street, STAKES, RULES, things([float(e)], [float(n)]), (), Measures("ft")
    )

    assert {note for note in points.note if note} == {"moved 1.64 ft back, clear of WV1"}
    assert "moved 1.64 ft back, clear of WV1" in found[0].text
    (basin,) = (what for what in points.what if "basin CB7" in what)
    assert basin.endswith("flowline 52.270 m, 0.66 ft below back")


def test_a_basin_has_its_hub_and_the_hub_says_the_lowered_flowline(sag):
    """Basin at 80 on the right, 0.05 deep: on the tangent of the sag, -2 %, 2 % across 4.0 m."""
    one = Depression(1, "flowline", 0.05, 1.0, 2.0, 0.5, True, station=80.0, basin="CB7")
    street = replace(sag, layers=changes.apply(sag.layers, [one]), basins=(one,))
    flowline = 50.0 + 0.02 * 120.0 - 0.08 - 0.05
    told = f"basin CB7: flowline {flowline:.3f}, 0.200 below back"

    for points in (
        layout.points_to_set(street, STAKES, RULES, None)[0],
        stakes.points_to_set(street, STAKES),
    ):
        (row,) = (k for k in range(len(points)) if "basin CB7" in points.what[k])
        assert told in points.what[row]
        assert (points.kind[row], points.id[row]) == ("stake", "0080.0R")
        assert points.station[row] == 80.0
        # the hub's own number is to the back of the curb, which stays
        assert points.design[row, 0] == pytest.approx(flowline + 0.200, abs=1e-9)
