"""Drawn boundaries and holes: rings of places, laid on the ground where they have no height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import Finding, Findings, Indices, Ints, Linework, Surface
from pipeline.surface.crossings import (
    Drawn,
    Segments,
    cut_crossings,
    first_meeting,
    join_segments,
)
from pipeline.surface.delaunay import Triangulation
from pipeline.surface.lines import base_code
from pipeline.surface.locate import find, interpolate
from pipeline.surface.places import GRID_M, Places
from pipeline.units import format_length


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """A closed boundary or hole: its places in order, the first not repeated.

    ``line`` is the number of its first line; ``bare`` says that it lacks heights.
    """

    name: str
    hole: bool
    line: int
    places: Ints
    bare: bool


def line_roles(lines: Linework, boundary_code: str) -> tuple[str, ...]:
    """What each line does: ``break``, ``boundary``, ``hole`` or ``drawn``.

    ``drawn`` is a boundary by its code, whatever its kind says.
    """
    roles = []
    for name, kind in zip(lines.name, lines.kind, strict=True):
        if boundary_code and boundary_code in (name, base_code(name)):
            roles.append("drawn")
        else:
            roles.append(kind if kind in ("boundary", "hole") else "break")
    return tuple(roles)


def find_rings(
    places: Places, place: Ints, roles: tuple[str, ...], drawn: Drawn
) -> tuple[tuple[Ring, ...], Findings]:
    """The rings that the lines draw, each closed, and how it was closed.

    The parts of a line of the boundary's code are one ring, in their order; any
    other boundary or hole is a ring of its own.

    Parameters
    ----------
    places : Places
    place : ndarray, int64
        The place of each point of the lines.
    roles : tuple of str
        As `line_roles` gives them.
    drawn : Drawn
        The lines.

    Raises
    ------
    SurfaceError
        A ring of fewer than three places, or one that meets itself.
    """
    lines = drawn.lines
    parts: dict[tuple[str, int], list[int]] = {}
    for k, role in enumerate(roles):
        if role == "drawn":
            parts.setdefault((lines.name[k], -1), []).append(k)
        elif role != "break":
            parts[lines.name[k], k] = [k]
    rings: list[Ring] = []
    findings: list[Finding] = []
    for members in parts.values():
        points = [np.arange(lines.start[k], lines.start[k + 1]) for k in members]
        way = place[np.concatenate(points)]
        way = way[np.diff(way, prepend=-1) != 0]
        if len(way) > 1 and way[0] == way[-1]:
            way = way[:-1]
        elif roles[members[0]] == "drawn" and len(way) > 2:
            # a file may leave the last side of a ring to the reader; a crew shoots it
            findings.append(_closed(places, members[0], (int(way[-1]), int(way[0])), drawn))
        ring = Ring(
            name=drawn.name(members[0]),
            hole=roles[members[0]] == "hole",
            line=members[0],
            places=way,
            bare=bool(np.isnan(places.z[way]).any()),
        )
        _check_ring(places, ring, drawn)
        rings.append(ring)
    return tuple(rings), tuple(findings)


def ring_segments(rings: tuple[Ring, ...]) -> Segments:
    """Pieces of the rings, all the way round."""
    u = np.concatenate([np.empty(0, dtype=np.int64), *(ring.places for ring in rings)])
    v = np.concatenate([u[:0], *(np.roll(ring.places, -1) for ring in rings)])
    line = np.repeat([ring.line for ring in rings], [len(ring.places) for ring in rings])
    return Segments(u, v, line, u, v)


def lay_on_ground(
    places: Places, segments: Segments, ground: Triangulation, bare: tuple[Ring, ...], drawn: Drawn
) -> tuple[Places, Segments]:
    """Places and pieces with the `bare` rings laid on the triangles of `ground`.

    A corner gets the height of the triangle it lies in, and every edge that the
    ring passes over is kept and gives it a place of its own, so the ground
    keeps its shape to the rounding of the grid. Beyond the ground a ring stays
    without height.
    """
    way = ring_segments(bare)
    surface = _as_surface(places, ground)
    x, y = surface.x[way.u], surface.y[way.u]
    z = places.z.copy()
    bare_here = np.isnan(z[way.u])
    z[way.u[bare_here]] = interpolate(surface, x, y)[bare_here]
    edges = _edges_under(places, ground, way, find(surface, x, y))
    every = join_segments(join_segments(segments, way), edges)
    places, every, _ = cut_crossings(places.with_heights(z), every, drawn)
    return places, every


def _as_surface(places: Places, ground: Triangulation) -> Surface:
    """The triangles of `ground` on the grid."""
    return Surface(
        name="ground",
        origin=np.zeros(2),
        x=np.multiply(places.gx, GRID_M, dtype=np.float64),
        y=np.multiply(places.gy, GRID_M, dtype=np.float64),
        z=places.z,
        triangles=ground.triangles,
        neighbours=ground.neighbours,
        fixed=np.zeros(ground.triangles.shape, dtype=np.bool_),
        point=places.point,
    )


def _edges_under(places: Places, ground: Triangulation, way: Segments, found: Indices) -> Segments:
    """Edges to be kept so that the `way` does not change the ground it is laid on.

    All edges of the triangles that it meets or has a corner in (`found`), and
    those along the outside. With these kept, what is beyond them cannot notice
    the new places: no vertex is seen across an edge that is kept.
    """
    import shapely

    tri, beyond = ground.triangles, ground.neighbours
    # each inner edge once
    t, k = np.nonzero(beyond < np.arange(len(tri))[:, None])
    grid = np.column_stack([places.gx, places.gy])
    pieces = shapely.linestrings(np.stack([grid[way.u], grid[way.v]], axis=1))
    edges = shapely.linestrings(np.stack([grid[tri[t, k]], grid[tri[t, (k + 1) % 3]]], axis=1))
    met = shapely.STRtree(edges).query(pieces, predicate="intersects")[1]
    under = np.zeros(len(tri), dtype=np.bool_)
    for triangles in (t[met], beyond[t[met], k[met]], found):
        under[triangles[triangles >= 0]] = True
    # without the outside, a triangle could reach across it to a place that has no height
    keep = under[t] | (beyond[t, k] < 0) | under[beyond[t, k]]
    u, v = tri[t, k][keep].astype(np.int64), tri[t, (k + 1) % 3][keep].astype(np.int64)
    return Segments(u, v, np.full(len(u), -1), u, v)


def _closed(places: Places, line: int, ends: tuple[int, int], drawn: Drawn) -> Finding:
    last, first = ends
    gap = float(np.hypot(places.x[last] - places.x[first], places.y[last] - places.y[first]))
    return Finding(
        severity="note" if gap <= drawn.rules.max_edge_m else "person",
        kind="open boundary",
        text=f"{drawn.name(line)} is open: closed straight from {drawn.point(places, last)} to"
        f" {drawn.point(places, first)}, {format_length(gap, step=0.01)} m",
        do="shoot the line back to its first point, or accept the straight end",
        points=drawn.ids(places, last, first),
    )


def _check_ring(places: Places, ring: Ring, drawn: Drawn) -> None:
    """Refuse a ring that does not enclose one piece of ground."""
    way = ring.places
    if len(way) < 3:
        raise SurfaceError(
            ring.name,
            f"encloses nothing: it has {len(way)} points at different places",
            "draw a boundary through three points or more",
        )
    seen, count = np.unique(way, return_counts=True)
    if (count > 1).any():
        k = int(seen[count > 1][0])
        raise SurfaceError(
            ring.name,
            f"passes twice through point {drawn.point(places, k)} at {places.where(k)}",
            "draw it so that it meets itself only where it closes",
        )
    cut = first_meeting(places, ring_segments((ring,)))
    if cut is not None:
        raise SurfaceError(
            ring.name,
            f"crosses itself at {cut}",
            "check the order of its points; draw it so that it meets itself only where it closes",
        )
