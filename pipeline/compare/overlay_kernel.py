"""The loops of `overlay`, to be compiled: pair by pair what numpy does block by block.

Every sum and product stands as in `overlay`, `pieces` and `candidates`, in the same order, so
that both give the same bits. A helper stays in this file: whoever compiles looks at no other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.compiled import inlined, kernel
from pipeline.model import Floats, Indices, Ints

SLIVER_M2 = 1e-12
SAME_HEIGHT_M = 1e-9
_SHORT = 24


class Faces(NamedTuple):
    """Triangles (m, 3) on vertices about the common origin."""

    x: Floats
    y: Floats
    z: Floats
    corner: Indices


class Listed(NamedTuple):
    """The design: cell k of a grid lists ``triangle[first[k]:first[k + 1]]``; nine numbers each.

    ``box`` and ``corners`` have a row a triangle, so that what is asked of one lies together.
    """

    low: tuple[float, float]
    cell: float
    size: tuple[int, int]
    first: Indices
    triangle: Indices
    box: Floats
    corners: Floats


class Made(NamedTuple):
    """Room for pieces, and what is done: next ground triangle, pieces, corners."""

    x: Floats
    y: Floats
    cut: Floats
    start: Ints
    ground: Ints
    design: Ints
    done: Ints


@kernel
def reach(faces: Faces) -> tuple[float, float, float, float, float, int]:
    """Least x and y, greatest x and y, least twice the area, and which triangle has it."""
    x0, y0, x1, y1, least, which = np.inf, np.inf, -np.inf, -np.inf, np.inf, 0
    x, y = faces.x, faces.y
    for t in range(len(faces.corner)):
        a, b, c = faces.corner[t, 0], faces.corner[t, 1], faces.corner[t, 2]
        x0, x1 = min(x0, x[a], x[b], x[c]), max(x1, x[a], x[b], x[c])
        y0, y1 = min(y0, y[a], y[b], y[c]), max(y1, y[a], y[b], y[c])
        twice = (x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])
        if twice < least:
            least, which = twice, t
    return x0, y0, x1, y1, least, which


@inlined
def _cell_of(distance: float, cell: float, count: int) -> int:
    # not below zero, so that to cut off the fraction is to round down
    return int(min(max(distance / cell, 0.0), count - 1.0))


@inlined
def _bounded(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


@inlined
def _stretch(a: Floats, bottom: float, top: float) -> tuple[float, float]:
    """Least and greatest x of a triangle within a band of y."""
    left, right = np.inf, -np.inf
    for k in range(3):
        j = (k + 1) % 3  # k - 2
        xa, ya, xb, yb = a[k], a[3 + k], a[j], a[3 + j]
        if max(ya, yb) < bottom or min(ya, yb) > top:
            continue
        rise = yb - ya
        for end in range(2):
            at = xb if end else xa
            if rise != 0:
                held = _bounded(yb if end else ya, bottom, top) - ya
                at = xa + _bounded(held / rise, 0.0, 1.0) * (xb - xa)
            left, right = min(left, at), max(right, at)
    return left, right


@inlined
def _box(a: Floats) -> tuple[float, float, float, float]:
    return (
        min(a[0], a[1], a[2]),
        min(a[3], a[4], a[5]),
        max(a[0], a[1], a[2]),
        max(a[3], a[4], a[5]),
    )


@inlined
def _met(g: int, a: Floats, design: Listed, seen: Indices, met: Indices) -> int:
    """Design triangles of the ground triangle's cells whose boxes meet its own, rising."""
    x0, y0, x1, y1 = _box(a)
    columns, rows = design.size
    low, cell, box, n = design.low, design.cell, design.box, 0
    first = _cell_of(y0 - low[1], cell, rows)
    last = _cell_of(y1 - low[1], cell, rows)
    left, right = _cell_of(x0 - low[0], cell, columns), _cell_of(x1 - low[0], cell, columns)
    for row in range(first, last + 1):
        begin, end = row * columns + left, row * columns + right
        if last > first and x1 - x0 > cell:
            bottom = low[1] + row * cell
            least, most = _stretch(a, bottom, bottom + cell)
            begin = row * columns + _cell_of(least - low[0], cell, columns)
            end = row * columns + _cell_of(most - low[0], cell, columns)
        if end < begin:
            continue
        # the cells of a row lie side by side, and so do their lists
        for k in range(design.first[begin], design.first[end + 1]):
            d = design.triangle[k]
            if seen[d] != g:
                seen[d] = g
                if (x0 < box[d, 2] and box[d, 0] < x1) and (y0 < box[d, 3] and box[d, 1] < y1):
                    met[n] = d
                    n += 1
    _sort(met, n)
    return n


