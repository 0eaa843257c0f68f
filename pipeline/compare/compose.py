"""Several parts of a design as one surface: where two claim a place the stated order decides."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.design import strips
from pipeline.design.area import surface_of
from pipeline.model import Bools, Corridor, Finding, Findings, Floats, Ints, Part, Surface
from pipeline.model.arrays import lock_fields
from pipeline.settings import DesignRules
from pipeline.surface import locate

if TYPE_CHECKING:
    from shapely import Polygon

_LEAST_M2 = 1e-9
"""A sliver smaller than this lies along a shared edge, where rounding put it."""
_SAME_M = 1e-7
_ACROSS_M = 2e-6
"""How far over an edge its neighbour is asked for."""
_ALONG_M = 0.25
_WELL_ACROSS_M = 0.005
"""Farther than the hairline that chords of two parts leave between them."""


@dataclass(frozen=True, slots=True)
class Seam:
    """Where two parts meet: the largest step, first less second, and its length to 0.25 m [m]."""

    first: str
    second: str
    step: float
    easting: float
    northing: float
    length: float


@dataclass(frozen=True, slots=True, eq=False)
class Composed:
    """One surface of several parts; ``owner`` is each triangle's part, by number in ``names``."""

    surface: Surface
    names: tuple[str, ...]
    owner: Ints
    seams: tuple[Seam, ...]

    def __post_init__(self) -> None:
        lock_fields(self, {"owner": (np.int64, (len(self.surface.triangles),))})


def ordered(corridor: Corridor) -> tuple[tuple[str, Corridor | Part], ...]:
    """The parts of a design in order of priority, the main street among them."""
    before, after = corridor.parts[: corridor.rank], corridor.parts[corridor.rank :]
    return (
        *((part.name, part) for part in before), (corridor.name, corridor),
        *((part.name, part) for part in after),
    )  # fmt: skip


def layer_surface(corridor: Corridor, layer: str, rules: DesignRules) -> Composed:
    """A layer of the whole design as one surface.

    Raises
    ------
    DesignError
        No part of the design has the layer, or one cannot be laid in triangles.
    """
    parts = []
    for name, part in ordered(corridor):
        street = part if isinstance(part, Corridor) else part.corridor
        if street is None:
            surface = part.surface(layer) if isinstance(part, Part) else None
        else:
            own = next((one for one in street.layers if one.name == layer), None)
            if own is None:
                continue
            surface = own.surface or strips.triangulate(street, layer, rules)
        if surface is not None:
            parts.append((name, surface))
    return compose(layer, parts)


def compose(name: str, parts: Sequence[tuple[str, Surface]]) -> Composed:
    """The parts as one surface, each cut away where one before it lies.

    Parameters
    ----------
    name : str
        The layer.
    parts : sequence of (name, Surface)
        In order of priority.

    Returns
    -------
    Composed
        Triangles of one part share their corners; across a seam they do not, so a step
        stays a step. A triangle is cut along the outline of the parts before it and
        keeps its own plane. Slivers below 1e-9 m² are left out.
    """
    import shapely

    origin = np.asarray(parts[0][1].origin)
    covered: Any = shapely.GeometryCollection()
    pieces, owners = [], []
    for number, (_, surface) in enumerate(parts):
        corners = _corners(surface, origin)
        triangles = shapely.polygons(corners[:, :, :2])
        kept = _left(corners, triangles, covered)
        pieces.append(kept)
        owners.append(np.full(len(kept), number))
        if number + 1 < len(parts):
            covered = shapely.union(covered, _outline(triangles))
    whole, owner = np.concatenate(pieces), np.concatenate(owners)
    surface, rows = _welded(name, origin, whole, owner)
    names = tuple(part for part, _ in parts)
    owner = owner[rows]
    return Composed(surface, names, owner, _seams(surface, owner, names))


def _corners(surface: Surface, origin: Floats) -> Floats:
    """Corners of all triangles about `origin`, shape (m, 3, 3)."""
    shift = np.asarray(surface.origin) - origin
    t = surface.triangles
    return np.stack([surface.x[t] + shift[0], surface.y[t] + shift[1], surface.z[t]], axis=2)


def _outline(triangles: Any) -> Any:
    import shapely

    if shapely.coverage_is_valid(triangles):
        return shapely.coverage_union_all(triangles)
    return shapely.union_all(triangles)


