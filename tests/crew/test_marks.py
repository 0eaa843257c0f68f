"""Passes, offset line, stale marks, disturbed hubs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew import dots, passes
from pipeline.crew.hubs import cutsheet, disturbed
from pipeline.crew.hubs.stale import stale_marks, stale_words
from pipeline.crew.measures import Measures
from pipeline.design import feet
from pipeline.model import NO_LINES, Stakes, make_shots, texts
from pipeline.settings import Rounding, StakeRules, SurfaceRules, Target
from pipeline.settings_crew import WalkRules
from pipeline.surface import tin

RULES = StakeRules(hub_behind_m=1.5, reference="top back of curb")


@given(st.floats(0.0005, 3.0), st.sampled_from([0.05, 0.075, 0.1, 0.3]))
def test_passes_are_cut_over_pass_rounded_up(cut, one):
    # n = ceil(cut / cut per pass)
    n = int(passes.count(cut, one))
    assert n >= 1
    assert n * one >= cut - 1e-6
    assert (n - 1) * one < cut


def test_fill_takes_no_pass_and_unshot_ground_is_not_called_none():
    assert passes.count([-0.2, 0.0, np.nan, 0.3], 0.1).tolist() == [0, 0, -1, 3]


def spots(ground, mark=None, layer="clay subgrade", side=1):
    n = len(ground)
    station = np.arange(n) * 10.0
    return Stakes(
        layers=(layer,), id=texts([f"{k}R" for k in range(n)]), kind=texts(["number"] * n),
        what=texts(["edge of clay"] * n), station=station, offset=np.full(n, side * 4.85),
        easting=np.full(n, 1004.85), northing=2000.0 + station, ground=np.array(ground),
        design=np.zeros((n, 1)), mark=texts(mark or ["C 1"] * n), note=texts([""] * n),
    )  # fmt: skip


def test_passes_are_told_by_stretch_with_the_deepest_place():
    runs = passes.by_stretch(spots([0.05, 0.15, 0.18, 0.24, 0.05, np.nan]), 0.1)

    assert [(r.start, r.end, r.passes) for r in runs] == [(10.0, 20.0, 2), (30.0, 30.0, 3)]
    assert runs[0].most_m == pytest.approx(0.18)
    assert passes.pass_words(runs[1], 0.1) == "3 passes: 10 + 10 + 4 cm"
    (scrape,) = passes.by_stretch(spots([0.203]), 0.1)
    assert passes.pass_words(scrape, 0.1) == "3 passes: 10 + 10 + under 1 cm"
    assert passes.pass_words(replace(scrape, most_m=0.2001), 0.1, Measures("ft")) == (
        "3 passes: 0.33 + 0.33 + under 0.01 ft"
    )


def test_the_offset_line_of_the_job_is_painted_90_cm_from_the_hubs():
    # by hand: hubs 1.50 behind the curb, X 0.30, clearance 0.30 -> 0.90
    assert float(passes.line_from_hub(1.50, 0.30, 0.30)) == pytest.approx(0.90, abs=1e-12)


def test_the_offset_line_holds_on_both_sides_from_each_hubs_own_place(corridor):
    # conftest: clay to 4.85, curb to 4.25, so X is 0.60; hubs 1.50 and 1.43 behind the curb
    station, offset = np.array([20.0, 20.0]), np.array([-5.75, 5.68])
    behind = np.abs(offset) - 4.25
    found = passes.hub_to_line(corridor, "clay subgrade", (station, offset, behind), 0.30)

    assert found == pytest.approx([0.60, 0.53])
    # the same place from the centreline
    assert np.abs(offset) - found == pytest.approx([4.85 + 0.30] * 2)


def test_a_lath_whose_ground_moved_more_than_20_mm_is_rewritten():
    before = spots([0.07, 0.07, 0.07, np.nan, 0.07], ["C 7", "C 7", "C 7", "NOT SHOT", "C 7"])
    now = spots([0.01, 0.05, 0.089, 0.01, np.nan], ["C 1", "C 5", "C 9", "C 1", "NOT SHOT"])
    found = stale_marks(before, now, 0.020)

    assert [(m.id, m.was, m.now) for m in found] == [("0R", "C 7", "C 1")]
    assert found[0].ground_m == pytest.approx(-0.06)
    assert stale_words(found[0]) == "was C 7, now C 1"


def test_numbers_for_another_layer_are_all_stale():
    (found,) = stale_marks(spots([0.07], layer="gravel top"), spots([0.07]), 0.020)
    assert stale_words(found) == "still C 1, now to clay subgrade"


def test_a_number_that_is_the_same_again_says_what_moved():
    """Ground and design both 0.20 m lower, or ground that moved less than a mark's step."""
    before = spots([0.07], ["C 7"])
    lowered = replace(spots([-0.13], ["C 7"]), design=np.full((1, 1), -0.20))
    (both,) = stale_marks(before, lowered, 0.020)
    (ground,) = stale_marks(before, spots([0.046], ["C 7"]), 0.020)

    assert stale_words(both) == "still C 7: ground down 20 cm, layer down 20 cm"
    assert stale_words(both, Measures("ft")) == "still C 7: ground down 0.66 ft, layer down 0.66 ft"
    assert stale_words(ground, Measures("ft")) == "still C 7: ground down 0.08 ft"


