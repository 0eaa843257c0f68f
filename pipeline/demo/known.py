"""What stands or lies at the demo street before anybody shoots: control, lids, valves."""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

from pipeline.demo import line, section
from pipeline.demo.ground import ground


class ControlPoint(NamedTuple):
    """A known point on the job grid, with its place along the line."""

    id: str
    easting: float
    northing: float
    elevation: float
    description: str
    station: float
    offset: float


class Buried(NamedTuple):
    """A valve, manhole or catch basin as the records have it; NaN where they do not say."""

    id: str
    kind: str
    code: str
    easting: float
    northing: float
    lid: float
    depth_to_top: float
    note: str
    station: float
    offset: float
    shot: bool


@functools.cache
def control() -> tuple[ControlPoint, ...]:
    """Five points beside the street, to the millimetre, out of the machine's way."""
    placed = (
        ("K1", 4.0, -13.5, "pin in concrete, start, left"),
        ("K2", 28.0, 14.0, "pin in concrete, start, right"),
        ("K3", 152.0, -15.0, "steel pin, outside of the first bend"),
        ("K4", 262.0, 13.0, "pin in the curb stone of the old lane"),
        ("K5", 408.0, -14.5, "steel pin, end, left"),
    )
    return tuple(_control(*row) for row in placed)


@functools.cache
def buried() -> tuple[Buried, ...]:
    """Everything in the records. One valve was not found, and one depth nobody knows."""
    right, _ = section.flowline_low_point(+1)
    left, _ = section.flowline_low_point(-1)
    at_right = float(section.break_at(right, +1, section.FINISH, "flowline")[0])
    at_left = float(section.break_at(left, -1, section.FINISH, "flowline")[0])
    unknown = math.nan
    return (
        _buried("MH1", 42.0, -1.90, (0.46, 0.00), "lowered, steel plate on the cone"),
        _buried("WV1", 62.0, 2.90, (0.38, 0.25), "box lowered, key extension out"),
        _buried("MH2", 176.0, -1.90, (0.39, 0.00), "lowered, steel plate on the cone"),
        _buried("WV2", 208.0, 3.10, (0.12, unknown), "depth of the nut not on record"),
        _buried("CB2", left, at_left, (0.30, 0.00), "box at subgrade, plate on"),
        _buried("CB1", right, at_right, (0.30, 0.00), "box at subgrade, plate on"),
        _buried("WV3", 318.0, -2.80, (0.41, 0.30), "box lowered"),
        _buried("MH3", 352.0, 1.90, (0.22, 0.00), "lowered too little: within the mixer's reach"),
        _buried("WV4", 404.0, 2.60, (unknown, unknown), "on record, not found this morning"),
    )


def _control(name: str, station: float, offset: float, description: str) -> ControlPoint:
    easting, northing = line.point(station, offset)
    height = float(ground(station, offset)) + 0.04
    return ControlPoint(
        name,
        round(float(easting), 3),
        round(float(northing), 3),
        round(height, 3),
        description,
        station,
        offset,
    )


_KINDS = {"MH": "manhole", "WV": "valve", "CB": "catch basin"}


def _buried(
    name: str, station: float, offset: float, below: tuple[float, float], note: str
) -> Buried:
    """`below`: the lid below the clay plane, and the part that breaks below the lid [m]."""
    easting, northing = line.point(station, offset)
    lid = float(section.elevation(station, offset, section.CLAY)) - below[0]
    return Buried(
        name,
        _KINDS[name[:2]],
        name[:2],
        round(float(easting), 3),
        round(float(northing), 3),
        round(lid, 3),
        below[1],
        note,
        station,
        offset,
        shot=not math.isnan(lid),
    )