def _left(corners: Floats, triangles: Any, covered: Any) -> Floats:
    """What of the triangles lies outside `covered`, as triangles with heights, (k, 3, 3)."""
    import shapely

    if shapely.is_empty(covered):
        return corners
    shapely.prepare(covered)
    touched = shapely.intersects(covered, triangles)
    inside = np.zeros(len(triangles), dtype=bool)
    inside[touched] = shapely.covers(covered, triangles[touched])
    rows = np.flatnonzero(touched & ~inside)
    rest = shapely.difference(triangles[rows], covered)
    before, after = shapely.area(triangles[rows]), shapely.area(rest)
    untouched = before - after <= _LEAST_M2
    found = [corners[~touched], corners[rows[untouched]]]
    for row, shape in zip(rows[~untouched], rest[~untouched], strict=True):
        flat = _flat_triangles(shape)
        if len(flat):
            found.append(_on_plane(corners[row], flat))
    return np.concatenate(found)


def _flat_triangles(shape: Any) -> Floats:
    """A polygon or several as triangles in plan, shape (k, 3, 2)."""
    import shapely

    found: list[Any] = []
    for polygon in _polygons(shape):
        if polygon.area <= _LEAST_M2:
            continue
        ring = np.asarray(polygon.exterior.coords)
        if len(ring) == 4 and not polygon.interiors:
            found.append(ring[:3])
            continue
        found.extend(
            np.asarray(triangle.exterior.coords)[:3]
            for triangle in shapely.constrained_delaunay_triangles(polygon).geoms
            if triangle.area > _LEAST_M2
        )
    return np.array(found) if found else np.empty((0, 3, 2))


def _polygons(shape: Any) -> Iterable[Polygon]:
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == "Polygon":
            yield part


def _on_plane(corners: Floats, flat: Floats) -> Floats:
    """Triangles in plan lifted onto the plane of another, counter-clockwise."""
    a, b, c = corners
    ab, ac = b - a, c - a
    det = ab[0] * ac[1] - ab[1] * ac[0]
    dx, dy = flat[..., 0] - a[0], flat[..., 1] - a[1]
    u = (dx * ac[1] - dy * ac[0]) / det
    v = (ab[0] * dy - ab[1] * dx) / det
    z = a[2] + u * ab[2] + v * ac[2]
    lifted = np.concatenate([flat, z[..., None]], axis=2)
    p, q, r = lifted[:, 0], lifted[:, 1], lifted[:, 2]
    clockwise = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) < (q[:, 1] - p[:, 1]) * (
        r[:, 0] - p[:, 0]
    )
    lifted[clockwise] = lifted[clockwise][:, ::-1]
    return np.asarray(lifted)


def _welded(name: str, origin: Floats, whole: Floats, owner: Ints) -> tuple[Surface, Ints]:
    """The triangles with corners shared within each part, and which of them have an area."""
    flat = whole.reshape(-1, 3)
    key = np.column_stack([
        np.repeat(owner, 3), np.round(flat[:, :2] / _SAME_M).astype(np.int64),
        np.round(flat[:, 2] / _SAME_M).astype(np.int64),
    ])  # fmt: skip
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    triangles = number.reshape(-1, 3)
    points = flat[first]
    (ax, bx, cx), (ay, by, cy) = points[triangles, 0].T, points[triangles, 1].T
    area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    rows = np.flatnonzero(area > 2.0 * _LEAST_M2)
    kept = triangles[rows]
    return surface_of(name, origin, points, kept, np.zeros(kept.shape, dtype=bool)), rows


def _seams(surface: Surface, owner: Ints, names: tuple[str, ...]) -> tuple[Seam, ...]:
    """The largest step between every two parts that meet."""
    at, of, _ = _beside(surface, _ACROSS_M)
    east, north = at[:, 2] + surface.origin[0], at[:, 3] + surface.origin[1]
    other = np.asarray(locate.find(surface, east, north), dtype=np.int64)
    meets = (other >= 0) & (owner[of] != owner[np.clip(other, 0, None)])
    at, of, other = at[meets], of[meets], other[meets]
    mine, theirs = _plane(surface, of, at), _plane(surface, other, at)
    found = []
    pair = np.sort(np.stack([owner[of], owner[other]], axis=1), axis=1)
    step = np.where(owner[of] == pair[:, 0], mine - theirs, theirs - mine)
    for i, j in np.unique(pair, axis=0):
        rows = np.flatnonzero((pair == (i, j)).all(axis=1))
        worst = rows[np.argmax(np.abs(step[rows]))]
        # both parts name the seam, each with its own edges
        length = float(at[rows, 4][owner[of[rows]] == j].sum())
        found.append(
            Seam(
                names[i], names[j], float(step[worst]),
                float(at[worst, 0] + surface.origin[0]), float(at[worst, 1] + surface.origin[1]),
                length or float(at[rows, 4].sum()),
            )
        )  # fmt: skip
    return tuple(found)


