"""The rolling mean: noise passes, a bias is found, single stretches are left alone."""

import numpy as np
import pytest

from pipeline.compare.balance import balance
from pipeline.compare.differences import at_points
from pipeline.compare.intervals import Intervals
from pipeline.model import texts
from pipeline.settings_earthwork import Volumes


def street(depth, width=10.0, step=5.0, surveyed=None):
    """Stretches of one depth each [m], and shots enough to be sure of them."""
    d = np.asarray(depth, dtype=float)
    k = len(d)
    start = step * np.arange(k)
    area = np.full(k, width * step)
    covered = area if surveyed is None else area * surveyed
    stretches = Intervals(
        layer="clay", lane=texts([""] * k), start=start, end=start + step,
        cut_m3=np.maximum(d, 0) * covered, fill_m3=np.maximum(-d, 0) * covered,
        cut_area_m2=(d > 0) * covered, fill_area_m2=(d < 0) * covered,
        compared_area_m2=covered, uncovered_area_m2=area - covered,
    )  # fmt: skip
    s, o = (v.ravel() for v in np.meshgrid(start + step / 2, [-4.0, -1.5, 1.5, 4.0]))
    cut = np.tile(d, 4) + np.tile([0.001, -0.001], len(s) // 2)
    return stretches, at_points("clay", s, o, (s, o), cut, np.zeros(len(s)))


def noisy_window(shots, bias, rng):
    """Shots that scatter evenly by 20 mm over one balance length, a stretch about each."""
    cut = rng.uniform(-0.02, 0.02, shots) + bias
    step = 40.0 / shots
    s, o = (np.arange(shots) + 0.5) * step, rng.uniform(-4, 4, shots)
    area = np.full(shots, 10.0)
    stretches = Intervals(
        layer="clay", lane=texts([""] * shots), start=s - step / 2, end=s + step / 2,
        cut_m3=np.maximum(cut, 0) * area, fill_m3=np.maximum(-cut, 0) * area,
        cut_area_m2=area * (cut > 0), fill_area_m2=area * (cut < 0),
        compared_area_m2=area, uncovered_area_m2=np.zeros(shots),
    )  # fmt: skip
    found = balance(
        stretches, at_points("clay", s, o, (s, o), cut, np.zeros(shots)), Volumes(balance_m=80.0)
    )
    return found.verdict[shots // 2] == "stretch"


@pytest.mark.parametrize("shots", [20, 28, 40])
def test_a_bias_of_8_mm_is_found_and_even_noise_passes(shots):
    """Noise of +-20 mm has a mean of sd 2.6 mm from 20 shots, 1.8 from 40.

    With 20 shots both cannot be had: 8 mm is 3.1 sd away, so a rule that finds it in 95
    of 100 cases stops some noise. Expected of the rule: 78, 93 and 98 of 100 pass.
    """
    rng = np.random.default_rng(shots)
    found = np.mean([noisy_window(shots, 0.008 * rng.choice([-1, 1]), rng) for _ in range(300)])
    stopped = np.mean([noisy_window(shots, 0.0, rng) for _ in range(300)])
    assert found >= 0.95
    assert stopped <= {20: 0.28, 28: 0.10, 40: 0.04}[shots]


def test_the_mean_is_that_of_the_window_by_hand():
    depth = np.arange(16) / 1000
    found = balance(*street(depth), Volumes(balance_m=20.0))
    # middles within 10 m of 42.5: stretches 7, 8 and 9 lie 5 m off, 6 and 10 exactly 10 m
    assert found.mean[8] == pytest.approx(depth[7:10].mean())
    assert found.mean[0] == pytest.approx(depth[:2].mean())
    assert found.own == pytest.approx(depth)


def test_a_high_stretch_of_the_street_is_taken_off_over_its_length():
    depth = np.zeros(40)
    depth[10:22] = 0.03
    found = balance(*street(depth), Volumes())
    (one,) = found.out
    assert 30.0 <= one.start < 55.0
    assert 105.0 < one.end <= 130.0
    assert one.volume_m3 == pytest.approx(one.depth_m * one.area_m2)
    # everything that is too high is inside, so nothing is lost
    assert one.volume_m3 == pytest.approx(12 * 5 * 10 * 0.03)


def test_a_low_stretch_is_put_on_and_kept_apart_from_a_high_one():
    depth = np.concatenate((np.full(16, 0.03), np.full(16, -0.03)))
    found = balance(*street(depth), Volumes())
    assert [np.sign(one.depth_m) for one in found.out] == [1.0, -1.0]
    assert found.out[0].end <= found.out[1].start


def test_single_stretches_inside_the_band_are_left_alone():
    depth = np.zeros(40)
    depth[[8, 9, 24, 25]] = 0.015, -0.015, -0.018, 0.018
    found = balance(*street(depth), Volumes())
    assert found.out == ()
    assert set(np.flatnonzero(found.verdict == "left alone")) == {8, 9, 24, 25}
    assert set(found.verdict) == {"good", "left alone"}


def test_a_single_stretch_outside_the_band_is_a_spot():
    depth = np.zeros(40)
    depth[8:10] = 0.04, -0.04
    found = balance(*street(depth), Volumes())
    assert found.out == ()
    assert set(np.flatnonzero(found.verdict == "spot")) == {8, 9}


def test_a_wrong_crossfall_is_not_scatter():
    """20 mm up on the left and down on the right: the mean is nothing, and is known well."""
    stretches, shots = street(np.zeros(20))
    tilted = at_points(
        "clay", shots.station, shots.offset, (shots.station, shots.offset),
        shots.cut - 0.005 * shots.offset, np.zeros(len(shots.cut)),
    )  # fmt: skip
    found = balance(stretches, tilted, Volumes())
    assert found.error.max() < 0.001
    assert set(found.verdict) == {"good"}


def test_too_few_shots_cannot_show_that_a_mean_is_good():
    stretches, _ = street(np.zeros(16))
    few = at_points("clay", [3.0, 50.0], [0, 0], ([3.0, 50.0], [0.0, 0.0]), [0.0, 0.0], [0, 0])
    assert set(balance(stretches, few, Volumes()).verdict) == {"not shown"}
    high, _ = street(np.full(16, 0.03))
    assert set(balance(high, few, Volumes()).verdict) == {"stretch"}


def test_ground_that_was_not_surveyed_has_no_mean():
    stretches, shots = street(np.zeros(20), surveyed=np.repeat([1.0, 0.0], 10))
    found = balance(stretches, shots, Volumes(balance_m=20.0))
    assert (found.verdict[12:] == "not surveyed").all()
    assert np.isnan(found.mean[12:]).all()
