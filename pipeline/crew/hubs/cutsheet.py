"""Hubs as shot: how far down or up to the curb line and to every layer, and the lath words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.compare.streets import Street, nearest, reach_of, streets_of
from pipeline.crew.hubs.disturbed import off_line, out_of_row, shot_twice
from pipeline.crew.hubs.references import ReferenceLine, lath_name, reference_line
from pipeline.crew.hubs.stakes import NO_LINES, column_name, line_of
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.walk import step_words, steps, walking_order
from pipeline.crew.words import Faces, Lath, distance, faces, fall_words, hub_mark
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
    street: Texts = field(default_factory=lambda: texts([]))
    """The part of the design that station, offset and reference belong to."""

    def __post_init__(self) -> None:
        n = len(self.hubs)
        if not len(self.street):
            object.__setattr__(self, "street", texts([""] * n))
        lock_fields(self, {"street": (object, (n,))})
        lock_fields(self, dict.fromkeys(("fall", "to_next"), (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("station", "offset", "behind", "cut"), (np.float64, (n,))))
        lock_fields(self, {"flag": (object, (n,))})
        lock_fields(self, {"layer_cut": (np.float64, (n, len(self.layers)))})

    def take(self, rows: Ints) -> CutSheet:
        """Some of the hubs, in that order."""
        columns = ("station", "offset", "behind", "cut", "layer_cut", "fall", "to_next", "flag",
                   "street")  # fmt: skip
        return replace(
            self,
            hubs=self.hubs.take(rows),
            reference=self.reference.take(rows),
            **{name: getattr(self, name)[rows] for name in columns},
        )


def cut_sheet(
    corridor: Corridor,
    hubs: Shots,
    feet: Feet,
    rules: StakeRules,
    walk: WalkRules | None = None,
    unit: Measures = METRIC,
) -> CutSheet:
    """Cut or fill of every hub to the reference break and to each layer at that break.

    Parameters
    ----------
    corridor : Corridor
        Where it has several parts a hub belongs to that whose reference break is nearest.
    hubs : Shots
        The hubs as measured after driving; their assumed heights are never used.
    feet : Feet
        Station and offset of each hub along the main street.
    rules : StakeRules
        Names the reference break and the faces of a lath; says when a hub is disturbed.
    walk : WalkRules, optional
        The order of the rows; up the left side and down the right where not given.
    unit : Measures
        What the flags are told in.

    Raises
    ------
    DesignError
        No section has the reference break: a hub's cut without a named reference is refused.
    """
    streets = [
        street
        for street in streets_of(corridor)
        if not street.prefix or street.shows(rules.reference)
    ]
    number: Ints = np.zeros(len(hubs), dtype=np.int64)
    along: tuple[Feet, ...] = (feet,)
    if corridor.parts:
        number, along = nearest(streets, rules.reference, (hubs.easting, hubs.northing))
    names = tuple(layer.name for layer in corridor.layers)
    found = [np.flatnonzero(number == k) for k in range(len(streets))]
    parts = [
        _measured(
            street, hubs.take(rows), (at.station[rows], at.offset[rows]), (rules, names, unit)
        )
        for street, at, rows in zip(streets, along, found, strict=False)
    ]
    hubs, joined = hubs.take(np.concatenate(found)), _joined(parts)
    places = joined.street, hubs.easting, hubs.northing
    order = walking_order(joined.station, joined.offset, walk, places)
    hubs, reference = hubs.take(order), joined.reference.take(order)
    off, twice = joined.flag[order], shot_twice(hubs, rules, unit)
    side, street = np.where(joined.offset < 0, -1, 1)[order], joined.street[order]
    return CutSheet(
        hubs=hubs,
        station=joined.station[order],
        offset=joined.offset[order],
        reference=reference,
        behind=joined.behind[order],
        cut=hubs.elevation - reference.elevation,
        layers=names,
        layer_cut=hubs.elevation[:, None] - joined.layers[order],
        fall=_falls((side, street), reference),
        to_next=steps(hubs.easting, hubs.northing),
        flag=texts("; ".join(x for x in pair if x) for pair in zip(off, twice, strict=True)),
        style=rules.faces,
        street=street,
    )


class _Measured(NamedTuple):
    """n hubs against the reference beside them; ``layers`` are heights there, (n, layers)."""

    station: Floats
    offset: Floats
    behind: Floats
    reference: ReferenceLine
    layers: Floats
    flag: Texts
    street: Texts


def _measured(
    street: Street,
    hubs: Shots,
    along: tuple[Floats, Floats],
    by: tuple[StakeRules, tuple[str, ...], Measures],
) -> _Measured:
    """Hubs of one street against its own reference break, and the layers' heights there."""
    corridor, (rules, names, unit) = street.corridor, by
    station, offset = _within_ends(corridor, along[0]), along[1]
    side = np.where(offset < 0, -1, 1)
    reference = reference_line(corridor, rules.reference, station, side)
    grid = reference.easting, reference.northing
    design = elevations(corridor, station, reference.offset, *grid, names)
    behind = np.abs(offset) - np.abs(reference.offset)
    named_so = texts([street.name] * len(hubs))
    off = off_line(offset, behind, rules, unit)
    out = out_of_row(station, offset, hubs.elevation - reference.elevation, unit)
    flags = texts("; ".join(x for x in pair if x) for pair in zip(off, out, strict=True))
    return _Measured(station, offset, behind, reference, design, flags, named_so)


