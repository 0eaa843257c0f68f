"""Which triangle a point lies in, and the height and slope there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pipeline import compiled
from pipeline.model import Bools, Floats, Indices, Ints, Surface
from pipeline.surface.cells import cells_of

ON_EDGE_M = 1e-9
"""A point this close to an edge lies on it: half a step of float64 at N 8 000 000."""

BREAK_EVEN = 2_500_000
"""From so many points and triangles together on the compiled form is through sooner [measured]."""

_Boxes: TypeAlias = tuple[Floats, Floats, Floats, Floats]

# a cell in mean heights and widths of a triangle: the larger, the more to try in each
_ROW, _COLUMN = 2.0, 0.5
_MOST_ROWS, _CELLS_A_POINT = 1 << 20, 4
_FEW, _FEW_COMPILED, _FEW_TRIANGLES = 16, 64, 50_000
_BATCH = 1 << 17  # pairs tried at a time: the arrays of one batch stay in the cache


def find(surface: Surface, easting: ArrayLike, northing: ArrayLike) -> Indices:
    """The triangle that each point lies in; -1 outside the surface and in its holes.

    A point on an edge or a vertex belongs to the triangle with the lowest
    number of those that share it. Within 1e-9 m of an edge, and of the triangle's
    extent east and north, is on it.

    Parameters
    ----------
    surface : Surface
        m triangles, of any outline, in any number of parts.
    easting, northing : array_like, shape (n,)
        Metres on the job grid; NaN lies nowhere.

    Returns
    -------
    ndarray, shape (n,), int32
        Row in ``surface.triangles``.

    Notes
    -----
    Nothing is walked, so holes, islands and long triangles cost nothing extra;
    see `locate`. Measured: a million points in two million triangles in 0.8 s.
    """
    return _found(surface, _near(surface, easting, northing))


def interpolate(surface: Surface, easting: ArrayLike, northing: ArrayLike) -> Floats:
    """Elevation of the surface at each point; NaN where there is no surface.

    Parameters
    ----------
    surface : Surface
    easting, northing : array_like, shape (n,)
        Metres on the job grid.

    Returns
    -------
    ndarray, shape (n,), float64
        Elevation [m] on the plane of the point's triangle. NaN means "not
        surveyed" and is never filled in.

    Notes
    -----
    Exact at a vertex. On an edge both triangles give the same height to the
    rounding of float64.
    """
    points = _near(surface, easting, northing)
    found = _found(surface, points)
    if compiled.worth(len(found), BREAK_EVEN):
        from pipeline.surface import locate_kernel

        return locate_kernel.heights(surface, points, found)
    elevation = np.full(len(found), np.nan)
    here = np.flatnonzero(found >= 0)
    corner = np.ascontiguousarray(surface.triangles[found[here]].T, dtype=np.intp)
    x = [surface.x[k] - points[0][here] for k in corner]
    y = [surface.y[k] - points[1][here] for k in corner]
    z0, z1, z2 = (surface.z[k] for k in corner)
    # weight of a corner: the area between the point and the edge opposite
    w0, w1, w2 = (x[k - 2] * y[k - 1] - y[k - 2] * x[k - 1] for k in range(3))
    # counted from the nearest corner: at a vertex nothing is added to its own height
    base = np.where((w0 >= w1) & (w0 >= w2), z0, np.where(w1 >= w2, z1, z2))
    total = w0 + w1 + w2
    # nothing to divide by where a triangle is as thin as float64 can tell
    for weight in (w0, w1, w2):
        np.divide(weight, total, out=weight, where=total > 0)
        weight[total <= 0] = 0.0
    rise = w0 * (z0 - base) + w1 * (z1 - base)
    elevation[here] = base + (rise + w2 * (z2 - base))
    return elevation


def gradient(surface: Surface, triangles: ArrayLike) -> Floats:
    """Rise of the surface to the east and to the north in the given triangles.

    Parameters
    ----------
    surface : Surface
    triangles : array_like, shape (n,), int
        Rows in ``surface.triangles``; -1 for no triangle, as `find` gives.

    Returns
    -------
    ndarray, shape (n, 2), float64
        dz/dE and dz/dN [m/m], uphill positive; NaN for no triangle.

    Examples
    --------
    >>> from pipeline.model import make_shots, NO_LINES
    >>> from pipeline.settings import SurfaceRules
    >>> from pipeline.surface.tin import build
    >>> ground, _ = build(make_shots([0, 10, 0], [0, 0, 10], [5, 5.2, 4.9]),
    ...                   NO_LINES, SurfaceRules())
    >>> gradient(ground, find(ground, [2], [2])).round(6).tolist()
    [[0.02, -0.01]]
    """
    row = np.asarray(triangles, dtype=np.int64)
    rise = np.full((len(row), 2), np.nan)
    here = np.flatnonzero(row >= 0)
    a, b, c = surface.triangles[row[here]].T
    x1, y1 = surface.x[b] - surface.x[a], surface.y[b] - surface.y[a]
    x2, y2 = surface.x[c] - surface.x[a], surface.y[c] - surface.y[a]
    z1, z2 = surface.z[b] - surface.z[a], surface.z[c] - surface.z[a]
    with np.errstate(divide="ignore", invalid="ignore"):
        area = x1 * y2 - y1 * x2
        rise[here, 0] = (z1 * y2 - z2 * y1) / area
        rise[here, 1] = (x1 * z2 - x2 * z1) / area
    return rise


def slope(surface: Surface, triangles: ArrayLike) -> Floats:
    """Steepest rise [m/m] in the given triangles, shape (n,); NaN for no triangle (-1)."""
    rise = gradient(surface, triangles)
    steepest: Floats = np.hypot(rise[:, 0], rise[:, 1])
    return steepest


def _near(surface: Surface, easting: ArrayLike, northing: ArrayLike) -> tuple[Floats, Floats]:
    """The points shifted as the surface is."""
    qx = np.asarray(easting, dtype=np.float64).ravel() - surface.origin[0]
    qy = np.asarray(northing, dtype=np.float64).ravel() - surface.origin[1]
    return qx, qy


def _found(surface: Surface, points: tuple[Floats, Floats]) -> Indices:
    """`locate`, or for few points in many triangles the same from the surface's own cells."""
    fast = compiled.worth(len(points[0]) + len(surface.triangles), BREAK_EVEN)
    share = len(points[0]) * (_FEW_COMPILED if fast else _FEW)
    few = share < len(surface.triangles) > _FEW_TRIANGLES
    if fast and not few:
        from pipeline.surface import locate_kernel

        return locate_kernel.find(surface, points)
    if not few:
        return locate(surface.x, surface.y, surface.triangles, points)
    best = np.full(len(points[0]), len(surface.triangles), dtype=np.int32)
    if not len(best):
        return best
    t, q = cells_of(surface).near(*points)
    west, east, south, north = _boxes(surface.x, surface.y, surface.triangles[t])
    x, y = points[0][q], points[1][q]
    boxed = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    t, q = t[boxed], q[boxed]
    inside = _inside((surface.x, surface.y), surface.triangles[t], points[0][q], points[1][q])
    np.minimum.at(best, q[inside], t[inside].astype(np.int32))
    return np.where(best < len(surface.triangles), best, np.int32(-1))


