"""The whole ground against today's layer: heights of a made street, shifts known beforehand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.throughout import Ground, whole_findings
from pipeline.model import BreakLine
from pipeline.settings import CheckRules

STATION = np.arange(0.0, 301.0)
WIDE = 5.0


def profile(station):
    """A hill and a hollow: a slide along it cannot be a constant."""
    return 100.0 + 1.2 * np.sin(np.asarray(station) / 40.0)


def layer(name, *, down=0.0, fall=0.025, along=0.0):
    crown = profile(STATION + along) - down
    edge = crown - fall * WIDE
    sides = ((-1, -WIDE, edge), (0, 0.0, crown), (1, WIDE, edge))
    return tuple(
        BreakLine("crown" if side == 0 else "edge", name, side, STATION,
                  np.full(len(STATION), offset), height)
        for side, offset, height in sides
    )  # fmt: skip


def clay(*, high=0.0, noise=0.012, seed=3):
    rng = np.random.default_rng(seed)
    station, offset = np.meshgrid(np.arange(2.0, 299.0, 5.0), np.linspace(-4.8, 4.8, 7))
    z = profile(station) - 0.025 * np.abs(offset) + high + rng.normal(0.0, noise, station.shape)
    return Ground(station.ravel(), offset.ravel(), z.ravel())


def found(ground, layers, target="clay"):
    return {one.kind: one for one in whole_findings(ground, layers, target, CheckRules())}


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("noise", [0.003, 0.012, 0.035, 0.080, 0.150])
def test_ground_that_is_only_rough_is_not_told(noise, seed):
    assert found(clay(noise=noise, seed=seed), {"clay": layer("clay")}) == {}


@pytest.mark.parametrize("along", [-35.0, -12.0, 12.0, 20.0, 35.0])
def test_a_design_shifted_along_stops_the_day_and_says_how_far(along):
    told = found(clay(), {"clay": layer("clay", along=along)})

    assert told.keys() == {"design shifted along"}
    assert told["design shifted along"].severity == "stop"
    assert f"only {abs(along):.0f} m" in told["design shifted along"].text
    # a design that is drawn too far on has to be read farther back
    word = "farther back" if along > 0 else "farther on"
    assert word in told["design shifted along"].text


def test_a_crossfall_the_wrong_way_stops_the_day():
    told = found(clay(), {"clay": layer("clay", fall=-0.025)})

    assert told.keys() == {"design tilted"}
    assert told["design tilted"].severity == "stop"
    assert "falls 5.0 % outward from the crown" in told["design tilted"].text


def test_left_and_right_exchanged_on_a_one_way_fall_stops_the_day():
    left_high = tuple(
        BreakLine(one.name, one.layer, one.side, one.station, one.offset,
                  profile(STATION) - 0.02 * one.offset)
        for one in layer("clay")
    )  # fmt: skip
    ground = clay()
    tilted = Ground(ground.station, ground.offset, profile(ground.station) + 0.02 * ground.offset)
    told = found(tilted, {"clay": left_high})

    assert told.keys() == {"design tilted"}
    assert told["design tilted"].severity == "stop"
    assert "rises 4.0 % to the right" in told["design tilted"].text


@pytest.mark.parametrize("slope", [0.0, 0.02, -0.03])
def test_ground_that_nobody_has_crowned_yet_is_a_morning_like_any_other(slope):
    ground = clay()
    flat = Ground(ground.station, ground.offset, profile(ground.station) + slope * ground.offset)
    told = found(flat, {"clay": layer("clay")})

    assert told.keys() <= {"design tilted"}
    assert all(one.severity == "person" for one in told.values())


@pytest.mark.parametrize("high", [-0.30, -0.08, 0.08, 0.30])
def test_all_ground_off_by_one_amount_is_for_a_person(high):
    told = found(clay(high=high), {"clay": layer("clay")})

    assert told.keys() == {"ground off throughout"}
    assert told["ground off throughout"].severity == "person"
    text = told["ground off throughout"].text
    assert ("above" if high > 0 else "below") in text
    assert abs(float(text.split("stands ")[1].split(" m")[0]) - abs(high)) < 0.005


@pytest.mark.parametrize("high", [-0.045, 0.0, 0.015, 0.045])
def test_clay_left_high_or_low_on_purpose_is_not_told(high):
    assert found(clay(high=high), {"clay": layer("clay")}) == {}


def test_the_layer_that_the_ground_fits_is_named():
    layers = {"gravel": layer("gravel", down=-0.2), "clay": layer("clay")}
    told = found(clay(), layers, target="gravel")

    assert "stands as 'clay' is designed" in told["ground off throughout"].text


def test_too_few_shots_and_a_layer_without_breaks_say_nothing():
    ground = clay(high=0.5)
    few = Ground(ground.station[:30], ground.offset[:30], ground.elevation[:30])

    assert found(few, {"clay": layer("clay")}) == {}
    assert found(ground, {"clay": ()}) == {}
    assert found(ground, {}) == {}
