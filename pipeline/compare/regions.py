"""Few drawn regions out of many small polygons that lie edge to edge.

Two neighbours run along their common edge in opposite directions, so that it
cancels; what is left is the outline. Nothing is moved to a grid and no two
polygons are ever intersected, so that the area stays what it was.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.compare.pieces import following
from pipeline.model import Floats, Ints

WELD_M = 1e-4
"""Corners this close are one corner. Drawn at 1:50 it is a five-hundredth of a millimetre."""

CRACK_M2 = 1e-6
"""A ring around less than a square millimetre is rounding between two polygons, no hole."""

_LATTICE_SHIFT = 0.31
"""Keeps whole millimetres, where surveyed points lie, away from the border of a weld cell."""


class Polygons(NamedTuple):
    """Polygons about an origin near them, as the general geometry library holds them."""

    origin: Floats
    shapes: NDArray[Any]


def weld(columns: Floats, step: float = WELD_M) -> tuple[Ints, Ints]:
    """Points that are the same to within `step` in every row.

    Parameters
    ----------
    columns : ndarray, shape (c, n)
        Coordinates, a row each [m].
    step : float
        Side of the cells that points are sorted into [m]. Points in one cell are
        one; two that rounding alone sets apart (1e-13 m) fall into different
        cells once in 1e8 times.

    Returns
    -------
    which : ndarray, shape (n,)
        Number of the welded point of each.
    first : ndarray, shape (m,)
        The point that stands for each welded point: the first of them.
    """
    key = np.zeros(columns.shape[1], dtype=np.int64)
    for row in columns:
        if not len(row):
            break
        cell = np.floor((row - row.min()) / step + _LATTICE_SHIFT).astype(np.int64)
        span = int(cell.max()) + 1
        if (int(key.max()) + 1) * span >= 2**62:
            key = np.unique(key, return_inverse=True)[1].astype(np.int64)
        key = key * span + cell
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    return which.astype(np.int64), first.astype(np.int64)


def merged(columns: Floats, start: Ints, origin: Floats) -> Polygons:
    """Polygons that lie edge to edge, merged.

    Parameters
    ----------
    columns : ndarray, shape (2, n)
        Easting and northing of the corners about `origin` [m].
    start : ndarray, shape (p + 1,)
        Where each convex polygon starts; counter-clockwise.
    origin : ndarray, shape (2,)
        Handed on.

    Returns
    -------
    Polygons
        Valid polygons with holes; two that touch in one point stay two. Area is
        kept but for corners closer than `WELD_M`, which become one, and for
        regions and holes below `CRACK_M2`.
    """
    ends = np.stack((np.arange(columns.shape[1]), following(start)), axis=1)
    return within(columns, ends, origin)


def within(columns: Floats, ends: Ints, origin: Floats) -> Polygons:
    """What lies left of edges, as `merged` finds it of whole polygons.

    Parameters
    ----------
    columns : ndarray, shape (2, n)
        As in `merged`.
    ends : ndarray, shape (e, 2)
        Where each edge runs from and to. Two that run to and fro cancel each other, so
        they may be left out.
    origin : ndarray, shape (2,)
    """
    which, first = weld(columns[:2])
    rings = _rings(_outline(which[ends]), columns[0][first], columns[1][first])
    return Polygons(origin, _nest(rings))


def rings_of(shape: Any, origin: Floats) -> tuple[Floats, ...]:
    """Rings of one polygon on the job grid, from its lowest easting on.

    The outside counter-clockwise, then the holes, clockwise, none with its first
    corner again at the end: the same polygon always gives the same numbers.
    """
    holes = sorted((_ring(hole, origin, -1.0) for hole in shape.interiors), key=_place)
    return (_ring(shape.exterior, origin, 1.0), *holes)


def in_order(rings: list[tuple[Floats, ...]]) -> list[tuple[Floats, ...]]:
    """Polygons by the first corner of their outsides, so that a file is the same every time."""
    return sorted(rings, key=lambda each: (_place(each[0]), each[0].tolist()))


def _place(ring: Floats) -> tuple[float, float]:
    return float(ring[0, 0]), float(ring[0, 1])


def _ring(line: Any, origin: Floats, turn: float) -> Floats:
    points = np.asarray(line.coords, dtype=np.float64)[:-1, :2]
    if _signed_area(points) * turn < 0:
        points = points[::-1]
    lowest = int(np.lexsort((points[:, 1], points[:, 0]))[0])
    return np.concatenate((points[lowest:], points[:lowest])) + origin


def _signed_area(points: Floats) -> float:
    # about the first corner, so that the closing side adds nothing
    x, y = (points - points[0]).T
    return float(0.5 * (x[:-1] @ y[1:] - x[1:] @ y[:-1]))


def _outline(ends: Ints) -> Ints:
    """Directed edges that no neighbour runs back along, inside on their left, (e, 2)."""
    low, high = ends.min(axis=1), ends.max(axis=1)
    count = np.int64(ends.max() + 1) if len(ends) else np.int64(1)
    edge, owner = np.unique(low * count + high, return_inverse=True)
    direction = np.sign(ends[:, 1] - ends[:, 0]).astype(np.float64)
    net = np.bincount(owner, direction, len(edge)).astype(np.int64)
    left = np.repeat(np.arange(len(edge)), np.abs(net))
    pair = np.stack(np.divmod(edge[left], count), axis=1)
    return np.where((net[left] > 0)[:, None], pair, pair[:, ::-1])


def _rings(edges: Ints, x: Floats, y: Floats) -> list[Floats]:
    """Closed rings, each visiting a point once, of edges that run in and out evenly."""
    after = _successors(edges, x, y).tolist()
    tail = edges[:, 0].tolist()
    seen = [False] * len(tail)
    rings: list[Floats] = []
    for begin in range(len(tail)):
        edge = begin
        path: list[int] = []
        at: dict[int, int] = {}
        while not seen[edge]:
            seen[edge] = True
            point = tail[edge]
            if point in at:
                loop = path[at[point] :]
                rings.append(np.stack((x[loop], y[loop]), axis=1))
                for passed in loop:
                    del at[passed]
                del path[-len(loop) :]
            at[point] = len(path)
            path.append(point)
            edge = after[edge]
        if path:
            rings.append(np.stack((x[path], y[path]), axis=1))
    return rings


def _successors(edges: Ints, x: Floats, y: Floats) -> Ints:
    """The edge that goes on from each: where several leave a point, round the same corner.

    With the inside on the left, that is the first one clockwise from the way
    back, so that two outlines that touch in a point stay apart.
    """
    order = np.argsort(edges[:, 0], kind="stable")
    tails = edges[order, 0]
    begin = np.searchsorted(tails, edges[:, 1], side="left")
    number = np.searchsorted(tails, edges[:, 1], side="right") - begin
    after = order[begin]
    heading = np.arctan2(y[edges[:, 1]] - y[edges[:, 0]], x[edges[:, 1]] - x[edges[:, 0]])
    taken: set[int] = set()
    for edge in np.flatnonzero(number > 1).tolist():
        leaving = order[begin[edge] : begin[edge] + number[edge]]
        # clockwise from the way back, 0 counting as a whole turn
        turn = (heading[edge] + np.pi - heading[leaving]) % (2 * np.pi)
        turn[turn == 0] = 2 * np.pi
        free = [k for k in np.argsort(turn, kind="stable").tolist() if int(leaving[k]) not in taken]
        after[edge] = leaving[free[0]]
        taken.add(int(leaving[free[0]]))
    return after


def _nest(rings: list[Floats]) -> NDArray[Any]:
    """Polygons of rings: each clockwise one is a hole of the least outside around it."""
    import shapely

    areas = np.array([_signed_area(ring) for ring in rings])
    usable = np.flatnonzero(np.abs(areas) > CRACK_M2).tolist()
    outside = [k for k in usable if areas[k] > 0]
    shells = np.array([shapely.Polygon(rings[k]) for k in outside], dtype=object)
    around: dict[int, list[int]] = {}
    inside = [k for k in usable if areas[k] < 0]
    if inside and outside:
        within = shapely.point_on_surface(
            shapely.make_valid([shapely.Polygon(rings[k]) for k in inside])
        )
        tree = shapely.STRtree(shells)
        for hole, shell in tree.query(within, predicate="intersects").T.tolist():
            # a smaller outside around that point is an island in the hole
            if areas[outside[shell]] > -areas[inside[hole]]:
                around.setdefault(hole, []).append(shell)
    mine: dict[int, list[Floats]] = {}
    for hole in sorted(around):
        owner = min(around[hole], key=lambda shell: (areas[outside[shell]], shell))
        mine.setdefault(owner, []).append(rings[inside[hole]])
    for shell, own in mine.items():
        whole = shapely.Polygon(rings[outside[shell]], own)
        if not whole.is_valid:
            # rings that welding made cross by a hair: as one area less the others
            parts = shapely.make_valid([shapely.Polygon(ring) for ring in own])
            outer = shapely.make_valid(shapely.Polygon(rings[outside[shell]]))
            whole = shapely.difference(outer, shapely.union_all(parts))
        shells[shell] = whole
    return polygons_only(shells)


def polygons_only(shapes: NDArray[Any]) -> NDArray[Any]:
    """Valid single polygons of any shapes; points and lines among them have no area and go."""
    import shapely

    valid = np.where(shapely.is_valid(shapes), shapes, shapely.make_valid(shapes))
    single = shapely.get_parts(shapely.get_parts(valid))
    surface = shapely.get_type_id(single) == shapely.GeometryType.POLYGON
    return np.asarray(single[surface & (shapely.area(single) > CRACK_M2)])
