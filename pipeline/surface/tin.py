"""The ground as triangles: built from shots and breaklines, or taken from a file."""

from __future__ import annotations

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import (
    Bools,
    Finding,
    Findings,
    Floats,
    Indices,
    Linework,
    Shots,
    Surface,
)
from pipeline.model.telling import counted, listed
from pipeline.settings import SurfaceRules
from pipeline.surface.crossings import (
    Drawn,
    Segments,
    cut_crossings,
    edge_key,
    join_segments,
    segments_of,
)
from pipeline.surface.delaunay import Triangulation
from pipeline.surface.mesh import area, from_mesh, outline, slope_area
from pipeline.surface.places import GRID_M, Places, settle
from pipeline.surface.rings import Ring, find_rings, lay_on_ground, line_roles, ring_segments
from pipeline.surface.touching import triangulate_with_lines
from pipeline.surface.trim import Net, drop_slivers, enclosed, peel, remaining, twice_area

__all__ = ["area", "build", "from_mesh", "outline", "slope_area"]


def build(shots: Shots, lines: Linework, rules: SurfaceRules) -> tuple[Surface, Findings]:
    """The ground through the shots, with every line among its edges.

    Parameters
    ----------
    shots : Shots
        Ground shots. A scan is thinned beforehand to more than
        `same_place_m`: shots closer than that are judged as shots of a crew.
    lines : Linework
        Lines through the shots, and lines with points of their own (`point` -1).
        A ``boundary`` or ``hole`` may lack heights (NaN); it is then laid on the
        ground. A line of the code `rules.boundary` is a boundary; every other
        line is a breakline.
    rules : SurfaceRules
        Tolerances, the longest outside edge and the code of the boundary.

    Returns
    -------
    Surface
        Counter-clockwise triangles over those places that have one. Vertices
        stand where they were shot; where two lines cross there is one more.
    Findings
        ``person``: two heights at one place, lines that cross at two heights, a
        boundary that was closed for the crew or is missing, a shot without a
        triangle. ``note``: what was merged, meant or left out as the rules say.

    Raises
    ------
    SurfaceError
        Fewer than three places, all shots in one line, a shot more than 100 km
        away, a boundary that meets itself, or nothing left within the boundary
        or under the longest edge.

    Notes
    -----
    Constrained Delaunay triangulation on a grid of 1 µm: off the lines no
    vertex lies inside the circle through a triangle's corners. With a drawn
    boundary the surface is what lies within; without one, outer triangles go
    while an outside edge is longer than `max_edge_m` (see `trim.peel`), then
    slivers along the outside. A vertex keeps the coordinates of its shot; only
    where that would turn a triangle over, one thinner than the grid, is it
    moved to the grid, by 0.7 µm at most.

    Examples
    --------
    >>> from pipeline.model import NO_LINES, make_shots
    >>> ground, _ = build(make_shots([0, 8, 8, 0], [0, 0, 10, 10], [1, 1, 1, 1]),
    ...                   NO_LINES, SurfaceRules())
    >>> len(ground.triangles), area(ground)
    (2, 80.0)
    """
    roles = line_roles(lines, rules.boundary)
    lines, roles, findings = _with_heights(lines, roles)
    places, place, said = settle(shots, lines, rules)
    findings += said
    drawn = Drawn(shots, lines, rules)
    rings, said = find_rings(places, place, roles, drawn)
    findings += said
    breaks = segments_of(lines, place, np.array([role == "break" for role in roles], dtype=bool))
    high = tuple(ring for ring in rings if not ring.bare)
    places, segments, said = cut_crossings(
        places, join_segments(breaks, ring_segments(high)), drawn
    )
    findings += said
    places, segments, found, said = triangulate_with_lines(places, segments, drawn)
    findings += said
    bare = tuple(ring for ring in rings if ring.bare)
    if bare:
        places, segments = lay_on_ground(places, segments, found, bare, drawn)
        places, segments, found, said = triangulate_with_lines(places, segments, drawn, bare=True)
        findings += said
    net = _net(places, segments, found)
    keep, said = _trimmed(net, np.isfinite(places.z), rings, rules)
    findings += said
    surface = _surface(places, net, keep)
    return surface, findings + _left_out(shots, places, surface, bool(rings))


def _with_heights(
    lines: Linework, roles: tuple[str, ...]
) -> tuple[Linework, tuple[str, ...], Findings]:
    """The lines without those breaklines that have no height somewhere."""
    of = np.repeat(np.arange(len(lines)), np.diff(lines.start))
    lacking = set(of[~np.isfinite(lines.elevation)].tolist())
    out = [k for k, role in enumerate(roles) if role == "break" and k in lacking]
    if not out:
        return lines, roles, ()
    keep = [k for k in range(len(lines)) if k not in set(out)]
    rows = np.isin(of, keep)
    names = listed([lines.name[k] or str(k + 1) for k in out], 10)
    finding = Finding(
        severity="person",
        kind="line without height",
        text=f"breaklines with points that have no height are not used: {names}",
        do="give the lines heights, or mark them as boundary or hole if that is what they are",
    )
    left = Linework(
        easting=lines.easting[rows],
        northing=lines.northing[rows],
        elevation=lines.elevation[rows],
        point=lines.point[rows],
        start=np.cumsum([0, *np.diff(lines.start)[keep]]),
        name=tuple(lines.name[k] for k in keep),
        kind=tuple(lines.kind[k] for k in keep),
    )
    return left, tuple(roles[k] for k in keep), (finding,)


