"""A rod bust by its constant, and no alarm on clean days."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.checks.bust import (
    ROD_STEPS,
    bust_findings,
    find_busts,
    median_and_error,
    name_constant,
    untested,
)
from pipeline.model.spread import robust_spread

JOB = {"curb height": 0.150, "gravel": 0.200, "asphalt": 0.085, **ROD_STEPS}
"""Dimensions of a made-up street beside the rod's own steps."""


def morning(seed, *, bust=0.0, overlaps=5, sd=0.012):
    """40 shots of one rod, of which some fall on points known otherwise; a good group beside it."""
    rng = np.random.default_rng(seed)
    groups = np.array(["S1 rod 1.60"] * 40 + ["S2 rod 1.60"] * 30, dtype=object)
    residuals = np.full(70, np.nan)
    chosen = rng.choice(40, overlaps, replace=False)
    residuals[chosen] = rng.normal(bust, sd, overlaps)
    residuals[40:50] = rng.normal(0.0, sd, 10)
    return groups, residuals


def test_a_bust_of_ten_centimetres_is_found_measured_and_named():
    # a bar of our own: 0.10 m in 40 shots with 5 overlaps
    (bust,) = find_busts(*morning(43, bust=0.10), JOB)
    assert bust.group == "S1 rod 1.60"
    assert (bust.shots, bust.overlaps) == (40, 5)
    assert bust.offset == pytest.approx(0.10, abs=0.010)
    assert bust.names[0] in ("rod step 0.10 m", "asphalt")
    assert "rod step 0.10 m" in bust.names
    (finding,) = bust_findings((bust,))
    assert "reads" in finding.text
    assert "HIGH" in finding.text
    assert "rod step 0.10 m" in finding.text
    assert finding.severity == "person"


def test_it_is_found_whatever_the_noise_and_mostly_within_a_centimetre():
    found = [find_busts(*morning(seed, bust=-0.10), JOB) for seed in range(100)]
    assert all(len(busts) == 1 and busts[0].offset < 0 for busts in found)
    off = np.array([abs(busts[0].offset + 0.10) for busts in found])
    # the median of five shots at 12 mm has a standard error of about 6.4 mm (order statistics of
    # the normal distribution), so 10 mm hold 88 % of the cases, not all: 79 is three sd below
    assert np.count_nonzero(off <= 0.010) >= 79
    # two of its standard errors hold the name in 95 %
    assert sum("rod step 0.10 m" in busts[0].names for busts in found) >= 88


def test_clean_days_raise_no_alarm():
    # a bar of our own: at most 2 % of 100 clean days, here of two groups each
    assert sum(bool(find_busts(*morning(seed), JOB)) for seed in range(100)) <= 2


def test_a_mixed_curb_reference_is_named():
    groups, residuals = morning(44, bust=0.150, sd=0.004)
    (bust,) = find_busts(groups, residuals, JOB, shot_sd_m=0.005)
    assert set(bust.names) == {"curb height", "rod step 0.15 m"}


def test_a_layer_shot_for_another_is_named():
    groups, residuals = morning(45, bust=-0.200, sd=0.004)
    (bust,) = find_busts(groups, residuals, JOB, shot_sd_m=0.005)
    assert set(bust.names) == {"gravel", "rod step 0.20 m"}
    assert "LOW" in bust_findings((bust,))[0].text


def test_a_constant_that_nothing_explains_says_so():
    groups, residuals = morning(46, bust=0.120, sd=0.003)
    (bust,) = find_busts(groups, residuals, JOB, shot_sd_m=0.004)
    assert bust.names == ()
    assert "equals no known constant" in bust_findings((bust,))[0].text


@pytest.mark.parametrize("sign", [1, -1])
def test_names_come_nearest_first_within_two_errors(sign):
    known = {"a": 0.100, "b": 0.110, "c": 0.130, "nothing": 0.0}
    assert name_constant(sign * 0.108, 0.005, known) == ("b", "a")
    assert name_constant(sign * 0.150, 0.005, known) == ()
    assert name_constant(0.0, 0.005, known) == ()


def test_two_bad_points_among_five_do_not_decide():
    values = [0.001, -0.004, 0.003, 0.250, 0.240]
    assert find_busts(["G"] * 5, values, JOB) == ()


def test_the_constants_of_the_error_are_those_of_the_normal_distribution():
    # 1.4826 = 1 / quartile of the normal; 1.2533 = sqrt(pi / 2), the median against the mean
    assert pytest.approx(1.0 / stats.norm.ppf(0.75), abs=1e-4) == 1.4826
    assert pytest.approx(math.sqrt(math.pi / 2), abs=0.005) == 1.25
    rng = np.random.default_rng(1)
    values = rng.normal(0.02, 0.03, 4000)
    middle, error = median_and_error(values)
    assert middle == pytest.approx(0.02, abs=4 * error)
    assert error == pytest.approx(1.2533 * 0.03 / math.sqrt(4000), rel=0.06)


def test_no_residual_gives_nan():
    assert all(math.isnan(value) for value in median_and_error([math.nan]))


def test_groups_without_enough_overlaps_are_told():
    groups = ["A"] * 4 + ["B"] * 6 + ["C"] * 3
    residuals = [0.5, 0.5, math.nan, math.nan, *[0.0] * 6, 0.001, 0.002, 0.0]
    assert find_busts(groups, residuals, JOB) == ()
    told = untested(groups, residuals)
    assert [f.text.split(":")[0] for f in told] == ["A", "C"]
    assert "2 shots on points known otherwise; no rod bust would show" in told[0].text
    assert "a small rod bust would not show" in told[1].text


def test_power_of_five_overlaps_against_the_trade_notes():
    # 84 % at 30 mm is computed for a mean at 3 sigma; here the median and its own
    # threshold, its standard deviation of 1.197 sd / sqrt(5) from normal order statistics; a MAD
    # larger than the floor raises the threshold now and then
    threshold = 3.0 * 1.25 * 0.012 / math.sqrt(5)
    expected = stats.norm.sf((threshold - 0.030) / (1.197 * 0.012 / math.sqrt(5)))
    hits = sum(bool(find_busts(*morning(seed, bust=0.030), JOB)) for seed in range(200)) / 200
    assert hits == pytest.approx(expected, abs=0.10)


def test_the_spread_is_the_standard_deviation_of_a_normal_sample():
    values = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000, loc=3.0, scale=0.012)

    assert robust_spread(np.append(values, np.nan)) == pytest.approx(0.012, rel=1e-4)