def _beside(surface: Surface, across: float) -> tuple[Floats, Ints, Ints]:
    """Places along the outside edges of every part, a hair across, and what each stands for.

    Returns
    -------
    at : ndarray, shape (k, 5)
        x, y, x and y across, metres.
    of, edge : ndarray, shape (k,)
        The triangle whose edge it is, and the number of the edge.
    """
    triangle, side = np.nonzero(surface.neighbours < 0)
    start = surface.triangles[triangle, side]
    end = surface.triangles[triangle, (side + 1) % 3]
    dx, dy = surface.x[end] - surface.x[start], surface.y[end] - surface.y[start]
    length = np.hypot(dx, dy)
    count = np.maximum(2, np.ceil(length / _ALONG_M).astype(np.int64) + 1)
    edge = np.repeat(np.arange(len(count)), count)
    first = np.cumsum(count) - count
    # a hair from the corners, where a third part may begin
    share = np.clip((np.arange(len(edge)) - first[edge]) / (count[edge] - 1), 1e-4, 1.0 - 1e-4)
    x = surface.x[start[edge]] + share * dx[edge]
    y = surface.y[start[edge]] + share * dy[edge]
    # counter-clockwise: the outside lies to the right
    out_x, out_y = dy[edge] / length[edge] * across, -dx[edge] / length[edge] * across
    at_end = (np.arange(len(edge)) == first[edge]) | (
        np.arange(len(edge)) == (first + count - 1)[edge]
    )
    each = length[edge] / (count[edge] - 1) * np.where(at_end, 0.5, 1.0)
    return np.stack([x, y, x + out_x, y + out_y, each], axis=1), triangle[edge], edge


def _plane(surface: Surface, triangle: Ints, at: Floats) -> Floats:
    """Height of a triangle's plane at places beside it."""
    t = surface.triangles[triangle]
    x, y, z = surface.x[t], surface.y[t], surface.z[t]
    abx, aby, abz = x[:, 1] - x[:, 0], y[:, 1] - y[:, 0], z[:, 1] - z[:, 0]
    acx, acy, acz = x[:, 2] - x[:, 0], y[:, 2] - y[:, 0], z[:, 2] - z[:, 0]
    det = abx * acy - aby * acx
    dx, dy = at[:, 0] - x[:, 0], at[:, 1] - y[:, 0]
    u, v = (dx * acy - dy * acx) / det, (abx * dy - aby * dx) / det
    return np.asarray(z[:, 0] + u * abz + v * acz)


def seam_findings(layer: str, seams: Sequence[Seam], limit: float) -> Findings:
    """Every step between two parts that is over the limit."""
    return tuple(
        Finding(
            "person",
            "design step",
            f"layer {layer!r}: {seam.first} lies {seam.step:+.4f} m over {seam.second} at E"
            f" {seam.easting:.3f}, N {seam.northing:.3f}, the most along {seam.length:.1f} m",
            "ask the designer which height is meant",
        )
        for seam in seams
        if abs(seam.step) > limit
    )


def outside(surface: Surface) -> Bools:
    """Corners on the outside of the whole surface, seams between its parts not counted."""
    at, _, edge = _beside(surface, _WELL_ACROSS_M)
    east, north = at[:, 2] + surface.origin[0], at[:, 3] + surface.origin[1]
    free = np.asarray(locate.find(surface, east, north)) < 0
    found = np.zeros(len(surface.x), dtype=bool)
    # the places next to an edge's ends speak for its corners
    first = np.flatnonzero(np.diff(edge, prepend=-1))
    last = np.append(first[1:], len(edge)) - 1
    outer, side = np.nonzero(surface.neighbours < 0)
    found[surface.triangles[outer, side][free[first]]] = True
    found[surface.triangles[outer, (side + 1) % 3][free[last]]] = True
    return found
