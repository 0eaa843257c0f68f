"""The foreman's page of a day: its lists as final text, and what its script reckons with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.compare.streets import streets_of
from pipeline.crew.buried.things import CAUTION as BURIED_CAUTION
from pipeline.crew.buried.things import Things, verdict_words
from pipeline.crew.measures import Measures
from pipeline.crew.page.numbers import (
    closed_lines,
    labelled_gaps,
    layer_data,
    line_data,
    marks,
    open_lines,
    page_origin,
    profile_data,
    tin_data,
)
from pipeline.crew.page.whereami import GridFit
from pipeline.crew.plan.frame import PlanWords, band_within, band_words
from pipeline.crew.plan.inputs import band_side
from pipeline.crew.plan.labels import one_per_cell
from pipeline.crew.summary import mean_words
from pipeline.design import alignment as line
from pipeline.design.equations import station_text
from pipeline.model import (
    PENS,
    Band,
    Bools,
    Corridor,
    Finding,
    Findings,
    Ints,
    Quantity,
    Region,
    Shots,
    Stakes,
    Surface,
    Table,
    Texts,
)
from pipeline.model.daypage import Card, DayPage, PageList
from pipeline.model.telling import counted, listed
from pipeline.settings import Rounding
from pipeline.surface.contour import Isolines
from pipeline.units import format_side

MOST_SHOTS = 5000
"""More used shots than this are shown one in every 2 m, and the page says so."""
MOST_CARDS = 60
"""More findings than this are only counted; all of them are in ``findings.json``."""
_SHOT_CELL_M = 2.0
_MOST_POINTS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class PageInputs:
    """What a day's page is made from; everything is on the job grid.

    ``fate`` says what became of each shot, ``used`` whether it counts. ``bands``,
    ``zero`` and ``gaps`` are those of the drawing. ``position`` is None where the grid
    is not known to the world. ``withheld`` leaves out every number.
    """

    corridor: Corridor
    layer: str
    ground: Surface
    bands: tuple[Band, ...]
    bands_m: Sequence[float]
    zero: Isolines
    gaps: tuple[Region, ...]
    shots: Shots
    used: Bools
    fate: Texts
    dots: Stakes
    stakes: Stakes
    things: Things
    quantities: tuple[Quantity, ...]
    findings: Findings
    rounding: Rounding
    words: PlanWords
    position: GridFit | None = None
    changes: tuple[str, ...] = ()
    changes_tables: tuple[Table, ...] = ()
    withheld: bool = False
    lists: tuple[PageList, ...] = ()


def day_page(inputs: PageInputs) -> DayPage:
    """Everything on the page, final."""
    words = inputs.words
    rows = _shots_to_show(inputs)
    shown = int(inputs.used[rows].sum())
    drawn = f"Shots drawn: {shown} of {int(inputs.used.sum())}."
    return DayPage(
        job=words.job,
        day=words.day,
        layer=inputs.layer,
        package=words.package,
        held=words.held,
        look=tuple(_finding_card(one, inputs) for one in _to_look_at(inputs.findings)[:MOST_CARDS]),
        look_note=_rest(inputs.findings),
        buried=_buried(inputs.things, inputs.corridor, words.unit),
        figures=_figures(words),
        tables=() if inputs.withheld else (_quantities(inputs),),
        changes=inputs.changes,
        changes_tables=inputs.changes_tables,
        cautions=(*words.cautions, *((BURIED_CAUTION,) if len(inputs.things) else ())),
        within=_least_words(inputs),
        unit=words.unit.unit,
        drawn=drawn if shown < int(inputs.used.sum()) else "",
        data=None if inputs.withheld else _data(inputs, rows),
        lists=() if inputs.withheld else inputs.lists,
    )


def _least_words(inputs: PageInputs) -> str:
    """What the map leaves white about zero: ``2 cm``."""
    unit = inputs.words.unit
    return f"{band_within(inputs.bands_m, unit)} {unit.small_unit}".removeprefix("within ")


def _shots_to_show(inputs: PageInputs) -> Ints:
    """All shots, or of a great many one in every 2 m; those not used always."""
    shots, used = inputs.shots, np.flatnonzero(inputs.used)
    if len(used) <= MOST_SHOTS:
        return np.arange(len(shots))
    x = shots.easting[used] - shots.easting[used].min()
    y = shots.northing[used] - shots.northing[used].min()
    kept = used[one_per_cell(x, y, _SHOT_CELL_M, np.zeros(len(used)))]
    refused = np.flatnonzero(~inputs.used)
    return np.sort(np.concatenate([kept, refused[:MOST_SHOTS]]))


def _to_look_at(findings: Findings) -> list[Finding]:
    return [one for one in findings if one.severity != "note"]


def _rest(findings: Findings) -> str:
    """How many more there are, and how many notes that ask for nothing."""
    more = max(len(_to_look_at(findings)) - MOST_CARDS, 0)
    notes = sum(one.severity == "note" for one in findings)
    said = [f"{more} more to look at"] if more else []
    said += [f"{counted(notes, 'note')} with nothing to do"] if notes else []
    return f"{' and '.join(said)} in findings.json." if said else ""


def _finding_card(finding: Finding, inputs: PageInputs) -> Card:
    east, north = _place_of(finding, inputs)
    stop = finding.severity == "stop"
    lines = [f"{finding.text}.", f"{finding.do[:1].upper()}{finding.do[1:]}."]
    if finding.points:
        noun = "Point" if len(finding.points) == 1 else "Points"
        lines.insert(0, f"{noun} {listed(finding.points, _MOST_POINTS)}:")
    return Card(
        head=f"{'STOP' if stop else 'LOOK'}: {finding.kind}",
        lines=tuple(lines),
        easting=east,
        northing=north,
        urgent=stop,
    )


def _place_of(finding: Finding, inputs: PageInputs) -> tuple[float, float]:
    """Where on the street a finding is: its station, else its first shot; NaN: nowhere."""
    if math.isfinite(finding.station):
        offset = finding.offset if math.isfinite(finding.offset) else 0.0
        east, north, _ = line.point_at(inputs.corridor.alignment, finding.station, offset)
        return float(east), float(north)
    for point in finding.points:
        rows = np.flatnonzero((inputs.shots.id == point) & (inputs.fate != "off the job"))
        if len(rows):
            return float(inputs.shots.easting[rows[0]]), float(inputs.shots.northing[rows[0]])
    return math.nan, math.nan


def _buried(things: Things, corridor: Corridor, unit: Measures) -> tuple[Card, ...]:
    """Every buried or standing thing in driving order, with the words of the crew's own list."""
    cards = []
    streets = {one.name: one.corridor.alignment for one in streets_of(corridor)}
    for row in range(len(things)):
        street = str(things.street[row])
        at = station_text(streets[street], float(things.feet.station[row]))
        named = f"{street} {at}" if len(streets) > 1 else at
        offset = float(things.feet.offset[row])
        across = f"{unit.long(abs(offset), 0.01)} {unit.unit} {format_side(offset)}"
        note = str(things.note[row])
        cards.append(
            Card(
                head=f"{things.id[row]}, {things.kind[row]}",
                lines=(
                    f"{named}, {across}.",
                    f"{verdict_words(things, row, unit)}.",
                    f"{note[:1].upper()}{note[1:]}.".lstrip("."),
                ),
                easting=float(things.easting[row]),
                northing=float(things.northing[row]),
                urgent=things.verdict[row] in {"UNKNOWN", "HIT"},
            )
        )
    return tuple(cards)


