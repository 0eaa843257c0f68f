"""The loops of `contour`, to be compiled: piece by piece what numpy does column by column.

Every sum and product stands as there, in the same order, so that both give the same bits. A
helper stays in this file: whoever compiles looks at no other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import given, inlined, kernel
from pipeline.model import Floats, Indices, Ints
from pipeline.surface.contour import across


class Faces(NamedTuple):
    """Vertices with the number of levels below each, -1 without a height; triangles (m, 3)."""

    x: Floats
    y: Floats
    z: Floats
    below: Indices
    corner: Indices
    beyond: Indices


class Pieces(NamedTuple):
    """As `contour._Pieces`; the ends of the edges side by side."""

    level: Indices
    enters: Indices
    leaves: Indices
    following: Indices


@inlined
def _span(below: Indices, corner: Indices, t: int) -> tuple[int, int]:
    """Levels below the lowest and below the highest corner; none between them where one is NaN."""
    a, b, c = below[corner[t, 0]], below[corner[t, 1]], below[corner[t, 2]]
    low, high = min(a, b, c), max(a, b, c)
    return low, high if low >= 0 else low


@kernel
def counted(below: Indices, corner: Indices) -> Indices:
    """The number of the first piece of each triangle, and of all behind the last."""
    begin = np.zeros(len(corner) + 1, np.int32)
    for t in range(len(corner)):
        low, high = _span(below, corner, t)
        begin[t + 1] = begin[t] + (high - low)
    return begin


@inlined
def _edges(faces: Faces, t: int, level: int) -> tuple[int, int]:
    """The edges by which a line with higher ground on its left enters and leaves."""
    down, up = 0, 0
    for k in range(3):
        here = faces.below[faces.corner[t, k]] > level
        there = faces.below[faces.corner[t, k + 1 if k < 2 else 0]] > level
        if here and not there:
            down = k
        elif there and not here:
            up = k
    return down, up


@inlined
def _turned(faces: Faces, t: int) -> bool:
    """Clockwise."""
    a, b, c = faces.corner[t, 0], faces.corner[t, 1], faces.corner[t, 2]
    x, y = faces.x, faces.y
    return bool((x[b] - x[a]) * (y[c] - y[a]) < (y[b] - y[a]) * (x[c] - x[a]))


@inlined
def _put_edge(faces: Faces, t: int, k: int, into: Indices, piece: int) -> None:
    a, b = faces.corner[t, k], faces.corner[t, k + 1 if k < 2 else 0]
    into[piece, 0], into[piece, 1] = min(a, b), max(a, b)


@kernel
def fill(faces: Faces, begin: Indices, pieces: Pieces) -> None:
    """Every piece, by triangle and level, and which goes on from it."""
    for t in range(len(faces.corner)):
        if begin[t + 1] == begin[t]:
            continue
        low, turned = _span(faces.below, faces.corner, t)[0], _turned(faces, t)
        for piece in range(begin[t], begin[t + 1]):
            level = low + piece - begin[t]
            enters, leaves = _edges(faces, t, level)
            if turned:
                enters, leaves = leaves, enters
            _put_edge(faces, t, enters, pieces.enters, piece)
            _put_edge(faces, t, leaves, pieces.leaves, piece)
            pieces.level[piece] = level
            pieces.following[piece] = -1
            over = faces.beyond[t, leaves]
            if over >= 0 and begin[over + 1] > begin[over]:
                start = _span(faces.below, faces.corner, over)[0]
                if start <= level < start + begin[over + 1] - begin[over]:
                    pieces.following[piece] = begin[over] + level - start
    for piece in range(len(pieces.level)):
        on = pieces.following[piece]
        # a triangle that lies over its neighbour runs against it: the line ends there
        if on >= 0 and not (
            pieces.enters[on, 0] == pieces.leaves[piece, 0]
            and pieces.enters[on, 1] == pieces.leaves[piece, 1]
        ):
            pieces.following[piece] = -1


@kernel
def chained(following: Indices, order: Indices, start: Indices) -> int:
    """Pieces one after the other, where each line begins, and how many lines: open ones first."""
    n, lines, at = len(following), 0, 0
    headed, done = np.zeros(n, np.bool_), np.zeros(n, np.bool_)
    for piece in range(n):
        if following[piece] >= 0:
            headed[following[piece]] = True
    for closed in range(2):
        for piece in range(n):
            if done[piece] or (headed[piece] and not closed):
                continue
            start[lines] = at
            lines += 1
            step = piece
            while step >= 0 and not done[step]:
                done[step] = True
                order[at] = step
                at += 1
                step = following[step]
    start[lines] = at
    return lines


@inlined
def _place(faces: Faces, a: int, b: int, height: float) -> tuple[float, float]:
    """The point of an edge, lower-numbered vertex first, at a height."""
    x, y, z = faces.x, faces.y, faces.z
    along = (height - z[a]) / (z[b] - z[a])
    # at its end an edge gives its vertex to the bit, as every other edge there does
    if along == 1.0:
        return x[b], y[b]
    return x[a] + along * (x[b] - x[a]), y[a] + along * (y[b] - y[a])


@kernel
def drawn(
    faces: Faces, heights: Floats, pieces: Pieces, chain: tuple[Indices, Indices, Ints],
    out: tuple[Floats, Floats, Floats, Ints],
) -> tuple[int, int]:  # fmt: skip
    """Points and levels of the lines in the order `by`; how many lines and points there are."""
    order, start, by = chain
    px, py, levels, ends = out
    lines, n = 0, 0
    for line in by:
        first, last = start[line], start[line + 1]
        height, begin = heights[pieces.level[order[first]]], n
        for k in range(first, last + 1):
            piece = order[min(k, last - 1)]
            ends_of = pieces.enters if k < last else pieces.leaves
            x, y = _place(faces, ends_of[piece, 0], ends_of[piece, 1], height)
            if n == begin or x != px[n - 1] or y != py[n - 1]:
                px[n], py[n] = x, y
                n += 1
        # a hollow that just reaches a level is left with one point, which is no line
        if n - begin > 1:
            levels[lines] = height
            lines += 1
            ends[lines] = n
        else:
            n = begin
    return lines, n


def lines(
    xyz: tuple[Floats, Floats, Floats],
    levels: tuple[Floats, Ints],
    tri: NDArray[np.integer],
    beyond: NDArray[np.integer] | None,
) -> tuple[Floats, Floats, Floats, Ints]:
    """Level, x, y and start of `contour.isolines`; `levels` are their heights and `ranks`."""
    heights, below = levels[0], given(levels[1].astype(np.int32))
    corner = given(tri.astype(np.int32, copy=False))
    begin = given(counted(below, corner))
    if beyond is None:
        beyond = across(tri.astype(np.int64), np.flatnonzero(np.diff(begin)), None)
    x, y, z = (given(column) for column in xyz)
    faces = Faces(x, y, z, below, corner, given(beyond.astype(np.int32, copy=False)))
    n = int(begin[-1])
    level, following, order = (np.empty(n, np.int32) for _ in range(3))
    pieces = Pieces(level, np.empty((n, 2), np.int32), np.empty((n, 2), np.int32), following)
    fill(faces, begin, pieces)
    start = np.empty(n + 1, np.int32)
    count = chained(given(following), order, start)
    head = order[start[:count]]
    chain = given(order), given(start), given(np.lexsort((head, level[head])))
    px, py, height = np.empty(n + count), np.empty(n + count), np.empty(count)
    ends = np.zeros(count + 1, np.int64)
    kept, points = drawn(faces, given(heights), pieces, chain, (px, py, height, ends))
    return height[:kept], px[:points], py[:points], ends[: kept + 1]