def locate(x: Floats, y: Floats, triangles: Indices, points: tuple[Floats, Floats]) -> Indices:
    """The lowest-numbered triangle that each point lies in, -1 for none.

    Parameters
    ----------
    x, y : ndarray, shape (v,)
        Vertices [m], near zero.
    triangles : ndarray, shape (m, 3)
        Counter-clockwise; they may overlap, hang together or not.
    points : tuple of ndarray, shape (n,)
        x and y of the points [m], near zero.

    Notes
    -----
    The points are sorted by the cells of a grid. The points that may lie in a
    triangle are then, in every row of cells it reaches, one run between its
    least and greatest x. Each of these pairs that lies in the triangle's box is
    tried by the signs of three areas. On average a triangle reaches one and a
    half rows whatever the mixture of sizes, since their height follows from the
    mean triangle height.
    """
    qx, qy = points
    result = np.full(len(qx), -1, dtype=np.int32)
    if not len(triangles):
        return result
    boxes = _boxes(x, y, triangles)
    near = (qx >= boxes[0].min()) & (qx <= boxes[1].max())
    near &= (qy >= boxes[2].min()) & (qy <= boxes[3].max())
    rows = np.flatnonzero(near)
    if len(rows):
        order, runs = _runs(boxes, qx[rows], qy[rows])
        order = rows[order]
        px, py = qx[order], qy[order]
        best = np.full(len(order), len(triangles), dtype=np.int32)
        for t, q in _pairs((px, py), boxes, runs):
            inside = _inside((x, y), triangles[t], px[q], py[q])
            np.minimum.at(best, q[inside], t[inside].astype(np.int32))
        result[order] = np.where(best < len(triangles), best, -1)
    return result


def _boxes(x: Floats, y: Floats, triangles: Indices) -> _Boxes:
    """Least and greatest x, least and greatest y of each triangle, a tolerance wider."""
    a, b, c = np.ascontiguousarray(triangles.T, dtype=np.intp)
    found = []
    for column in (x, y):
        one, two, three = column[a], column[b], column[c]
        found.append(np.minimum(np.minimum(one, two), three) - ON_EDGE_M)
        found.append(np.maximum(np.maximum(one, two), three) + ON_EDGE_M)
    return found[0], found[1], found[2], found[3]