def _figures(words: PlanWords) -> tuple[tuple[str, str], ...]:
    rows = [
        ("Job", words.job), ("Day", words.day), ("Layer", words.layer), ("Grid", words.grid),
        ("Heights", words.heights), ("Shots", words.shots), ("Prepared by", words.prepared_by),
        ("Package", words.package),
    ]  # fmt: skip
    rows += [("" if k else "Today", number) for k, number in enumerate(words.numbers)]
    return tuple((name, value) for name, value in rows if value)


def _quantities(inputs: PageInputs) -> Table:
    """Mean, cut and fill of every layer; totals are not netted."""
    unit = inputs.words.unit
    volume = unit.volume_unit
    columns = (
        "layer", f"mean {unit.unit}", f"cut {volume}", f"fill {volume}",
        f"not surveyed {unit.area_unit}",
    )  # fmt: skip
    rows = tuple(
        (
            f"{row.layer} (today)" if row.layer == inputs.layer else row.layer,
            mean_words(row.mean_cut_m, unit),
            unit.volume(row.cut_m3),
            unit.volume(row.fill_m3),
            unit.area(row.uncovered_area_m2),
        )
        for row in inputs.quantities
    )
    return Table("Cut and fill by layer", columns, rows, frozenset({"layer"}))


def _data(inputs: PageInputs, rows: Ints) -> dict[str, Any]:
    """What the script reckons with; names are its own."""
    corridor, shots, dots, stakes = inputs.corridor, inputs.shots, inputs.dots, inputs.stakes
    origin = page_origin(inputs.ground, corridor.alignment)
    look = [(_place_of(one, inputs), one) for one in _to_look_at(inputs.findings)[:MOST_CARDS]]
    return {
        "package": inputs.words.package,
        "day": inputs.words.day,
        "target": inputs.layer,
        "held": inputs.words.held,
        "rounding": {
            "dirt": inputs.rounding.dirt_m, "on_grade": inputs.rounding.on_grade_m,
            "unit": inputs.words.unit.unit,
        },
        "origin": list(origin),
        "line": line_data(corridor.alignment),
        "profile": profile_data(corridor.profile),
        "layers": [layer_data(layer, origin) for layer in corridor.layers],
        "ground": tin_data(inputs.ground, origin),
        "bands": _bands(inputs, origin),
        "zero": open_lines(inputs.zero, origin),
        "gaps": closed_lines([ring for one in inputs.gaps for ring in one.rings], origin)
        | {"labels": labelled_gaps(inputs.gaps, origin, inputs.words.unit)},
        "shots": marks(shots.easting[rows], shots.northing[rows], origin)
        | {
            "id": shots.id[rows].tolist(), "code": shots.code[rows].tolist(),
            "used": inputs.used[rows].astype(int).tolist(),
        },
        "dots": marks(dots.easting, dots.northing, origin) | {"mark": dots.mark.tolist()},
        "stakes": marks(stakes.easting, stakes.northing, origin)
        | {"name": [_stake_name(stakes, k) for k in range(len(stakes))]},
        "hazards": _hazard_marks(inputs.things, origin, inputs.words.unit),
        "look": [
            {"x": east - origin[0], "y": north - origin[1], "word": one.kind}
            for (east, north), one in look
            if math.isfinite(east)
        ],
        "position": _position(inputs.position),
    }  # fmt: skip