def _joined(parts: Sequence[_Measured]) -> _Measured:
    """Hubs of all streets, one street after the other."""
    references = [part.reference for part in parts]
    places: dict[str, Any] = {
        name: np.concatenate([getattr(one, name) for one in references])
        for name in ("offset", "elevation", "easting", "northing")
    }
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in _Measured._fields
        if name != "reference"
    }
    return _Measured(**columns, reference=replace(references[0], **places))


def _falls(of: tuple[Ints, Texts], reference: ReferenceLine) -> Floats:
    """Grade of the reference from each hub to the next of its side [m/m], NaN after the last.

    Along the curb itself: the chord between the two places on the reference. `of` is the
    side and the street of each hub.
    """
    side, street = of
    fall = np.full(len(side), np.nan)
    run = steps(reference.easting, reference.northing)[:-1]
    rise = np.diff(reference.elevation)
    here = (side[1:] == side[:-1]) & (street[1:] == street[:-1]) & (run > 0)
    fall[:-1] = np.divide(rise, run, out=np.full(len(run), np.nan), where=here)
    return fall


def _within_ends(corridor: Corridor, station: Floats) -> Floats:
    """A hub at the very end, driven a few centimetres beyond it, belongs to the end."""
    inside = np.clip(station, *reach_of(corridor))
    return np.where(np.abs(inside - station) <= END_SLACK_M, inside, station)


def lath_faces(
    sheet: CutSheet, row: int, rounding: Rounding, alignment: Alignment | None = None
) -> Faces:
    """The lines on both faces of the lath at one hub, by the profile that the job chose.

    Its station is named by the equations of `alignment`.
    """
    lath = Lath(
        station=float(sheet.station[row]),
        offset=float(sheet.offset[row]),
        id=str(sheet.hubs.id[row]),
        reference=lath_name(sheet.reference.name),
        behind=distance(float(sheet.behind[row]), rounding),
        mark=hub_mark(float(sheet.cut[row]), rounding.curb_m, rounding),
        to_next=fall_words(float(sheet.fall[row])),
        called=named(alignment, float(sheet.station[row])),
    )
    return faces(lath, sheet.style)


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


def table(
    sheet: CutSheet,
    rounding: Rounding,
    lines: Mapping[str, Corridor] = NO_LINES,
) -> Table:
    """``cutsheet.csv``: a row a hub, marks final; stations by the equations of their lines."""
    layers = tuple(f"to_{column_name(name)}" for name in sheet.layers)
    columns = (
        "walk", "street", "id", "station", "side", "offset_m", "easting_m", "northing_m",
        "hub_elevation_m", "reference", "behind_reference_m", "reference_elevation_m",
        "to_reference", *layers, "lath_front", "lath_back", "slope_to_next", "next_m", "flag",
        "note",
    )  # fmt: skip
    rows = []
    for i in range(len(sheet.hubs)):
        missing = "outside the design: no mark" if np.isnan(sheet.cut[i]) else ""
        alignment = line_of(lines, str(sheet.street[i]))
        rows.append(
            (
                str(i + 1),
                sheet.street[i],
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
                "; ".join(x for x in (missing, str(sheet.hubs.note[i])) if x),
            )
        )
    text = frozenset(columns) - {
        "offset_m", "easting_m", "northing_m", "hub_elevation_m", "behind_reference_m",
        "reference_elevation_m", "next_m",
    }  # fmt: skip
    return Table("cutsheet", columns, tuple(rows), text)
