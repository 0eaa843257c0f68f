"""What the checks say of runs, spikes and gaps: each number of a text from the shots by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.checks import gaps, runs, spikes
from pipeline.model import Feet, make_shots
from pipeline.settings import CheckRules

RULES = CheckRules()


@pytest.fixture(scope="module")
def row():
    """Twelve shots every 5 m along a line, 2 m to its right, 1 ‰ up."""
    station = 5.0 * np.arange(12)
    shots = make_shots(
        100.0 + station, np.full(12, 198.0), 50.0 + 0.001 * station,
        id=[f"G{k}" for k in range(12)],
    )  # fmt: skip
    zero = np.zeros(12, dtype=int)
    return shots, Feet(station, np.full(12, 2.0), zero + 1, zero)


@pytest.mark.parametrize(
    ("offset", "aside", "words"),
    [
        (-0.3048, False, ("low", "equals one foot", "still in the surface")),
        (0.150, True, ("high", "kept out of the surface")),
    ],
)
def test_a_run_says_how_many_how_far_and_what_it_equals(row, offset, aside, words):
    run = runs.Run((2, 3, 4, 5, 6), offset, 0.003)
    (found,) = runs.findings(*row, (run,), {"one foot": 0.3048}, set_aside=aside)

    assert (found.kind, found.severity) == ("suspected bust", "person")
    assert found.points == ("G2", "G3", "G4", "G5", "G6")
    assert "0+010" in found.text
    assert "0+030" in found.text
    assert f"{abs(offset):.3f}" in found.text
    assert all(word in found.text for word in words)
    assert ("equals" in found.text) == (abs(offset) > 0.2)
    assert runs.findings(*row, (), {}, set_aside=aside) == ()


@pytest.mark.parametrize(
    ("count", "values", "known"),
    [(12, None, True), (4, None, False), (12, 4, False), (12, 5, True)],
)
def test_a_constant_needs_enough_shots_that_have_a_height(count, values, known):
    """Median and 1.25 times 1.4826 MAD over the root of n, by hand."""
    rows = np.arange(count)
    residual = 0.1 + 0.004 * (np.arange(12) % 3 - 1.0)
    if values is not None:
        residual[values:] = np.nan
    found = runs._measured(rows, residual, 0.02)

    assert (found is not None) == known
    if found is not None:
        there = residual[rows][~np.isnan(residual[rows])]
        spread = 1.4826 * np.median(np.abs(there - np.median(there)))
        assert found.offset_m == pytest.approx(np.median(there))
        assert found.error_m == pytest.approx(1.25 * spread / np.sqrt(len(there)))
    assert runs._measured(np.arange(12), 0.1 * residual, 0.02) is None


def judged(residual, suspect=(), cluster=(), along=(), volume=()):
    n = len(residual)
    flag, number, moved = np.zeros(n, bool), np.full(n, -1), np.full(n, np.nan)
    flag[list(suspect)] = True
    for rows, k in cluster:
        number[list(rows)] = k
    for at, value in volume:
        moved[at] = value
    return spikes.Spikes(np.array(residual), flag, number, np.array(along, bool), moved)


def test_a_shot_alone_says_how_far_it_stands_off_and_what_it_moves(row):
    off = np.zeros(12)
    off[3], off[7] = 0.31, -0.25
    found = spikes.spike_findings(
        *row, judged(off, (3, 7), volume=[(3, 1.24)]), {"one foot": 0.3048}, RULES
    )

    high, low = (one.text for one in found)
    assert "stands 0.310 m above its like, alone" in high
    assert "; it moves 1.2 m3" in high
    assert "stands 0.250 m below its like, alone" in low
    assert "moves" not in low
    assert high.endswith("kept out of the surface")
    kept = replace(RULES, set_spikes_aside=False)
    (text,) = (one.text for one in spikes.spike_findings(*row, judged(off, (3,)), {}, kept))
    assert text.endswith("still in the surface")


@pytest.mark.parametrize(
    ("sign", "along", "words", "do"),
    [
        (1, True, "bank or windrow", "code it as a line"),
        (-1, True, "ditch or gutter", "code it as a line"),
        (1, False, "heap or a step", "shoot round it"),
        (-1, False, "hollow or a step", "shoot round it"),
    ],
)
def test_what_several_shots_agree_on_is_called_what_it_looks_like(row, sign, along, words, do):
    off = np.zeros(12)
    off[4:7] = sign * np.array([0.20, 0.34, 0.27])
    (found,) = spikes.spike_findings(*row, judged(off, (), [(range(4, 7), 0)], [along]), {}, RULES)

    assert found.kind == "uncoded feature"
    assert "3 shots stand 0.20 to 0.34 m" in found.text
    assert ("above" if sign > 0 else "below") in found.text
    assert words in found.text
    assert do in found.do
    assert found.points == ("G4", "G5", "G6")


@pytest.mark.parametrize("angle", [0.0, 30.0])
def test_a_spike_moves_a_third_of_its_height_over_its_star(angle):
    """A cone over the six triangles about it: 6 x (sqrt 3 / 4) m2 x 0.4 m / 3."""
    ring = np.radians(angle + 60.0 * np.arange(6))
    station, offset = np.append(np.cos(ring), 0.0), np.append(np.sin(ring), 0.0)
    profiled = runs.Profiled(np.zeros(7), station, offset, np.full(7, "GR", dtype=object))
    residual, suspect = np.zeros(7), np.arange(7) == 6
    residual[6] = -0.4
    everyone = np.ones(7, dtype=bool)
    volume = spikes._volumes(profiled, residual, everyone, suspect)

    assert volume[6] == pytest.approx(6 * np.sqrt(3) / 4 * 0.4 / 3)
    assert np.isnan(volume[:6]).all()
    # three shots, or all in one line, make no surface that one of them could change
    assert np.isnan(spikes._volumes(profiled, residual, np.arange(7) > 3, suspect)).all()
    flat = replace(profiled, offset=np.zeros(7))
    assert np.isnan(spikes._volumes(flat, residual, everyone, suspect)).all()


def test_a_gap_of_several_parts_is_told_along_the_part_of_most_of_it():
    # 1 m cells: four of part 1 and two of part 0 hang together, one of part 0 lies apart
    far = np.zeros((6, 5), dtype=bool)
    part = np.zeros((6, 5), dtype=int)
    far[0, :3] = far[1, :3] = True
    part[0, :3], part[1, 0] = 1, 1
    far[4, 4] = True
    north, east = np.mgrid[0:6, 0:5].astype(float)
    cells = gaps.Cells(
        easting=east, northing=north, station=100.0 + north, offset=east - 2.0, part=part,
        inside=np.ones((6, 5), bool), ruled=part == 0, step=1.0,
    )  # fmt: skip
    first, second = gaps.gaps_in_cells(cells, far)

    assert (first.part, first.area_m2, first.around) == (1, 6.0, True)
    assert (first.start, first.end, first.left, first.right) == (100.0, 101.0, -2.0, 0.0)
    assert (second.part, second.area_m2, second.around) == (0, 1.0, False)
    texts = [one.text for one in gaps.gap_findings((first, second), RULES)]
    assert f"no shot within {RULES.gap_across_m:g} m of 6 m2" in texts[0]
    assert f"{RULES.gap_across_m:g} m across and {RULES.gap_along_m:g} m along" in texts[1]


def test_without_shots_every_place_is_far():
    places, reach = np.zeros((3, 2)), np.array([8.0, 4.0])

    assert gaps.far_from(places, np.empty((0, 2)), reach).tolist() == [True] * 3
    assert gaps.far_from(np.empty((0, 2)), places, reach).tolist() == []
    # on the ellipse of 8 by 4 m a place is reached, past it not
    shots = np.array([[8.0, 0.0]])
    assert gaps.far_from(np.array([[0.0, 0.0], [-0.01, 0.0]]), shots, reach).tolist() == [
        False, True,
    ]  # fmt: skip
