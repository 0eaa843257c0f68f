"""Two mornings of one job put beside one another, and the history of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.compare import days, progress
from pipeline.crew.measures import METRIC, Measures, measures
from pipeline.crew.page import change as daychange
from pipeline.deliver import history
from pipeline.deliver.history import DayRecord
from pipeline.design.equations import station_text
from pipeline.errors import InputError, OutputError
from pipeline.model import Finding, Findings, Floats, Shots, Table
from pipeline.objects import number
from pipeline.run import Day, sorted_findings

FIXED_FATES = ("hub", "lid", "control")
"""What earthwork does not move: its change from day to day is the datum's."""


NOT_KEPT = "history not kept"
"""Kind of the finding on a history that cannot be used."""


def day_change(before: Day, after: Day) -> tuple[days.Shift, days.DayChange]:
    """The datum's shift between two mornings, and what moved besides.

    Raises
    ------
    InputError
        The two mornings have no ground in common.
    """
    rules = after.morning.inputs.job.checks
    things = days.fixed_things(_fixed(before), _fixed(after))
    shift = days.datum_shift(things, least_m=rules.fixed_moved_m)
    change = days.compare_days(
        (before.ground, after.ground),
        (_noise(before), _noise(after)),
        after.morning.corridor.alignment,
        shift,
    )
    if not len(change.start):
        raise InputError(
            f"days {before.morning.inputs.day} and {after.morning.inputs.day}",
            "their shots have no ground in common",
            "compare two mornings of the same stretch",
        )
    return shift, change


def _fixed(day: Day) -> Shots:
    morning = day.morning
    return morning.shots.take(np.isin(morning.fate, FIXED_FATES))


def _noise(day: Day) -> Floats:
    """Standard deviation of every vertex: root mean square of what the shots state [m]."""
    morning = day.morning
    stated = morning.shots.sigma_v[morning.rows("in the surface")]
    known = np.where(np.isnan(stated), morning.inputs.job.checks.default_sigma_v_m, stated)
    sd = float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
    return np.full(len(day.ground.x), sd)


def since(before: Day | None, after: Day) -> tuple[days.Shift, days.DayChange] | None:
    """What moved since the morning before; None where there is none, or no common ground."""
    if before is None:
        return None
    try:
        return day_change(before, after)
    except InputError:
        return None


def change_words(before: Day, after: Day) -> tuple[tuple[str, ...], tuple[Table, ...]]:
    """Sentences and tables of what moved, for the page and for ``lath compare-days``."""
    shift, change = after.since or day_change(before, after)
    names = before.morning.inputs.day, after.morning.inputs.day
    line = after.morning.corridor.alignment
    unit = measures(after.morning.inputs.job.rounding)
    said = daychange.sentences(shift, change, names, unit)
    return said, (daychange.change_table(change, line, unit),)


def change_findings(before: Day, after: Day) -> Findings:
    """What of two mornings a person has to look at: a datum that moved, a hub that was hit."""
    shift, _ = after.since or day_change(before, after)
    pair = before.morning.inputs.day, after.morning.inputs.day
    return daychange.findings(shift, pair, measures(after.morning.inputs.job.rounding))


def change_object(before: Day, after: Day) -> dict[str, Any]:
    """What ``lath compare-days --json`` prints; null where too little was shot to tell."""
    shift, change = day_change(before, after)
    sure, line = change.sure, after.morning.corridor.alignment
    return {
        "before": before.morning.inputs.day,
        "after": after.morning.inputs.day,
        "datum": {
            "shift_m": number(shift.shift_m, 1e-4),
            "se_m": number(shift.se_m, 1e-4),
            "fixed_things": shift.things,
            "sure": shift.sure,
            "taken_off_m": number(shift.taken_off_m, 1e-4),
            "moved_alone": list(shift.hit),
        },
        "stretches": [
            {
                "from": float(change.start[k]),
                "to": float(change.end[k]),
                "from_station": station_text(line, float(change.start[k])),
                "to_station": station_text(line, float(change.end[k])),
                "area_m2": number(float(change.area_m2[k]), 0.01),
                "mean_m": number(float(change.mean_m[k]), 1e-4),
                "sd_m": number(float(change.sd_m[k]), 1e-4),
                "raised_m3": number(float(change.raised_m3[k]), 1e-3),
                "lowered_m3": number(float(change.lowered_m3[k]), 1e-3),
                "sure": bool(sure[k]),
            }
            for k in range(len(change.start))
        ],
    }


def history_record(day: Day, package: str) -> DayRecord:
    """What the history keeps of a day."""
    return DayRecord(
        day=day.morning.inputs.day,
        package=package,
        held=day.held,
        shots_used=int(day.morning.used.sum()),
        quantities=day.quantities,
    )


def trend(history: Sequence[DayRecord], today: DayRecord) -> tuple[progress.Progress, ...]:
    """Progress of every layer from the history's first day up to `today`.

    Later days are left out, so that a day run again gives the page that it gave; so are
    held days, whose heights are not settled. Nothing where there is one day only.
    """
    if today.held:
        return ()
    earlier = [one for one in history if one.day < today.day]
    counted = [one for one in (*earlier, today) if not one.held]
    if len(counted) < 2:
        return ()
    return progress.trend([(one.day, one.quantities) for one in counted])


def with_trend(day: Day, path: Path, package: str) -> Day:
    """The day with the trend of the history at `path`; a finding where that cannot be used."""
    today = history_record(day, package)
    try:
        kept = history.records(path, day.morning.inputs.job.name)
    except OutputError as refusal:
        found = Finding("person", NOT_KEPT, f"{refusal.which}: {refusal.found}",
                        refusal.do)  # fmt: skip
        return replace(day, findings=sorted_findings((*day.findings, found)))
    return replace(day, trend=trend(kept, today))


def keep(day: Day, path: Path, package: str) -> str:
    """Put the day into the history at `path`; what hinders it, unless a finding says so already."""
    if any(finding.kind == NOT_KEPT for finding in day.findings):
        return ""
    try:
        history.record(path, day.morning.inputs.job.name, history_record(day, package))
    except OutputError as refusal:
        return str(refusal)
    return ""


def trend_tables(rows: Sequence[progress.Progress], unit: Measures = METRIC) -> tuple[Table, ...]:
    """Progress by day and layer, the last days of it; none without a trend."""
    return (daychange.trend_table(rows, unit),) if rows else ()


def progress_words(rows: Sequence[progress.Progress], unit: Measures = METRIC) -> tuple[str, ...]:
    """How much of the first day's work is done today, by layer; nothing without a trend."""
    return daychange.progress_sentences(rows, unit)
