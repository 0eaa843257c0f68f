"""Triangles between given lines: the ground between an edge and what it joins."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipeline.design.strips import double_area, twins
from pipeline.errors import DesignError
from pipeline.model import Bools, Floats, Indices, Ints, Surface

_SAME_M = 1e-5
"""Two corners nearer than this are one; joints of lines are computed to 1e-9 m."""
_FLAT_M2 = 1e-10
_SUPER = 3


def between_lines(
    name: str, ring: Floats, lines: Sequence[Floats], origin: Floats, where: str
) -> Surface:
    """Triangles inside a ring, with every line inside it among their edges.

    Parameters
    ----------
    name : str
        The layer.
    ring : ndarray, shape (n, 3)
        Easting, northing and elevation of the outside in order, not closed.
    lines : sequence of ndarray, shape (m, 3)
        Breaklines inside or from the ring inward.
    origin : ndarray, shape (2,)
    where : str
        What the area is, for a refusal.

    Returns
    -------
    Surface
        Constrained Delaunay triangles, counter-clockwise; no vertex but those given.

    Raises
    ------
    DesignError
        The ring crosses itself or a line crosses it or another.
    """
    import pythoncdt
    from shapely import Polygon, contains_xy, prepare

    points, numbers = _places([ring, *lines], origin)
    loop = numbers[0]
    polygon = Polygon(points[loop][:, :2])
    if not polygon.is_valid or polygon.area < _FLAT_M2:
        raise DesignError(where, "its outline crosses itself or has no area", "check its lines")
    edges = [np.stack([loop, np.roll(loop, -1)], axis=1)]
    edges += [np.stack([line[:-1], line[1:]], axis=1) for line in numbers[1:]]
    ends = np.concatenate(edges)
    ends = np.unique(np.sort(ends[ends[:, 0] != ends[:, 1]], axis=1), axis=0)
    cdt = pythoncdt.Triangulation(
        pythoncdt.VertexInsertionOrder.AUTO,
        pythoncdt.IntersectingConstraintEdges.NOT_ALLOWED,
        0.0,
    )
    corners_xy: Any = np.ascontiguousarray(points[:, :2])
    cdt.insert_vertices(corners_xy)
    try:
        pairs: Any = ends.astype(np.uint32)
        cdt.insert_edges(pairs)
    except RuntimeError as error:
        raise DesignError(where, f"two of its lines cross ({error})", "check its lines") from None
    found = cdt.triangles_array(copy=False)["vertices"]
    corners = found[(found >= _SUPER).all(axis=1)].astype(np.int64) - _SUPER
    middle = points[corners].mean(axis=1)
    prepare(polygon)
    kept = corners[contains_xy(polygon, middle[:, 0], middle[:, 1])]
    kept = kept[double_area(points[:, 0], points[:, 1], kept) > _FLAT_M2]
    return surface_of(name, origin, points, kept, _fixed(kept, ends, len(points)))


def _places(lines: Sequence[Floats], origin: Floats) -> tuple[Floats, list[Ints]]:
    """All corners near zero, each place once, and the corners of each line by number."""
    flat = np.concatenate(lines) - np.array([origin[0], origin[1], 0.0])
    key = np.round(flat[:, :2] / _SAME_M).astype(np.int64)
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    number = number.reshape(-1)
    # in the order in which they come, so the triangles do not depend on the sorting
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    ends = np.cumsum([len(line) for line in lines])[:-1]
    numbers = []
    for part in np.split(rank[number], ends):
        keep = np.append(part[1:] != part[:-1], True)
        numbers.append(np.asarray(part[keep], dtype=np.int64))
    if len(numbers[0]) > 1 and numbers[0][0] == numbers[0][-1]:
        numbers[0] = numbers[0][:-1]
    return flat[first[order]], numbers


def _fixed(triangles: Ints, ends: Ints, count: int) -> Bools:
    lines = np.sort(ends, axis=1)
    wanted = lines[:, 0] * count + lines[:, 1]
    follows = np.roll(triangles, -1, axis=1)
    key = np.minimum(triangles, follows) * count + np.maximum(triangles, follows)
    return np.isin(key, wanted)


def surface_of(name: str, origin: Floats, points: Floats, triangles: Ints, fixed: Bools) -> Surface:
    """A surface of corners near zero and counter-clockwise triangles, unused corners left out."""
    used, flat = np.unique(triangles, return_inverse=True)
    kept: Indices = flat.reshape(-1, 3).astype(np.int32)
    twin = twins(kept)
    return Surface(
        name=name,
        origin=np.asarray(origin),
        x=points[used, 0],
        y=points[used, 1],
        z=points[used, 2],
        triangles=kept,
        neighbours=np.where(twin < 0, -1, twin // 3).reshape(-1, 3),
        fixed=(fixed.ravel() | (twin < 0)).reshape(-1, 3),
        point=np.full(len(used), -1),
    )