def _net(places: Places, segments: Segments, found: Triangulation) -> Net:
    """The triangles with their fixed edges."""
    real = segments.line >= 0
    u, v = segments.u[real], segments.v[real]
    ends = np.zeros(len(places), dtype=np.bool_)
    ends[u] = ends[v] = True
    tri = found.triangles
    fixed = ends[tri] & ends[np.roll(tri, -1, axis=1)]
    t, k = np.nonzero(fixed)
    fixed[t, k] = np.isin(
        edge_key(tri[t, k].astype(np.int64), tri[t, (k + 1) % 3].astype(np.int64)),
        edge_key(u, v),
    )
    return Net(x=places.x, y=places.y, triangles=tri, neighbours=found.neighbours, fixed=fixed)


def _upright(places: Places, triangles: Indices) -> tuple[Floats, Floats]:
    """Coordinates as shot, but on the grid where a triangle would not be counter-clockwise."""
    x, y = places.x.copy(), places.y.copy()
    on_grid = np.zeros(len(x), dtype=np.bool_)
    while True:
        over = (twice_area(x, y, triangles) <= 0) & ~on_grid[triangles].all(axis=1)
        if not over.any():
            return x, y
        on_grid[triangles[over]] = True
        x[on_grid], y[on_grid] = places.gx[on_grid] * GRID_M, places.gy[on_grid] * GRID_M


def _trimmed(
    net: Net, high: Bools, rings: tuple[Ring, ...], rules: SurfaceRules
) -> tuple[Bools, Findings]:
    """Which triangles are the surface, and what is said about the others."""
    keep: Bools = np.all(high[net.triangles], axis=1)
    findings = []
    outer = [ring for ring in rings if not ring.hole]
    if outer:
        within = np.zeros(len(keep), dtype=np.bool_)
        for ring in outer:
            within |= enclosed(net, keep, ring.places)
        keep &= within
    for ring in rings:
        if ring.hole:
            hole = enclosed(net, keep, ring.places)
            keep &= ~hole
            if not hole.any():
                findings.append(_idle(ring))
    if not outer:
        if rules.boundary:
            findings.append(_no_boundary(rules))
        whole = int(keep.sum())
        keep = peel(net, keep, rules.max_edge_m)
        if peeled := whole - int(keep.sum()):
            findings.append(_peeled(peeled, rules))
        keep = drop_slivers(net, keep, rules.row_wander_m)
    if not keep.any():
        raise SurfaceError(
            "the ground",
            "no triangle lies within the drawn boundary"
            if outer
            else f"every triangle has an outside edge longer than {rules.max_edge_m:g} m",
            "check the boundary against the shots"
            if outer
            else "shoot closer together, or raise surface.max_edge_m if the ground is even",
        )
    return keep, tuple(findings)


def _surface(places: Places, net: Net, keep: Bools) -> Surface:
    """The triangles that stay and the vertices they use, both in their order."""
    tri = net.triangles[keep]
    x, y = _upright(places, tri)
    used = np.zeros(len(places), dtype=np.bool_)
    used[tri] = True
    number = np.cumsum(used) - 1
    return Surface(
        name="ground",
        origin=places.origin,
        x=x[used],
        y=y[used],
        z=places.z[used],
        triangles=number[tri],
        neighbours=remaining(net.neighbours, keep),
        fixed=net.fixed[keep],
        point=places.point[used],
    )


def _left_out(shots: Shots, places: Places, surface: Surface, by_line: bool) -> Findings:
    """The shots that were to be used but have no triangle."""
    lost = np.zeros(len(shots), dtype=np.bool_)
    lost[places.point[places.point >= 0]] = True
    lost[surface.point[surface.point >= 0]] = False
    out = np.flatnonzero(lost)
    if not len(out):
        return ()
    ids = tuple(shots.id[out].tolist())
    who = counted(len(ids), "shot has", "shots have")
    return (
        Finding(
            severity="note" if by_line else "person",
            kind="shot without triangle",
            text=f"{who} no triangle and no part in the surface: {listed(ids, 10)}",
            do="nothing, if the drawn boundary leaves them out rightly"
            if by_line
            else "shoot between them and the rest, or raise surface.max_edge_m",
            points=ids,
        ),
    )


def _peeled(count: int, rules: SurfaceRules) -> Finding:
    what = counted(count, "outer triangle is", "outer triangles are")
    return Finding(
        severity="note",
        kind="outer triangles",
        text=f"{what} left out: an outside edge is longer than {rules.max_edge_m:g} m",
        do="nothing, or shoot there if that ground counts",
    )


def _idle(ring: Ring) -> Finding:
    return Finding(
        severity="note",
        kind="hole",
        text=f"{ring.name} is a hole that takes nothing away: it lies outside the surface",
        do="check where it was drawn",
    )


def _no_boundary(rules: SurfaceRules) -> Finding:
    return Finding(
        severity="person",
        kind="boundary",
        text=f"no line of code {rules.boundary} was shot: the surface ends where an outside edge"
        f" would be longer than {rules.max_edge_m:g} m",
        do="shoot the boundary, or clear surface.boundary",
    )