def hubs_at(offsets, elevations=None):
    n = len(offsets)
    return make_shots(
        1000.0 + np.array(offsets), 2000.0 + 10.0 * np.arange(1, n + 1),
        elevations if elevations is not None else [51.0] * n,
        id=texts([f"H{k}" for k in range(n)]),
    )  # fmt: skip


def sheet_of(corridor, hubs, walk=None):
    at = feet.locate(corridor.alignment, hubs.easting, hubs.northing)
    return cutsheet.cut_sheet(corridor, hubs, at, RULES, walk)


def test_a_hub_out_of_line_with_its_fellows_is_flagged(corridor):
    sheet = sheet_of(corridor, hubs_at([5.75, 5.75, 5.81, 5.76, 5.74, 5.75]))

    flagged = {str(sheet.hubs.id[k]): flag for k, flag in enumerate(sheet.flag) if flag}
    assert list(flagged) == ["H2"]
    assert flagged["H2"] == "DISTURBED? 0.060 m farther out than its line"


def test_a_hub_whose_height_leaves_its_row_is_flagged_and_the_ends_of_a_slope_are_not():
    """A digit exchanged (103.149 for 103.419) in a row that follows a hill."""
    station = np.arange(20) * 10.0
    hill = 0.5 * np.sin(station / 40.0)
    above = hill + 0.02 * np.cos(station)
    above[7] += 0.27
    words = disturbed.out_of_row(station, np.full(20, 5.85), above)
    level = disturbed.out_of_row(station, np.full(20, -5.85), hill)

    assert np.flatnonzero(words != "").tolist() == [7]
    assert words[7].endswith("m above the hubs beside it")
    assert 0.27 - 0.05 < float(words[7].split()[1]) < 0.27 + 0.05  # and the hill
    assert not (level != "").any()


def test_rough_ground_raises_no_alarm_at_hubs():
    """Normal scatter of any size: 6 standard deviations leave one row in a thousand or fewer."""
    chance = np.random.default_rng(20261126)
    told = 0
    for sd in np.repeat((0.01, 0.05, 0.2), 100):
        n = int(chance.integers(8, 45))
        row = chance.normal(0.0, sd, n)
        told += (disturbed.out_of_row(np.arange(n) * 10.0, np.full(n, 5.0), row) != "").any()

    assert told <= 1


def test_a_crew_with_another_offset_is_told_once_and_not_at_each_hub(corridor):
    sheet = sheet_of(corridor, hubs_at([5.45] * 6))

    assert set(sheet.flag) == {""}
    (said,) = disturbed.not_as_stated(sheet.offset, sheet.behind, RULES)
    assert said == "hubs R stand 1.20 m behind top back of curb, the job says 1.50 m"


