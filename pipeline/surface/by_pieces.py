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

from pipeline import compiled
from pipeline.model import Floats, Ints
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
from pipeline.surface.frame import Frame, frame_of
from pipeline.surface.standing import hidden, objects, taken_by_cell
from pipeline.surface.thin import PERCENT, Keep, cells_at, grid_of, thin

T = TypeVar("T")
S = TypeVar("S")
R = TypeVar("R")
BREAK_EVEN = 200_000
"""Points of a piece from which on the compiled form is used: a scan that has such is large."""
_CELLS_PER_POINT = 3

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


Mapper = Callable[[Callable[[T, S], R], Sequence[T], S], Iterable[R]]
"""``work(function, tasks, whole)``: ``function(task, whole)`` of each task, in their order."""


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
class _Whole:
    """What is known of the whole scan when its pieces are worked on."""

    extent: Extent
    wishes: Wishes
    level: Level | None = None

    @property
    def bare(self) -> BareEarthRules:
        """The rules of what is taken out."""
        assert self.wishes.bare is not None  # noqa: S101 - asked for only where something is
        return self.wishes.bare

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the cells in which the ground is sought."""
        x, y = (np.array([0.0, self.extent.most[k] - self.extent.least[k]]) for k in (0, 1))
        return grid_of(x, y, self.bare.cell_m)

    def cells(self, points: Columns) -> Ints:
        """The cell of each point."""
        x, y = self.extent.near_zero(points)
        return cells_at(y, self.bare.cell_m) * self.shape[1] + cells_at(x, self.bare.cell_m)

    def frame(self, piece: Piece, cell_m: float) -> Frame:
        """Cells that lie wholly in the piece."""
        least = self.extent.least[:2]
        return frame_of(least, (piece.west, piece.south), piece.side, cell_m)


def cleared_and_thinned(
    pieces: Sequence[Piece], extent: Extent, wishes: Wishes, work: Mapper[Any, Any, Any]
) -> Kept:
    """What `bare_earth` and then `thin` keep of a scan, worked out piece by piece.

    Parameters
    ----------
    pieces : sequence of Piece
        All points of the scan, each in one piece, in the order of the scan within it.
    extent : Extent
    wishes : Wishes
    work : callable
        `Mapper`: the pieces may be worked on at the same time and elsewhere.

    Returns
    -------
    Kept
        The same points as in one piece: of every cell the one that all its points
        choose. Heights are told apart to a micrometre, as in `thin`.
    """
    whole, bare = _Whole(extent, wishes), None
    if wishes.bare is not None:
        whole = _Whole(extent, wishes, _level(pieces, whole, work))
    parts = list(work(_chosen, pieces, whole))
    if wishes.bare is not None:
        bare = _told([part.taken for part in parts], whole.shape, wishes.bare)
    left = _joined([part.open for part in parts])
    closed = _joined([part.closed for part in parts])
    both = _joined([closed, _rows(left, _thinned(left, whole))])
    return Kept(_rows(both, np.argsort(both[3], kind="stable")), bare)


def _level(pieces: Sequence[Piece], whole: _Whole, work: Mapper[Any, Any, Any]) -> Level:
    """The ground by cell, from the low quantile of every cell and what stands in it."""
    shape, rule = whole.shape, whole.bare
    check_extent(shape, rule.cell_m)
    base = whole.extent.least[2], shape[0] * shape[1]
    parts = list(work(_low_part, pieces, whole))
    cell, z = (np.concatenate([part.open[k] for part in parts]) for k in (0, 1))
    left = low_cells(cell, z, base, rule.below_m)
    used, height, highest = (
        np.concatenate([*(part.closed[k] for part in parts), left[k]]) for k in range(3)
    )
    low = low_surface(used, height, shape, rule.below_m)

    def on(first: Level) -> Floats:
        count = np.zeros(shape[0] * shape[1])
        asked = _Whole(whole.extent, whole.wishes, first)
        busy = np.zeros(len(count), dtype=bool)
        busy[used] = highest - first.top.ravel()[used] > first.limit.ravel()[used]
        # most pieces of a street are bare
        some = [
            piece
            for piece, part in zip(pieces, parts, strict=True)
            if busy[part.closed[0]].any() or busy[part.open[0]].any()
        ]
        for cells, many in work(_standing_part, some, asked):
            count[cells] += many  # a part names a cell once
        return count.reshape(shape)

    return ground_level(low, on, rule)


@dataclass(frozen=True, slots=True, eq=False)
class _Lows:
    """`low_cells` of whole cells of a piece; cell and height of all points of the others."""

    closed: tuple[Ints, Floats, Floats]
    open: tuple[Ints, Floats]


def _low_part(piece: Piece, whole: _Whole) -> _Lows:
    points = piece.points()
    rule = whole.bare
    frame = whole.frame(piece, rule.cell_m)
    base = whole.extent.least[2], whole.shape[0] * whole.shape[1]
    if _is_compiled(len(points[0]), frame):
        from pipeline.surface import pieces_kernel

        closed, rows = pieces_kernel.low_cells_in(points[:3], frame, base, rule.below_m)
        closed = frame.of_scan(closed[0], whole.shape[1]), closed[1], closed[2]
        edge = _rows(points, rows)
        return _Lows(closed, (whole.cells(edge), edge[2]))
    cell, z = whole.cells(points), points[2]
    inside = frame.holds(*whole.extent.near_zero(points))
    closed = low_cells(cell[inside], z[inside], base, rule.below_m)
    return _Lows(closed, (cell[~inside], z[~inside]))


def _standing_part(piece: Piece, whole: _Whole) -> tuple[Ints, Ints]:
    points = piece.points()
    assert whole.level is not None  # noqa: S101 - known by then
    return standing(whole.cells(points), points[2], whole.level)


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


def _is_compiled(points: int, *frames: Frame) -> bool:
    # a table of the cells is to be no larger than the points
    few = all(frame.cells <= _CELLS_PER_POINT * points + 1024 for frame in frames)
    return few and compiled.worth(points, BREAK_EVEN)


def _chosen(piece: Piece, whole: _Whole) -> _Part:
    points, wishes = piece.points(), whole.wishes
    fine = whole.frame(piece, wishes.cell_m)
    coarse = fine if wishes.bare is None else whole.frame(piece, wishes.bare.cell_m)
    if _is_compiled(len(points[0]), fine, coarse):
        return _chosen_by_loops(points, whole, fine, coarse)
    taken, ground = None, points
    if whole.level is not None:
        cell = whole.cells(points)
        fate = whole.level.judge(cell, points[2])
        by_cell = taken_by_cell((*whole.extent.near_zero(points), fate.rise), cell, fate.above)
        counts = len(cell), int(fate.above.sum()), int(fate.below.sum())
        taken = _Taken(*counts, fate.seen(cell), by_cell)
        ground = _rows(points, fate.ground)
    inside = fine.holds(*whole.extent.near_zero(ground))
    closed = _rows(ground, inside)
    return _Part(_rows(closed, _thinned(closed, whole)), _rows(ground, ~inside), taken)


def _chosen_by_loops(points: Columns, whole: _Whole, fine: Frame, coarse: Frame) -> _Part:
    """`_chosen`, the same by compiled loops."""
    from pipeline.surface import pieces_kernel

    taken, fate, level = None, None, whole.level
    if level is not None:
        fate, seen, edge = pieces_kernel.judge(points[:3], coarse, level)
        up = np.flatnonzero(fate & pieces_kernel.ABOVE)
        lifted, across = _rows(points, up), whole.shape[1]
        cell = whole.cells(lifted)
        judged = level.judge(cell, lifted[2])
        by_cell = taken_by_cell((*whole.extent.near_zero(lifted), judged.rise), cell, judged.above)
        beside = whole.cells(_rows(points, edge))
        ground, above = fate[edge] == 0, (fate[edge] & pieces_kernel.ABOVE) > 0
        gone = [coarse.of_scan(np.flatnonzero(seen[0]), across), np.unique(beside[above])]
        left = [coarse.of_scan(np.flatnonzero(seen[1]), across), np.unique(beside[ground])]
        below = int(np.count_nonzero(fate & pieces_kernel.BELOW))
        both = np.concatenate(gone), np.concatenate(left)
        taken = _Taken(len(fate), len(up), below, both, by_cell)
    keep, edge = pieces_kernel.thin_in(points, fine, fate, PERCENT[whole.wishes.keep])
    return _Part(_rows(points, keep), _rows(points, edge), taken)


def _thinned(points: Columns, whole: _Whole) -> Ints:
    """Rows chosen; the first of equal ones is that of the lowest record."""
    if not len(points[0]):
        return np.empty(0, dtype=np.int64)
    order = np.argsort(points[3], kind="stable")
    ordered = _rows(points, order)
    x, y = whole.extent.near_zero(ordered)
    wishes = whole.wishes
    return order[thin(x, y, ordered[2], wishes.cell_m, keep=wishes.keep)]


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
