"""Triangles that a file brings, and what any triangulated surface measures."""

from __future__ import annotations

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import (
    Bools,
    Finding,
    Findings,
    Floats,
    Indices,
    Ints,
    Linework,
    Mesh,
    Severity,
    Surface,
)
from pipeline.model.telling import counted, listed
from pipeline.surface.crossings import edge_key
from pipeline.surface.trim import twice_area


def from_mesh(mesh: Mesh) -> tuple[Surface, Findings]:
    """The surface of a file's own triangles, as they are.

    Parameters
    ----------
    mesh : Mesh
        Points and faces in any order and sense.

    Returns
    -------
    Surface
        Vertices are the points of the mesh in their order, so ``mesh.id`` names
        them; ``point`` is -1, for they are no shots. Points that repeat another
        exactly are not used: the faces there hang together at the first.
        Nothing is ``fixed``.
    Findings
        ``note``: faces without area in plan, faces that repeat another, points
        that repeat another. ``person``: faces with a corner that has no
        coordinates, and edges where more than two faces meet or two lie over
        each other; faces are then neighbours of none across that edge.

    Raises
    ------
    SurfaceError
        A face names a point that is not there, or no face has an area.

    Examples
    --------
    A square of two faces, one of them clockwise:

    >>> mesh = Mesh("terrain", [0, 10, 10, 0], [0, 0, 10, 10], [1, 1, 2, 2],
    ...             [[0, 1, 2], [0, 3, 2]], ["1", "2", "3", "4"])
    >>> surface, _ = from_mesh(mesh)
    >>> surface.triangles.tolist(), surface.neighbours.tolist()
    ([[0, 1, 2], [0, 2, 3]], [[-1, -1, 1], [0, -1, -1]])
    """
    _check_faces(mesh)
    known = np.isfinite(mesh.easting) & np.isfinite(mesh.northing) & np.isfinite(mesh.elevation)
    whole: Bools = np.all(known[mesh.triangles], axis=1)
    origin = np.zeros(2)
    if whole.any():
        corners = mesh.triangles[whole]
        origin = np.floor([mesh.easting[corners].min(), mesh.northing[corners].min()])
    # a point without coordinates is not used; zero keeps the arithmetic quiet
    x = np.where(known, mesh.easting - origin[0], 0.0)
    y = np.where(known, mesh.northing - origin[1], 0.0)
    z = np.where(known, mesh.elevation, np.nan)
    first = _first_of_each_point(x, y, z)
    faces, said = _sound_faces(mesh, (x, y), first[mesh.triangles].astype(np.int32), whole)
    neighbours, folded = _neighbours(faces)
    findings = [*said, *_repeats(mesh, first, known)]
    if folded.any():
        findings.append(_folded(mesh, faces, folded))
    surface = Surface(
        name=mesh.name,
        origin=origin,
        x=x,
        y=y,
        z=z,
        triangles=faces,
        neighbours=neighbours,
        fixed=np.zeros(faces.shape, dtype=np.bool_),
        point=np.full(len(x), -1),
    )
    return surface, tuple(findings)


def outline(surface: Surface) -> Linework:
    """Rings around the surface and around its holes.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    Linework
        ``kind`` is ``boundary`` for a ring around a part of the surface,
        counter-clockwise, and ``hole`` for a ring around a hole, clockwise: the
        surface is on the left. The first point is repeated at the end. No ring
        visits a place twice; rings may touch at one. In order of their first
        vertex, which is the lowest-numbered of the ring.
    """
    t, k = np.nonzero(surface.neighbours < 0)
    start = surface.triangles[t, k].astype(np.int64)
    end = surface.triangles[t, (k + 1) % 3].astype(np.int64)
    rings = _rings(start, end)
    kinds: list[str] = []
    names = []
    for ring in rings:
        x, y = surface.x[ring] - surface.x[ring[0]], surface.y[ring] - surface.y[ring[0]]
        turned = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())
        kinds.append("boundary" if turned > 0 else "hole")
        names.append(f"{kinds[-1]} {kinds.count(kinds[-1])}")
    way = np.concatenate([np.empty(0, dtype=np.int64), *rings])
    return Linework(
        easting=surface.x[way] + surface.origin[0],
        northing=surface.y[way] + surface.origin[1],
        elevation=surface.z[way],
        point=surface.point[way],
        start=np.cumsum([0, *map(len, rings)]),
        name=tuple(names),
        kind=tuple(kinds),
    )


