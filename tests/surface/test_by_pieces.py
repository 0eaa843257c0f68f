"""A scan in pieces gives what the scan in one gives, point for point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pipeline.cluster import work
from pipeline.surface.bare_earth import BareEarthRules, bare_earth, taken_out
from pipeline.surface.by_pieces import Extent, Wishes, cleared_and_thinned
from pipeline.surface.thin import thin
from tests.forms import both_forms

form = both_forms("pipeline.surface.by_pieces.BREAK_EVEN")

EAST, NORTH = 512_345.678, 5_801_234.567


@dataclass(frozen=True)
class Square:
    columns: tuple[np.ndarray, ...]
    west: float
    south: float
    side: float

    def points(self):
        return self.columns


@pytest.fixture(scope="module")
def scan():
    """A tilted street with a curb, machines, rods and echoes; heights in whole millimetres."""
    rng = np.random.default_rng(11)
    n = 120_000
    x, y = rng.uniform(0, 61.3, n), rng.uniform(0, 23.7, n)
    z = 100 + 0.02 * x - 0.03 * y + np.where(y > 9, 0.15, 0.0) + rng.normal(0, 0.006, n)
    for cx, cy, r, h in ((15.9, 8.0, 1.6, 2.2), (33.0, 16.0, 2.4, 3.0), (48.2, 15.9, 0.3, 1.5)):
        on = np.hypot(x - cx, y - cy) < r
        z[on] += rng.uniform(0, h, int(on.sum()))
    z[rng.integers(0, n, 40)] -= 1.5
    return np.round(EAST + x, 4), np.round(NORTH + y, 4), np.round(z, 3)


def cut(scan, side, west, south):
    """Squares of one size over the scan, points in its order."""
    e, n, z = scan
    column = np.floor((e - west) / side).astype(int)
    row = np.floor((n - south) / side).astype(int)
    squares = []
    for r, c in sorted(set(zip(row.tolist(), column.tolist(), strict=True))):
        rows = np.flatnonzero((row == r) & (column == c))
        columns = (e[rows], n[rows], z[rows], rows + 1)
        squares.append(Square(columns, west + c * side, south + r * side, side))
    return squares


def one_by_one(function, tasks, whole):
    return [function(task, whole) for task in tasks]


@pytest.mark.parametrize("take_out", [True, False])
@pytest.mark.parametrize(
    ("side", "cell", "keep"),
    [(16.0, 0.1, "median"), (5.0, 0.25, "lowest"), (7.3, 0.13, "median"), (400.0, 0.1, "lowest")],
)
def test_the_same_points_are_kept_as_in_one_piece(scan, side, cell, keep, take_out):
    e, n, z = scan
    rules = BareEarthRules()
    x, y = e - e.min(), n - n.min()
    whole = bare_earth(x, y, z, rules)
    rows = np.flatnonzero(whole.ground) if take_out else np.arange(len(e))
    wanted = rows[thin(x[rows], y[rows], z[rows], cell, keep=keep)]
    extent = Extent((e.min(), n.min(), z.min()), (e.max(), n.max(), z.max()))
    wishes = Wishes(cell, keep, rules if take_out else None)

    squares = cut(scan, side, EAST - 3.1, NORTH - 1.7)
    found = cleared_and_thinned(squares, extent, wishes, work)

    assert found.points[3].tolist() == (wanted + 1).tolist()
    assert found.points[0].tobytes() == e[wanted].tobytes()
    assert found.points[2].tobytes() == z[wanted].tobytes()
    if take_out:
        assert whole.above > 1000
        assert whole.below > 10
        assert [one.text for one in taken_out(found.bare)] == [one.text for one in taken_out(whole)]


def test_the_order_of_the_pieces_does_not_matter(scan):
    e, n, z = scan
    extent = Extent((e.min(), n.min(), z.min()), (e.max(), n.max(), z.max()))
    wishes = Wishes(0.1, "median", BareEarthRules())
    squares = cut(scan, 9.0, EAST, NORTH)

    one = cleared_and_thinned(squares, extent, wishes, one_by_one)
    other = cleared_and_thinned(squares[::-1], extent, wishes, one_by_one)

    assert one.points[3].tolist() == other.points[3].tolist()
