"""The line in plan: put together from its rows, and used by station and offset."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipeline.design import equations
from pipeline.design.element import in_frame
from pipeline.design.feet import all_feet, locate
from pipeline.design.placing import (
    SAME_DIRECTION,
    SAME_LENGTH_M,
    SAME_PLACE_M,
    SAME_RADIUS_M,
    Placed,
    Point,
    place,
    wrap,
)
from pipeline.errors import DesignError
from pipeline.model import Alignment, AlignmentRows, ElementRow, Finding, Findings, Floats, Ints

__all__ = [
    "all_feet",
    "build",
    "curvature_on",
    "element_kinds",
    "element_of",
    "key_points",
    "locate",
    "point_at",
]

_GAP_NEEDS_A_PERSON_M = 0.010
_STRAIGHT = 1e-9
"""Curvature of a line, or of a radius nobody would draw [1/m]."""
_KINK_NEEDS_A_PERSON = 1e-3
"""10 mm at 10 m offset."""


def build(rows: AlignmentRows) -> tuple[Alignment, Findings]:
    """The alignment of its rows, with everything about them that a person should know.

    Parameters
    ----------
    rows : AlignmentRows
        Elements by length, radius and turn, by points, or both mixed.

    Returns
    -------
    Alignment
        Each element starts where its row says, or where the one before ended.
    Findings
        Gaps over 1 mm and kinks over 0.0057° between elements, with their size;
        arcs whose centre is not equally far from both ends, or not at their
        declared radius, within 5 mm; declared lengths that the points contradict
        by over 2 mm (the points are used); clothoids that miss their end point, or meet
        an element of another radius;
        elements without length; station equations that contradict the line.

    Raises
    ------
    DesignError
        No elements, no start or no direction, a coordinate that is no number, an
        element that cannot be placed, or station equations out of order.
    """
    origin = _origin(rows)
    placed: list[Placed] = []
    found: list[Finding] = []
    station = [rows.start_station]
    at: tuple[Point | None, float] = (None, rows.azimuth)
    for number, row in enumerate(rows.elements, start=1):
        where = row.where or f"element {number} of alignment {rows.name!r}"
        near = _near(row, origin, where)
        element, about = place(near, where, *at)
        found += [replace(finding, station=station[-1]) for finding in about]
        if element is None:
            continue
        if placed:
            found += _joint(placed[-1].end(), element, where, station[-1])
        placed.append(element)
        at = element.end()
        station.append(station[-1] + element.length)
    if not placed:
        raise DesignError(f"alignment {rows.name!r}", "it has no elements", "give it at least one")
    found += _total_differs(rows, station[-1] - station[0])
    alignment = Alignment(
        name=rows.name,
        station=np.array(station),
        easting=np.array([element.start[0] for element in placed]) + origin[0],
        northing=np.array([element.start[1] for element in placed]) + origin[1],
        azimuth=np.array([element.azimuth for element in placed]) % (2.0 * np.pi),
        curvature_start=np.array([element.curvature_start for element in placed]),
        curvature_end=np.array([element.curvature_end for element in placed]),
        equations=rows.equations,
    )
    found += _other_radius(rows, placed, station)
    called = partial(equations.station_text, alignment, step=0.001)
    found = [
        one
        if math.isnan(one.station)
        else replace(one, text=f"{one.text}, at station {called(one.station)}")
        for one in found
    ]
    return alignment, (*found, *equations.check(alignment))


def _other_radius(
    rows: AlignmentRows, placed: Sequence[Placed], station: Sequence[float]
) -> list[Finding]:
    """Clothoids that begin or end with another radius than the element they meet has there.

    A clothoid carries the curvature from one neighbour to the other; where it meets an
    arc of another radius, or a line while it is still curved, one of the rows is wrong.
    """
    if len(placed) != len(rows.elements):
        return []  # an element without length was left out, and told
    found = []
    pairs = zip(itertools.pairwise(rows.elements), itertools.pairwise(placed), strict=True)
    for k, ((row_in, row), (before, after)) in enumerate(pairs, start=1):
        radii = [
            math.inf if abs(c) < _STRAIGHT else 1.0 / c
            for c in (before.curvature_end, after.curvature_start)
        ]
        same = radii[0] == radii[1] or abs(radii[0] - radii[1]) <= SAME_RADIUS_M
        if same or "clothoid" not in (row_in.kind, row.kind):
            continue
        where = row.where or f"element {k + 1} of alignment {rows.name!r}"
        text = (
            f"{where}: this {row.kind} begins {_curved(radii[1])}, the {row_in.kind} before it"
            f" ends {_curved(radii[0])}: a clothoid meets its neighbour with its radius"
        )
        do = "ask the designer which radius is meant"
        found.append(Finding("person", "clothoid radius", text, do, station=station[k]))
    return found


def _curved(radius: float) -> str:
    if math.isinf(radius):
        return "straight"
    return f"with radius {abs(radius):.3f} m to the {'right' if radius > 0 else 'left'}"


def _origin(rows: AlignmentRows) -> Point:
    """The first point there is: everything is computed about it, near zero."""
    if not math.isfinite(rows.start_station):
        raise DesignError(
            f"alignment {rows.name!r}",
            f"it starts at station {rows.start_station}",
            "give a number",
        )
    return next((row.start for row in rows.elements if row.start is not None), (0.0, 0.0))


def _near(row: ElementRow, origin: Point, where: str) -> ElementRow:
    """The row with its points about `origin`."""

    def shifted(point: Point | None) -> Point | None:
        if point is None:
            return None
        if not (math.isfinite(point[0]) and math.isfinite(point[1])):
            raise DesignError(
                where, f"a point at easting {point[0]}, northing {point[1]}", "give two numbers"
            )
        return point[0] - origin[0], point[1] - origin[1]

    return replace(
        row,
        start=shifted(row.start),
        end=shifted(row.end),
        centre=shifted(row.centre),
        intersection=shifted(row.intersection),
    )


def _joint(
    before: tuple[Point, float], element: Placed, where: str, station: float
) -> list[Finding]:
    """Gap and kink between the end before and an element's start."""
    end, azimuth = before
    found = []
    gap = math.dist(end, element.start)
    if gap > SAME_PLACE_M:
        found.append(
            Finding(
                "person" if gap > _GAP_NEEDS_A_PERSON_M else "note",
                "alignment gap",
                f"{where}: it starts {gap:.4f} m from the end of the element before it",
                "ask the designer which point is meant",
                station=station,
            )
        )
    kink = wrap(element.azimuth - azimuth)
    if abs(kink) > SAME_DIRECTION:
        found.append(
            Finding(
                "person" if abs(kink) > _KINK_NEEDS_A_PERSON else "note",
                "alignment kink",
                f"{where}: the line turns {math.degrees(abs(kink)):.4f}° to the"
                f" {'right' if kink > 0 else 'left'} at once",
                "ask the designer whether the corner is meant",
                station=station,
            )
        )
    return found


