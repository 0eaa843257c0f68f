"""Hubs as shot: how far down or up to the curb line and to every layer, and the lath words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.crew.references import ReferenceLine, lath_name, reference_line
from pipeline.crew.stakes import column_name
from pipeline.model import Corridor, Feet, Floats, Shots, Table
from pipeline.model.arrays import lock_fields
from pipeline.settings import Rounding, StakeRules
from pipeline.units import format_length, format_side, format_station, lath_mark

END_SLACK_M = 0.05
"""A hub this far beyond the end of the design is still at its end [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class CutSheet:
    """Hubs as shot, in walking order, each against the reference break beside it.

    ``cut`` is hub minus reference [m]: measured down from the hub top where +.
    ``layer_cut`` is (n, layers): hub minus each layer at the reference break.
    """

    hubs: Shots
    station: Floats
    offset: Floats
    reference: ReferenceLine
    behind: Floats
    cut: Floats
    layers: tuple[str, ...]
    layer_cut: Floats

    def __post_init__(self) -> None:
        n = len(self.hubs)
        lock_fields(self, dict.fromkeys(("station", "offset", "behind", "cut"), (np.float64, (n,))))
        lock_fields(self, {"layer_cut": (np.float64, (n, len(self.layers)))})


def cut_sheet(corridor: Corridor, hubs: Shots, feet: Feet, rules: StakeRules) -> CutSheet:
    """Cut or fill of every hub to the reference break and to each layer at that break.

    Parameters
    ----------
    corridor : Corridor
    hubs : Shots
        The hubs as measured after driving; their assumed heights are never used.
    feet : Feet
        Station and offset of each hub.
    rules : StakeRules
        Names the reference break.

    Raises
    ------
    DesignError
        No section has the reference break: a hub's cut without a named reference is refused.
    """
    # up the left side, back down the right
    order = np.lexsort((np.where(feet.offset < 0, feet.station, -feet.station), feet.offset >= 0))
    hubs = hubs.take(order)
    station, offset = _within_ends(corridor, feet.station[order]), feet.offset[order]
    side = np.where(offset < 0, -1, 1)
    reference = reference_line(corridor, rules.reference, station, side)
    design = elevations(corridor, station, reference.offset, reference.easting, reference.northing)
    return CutSheet(
        hubs=hubs,
        station=station,
        offset=offset,
        reference=reference,
        behind=np.abs(offset) - np.abs(reference.offset),
        cut=hubs.elevation - reference.elevation,
        layers=tuple(layer.name for layer in corridor.layers),
        layer_cut=hubs.elevation[:, None] - design,
    )


def _within_ends(corridor: Corridor, station: Floats) -> Floats:
    """A hub at the very end, driven a few centimetres beyond it, belongs to the end."""
    line, profile = corridor.alignment.station, corridor.profile.station
    inside = np.clip(station, max(line[0], profile[0]), min(line[-1], profile[-1]))
    return np.where(np.abs(inside - station) <= END_SLACK_M, inside, station)


def lath_front(sheet: CutSheet, row: int, rounding: Rounding) -> str:
    """``1.50 TBC / C 0.235 TBC``: distance to the point, then down or up to it, both named."""
    name = lath_name(sheet.reference.name)
    mark = lath_mark(float(sheet.cut[row]), step=rounding.curb_m)
    if not mark:
        return ""
    return f"{format_length(float(sheet.behind[row]), step=0.01)} {name} / {mark} {name}"


def lath_back(sheet: CutSheet, row: int) -> str:
    """``0+120.0 L 57``: station, side, the hub's id."""
    side = format_side(float(sheet.offset[row]))
    return f"{format_station(float(sheet.station[row]))} {side} {sheet.hubs.id[row]}"


def table(sheet: CutSheet, rounding: Rounding) -> Table:
    """``cutsheet.csv``: a row a hub, marks final."""
    layers = tuple(f"to_{column_name(name)}" for name in sheet.layers)
    columns = (
        "id", "station", "side", "offset_m", "easting_m", "northing_m", "hub_elevation_m",
        "reference", "behind_reference_m", "reference_elevation_m", "to_reference", *layers,
        "lath_front", "lath_back", "note",
    )  # fmt: skip
    rows = []
    for i in range(len(sheet.hubs)):
        missing = np.isnan(sheet.cut[i])
        rows.append(
            (
                sheet.hubs.id[i],
                format_station(sheet.station[i]),
                format_side(sheet.offset[i]),
                format_length(sheet.offset[i]),
                format_length(sheet.hubs.easting[i]),
                format_length(sheet.hubs.northing[i]),
                format_length(sheet.hubs.elevation[i]),
                sheet.reference.name,
                format_length(sheet.behind[i]),
                format_length(sheet.reference.elevation[i]),
                lath_mark(sheet.cut[i], step=rounding.curb_m),
                *(lath_mark(cut, step=rounding.lath_m) for cut in sheet.layer_cut[i]),
                lath_front(sheet, i, rounding),
                lath_back(sheet, i),
                "outside the design: no mark" if missing else sheet.hubs.note[i],
            )
        )
    text = frozenset(columns) - {
        "offset_m", "easting_m", "northing_m", "hub_elevation_m", "behind_reference_m",
        "reference_elevation_m",
    }  # fmt: skip
    return Table("cutsheet", columns, tuple(rows), text)
