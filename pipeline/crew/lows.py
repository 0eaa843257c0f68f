"""High and low points to keep marked on the ground, and whether each low has its inlet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.hubs.extremes import HighLow, along_break, along_line
from pipeline.crew.hubs.references import on_side
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.stretches import metre_beside
from pipeline.design import feet as feet_of
from pipeline.design.equations import named
from pipeline.model import Alignment, Corridor, Finding, Findings, Utilities
from pipeline.settings_crew import HazardRules
from pipeline.units import format_side

GUTTER = "flowline"
_ASIDE_M = 2.0  # an inlet this far across from the gutter serves another line [assumed]


@dataclass(frozen=True, slots=True)
class Turn:
    """A high or low point of the crown or of one gutter line.

    ``inlet`` is the id of the catch basin at a low of a gutter and ``inlet_off_m`` how far
    along the gutter it stands from it, + ahead; empty and NaN where there is none, or none is due.
    """

    mark: str
    what: str
    station: float
    offset: float
    inlet: str = ""
    inlet_off_m: float = float("nan")
    inlet_due: bool = False


def turns(
    corridor: Corridor, listed: Utilities | None, reference: str, rules: HazardRules
) -> tuple[Turn, ...]:
    """High and low points of crown and gutters, by station; water stands in the gutter's lows.

    Where the section has no flowline there is no gutter, and no inlet is due.

    Parameters
    ----------
    corridor : Corridor
    listed : Utilities or None
        Where the inlets are.
    reference : str
        The break that is followed where the section has no flowline.
    rules : HazardRules
    """
    has_gutter = any(on_side(corridor, GUTTER, side) for side in (-1, 1))
    name = GUTTER if has_gutter else reference
    inlets = _inlets(corridor, listed, rules)
    found = along_line(corridor), along_break(corridor, name, -1), along_break(corridor, name, 1)
    turned = [_turn(corridor, point, inlets, rules) for points in found for point in points]
    return tuple(sorted(turned, key=lambda x: (x.station, x.offset)))


def _turn(
    corridor: Corridor,
    point: HighLow,
    inlets: list[tuple[str, float, float]],
    rules: HazardRules,
) -> Turn:
    """A high or low point with its inlet, where one is due."""
    here = point.station, point.offset
    if point.mark != "LP" or point.what != GUTTER:
        return Turn(point.mark, point.what, *here)
    inlet, off = _nearest(inlets, here, _metre(corridor, here), rules)
    return Turn(point.mark, point.what, *here, inlet, off, True)


def _inlets(
    corridor: Corridor, listed: Utilities | None, rules: HazardRules
) -> list[tuple[str, float, float]]:
    """Id, station and offset of everything on the list that takes water."""
    if listed is None or not len(listed):
        return []
    kinds = {kind.casefold() for kind in rules.inlet_kinds}
    rows = [k for k in range(len(listed)) if str(listed.kind[k]).casefold() in kinds]
    at = feet_of.locate(corridor.alignment, listed.easting[rows], listed.northing[rows])
    return [
        (str(listed.id[k]), float(at.station[j]), float(at.offset[j])) for j, k in enumerate(rows)
    ]


def _metre(corridor: Corridor, at: tuple[float, float]) -> float:
    """How long a metre of the line is along the gutter at a station and offset."""
    station, offset = (np.array([x]) for x in at)
    return float(metre_beside(corridor.alignment, station, offset)[0])


def _nearest(
    inlets: list[tuple[str, float, float]],
    low: tuple[float, float],
    metre: float,
    rules: HazardRules,
) -> tuple[str, float]:
    """Id of the inlet nearest to a low point, and how far along the gutter it stands."""
    station, offset = low
    off = [(name, metre * (s - station)) for name, s, o in inlets if abs(o - offset) <= _ASIDE_M]
    near = [(abs(away), name, away) for name, away in off if abs(away) <= rules.inlet_near_m]
    return (min(near)[1], float(min(near)[2])) if near else ("", float("nan"))


def turn_words(turn: Turn, unit: Measures = METRIC) -> str:
    """What the page says of a high or low point."""
    if not turn.inlet_due:
        return ""
    if not turn.inlet:
        return "NO INLET on the list: water will stand"
    off = turn.inlet_off_m
    if abs(off) < 0.05:
        return f"{turn.inlet} at it"
    return f"{turn.inlet} {unit.long(abs(off))} {unit.unit} {'ahead' if off > 0 else 'back'}"


def findings(found: tuple[Turn, ...], line: Alignment | None = None) -> Findings:
    """Every low point of a gutter without an inlet, its station as `line` names it."""
    return tuple(
        Finding(
            severity="person",
            kind="low point without inlet",
            text=(
                f"low point of {turn.what} at {named(line, turn.station)}"
                f" {format_side(turn.offset)} has no inlet on the list"
            ),
            do="ask where its water goes, or put its catch basin on the list",
            station=turn.station,
            offset=turn.offset,
        )
        for turn in found
        if turn.inlet_due and not turn.inlet
    )