@inlined
def _sort(values: Indices, n: int) -> None:
    if n > _SHORT:
        values[:n].sort()
        return
    for i in range(1, n):
        held, j = values[i], i - 1
        while j >= 0 and values[j] > held:
            values[j + 1] = values[j]
            j -= 1
        values[j + 1] = held


@inlined
def _load(faces: Faces, t: int, into: Floats) -> None:
    """x, then y, then z of the three corners of a triangle."""
    for k in range(3):
        v = faces.corner[t, k]
        into[k], into[3 + k], into[6 + k] = faces.x[v], faces.y[v], faces.z[v]


@inlined
def _lines(of: Floats, at: Floats, into: Floats) -> int:
    """Values of the edge lines at the corners: -1 apart, 1 wholly within, 0 neither.

    Where they are apart by one line, the others are not reckoned.
    """
    within, apart = True, False
    for k in range(3):
        j = k + 1 if k < 2 else 0
        x, y = of[k], of[3 + k]
        east, north = of[j] - x, of[3 + j] - y
        first = east * (at[3] - y) - north * (at[0] - x)
        second = east * (at[4] - y) - north * (at[1] - x)
        third = east * (at[5] - y) - north * (at[2] - x)
        into[3 * k], into[3 * k + 1], into[3 * k + 2] = first, second, third
        if not (first > 0 or second > 0 or third > 0):
            apart = True
            if first < 0 or second < 0 or third < 0:
                return -1
        within &= first >= 0 and second >= 0 and third >= 0
    return 1 if within else (-1 if apart else 0)


@inlined
def _mean_height(first: float, second: float, third: float, z: Floats) -> float:
    first, second, third = first + 1e-300, second + 1e-300, third + 1e-300
    moment = first * z[8] + second * z[6] + third * z[7]
    mean: float = moment / (first + second + third)
    return mean


@inlined
def _clip(source: Floats, n: int, row: int, into: Floats) -> int:
    """A polygon of six numbers a corner, cut back to where one is not negative; 0 if it is gone."""
    m = 0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        here, there = source[6 * i + row], source[6 * j + row]
        if here >= 0:
            for k in range(6):
                into[6 * m + k] = source[6 * i + k]
            m += 1
        if (here > 0 and there < 0) or (here < 0 and there > 0):
            inner, outer = (i, j) if here > 0 else (j, i)
            share = source[6 * inner + row] / (source[6 * inner + row] - source[6 * outer + row])
            for k in range(6):
                base = source[6 * inner + k]
                into[6 * m + k] = base + share * (source[6 * outer + k] - base)
            m += 1
    return m if m >= 3 else 0


@inlined
def _clipped(a: Floats, b: Floats, into: Floats, one: Floats, two: Floats) -> int:
    """The ground triangle cut by the design's three lines, x, y, cut of the corners in `one`."""
    for k in range(3):
        for row in range(3):
            one[6 * k + row], one[6 * k + row + 3] = a[3 * row + k], into[3 * row + k]
    n = 3
    for row in range(3, 6):
        cuts = False
        for k in range(n):
            cuts |= one[6 * k + row] < 0
        if cuts:
            n = _clip(one, n, row, two)
            for k in range(6 * n):
                one[k] = two[k]
    for k in range(n):
        one[6 * k + 2] -= _mean_height(one[6 * k + 3], one[6 * k + 4], one[6 * k + 5], b)
    return n


