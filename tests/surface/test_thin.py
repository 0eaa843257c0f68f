"""One shot per cell: against a plain loop over a dictionary of cells, which is slow and obvious."""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import SurfaceError
from pipeline.surface.thin import thin

PERCENT = {"median": 50, "lowest": 10}


def by_hand(x, y, z, cell_m, keep):
    """Row of each cell: sort its heights (micrometres, then row), take the one at the share."""
    cells = defaultdict(list)
    for row, (east, north, height) in enumerate(zip(x, y, z, strict=True)):
        where = math.floor(east / cell_m + 1e-6), math.floor(north / cell_m + 1e-6)
        cells[where].append((round((height - min(z)) / 1e-6), row))
    chosen = []
    for shots in cells.values():
        height = sorted(shots)[(len(shots) - 1) * PERCENT[keep] // 100][0]
        chosen.append(min(row for z_um, row in shots if z_um == height))
    return sorted(chosen)


coordinate = st.floats(-3.0, 3.0).map(lambda v: round(v, 3))


@given(
    shots=st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=1, max_size=60),
    cell_m=st.sampled_from([0.1, 0.25, 1.0, 10.0]),
    keep=st.sampled_from(["median", "lowest"]),
)
def test_the_choice_is_that_of_a_plain_loop(shots, cell_m, keep):
    x, y, z = np.array(shots).T

    assert thin(x, y, z, cell_m, keep=keep).tolist() == by_hand(x, y, z, cell_m, keep)


def test_the_order_of_the_shots_does_not_matter():
    rng = np.random.default_rng(3)
    xyz = rng.uniform(0, [20, 20, 1], (5_000, 3)) + np.array([2_500_000.0, 6_783_000.0, 19.0])
    order = rng.permutation(5_000)

    first = xyz[thin(*xyz.T, 0.5)]
    second = xyz[order][thin(*xyz[order].T, 0.5)]
    assert sorted(map(tuple, first)) == sorted(map(tuple, second))


def test_far_apart_shots_need_no_table_of_all_cells():
    rng = np.random.default_rng(4)
    xyz = rng.uniform(0, 1, (400, 3))
    xyz[200:, :2] += 40_000.0

    assert thin(*xyz.T, 0.25).tolist() == by_hand(*xyz.T, 0.25, "median")


def test_the_median_has_no_bias_and_the_lowest_is_low():
    rng = np.random.default_rng(5)
    sigma, shots, side = 0.005, 25, 40
    x, y = (np.repeat(axis.ravel() + 0.05, shots) for axis in np.mgrid[0:side, 0:side] / 10)
    z = rng.normal(0, sigma, len(x))

    # variance of a sample median, asymptotically pi sigma^2 / 2n (from memory)
    spread = sigma * math.sqrt(math.pi / (2 * shots))
    median = z[thin(x, y, z, 0.1)]
    assert len(median) == side**2
    assert abs(median.mean()) < 4 * spread / side
    assert median.std() == pytest.approx(spread, rel=0.1)
    # third of 25: expected -1.24 sigma by Blom's (i - 3/8)/(n + 1/4) (from memory)
    lowest = z[thin(x, y, z, 0.1, keep="lowest")]
    assert lowest.mean() == pytest.approx(-1.24 * sigma, rel=0.05)


def test_no_shots_give_none():
    assert thin([], [], [], 0.1).tolist() == []


@pytest.mark.parametrize(
    ("x", "cell_m", "message"),
    [
        ([0.0, np.nan], 0.1, r"point 2 of the scan: x is nan\. Leave the point out"),
        ([0.0, 1.0], 0.0, r"thinning: cells of 0\.0 m"),
        ([0.0, 1.0], float("nan"), "thinning: cells of nan m"),
        ([0.0, 1e9], 0.001, "1,000,000,000 m by .* too far for cells of 0.001 m"),
    ],
)
def test_what_cannot_be_thinned_is_refused(x, cell_m, message):
    with pytest.raises(SurfaceError, match=message):
        thin(x, [0.0, 500.0], [1.0, 1.0], cell_m)
