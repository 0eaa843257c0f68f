"""A datum shift, a hit hub and the grader's work are told apart: trade notes 5.5 and row 50."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.days import compare_fixed, day_findings, net_change, shifted
from pipeline.model import make_shots, texts
from pipeline.settings import CheckRules

RULES = CheckRules()
PLACES = np.arange(12) * 10.0


def hubs(seed, shift=0.0, moved=None, n=12):
    rng = np.random.default_rng(seed)
    height = 100.0 + PLACES[:n] * 0.02 + shift + rng.normal(0, 0.002, n)
    east = PLACES[:n] + rng.normal(0, 0.003, n)
    for row, dz in (moved or {}).items():
        height[row] += dz
    return make_shots(east, np.zeros(n), height, code=texts(["HUB"] * n),
                      id=texts(f"H{k + 1}" for k in range(n)), files=("hubs.csv",))  # fmt: skip


def test_a_quiet_night_says_nothing(feet_at):
    moves = compare_fixed(hubs(1), hubs(2), RULES)

    assert not moves.moved.any()
    assert not shifted(moves, RULES)
    assert day_findings(hubs(1), feet_at(PLACES, PLACES), moves, 1000.0, RULES) == ()


def test_a_shift_of_30_millimetres_is_told_from_50_millimetres_of_grading(feet_at):
    # row 50: the datum went up 30 mm, the grader took 50 mm off half of the street
    today = hubs(1, shift=0.030)
    moves = compare_fixed(today, hubs(2), RULES)
    change = np.r_[np.full(20, 0.030), np.full(20, -0.020)] + np.random.default_rng(3).normal(
        0, 0.003, 40
    )
    net = net_change(change, moves, RULES)

    assert moves.shift == pytest.approx(0.030, abs=0.003)
    assert shifted(moves, RULES)
    assert np.median(net[:20]) == pytest.approx(0.0, abs=0.004)
    assert np.median(net[20:]) == pytest.approx(-0.050, abs=0.004)
    assert not moves.moved.any()
    (finding,) = day_findings(today, feet_at(PLACES, PLACES), moves, 1000.0, RULES)
    assert finding.severity == "stop"
    assert "12 fixed things stand" in finding.text
    # 1000 m2 by the shift
    assert f"{abs(moves.shift) * 1000:.1f} m3" in finding.text


def test_one_hit_hub_is_named_with_and_without_a_shift(feet_at):
    for shift in (0.0, 0.030):
        today = hubs(1, shift=shift, moved={4: -0.045})
        moves = compare_fixed(today, hubs(2), RULES)
        found = day_findings(today, feet_at(PLACES, PLACES), moves, 1000.0, RULES)

        assert np.flatnonzero(moves.moved).tolist() == [4]
        assert found[-1].points == ("H5",)
        assert moves.dz[4] - (moves.shift if shift else 0) == pytest.approx(-0.045, abs=0.008)
        assert shifted(moves, RULES) == bool(shift)


def test_five_hit_hubs_of_twelve_do_not_make_a_shift():
    moves = compare_fixed(hubs(1, moved=dict.fromkeys(range(5), 0.05)), hubs(2), RULES)

    assert not shifted(moves, RULES)
    assert np.flatnonzero(moves.moved).tolist() == list(range(5))


def test_clean_nights_raise_no_alarm():
    alarms = sum(
        shifted(compare_fixed(hubs(seed), hubs(seed + 1000), RULES), RULES) for seed in range(100)
    )

    assert alarms == 0


def test_things_are_matched_by_place_and_not_by_running_numbers():
    today = make_shots([0.0, 50.0], [0.0, 0.0], [10.0, 20.0], code=texts(["CP", "MH"]))
    before = make_shots([50.1, 0.05], [0.0, 0.0], [20.0, 10.0], code=texts(["MH", "CP"]))
    moves = compare_fixed(today, before, RULES)

    assert today.id.tolist() == before.id.tolist()
    assert moves.before.tolist() == [1, 0]


def test_a_hub_that_was_hit_hard_is_found_by_its_id():
    today, before = hubs(1), hubs(2)
    east = today.easting.copy()
    east[3] += 1.5
    hit = make_shots(east, today.northing, today.elevation, id=today.id, code=today.code)

    assert compare_fixed(hit, before, RULES).plan[3] == pytest.approx(1.5, abs=0.02)


def test_two_fixed_things_cannot_tell(feet_at):
    today = hubs(1, shift=0.03, n=2)
    moves = compare_fixed(today, hubs(2, n=2), RULES)
    found = day_findings(today, feet_at(PLACES[:2], PLACES[:2]), moves, 1000.0, RULES)

    assert np.isnan(moves.shift)
    assert found[0].kind == "few fixed things"
    assert [finding.kind for finding in found[1:]] == ["thing moved", "thing moved"]
