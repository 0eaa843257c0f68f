"""Shots against design breaks, known points and each other, by plane geometry and brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import interp1d

from pipeline.checks.references import (
    against_breaks,
    against_groups,
    against_known,
    break_at,
    dictionary,
    edges,
    group_labels,
    matched,
    misplaced,
    section_height,
    stated_breaks,
)
from pipeline.model import BreakLine, make_shots, texts
from pipeline.settings import Code


@pytest.fixture
def curb(break_line):
    """A straight curb 150 high: a curb that is rolled is another matter."""
    return (
        break_line("crown", "finish", 0, 0.0, 100.00),
        break_line("lip", "finish", 1, 3.7, 99.93),
        break_line("flowline", "finish", 1, 4.0, 99.91),
        break_line("top back of curb", "finish", 1, 4.35, 100.06),
        break_line("flowline", "finish", -1, -4.0, 99.91),
        break_line("crown", "gravel top", 0, 0.0, 99.88),
        break_line("crown", "stabilised top", 0, 0.0, 99.68),
    )


def test_a_break_is_linear_between_its_stations_and_ends_with_them():
    line = BreakLine("edge", "clay", 1, [0.0, 40.0, 50.0], [4.0, 4.8, 5.0], [10.0, 10.4, 10.1])
    asked = np.array([0.0, 13.0, 40.0, 47.0, 50.0])
    offset, height = break_at(line, asked)

    # scipy's interpolation
    np.testing.assert_allclose(offset, interp1d(line.station, line.offset)(asked))
    np.testing.assert_allclose(height, interp1d(line.station, line.elevation)(asked))
    assert break_at(line, [-0.4, 50.4])[0].tolist() == [4.0, 5.0]
    assert np.isnan(break_at(line, [-0.6, 50.6])[0]).all()


def test_stations_that_decrease_are_a_fault_of_the_calling_code():
    with pytest.raises(ValueError, match="stations of the break 'edge' decrease"):
        BreakLine("edge", "clay", 1, [10.0, 0.0], [4.0, 4.0], [0.0, 0.0])


def test_a_section_is_linear_across_and_nothing_outside(break_line):
    section = (
        break_line("edge", "clay", -1, -5.0, 9.9),
        break_line("crown", "clay", 0, 0.5, 10.0),
        break_line("edge", "clay", 1, 5.0, 9.8),
    )
    across = np.array([-6.0, -5.0, -2.25, 0.5, 2.75, 5.0, 5.1])
    height = section_height(section, np.full(7, 50.0), across)

    expected = interp1d([-5, 0.5, 5], [9.9, 10.0, 9.8], bounds_error=False)(across)
    np.testing.assert_allclose(height, expected)
    assert [float(side) for side in edges(section, np.array(50.0))] == [-5.0, 5.0]


def test_a_shot_is_held_against_the_break_of_its_name_on_its_side(curb, feet_at):
    feet = feet_at([10.0, 20.0, 30.0, 40.0], [4.02, -3.9, 0.1, 2.0])
    stated = texts(["flowline", "flowline", "", "flowline"])
    held = against_breaks(feet, [99.92, 99.90, 100.0, 99.9], stated, curb[:5], 1.0)

    np.testing.assert_allclose(held.residual, [0.01, -0.01, np.nan, np.nan], atol=1e-12)
    np.testing.assert_allclose(held.aside, [0.02, 0.1, np.nan, 2.0], atol=1e-12)
    assert held.line.tolist() == [2, 4, -1, 2]


def test_a_code_away_from_its_break_is_told_once_a_break(curb, feet_at):
    # a flow line 2 m inside the road
    feet = feet_at([10.0, 20.0, 30.0], [4.02, 2.0, 1.5])
    stated = texts(["flowline"] * 3)
    held = against_breaks(feet, np.full(3, 99.9), stated, curb, 1.0)
    (finding,) = misplaced(make_shots([1, 2, 3], [0] * 3, [99.9] * 3), feet, stated, held, 1.0)

    assert finding.points == ("2", "3")
    assert "2 shots coded as flowline, up to 2.5 m beside it" in finding.text


def test_codes_state_breaks():
    codes = {"FL": Code(what="flow line", break_name="flowline"), "GR": Code(what="ground")}

    assert stated_breaks(texts(["FL", "GR", ""]), codes).tolist() == ["flowline", "", ""]


def test_the_dictionary_is_that_of_the_section_with_its_signs(curb):
    found = dictionary(curb, ("finish", "flowline"), 1, 50.0)

    # 100.06 - 99.91, 99.93 - 99.91, 100.00 - 99.91
    assert found == pytest.approx(
        {
            "crown for flowline": 0.09,
            "lip for flowline": 0.02,
            "top back of curb for flowline": 0.15,
        }
    )
    assert dictionary(curb, ("stabilised top", "crown"), 1, 50.0) == pytest.approx(
        {"finish for stabilised top": 0.32, "gravel top for stabilised top": 0.20}
    )
    assert dictionary(curb, ("finish", "kerb"), 1, 50.0) == {}


def test_groups_are_file_set_up_and_rod():
    shots = make_shots(
        [0] * 4, [0] * 4, [0] * 4, setup=texts(["S1", "S1", "S2", ""]),
        rod=[1.8, 2.0, 2.0, np.nan], file=[0, 0, 0, 1], files=("a.csv", "b.csv"),
    )  # fmt: skip

    assert group_labels(shots).tolist() == [
        "set-up S1 rod 1.800 of a.csv", "set-up S1 rod 2.000 of a.csv",
        "set-up S2 rod 2.000 of a.csv", "of b.csv",
    ]  # fmt: skip


def test_known_points_are_matched_by_name_then_by_place():
    record = make_shots([0.0, 50.0], [0.0, 0.0], [10.0, 11.0], id=texts(["K1", "K2"]))
    shots = make_shots(
        [0.01, 50.2, 9000.0, 20.0], [0.0] * 4, [10.02, 11.5, 10.0, 10.0],
        note=texts(["K1 closing", "", "K2", ""]),
    )  # fmt: skip

    assert matched(shots, record, 0.3).tolist() == [0, 1, 1, -1]
    np.testing.assert_allclose(
        against_known(shots, record, 0.3), [0.02, 0.5, np.nan, np.nan], atol=1e-9
    )
    nothing = make_shots([], [], [])
    assert np.isnan(against_known(shots, nothing, 0.3)).all()


def test_groups_are_held_against_each_other_on_one_code():
    rng = np.random.default_rng(4)
    n = 40
    east, north = rng.uniform(0, 1.0, n), rng.uniform(0, 1.0, n)
    height = rng.normal(0, 0.1, n)
    labels = texts(rng.choice(["A", "B", "C"], n))
    codes = texts(rng.choice(["GR", "CL"], n))
    got = against_groups(make_shots(east, north, height), labels, codes, 0.2)

    # brute force
    for k in range(n):
        near = np.hypot(east - east[k], north - north[k]) <= 0.2
        near &= (labels != labels[k]) & (codes == codes[k])
        expected = height[k] - np.median(height[near]) if near.any() else np.nan
        np.testing.assert_allclose(got[k], expected, atol=1e-12)


def test_one_group_or_no_overlap_says_nothing():
    shots = make_shots([0.0, 0.0, 5.0], [0.0] * 3, [1.0, 2.0, 3.0])
    same = against_groups(shots, texts(["A"] * 3), texts(["GR"] * 3), 0.1)
    apart = against_groups(shots, texts(["A", "A", "B"]), texts(["GR"] * 3), 0.1)

    assert np.isnan(same).all()
    assert np.isnan(apart).all()
