"""What is left to do before mixing and after, and what another spread rate changes: final text."""

from __future__ import annotations

import math

import numpy as np

from pipeline.compare.bulking import in_state
from pipeline.crew.measures import METRIC, Measures, measures
from pipeline.crew.pregrade.loads import clay_loads, loads_per_m3
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.remaining import Remaining
from pipeline.design.equations import named
from pipeline.model import Alignment, Table
from pipeline.settings import Job
from pipeline.settings_earthwork import Bulking, Hauling
from pipeline.units import format_length, ground_mark

_PLACE = frozenset({"from_station", "to_station"})


def remaining_table(
    left: Remaining, line: Alignment | None = None, unit: Measures = METRIC
) -> Table:
    """What lies where, what to do before mixing, and what stands over or lacks if nobody does.

    Loads are to a tenth: a stretch is not hauled by itself. ``out`` is hauled off, ``in``
    brought in. Metric for software; a page has the crew's unit.
    """
    rows = []
    for k in range(len(left.start)):
        depth = left.reshape_m3[k] / left.area_m2[k] if left.area_m2[k] > 0 else math.nan
        rows.append(
            (
                named(line, left.start[k]),
                named(line, left.end[k]),
                unit.area(left.area_m2[k]),
                low_words(left.low_m[k], unit),
                _do(depth, unit),
                unit.volume(left.reshape_m3[k]),
                load_words(left.reshape_loads[k]),
                unit.volume(left.surplus_m3[k]),
                load_words(left.surplus_loads[k]),
            )
        )
    small, volume = unit.small_unit, unit.volume_unit
    columns = (
        "from_station", "to_station", f"area_{unit.area_unit}", f"low_{small}", "before_mixing",
        f"before_mixing_{volume}", "before_mixing_loads", f"after_{volume}", "after_loads",
    )  # fmt: skip
    text = _PLACE | {"before_mixing", "before_mixing_loads", "after_loads"}
    return Table("pregrade_remaining", columns, tuple(rows), text)


def low_words(low_m: float, unit: Measures) -> str:
    """How low the clay lies: tenths of a centimetre, or hundredths of a foot, without a unit."""
    return unit.small(low_m) if unit.unit == "ft" else format_length(100 * low_m, step=0.1)


def _do(depth_m: float, unit: Measures) -> str:
    """What to take off or put on, worked to half a centimetre or a hundredth of a foot."""
    mark = ground_mark(depth_m, step=0.005)
    if unit.unit == "m" or mark in {"", "GRADE"}:
        return mark
    return f"{mark[0]} {unit.small(abs(depth_m))}"


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


def truck_words(hauling: Hauling, bulking: Bulking, unit: Measures = METRIC) -> str:
    """What a load is taken to be: the weakest number of the sheet is the loose factor."""
    loose = float(in_state(1.0, "compacted", "loose", bulking))
    box = f"{hauling.box_m3:g}" if unit.unit == "m" else unit.volume(hauling.box_m3)
    return (
        f"a load: box {box} {unit.volume_unit}, {100 * hauling.fill:g} % full, payload"
        f" {hauling.payload_t:g} t; {loose:.2f} {unit.volume_unit} loose for 1"
        f" {unit.volume_unit} compacted: count loads and correct it"
    )


def remaining_lines(left: Remaining, job: Job) -> tuple[str, ...]:
    """Loads out and in for the whole of it, before mixing and after, and what to try first."""
    unsurveyed = int(np.isnan(left.low_m).sum())
    unit = measures(job.rounding)
    more = (f"stretches not surveyed and not counted: {unsurveyed}",) if unsurveyed else ()
    return (
        *_before_words(left, unit),
        _after_words(left, job.bulking, unit),
        (
            "first re-pass the clay that is not mixed yet: there is no cement in it; then trim;"
            " hauling comes last"
        ),
        truck_words(job.hauling, job.bulking, unit),
        *more,
    )


def _before_words(left: Remaining, unit: Measures) -> tuple[str, ...]:
    found = left.before
    if found is None:
        return ()
    off, on = (f"{count} stretch{'' if count == 1 else 'es'}" for count in found.stretches)
    return (
        (
            f"before mixing, as the clay lies today: take off {unit.volume(found.off_m3)}"
            f" {unit.volume_unit} in {off}, {found.loads_out.words} to haul off; put on"
            f" {unit.volume(found.on_m3)} {unit.volume_unit} in {on},"
            f" {found.loads_in.words} to bring in; the first fills the second where it is near"
        ),
    )


def _after_words(left: Remaining, bulking: Bulking, unit: Measures) -> str:
    over, sd = left.net_m3, left.sd_m3
    loose = float(in_state(abs(over), "compacted", "loose", bulking))
    if over >= 0:
        return (
            f"if nothing is done: {unit.volume(over)} +- {unit.volume(sd)} {unit.volume_unit}"
            f" over the plane, {unit.volume(loose)} {unit.volume_unit} loose,"
            f" {left.loads_out.words} to haul off"
        )
    return (
        f"if nothing is done: {unit.volume(-over)} +- {unit.volume(sd)} {unit.volume_unit}"
        f" short, {left.gravel_t:.0f} t gravel"
    )


def change_lines(before: Decision, now: Decision, left: Remaining, job: Job) -> tuple[str, ...]:
    """What another spread rate changes, on clay that was graded for the one before."""
    rate = f"spread {before.rules.spread_kg_m2:g} -> {now.rules.spread_kg_m2:g} kg/m2"
    rise = now.belief.after.mean - before.belief.after.mean
    unit = measures(job.rounding)
    moved = unit.finest(rise)
    said = [f"{rate}: the clay rises {'' if rise < 0 else '+'}{moved} {unit.fine_unit}"]
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
        f"target {unit.step(abs(move))} {way} than before",
        (
            f"on clay graded for the rate before: {unit.volume(volume)} {unit.volume_unit} over"
            f" {unit.area(float(left.whole_m2.sum()))} {unit.area_unit}, {loads.words} {do}"
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
