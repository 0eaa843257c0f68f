"""What a shot is good enough for; common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.checks.precision import judge_precision
from pipeline.model import make_shots, texts
from pipeline.settings import CheckRules

RULES = CheckRules()
NONE, ALL = np.zeros(1, dtype=bool), np.ones(1, dtype=bool)


def shot(note="", sigma_v=0.008, sigma_h=0.010):
    return make_shots([0.0], [0.0], [0.0], note=texts([note]), sigma_v=[sigma_v],
                      sigma_h=[sigma_h], id=texts(["H1"]), files=("hubs.csv",))  # fmt: skip


def kinds(found):
    return [(finding.kind, finding.severity) for finding in found]


@pytest.mark.parametrize("note", ["", "RTK fix PDOP 1.8"])
def test_a_satellite_hub_without_bench_shift_gives_no_cut(note):
    # a hub by satellite alone is refused where nobody states a shift to a bench mark
    refused, found = judge_precision(shot(note), ALL, ALL if not note else NONE, RULES)

    assert refused.tolist() == [True]
    assert kinds(found) == [("satellite hub", "person")]
    assert "no shift to a bench mark is stated" in found[0].text
    assert found[0].points == ("H1",)


def test_with_the_bench_shift_stated_it_does():
    refused, found = judge_precision(shot(), ALL, ALL, replace(RULES, bench_shifted=True))

    assert not refused.any()
    assert found == ()


def test_a_bench_shift_does_not_make_a_coarse_or_loose_fix_good():
    shifted = replace(RULES, bench_shifted=True)

    assert judge_precision(shot(sigma_v=0.011), ALL, ALL, shifted)[0].all()
    assert judge_precision(shot("float"), ALL, ALL, shifted)[0].all()


def test_an_instrument_hub_is_used_and_told_where_it_is_coarse():
    refused, found = judge_precision(shot(sigma_v=0.012), ALL, NONE, RULES)

    assert not refused.any()
    assert kinds(found) == [("precision", "person")]
    assert "up to 12 mm in height, over 10 mm; they are used" in found[0].text


@pytest.mark.parametrize(
    ("given", "good"),
    [
        ({}, True),
        # the limits of a clay map that are assumed: 25 mm in height, PDOP 4
        ({"sigma_v": 0.025}, True),
        ({"sigma_v": 0.026}, False),
        ({"note": "rtk pdop=4.0"}, True),
        ({"note": "rtk pdop 4.1"}, False),
        ({"sigma_h": 0.06}, False),
    ],
)
def test_a_map_of_clay_bears_25_millimetres_and_a_pdop_of_4(given, good):
    _, found = judge_precision(shot(**given), NONE, NONE, RULES)

    assert kinds(found) == ([] if good else [("precision", "person")])


def test_of_shots_that_state_no_height_precision_none_is_the_worst():
    _, (finding, _) = judge_precision(shot(sigma_h=0.06, sigma_v=np.nan), NONE, NONE, RULES)

    assert finding.text.endswith("PDOP 4; they are used")


def test_a_missing_precision_is_assumed_and_said():
    _, (finding,) = judge_precision(shot(sigma_v=np.nan), NONE, NONE, RULES)

    # what is assumed of a satellite mark with hub and reading: 17 mm
    assert finding.severity == "note"
    assert "1 shot of hubs.csv state no height precision; 17 mm is assumed" in finding.text


def test_a_float_fix_is_told_once():
    _, by_note = judge_precision(shot("rtk float, 5 sats"), NONE, NONE, RULES)
    _, by_reader = judge_precision(shot("float"), NONE, ALL, RULES)

    assert "without a fixed solution" in by_note[0].text
    assert by_reader == ()


def test_words_of_another_meaning_are_no_fix():
    refused, found = judge_precision(shot("single tree, fence fixed"), ALL, NONE, RULES)

    assert not refused.any()
    assert found == ()


def test_no_shots_are_no_trouble():
    nothing = make_shots([], [], [])
    refused, found = judge_precision(nothing, np.zeros(0, bool), np.zeros(0, bool), RULES)

    assert len(refused) == 0
    assert found == ()