def _runs(boxes: _Boxes, qx: Floats, qy: Floats) -> tuple[Ints, tuple[Ints, Ints, Ints]]:
    """Order of the points by cell, and the runs of them to be tried: triangle, start, end."""
    west, east, south, north = boxes
    grid = _Rows.over(boxes, qx, qy)
    key = grid.row(qy) * grid.columns + grid.column(qx)
    order = np.argsort(key)
    first = np.zeros(grid.rows * grid.columns + 1, dtype=np.int64)
    np.cumsum(np.bincount(key, minlength=len(first) - 1), out=first[1:])
    reach = np.flatnonzero(
        (east >= grid.left) & (west <= qx.max()) & (north >= grid.bottom) & (south <= qy.max())
    )
    low = grid.row(south[reach])
    more = grid.row(north[reach]) - low
    begin, end = (low * grid.columns + grid.column(side[reach]) for side in (west, east))
    none = np.empty(0, dtype=np.int64)
    triangle, starts, ends, up = [none], [none], [none], 0
    while len(reach):
        start, stop = first[begin + up * grid.columns], first[end + up * grid.columns + 1]
        some = np.flatnonzero(stop > start)
        triangle.append(reach[some])
        starts.append(start[some])
        ends.append(stop[some])
        on = np.flatnonzero(more > up)
        reach, more, begin, end = reach[on], more[on], begin[on], end[on]
        up += 1
    return order, (np.concatenate(triangle), np.concatenate(starts), np.concatenate(ends))


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows of cells over the points; what lies beyond counts to the outermost."""

    left: float
    bottom: float
    width: float
    height: float
    columns: int
    rows: int

    @classmethod
    def over(cls, boxes: _Boxes, qx: Floats, qy: Floats) -> _Rows:
        """Cells that suit the triangles, and no more of them than the points need."""
        west, east, south, north = boxes
        left, bottom = float(qx.min()), float(qy.min())
        across, up = float(qx.max()) - left, float(qy.max()) - bottom
        rows = min(int(up / (_ROW * float((north - south).mean()))), _MOST_ROWS) + 1
        most = max(1, _CELLS_A_POINT * len(qx) // rows)
        columns = min(int(across / (_COLUMN * float((east - west).mean()))), most) + 1
        width, height = max(across / columns, 1e-3), max(up / rows, 1e-3)
        return cls(left, bottom, width, height, columns, rows)

    def column(self, x: Floats) -> Ints:
        return np.clip((x - self.left) / self.width, 0, self.columns - 1).astype(np.int64)

    def row(self, y: Floats) -> Ints:
        return np.clip((y - self.bottom) / self.height, 0, self.rows - 1).astype(np.int64)


def _pairs(
    points: tuple[Floats, Floats], boxes: _Boxes, runs: tuple[Ints, Ints, Ints]
) -> Iterator[tuple[Ints, Ints]]:
    """Triangles and the points that lie in their boxes, so many at a time."""
    west, east, south, north = boxes
    triangle, start, end = runs
    count = end - start
    upto = np.cumsum(count)
    total = int(upto[-1]) if len(upto) else 0
    for i, j in pairwise(np.unique([*np.searchsorted(upto, range(0, total, _BATCH)), len(count)])):
        t = np.repeat(triangle[i:j], count[i:j])
        begin = np.cumsum(count[i:j]) - count[i:j]
        q = np.arange(len(t)) + np.repeat(start[i:j] - begin, count[i:j])
        x, y = points[0][q], points[1][q]
        boxed = np.flatnonzero((x >= west[t]) & (x <= east[t]) & (y >= south[t]) & (y <= north[t]))
        yield t[boxed], q[boxed]


def _inside(xy: tuple[Floats, Floats], corners: Indices, qx: Floats, qy: Floats) -> Bools:
    """Whether each point lies in its triangle, or within the tolerance of its edges."""
    x, y = xy
    a, b, c = corners.T
    ax, ay, bx, by, cx, cy = x[a] - qx, y[a] - qy, x[b] - qx, y[b] - qy, x[c] - qx, y[c] - qy
    inside = np.ones(len(qx), dtype=np.bool_)
    for ux, uy, vx, vy in ((ax, ay, bx, by), (bx, by, cx, cy), (cx, cy, ax, ay)):
        # twice the area over an edge; sideways and up together are no shorter than the edge
        inside &= ux * vy - uy * vx >= -ON_EDGE_M * (np.abs(vx - ux) + np.abs(vy - uy))
    return inside
