"""What is left to do before mixing and after, and what another spread rate changes: final text."""

from __future__ import annotations

import math

import numpy as np

from pipeline.compare.bulking import in_state
from pipeline.crew.pregrade.loads import clay_loads, loads_per_m3
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.remaining import Remaining
from pipeline.design.equations import named
from pipeline.model import Alignment, Table
from pipeline.settings import Job
from pipeline.settings_earthwork import Bulking, Hauling
from pipeline.units import format_length, ground_mark

_PLACE = frozenset({"from_station", "to_station"})


def remaining_table(left: Remaining, line: Alignment | None = None) -> Table:
    """What lies where, what to do before mixing, and what stands over or lacks if nobody does.

    Loads are to a tenth: a stretch is not hauled by itself. ``out`` is hauled off, ``in``
    brought in.
    """
    rows = []
    for k in range(len(left.start)):
        depth = left.reshape_m3[k] / left.area_m2[k] if left.area_m2[k] > 0 else math.nan
        rows.append(
            (
                named(line, left.start[k]),
                named(line, left.end[k]),
                format_length(left.area_m2[k], step=1.0),
                format_length(100 * left.low_m[k], step=0.1),
                ground_mark(depth, step=0.005),
                format_length(left.reshape_m3[k], step=0.1),
                load_words(left.reshape_loads[k]),
                format_length(left.surplus_m3[k], step=0.1),
                load_words(left.surplus_loads[k]),
            )
        )
    columns = (
        "from_station", "to_station", "area_m2", "low_cm", "before_mixing", "before_mixing_m3",
        "before_mixing_loads", "after_m3", "after_loads",
    )  # fmt: skip
    text = _PLACE | {"before_mixing", "before_mixing_loads", "after_loads"}
    return Table("pregrade_remaining", columns, tuple(rows), text)


def load_words(loads: float) -> str:
    """``1.4 out`` or ``0.3 in``, to a tenth; ``0`` for less, empty where there is none to say.

    Examples
    --------
    >>> load_words(1.44), load_words(-0.3), load_words(0.04), load_words(float("nan"))
    ('1.4 out', '0.3 in', '0', '')
    """
    amount = format_length(abs(loads), step=0.1)
    if not amount or float(amount) == 0:
        return amount and "0"
    return f"{amount} {'out' if loads > 0 else 'in'}"


def truck_words(hauling: Hauling, bulking: Bulking) -> str:
    """What a load is taken to be: the weakest number of the sheet is the loose factor."""
    loose = float(in_state(1.0, "compacted", "loose", bulking))
    return (
        f"a load: box {hauling.box_m3:g} m3, {100 * hauling.fill:g} % full, payload"
        f" {hauling.payload_t:g} t; {loose:.2f} m3 loose for 1 m3 compacted: count loads and"
        " correct it"
    )


def remaining_lines(left: Remaining, job: Job) -> tuple[str, ...]:
    """Loads out and in for the whole of it, before mixing and after, and what to try first."""
    unsurveyed = int(np.isnan(left.low_m).sum())
    more = (f"stretches not surveyed and not counted: {unsurveyed}",) if unsurveyed else ()
    return (
        *_before_words(left),
        _after_words(left, job.bulking),
        (
            "first re-pass the clay that is not mixed yet: there is no cement in it; then trim;"
            " hauling comes last"
        ),
        truck_words(job.hauling, job.bulking),
        *more,
    )


def _before_words(left: Remaining) -> tuple[str, ...]:
    found = left.before
    if found is None:
        return ()
    off, on = (f"{count} stretch{'' if count == 1 else 'es'}" for count in found.stretches)
    return (
        (
            f"before mixing, as the clay lies today: take off {found.off_m3:.1f} m3 in {off},"
            f" {found.loads_out.words} to haul off; put on {found.on_m3:.1f} m3 in {on},"
            f" {found.loads_in.words} to bring in; the first fills the second where it is near"
        ),
    )


def _after_words(left: Remaining, bulking: Bulking) -> str:
    over, sd = left.net_m3, left.sd_m3
    loose = float(in_state(abs(over), "compacted", "loose", bulking))
    if over >= 0:
        return (
            f"if nothing is done: {over:.1f} +- {sd:.1f} m3 over the plane, {loose:.1f} m3 loose,"
            f" {left.loads_out.words} to haul off"
        )
    return f"if nothing is done: {-over:.1f} +- {sd:.1f} m3 short, {left.gravel_t:.0f} t gravel"


def change_lines(before: Decision, now: Decision, left: Remaining, job: Job) -> tuple[str, ...]:
    """What another spread rate changes, on clay that was graded for the one before."""
    rate = f"spread {before.rules.spread_kg_m2:g} -> {now.rules.spread_kg_m2:g} kg/m2"
    rise = 1000 * (now.belief.after.mean - before.belief.after.mean)
    said = [f"{rate}: the clay rises {rise:+.1f} mm"]
    if before.lowering is None or now.lowering is None:
        return tuple(said)
    move = now.lowering - before.lowering
    if not move:
        return (*said, "target as before")
    volume = abs(move) * float(left.whole_m2.sum())
    loads = clay_loads(volume, 0.0, job.hauling, job.bulking)
    way, do = ("lower", "to haul off") if move > 0 else ("higher", "to bring in")
    return (
        *said,
        f"target {format_length(abs(100 * move), step=0.1)} cm {way} than before",
        (
            f"on clay graded for the rate before: {volume:.1f} m3 over {left.whole_m2.sum():.0f}"
            f" m2, {loads.words} {do}"
        ),
    )


def change_table(
    before: Decision,
    now: Decision,
    left: Remaining,
    job: Job,
    line: Alignment | None = None,
) -> Table:
    """The change of the target by stretch; no rows where there is no target to change."""
    columns = ("from_station", "to_station", "area_m2", "was_low_cm", "now_low_cm", "do", "m3",
               "loads")  # fmt: skip
    text = _PLACE | {"do", "loads"}
    if before.lowering is None or now.lowering is None:
        return Table("pregrade_change", columns, (), text)
    move = now.lowering - before.lowering
    each = loads_per_m3(job.hauling, job.bulking)
    rows = tuple(
        (
            named(line, left.start[k]),
            named(line, left.end[k]),
            format_length(left.whole_m2[k], step=1.0),
            format_length(100 * before.lowering, step=0.1),
            format_length(100 * now.lowering, step=0.1),
            ground_mark(move, step=0.005),
            format_length(move * left.whole_m2[k], step=0.1),
            load_words(move * left.whole_m2[k] * each),
        )
        for k in range(len(left.start))
    )
    return Table("pregrade_change", columns, rows, text)
