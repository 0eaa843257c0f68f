"""What the like of a shot foretell, against exact shapes and a linear programme."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from pipeline.checks.likeness import along_street, in_plane, stand_off
from pipeline.checks.runs import Profiled
from pipeline.model import texts


def line_of(height, station=None):
    n = len(height)
    station = np.arange(n) * 10.0 if station is None else station
    profiled = Profiled(height, station, np.zeros(n), texts(["CL"] * n))
    everything = np.ones(n, dtype=bool)
    return profiled, along_street(profiled, everything, everything, np.zeros(n, dtype=np.int64))


def ground(height, station, offset):
    n = len(height)
    profiled = Profiled(height, station, offset, texts(["GR"] * n))
    return profiled, in_plane(profiled, np.ones(n, dtype=bool), np.zeros(n, dtype=np.int64))


def test_a_parabola_along_the_street_and_a_plane_leave_nothing():
    s = np.arange(12) * 10.0
    bent = stand_off(*line_of(1.0 + 0.02 * s - 1e-5 * s**2), 0.05, 4.0)[0]
    rng = np.random.default_rng(1)
    station, offset = rng.uniform(0, 60, 40), rng.uniform(0, 4, 40)
    tilted = stand_off(*ground(5.0 + 0.03 * station - 0.02 * offset, station, offset), 0.05, 4.0)[0]

    # exact shapes: two neighbours on either side carry a parabola, all nine a plane
    np.testing.assert_allclose(bent[2:-2], 0.0, atol=1e-5)
    np.testing.assert_allclose(tilted[~np.isnan(tilted)], 0.0, atol=1e-5)


def test_the_fit_is_that_of_least_absolute_residuals():
    rng = np.random.default_rng(7)
    height = rng.normal(0, 0.05, 7)
    residual, _ = stand_off(*line_of(height), 10.0, 4.0)

    # the shot in the middle: minimise sum |z - a - b s - c s^2| over the six others, by scipy
    s = np.array([-3.0, -2.0, -1.0, 1.0, 2.0, 3.0])
    terms = np.column_stack([np.ones(6), s, s**2])
    others = height[[0, 1, 2, 4, 5, 6]]
    answer = linprog(
        np.r_[np.zeros(3), np.ones(6)],
        A_ub=np.block([[terms, -np.eye(6)], [-terms, -np.eye(6)]]),
        b_ub=np.r_[others, -others],
        bounds=[(None, None)] * 3 + [(0, None)] * 6,
    )
    # residuals under the floor of 5 mm count as squares, so the two differ by less than that
    assert height[3] - residual[3] == pytest.approx(answer.x[0], abs=0.005)


def test_one_bad_neighbour_does_not_carry_the_good_ones_away():
    height = np.random.default_rng(2).normal(0, 0.004, 15)
    height[7] += 0.5
    residual, off = stand_off(*line_of(height), 0.05, 4.0)

    assert np.flatnonzero(off).tolist() == [7]
    assert residual[7] == pytest.approx(0.5, abs=0.02)
    assert np.abs(np.delete(residual, 7)).max() < 0.05


def test_a_dense_windrow_does_not_outvote_the_ground_beside_it():
    station = np.r_[np.repeat(np.arange(0, 101.0, 10.0), 3), np.arange(30.0, 71.0, 2.0)]
    offset = np.r_[np.tile([1.0, 3.0, 5.0], 11), np.full(21, 2.0)]
    height = np.r_[np.zeros(33), np.full(21, 0.3)] + np.random.default_rng(4).normal(0, 0.005, 54)
    residual, off = stand_off(*ground(height, station, offset), 0.05, 4.0)

    assert off[33:].sum() >= 18
    assert not off[:33].any()
    assert np.median(residual[33:]) == pytest.approx(0.3, abs=0.02)


def test_heights_far_from_zero_are_as_good():
    height = np.random.default_rng(5).normal(0, 0.01, 20)
    near = stand_off(*line_of(height), 0.05, 4.0)[0]
    far = stand_off(*line_of(height + 3000.0), 0.05, 4.0)[0]

    np.testing.assert_allclose(far, near, atol=1e-6)


def test_what_is_not_usable_is_neither_judged_nor_a_neighbour():
    height = np.r_[np.zeros(10), 9.0, np.zeros(10)]
    profiled = Profiled(height, np.arange(21) * 10.0, np.zeros(21), texts(["CL"] * 21))
    usable = np.arange(21) != 10
    line = np.ones(21, dtype=bool)
    hoods = along_street(profiled, usable, line, np.zeros(21, dtype=np.int64))
    residual, off = stand_off(profiled, hoods, 0.05, 4.0)

    assert np.isnan(residual[10])
    assert not off.any()
    assert 10 not in hoods.near
