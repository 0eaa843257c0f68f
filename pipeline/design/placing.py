"""One row of an alignment, placed: where it starts, its direction, curvature and length.

Rows come in two kinds, and both in one file: by length, radius and turn, each
going on where the one before ended; or by points, as LandXML gives them. Where
there are points every direction is derived from them: files write directions
from north, from east, either way round, so a file's own are never read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

from pipeline.design.element import in_frame
from pipeline.errors import DesignError
from pipeline.model import ElementRow, Finding

SAME_PLACE_M = 0.001
"""Points closer than this are one: files round to millimetres."""
SAME_LENGTH_M = 0.002
"""Lengths that differ by less are the same: both ends of a line may be rounded."""
SAME_RADIUS_M = 0.005
"""Radii that differ by less are one: they follow from points that files round to millimetres."""
SAME_DIRECTION = 1e-4
"""Directions that differ by less [rad] are the same: 1 mm at 10 m offset."""
_NOTHING_M = 1e-6

Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Placed:
    """An element ready to use: start (easting, northing), azimuth, both curvatures, length."""

    start: Point
    azimuth: float
    curvature_start: float
    curvature_end: float
    length: float

    @property
    def rate(self) -> float:
        """Change of curvature along the element [1/m²]."""
        return (self.curvature_end - self.curvature_start) / self.length

    def end(self) -> tuple[Point, float]:
        """Where the element ends, and its azimuth there."""
        x, y, turned = in_frame(self.length, self.curvature_start, self.rate)
        sin, cos = math.sin(self.azimuth), math.cos(self.azimuth)
        east = self.start[0] + float(x) * sin + float(y) * cos
        north = self.start[1] + float(x) * cos - float(y) * sin
        return (east, north), self.azimuth + float(turned)


def place(
    row: ElementRow, where: str, start: Point | None, azimuth: float
) -> tuple[Placed | None, list[Finding]]:
    """One row placed, with what was found odd about it; None: it has no length and is left out.

    Parameters
    ----------
    row : ElementRow
        Its points are near zero already.
    where : str
        The row's place, for people: ``alignment.csv line 4``.
    start, azimuth : (easting, northing) or None, float
        Where the element before it ended [m], and its direction there [rad, NaN: none].

    Raises
    ------
    DesignError
        The row does not say enough, or contradicts itself, to be placed.
    """
    placed, found = _by_points(row, where) or (
        _going_on(row, where, row.start or start, azimuth), []
    )  # fmt: skip
    if placed.length < _NOTHING_M:
        text = f"{where}: the {row.kind} has no length ({placed.length:.9f} m); it is left out"
        return None, [Finding("note", "element without length", text, "nothing, if so meant")]
    turned = 0.5 * abs(placed.curvature_start + placed.curvature_end) * placed.length
    if turned > 2.0 * math.pi + 1e-6:
        raise DesignError(
            where,
            f"the {row.kind} turns {math.degrees(turned):.1f}°, more than a full circle",
            "check its length and radius",
        )
    return placed, found


def _by_points(row: ElementRow, where: str) -> tuple[Placed, list[Finding]] | None:
    """Placed by the row's points; None where it does not have them."""
    if row.start is None or row.end is None:
        return None
    if row.kind == "arc":
        if row.centre is None:
            return None
        return _arc(row, where, (row.start, row.centre, row.end))
    if row.kind == "line":
        length, direction = _between(row.start, row.end)
        placed = Placed(row.start, direction, 0.0, 0.0, length)
        return placed, _length_differs(row, where, length)
    return _clothoid(row, where, row.start, row.end)


def _going_on(row: ElementRow, where: str, start: Point | None, azimuth: float) -> Placed:
    """By length, radius and turn, from where the element before ended."""
    if start is None:
        raise DesignError(where, "the alignment has no start point", "give easting and northing")
    if math.isnan(azimuth):
        raise DesignError(where, "the alignment has no direction at its start", "give an azimuth")
    if not 0.0 <= row.length < math.inf:
        raise DesignError(where, f"the {row.kind} has length {row.length}", "give its length")
    curvature_start, curvature_end = _curvatures(row, where)
    return Placed(start, azimuth, curvature_start, curvature_end, row.length)


def _curvatures(row: ElementRow, where: str) -> tuple[float, float]:
    """At the start and at the end [1/m], + to the right."""
    if row.kind == "line":
        return 0.0, 0.0
    if row.turn not in (-1, 1):
        raise DesignError(where, f"the {row.kind} does not say which way it turns", "give its turn")
    radii = (row.radius_start, row.radius_start if row.kind == "arc" else row.radius_end)
    if not all(radius > 0.0 for radius in radii):
        raise DesignError(
            where,
            f"the {row.kind} has radius {radii[0]} and {radii[1]}",
            "give radii above zero",
        )
    if math.isinf(min(radii)):
        raise DesignError(
            where, f"the {row.kind} has no radius", "give its radius, or make it a line"
        )
    return row.turn / radii[0], row.turn / radii[1]