def _total_differs(rows: AlignmentRows, length: float) -> list[Finding]:
    if math.isnan(rows.declared_length) or abs(rows.declared_length - length) <= SAME_LENGTH_M:
        return []
    text = (
        f"alignment {rows.name!r}: the file says length {rows.declared_length:.4f} m,"
        f" its elements give {length:.4f} m; the elements are used"
    )
    return [Finding("person", "declared length", text, "ask the designer which is meant")]


def point_at(
    alignment: Alignment, station: ArrayLike, offset: ArrayLike = 0.0
) -> tuple[Floats, Floats, Floats]:
    """Grid coordinates of stations and offsets, and the azimuth of the line there.

    Parameters
    ----------
    alignment : Alignment
    station : array_like
        Internal stations [m]; broadcast against `offset`. At a joint of two
        elements the one ahead counts; before the start and after the end the line
        goes on along its end tangent.
    offset : array_like
        Metres square to the line, right +.

    Returns
    -------
    easting, northing : ndarray, float64
        Metres on the job grid; NaN where station or offset is.
    azimuth : ndarray, float64
        Radians clockwise from grid north, 0 to 2π.

    Notes
    -----
    Exact but for float64: see `pipeline.design.element.in_frame`.

    Examples
    --------
    >>> line = AlignmentRows("x", (ElementRow("line", 50.0, start=(10.0, 20.0)),), 100.0, 0.0)
    >>> [float(v) for v in point_at(build(line)[0], 130.0, 2.0)]
    [12.0, 50.0, 0.0]
    """
    # the line itself is asked once a station, however many offsets there are beside it
    s, o = np.asarray(station, np.float64), np.asarray(offset, np.float64)
    i = element_of(alignment, s)
    start, length = alignment.station[i], np.diff(alignment.station)
    along = np.clip(s - start, 0.0, length[i])
    past = s - start - along
    rate = (alignment.curvature_end - alignment.curvature_start) / length
    x, y, turned = in_frame(along, alignment.curvature_start[i], rate[i])
    azimuth = alignment.azimuth[i] + turned
    sin, cos = np.sin(alignment.azimuth[i]), np.cos(alignment.azimuth[i])
    sin_here, cos_here = np.sin(azimuth), np.cos(azimuth)
    easting = alignment.easting[i] + (x * sin + y * cos + past * sin_here + o * cos_here)
    northing = alignment.northing[i] + (x * cos - y * sin + past * cos_here - o * sin_here)
    whole = azimuth % (2.0 * np.pi)
    return easting, northing, whole if s.shape == easting.shape else whole + np.zeros_like(easting)


