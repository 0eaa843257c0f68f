"""Where on Earth the points of a file lie by its own coordinate system, and whether they can.

A label can be wrong: another zone, feet for metres, northing for easting. None of it
shows in the numbers; most of it shows in where they then lie.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.ingest.describe.description import Box
from pipeline.ingest.field.geodetic import MARGIN_DEG, degrees_outside
from pipeline.ingest.source import shown
from pipeline.offline import offline
from pipeline.units import EXACT_METRES

if TYPE_CHECKING:
    from pyproj import CRS


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Middle of the file [degrees], and what is odd about where that is."""

    latitude: float
    longitude: float
    oddity: str = ""


def known_crs(name: str) -> CRS | None:
    """The coordinate system of that code, name or text; None where it is not known."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if not name:
        return None
    try:
        return CRS.from_user_input(name)
    except CRSError:
        return None


def plan_part(crs: CRS) -> CRS:
    """The horizontal part of a coordinate system, without a bound shift and without heights."""
    base = crs.sub_crs_list[0] if crs.is_compound else crs
    if base.is_bound and base.source_crs is not None:
        base = base.source_crs
    return base if base.is_geocentric else base.to_2d()


def whereabouts(crs: CRS, box: Box, metres: float | None) -> Whereabouts | None:
    """Where a file lies by its coordinate system.

    Parameters
    ----------
    crs : CRS
        Projected; for any other there is no answer.
    box : tuple of float
        The extents of the file, in its own unit.
    metres : float or None
        Metres in that unit; None: the unit of the system itself.

    Returns
    -------
    Whereabouts or None
        With an oddity where the middle lies more than a degree outside the area
        that the system is made for; it names another unit or the other order of
        axes if that would bring it inside. Nothing is exchanged for it.
    """
    plan = plan_part(crs)
    if not plan.is_projected:
        return None
    factor = float(plan.axis_info[0].unit_conversion_factor)
    unit = factor if metres is None else metres
    east, north = (box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0
    with offline():
        here = _degrees(plan, east * unit / factor, north * unit / factor)
        if _outside(plan, here) <= MARGIN_DEG:
            return Whereabouts(here[1], here[0])
        better = [
            words
            for words, x, y, size in _other_readings(east, north, unit)
            if _outside(plan, _degrees(plan, x * size / factor, y * size / factor)) <= MARGIN_DEG
        ]
    text = f"its points lie {_words(here)} by its coordinate system, {shown(plan.name, 60)}"
    text += ", outside the area that this is made for"
    if better:
        text += f"; {' or '.join(better)} they would lie inside"
    return Whereabouts(here[1], here[0], text)


def _other_readings(
    east: float, north: float, unit: float
) -> list[tuple[str, float, float, float]]:
    foot = float(EXACT_METRES["ft"])
    readings = [("with easting and northing exchanged", north, east, unit)]
    # the two feet differ by 2 ppm, which no area of use can tell apart
    if abs(unit - foot) > 1e-5:
        readings.append(("read in feet", east, north, foot))
    if abs(unit - 1.0) > 1e-5:
        readings.append(("read in metres", east, north, 1.0))
    return readings


def _degrees(plan: CRS, x: float, y: float) -> tuple[float, float]:
    """Longitude and latitude on the system's own datum; infinite where there is no such place."""
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    if plan.geodetic_crs is None:
        return math.inf, math.inf
    try:
        turn = Transformer.from_crs(plan, plan.geodetic_crs, always_xy=True)
        longitude, latitude = turn.transform(x, y)
    except ProjError:
        return math.inf, math.inf
    return float(longitude), float(latitude)


def _outside(plan: CRS, place: tuple[float, float]) -> float:
    """Degrees outside the area of use, 0 or less inside; infinite for no place on Earth."""
    if not np.isfinite(place).all():
        return math.inf
    longitude, latitude = place
    return float(degrees_outside(np.array([latitude]), np.array([longitude]), plan)[0])


def _words(place: tuple[float, float]) -> str:
    longitude, latitude = place
    if not np.isfinite(place).all():
        return "nowhere on Earth"
    sides = "S" if latitude < 0 else "N", "W" if longitude < 0 else "E"
    return f"at {abs(latitude):.2f} {sides[0]}, {abs(longitude):.2f} {sides[1]}"