def test_a_hub_that_moved_since_yesterday_says_how():
    before = hubs_at([5.75] * 4)
    now = hubs_at([5.75, 5.79, 5.75, 5.76], [51.0, 51.0, 50.97, 51.005])

    assert disturbed.moved_since(now, before, RULES).tolist() == [
        "", "DISTURBED: moved 0.040 m sideways", "DISTURBED: moved 0.030 m down", "",
    ]  # fmt: skip


def test_a_hub_shot_twice_at_two_heights_is_told():
    hubs = make_shots([1.0, 1.0], [2.0, 2.0], [5.0, 5.02], id=texts(["H1", "H1"]))
    assert disturbed.shot_twice(hubs, RULES).tolist() == ["", "DISTURBED: moved 0.020 m up"]


def test_the_slope_to_the_next_hub_is_that_of_the_curb(corridor):
    sheet = sheet_of(corridor, hubs_at([5.75, 5.75, -5.75, -5.75]))

    # left side first, up at 2 %; then the right, walked down
    assert sheet.hubs.id.tolist() == ["H2", "H3", "H1", "H0"]
    assert sheet.fall[[0, 2]] == pytest.approx([0.02, -0.02], abs=1e-9)
    assert math.isnan(sheet.fall[1])  # the next hub stands across the street
    assert sheet.to_next[0] == pytest.approx(10.0)
    faces = cutsheet.lath_faces(sheet, 0, Rounding())
    assert faces.back == ("0+030.0 L", "H2", "UP 2.00%")


def test_the_job_chooses_what_stands_on_which_face(corridor):
    # "construction data on front, station on back" (REF-GS-8)
    hubs = hubs_at([-5.75], [51.0])
    at = feet.locate(corridor.alignment, hubs.easting, hubs.northing)
    manual = StakeRules(hub_behind_m=1.5, reference="top back of curb", faces="manual")
    sheet = cutsheet.cut_sheet(corridor, hubs, at, manual)

    # conftest by hand: curb 0.058 over the crown, 50.2 at station 10
    assert cutsheet.lath_front(sheet, 0, Rounding()) == "1.50 / C 0.742 / TBC"
    assert cutsheet.lath_back(sheet, 0) == "0+010.0 L"
    crew = sheet_of(corridor, hubs)
    assert cutsheet.lath_front(crew, 0, Rounding()) == "1.50 TBC / C 0.742 TBC"
    assert cutsheet.lath_back(crew, 0) == "0+010.0 L H0"


def test_the_cut_sheet_can_start_on_the_right(corridor):
    sheet = sheet_of(corridor, hubs_at([5.75, -5.75]), WalkRules(first_side="right"))
    assert sheet.hubs.id.tolist() == ["H0", "H1"]


def test_the_list_to_paint_walks_out_and_back_and_ticks_what_is_done(corridor):
    east = np.array([994.0, 1006.0, 1006.0, 994.0])
    north = np.array([2020.0, 2020.0, 2080.0, 2080.0])
    shots = make_shots(east, north, np.full(4, 51.0))
    ground, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=100.0))
    rounding = Rounding()
    painted = dots.grade_dots(
        corridor, ground, np.array([40.0, 70.0]), Target(layer="clay subgrade"), rounding
    )
    table = dots.table(painted)
    column = {name: k for k, name in enumerate(table.columns)}
    sides = [row[column["side"]] for row in table.rows]

    assert sides == sorted(sides, key=lambda side: side == "R")
    right = [row[column["station"]] for row in table.rows if row[column["side"]] == "R"]
    assert right == sorted(right, reverse=True)
    for row in table.rows:
        # no dot off grade
        done = row[column["done"]] == "yes"
        assert done == (row[column["paint"]] == "GRADE")
        if done:
            assert abs(float(row[column["cut_m"]])) <= rounding.on_grade_m + 0.0005
    assert [row[0] for row in table.rows] == [str(k + 1) for k in range(len(table.rows))]