def _arc(
    row: ElementRow, where: str, points: tuple[Point, Point, Point]
) -> tuple[Placed, list[Finding]]:
    """The sweep from the centre, then the arc of that sweep through both end points."""
    if row.turn not in (-1, 1):
        raise DesignError(where, "the arc does not say which way it turns", "give its turn")
    start, centre, end = points
    chord, direction = _between(start, end)
    radius_in, radial_in = _between(centre, start)
    radius_out, radial_out = _between(centre, end)
    radius = 0.5 * (radius_in + radius_out)
    if radius < SAME_PLACE_M:
        raise DesignError(where, "the arc's centre lies on the arc", "check its points")
    sweep = row.turn * (radial_out - radial_in) % (2.0 * math.pi)
    if chord < SAME_PLACE_M:
        sweep = _closed_sweep(row, where, radius)
    # through both end points: a short arc has its radius from the centre, a longer one from
    # its chord, and near a full circle the chord is too short to say anything
    if sweep < 0.5 * math.pi:
        sweep = 2.0 * math.asin(min(0.5 * chord / radius, 1.0))
    elif sweep < 1.5 * math.pi:
        radius = 0.5 * chord / math.sin(0.5 * sweep)
    azimuth = direction - 0.5 * row.turn * sweep
    if sweep >= 1.5 * math.pi:
        azimuth = radial_in + 0.5 * math.pi * row.turn
    found = _length_differs(row, where, radius * sweep)
    if abs(radius_in - radius_out) > SAME_RADIUS_M:
        text = f"{where}: the centre is {radius_in:.4f} m from the start"
        found.append(_odd("arc radii", f"{text} and {radius_out:.4f} m from the end"))
    if math.isfinite(row.radius_start) and abs(row.radius_start - radius) > SAME_RADIUS_M:
        text = f"{where}: the file says radius {row.radius_start:.4f} m, its points give"
        found.append(_odd("arc radius", f"{text} {radius:.4f} m; the points are used"))
    return Placed(start, azimuth, row.turn / radius, row.turn / radius, radius * sweep), found


def _closed_sweep(row: ElementRow, where: str, radius: float) -> float:
    """Start and end at one place: a full circle if the declared length says so, else nothing."""
    if math.isnan(row.length):
        raise DesignError(
            where, "the arc starts and ends at one point and gives no length", "give its length"
        )
    return 2.0 * math.pi if row.length > math.pi * radius else 0.0


def _clothoid(
    row: ElementRow, where: str, start: Point, end: Point
) -> tuple[Placed, list[Finding]]:
    """Radii and length give the shape; the two end points turn it into place."""
    curvature_start, curvature_end = _curvatures(row, where)
    chord, direction = _between(start, end)
    if chord < _NOTHING_M:
        return Placed(start, 0.0, 0.0, 0.0, 0.0), []
    length = row.length
    if math.isnan(length):
        length = _length_of_chord(chord, curvature_start, curvature_end)
    if not 0.0 < length < math.inf:
        raise DesignError(where, f"the clothoid has length {length}", "give its length")
    rate = (curvature_end - curvature_start) / length
    x, y, _ = (float(value) for value in in_frame(length, curvature_start, rate))
    azimuth = direction - math.atan2(y, x)
    placed = Placed(start, azimuth, curvature_start, curvature_end, length)
    found = []
    misfit = abs(math.hypot(x, y) - chord)
    if misfit > SAME_LENGTH_M:
        text = f"{where}: a clothoid of these radii and this length misses its end point by"
        found.append(_odd("clothoid misfit", f"{text} {misfit:.4f} m"))
    if row.intersection is not None:
        tangent, towards = _between(start, row.intersection)
        off = abs(wrap(towards - azimuth))
        if tangent > SAME_PLACE_M and off > SAME_DIRECTION and off * tangent > SAME_PLACE_M:
            text = f"{where}: the tangent towards its PI is {math.degrees(off):.4f}° off"
            found.append(_odd("clothoid misfit", f"{text} the clothoid through its ends"))
    return placed, found


def _length_of_chord(chord: float, curvature_start: float, curvature_end: float) -> float:
    """Length of the clothoid with these end curvatures and this chord, by repeated scaling."""
    length = chord
    for _ in range(60):
        rate = (curvature_end - curvature_start) / length
        x, y, _ = in_frame(length, curvature_start, rate)
        length *= chord / math.hypot(float(x), float(y))
    return length


def _length_differs(row: ElementRow, where: str, length: float) -> list[Finding]:
    if math.isnan(row.length) or abs(row.length - length) <= SAME_LENGTH_M:
        return []
    text = f"{where}: the file says length {row.length:.4f} m, its points give {length:.4f} m"
    return [_odd("declared length", f"{text}; the points are used")]


def _odd(kind: str, text: str) -> Finding:
    return Finding("person", kind, text, "ask the designer which is meant")


def _between(start: Point, end: Point) -> tuple[float, float]:
    """Distance and azimuth from one point to another."""
    east, north = end[0] - start[0], end[1] - start[1]
    return math.hypot(east, north), math.atan2(east, north)


def wrap(angle: float) -> float:
    """The same direction between -π and π."""
    return (angle + math.pi) % (2.0 * math.pi) - math.pi
