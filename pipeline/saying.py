"""A day's results in words: the closing words, and what commands print for a person."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.compare.places import Place
from pipeline.compare.streets import side_word, streets_of
from pipeline.crew.earth import Haul, Pregrade
from pipeline.crew.measures import Measures, measures
from pipeline.crew.page.change import progress_sentences
from pipeline.crew.summary import Summary
from pipeline.design.equations import station_text
from pipeline.judging import USED_FATES
from pipeline.model import Corridor, Stakes, Table
from pipeline.run import Day
from pipeline.settings import AROUND, Job
from pipeline.strict import dotted
from pipeline.units import format_length, format_side

MARKS_REST_ON = (
    "surface.", "stakes.", "rounding.", "target.", "design.chord_m", "design.max_step_m",
)  # fmt: skip
"""Tables of settings that decide what is painted and written."""


def assumed(job: Job) -> tuple[str, ...]:
    """What the marks rest on and the job leaves to the default; the rest only counted."""
    numbers = [
        (key, value)
        for key, value in dotted(job, AROUND)
        if key not in job.given and isinstance(value, int | float) and not isinstance(value, bool)
    ]
    shown = [f"{key} {value:g}" for key, value in numbers if key.startswith(MARKS_REST_ON)]
    return (*shown, f"{len(numbers) - len(shown)} more settings, listed in manifest.json")


def summary_of(day: Day) -> Summary:
    """The figures for the closing words."""
    morning = day.morning
    job, shots = morning.inputs.job, morning.shots
    refused = morning.placed.refused
    reasons = [(str(name), int(morning.rows(name).sum())) for name in sorted(set(morning.fate))]
    unread = [("row that cannot be read", refused)] if refused else []
    listed = sum(count for name, count in reasons if name not in USED_FATES)
    painted = day.dots.kind
    lines = {one.name: one.corridor for one in streets_of(day.morning.corridor)}
    return Summary(
        job=job.name,
        day=morning.inputs.day,
        read=len(shots) + refused,
        used=len(shots) - listed,
        refused=listed + refused,
        reasons=tuple(
            [row for row in reasons if row[0] in USED_FATES]
            + [row for row in reasons if row[0] not in USED_FATES]
            + unread
        ),
        quantities=day.quantities,
        target=job.target.layer,
        extremes=tuple(
            _extreme_words(day.stakes, row, lines)
            for row, what in enumerate(day.stakes.what)
            if what.startswith(("high point", "low point"))
        ),
        numbers=(
            ("numbers", int((painted == "number").sum())),
            ("dots at grade", int((painted == "dot").sum())),
            ("spots not shot", int((painted == "unshot").sum())),
            ("stakes to set", len(day.stakes)),
            ("hubs on the cut sheet", len(day.sheet.hubs)),
        ),
        findings=day.findings,
        assumed=assumed(job),
        withheld=day.withheld,
        unit=measures(job.rounding),
        sure=() if day.earth is None else tuple(one.sure for one in day.earth.layers),
        progress=progress_sentences(day.trend, measures(job.rounding)),
    )


def _extreme_words(stakes: Stakes, row: int, lines: Mapping[str, Corridor]) -> str:
    """``low point of crown at 0+120.0``; the street in front where there are several."""
    street = lines[str(stakes.street[row])]
    side = side_word(street, float(stakes.offset[row])).replace("CL", "")
    at = station_text(street.alignment, float(stakes.station[row]))
    words = " ".join(word for word in (stakes.what[row], side, "at", at) if word)
    return f"{street.name}: {words}" if len(lines) > 1 else words


HOLD = "HOLD: a finding stops the day; see lath check, and mark nothing by this"
"""Above what a command says of a day that is held."""


def place_words(place: Place) -> list[str]:
    """The same for a person: elevations in metres, marks in the crew's unit."""
    unit = Measures(place.marks_unit)
    feet = " ft" if unit.unit == "ft" else ""
    side = format_side(place.offset)
    along = f"Station {place.called}"
    across = f"offset {_metres(place.offset, unit)} {side}"
    grid = f"E {format_length(place.easting)}, N {format_length(place.northing)}"
    lines = [f"{along}, {across}, {grid}"]
    if place.held:
        lines.insert(0, HOLD)
    lines.append(f"Ground            {_metres(place.ground, unit) or 'not surveyed'}")
    for name, elevation in place.layers.items():
        height = _metres(elevation, unit) or "not designed here"
        mark = unit.mark(place.cut[name])
        lines.append(f"{name:18s}{height}  {mark}{feet if mark else ''}".rstrip())
    lines += [
        f"Also {called} {format_length(offset)}: inside a tight curve the place"
        " lies square to more than one station"
        for called, (_, offset) in zip(place.others_called, place.other_feet, strict=True)
    ]
    return lines


def _metres(length: float, unit: Measures) -> str:
    """A height or a distance in metres; empty where unknown. Beside marks in feet it says so."""
    text = format_length(length)
    return f"{text} m" if text and unit.unit == "ft" else text


def table_words(table: Table) -> list[str]:
    """A table in aligned columns, for a terminal."""
    rows = [table.columns, *table.rows]
    widths = [max(len(row[k]) for row in rows) for k in range(len(table.columns))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


NOT_PRINTED = frozenset({"pregrade_cost"})
"""Tables of a lot that are for a picture, not for a terminal."""


def pregrade_words(height: Pregrade, haul: Haul, *, held: bool) -> list[str]:
    """The same for a person: each lot's words and tables, the haul plan, the honest notes."""
    said = [HOLD] if held else []
    for lot in height.lots:
        said += [*lot.words, ""]
        for table in lot.tables:
            if table.rows and table.name not in NOT_PRINTED:
                said += [f"{table.name.replace('_', ' ')}:", *table_words(table), ""]
    said += [*haul.words, ""]
    if haul.table is not None:
        said += [*table_words(haul.table), ""]
    return [*said, *height.honesty]
