"""The critical-ratio rule: published examples, a table, and brute force."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.crew.pregrade.target import (
    EQUAL,
    STATED,
    Prices,
    curve,
    expected_cost,
    normal_target,
    prices_of,
    target,
)
from pipeline.errors import JobError
from pipeline.settings_earthwork import Costs

EVENLY = (np.arange(400_000) + 0.5) / 400_000
"""Quantiles at these are a distribution without the luck of a draw."""


@pytest.mark.parametrize(
    ("over", "under", "wide", "narrow"),
    [(1, 2, -3.9, -1.3), (1, 1, 0.0, 0.0), (1.5, 1, 2.3, 0.8), (2, 1, 3.9, 1.3), (3, 1, 6.1, 2.0)],
)
def test_the_table_of_shifts(over, under, wide, narrow):
    """Worked out from the normal law: shift from the median [mm] at 9 and 3 mm of doubt."""
    for sd, want in ((0.009, wide), (0.003, narrow)):
        prices = Prices(over, under, STATED)
        closed, cost = normal_target(0.015, sd, prices)
        assert 1000 * (closed - 0.015) == pytest.approx(want, abs=0.06)
        rises = stats.norm.ppf(EVENLY, 0.015, sd)
        got = target(rises, prices, 0.005)
        assert got.exact == pytest.approx(closed, abs=1e-6)
        assert expected_cost(rises, [closed], prices)[0] == pytest.approx(cost, rel=1e-4)


def test_published_ratio_with_three_distributions(published):
    """Demand is what may be short of: under is the margin 7 - 5, over the cost 5, turned round."""
    ref = published("REF-NV-2")
    prices = Prices(2.0, 5.0, STATED)
    ref.check("ratio", prices.ratio)
    low, high = ref.inputs["uniform"]
    mean, sd = ref.inputs["normal"]
    scale, shape = ref.inputs["lognormal"]
    kinds = {
        "q_uniform": stats.uniform(low, high - low),
        "q_normal": stats.norm(mean, sd),
        "q_lognormal": stats.lognorm(shape, scale=scale),
    }
    for key, kind in kinds.items():
        ref.check(key, target(kind.ppf(EVENLY), prices, 1.0).exact)
    ref.check("q_normal", normal_target(mean, sd, prices)[0])


def test_published_normal_example(published):
    ref = published("REF-NV-4")
    prices = Prices(ref.inputs["Cu"], ref.inputs["Co"], STATED)
    ref.check("ratio", prices.ratio)
    ref.check("q", normal_target(ref.inputs["mu"], ref.inputs["sigma"], prices)[0])


def test_aiming_high_when_low_is_dear(published):
    """The same rule seen from the other side: low costs 3, high 1."""
    ref = published("REF-NV-3")
    prices = Prices(ref.inputs["cost_low_per_mm"], ref.inputs["cost_high_per_mm"], STATED)
    ref.check("ratio", prices.ratio)
    ref.check("offset_mm", normal_target(0.0, ref.inputs["sigma_mm"], prices)[0])


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    over=st.floats(0.05, 20),
    under=st.floats(0.05, 20),
    skew=st.floats(0.3, 3),
)
def test_brute_force_finds_nothing_cheaper(seed, over, under, skew):
    rises = np.random.default_rng(seed).gamma(skew, 0.01, 500) - 0.005
    prices = Prices(over, under, STATED)
    got = target(rises, prices, 0.005)
    tried = np.linspace(rises.min() - 0.01, rises.max() + 0.01, 2001)
    cost = [
        np.mean(over * np.maximum(rises - p, 0) + under * np.maximum(p - rises, 0)) for p in tried
    ]
    assert expected_cost(rises, tried, prices) == pytest.approx(cost, rel=1e-9, abs=1e-12)
    # the sample's quantile lies between two draws: as near to the least as they are
    gap = np.diff(np.sort(rises)).max() * max(over, under)
    assert got.cost_m2 - got.rounding_m2 <= min(cost) + gap / 100
    steps = 0.005 * np.arange(-5, 40)
    best = expected_cost(rises, steps, prices).min()
    assert got.cost_m2 == pytest.approx(best, rel=1e-9)
    assert got.rounding_m2 >= -gap / 100


def test_rounding_takes_the_cheaper_neighbour_not_the_nearer():
    """By hand: rise 12 mm for sure, surplus ten times as dear: 15 mm costs 3, 10 mm costs 20."""
    got = target(np.full(100, 0.012), Prices(10.0, 1.0, STATED), 0.005)
    assert got.lowering == 0.015
    assert got.cost_m2 == pytest.approx(0.003)
    assert target(np.full(100, 0.012), Prices(1.0, 10.0, STATED), 0.005).lowering == 0.010


def test_the_curve_is_lowest_at_the_target():
    rises = stats.norm.ppf(EVENLY[::40], 0.015, 0.005)
    prices = Prices(3.0, 1.0, STATED)
    got = curve(rises, prices)
    assert got.lowering_m[np.argmin(got.cost_m2)] == pytest.approx(
        target(rises, prices, 0.001).exact, abs=np.diff(got.lowering_m)[0]
    )


def test_costs_have_no_default():
    assert prices_of(Costs(), equal=False) is None
    assert prices_of(Costs(), equal=True).origin == EQUAL
    stated = prices_of(Costs(surplus_per_m3=60.0, shortage_per_m3=45.0), equal=False)
    assert stated.ratio == pytest.approx(60 / 105)
    assert stated.origin == STATED


@pytest.mark.parametrize(
    ("costs", "message"),
    [
        (Costs(surplus_per_m3=60.0), r"costs\.shortage_per_m3: is not stated"),
        (Costs(shortage_per_m3=60.0), r"costs\.surplus_per_m3: is not stated"),
        (Costs(surplus_per_m3=-1.0, shortage_per_m3=1.0), r"costs\.surplus_per_m3: found -1"),
        (Costs(surplus_per_m3=0.0, shortage_per_m3=0.0), "both a surplus and a shortage cost"),
    ],
)
def test_half_or_negative_costs_are_refused(costs, message):
    with pytest.raises(JobError, match=message):
        prices_of(costs, equal=False)


def test_a_grader_that_holds_nothing_is_refused():
    with pytest.raises(JobError, match=r"stabilising\.round_m: found 0"):
        target([0.01], Prices(1.0, 1.0, EQUAL), 0.0)


def test_a_free_surplus_leaves_the_clay_as_high_as_can_be():
    assert normal_target(0.0, 1.0, Prices(0.0, 1.0, STATED))[0] == -np.inf
    assert target([0.01, 0.02], Prices(0.0, 1.0, STATED), 0.005).exact == 0.01
