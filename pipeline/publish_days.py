"""Two mornings of one job put beside one another, and the history of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipeline.compare import days, progress
from pipeline.crew.page import change as daychange
from pipeline.deliver.history import DayRecord
from pipeline.errors import InputError
from pipeline.model import Findings, Floats, Shots, Table
from pipeline.run import Day
from pipeline.units import round_half_away

FIXED_FATES = ("hub", "lid", "control")
"""What earthwork does not move: its change from day to day is the datum's."""


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


def change_words(before: Day, after: Day) -> tuple[tuple[str, ...], tuple[Table, ...]]:
    """Sentences and tables of what moved, for the page and for ``lath compare-days``."""
    shift, change = day_change(before, after)
    names = before.morning.inputs.day, after.morning.inputs.day
    return daychange.sentences(shift, change, names), (daychange.change_table(change),)


def change_findings(before: Day, after: Day) -> Findings:
    """What of two mornings a person has to look at: a datum that moved, a hub that was hit."""
    shift, _ = day_change(before, after)
    return daychange.findings(shift, (before.morning.inputs.day, after.morning.inputs.day))


def change_object(before: Day, after: Day) -> dict[str, Any]:
    """What ``lath compare-days --json`` prints; null where too little was shot to tell."""
    shift, change = day_change(before, after)
    sure = change.sure
    return {
        "before": before.morning.inputs.day,
        "after": after.morning.inputs.day,
        "datum": {
            "shift_m": _number(shift.shift_m, 1e-4),
            "se_m": _number(shift.se_m, 1e-4),
            "fixed_things": shift.things,
            "sure": shift.sure,
            "taken_off_m": _number(shift.taken_off_m, 1e-4),
            "moved_alone": list(shift.hit),
        },
        "stretches": [
            {
                "from": float(change.start[k]),
                "to": float(change.end[k]),
                "area_m2": _number(float(change.area_m2[k]), 0.01),
                "mean_m": _number(float(change.mean_m[k]), 1e-4),
                "sd_m": _number(float(change.sd_m[k]), 1e-4),
                "raised_m3": _number(float(change.raised_m3[k]), 1e-3),
                "lowered_m3": _number(float(change.lowered_m3[k]), 1e-3),
                "sure": bool(sure[k]),
            }
            for k in range(len(change.start))
        ],
    }


def _number(value: float, step: float) -> float | None:
    return None if np.isnan(value) else float(round_half_away(value, step))


def history_record(day: Day, package: str) -> DayRecord:
    """What the history keeps of a day."""
    return DayRecord(
        day=day.morning.inputs.day,
        package=package,
        held=day.held,
        shots_used=int(day.morning.used.sum()),
        quantities=day.quantities,
    )


def trend_tables(history: Sequence[DayRecord]) -> tuple[Table, ...]:
    """Progress of every layer over the days of the history; none before the second day.

    A held day is left out: its heights are not settled.
    """
    rows = progress.trend([(one.day, one.quantities) for one in history if not one.held])
    return (daychange.trend_table(rows),) if len(history) > 1 else ()