def _stake_name(stakes: Stakes, k: int) -> str:
    return str(stakes.what[k] if stakes.kind[k] == "point" else stakes.id[k])


def _bands(inputs: PageInputs, origin: tuple[float, float]) -> list[dict[str, Any]]:
    """Shaded bands with a colour, a letter and the words of the legend; none about zero."""
    found = []
    for band in inputs.bands:
        side, number = band_side(band, inputs.bands_m)
        if side:
            red, green, blue = PENS[f"band-{side}-{number}"].colour
            letter = "C" if side == "cut" else "F"
            rings = [ring for region in band.regions for ring in region.rings]
            found.append(
                {
                    "side": side,
                    "number": number,
                    "words": f"{letter} {band_words(inputs.bands_m, number, inputs.words.unit)}",
                    "colour": f"#{red:02x}{green:02x}{blue:02x}",
                    "rings": closed_lines(rings, origin),
                }
            )
    return found


def _hazard_marks(things: Things, origin: tuple[float, float], unit: Measures) -> dict[str, Any]:
    rows = range(len(things))
    return marks(things.easting, things.northing, origin) | {
        "id": [f"{things.id[row]} {things.kind[row]}" for row in rows],
        "words": [f"{verdict_words(things, row, unit)}." for row in rows],
    }


def _position(fit: GridFit | None) -> dict[str, Any] | None:
    if fit is None:
        return None
    names = (
        "longitude", "latitude", "reach_longitude", "reach_latitude", "easting", "northing",
        "residual_m", "accuracy_m",
    )  # fmt: skip
    return {
        **{name: getattr(fit, name) for name in names},
        "powers": [list(power) for power in fit.powers],
        "east": fit.east,
        "north": fit.north,
    }
