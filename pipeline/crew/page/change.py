"""Yesterday against today in words and tables: the datum first, then what the blade moved."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipeline.compare.days import DayChange, Shift
from pipeline.compare.progress import Progress
from pipeline.crew.measures import METRIC, Measures
from pipeline.design.equations import named
from pipeline.model import Alignment, Finding, Findings, Table
from pipeline.model.telling import counted, listed
from pipeline.units import format_length

LEAST_M = 0.001


def sentences(
    shift: Shift, change: DayChange, days: tuple[str, str], unit: Measures = METRIC
) -> tuple[str, ...]:
    """What a foreman has to know of two mornings, the datum first.

    Parameters
    ----------
    shift : Shift
    change : DayChange
    days : (str, str)
        Before and after.
    unit : Measures
        What lengths and volumes are told in.
    """
    before, after = days
    sure = change.sure
    said = [_datum(shift, before, after, unit)]
    if shift.hit:
        names = listed(shift.hit)
        said.append(f"Moved on their own, so hit or shot wrong: {names}. Set them again.")
    raised = float(change.raised_m3[sure].sum())
    lowered = float(change.lowered_m3[sure].sum())
    said.append(
        f"Since {before}: {int(sure.sum())} of {len(sure)} stretches surely moved; in those"
        f" {unit.volume(lowered)} {unit.volume_unit} taken off and"
        f" {unit.volume(raised)} {unit.volume_unit} put on."
    )
    return tuple(said)


def _datum(shift: Shift, before: str, after: str, unit: Measures) -> str:
    things = f"{counted(shift.things, 'fixed thing')} shot on both days"
    if math.isnan(shift.shift_m):
        return (
            f"DATUM NOT CHECKED: only {things}. A change of the whole street cannot be told"
            " from a base on another height. Shoot at least three hubs, lids or control points."
        )
    size = f"{unit.fine(abs(shift.shift_m))} {unit.fine_unit}"
    # a standard error that rounds to nothing is still one
    known = f"+/- {unit.fine(max(shift.se_m, LEAST_M))} {unit.fine_unit}, {things}"
    if not shift.sure:
        return f"Datum: {after} agrees with {before} ({size} apart, {known})."
    way = "HIGHER" if shift.shift_m > 0 else "LOWER"
    return (
        f"DATUM: all fixed things stand {size} {way} on {after} ({known}). That is the base or"
        " the bench mark, not the grader; it is taken off below. Find out which morning is right"
        " before anyone digs by either."
    )


def findings(shift: Shift, days: tuple[str, str], unit: Measures = METRIC) -> Findings:
    """A datum that moved, and fixed things that moved alone: somebody has to look."""
    before, after = days
    found = []
    if shift.sure:
        found.append(
            Finding(
                "person",
                "datum shift",
                f"hubs, lids and control stand {unit.fine(abs(shift.shift_m))} {unit.fine_unit}"
                f" {'higher' if shift.shift_m > 0 else 'lower'} than on {before}"
                f" (+/- {unit.fine(max(shift.se_m, LEAST_M))} {unit.fine_unit},"
                f" {shift.things} of them)",
                f"check the base and its bench mark: {before} or {after} is wrong",
            )
        )
    if shift.hit:
        found.append(
            Finding(
                "person",
                "fixed thing moved",
                f"moved since {before} otherwise than the rest",
                "take it for hit until it is shot again",
                points=shift.hit,
            )
        )
    return tuple(found)


def change_table(
    change: DayChange, line: Alignment | None = None, unit: Measures = METRIC
) -> Table:
    """A row a stretch: mean change, whether it is sure, what was taken off and put on.

    Stations are as `line` names them.
    """
    volume = unit.volume_unit
    columns = (
        "from", f"moved {unit.unit}", "is it sure", f"off {volume}", f"on {volume}",
        f"known to {unit.unit}",
    )  # fmt: skip
    rows = [
        (
            named(line, change.start[k], step=1.0),
            _signed(float(change.mean_m[k]), unit),
            "sure" if change.sure[k] else "noise",
            unit.volume(float(change.lowered_m3[k])),
            unit.volume(float(change.raised_m3[k])),
            unit.long(float(change.sd_m[k]), 0.001),
        )
        for k in range(len(change.start))
    ]
    step = unit.long(float(change.end[0] - change.start[0]), 1.0) if rows else ""
    return Table(
        f"Moved since the day before, by {step} {unit.unit}",
        columns,
        tuple(rows),
        frozenset({"from", "is it sure"}),
    )


def _signed(metres: float, unit: Measures) -> str:
    """``down 0.048``: a word, for a bare sign is read either way."""
    text = unit.long(abs(metres), 0.001)
    if float(text) == 0:
        return text
    return f"{'up' if metres > 0 else 'down'} {text}"


SHOWN_DAYS = 10
"""Days of the trend that the page shows; the history file has all of them."""


def trend_table(rows: Sequence[Progress], unit: Measures = METRIC) -> Table:
    """A row a day and layer: what is left, and how much of the first day's work is done."""
    every = sorted({row.day for row in rows})
    latest = every[-SHOWN_DAYS:]
    volume = unit.volume_unit
    columns = (
        "day", "layer", f"cut {volume}", f"fill {volume}", f"left {unit.fine_unit}", "done %",
    )  # fmt: skip
    shown = tuple(
        (
            row.day,
            row.layer,
            unit.volume(row.cut_m3),
            unit.volume(row.fill_m3),
            unit.fine(row.left_m),
            format_length(row.per_cent, step=1.0),
        )
        for row in rows
        if row.day in latest
    )
    of = f", the last {len(latest)} of {len(every)} days" if len(latest) < len(every) else ""
    return Table(f"Progress by day and layer{of}", columns, shown, frozenset({"day", "layer"}))


def progress_sentences(rows: Sequence[Progress], unit: Measures = METRIC) -> tuple[str, ...]:
    """``clay 62 % of the work of 2026-05-14 done, 12 mm left``: a line a layer, as of today."""
    if not rows:
        return ()
    first: dict[str, str] = {}
    for row in rows:
        if not math.isnan(row.left_m):
            first.setdefault(row.layer, row.day)
    today = [row for row in rows if row.day == rows[-1].day and row.layer in first]
    return tuple(_progress(row, first[row.layer], unit) for row in today)


def _progress(row: Progress, first: str, unit: Measures) -> str:
    if math.isnan(row.left_m):
        return f"{row.layer}: nothing compared today"
    left = f"{unit.fine(row.left_m)} {unit.fine_unit} left on average"
    if math.isnan(row.per_cent):
        return f"{row.layer}: {left}, none on {first}"
    if row.day == first:
        return f"{row.layer}: {left}, compared for the first time"
    done = format_length(abs(row.per_cent), step=1.0)
    if row.per_cent < 0 and float(done):
        return f"{row.layer}: {done} % more to do than on {first}, {left}"
    return f"{row.layer}: {done} % of the work of {first} done, {left}"
