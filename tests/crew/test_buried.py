"""Buried and standing things: two examples worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew.buried import things as buried
from pipeline.crew.buried.listed import with_shots
from pipeline.crew.match import match, ties
from pipeline.model import NO_LINES, Utilities, make_shots, texts
from pipeline.settings import SurfaceRules
from pipeline.settings_crew import HazardRules
from pipeline.surface import tin

RULES = HazardRules()
NAN = float("nan")
# conftest: clay 0.40 below the crown, 2.5 %; at station 50 the crown is 51.000
CLAY_AT_50 = 51.0 - 0.40 - 0.025 * 2.0


def utilities(rows):
    """Rows of (id, station, offset, lid, depth)."""
    return Utilities(
        id=texts([r[0] for r in rows]), kind=texts(["valve"] * len(rows)),
        easting=np.array([1000.0 + r[2] for r in rows]),
        northing=np.array([2000.0 + r[1] for r in rows]),
        lid=np.array([r[3] for r in rows], dtype=float),
        depth_to_top=np.array([r[4] for r in rows], dtype=float),
        note=texts([""] * len(rows)),
    )  # fmt: skip


def shots(rows):
    """Rows of (id, station, offset, elevation)."""
    return make_shots(
        [1000.0 + r[2] for r in rows], [2000.0 + r[1] for r in rows], [r[3] for r in rows],
        id=texts([r[0] for r in rows]), code=texts(["WV"] * len(rows)),
    )  # fmt: skip


@pytest.fixture(scope="module")
def ground():
    east, north = np.meshgrid([992.0, 1000.0, 1008.0], [2000.0, 2050.0, 2100.0])
    shot = make_shots(east.ravel(), north.ravel(), np.full(9, 51.2))
    return tin.build(shot, NO_LINES, SurfaceRules(max_edge_m=100.0))[0]


def found(corridor, ground, listed, shot=(), rules=RULES):
    return buried.things(
        (corridor, "clay subgrade"), ground,
        (utilities(listed) if listed else None, shots(shot)), rules,
    )  # fmt: skip


def test_the_rotor_finds_what_the_blade_alone_would_call_clear():
    # by hand: CLAY 100.195, mixed 0.30, overcut 0.03, lid 99.780, sds 10/10/15 mm
    margin = buried.margins([100.195], [99.780], [0.010], RULES)

    assert margin.blade[0] == pytest.approx(0.415, abs=1e-9)
    assert margin.rotor[0] == pytest.approx(0.085, abs=1e-9)
    assert margin.rotor_worst[0] == pytest.approx(0.051, abs=5e-4)
    assert buried.classes(margin.rotor_worst, RULES)[0] == "HAND"
    assert buried.classes(margin.blade_worst, RULES)[0] == "CLEAR"


def test_ten_lids_get_the_class_of_their_worst_case(corridor, ground):
    # worst = margin - 1.645 sqrt(0.010^2 + 0.010^2 + 0.015^2) = margin - 0.0339 for a shot lid
    reach = 0.30 + 0.03
    below = {  # metres below the clay plane at station 50, offset 2
        "into blade": (-0.10, "HIT"), "at blade": (0.0, "HIT"), "rotor only": (0.20, "HIT"),
        "just in": (reach + 0.033, "HIT"), "just hand": (reach + 0.035, "HAND"),
        "hand": (reach + 0.15, "HAND"), "slow": (reach + 0.20, "SLOW"),
        "just slow": (reach + 0.33, "SLOW"), "clear": (reach + 0.50, "CLEAR"),
        "unknown": (NAN, "UNKNOWN"),
    }  # fmt: skip
    for name, (depth, want) in below.items():
        lid = CLAY_AT_50 - depth
        listed = [(name, 50.0, 2.0, lid, 0.0)]
        shot = [("s", 50.0, 2.0, lid)] if np.isfinite(depth) else []
        one = found(corridor, ground, listed, shot)
        assert one.verdict.tolist() == [want], name

    blade = found(corridor, ground, [("x", 50.0, 2.0, CLAY_AT_50 + 0.10, 0.0)])
    rotor = found(corridor, ground, [("x", 50.0, 2.0, CLAY_AT_50 - 0.20, 0.0)])
    unknown = found(corridor, ground, [("x", 50.0, 2.0, NAN, NAN)])
    assert buried.verdict_words(blade, 0).startswith("HIT: blade 10 cm into it")
    assert buried.verdict_words(rotor, 0).startswith("HIT: rotor 13 cm into it")
    assert buried.verdict_words(unknown, 0) == "UNKNOWN, treat as HIT: height not known"
    assert buried.mark(unknown, 0) == "UNKNOWN"


@pytest.mark.parametrize(
    ("metres", "words"), [(0.139, "13"), (-0.031, "-4"), (0.05, "5"), (0.0, "0"), (NAN, "?")]
)
def test_a_margin_on_paper_is_rounded_towards_the_danger(metres, words):
    assert buried.below_words(metres) == words


def test_cover_and_the_part_that_breaks_are_told_apart(corridor, ground):
    lid = CLAY_AT_50 - 0.60
    known = found(corridor, ground, [("V", 50.0, 2.0, lid, 0.25)])
    shallow = found(corridor, ground, [("V", 50.0, 2.0, lid, NAN)])

    assert known.cover[0] == pytest.approx(51.2 - lid)
    assert known.part_below_rotor[0] == pytest.approx(0.60 - 0.33 + 0.25)
    # unknown depth: the part is taken at the lid
    assert shallow.part_below_rotor[0] == pytest.approx(0.60 - 0.33)
    assert "taken at the top" in shallow.note[0]


def test_what_list_and_shots_miss_is_told_both_ways(corridor, ground):
    things = found(
        corridor, ground,
        [("V1", 20.0, 2.0, 49.5, 0.0), ("V2", 40.0, 2.0, 49.9, 0.0)],
        [("901", 20.1, 2.1, 49.6), ("902", 70.0, -2.0, 50.1)],
    )  # fmt: skip

    assert things.id.tolist() == ["V1", "V2", "902"]
    assert things.shot_id.tolist() == ["901", "", "902"]
    # the higher of list and shot counts
    assert things.top.tolist() == [49.6, 49.9, 50.1]
    assert "shot 49.600 but list 49.500" in things.note[0]
    kinds = [finding.kind for finding in buried.findings(things)]
    assert kinds.count("on the list, not shot") == 1
    assert kinds.count("shot, not on the list") == 1


def test_the_map_has_each_thing_where_and_as_high_as_it_is_known():
    listed = utilities([("V1", 20.0, 2.0, 49.5, 0.4), ("V2", 40.0, 2.0, NAN, NAN)])
    shot = shots([("901", 20.1, 2.1, 49.6), ("902", 70.0, -2.0, 50.1)])
    both = with_shots(listed, shot, RULES)

    assert both.id.tolist() == ["V1", "V2", "902"]
    np.testing.assert_allclose(both.northing, [2020.1, 2040.0, 2070.0])
    np.testing.assert_array_equal(both.lid, [49.6, NAN, 50.1])
    np.testing.assert_array_equal(both.depth_to_top, [0.4, NAN, NAN])


def test_a_thing_on_no_list_is_worked_around_by_hand_however_deep_its_top(corridor, ground):
    """A stranger's lid 0.80 m under the blade would be CLEAR on the list."""
    lid = CLAY_AT_50 - 0.83
    listed = found(corridor, ground, [("V", 50.0, 2.0, lid, 0.0)], [("9", 50.0, 2.0, lid)])
    stranger = found(corridor, ground, [], [("9", 50.0, 2.0, lid)])
    (told,) = buried.findings(stranger)

    assert listed.verdict.tolist() == ["CLEAR"]
    assert stranger.verdict.tolist() == ["HAND"]
    assert buried.verdict_words(stranger, 0) == (
        "HAND: on no list, its top as shot at worst 46 cm under the rotor"
    )
    assert told.text.endswith("on no list, only its top as shot is known")
    assert "by hand until then" in told.do
    # nearer ones keep their worse class
    assert found(corridor, ground, [], [("9", 50.0, 2.0, CLAY_AT_50)]).verdict.tolist() == ["HIT"]


