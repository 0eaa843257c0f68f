"""Text and units: strict numbers, exact feet, one rounding, marks as they are written."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.units import (
    EXACT_METRES,
    decimals,
    format_length,
    format_side,
    format_station,
    ground_mark,
    lath_mark,
    metres_per,
    parse_number,
    parse_station,
    round_half_away,
)


@pytest.mark.parametrize(
    "text",
    [
        "nan",
        "inf",
        "1e400",
        "1_000",
        "١٢",
        "１２",
        "1,5",
        "1.234,5",
        "--5",
        "0x10",
        "",
        "#N/A",
        "1.2.3",
    ],
)
def test_what_is_no_plain_number_is_refused(text):
    with pytest.raises(ValueError, match="not a plain number"):
        parse_number(text)


def test_a_decimal_comma_is_taken_only_where_it_is_declared():
    assert parse_number("-12,5", decimal=",") == -12.5
    with pytest.raises(ValueError, match="decimal mark is a comma"):
        parse_number("1.234,5", decimal=",")


def test_the_two_feet_differ_by_two_parts_in_a_million():
    # both are exact by definition; at 2 000 000 ft the difference is 4 ft (shared ecosystem notes)
    ratio = EXACT_METRES["ftUS"] / EXACT_METRES["ft"]

    assert ratio - 1 == Fraction(2, 999998)
    assert metres_per("ftUS") == 1200 / 3937


@given(st.integers(min_value=-(10**9), max_value=10**9), st.sampled_from([1, 2, 5, 10]))
def test_rounding_agrees_with_decimal_half_up(tenths_of_mm, step_mm):
    # decimal's ROUND_HALF_UP on the exact value is half away from zero
    exact = Decimal(tenths_of_mm) / Decimal(10000)
    step = Decimal(step_mm) / 1000
    expected = float((exact / step).quantize(Decimal(1), rounding=ROUND_HALF_UP) * step)

    assert float(round_half_away(tenths_of_mm / 10000, step_mm / 1000)) == pytest.approx(
        expected, abs=1e-9
    )


def test_the_slope_stake_table_rounds_half_up(published):
    ref = published("REF-GS-6")
    out = [float(round_half_away(h * ref.inputs["slope"], 0.1)) for h in ref.inputs["h"]]

    ref.check("out", out)


@given(st.integers(min_value=-9_999_999, max_value=9_999_999))
def test_a_station_is_read_back_as_it_was_written(millimetres):
    station = millimetres / 1000

    assert parse_station(format_station(station, step=0.001)) == pytest.approx(station, abs=1e-9)


@pytest.mark.parametrize("text", ["1+2000", "+", "0+12,5", "a+100", "1+"])
def test_what_is_no_station_is_refused(text):
    with pytest.raises(ValueError, match="not a plain number"):
        parse_station(text)


def test_nothing_is_ever_minus_zero():
    assert format_length(-0.0004) == "0.000"
    assert format_station(-0.01) == "0+000.0"
    assert lath_mark(-0.0004) == "ON GRADE"
    assert ground_mark(-0.004) == "GRADE"


@given(st.floats(min_value=-5, max_value=5))
def test_the_letter_says_the_sign_of_what_is_printed(cut):
    mark = lath_mark(cut, step=0.005)
    rounded = float(round_half_away(cut, 0.005))

    if mark == "ON GRADE":
        assert rounded == 0
    else:
        letter, figure = mark.split()
        assert (letter == "C") == (rounded > 0)
        assert float(figure) == pytest.approx(abs(rounded), abs=1e-12)


def test_a_hub_to_its_curb_reference():
    # by hand: hub 100.512, top back of curb 100.277; straight curb 150 high, pan 0.30 at 6 %
    top, flowline = 100.277, 100.277 - 0.150
    lip = flowline + 0.30 * 0.06

    assert lath_mark(100.512 - top) == "C 0.235"
    assert lath_mark(100.512 - lip) == "C 0.367"
    assert round(top - lip, 3) == 0.132


@pytest.mark.parametrize(
    ("cut", "mark"),
    [
        (0.124, "C 12"),
        (-0.031, "F 3"),
        (0.125, "C 13"),
        (-0.125, "F 13"),
        (0.010, "GRADE"),
        (0.0101, "C 1"),
    ],
)
def test_half_centimetres_round_away_from_zero_on_dirt(cut, mark):
    assert ground_mark(cut, on_grade=0.010) == mark


def test_no_value_has_no_text():
    assert [
        f(math.nan) for f in (format_length, format_station, format_side, lath_mark, ground_mark)
    ] == [""] * 5


def test_sides_are_right_of_the_line_positive():
    assert [format_side(x) for x in (-3.5, 0.0, 0.0004, 3.5)] == ["L", "CL", "CL", "R"]


@pytest.mark.parametrize("reference", ["REF-GS-3", "REF-GS-7", "REF-GS-13", "REF-GS-5"])
def test_cut_and_fill_signs_follow_the_published_stakes(published, reference):
    """Ground from the level is HI - rod; cut + where it stands above the design."""
    ref = published(reference)
    given_, expected = ref.inputs, ref.expected
    if reference == "REF-GS-3":
        height = given_["BM"] + given_["BS"]
        ref.check("HI", height)
        ref.check("ground", height - given_["FS"])
        assert (
            lath_mark(height - given_["FS"] - given_["finish"], step=0.1) == f"F {expected['fill']}"
        )
    elif reference == "REF-GS-13":
        height = given_["BM"] + given_["BS"]
        ref.check("ground", height - given_["FS"])
        assert lath_mark(height - given_["FS"] - given_["required"], step=0.01) == "C 0.75"
    elif reference == "REF-GS-7":
        ref.check("grade_rod", given_["HI"] - given_["grade"])
        assert lath_mark(given_["HI"] - given_["ground_rod"] - given_["grade"], step=0.1) == "C 1.8"
    else:
        height = given_["BM"] + given_["BS"]
        ref.check("grade_rod_5000", height - given_["grade_elev_5000"])
        fall = given_["grade_pct"] / 100 * given_["distance"]
        ref.check("grade_rod_5500", height - (given_["grade_elev_5000"] + fall))


def test_a_length_without_an_end_stays_without():
    assert format_length(math.inf) == "inf"
    assert format_length(-math.inf, step=0.01) == "-inf"


def test_decimals_are_ten_at_most():
    assert [decimals(step) for step in (1.0, 0.005, 1 / 3)] == [0, 3, 10]
