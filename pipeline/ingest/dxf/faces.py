"""Polygons of a drawing as triangles, and triangles that share their corners as a mesh."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pipeline.ingest.dxf.shapes import UnusableError
from pipeline.model import Floats, Indices, Ints, Mesh, texts

WELD_M = 1e-4
"""Corners closer than this in space are one."""

MOST_CORNERS = 1000
"""A polygon with more is refused: cutting its ears takes quadratic time."""


@dataclass(slots=True)
class Split:
    """Triangles of a polygon, and how far a four-sided one is from flat.

    ``warp`` is the height between its two diagonals where they cross in plan; the
    shorter diagonal in space was taken.
    """

    triangles: list[Floats]
    warp: float = 0.0


def split(polygon: Floats) -> Split:
    """A polygon of three corners or more as triangles.

    Parameters
    ----------
    polygon : ndarray, shape (n, 3)

    Raises
    ------
    UnusableError
        Its sides cross each other in plan.

    Examples
    --------
    >>> len(split(np.array([[0, 0, 0], [4, 0, 0], [4, 3, 1], [0, 3, 0.0]])).triangles)
    2
    """
    if len(polygon) == 3:
        return Split([polygon])  # without area: `weld` counts it
    moved = (polygon != np.roll(polygon, 1, axis=0)).any(axis=1)
    if moved.sum() < 3:
        return Split([polygon[:3]])
    polygon = polygon[moved]
    if len(polygon) == 4:
        return _quad(polygon)
    return Split([polygon] if len(polygon) == 3 else _many(polygon))


def _quad(corners: Floats) -> Split:
    a, b, c, d = corners
    ways = [([0, 1, 2], [0, 2, 3]), ([0, 1, 3], [1, 2, 3])]
    turns = [[_turn(corners[one]) for one in way] for way in ways]
    scale = float(np.abs(corners[:, :2] - a[:2]).max()) ** 2
    flat = 1e-9 * scale
    if max(map(abs, turns[0] + turns[1])) <= flat:  # upright: no plan to judge it by
        fits = [True, True]
    else:
        fits = [min(turn) >= -flat or max(turn) <= flat for turn in turns]
    if not any(fits):
        raise UnusableError("its sides cross each other")
    shorter = 0 if np.linalg.norm(c - a) <= np.linalg.norm(d - b) else 1
    chosen = shorter if fits[shorter] else 1 - shorter
    warp = _warp(corners) if all(fits) else 0.0
    return Split([corners[one] for one in ways[chosen]], warp)


def _turn(corners: Floats) -> float:
    """Twice the area in plan, + counter-clockwise."""
    (ax, ay), (bx, by), (cx, cy) = corners[:, :2]
    return float((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))


def _warp(corners: Floats) -> float:
    _, b, c, d = corners - corners[0]
    across = c[0] * (d - b)[1] - c[1] * (d - b)[0]
    if across == 0.0:
        return 0.0
    along = (b[0] * (d - b)[1] - b[1] * (d - b)[0]) / across
    other = (b[0] * c[1] - b[1] * c[0]) / across
    return float(abs(along * c[2] - (b[2] + other * (d - b)[2])))


def _many(corners: Floats) -> list[Floats]:
    """Five corners or more: the library cuts off ears, seen square to the widest side."""
    from ezdxf.math.triangulation import mapbox_earcut_2d

    if len(corners) > MOST_CORNERS:
        raise UnusableError(f"it has {len(corners)} corners")
    near = corners - corners[0]
    normal = np.cross(near, np.roll(near, -1, axis=0)).sum(axis=0)
    seen = np.delete(near, int(np.abs(normal).argmax()), axis=1)
    # + 0.0: a negative zero is a zero
    row = {tuple(place): k for k, place in reversed(list(enumerate((seen + 0.0).tolist())))}
    found = [
        corners[[row[corner.x, corner.y] for corner in one]]
        for one in mapbox_earcut_2d((seen + 0.0).tolist())
    ]
    if not found:
        raise UnusableError("it has no area")
    return found


@dataclass(slots=True)
class Welded:
    """A mesh, and how many triangles had no three corners apart or stood there twice."""

    mesh: Mesh
    thin: int
    twice: int


def weld(triangles: Floats, name: str) -> Welded:
    """Triangles as a mesh in which corners within `WELD_M` of each other are one.

    Parameters
    ----------
    triangles : ndarray, shape (m, 3, 3)
        Corners [m], finite.
    name : str

    Returns
    -------
    Welded
        Points in the order in which they first occur, with ids 1 to n. Of corners
        that are one the first stands for all.
    """
    corners = triangles.reshape(-1, 3) + 0.0
    place = _same(corners)
    kept, faces = np.unique(place, return_inverse=True)
    faces = faces.reshape(-1, 3)
    a, b, c = faces.T
    apart = (a != b) & (b != c) & (c != a)
    _, first = np.unique(np.sort(faces[apart], axis=1), axis=0, return_index=True)
    once = faces[apart][np.sort(first)]
    used = np.unique(once)
    rank = np.full(len(kept), -1, dtype=np.int64)
    rank[used] = np.arange(len(used))
    east, north, up = corners[kept[used]].T
    mesh = Mesh(
        name=name,
        easting=east,
        northing=north,
        elevation=up,
        triangles=_as_indices(rank[once]),
        id=texts(str(k + 1) for k in range(len(used))),
    )
    return Welded(mesh, int((~apart).sum()), int(apart.sum()) - len(once))


def _as_indices(faces: Ints) -> Indices:
    return faces.astype(np.int32)


def _same(corners: Floats) -> Ints:
    """For each corner the row of the first that is the same place."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not len(corners):
        return np.empty(0, dtype=np.int64)
    near = corners - corners.min(axis=0)
    _, first, place = np.unique(near, axis=0, return_index=True, return_inverse=True)
    pairs = cKDTree(near[first]).query_pairs(WELD_M, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (len(first), len(first)))
    count, group = connected_components(links, directed=False)
    lowest = np.full(count, len(corners), dtype=np.int64)
    np.minimum.at(lowest, group, first)
    return np.asarray(lowest[group[place.ravel()]], dtype=np.int64)


def stacked(parts: Iterable[Floats]) -> Floats:
    """Triangles as one array, shape (m, 3, 3)."""
    listed = list(parts)
    return np.stack(listed) if listed else np.empty((0, 3, 3))
