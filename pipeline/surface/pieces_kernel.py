"""The loops of `by_pieces`, to be compiled: a piece by its cells, without sorting all of it.

Points are put into their cells by counting, and of each cell only as much is ordered as its
quantile asks for. Every number that decides is worked out as in numpy, so both give the same.
A helper stays in this file: whoever compiles looks at no other.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import given, inlined, kernel
from pipeline.model import Bools, Floats, Ints
from pipeline.surface.bare_earth import Level
from pipeline.surface.frame import Frame
from pipeline.surface.thin import LOWEST_PERCENT, height_step

Codes = NDArray[np.uint8]
Local = NDArray[np.int32]
Place = tuple[Floats, Floats, Floats]

ON_EDGE = 1e-6
ABOVE, BELOW = 1, 2
EDGE, GONE = -1, -2
_PERCENT = int(LOWEST_PERCENT)


class Ground(NamedTuple):
    """`Level` flat, and the columns of its grid."""

    top: Floats
    limit: Floats
    bottom: Floats
    columns: int


@inlined
def _at(value: float, low: float, cell_m: float) -> int:
    return math.floor((value - low) / cell_m + ON_EDGE)


@inlined
def _local(row: int, column: int, frame: Frame) -> int:
    row -= frame.row
    column -= frame.column
    if 0 <= row < frame.rows and 0 <= column < frame.columns:
        return row * frame.columns + column
    return EDGE


@inlined
def _begins(cell: Local, cells: int) -> Ints:
    """Where each cell begins in the order by cell."""
    first = np.zeros(cells + 1, np.int64)
    for k in range(len(cell)):
        if cell[k] >= 0:
            first[cell[k] + 1] += 1
    for k in range(cells):
        first[k + 1] += first[k]
    return first


@inlined
def _ranked(values: Ints, low: int, high: int, rank: int) -> int:
    """The value that stands at `rank` when ``values[low:high + 1]`` are in order."""
    at = low + rank
    while low < high:
        pivot = values[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while pivot < values[j]:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if at <= j:
            high = j
        elif at >= i:
            low = i
        else:
            break
    return int(values[at])


@kernel
def placed(points: Place, frame: Frame, fate: Codes, cell: Local, box: Ints) -> tuple[float, float]:
    """Cell of each point that is ground, least and most height; ``box``: rows, columns met."""
    x, y, z = points
    least, most = np.inf, -np.inf
    for k in range(len(x)):
        if fate[k]:
            cell[k] = GONE
            continue
        row, column = _at(y[k], frame.south, frame.cell_m), _at(x[k], frame.west, frame.cell_m)
        cell[k] = _local(row, column, frame)
        if cell[k] >= 0:
            least, most = min(least, z[k]), max(most, z[k])
            box[0], box[1] = min(box[0], row), max(box[1], row)
            box[2], box[3] = min(box[2], column), max(box[3], column)
    return least, most


@kernel
def lows(
    cell: Local, z: Floats, height: tuple[float, float, float], chosen: Ints, highest: Ints
) -> None:
    """`low_cells` of each cell, in steps above the least; -1 where it has no point."""
    cells = len(chosen)
    least, step, gap = height
    first = _begins(cell, cells)
    at, word = first.copy(), np.empty(first[cells], np.int64)
    for k in range(len(cell)):
        if cell[k] >= 0:
            word[at[cell[k]]] = int(np.rint((z[k] - least) / step))
            at[cell[k]] += 1
    for c in range(cells):
        begin, many = first[c], first[c + 1] - first[c]
        if many == 0:
            chosen[c] = -1
            continue
        for k in range(begin, begin + many):
            highest[c] = max(highest[c], word[k])
        rank = (many - 1) * _PERCENT // 100
        if rank == 0 and many > 1:
            lowest, second = word[begin], word[begin + 1]
            if second < lowest:
                lowest, second = second, lowest
            for k in range(begin + 2, begin + many):
                if word[k] < lowest:
                    lowest, second = word[k], lowest
                elif word[k] < second:
                    second = word[k]
            chosen[c] = second if (second - lowest) * step > gap else lowest
        else:
            # from the second on a stray one is beneath the rank anyway
            chosen[c] = _ranked(word, begin, begin + many - 1, rank)


@kernel
def judged(
    points: Place,
    frame: Frame,
    ground: Ground,
    fate: Codes,
    seen: tuple[Bools, Bools, Bools],
) -> None:
    """What each point is; `judge` says of what cells and points the others are."""
    x, y, z = points
    gone, left, beside = seen
    for k in range(len(x)):
        row, column = _at(y[k], frame.south, frame.cell_m), _at(x[k], frame.west, frame.cell_m)
        at, local = row * ground.columns + column, _local(row, column, frame)
        above = z[k] - ground.top[at] > ground.limit[at]
        below = z[k] < ground.bottom[at]
        fate[k] = (ABOVE if above else 0) | (BELOW if below else 0)
        beside[k] = local < 0
        if local >= 0:
            if above:
                gone[local] = True
            elif not below:
                left[local] = True


@kernel
def picked(
    cell: Local,
    columns: tuple[Floats, Ints],
    height: tuple[float, float],
    cells: tuple[int, int],
    keep: Bools,
) -> None:
    """`thin` of each of so many cells, at such a percentage: `keep` is set for the points."""
    z, record = columns
    least, step = height
    first = _begins(cell, cells[0])
    at = first.copy()
    word, row = np.empty(first[cells[0]], np.int64), np.empty(first[cells[0]], np.int64)
    for k in range(len(cell)):
        if cell[k] >= 0:
            q = at[cell[k]]
            word[q], row[q] = int(np.rint((z[k] - least) / step)), k
            at[cell[k]] += 1
    ranked = word.copy()
    for c in range(cells[0]):
        begin, many = first[c], first[c + 1] - first[c]
        if many == 0:
            continue
        wanted = _ranked(ranked, begin, begin + many - 1, (many - 1) * cells[1] // 100)
        found = -1
        for q in range(begin, begin + many):
            if word[q] == wanted and (found < 0 or record[row[q]] < record[found]):
                found = row[q]
        keep[found] = True


def _placed_in(
    points: Place, frame: Frame, fate: Codes | None
) -> tuple[Local, tuple[float, float], int]:
    """`placed`, of points that are all ground without ``fate``: cells, heights, cells met."""
    cell = np.empty(len(points[0]), dtype=np.int32)
    big = np.iinfo(np.int64).max >> 2
    box = np.array([big, -big, big, -big])
    known = np.zeros(len(cell), dtype=np.uint8) if fate is None else fate
    heights = placed(_given(points), frame, given(known), cell, box)
    rows, columns = int(box[1] - box[0]) + 1, int(box[3] - box[2]) + 1
    return cell, heights, max(0, rows) * max(0, columns)


def _given(points: Place) -> Place:
    x, y, z = (given(column) for column in points)
    return x, y, z


def low_cells_in(
    points: Place, frame: Frame, base: tuple[float, int], gap: float
) -> tuple[tuple[Ints, Floats, Floats], Ints]:
    """`low_cells` of the cells of a frame, by their numbers in it; rows of the other points."""
    cell, (_, most), met = _placed_in(points, frame, None)
    chosen = np.full(frame.cells, -1, dtype=np.int64)
    highest = np.zeros(frame.cells, dtype=np.int64)
    least, step = base[0], 1.0
    if met:
        step = height_step(most - least, base[1])
        lows(given(cell), given(points[2]), (least, step, gap), chosen, highest)
    used = np.flatnonzero(chosen >= 0)
    low = np.asarray(least + chosen[used] * step)
    top = np.asarray(least + (highest[used] + 1) * step)
    return (used, low, top), np.flatnonzero(cell == EDGE)


def judge(points: Place, frame: Frame, level: Level) -> tuple[Codes, tuple[Bools, Bools], Ints]:
    """What points are, as codes, 0 ground.

    With the cells of the frame in which one stands above, those in which one is ground, and
    the rows of points that are in no cell of it.
    """
    fate = np.empty(len(points[0]), dtype=np.uint8)
    gone, left = np.zeros((2, frame.cells), dtype=bool)
    top, limit, bottom = (given(one.ravel()) for one in (level.top, level.limit, level.bottom))
    ground = Ground(top, limit, bottom, level.top.shape[1])
    beside = np.empty(len(fate), dtype=bool)
    judged(_given(points), frame, ground, fate, (gone, left, beside))
    return fate, (gone, left), np.flatnonzero(beside)


def thin_in(
    points: tuple[Floats, Floats, Floats, Ints], frame: Frame, fate: Codes | None, percent: int
) -> tuple[Ints, Ints]:
    """Rows that `thin` chooses in the cells of a frame; rows of ground in other cells."""
    cell, (least, most), met = _placed_in(points[:3], frame, fate)
    keep = np.zeros(len(cell), dtype=bool)
    if met:
        columns = given(points[2]), given(points[3])
        height = least, height_step(most - least, met)
        picked(given(cell), columns, height, (frame.cells, percent), keep)
    return np.flatnonzero(keep), np.flatnonzero(cell == EDGE)
