"""A curb reference or a layer mixed up is named."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.constants import constant_findings, find_constants, of_layers
from pipeline.checks.references import against_breaks
from pipeline.model import make_shots, texts
from pipeline.settings import CheckRules

RULES = CheckRules()


@pytest.fixture
def breaks(break_line):
    """Curb 150 high, lip 24 over the flow line; 200 of gravel on 85 of asphalt."""
    finish = (
        break_line("crown", "finish", 0, 0.0, 100.000),
        break_line("lip", "finish", 1, 3.7, 99.926),
        break_line("flowline", "finish", 1, 4.0, 99.902),
        break_line("top back of curb", "finish", 1, 4.35, 100.052),
    )
    below = (
        break_line("crown", "gravel top", 0, 0.0, 99.915),
        break_line("crown", "stabilised top", 0, 0.0, 99.715),
    )
    return finish, below


def held_on(name, offset, heights, breaks, feet_at):
    n = len(heights)
    feet = feet_at(np.linspace(10.0, 90.0, n), np.full(n, offset))
    held = against_breaks(feet, heights, texts([name] * n), breaks, 1.0)
    return feet, held, texts(["set-up S1"] * n)


def test_a_curb_reference_is_named(breaks, feet_at):
    finish, below = breaks
    heights = 99.902 + 0.150 + np.random.default_rng(44).normal(0, 0.003, 12)
    feet, held, labels = held_on("flowline", 4.0, heights, finish, feet_at)
    (constant,) = find_constants(labels, held, feet, (finish, finish + below), RULES)
    shots = make_shots(feet.station, feet.offset, heights, files=("curb.csv",))
    (finding,) = constant_findings(shots, feet, (constant,), RULES)

    # 0.150 is the height of the curb over its flow line
    assert constant.offset == pytest.approx(0.150, abs=0.005)
    assert constant.names == ("top back of curb for flowline", "rod step 0.15 m")
    assert "set-up S1 (12 shots on flowline, 0+010.0 to 0+090.0) reads 0.1" in finding.text
    assert "HIGH" in finding.text
    # 80 m x 0.15 m for each metre of width
    worth = abs(constant.offset) * 80.0
    assert worth == pytest.approx(12.0, abs=0.3)
    assert f"{worth:.1f} m3 (1.7 loads) for each metre of width" in finding.text
    assert len(finding.points) == 12
    assert finding.severity == "person"


def test_the_same_size_downwards_is_not_the_curb(breaks, feet_at):
    finish, below = breaks
    feet, held, labels = held_on("flowline", 4.0, np.full(8, 99.902 - 0.150), finish, feet_at)
    (constant,) = find_constants(labels, held, feet, (finish, finish + below), RULES)

    assert constant.names == ("rod step 0.15 m",)
    assert (
        "LOW"
        in constant_findings(
            make_shots(feet.station, feet.offset, np.zeros(8)), feet, (constant,), RULES
        )[0].text
    )


def test_a_layer_is_named_by_its_thickness(breaks, feet_at):
    finish, below = breaks
    heights = 99.715 + 0.200 + np.random.default_rng(45).normal(0, 0.006, 15)
    feet, held, labels = held_on("crown", 0.0, heights, below[1:], feet_at)
    found = find_constants(labels, held, feet, (below[1:], finish + below), RULES)
    (constant,) = of_layers(found)

    # the thickness of the gravel
    assert constant.names == ("gravel top for stabilised top",)
    assert found[0].names == ("gravel top for stabilised top", "rod step 0.20 m")


def test_clay_that_is_evenly_high_is_no_mixed_layer(breaks, feet_at):
    finish, below = breaks
    heights = 99.715 + 0.045 + np.random.default_rng(46).normal(0, 0.006, 15)
    feet, held, labels = held_on("crown", 0.0, heights, below[1:], feet_at)
    found = find_constants(labels, held, feet, (below[1:], finish + below), RULES)

    assert [c.names for c in found] == [()]
    assert of_layers(found) == ()


def test_rough_ground_is_no_constant(breaks, feet_at):
    finish, below = breaks
    heights = 99.715 + 0.200 + np.random.default_rng(47).normal(0, 0.05, 15)
    feet, held, labels = held_on("crown", 0.0, heights, below[1:], feet_at)

    assert find_constants(labels, held, feet, (below[1:], finish + below), RULES) == ()


def test_good_groups_are_silent_in_at_least_98_of_100_days(breaks, feet_at):
    finish, below = breaks
    alarms = 0
    for seed in range(100):
        heights = 99.902 + np.random.default_rng(seed).normal(0, 0.005, 8)
        feet, held, labels = held_on("flowline", 4.0, heights, finish, feet_at)
        alarms += bool(find_constants(labels, held, feet, (finish, finish + below), RULES))

    # at most 2 % false alarms: a bar of our own
    assert alarms <= 2


def test_two_groups_are_judged_apart(breaks, feet_at):
    finish, below = breaks
    heights = np.r_[np.full(6, 99.902 + 0.024), np.full(6, 99.902)]
    feet, held, _ = held_on("flowline", 4.0, heights, finish, feet_at)
    labels = texts(["A"] * 6 + ["B"] * 6)
    (constant,) = find_constants(labels, held, feet, (finish, finish + below), RULES)

    assert constant.rows == tuple(range(6))
    assert constant.names[0] == "lip for flowline"


def test_fewer_than_three_shots_decide_nothing(breaks, feet_at):
    finish, below = breaks
    feet, held, labels = held_on("flowline", 4.0, np.full(2, 100.5), finish, feet_at)

    assert find_constants(labels, held, feet, (finish, finish + below), RULES) == ()
