"""One drawn entity as points, lines or polygons, in the coordinates it was drawn in.

Arcs become chords. Heights are those of the entity: a flat polyline has one, in
the plane it was drawn in, which need not be level.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from pipeline.model import Floats

MOST_CHORDS = 20_000
"""An arc that needs more is no arc of a street: 100 km of radius at a millimetre."""

_CURVE_FIT, _SPLINE_FIT, _SPLINE_FRAME = 1, 8, 16
_CLOSED, _FITTED, _CLOSED_N, _SMOOTH = 1, 2 | 4, 32, 4
_CORNERS = ("vtx0", "vtx1", "vtx2", "vtx3")
_POLYFACE_CORNER, _POLYFACE_FACE = 64, 128

Plan = tuple[float, float]


ARCS = "lines with arcs, read as chords within 1 mm of them"
FITTED = "fitted lines, read straight through their own points"
SMOOTHED = "smoothed meshes, read through their own points"
HIDDEN_EDGES = "faces with edges marked invisible, which are edges like any other"
TWO_HEIGHTS = "flat lines whose corners state other heights than the line, which are not used"


class UnusableError(ValueError):
    """Why an entity is left out."""


@dataclass(slots=True)
class Shape:
    """What an entity is made of.

    Each of ``parts`` has shape (n, 3): one point, one line, one polygon. ``flat``
    says that the entity was drawn so, with one elevation for all. ``told`` are
    oddities to be counted.
    """

    kind: Literal["point", "line", "loose", "polygon"]
    parts: list[Floats]
    flat: bool = False
    told: list[str] = field(default_factory=list)


def shape_of(entity: Any, sagitta: float) -> Shape | None:
    """The shape of an entity; None for a type that is not read.

    Parameters
    ----------
    entity
        Of the library.
    sagitta : float
        Largest distance between an arc and its chords, in the entity's unit.

    Raises
    ------
    UnusableError
        A coordinate is missing, or it contradicts itself.
    """
    maker = _MAKERS.get(entity.dxftype())
    return None if maker is None else maker(entity, sagitta)


def read_types() -> frozenset[str]:
    """The types that have a shape."""
    return frozenset(_MAKERS)


def _given(entity: Any, name: str) -> tuple[float, float, float]:
    """A point of the entity that must not be left to the library's default."""
    if not entity.dxf.hasattr(name):
        raise UnusableError("it has no coordinates")
    place = entity.dxf.get(name)
    return place.x, place.y, place.z


def _point(entity: Any, _: float) -> Shape:
    return Shape("point", [np.array([_given(entity, "location")])])


def _line(entity: Any, _: float) -> Shape:
    return Shape("loose", [np.array([_given(entity, "start"), _given(entity, "end")])])


def _face(entity: Any, _: float) -> Shape:
    corners = [_given(entity, name) for name in _CORNERS[:3]]
    if entity.dxf.hasattr("vtx3"):
        corners.append(_given(entity, "vtx3"))
    if len(corners) == 4 and corners[3] == corners[2]:
        corners.pop()
    edges = entity.dxf.get("invisible_edges", 0) & (1 << len(corners)) - 1
    return Shape("polygon", [np.array(corners)], told=[HIDDEN_EDGES] if edges else [])


def _check_version(entity: Any) -> None:
    """R12 does not know some types; the library then drops elevation, plane and closing."""
    version = getattr(entity.doc, "loaded_dxfversion", None) or ""
    if version and version <= "AC1009":
        raise UnusableError(f"the file's version {version} does not know it, so half of it is lost")


def _lwpolyline(entity: Any, sagitta: float) -> Shape:
    _check_version(entity)
    rows = [(float(x), float(y), float(bulge)) for x, y, bulge in entity.get_points("xyb")]
    flat = chorded(rows, bool(entity.closed), sagitta)
    part = _out_of_plane(entity, flat, entity.dxf.get("elevation", 0.0))
    return Shape("line", [part], flat=True, told=_arcs(rows))


def _arcs(rows: Sequence[tuple[float, float, float]]) -> list[str]:
    return [ARCS] if any(bulge for _, _, bulge in rows) else []