def area(surface: Surface) -> float:
    """Plan area [m²]."""
    return float(twice_area(surface.x, surface.y, surface.triangles).sum()) / 2.0


def slope_area(surface: Surface) -> float:
    """Area along the slopes [m²]: what a blade passes over."""
    a, b, c = surface.triangles.T
    u = [column[b] - column[a] for column in (surface.x, surface.y, surface.z)]
    v = [column[c] - column[a] for column in (surface.x, surface.y, surface.z)]
    normal = [u[i - 2] * v[i - 1] - u[i - 1] * v[i - 2] for i in range(3)]
    return float(np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2).sum()) / 2.0


def _check_faces(mesh: Mesh) -> None:
    if not len(mesh.triangles):
        raise SurfaceError(
            f"surface {mesh.name}", "it has no visible face", "name another surface of the file"
        )
    strange = (mesh.triangles < 0) | (mesh.triangles >= len(mesh.easting))
    if strange.any():
        face = int(np.flatnonzero(strange.any(axis=1))[0])
        raise SurfaceError(
            f"surface {mesh.name}, face {face + 1}",
            f"it names point number {mesh.triangles[face][strange[face]][0]} of"
            f" {len(mesh.easting)}",
            "export the surface again",
        )


def _first_of_each_point(x: Floats, y: Floats, z: Floats) -> Ints:
    """For each point the first with the same x, y and z; itself as a rule."""
    order = np.lexsort((z, y, x))
    same = np.ones(len(x), dtype=np.bool_)
    same[:1] = False
    for column in (x, y, z):
        same[1:] &= column[order[1:]] == column[order[:-1]]
    # lexsort is stable, so each group begins with its lowest row
    leader = order[np.maximum.accumulate(np.where(same, 0, np.arange(len(x))))]
    first = np.empty(len(x), dtype=np.int64)
    first[order] = leader
    return first


def _sound_faces(
    mesh: Mesh, xy: tuple[Floats, Floats], faces: Indices, whole: Bools
) -> tuple[Indices, list[Finding]]:
    """Counter-clockwise faces that have an area, each once, and what became of the others."""
    findings = []
    if not whole.all():
        findings.append(_dropped(mesh, "person", "has a corner without coordinates", ~whole))
    twice = twice_area(*xy, faces)
    flat = whole & (twice == 0)
    if flat.any():
        findings.append(_dropped(mesh, "note", "has no area in plan", flat))
    turned = twice < 0
    faces = np.where(turned[:, None], faces[:, [0, 2, 1]], faces)
    rows = np.flatnonzero(whole & ~flat)
    _, first = np.unique(np.sort(faces[rows], axis=1), axis=0, return_index=True)
    again = np.zeros(len(faces), dtype=np.bool_)
    again[rows] = True
    again[rows[first]] = False
    if again.any():
        findings.append(_dropped(mesh, "note", "repeats another face", again))
    keep = rows[np.sort(first)]
    if not len(keep):
        raise SurfaceError(
            f"surface {mesh.name}",
            f"none of its {len(faces)} faces has an area in plan",
            "name another surface of the file, or triangulate its points (faces = 'rebuild')",
        )
    return faces[keep], findings


