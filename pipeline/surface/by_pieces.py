"""A scan cleared and thinned piece by piece, with the result of doing it in one.

A cell on the edge of a piece has points in two: those are set aside and chosen from
when all pieces are through. Everything else of a piece is settled by itself, so
the pieces can be worked on anywhere, in any order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy as np

from pipeline.model import Bools, Floats, Ints
from pipeline.surface.bare_earth import (
    BareEarth,
    BareEarthRules,
    Level,
    check_extent,
    ground_level,
    low_cells,
    low_surface,
    standing,
)
from pipeline.surface.standing import hidden, objects, taken_by_cell
from pipeline.surface.thin import Keep, cells_at, grid_of, thin

T = TypeVar("T")
R = TypeVar("R")
_SLACK_M = 1e-6

Columns = tuple[Floats, Floats, Floats, Ints]
"""Easting, northing, elevation [m] and the record of each point."""


class Piece(Protocol):
    """A square of plan with the points in it."""

    @property
    def west(self) -> float:
        """Least easting [m]."""

    @property
    def south(self) -> float:
        """Least northing [m]."""

    @property
    def side(self) -> float:
        """Length of a side [m]."""

    def points(self) -> Columns:
        """Easting, northing, elevation and record, in the order of the scan."""


Mapper = Callable[[Callable[[T], R], Sequence[T]], Iterable[R]]
"""``map``, or one that works on several at a time; answers come in the order asked."""


@dataclass(frozen=True, slots=True)
class Extent:
    """Least and most of easting, northing and elevation of the whole scan [m]."""

    least: tuple[float, float, float]
    most: tuple[float, float, float]

    def near_zero(self, points: Columns) -> tuple[Floats, Floats]:
        """Plan coordinates counted from the least."""
        return points[0] - self.least[0], points[1] - self.least[1]


@dataclass(frozen=True, slots=True)
class Wishes:
    """How a scan is cleared and thinned; ``bare`` None: nothing is taken out."""

    cell_m: float
    keep: Keep
    bare: BareEarthRules | None


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """Points kept of a scan, in its order, and what was taken out of it."""

    points: Columns
    bare: BareEarth | None


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """One piece and what is known of the whole when it is worked on."""

    piece: Piece
    extent: Extent
    wishes: Wishes
    level: Level | None = None

    def inside(self, x: Floats, y: Floats, cell_m: float) -> Bools:
        """Points whose cell lies wholly in the piece."""
        found = np.ones(len(x), dtype=bool)
        for values, low, base in (
            (x, self.piece.west, self.extent.least[0]), (y, self.piece.south, self.extent.least[1])
        ):  # fmt: skip
            at = cells_at(values, cell_m)
            edges = np.array([low - base - _SLACK_M, low - base + self.piece.side + _SLACK_M])
            first, last = cells_at(edges, cell_m)
            found &= (at > first) & (at < last)
        return found


def cleared_and_thinned(
    pieces: Sequence[Piece], extent: Extent, wishes: Wishes, work: Mapper[Any, Any]
) -> Kept:
    """What `bare_earth` and then `thin` keep of a scan, worked out piece by piece.

    Parameters
    ----------
    pieces : sequence of Piece
        All points of the scan, each in one piece, in the order of the scan within it.
    extent : Extent
    wishes : Wishes
    work : callable
        ``map`` or the like: the pieces may be worked on at the same time and elsewhere.

    Returns
    -------
    Kept
        The same points as in one piece: of every cell the one that all its points
        choose. Heights are told apart to a micrometre, as in `thin`.
    """
    level, bare = None, None
    tasks = [_Task(piece, extent, wishes) for piece in pieces]
    if wishes.bare is not None:
        level = _level(tasks, extent, wishes.bare, work)
        tasks = [_Task(piece, extent, wishes, level) for piece in pieces]
    parts = list(work(_chosen, tasks))
    if wishes.bare is not None:
        shape = _shape(extent, wishes.bare.cell_m)
        bare = _told([part.taken for part in parts], shape, wishes.bare)
    open_points = _joined([part.open for part in parts])
    rows = _thinned(open_points, extent, wishes)
    closed = _joined([part.closed for part in parts])
    both = _joined([closed, _rows(open_points, rows)])
    return Kept(_rows(both, np.argsort(both[3], kind="stable")), bare)


def _shape(extent: Extent, cell_m: float) -> tuple[int, int]:
    x, y = (np.array([0.0, extent.most[k] - extent.least[k]]) for k in (0, 1))
    return grid_of(x, y, cell_m)


def _level(
    tasks: list[_Task], extent: Extent, rule: BareEarthRules, work: Mapper[Any, Any]
) -> Level:
    """The ground by cell, from the low quantile of every cell and what stands in it."""
    shape = _shape(extent, rule.cell_m)
    check_extent(shape, rule.cell_m)
    base = extent.least[2], shape[0] * shape[1]
    parts = list(work(_low_part, tasks))
    cell, z = (np.concatenate([part[k] for part in parts]) for k in (2, 3))
    left = low_cells(cell, z, base, rule.below_m)
    used = np.concatenate([*(part[0] for part in parts), left[0]])
    height = np.concatenate([*(part[1] for part in parts), left[1]])
    low = low_surface(used, height, shape, rule.below_m)

    def on(first: Level) -> Floats:
        count = np.zeros(shape[0] * shape[1])
        asked = [_Task(task.piece, extent, task.wishes, first) for task in tasks]
        for cells, many in work(_standing_part, asked):
            count[cells] += many  # a part names a cell once
        return count.reshape(shape)

    return ground_level(low, on, rule)


def _cells(task: _Task, x: Floats, y: Floats) -> tuple[Ints, tuple[int, int], BareEarthRules]:
    rule = task.wishes.bare
    assert rule is not None  # noqa: S101 - asked for only where something is taken out
    shape = _shape(task.extent, rule.cell_m)
    return cells_at(y, rule.cell_m) * shape[1] + cells_at(x, rule.cell_m), shape, rule


def _low_part(task: _Task) -> tuple[Ints, Floats, Ints, Floats]:
    points = task.piece.points()
    (x, y), z = task.extent.near_zero(points), points[2]
    cell, shape, rule = _cells(task, x, y)
    base = task.extent.least[2], shape[0] * shape[1]
    inside = task.inside(x, y, rule.cell_m)
    used, low = low_cells(cell[inside], z[inside], base, rule.below_m)
    return used, low, cell[~inside], z[~inside]


def _standing_part(task: _Task) -> tuple[Ints, Ints]:
    points = task.piece.points()
    cell, _, _ = _cells(task, *task.extent.near_zero(points))
    assert task.level is not None  # noqa: S101 - known by then
    return standing(cell, points[2], task.level)


@dataclass(frozen=True, slots=True, eq=False)
class _Taken:
    """What of a piece is no ground: points, above, below, cells seen, cells taken from."""

    points: int
    above: int
    below: int
    seen: tuple[Ints, Ints]
    by_cell: tuple[Ints, Floats]


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """Points chosen in whole cells of a piece, and all ground points of the others."""

    closed: Columns
    open: Columns
    taken: _Taken | None


def _chosen(task: _Task) -> _Part:
    points = task.piece.points()
    (x, y), z = task.extent.near_zero(points), points[2]
    taken = None
    rows = np.arange(len(x))
    if task.level is not None:
        cell, _, _ = _cells(task, x, y)
        fate = task.level.judge(cell, z)
        by_cell = taken_by_cell((x, y, fate.rise), cell, fate.above)
        counts = len(x), int(fate.above.sum()), int(fate.below.sum())
        taken = _Taken(*counts, fate.seen(cell), by_cell)
        rows = np.flatnonzero(fate.ground)
    ground = _rows(points, rows)
    inside = task.inside(*task.extent.near_zero(ground), task.wishes.cell_m)
    closed = _rows(ground, np.flatnonzero(inside))
    return _Part(
        _rows(closed, _thinned(closed, task.extent, task.wishes)), _rows(ground, ~inside), taken
    )


def _thinned(points: Columns, extent: Extent, wishes: Wishes) -> Ints:
    """Rows chosen; the first of equal ones is that of the lowest record."""
    if not len(points[0]):
        return np.empty(0, dtype=np.int64)
    order = np.argsort(points[3], kind="stable")
    sorted_points = _rows(points, order)
    x, y = extent.near_zero(sorted_points)
    return order[thin(x, y, sorted_points[2], wishes.cell_m, keep=wishes.keep)]


def _rows(points: Columns, rows: Any) -> Columns:
    x, y, z, record = (column[rows] for column in points)
    return x, y, z, record


def _joined(parts: Sequence[Columns]) -> Columns:
    x, y, z = (np.concatenate([part[k] for part in parts]) for k in range(3))
    return x, y, z, np.concatenate([part[3] for part in parts])


def _told(
    parts: Sequence[_Taken | None], shape: tuple[int, int], rule: BareEarthRules
) -> BareEarth:
    known = [part for part in parts if part is not None]
    return BareEarth(
        ground=np.empty(0, dtype=np.bool_),
        above=sum(part.above for part in known),
        below=sum(part.below for part in known),
        hidden_m2=hidden([part.seen for part in known], shape) * rule.cell_m**2,
        objects=objects([part.by_cell for part in known], shape),
        points=sum(part.points for part in known),
    )
