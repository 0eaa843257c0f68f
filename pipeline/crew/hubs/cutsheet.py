"""Hubs as shot: how far down or up to the curb line and to every layer, and the lath words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.crew.hubs.disturbed import off_line, shot_twice
from pipeline.crew.hubs.references import ReferenceLine, lath_name, reference_line
from pipeline.crew.hubs.stakes import column_name
from pipeline.crew.walk import step_words, steps, walking_order
from pipeline.crew.words import Faces, Work, distance, faces, fall_words, hub_mark
from pipeline.design.equations import named
from pipeline.model import Alignment, Corridor, Feet, Floats, Ints, Shots, Table, Texts, texts
from pipeline.model.arrays import lock_fields
from pipeline.settings import Rounding, StakeRules
from pipeline.settings_crew import WalkRules
from pipeline.units import format_length, format_side

END_SLACK_M = 0.05
"""A hub this far beyond the end of the design is still at its end [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class CutSheet:
    """Hubs as shot, in walking order, each against the reference break beside it.

    ``cut`` is hub minus reference [m]: measured down from the hub top where +.
    ``layer_cut`` is (n, layers): hub minus each layer at the reference break.
    ``fall`` is the grade of the reference break to the next hub of the same side in
    walking order [m/m], + up, NaN after a side's last; ``to_next`` the distance to the
    next hub [m]. ``flag`` says what is wrong with a hub, empty where nothing is. ``style``
    says what stands on which face of a lath.
    """

    hubs: Shots
    station: Floats
    offset: Floats
    reference: ReferenceLine
    behind: Floats
    cut: Floats
    layers: tuple[str, ...]
    layer_cut: Floats
    fall: Floats
    to_next: Floats
    flag: Texts
    style: Literal["crew", "manual"] = "crew"

    def __post_init__(self) -> None:
        n = len(self.hubs)
        lock_fields(self, dict.fromkeys(("fall", "to_next"), (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("station", "offset", "behind", "cut"), (np.float64, (n,))))
        lock_fields(self, {"flag": (object, (n,))})
        lock_fields(self, {"layer_cut": (np.float64, (n, len(self.layers)))})


def cut_sheet(
    corridor: Corridor, hubs: Shots, feet: Feet, rules: StakeRules, walk: WalkRules | None = None
) -> CutSheet:
    """Cut or fill of every hub to the reference break and to each layer at that break.

    Parameters
    ----------
    corridor : Corridor
    hubs : Shots
        The hubs as measured after driving; their assumed heights are never used.
    feet : Feet
        Station and offset of each hub.
    rules : StakeRules
        Names the reference break and the faces of a lath; says when a hub is disturbed.
    walk : WalkRules, optional
        The order of the rows; up the left side and down the right where not given.

    Raises
    ------
    DesignError
        No section has the reference break: a hub's cut without a named reference is refused.
    """
    order = walking_order(feet.station, feet.offset, walk)
    hubs = hubs.take(order)
    station, offset = _within_ends(corridor, feet.station[order]), feet.offset[order]
    side = np.where(offset < 0, -1, 1)
    reference = reference_line(corridor, rules.reference, station, side)
    design = elevations(corridor, station, reference.offset, reference.easting, reference.northing)
    behind = np.abs(offset) - np.abs(reference.offset)
    flags = zip(off_line(offset, behind, rules), shot_twice(hubs, rules), strict=True)
    return CutSheet(
        hubs=hubs,
        station=station,
        offset=offset,
        reference=reference,
        behind=behind,
        cut=hubs.elevation - reference.elevation,
        layers=tuple(layer.name for layer in corridor.layers),
        layer_cut=hubs.elevation[:, None] - design,
        fall=_falls(side, reference),
        to_next=steps(hubs.easting, hubs.northing),
        flag=texts("; ".join(word for word in pair if word) for pair in flags),
        style=rules.faces,
    )


def _falls(side: Ints, reference: ReferenceLine) -> Floats:
    """Grade of the reference from each hub to the next of its side [m/m], NaN after the last.

    Along the curb itself: the chord between the two places on the reference.
    """
    fall = np.full(len(side), np.nan)
    run = steps(reference.easting, reference.northing)[:-1]
    rise = np.diff(reference.elevation)
    here = (side[1:] == side[:-1]) & (run > 0)
    fall[:-1] = np.divide(rise, run, out=np.full(len(run), np.nan), where=here)
    return fall


def _within_ends(corridor: Corridor, station: Floats) -> Floats:
    """A hub at the very end, driven a few centimetres beyond it, belongs to the end."""
    line, profile = corridor.alignment.station, corridor.profile.station
    inside = np.clip(station, max(line[0], profile[0]), min(line[-1], profile[-1]))
    return np.where(np.abs(inside - station) <= END_SLACK_M, inside, station)


def work(sheet: CutSheet, row: int, rounding: Rounding, alignment: Alignment | None = None) -> Work:
    """What the lath at one hub has to say; its station by the equations of `alignment`."""
    return Work(
        station=float(sheet.station[row]),
        offset=float(sheet.offset[row]),
        id=str(sheet.hubs.id[row]),
        reference=lath_name(sheet.reference.name),
        behind=distance(float(sheet.behind[row]), rounding),
        mark=hub_mark(float(sheet.cut[row]), rounding.curb_m, rounding),
        to_next=fall_words(float(sheet.fall[row])),
        called=named(alignment, float(sheet.station[row])),
    )


def lath_faces(
    sheet: CutSheet, row: int, rounding: Rounding, alignment: Alignment | None = None
) -> Faces:
    """The lines on both faces of a lath, by the profile that the job chose."""
    return faces(work(sheet, row, rounding, alignment), sheet.style)


def lath_front(sheet: CutSheet, row: int, rounding: Rounding) -> str:
    """``1.50 TBC / C 0.235 TBC``: distance to the point, then down or up to it, both named."""
    said = lath_faces(sheet, row, rounding)
    # a hub on the street's side of its reference is somebody's slip: no words for it
    if np.isnan(sheet.cut[row]) or sheet.behind[row] < 0:
        return ""
    return " / ".join(said.front)


def lath_back(sheet: CutSheet, row: int, alignment: Alignment | None = None) -> str:
    """``0+120.0 L 57``: station, side, and the hub's id where the crew's profile has it."""
    side = format_side(float(sheet.offset[row]))
    place = f"{named(alignment, float(sheet.station[row]))} {side}"
    return f"{place} {sheet.hubs.id[row]}" if sheet.style == "crew" else place


def table(sheet: CutSheet, rounding: Rounding, alignment: Alignment | None = None) -> Table:
    """``cutsheet.csv``: a row a hub, marks final; stations by the equations of `alignment`."""
    layers = tuple(f"to_{column_name(name)}" for name in sheet.layers)
    columns = (
        "walk", "id", "station", "side", "offset_m", "easting_m", "northing_m", "hub_elevation_m",
        "reference", "behind_reference_m", "reference_elevation_m", "to_reference", *layers,
        "lath_front", "lath_back", "slope_to_next", "next_m", "flag", "note",
    )  # fmt: skip
    rows = []
    for i in range(len(sheet.hubs)):
        missing = np.isnan(sheet.cut[i])
        rows.append(
            (
                str(i + 1),
                sheet.hubs.id[i],
                named(alignment, float(sheet.station[i])),
                format_side(sheet.offset[i]),
                format_length(sheet.offset[i]),
                format_length(sheet.hubs.easting[i]),
                format_length(sheet.hubs.northing[i]),
                format_length(sheet.hubs.elevation[i]),
                sheet.reference.name,
                format_length(sheet.behind[i]),
                format_length(sheet.reference.elevation[i]),
                hub_mark(float(sheet.cut[i]), rounding.curb_m, rounding),
                *(hub_mark(float(cut), rounding.lath_m, rounding) for cut in sheet.layer_cut[i]),
                lath_front(sheet, i, rounding),
                lath_back(sheet, i, alignment),
                fall_words(float(sheet.fall[i])),
                step_words(float(sheet.to_next[i])),
                sheet.flag[i],
                "outside the design: no mark" if missing else sheet.hubs.note[i],
            )
        )
    text = frozenset(columns) - {
        "offset_m", "easting_m", "northing_m", "hub_elevation_m", "behind_reference_m",
        "reference_elevation_m", "next_m",
    }  # fmt: skip
    return Table("cutsheet", columns, tuple(rows), text)
