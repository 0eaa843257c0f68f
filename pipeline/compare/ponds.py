"""Where water would stand on a design: found by going down over its triangles."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.compare.compose import outside
from pipeline.model import Bools, Finding, Findings, Floats, Ints, Surface

_JOINED_M = 0.0025
"""Chords of two parts leave 2 mm between them, an abrupt change of section 1 mm."""
_DEAD = 1e-9


@dataclass(frozen=True, slots=True)
class Pond:
    """A hollow: how deep it fills, and the place and height of its lowest point."""

    depth: float
    easting: float
    northing: float
    bottom: float
    corners: int


def ponds(
    surface: Surface, least_m: float, basins: Sequence[tuple[float, float]] = ()
) -> tuple[Pond, ...]:
    """Every hollow deeper than `least_m`, deepest first.

    Parameters
    ----------
    surface : Surface
        One surface or several parts; parts hang together where they touch.
    least_m : float
    basins : sequence of (easting, northing)
        Where water leaves through the ground; the nearest corner within 1 m of each.

    Notes
    -----
    On triangles a low point is a corner and the lowest way out of a hollow runs along
    edges, so the filling from the outside inward over corners and edges (each corner
    filled to the least height from which water gets out) is exact. Water leaves over
    every outside edge at its own height: over a curb only when it stands that high.
    """
    links = _links(surface)
    level = _filled(surface, links, _outlets(surface, basins))
    deep = level - surface.z > _DEAD
    found = []
    seen = np.zeros(len(surface.z), dtype=bool)
    start, to = links
    for corner in np.flatnonzero(deep):
        if seen[corner]:
            continue
        group, stack = [], [int(corner)]
        seen[corner] = True
        while stack:
            here = stack.pop()
            group.append(here)
            for other in to[start[here] : start[here + 1]].tolist():
                if deep[other] and not seen[other]:
                    seen[other] = True
                    stack.append(other)
        rows = np.array(group)
        lowest = rows[np.argmin(surface.z[rows])]
        depth = float(np.max(level[rows] - surface.z[rows]))
        if depth > least_m:
            found.append(
                Pond(
                    depth, float(surface.x[lowest] + surface.origin[0]),
                    float(surface.y[lowest] + surface.origin[1]), float(surface.z[lowest]),
                    len(rows),
                )
            )  # fmt: skip
    return tuple(sorted(found, key=lambda pond: (-pond.depth, pond.easting, pond.northing)))


def _outlets(surface: Surface, basins: Sequence[tuple[float, float]]) -> Bools:
    out = outside(surface)
    for easting, northing in basins:
        away = np.hypot(
            surface.x + surface.origin[0] - easting, surface.y + surface.origin[1] - northing
        )
        near = np.flatnonzero(away <= 1.0)
        if len(near):
            # the water runs to the lowest corner beside the basin
            out[near[np.argmin(surface.z[near])]] = True
    return out


def _links(surface: Surface) -> tuple[Ints, Ints]:
    """Neighbours of every corner: those of corner k are ``to[start[k]:start[k + 1]]``."""
    t = surface.triangles.astype(np.int64)
    pairs = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]], _across_seams(surface)])
    pairs = np.concatenate([pairs, pairs[:, ::-1]])
    pairs = np.unique(pairs, axis=0)
    start = np.searchsorted(pairs[:, 0], np.arange(len(surface.z) + 1))
    return start, pairs[:, 1]


def _across_seams(surface: Surface) -> Ints:
    """Pairs of corners of different parts at one place, and corners on another part's edge."""
    from scipy.spatial import cKDTree
    from shapely import STRtree, linestrings, points

    triangle, side = np.nonzero(surface.neighbours < 0)
    a = surface.triangles[triangle, side].astype(np.int64)
    b = surface.triangles[triangle, (side + 1) % 3].astype(np.int64)
    border = np.unique(np.concatenate([a, b]))
    xy = np.stack([surface.x[border], surface.y[border]], axis=1)
    same = cKDTree(xy).query_pairs(_JOINED_M, output_type="ndarray")
    edges = linestrings(
        np.stack([
            np.stack([surface.x[a], surface.y[a]], axis=1),
            np.stack([surface.x[b], surface.y[b]], axis=1),
        ], axis=1)
    )  # fmt: skip
    corner, edge = STRtree(edges).query(points(xy), predicate="dwithin", distance=_JOINED_M)
    on = np.concatenate([
        np.stack([border[corner], a[edge]], axis=1), np.stack([border[corner], b[edge]], axis=1),
    ])  # fmt: skip
    found: Ints = np.concatenate([border[same], on])
    return np.asarray(found[found[:, 0] != found[:, 1]])


def _filled(surface: Surface, links: tuple[Ints, Ints], outlets: Bools) -> Floats:
    """The least height from which water gets out, for every corner."""
    start, to = links[0].tolist(), links[1].tolist()
    z = surface.z.tolist()
    level = np.full(len(z), np.inf)
    heap = [(z[k], k) for k in np.flatnonzero(outlets).tolist()]
    for height, k in heap:
        level[k] = height
    heapq.heapify(heap)
    done = np.zeros(len(z), dtype=bool)
    while heap:
        height, here = heapq.heappop(heap)
        if done[here]:
            continue
        done[here] = True
        for other in to[start[here] : start[here + 1]]:
            if not done[other]:
                up = max(height, z[other])
                if up < level[other]:
                    level[other] = up
                    heapq.heappush(heap, (up, other))
    return level


def pond_findings(layer: str, found: Sequence[Pond]) -> Findings:
    """Each pond as a person has to see it."""
    return tuple(
        Finding(
            "person",
            "pond",
            f"layer {layer!r}: water stands {1000 * pond.depth:.0f} mm deep at E"
            f" {pond.easting:.2f}, N {pond.northing:.2f}, lowest {pond.bottom:.3f}",
            "set a basin there or ask the designer for other heights",
        )
        for pond in found
    )
