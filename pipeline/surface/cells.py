"""Triangles by the cells of a square grid: which cells each touches, and the few near a point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from pipeline.model import Floats, Indices, Ints, Surface

PER_CELL = 16
"""Triangles a cell is made for; more of them is fewer cells to fill, and more to try later."""
SLACK_M = 1e-8
"""Each triangle is listed this much wider than it is, so that a point on its edge is not lost."""
SOME = 1 << 16
"""Triangles whose mean size is taken for that of all."""
BLOCK = 1 << 18
"""Triangles that are spread over the grid together."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Square cells of side ``cell`` [m] from the corner ``low`` on."""

    low: tuple[float, float]
    cell: float
    columns: int
    rows: int


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Triangles by cell: those of occupied cell k are ``first[k]:first[k + 1]`` of ``triangle``."""

    grid: Grid
    key: Ints
    first: Ints
    triangle: Indices

    def near(self, x: Floats, y: Floats) -> tuple[Ints, Ints]:
        """Pairs (triangle, point) in which the point's cell lists the triangle."""
        column, row = (
            np.floor((v - low) / self.grid.cell)
            for v, low in zip((x, y), self.grid.low, strict=True)
        )
        within = (column >= 0) & (column < self.grid.columns) & (row >= 0)
        point = np.flatnonzero(within & (row < self.grid.rows))
        key = (row[point] * self.grid.columns + column[point]).astype(np.int64)
        at = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
        known = self.key[at] == key
        point, at = point[known], at[known]
        count = self.first[at + 1] - self.first[at]
        listed = self.triangle[runs(self.first[at], count)].astype(np.int64)
        return listed, np.repeat(point, count)


_MADE: WeakKeyDictionary[Surface, Cells] = WeakKeyDictionary()


def cells_of(surface: Surface) -> Cells:
    """The triangles of a surface by cell; made once, for a surface never changes."""
    made = _MADE.get(surface)
    if made is None:
        made = _MADE[surface] = _by_cell(surface)
    return made


def _by_cell(surface: Surface) -> Cells:
    corners = np.stack((surface.x, surface.y))
    low = corners.min(axis=1) - SLACK_M
    reach = corners.max(axis=1) + SLACK_M - low
    some = corners[:, surface.triangles[:: 1 + len(surface.triangles) // SOME].T]
    (x1, y1), (x2, y2) = (some[:, k] - some[:, 0] for k in (1, 2))
    area = 0.5 * float(np.abs(x1 * y2 - y1 * x2).mean())
    cell = math.sqrt(max(area, 1e-6 / len(surface.triangles)) * PER_CELL)
    columns, rows = (int(n) for n in (np.floor(reach / cell) + 1).tolist())
    grid = Grid((float(low[0]), float(low[1])), cell, columns, rows)
    owners, keys = [], []
    for begin in range(0, len(surface.triangles), BLOCK):
        part = corners[:, surface.triangles[begin : begin + BLOCK].T]
        owner, key = touched(part, grid, SLACK_M)
        owners.append((owner + begin).astype(np.int32))
        keys.append(key)
    key = np.concatenate(keys)
    order = np.argsort(key)
    key = key[order]
    new = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    return Cells(grid, key[new], np.append(new, len(key)), np.concatenate(owners)[order])


def runs(first: NDArray[np.integer], count: NDArray[np.integer]) -> Ints:
    """``first[k], first[k] + 1, ...`` for ``count[k]`` numbers, one run after the other.

    Examples
    --------
    >>> runs(np.array([7, 2]), np.array([2, 3])).tolist()
    [7, 8, 2, 3, 4]
    """
    ends = np.cumsum(count)
    total = int(ends[-1]) if len(ends) else 0
    return np.asarray(np.arange(total) + np.repeat(first - (ends - count), count))


def touched(corners: Floats, grid: Grid, slack: float = 0.0) -> tuple[Ints, Ints]:
    """The cells that each triangle touches: (triangle, cell) one entry a cell.

    Row by row of the grid, from the stretch that the triangle takes of the row,
    so that a long thin triangle is not in every cell of its bounding box.

    Parameters
    ----------
    corners : ndarray, shape (2, 3, n)
        x and y of the corners [m].
    grid : Grid
    slack : float
        Triangles count as so much wider on every side [m].
    """
    x, y = corners
    first = _index(y.min(axis=0) - slack - grid.low[1], grid.cell, grid.rows)
    count = _index(y.max(axis=0) + slack - grid.low[1], grid.cell, grid.rows) - first + 1
    owner = np.repeat(np.arange(len(count)), count)
    row = runs(first, count)
    left, right = x.min(axis=0)[owner], x.max(axis=0)[owner]
    wide = np.flatnonzero((count[owner] > 1) & (right - left > grid.cell))
    bottom = np.asarray(grid.low[1] + row[wide] * grid.cell - slack)
    left[wide], right[wide] = _stretch(
        x[:, owner[wide]], y[:, owner[wide]], bottom, grid.cell + 2.0 * slack
    )
    first = _index(left - slack - grid.low[0], grid.cell, grid.columns)
    # a row that only rounding says is touched has its stretch the wrong way round
    count = np.maximum(_index(right + slack - grid.low[0], grid.cell, grid.columns) - first + 1, 0)
    return np.repeat(owner, count), np.repeat(row * grid.columns, count) + runs(first, count)


def _index(distance: Floats, cell: float, count: int) -> Ints:
    return np.clip(np.floor(distance / cell), 0, count - 1).astype(np.int64)


def _stretch(x: Floats, y: Floats, bottom: Floats, height: float) -> tuple[Floats, Floats]:
    """Least and greatest easting of each triangle within a band of northings."""
    left, right = np.full(len(bottom), np.inf), np.full(len(bottom), -np.inf)
    top = bottom + height
    for k in range(3):
        xa, ya, xb, yb = x[k], y[k], x[k - 2], y[k - 2]
        meets = (np.maximum(ya, yb) >= bottom) & (np.minimum(ya, yb) <= top)
        rise = yb - ya
        for here, level in ((xa, ya), (xb, yb)):
            held = np.clip(level, bottom, top) - ya
            share = np.divide(held, rise, out=np.zeros_like(rise), where=rise != 0)
            at = np.where(rise != 0, xa + np.clip(share, 0.0, 1.0) * (xb - xa), here)
            left = np.where(meets, np.minimum(left, at), left)
            right = np.where(meets, np.maximum(right, at), right)
    return left, right