def test_a_thing_of_unknown_height_that_nobody_shot_is_told_once(corridor, ground):
    things = found(corridor, ground, [("V3", 50.0, 2.0, NAN, NAN)])
    (told,) = buried.findings(things)

    assert told.kind == "in reach of blade or rotor"
    assert "treat as HIT: height not known; not shot this morning" in told.text
    assert "exposed by hand" in told.do
    assert "find it on the ground" in told.do
    # the phrase may stand on no sheet
    assert "safe" not in told.text + told.do


def test_a_height_that_is_only_recorded_is_believed_less(corridor, ground):
    listed = [("V", 50.0, 2.0, CLAY_AT_50 - 0.5, 0.0)]
    shot = found(corridor, ground, listed, [("9", 50.0, 2.0, CLAY_AT_50 - 0.5)])
    record = found(corridor, ground, listed)

    assert record.margins.rotor_worst[0] < shot.margins.rotor_worst[0]
    assert record.margins.rotor[0] == pytest.approx(shot.margins.rotor[0])


def test_where_nothing_is_mixed_the_blade_decides(corridor, ground):
    rules = HazardRules(mixing_depth_m=0.0)
    things = found(corridor, ground, [("V", 50.0, 2.0, CLAY_AT_50 - 0.20, 0.0)], rules=rules)

    assert things.margins.rotor[0] == pytest.approx(0.20)
    assert buried.verdict_words(things, 0).endswith("under the blade")


