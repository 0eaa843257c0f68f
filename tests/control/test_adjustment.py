"""Least squares against scipy, tests against refitting, accuracy figures against the standards."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import least_squares

from pipeline.control.adjustment import (
    CIRCULAR_95,
    LINEAR_95,
    POINT_LIMIT,
    W_LIMIT,
    accuracy,
    point_tests,
    solve,
)
from pipeline.errors import InputError


@pytest.fixture
def system():
    rng = np.random.default_rng(7)
    return rng.normal(size=(12, 4)), rng.normal(size=12), rng.uniform(0.5, 2.0, 12)


def test_unknowns_and_their_errors_are_those_of_scipy(system):
    # independent answer: scipy.optimize.least_squares and the inverse of its J'J
    a, b, sigma = system
    ours = solve(a, b, sigma, ("p", "q", "r", "s"), "test")
    theirs = least_squares(lambda x: (a @ x - b) / sigma, np.zeros(4), xtol=1e-14)
    np.testing.assert_allclose(ours.x, theirs.x, atol=1e-9)
    np.testing.assert_allclose(ours.cofactor, np.linalg.inv(theirs.jac.T @ theirs.jac), atol=1e-9)
    assert ours.sigma0 == pytest.approx(np.sqrt(2 * theirs.cost / 8), rel=1e-9)
    assert ours.redundancy == 8


def test_shares_of_checking_add_up_to_the_redundancy(system):
    # the trace of the projector on the residuals is n - u
    a, b, sigma = system
    assert solve(a, b, sigma, ("p", "q", "r", "s"), "test").checked.sum() == pytest.approx(8)


def test_w_is_standard_normal_over_many_draws(system):
    a, _, sigma = system
    rng = np.random.default_rng(8)
    w = np.array(
        [solve(a, rng.normal(size=12) * sigma, sigma, tuple("pqrs"), "t").w for _ in range(400)]
    )
    # 4800 draws, correlated within a fit: the sd of 1 is known to about 0.02
    assert w.std() == pytest.approx(1.0, abs=0.06)


def test_point_test_is_the_drop_of_the_squares_when_the_point_is_left_out(system):
    # independent answer: numpy's lstsq on the ten rows that are left
    a, b, sigma = system
    drops = point_tests(solve(a, b, sigma, tuple("pqrs"), "test"))
    weighted, right = a / sigma[:, None], b / sigma
    whole = np.linalg.lstsq(weighted, right, rcond=None)[1][0]
    for k in range(6):
        rows = np.r_[0 : 2 * k, 2 * k + 2 : 12]
        left = np.linalg.lstsq(weighted[rows], right[rows], rcond=None)[1][0]
        assert drops[k] == pytest.approx(whole - left, rel=1e-9)


def test_limits_are_the_tails_that_they_say():
    assert pytest.approx(stats.norm.isf(0.0005), abs=0.001) == W_LIMIT
    assert pytest.approx(stats.chi2.isf(0.001, 2), rel=1e-12) == POINT_LIMIT


def test_unknowns_that_cannot_be_told_apart_are_named():
    design = np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [2.0, 2.0, 0.0], [1.0, 1.0, 3.0]])
    with pytest.raises(InputError, match="leave open: easting, northing"):
        solve(design, np.zeros(4), np.ones(4), ("easting", "northing", "height"), "set-up 1")


def test_fewer_observations_than_unknowns_are_refused():
    with pytest.raises(InputError, match=r"set-up 1: 1 observations for 2 unknowns \(a, b\)"):
        solve([[1.0, 2.0]], [0.0], [1.0], ("a", "b"), "set-up 1")


def test_without_redundancy_nothing_is_tested():
    exact = solve(np.eye(2), [1.0, 2.0], [1.0, 1.0], ("a", "b"), "test")
    assert np.isnan(exact.sigma0)
    assert np.isnan(exact.w).all()
    np.testing.assert_allclose(exact.standard_error, [1.0, 1.0])


def test_check_point_figures_are_those_of_the_positional_accuracy_standard(published):
    ref = published("REF-AC-1")
    got = accuracy(ref.inputs["dx"], ref.inputs["dy"], ref.inputs["dz"])
    for key in ("mean", "std", "rmse", "rmse_r", "h95", "v95"):
        ref.check(key, getattr(got, key))


def test_multipliers_are_those_of_the_spatial_accuracy_standard(published):
    ref = published("REF-AC-3")
    ref.check("vertical", LINEAR_95)
    ref.check("circular", CIRCULAR_95)
    ref.check("horizontal_from_rmse_r", CIRCULAR_95 / np.sqrt(2))


def test_one_check_point_has_no_spread():
    with pytest.raises(InputError, match="1 with an error each"):
        accuracy([0.01], [0.0], [0.0])