def _polyline(entity: Any, sagitta: float) -> Shape:
    if entity.is_poly_face_mesh:
        return _polyface(entity)
    if entity.is_polygon_mesh:
        return _polymesh(entity)
    told: list[str] = []
    vertices = entity.vertices
    fitted = bool(entity.dxf.get("flags", 0) & _FITTED)
    if fitted:
        own = [v for v in vertices if not v.dxf.get("flags", 0) & (_CURVE_FIT | _SPLINE_FIT)]
        vertices = own or vertices
        told.append(FITTED)
    places = [_given(vertex, "location") for vertex in vertices]
    closed = bool(entity.dxf.get("flags", 0) & _CLOSED)
    if entity.is_3d_polyline:
        return Shape("line", [np.array(places + places[:1] * closed)], told=told)
    heights = {place[2] for place in places}
    up = entity.dxf.elevation.z if entity.dxf.hasattr("elevation") else 0.0
    if up == 0.0 and len(heights) == 1:  # some writers give the elevation at the vertices only
        up = heights.pop()
    elif heights - {0.0, up}:
        told.append(TWO_HEIGHTS)
    bulges = [0.0 if fitted else float(vertex.dxf.get("bulge", 0.0)) for vertex in vertices]
    rows = [(x, y, bulge) for (x, y, _), bulge in zip(places, bulges, strict=True)]
    part = _out_of_plane(entity, chorded(rows, closed, sagitta), up)
    return Shape("line", [part], flat=True, told=told + _arcs(rows))


def _arc(entity: Any, sagitta: float) -> Shape:
    start, end = (math.radians(entity.dxf.get(f"{which}_angle")) for which in ("start", "end"))
    turn = (end - start) % (2 * math.pi) or 2 * math.pi
    return _round(entity, (start, turn), sagitta)


def _circle(entity: Any, sagitta: float) -> Shape:
    return _round(entity, (0.0, 2 * math.pi), sagitta)


def _round(entity: Any, sweep: tuple[float, float], sagitta: float) -> Shape:
    x, y, z = _given(entity, "center")
    radius = float(entity.dxf.get("radius", 0.0))
    if not 0 < radius < math.inf:
        raise UnusableError(f"its radius is {radius:g}")
    start, turn = sweep
    count = _chords(radius, turn, sagitta)
    angle = start + turn * np.arange(count + 1) / count
    flat = np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])
    if turn == 2 * math.pi:
        flat[-1] = flat[0]
    return Shape("line", [_out_of_plane(entity, flat, z)], flat=True, told=[ARCS])


def _out_of_plane(entity: Any, flat: Floats, elevation: float) -> Floats:
    """Points of the entity's own plane, shape (n, 2), where they lie in space."""
    extrusion = entity.dxf.get("extrusion")
    places = np.column_stack([flat, np.full(len(flat), float(elevation))])
    if extrusion is None or (extrusion.x == 0 and extrusion.y == 0 and extrusion.z > 0):
        return places
    system = entity.ocs()
    axes = np.array([(axis.x, axis.y, axis.z) for axis in (system.ux, system.uy, system.uz)])
    return np.asarray(places @ axes, dtype=np.float64)


def chorded(rows: Sequence[tuple[float, float, float]], closed: bool, sagitta: float) -> Floats:
    r"""A polyline with arcs as one of straight pieces.

    Parameters
    ----------
    rows : sequence of (x, y, bulge)
        The bulge belongs to the piece that begins there.
    closed : bool
        The last piece leads back to the first point, which is repeated.
    sagitta : float
        Largest distance between an arc and its chords.

    Returns
    -------
    ndarray, shape (n, 2)

    Raises
    ------
    UnusableError
        Not finite, or an arc that needs more than `MOST_CHORDS`.

    Notes
    -----
    The bulge is :math:`\tan(\theta/4)` of the angle the arc turns, + to the left,
    so that :math:`R = c(1 + b^2)/4|b|` over the chord c. Chords of equal length
    end on the arc and stay within :math:`R(1 - \cos(\theta/2n))` of it.

    Examples
    --------
    A half circle of 2 m across, to 0.3 m:

    >>> chorded([(0, 0, 1), (2, 0, 0)], False, 0.3).round(3).tolist()
    [[0.0, 0.0], [1.0, -1.0], [2.0, 0.0]]
    """
    way: list[Plan] = []
    ends = [*rows[1:], rows[0]] if closed and rows else rows[1:]
    for (x, y, bulge), (to_x, to_y, _) in zip(rows, ends, strict=False):
        way.append((x, y))
        if bulge:
            way.extend(_along((x, y), (to_x, to_y), bulge, sagitta))
    if rows:
        way.append(ends[-1][:2] if ends else rows[0][:2])
    return np.array(way, dtype=np.float64).reshape(-1, 2)


