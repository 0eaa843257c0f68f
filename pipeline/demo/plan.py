"""What a crew plans to shoot on the demo street: row after row, there and back.

Control opens and closes every set-up; lids are shot where a row passes them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.demo import known, line, section
from pipeline.demo.ground import TOP_BEHIND_M, Stretch, bank_share, toe

NOT_SHOT = Stretch(+1, 130.0, 150.0)
"""Nobody shot this side between these rows."""
QUARTER_M, LAND_M = 2.0, 3.2
"""Quarter shots from the crown; shots of the land behind, out from the edge of clay [m]."""

RODS = {"S1": 1.800, "S2": 2.000, "S3": 1.800}
"""Set-ups in order, and the height of the rod in each [m]."""
SETUP_ENDS = {"S1": 105.0, "S2": 235.0, "S3": line.LENGTH}
OPENING = {"S1": ("K1", "K2"), "S2": ("K3", "K2"), "S3": ("K4", "K3")}
CLOSING = {"S1": ("K2",), "S2": ("K3",), "S3": ("K5", "K4")}


class Plan(NamedTuple):
    """One shot before it is taken; `fixed` is the known place of a pin or a lid."""

    row: float
    code: str
    offset: float
    setup: str
    note: str = ""
    fixed: tuple[float, float, float] | None = None


def plans() -> list[Plan]:
    """Every shot in the order it is taken."""
    return [plan for setup in RODS for plan in _setup(setup)]


def rows() -> tuple[tuple[float, bool], ...]:
    """Stations of the rows, 10 m on lines and 5 m on bends; True for a full row."""
    full = [(10.0 * k, True) for k in range(43)]
    half = [(s, False) for s in np.arange(5.0, line.LENGTH, 10.0).tolist() if _bent(s)]
    return tuple(sorted(full + half))


def _bent(station: float) -> bool:
    """On a bend, or where one begins or ends."""
    around = line.curvature(np.array([station - 0.5, station + 0.5]))
    return bool(np.any(around != 0.0))


def _setup(setup: str) -> list[Plan]:
    names = list(SETUP_ENDS)
    k = names.index(setup)
    start = SETUP_ENDS[names[k - 1]] if k else -1.0
    found = [_control(name, setup) for name in OPENING[setup]]
    for number, (row, full) in enumerate(rows()):
        if not start < row <= SETUP_ENDS[setup]:
            continue
        across = _across(row, setup, full=full)
        found += across if number % 2 == 0 else across[::-1]
        found += [_lid(thing, setup) for thing in known.buried() if _passed(thing, row)]
    return found + [_control(name, setup) for name in CLOSING[setup]]


def _across(row: float, setup: str, *, full: bool) -> list[Plan]:
    """Shots of one row from left to right."""
    found = [Plan(row, "CL", 0.0, setup)]
    for side in (-1, +1):
        if side == NOT_SHOT.side and NOT_SHOT.start < row < NOT_SHOT.end:
            continue
        number = 1 if side < 0 else 2
        edge = float(section.edge(row, side, section.CLAY))
        lip = abs(float(section.break_at(row, side, section.FINISH, "lip")[0]))
        half = [("LIP", lip), (f"EC{number}", edge)]
        if bank_share(row, side) == 1.0:
            half += [(f"BB{number}", float(toe(row, side))), (f"TB{number}", edge + TOP_BEHIND_M)]
        if full:
            half += [("GR", QUARTER_M), ("GR", edge + LAND_M)]
        found += [Plan(row, code, side * out, setup) for code, out in half]
    return sorted(found, key=lambda plan: plan.offset)


def _passed(thing: known.Buried, row: float) -> bool:
    """The last row at or before a lid that was found."""
    return thing.shot and row == max(s for s, _ in rows() if s <= thing.station)


def _lid(thing: known.Buried, setup: str) -> Plan:
    fixed = (thing.easting, thing.northing, thing.lid)
    return Plan(thing.station, thing.code, thing.offset, setup, thing.id, fixed)


def _control(name: str, setup: str) -> Plan:
    at = next(point for point in known.control() if point.id == name)
    fixed = (at.easting, at.northing, at.elevation)
    return Plan(at.station, "CP", at.offset, setup, name, fixed)
