"""A rod bust in a run of shots is found by size; curbs, banks and rough clay are not faults."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.runs import Profiled, find_runs, residuals
from pipeline.model import make_shots, texts

FEATURES = ("TB1", "EC1", "CL", "EC2", "TB2")
OFFSETS = (-5.5, -5.0, 0.0, 5.0, 5.5)
BANK = (0.25, 0.0, 0.08, 0.0, 0.25)
"""Height above the profile: a bank of 25 cm stands 50 cm beside the edge."""


def street(seed, rows=25, rough=0.012):
    rng = np.random.default_rng(seed)
    station = np.repeat(np.arange(rows) * 10.0, len(OFFSETS))
    offset = np.tile(OFFSETS, rows)
    height = np.tile(BANK, rows) + rng.normal(0.0, rough, len(station))
    shots = make_shots(station, offset, height, code=texts(list(FEATURES) * rows))
    return shots, height, station, offset


def runs_of(shots, height, station, offset):
    profiled = Profiled(height, station, offset, shots.code)
    return find_runs(shots, np.ones(len(shots), dtype=bool), profiled, 0.05)


@pytest.mark.parametrize("bust", [0.10, -0.10, 0.15, 0.30])
def test_a_planted_bust_is_found_within_ten_millimetres(bust):
    shots, height, station, offset = street(3)
    height[50:62] += bust
    (run,) = runs_of(shots, height, station, offset)

    assert abs(run.offset_m - bust) <= 0.010
    assert abs(run.rows[0] - 50) <= 1
    assert abs(run.rows[-1] - 61) <= 1


def test_shots_without_a_residual_make_a_run_no_surer():
    shots, height, station, offset = street(3)
    height[50:62] += 0.15
    # one good shot has two of its like, both in the run: nothing is left to hold these against
    code = np.where(np.isin(np.arange(len(shots)), [49, 54, 59]), "lone", shots.code)
    profiled = Profiled(height, station, offset, texts(code))
    (run,) = find_runs(shots, np.ones(len(shots), dtype=bool), profiled, 0.05)

    pool = ~np.isin(np.arange(len(shots)), run.rows)
    there = residuals(profiled, pool)[list(run.rows)]
    there = there[~np.isnan(there)]
    assert len(there) == len(run.rows) - 2
    # the standard error of a median of normal values, 1.25 sd / sqrt(n)
    sd = 1.4826 * np.median(np.abs(there - np.median(there)))
    assert run.error_m == pytest.approx(1.25 * sd / np.sqrt(len(there)), rel=1e-9)


def test_clean_mornings_raise_no_alarm():
    # at most 2 % false alarms: a bar of our own
    alarms = sum(bool(runs_of(*street(seed))) for seed in range(100))

    assert alarms <= 2


def test_a_bust_does_not_reach_over_a_change_of_setup():
    shots, height, station, offset = street(4)
    height[58:62] += 0.15
    changed = make_shots(
        shots.easting, shots.northing, height, code=shots.code,
        setup=texts(["A"] * 60 + ["B"] * (len(shots) - 60)),
    )  # fmt: skip
    # two shots before and two after the change: neither alone is a run
    assert runs_of(changed, height, station, offset) == ()


def test_a_shot_without_its_like_nearby_has_no_residual():
    alone = Profiled([0.0, 1.0], [0.0, 10.0], [0.0, 0.0], texts(["A", "B"]))

    assert np.isnan(residuals(alone, np.ones(2, dtype=bool))).all()