def _along(start: Plan, end: Plan, bulge: float, sagitta: float) -> Iterable[Plan]:
    """Points on the arc between its ends, seen from its start so that no digits are lost."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if not (math.isfinite(chord) and math.isfinite(bulge)):
        raise UnusableError("a coordinate or an arc that is no number")
    if chord == 0.0:
        return
    turn = 4.0 * math.atan(bulge)
    radius = chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    count = _chords(radius, abs(turn), sagitta)
    for k in range(1, count):
        part = turn * k / count
        # the chord to a point on the arc, as part of the whole chord, turned from it
        ratio = math.sin(part / 2.0) / math.sin(turn / 2.0)
        away = (part - turn) / 2.0
        cos, sin = ratio * math.cos(away), ratio * math.sin(away)
        yield start[0] + dx * cos - dy * sin, start[1] + dx * sin + dy * cos


def _chords(radius: float, turn: float, sagitta: float) -> int:
    # 1 - cos x = 2 sin² x/2, which keeps its digits where the arc is flat
    step = 4.0 * math.asin(math.sqrt(min(1.0, sagitta / radius / 2.0)))
    count = max(1.0, turn / min(step, math.pi / 2) - 1e-9) if step > 0 else math.inf
    if count > MOST_CHORDS:
        raise UnusableError(f"an arc of {radius:g} in radius")
    return math.ceil(count)


def _polyface(entity: Any) -> Shape:
    corners, faces = [], []
    for vertex in entity.vertices:
        flags = vertex.dxf.get("flags", 0)
        if flags & _POLYFACE_CORNER:
            corners.append(_given(vertex, "location"))
        elif flags & _POLYFACE_FACE:
            # a negative number: the edge that begins there is not drawn
            faces.append([abs(vertex.dxf.get(name, 0)) - 1 for name in _CORNERS])
    rows = [[k for k in face if k >= 0] for face in faces]
    return _polygons(corners, rows, [])


def _polymesh(entity: Any) -> Shape:
    vertices = entity.vertices
    told = []
    m, n = entity.dxf.get("m_count", 0), entity.dxf.get("n_count", 0)
    flags = entity.dxf.get("flags", 0)
    if flags & _SMOOTH:  # the control points come beside the fitted ones
        vertices = [v for v in vertices if v.dxf.get("flags", 0) & _SPLINE_FRAME]
        told.append(SMOOTHED)
    if m < 2 or n < 2 or m * n != len(vertices):
        raise UnusableError(f"{len(vertices)} corners for {m} by {n}")
    down = [(k, (k + 1) % m) for k in range(m if flags & _CLOSED else m - 1)]
    along = [(k, (k + 1) % n) for k in range(n if flags & _CLOSED_N else n - 1)]
    rows = [
        [a * n + c, a * n + d, b * n + d, b * n + c] for a, b in down for c, d in along
    ]  # fmt: skip
    return _polygons([_given(vertex, "location") for vertex in vertices], rows, told)


def _mesh(entity: Any, _: float) -> Shape:
    _check_version(entity)
    told = []
    if entity.dxf.get("subdivision_levels", 0):
        told.append(SMOOTHED)
    corners = [tuple(map(float, corner)) for corner in entity.vertices]
    return _polygons(corners, [list(face) for face in entity.faces], told)


def _polygons(corners: Sequence[Any], rows: Iterable[list[int]], told: list[str]) -> Shape:
    places = np.array(corners, dtype=np.float64).reshape(-1, 3)
    parts = []
    for row in rows:
        if any(not 0 <= k < len(places) for k in row):
            raise UnusableError(f"a face names corner {max(row) + 1} of {len(places)}")
        if len(row) >= 3:
            parts.append(places[row])
    return Shape("polygon", parts, told=told)


_MAKERS: dict[str, Callable[[Any, float], Shape]] = {
    "POINT": _point,
    "LINE": _line,
    "3DFACE": _face,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "ARC": _arc,
    "CIRCLE": _circle,
    "MESH": _mesh,
}
