"""Lines of equal height on triangles, chained."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline import compiled
from pipeline.model import Floats, Ints
from pipeline.model.arrays import lock_fields

BREAK_EVEN = 3_000_000
"""From so many triangles on the compiled form is through sooner [measured]."""


@dataclass(frozen=True, slots=True, eq=False)
class Isolines:
    """Lines of equal height: line k is points ``start[k]:start[k + 1]``.

    ``level`` is the height of each line. A closed line repeats its first point
    at the end. Higher ground is on the left.
    """

    level: Floats
    x: Floats
    y: Floats
    start: Ints

    def __post_init__(self) -> None:
        n, lines = len(self.x), len(self.level)
        lock_fields(
            self,
            {
                "level": (np.float64, (lines,)),
                "x": (np.float64, (n,)),
                "y": (np.float64, (n,)),
                "start": (np.int64, (lines + 1,)),
            },
        )

    def __len__(self) -> int:
        return len(self.level)


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """One piece of line in one triangle each, s in all, by triangle and level.

    ``level`` is the number of the level. ``enters`` and ``leaves``, shape
    (s, 2), hold the ends of the crossed edges, lower-numbered vertex first.
    ``following`` is the piece that goes on from here, -1 where none does.
    """

    level: Ints
    enters: Ints
    leaves: Ints
    following: Ints


def isolines(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    triangles: ArrayLike,
    levels: ArrayLike,
    neighbours: ArrayLike | None = None,
) -> Isolines:
    """Lines along which a triangulated height, or difference of heights, has given values.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Vertices [m]; shift them near zero first.
    z : array_like, shape (n,)
        Height or difference [m] at each vertex. A triangle with a NaN has no lines.
    triangles : array_like, shape (m, 3)
        Vertex numbers, in either sense.
    levels : array_like, shape (k,)
        Values to draw, any order; repeated ones count once.
    neighbours : array_like, shape (m, 3), optional
        As in `Surface`. Without it triangles are neighbours that share two
        vertices, which takes a sort of the edges to find.

    Returns
    -------
    Isolines
        In order of level, then of the triangle they begin in. Higher ground is
        on the left, so a closed line around a hill runs counter-clockwise.

    Raises
    ------
    ValueError
        A level is not finite.

    Notes
    -----
    Each vertex gets the number of levels below it, so one that lies on a level
    counts as below and is no special case: a line then passes through it, a
    summit that just reaches a level has no line, and a flat triangle on a level
    lies within one. The point on an edge is computed from its lower-numbered
    end, the same from both sides. Exact on the triangles to float64 rounding.

    Examples
    --------
    A roof, 2 m high at its ridge: two lines at 1 m.

    >>> lines = isolines([0, 4, 8, 0, 4, 8], [0, 0, 0, 6, 6, 6], [0, 2, 0, 0, 2, 0],
    ...                  [[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]], [1])
    >>> lines.x.tolist(), lines.y.tolist(), lines.start.tolist()
    ([2.0, 2.0, 2.0, 6.0, 6.0, 6.0], [6.0, 3.0, 0.0, 0.0, 3.0, 6.0], [0, 3, 6])
    """
    px, py, height = (np.asarray(column, dtype=np.float64) for column in (x, y, z))
    values = np.unique(np.asarray(levels, dtype=np.float64))
    if not np.isfinite(values).all():
        raise ValueError("a level to draw is not finite")
    beyond = None if neighbours is None else np.asarray(neighbours).reshape(-1, 3)
    tri = np.asarray(triangles).reshape(-1, 3)
    if compiled.worth(len(tri), BREAK_EVEN):
        from pipeline.surface import contour_kernel

        levels_below = values, ranks(height, values)
        return Isolines(*contour_kernel.lines((px, py, height), levels_below, tri, beyond))
    tri = tri.astype(np.int64, copy=False)
    pieces = _pieces((px, py), ranks(height, values), tri, beyond)
    return _drawn((px, py, height), values, pieces, *_chained(pieces))


def ranks(height: Floats, values: Floats) -> Ints:
    """Number of levels below each vertex; -1 where it has no height."""
    below = np.searchsorted(values, height)
    below[np.isnan(height)] = -1
    return below


def _pieces(xy: tuple[Floats, Floats], below: Ints, tri: Ints, beyond: Ints | None) -> _Pieces:
    """Every piece, by triangle and level; `below` counts the levels under each vertex."""
    a, b, c = tri.T
    ra, rb, rc = below[a], below[b], below[c]
    low, high = np.minimum(np.minimum(ra, rb), rc), np.maximum(np.maximum(ra, rb), rc)
    count = np.where(low < 0, 0, high - low)
    begin = np.cumsum(count) - count
    some = np.flatnonzero(count)
    t = np.repeat(some, count[some])
    level = np.arange(len(t)) - (begin - low)[t]
    corner = tri[t]
    above = below[corner] > level[:, None]
    after = above[:, [1, 2, 0]]
    # counter-clockwise, with higher ground on the left, a line enters by the edge that goes
    # down and leaves by the edge that goes up
    enters, leaves = (above & ~after).argmax(axis=1), (~above & after).argmax(axis=1)
    # most triangles have no line: only those that have are looked at for their sense
    x, y = xy
    a, b, c = tri[some].T
    turned = (x[b] - x[a]) * (y[c] - y[a]) < (y[b] - y[a]) * (x[c] - x[a])
    enters, leaves = np.where(np.repeat(turned, count[some]), (leaves, enters), (enters, leaves))
    over = across(tri, some, beyond)[t, leaves]
    # a neighbour's pieces are numbered on from its lowest level
    goes_on = (over >= 0) & (low[over] <= level) & (level < low[over] + count[over])
    following = np.where(goes_on, begin[over] + level - low[over], -1)
    into, out = _edge(corner, enters), _edge(corner, leaves)
    # a triangle that lies over its neighbour runs against it: the line ends there
    following[(into[following] != out).any(axis=1)] = -1
    return _Pieces(level, into, out, following)


def across(tri: Ints, some: Ints, beyond: Ints | None) -> Ints:
    """Triangle across each edge of the triangles `some`, -1 for none, shape (m, 3)."""
    if beyond is not None:
        return beyond
    start = tri[some]
    end = start[:, [1, 2, 0]]
    key = (np.minimum(start, end) * 2**32 + np.maximum(start, end)).ravel()
    order = np.argsort(key, kind="stable")
    # pairs of edges, the first two where more meet
    pair = np.flatnonzero(key[order[1:]] == key[order[:-1]])
    pair = pair[np.r_[True, np.diff(pair) > 1][: len(pair)]]
    p, q = order[pair], order[pair + 1]
    over = np.full(key.shape, -1, dtype=np.int64)
    over[p], over[q] = some[q // 3], some[p // 3]
    found = np.full(tri.shape, -1, dtype=np.int64)
    found[some] = over.reshape(-1, 3)
    return found


def _edge(corner: Ints, k: Ints) -> Ints:
    """Ends of edge k of each triangle, lower-numbered vertex first, shape (s, 2)."""
    rows = np.arange(len(k))
    a, b = corner[rows, k], corner[rows, (k + 1) % 3]
    return np.column_stack([np.minimum(a, b), np.maximum(a, b)])


def _chained(pieces: _Pieces) -> tuple[Ints, Ints]:
    """Pieces in the order of their lines, and where in it each line begins."""
    n = len(pieces.level)
    first = np.ones(n, dtype=np.bool_)
    first[pieces.following[pieces.following >= 0]] = False
    # each step needs the one before, so this is a plain loop; a quarter second for a million
    after, done = pieces.following.tolist(), bytearray(n)
    order: list[int] = []
    start: list[int] = []
    for piece in itertools.chain(np.flatnonzero(first).tolist(), range(n)):
        if done[piece]:
            continue
        start.append(len(order))
        step = piece
        while step >= 0 and not done[step]:
            done[step] = 1
            order.append(step)
            step = after[step]
    return _in_order(pieces, np.array(order, dtype=np.int64), np.array(start, dtype=np.int64))


def _in_order(pieces: _Pieces, order: Ints, start: Ints) -> tuple[Ints, Ints]:
    """The same lines by level, then by their first piece."""
    size = np.diff(start, append=len(order))
    head = order[start]
    by = np.lexsort((head, pieces.level[head]))
    size, begin = size[by], start[by]
    start = np.cumsum(size) - size
    return order[np.arange(len(order)) + np.repeat(begin - start, size)], start


def _drawn(
    xyz: tuple[Floats, Floats, Floats], values: Floats, pieces: _Pieces, order: Ints, start: Ints
) -> Isolines:
    """The lines with their points: where each piece enters, and where the last one leaves."""
    x, y, z = xyz
    last = np.append(start[1:], len(order)) - 1 if len(start) else start
    ends = np.insert(pieces.enters[order], last + 1, pieces.leaves[order[last]], axis=0)
    height = values[pieces.level[order[start]]]
    of = np.repeat(np.arange(len(start)), last - start + 2)
    a, b = ends.T
    along = (height[of] - z[a]) / (z[b] - z[a])
    # at its end an edge gives its vertex to the bit, as every other edge there does
    px = np.where(along == 1.0, x[b], x[a] + along * (x[b] - x[a]))
    py = np.where(along == 1.0, y[b], y[a] + along * (y[b] - y[a]))
    moves = np.ones(len(of), dtype=np.bool_)
    moves[1:] = (px[1:] != px[:-1]) | (py[1:] != py[:-1]) | (of[1:] != of[:-1])
    # a hollow that just reaches a level is left with one point, which is no line
    count = np.bincount(of[moves], minlength=len(start))
    moves &= count[of] > 1
    return Isolines(
        level=height[count > 1],
        x=px[moves],
        y=py[moves],
        start=np.cumsum([0, *count[count > 1]]),
    )
