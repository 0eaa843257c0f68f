"""Constrained Delaunay triangulation on the grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import Indices, Ints
from pipeline.surface.crossings import Segments, edge_key
from pipeline.surface.grid import cross
from pipeline.surface.places import GRID_M, Places

_SUPER = 3  # the triangulation's own three outermost vertices come first
_WIDTH_M = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Triangulation:
    """All triangles within the convex hull, counter-clockwise, shape (m, 3), and their neighbours.

    ``pieces`` are the rows (u, v, whole): an edge between places u and v that is
    part of piece `whole` of the segments, because a place lies on that piece.
    """

    triangles: Indices
    neighbours: Indices
    pieces: tuple[tuple[int, int, int], ...]


def triangulate(places: Places, segments: Segments, use: Ints) -> Triangulation:
    """Triangles over the places `use` with every piece of `segments` among their edges.

    Parameters
    ----------
    places : Places
        n places; triangles carry their numbers.
    segments : Segments
        Pieces between places of `use` that meet only end to end.
    use : ndarray, shape (k,), int64
        Places that become vertices.

    Raises
    ------
    SurfaceError
        Fewer than three places, or all of them within 1 mm of one line.

    Notes
    -----
    Off the pieces no vertex lies inside the circle through a triangle's corners.
    Coordinates are whole grid units, in which the library's predicates are
    exact, so every area is positive. Four vertices on one circle may be cut
    along either diagonal; which one depends on their order only.
    """
    import pythoncdt

    _check_spread(places, use)
    number = np.full(len(places), -1, dtype=np.int64)
    number[use] = np.arange(len(use))
    cdt = pythoncdt.Triangulation(
        pythoncdt.VertexInsertionOrder.AUTO,
        pythoncdt.IntersectingConstraintEdges.NOT_ALLOWED,
        0.0,
    )
    grid: Any = np.column_stack([places.gx[use], places.gy[use]]).astype(np.float64)
    cdt.insert_vertices(grid)
    if len(segments):
        ends: Any = np.column_stack([number[segments.u], number[segments.v]])
        cdt.insert_edges(ends.astype(np.uint32))
    found = cdt.triangles_array(copy=False)
    # erasing the outermost triangle in the library takes as long as half the triangulation
    corners = found["vertices"]
    keep = (corners >= _SUPER).all(axis=1)
    renumber = np.where(keep, np.cumsum(keep) - 1, -1)
    neighbours = renumber[found["neighbors"][keep]]
    return Triangulation(
        triangles=use[corners[keep].astype(np.int64) - _SUPER].astype(np.int32),
        neighbours=neighbours.astype(np.int32),
        pieces=_pieces(cdt.piece_to_originals, segments, use),
    )


def _pieces(
    split: dict[Any, Any], segments: Segments, use: Ints
) -> tuple[tuple[int, int, int], ...]:
    if not split:
        return ()
    keys = edge_key(segments.u, segments.v).tolist()
    whole = {key: s for s, key in reversed(list(enumerate(keys)))}
    pieces = []
    for piece, originals in split.items():
        u, v = (int(use[end - _SUPER]) for end in (piece.v1, piece.v2))
        for original in originals:
            ends = [use[end - _SUPER : end - _SUPER + 1] for end in (original.v1, original.v2)]
            s = whole.get(int(edge_key(*ends)[0]))
            if s is not None and {u, v} != {int(segments.u[s]), int(segments.v[s])}:
                pieces.append((min(u, v), max(u, v), s))
    return tuple(sorted(set(pieces)))


def _check_spread(places: Places, use: Ints) -> None:
    """Refuse places that span no area."""
    if len(use) < 3:
        raise SurfaceError(
            "the ground",
            f"it was shot at {len(use)} different places",
            "a surface takes three or more: shoot more ground, or check which codes are ground",
        )
    gx, gy = places.gx[use], places.gy[use]
    gx, gy = gx - gx[0], gy - gy[0]
    far = int(np.argmax(gx * 1.0 * gx + gy * 1.0 * gy))
    every = np.ones(len(use), dtype=np.int64)
    off = cross(gx[far] * every, gy[far] * every, gx, gy) / np.hypot(gx[far], gy[far])
    if np.ptp(off) * GRID_M < _WIDTH_M:
        raise SurfaceError(
            "the ground",
            f"all {len(use)} places shot lie within 1 mm of one line, from"
            f" {places.where(int(use[0]))} to {places.where(int(use[far]))}",
            "shoot the ground on both sides of that line",
        )