def element_of(alignment: Alignment, station: ArrayLike) -> Ints:
    """Number of the element at each station; at a joint the one ahead, off the ends the nearest."""
    element = np.searchsorted(alignment.station, station, side="right") - 1
    return np.asarray(np.clip(element, 0, len(alignment.easting) - 1), dtype=np.int64)


def curvature_on(alignment: Alignment, element: Ints, station: Floats) -> Floats:
    """Curvature [1/m], + to the right, at stations on elements given by number."""
    start, end = alignment.curvature_start[element], alignment.curvature_end[element]
    share = (station - alignment.station[element]) / np.diff(alignment.station)[element]
    return start + share * (end - start)


def element_kinds(alignment: Alignment) -> tuple[Literal["line", "arc", "clothoid"], ...]:
    """What each element is, by its curvatures."""
    kinds: list[Literal["line", "arc", "clothoid"]] = []
    ends = zip(alignment.curvature_start, alignment.curvature_end, strict=True)
    for start, end in ends:
        kinds.append("clothoid" if start != end else "arc" if start != 0.0 else "line")
    return tuple(kinds)


_JOINTS = {
    ("line", "arc"): "PC",
    ("arc", "line"): "PT",
    ("line", "clothoid"): "TS",
    ("clothoid", "arc"): "SC",
    ("arc", "clothoid"): "CS",
    ("clothoid", "line"): "ST",
    ("clothoid", "clothoid"): "spiral to spiral",
}


def key_points(alignment: Alignment) -> tuple[tuple[float, str], ...]:
    """Stations where the line changes, each with the trade's name for it.

    Returns
    -------
    tuple of (station, what)
        In order: ``start``, then ``PC`` and ``PT`` where an arc begins and ends,
        ``PCC`` and ``PRC`` between arcs that turn the same way and opposite ways,
        ``TS``, ``SC``, ``CS``, ``ST`` at the ends of spirals, ``spiral to spiral``,
        ``PI`` where two lines meet at an angle; ``end``. Two lines in one direction, or two
        arcs of one radius, have no point between them.
    """
    kinds = element_kinds(alignment)
    found = [(float(alignment.station[0]), "start")]
    for i in range(1, len(kinds)):
        what = _JOINTS.get((kinds[i - 1], kinds[i])) or _between_like(alignment, i, kinds[i])
        if what:
            found.append((float(alignment.station[i]), what))
    return (*found, (float(alignment.station[-1]), "end"))


def _between_like(alignment: Alignment, i: int, kind: str) -> str:
    """The name of the joint between two lines or two arcs, empty where nothing changes."""
    if kind == "line":
        kink = wrap(float(alignment.azimuth[i] - alignment.azimuth[i - 1]))
        return "PI" if abs(kink) > SAME_DIRECTION else ""
    before, ahead = float(alignment.curvature_end[i - 1]), float(alignment.curvature_start[i])
    if before * ahead < 0.0:
        return "PRC"
    return "PCC" if abs(1.0 / before - 1.0 / ahead) > SAME_RADIUS_M else ""