def _neighbours(faces: Indices) -> tuple[Indices, Bools]:
    """Face across each edge, shape (m, 3), and the edges that are not shared by two as they should.

    An edge is sound if one face has it, or two that run along it in opposite
    senses: these lie on either side of it.
    """
    start = faces.astype(np.int64)
    end = np.roll(start, -1, axis=1)
    key = edge_key(start, end).ravel()
    order = np.argsort(key, kind="stable")
    _, first, count = np.unique(key[order], return_index=True, return_counts=True)
    neighbours = np.full(key.shape, -1, dtype=np.int32)
    folded = np.zeros(key.shape, dtype=np.bool_)
    two = first[count == 2]
    a, b = order[two], order[two + 1]
    apart = start.ravel()[a] != start.ravel()[b]
    neighbours[a[apart]] = b[apart] // 3
    neighbours[b[apart]] = a[apart] // 3
    folded[a[~apart]] = folded[b[~apart]] = True
    many = np.repeat(count > 2, count)
    folded[order[many]] = True
    return neighbours.reshape(-1, 3), folded.reshape(-1, 3)


def _rings(start: Ints, end: Ints) -> list[Ints]:
    """Closed ways along the directed edges, no vertex twice in one, the first at the end too."""
    following: dict[int, list[int]] = {}
    for a, b in sorted(zip(start.tolist(), end.tolist(), strict=True), reverse=True):
        following.setdefault(a, []).append(b)
    rings = []
    for a in sorted(following):
        while following[a]:
            way, at = [a], {a: 0}
            while following[way[-1]]:
                b = following[way[-1]].pop()
                if b in at:
                    # the way has come round: what lies between is a ring, the rest goes on
                    loop = way[at[b] :]
                    del way[at[b] + 1 :]
                    for vertex in loop[1:]:
                        del at[vertex]
                    rings.append(loop)
                else:
                    at[b] = len(way)
                    way.append(b)
    turned = [ring[ring.index(min(ring)) :] + ring[: ring.index(min(ring))] for ring in rings]
    return [np.array([*ring, ring[0]], dtype=np.int64) for ring in sorted(turned)]


def _dropped(mesh: Mesh, severity: Severity, what: str, which: Bools) -> Finding:
    names = ["-".join(ids) for ids in mesh.id[mesh.triangles[which]].tolist()]
    count = counted(len(names), "face")
    return Finding(
        severity=severity,
        kind="face left out",
        text=f"surface {mesh.name}: {count} left out, each {what}: {listed(names, 10)}",
        do="nothing, if the surface looks whole" if severity == "note" else "check the file",
    )


def _repeats(mesh: Mesh, first: Ints, known: Bools) -> list[Finding]:
    again = np.flatnonzero(known & (first != np.arange(len(first))))
    if not len(again):
        return []
    ids = tuple(mesh.id[again].tolist())
    count = counted(len(ids), "point repeats", "points repeat")
    return [
        Finding(
            severity="note",
            kind="shot twice",
            text=f"surface {mesh.name}: {count} another exactly: {listed(ids, 10)}",
            do="nothing: the first of each is used",
            points=ids,
        )
    ]


def _folded(mesh: Mesh, faces: Indices, folded: Bools) -> Finding:
    t, k = np.nonzero(folded)
    edges = sorted(
        set(edge_key(faces[t, k].astype(np.int64), faces[t, (k + 1) % 3].astype(np.int64)).tolist())
    )
    pairs = [(str(mesh.id[edge >> 32]), str(mesh.id[edge & 0xFFFFFFFF])) for edge in edges]
    count = counted(len(pairs), "edge")
    names = listed([f"{a}-{b}" for a, b in pairs], 10)
    return Finding(
        severity="person",
        kind="folded surface",
        text=f"surface {mesh.name}: at {count} more than two faces meet or two lie"
        f" over each other: {names}",
        do="export the surface again without overlapping faces; heights there are of the first",
        points=tuple(dict.fromkeys(name for pair in pairs for name in pair)),
    )