def test_outside_the_layer_nothing_is_promised(corridor, ground):
    things = found(corridor, ground, [("pole", 50.0, 7.0, 51.0, 0.0)])

    assert things.verdict.tolist() == ["UNKNOWN"]
    assert "outside today's layer" in buried.verdict_words(things, 0)


def test_the_caution_says_what_it_must_and_never_the_opposite(published):
    for words in ("not a locate", "expose by hand", "no clearance to dig", "local law",
                  "utility's and local rules decide", "stop and call"):  # fmt: skip
        assert words in buried.CAUTION.replace("  ", " ")
    assert "safe to dig" not in buried.CAUTION.lower()
    # states differ (18 in by REF-UT-1, 24 in by REF-UT-2), so no zone is shipped as the law
    assert published("REF-UT-1").expected["zone_m"] != published("REF-UT-2").expected["zone_m"]
    assert HazardRules().zone_m is None


@given(st.floats(-1, 1), st.floats(0.001, 0.1))
def test_the_worst_case_is_never_better_than_the_margin(depth, sigma):
    margin = buried.margins([100.0], [100.0 - depth], [sigma], RULES)

    assert margin.rotor_worst[0] <= margin.rotor[0] <= margin.blade[0]
    assert margin.blade_worst[0] <= margin.blade[0]


def test_two_lids_side_by_side_are_not_taken_for_one():
    known = np.array([0.0, 0.4]), np.array([0.0, 0.0])
    shot = np.array([0.35, 0.05]), np.array([0.0, 0.0])

    assert match(known, shot, 0.5).tolist() == [1, 0]
    # two shots at one lid: the nearer is it, the other is something else
    twice = np.array([0.10, 0.02]), np.array([0.0, 0.0])
    assert match((known[0][:1], known[1][:1]), twice, 0.5).tolist() == [-1, 0]
    assert match(known, (np.array([3.0]), np.array([0.0])), 0.5).tolist() == [-1]


def test_ties_cross_at_thirty_degrees_or_more():
    # nearest first, but the one nearly in line with the first is left out
    marks = np.array([3.0, 4.0, 0.0, -3.0]), np.array([0.0, 0.5, 5.0, 3.5])

    chosen = ties((0.0, 0.0), marks)

    assert chosen.tolist() == [0, 3, 2]
    angle = np.degrees(np.arctan2(marks[1][chosen], marks[0][chosen]))
    for a in range(3):
        for b in range(a):
            crossing = abs((angle[a] - angle[b] + 90.0) % 180.0 - 90.0)
            assert crossing >= 30.0