@inlined
def _whole(a: Floats, around: Floats, z: Floats, one: Floats) -> None:
    """A triangle and its height less that of the other surface at its corners."""
    for k in range(3):
        one[6 * k], one[6 * k + 1] = a[k], a[3 + k]
        one[6 * k + 2] = a[6 + k] - _mean_height(around[k], around[3 + k], around[6 + k], z)


@inlined
def _piece(a: Floats, b: Floats, into: Floats, one: Floats, two: Floats) -> int:
    """The overlap of a pair, x, y, cut of its corners in `one`; how many corners it has."""
    place = _lines(b, a, into)
    if place < 0:
        return 0
    if place > 0:
        _whole(a, into, b, one)
        return 3
    place = _lines(a, b, two)
    if place < 0:
        return 0
    if place > 0:
        _whole(b, two, a, one)
        for k in range(3):
            one[6 * k + 2] = -one[6 * k + 2]
        return 3
    return _clipped(a, b, into, one, two)


@inlined
def _area(corners: Floats, n: int) -> float:
    area, x, y = 0.0, corners[0], corners[1]
    for k in range(1, n - 1):
        here, there = 6 * k, 6 * (k + 1)
        area += 0.5 * (
            (corners[here] - x) * (corners[there + 1] - y)
            - (corners[there] - x) * (corners[here + 1] - y)
        )
    return area


@kernel
def reaching(faces: Faces, low: tuple[float, float], high: tuple[float, float]) -> Ints:
    """Triangles that have an area and meet a rectangle of the plan by more than an edge."""
    rows, n, a = np.empty(len(faces.corner), np.int64), 0, np.empty(9)
    for t in range(len(faces.corner)):
        _load(faces, t, a)
        x0, y0, x1, y1 = _box(a)
        meets = (x0 < high[0] and x1 > low[0]) and (y0 < high[1] and y1 > low[1])
        twice = (a[1] - a[0]) * (a[5] - a[3]) - (a[4] - a[3]) * (a[2] - a[0])
        if meets and 0.5 * twice > SLIVER_M2:
            rows[n] = t
            n += 1
    return rows[:n]


@inlined
def _put(made: Made, corners: Floats, n: int, g: int, d: int) -> None:
    piece, at = made.done[1], made.done[2]
    for k in range(n):
        cut = corners[6 * k + 2]
        made.x[at + k], made.y[at + k] = corners[6 * k], corners[6 * k + 1]
        made.cut[at + k] = 0.0 if abs(cut) < SAME_HEIGHT_M else cut
    made.ground[piece], made.design[piece] = g, d
    made.start[piece + 1] = at + n
    made.done[1], made.done[2] = piece + 1, at + n


@kernel
def fill(rows: Ints, ground: Faces, design: Listed, made: Made) -> None:
    """Pieces of the ground triangles `rows`, in order, until there is no room for one's more."""
    designs = len(design.box)
    seen, met = np.full(designs, -1, np.int32), np.empty(designs, np.int32)
    a, into, one, two = np.empty(9), np.empty(9), np.empty(48), np.empty(48)
    for row in range(made.done[0], len(rows)):
        g = rows[row]
        _load(ground, g, a)
        n = _met(g, a, design, seen, met)
        if made.done[2] + 6 * n > len(made.x) or made.done[1] + n > len(made.ground):
            return
        for k in range(n):
            d = met[k]
            corners = _piece(a, design.corners[d], into, one, two)
            if corners and _area(one, corners) > SLIVER_M2:
                _put(made, one, corners, g, d)
        made.done[0] = row + 1
