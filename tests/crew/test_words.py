"""What is painted and written: worked examples, published stake words."""

from __future__ import annotations

import math

import pytest

from pipeline.crew.words import (
    LINE_LENGTH,
    Lath,
    distance,
    faces,
    fall_words,
    hub_mark,
    lint,
    paint,
)
from pipeline.settings import Rounding

FEET = Rounding(marks_unit="ft")

# job 4.5: each of these has been painted somewhere and read wrongly; common practice, no source
BAD = [
    ("+0.12", "dirt", "a sign"),
    ("-12", "dirt", "a sign"),
    ("C7", "dirt", "no blank after C or F"),
    ("F12", "dirt", "no blank after C or F"),
    ("c 7", "dirt", "a small c or f"),
    ("C 7.5", "dirt", "finer than dirt"),
    ("12", "dirt", "a bare number"),
    ("C 0", "dirt", "cut or fill of nothing"),
    ("C 7 F 3", "dirt", "cut and fill on one line"),
    ("C O", "dirt", "a letter where a digit is meant"),
    ("", "dirt", "nothing"),
    ("C  7", "dirt", "blanks that cannot be seen"),
    ("C nan", "dirt", "no number"),
    ("C 0,235 TBC", "lath", "a decimal comma"),
    ("C .235 TBC", "lath", "no digit before the decimal point"),
    ("C 0.235", "lath", "no reference"),
    ("C 3 TBC", "lath", "coarser than a hub"),
    ("C 0.235 XYZ", "lath", "'XYZ' is not in the legend"),
    ("C 0.77 ft FL", "lath", "a unit on the mark"),
    ("C 0.235 TOP BACK", "lath", "more than 12 characters"),
    ("0+120.0", "lath", "a station without a side"),
    ("C 0.235 TBC\u2193", "lath", "a character that paint"),
    ("safe to dig", "lath", "a promise nobody can make"),
]


@pytest.mark.parametrize(("text", "place", "why"), BAD, ids=[row[0] or "blank" for row in BAD])
def test_a_text_that_can_be_misread_is_named(text, place, why):
    assert any(why in said for said in lint(text, place)), lint(text, place)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("C 12", "dirt"), ("F 3", "dirt"), ("GRADE", "dirt"), ("NOT SHOT", "dirt"), ("HP", "dirt"),
        ("1.50 TBC", "lath"), ("C 0.235 TBC", "lath"), ("ON GRADE TBC", "lath"),
        ("0+120.0 L", "lath"), ("DN 1.13%", "lath"), ("SS", "lath"), ("C 0.60 @ 4.2", "lath"),
        ("2:1", "lath"),
    ],
)  # fmt: skip
def test_a_plain_text_passes(text, place):
    assert lint(text, place) == ()
    assert len(text) <= LINE_LENGTH


def test_the_job_may_have_words_of_its_own():
    assert lint("DITCH", "lath") == ("'DITCH' is not in the legend",)
    assert lint("DITCH", "lath", legend=["DITCH"]) == ()


def test_the_hub_of_the_job_reads_differently_to_curb_and_lip():
    # by hand: hub 100.512, TBC 100.277; straight curb 150 high, pan 0.30 at 6 %
    lip = 100.277 - 0.150 + 0.30 * 0.06
    assert hub_mark(100.512 - 100.277, 0.001, Rounding()) == "C 0.235"
    assert hub_mark(100.512 - lip, 0.001, Rounding()) == "C 0.367"


@pytest.mark.parametrize(
    ("cut", "metric", "feet"),
    [
        (0.124, "C 12", "C 0.4"),
        (-0.031, "F 3", "F 0.1"),
        (0.0, "GRADE", "GRADE"),
        (0.008, "GRADE", "GRADE"),
        (0.3048, "C 30", "C 1.0"),
        (math.nan, "NOT SHOT", "NOT SHOT"),
    ],
)
def test_dirt_is_painted_in_centimetres_or_feet_and_tenths(cut, metric, feet):
    rounding = Rounding(on_grade_m=0.010)
    assert paint(cut, rounding) == metric
    # 0.3048 m is one foot by definition
    assert paint(cut, Rounding(on_grade_m=0.010, marks_unit="ft")) == feet
    assert lint(paint(cut, Rounding(marks_unit="ft")), "dirt", "ft") == ()


def test_a_lath_in_feet_is_read_to_a_hundredth(published):
    step = published("REF-GS-11").expected["resolution_ft"]
    assert hub_mark(0.235, 0.001, FEET) == "C 0.77"  # 0.235 / 0.3048 = 0.77099
    assert len(["C 0", "77"][1]) == -round(math.log10(step))
    assert distance(1.5, FEET) == "4.9"


@pytest.mark.parametrize(
    ("reference", "mark"), [("REF-GS-1", "C 0.3"), ("REF-GS-2", "F 0.5")], ids=["cut", "fill"]
)
def test_a_stake_and_a_rod_say_what_is_left_to_do(published, reference, mark):
    """The manual checks by two rod readings from the stake what the paint says from heights."""
    ref, foot = published(reference), 0.3048
    given = ref.inputs
    # from the hub's top: down to grade by a cut stake, up to it by a fill stake
    grade = -given["stake_cut"] if "stake_cut" in given else given["stake_fill"]
    ground = given["rod_on_hub"] - given.get("rod_in_cut", given.get("rod_on_fill"))
    cut = ground - grade
    ref.check("more_cut" if cut > 0 else "more_fill", abs(cut))
    assert paint(foot * cut, Rounding(on_grade_m=0.003, marks_unit="ft")) == mark


def test_the_fall_to_the_next_point_has_no_sign():
    assert [fall_words(g) for g in (-0.01132, 0.005, 0.0, math.nan)] == [
        "DN 1.13%", "UP 0.50%", "LEVEL", "",
    ]  # fmt: skip


def test_two_profiles_put_the_words_on_different_faces(published):
    facts = published("REF-GS-8").expected
    left = Lath(120.0, -5.75, "57", "TBC", "1.50", "C 0.235", "DN 1.13%")
    middle = Lath(120.0, 0.0, "58", "CL", "", "C 0.120")

    crew = faces(left, "crew")
    assert crew.front == ("1.50 TBC", "C 0.235 TBC")
    assert crew.back == ("0+120.0 L", "57", "DN 1.13%")
    # "offset distance, cut/fill, and symbol of the stake it refers to"
    assert facts["offset"].startswith("offset distance, cut/fill, and symbol")
    assert faces(left, "manual").front == ("1.50", "C 0.235", "TBC")
    # "construction data on front, station on back"
    assert facts["other_stakes"] == "construction data on front, station on back"
    assert faces(left, "manual").back == ("0+120.0 L",)
    # "station on front, cut or fill on back with crowfoot"
    assert facts["centreline"].startswith("station on front, cut or fill on back")
    assert faces(middle, "manual").front == ("0+120.0 CL",)
    assert faces(middle, "manual").back == ("C 0.120",)


def test_every_line_of_the_crews_own_faces_passes_the_lint():
    for work in (
        Lath(1120.5, 5.75, "57", "TBC", "1.50", "F 0.235", "UP 0.25%"),
        Lath(0.0, -5.0, "1", "FL", "1.75", "ON GRADE"),
    ):
        both = faces(work, "crew")
        lines = [*both.front, *both.back]
        assert [line for line in lines if lint(line, "lath", legend=[work.id])
                and line != work.id] == []  # fmt: skip
