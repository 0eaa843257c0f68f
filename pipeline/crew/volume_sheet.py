"""Volumes as the foreman and the pay sheet read them: rows and lines, final."""

from __future__ import annotations

import math

import numpy as np

from pipeline.compare.balance import Balance
from pipeline.compare.bulking import in_state
from pipeline.compare.cross_sections import SectionVolumes
from pipeline.compare.intervals import Intervals
from pipeline.compare.next_shots import NextShots
from pipeline.compare.stretch_errors import StretchErrors
from pipeline.compare.uncertainty import StandardError, Uncertainty
from pipeline.crew.hubs.stakes import column_name
from pipeline.crew.measures import METRIC, Measures
from pipeline.design.equations import named
from pipeline.model import Alignment, Quantity, Table
from pipeline.model.telling import counted
from pipeline.settings_earthwork import Bulking, Volumes
from pipeline.units import format_length, format_side, ground_mark

NINETY_FIVE = 1.96
"""Standard deviations either side that hold 95 of 100 cases: REF-AC-3 of the references."""
EXPLAIN = 0.03
"""End areas that differ by more from the exact volume are explained."""
MISSED_SHARE = 0.5
"""What the triangles miss is said where it is more than this many standard errors."""


def interval_table(
    found: Intervals,
    line: Alignment | None = None,
    errors: StretchErrors | None = None,
    unit: Measures = METRIC,
) -> Table:
    """Cut and fill by stretch, and by lane where there are lanes; stations as `line` names them.

    With `errors` what holds 95 of 100 cases stands beside them. Metric for software; a page
    has the crew's unit.
    """

    def area(square_metres: float) -> str:
        metric = unit.unit == "m"
        return format_length(square_metres, step=0.1) if metric else unit.area(square_metres)

    rows = tuple(
        (
            named(line, found.start[k]) if np.isfinite(found.start[k]) else "before",
            named(line, found.end[k]) if np.isfinite(found.end[k]) else "after",
            found.lane[k],
            unit.volume(found.cut_m3[k], 0.01),
            unit.volume(found.fill_m3[k], 0.01),
            area(found.cut_area_m2[k]),
            area(found.fill_area_m2[k]),
            area(found.compared_area_m2[k]),
            area(found.uncovered_area_m2[k]),
            unit.mark(float(found.mean_cut_m[k])),
            *(() if errors is None else either_way(errors, k, unit)),
        )
        for k in range(len(found))
    )
    mean = f"mean_{unit.unit}"
    cube, square, fine = unit.volume_unit, unit.area_unit, unit.fine_unit
    columns: tuple[str, ...] = (
        "from_station", "to_station", "lane", f"cut_{cube}", f"fill_{cube}", f"cut_{square}",
        f"fill_{square}", f"compared_{square}", f"not_surveyed_{square}", mean,
    )  # fmt: skip
    if errors is not None:
        either = ("cut", cube), ("fill", cube), ("mean", fine)
        columns += tuple(f"{what}_give_or_take_{of}" for what, of in either)
    name = f"volumes_{column_name(found.layer)}"
    return Table(name, columns, rows, frozenset(columns[:3]) | {mean})


def either_way(errors: StretchErrors, k: int, unit: Measures = METRIC) -> tuple[str, ...]:
    """What holds cut, fill and mean of a stretch in 95 of 100 cases; empty: too few shots."""
    return (
        unit.volume(NINETY_FIVE * errors.cut_m3[k]),
        unit.volume(NINETY_FIVE * errors.fill_m3[k]),
        unit.fine(NINETY_FIVE * errors.mean_m[k]),
    )


def section_table(found: SectionVolumes, line: Alignment | None = None) -> Table:
    """End areas and prismoids by stretch, beside the exact volume.

    ``not_surveyed_width_m`` is the widest part of the layer that no shot covers at the
    sections of a stretch: every volume of its row counts nothing there.
    """
    rows = []
    for k in range(len(found.start)):
        values = (
            getattr(found, f"{method}_{what}_m3")[k]
            for what in ("cut", "fill")
            for method in ("end_area", "prismoidal", "curve", "exact")
        )
        rows.append(
            (
                named(line, found.start[k]),
                named(line, found.end[k]),
                *(format_length(float(value), step=0.01) for value in values),
                format_length(float(found.unseen_m[k]), step=0.01),
            )
        )
    methods = ("end_area", "prismoidal", "curve_correction", "exact")
    numbers = (f"{what}_{method}_m3" for what in ("cut", "fill") for method in methods)
    columns = ("from_station", "to_station", *numbers, "not_surveyed_width_m")
    name = f"sections_{column_name(found.layer)}"
    return Table(name, columns, tuple(rows), frozenset(columns[:2]))


def section_lines(
    found: SectionVolumes, line: Alignment | None = None, unit: Measures = METRIC
) -> tuple[str, ...]:
    """Totals by each method, and why they differ where they do."""
    said = []
    for what in ("cut", "fill"):
        exact = float(getattr(found, f"exact_{what}_m3").sum())
        words = [f"{what} {unit.volume(exact)} {unit.volume_unit} exact"]
        for method, title in (("end_area", "average end area"), ("prismoidal", "prismoidal")):
            total = float(getattr(found, f"{method}_{what}_m3").sum())
            off = found.off_by(method, what)
            share = "" if math.isnan(off) else f" ({100 * off:+.1f} %)"
            words.append(f"{title} {unit.volume(total)}{share}")
        said.append(", ".join(words))
        if abs(found.off_by("end_area", what)) > EXPLAIN:
            said.append(
                f"  {what} by end areas is more than {100 * EXPLAIN:.0f} % off: it begins, ends or"
                " bends between the sections; take sections closer together"
            )
    short = np.flatnonzero(np.nan_to_num(found.unseen_m) > 0)
    if len(short):
        worst = short[np.argmax(found.unseen_m[short])]
        said.append(
            f"  in {len(short)} of {len(found.start)} stretches part of the width is not surveyed"
            f" and counts nothing, most {unit.long(found.unseen_m[worst], 0.01)} {unit.unit}"
            f" between {named(line, found.start[worst])} and {named(line, found.end[worst])}"
        )
    return tuple(said)


def plus_minus(value: float, error: StandardError, unit: Measures = METRIC) -> str:
    """``118 m3 +- 9``: volume and what holds it in 95 of 100 cases.

    Examples
    --------
    >>> plus_minus(118.2, StandardError(900.0, 2.0, 3.0, 2.7))
    '118 m3 +- 9'
    """
    if math.isnan(error.total):
        return f"{unit.volume(value)} {unit.volume_unit}, too few shots to say how sure"
    volume, either = sure_to(value, error, unit)
    return f"{volume} {unit.volume_unit} +- {either}"


def sure_to(value: float, error: StandardError, unit: Measures) -> tuple[str, str]:
    """A volume and what holds it in 95 of 100 cases, both as fine as that deserves."""
    either = NINETY_FIVE * error.total
    step = 1.0 if either >= 2 else 0.1
    return unit.volume(value, step), unit.volume(either, step)


def uncertainty_lines(
    quantity: Quantity, found: Uncertainty, unit: Measures = METRIC
) -> tuple[str, ...]:
    """How sure cut, fill and mean are, in 95 of 100 cases, and what it hangs on."""
    said = [
        (
            f"cut {plus_minus(quantity.cut_m3, found.cut, unit)},"
            f" fill {plus_minus(quantity.fill_m3, found.fill, unit)} (95 of 100 cases)"
        ),
    ]
    net = found.net
    if math.isnan(net.total):
        return tuple(said)
    mean = unit.mark(quantity.mean_cut_m)
    parts = ", ".join(
        f"{title} {unit.finest(NINETY_FIVE * value / net.area_m2)}"
        for title, value in (
            ("bench and set-up", net.systematic),
            ("ground between the shots", net.between),
            ("single shots", net.instrument),
        )
    )
    either = f"{unit.fine(NINETY_FIVE * net.mean_m)} {unit.fine_unit}"
    said.append(f"mean {mean} {unit.unit} +- {either}: {parts} {unit.fine_unit}")
    if abs(found.cut.missed) > MISSED_SHARE * found.cut.total:
        said.append(
            f"cut and fill are likely {unit.volume(abs(found.cut.missed))} {unit.volume_unit}"
            f" {'larger' if found.cut.missed > 0 else 'smaller'} each: the ground waves between"
            " the shots"
        )
    said.append(f"ground between the shots: {found.roughness.method}")
    if found.thinned:
        said.append("so many shots that only some were used to work out how sure this is")
    return tuple(said)


def state_lines(quantity: Quantity, bulking: Bulking, unit: Measures = METRIC) -> tuple[str, ...]:
    """Cut and fill in the bank, loose and compacted."""
    said = []
    for what, of, volume in (
        ("cut", "bank", quantity.cut_m3),
        ("fill", "compacted", quantity.fill_m3),
    ):
        states = (
            f"{unit.volume(float(in_state(volume, of, to, bulking)))} {to}"  # type: ignore[arg-type]
            for to in ("bank", "loose", "compacted")
        )
        said.append(f"{what} {unit.volume_unit}: {', '.join(states)}")
    return tuple(said)


def next_shot_table(found: NextShots, line: Alignment | None = None) -> Table:
    """Where to shoot next, the most useful first."""
    rows = tuple(
        (
            str(k + 1),
            named(line, found.station[k]),
            format_side(found.offset[k]),
            format_length(abs(found.offset[k]), step=0.1),
            format_length(100 * found.left[k], step=1.0),
        )
        for k in range(len(found))
    )
    columns = ("number", "station", "side", "offset_m", "error_left_percent")
    return Table("next_shots", columns, rows, frozenset({"station", "side"}))


def balance_table(found: Balance, line: Alignment | None = None) -> Table:
    """Own mean and rolling mean by stretch, and the verdict."""
    rows = tuple(
        (
            named(line, found.start[k]),
            named(line, found.end[k]),
            format_length(1000 * found.own[k], step=1.0),
            format_length(1000 * found.mean[k], step=1.0),
            format_length(1000 * found.error[k], step=0.1) if np.isfinite(found.error[k]) else "",
            str(found.shots[k]),
            found.verdict[k],
        )
        for k in range(len(found.start))
    )
    columns = (
        "from_station", "to_station", "own_mm", "mean_mm", "error_mm", "shots", "verdict",
    )  # fmt: skip
    return Table("balance", columns, rows, frozenset({"from_station", "to_station", "verdict"}))


def balance_lines(
    found: Balance,
    rules: Volumes,
    line: Alignment | None = None,
    unit: Measures = METRIC,
) -> tuple[str, ...]:
    """Lengths to take from or add to, and what is left alone."""
    said = [
        f"{named(line, one.start)} to {named(line, one.end)}: {_depth(one.depth_m, unit)} over"
        f" {unit.area(one.area_m2)} {unit.area_unit},"
        f" {unit.volume(abs(one.volume_m3))} {unit.volume_unit}"
        for one in found.out
    ]
    if not said:
        said.append(
            f"the mean over {unit.long(rules.balance_m, 1.0)} {unit.unit} is good everywhere"
        )
    for verdict, text in (
        ("left alone", "high or low by themselves, evened out by their neighbours: left alone"),
        ("spot", "so far off that they are bladed into their neighbours"),
        ("not shown", "with too few shots to say that the mean is good"),
        ("not surveyed", "not surveyed"),
    ):
        count = int((found.verdict == verdict).sum())
        if count:
            said.append(f"{counted(count, 'stretch', 'stretches')} {text}")
    return tuple(said)


def _depth(depth_m: float, unit: Measures) -> str:
    mark = ground_mark(depth_m, step=0.005)
    if mark == "GRADE":
        return "less than half a centimetre off" if unit.unit == "m" else "less than 0.01 ft off"
    way = "take off" if depth_m > 0 else "put on"
    if unit.unit == "m":
        return f"{way} {mark.split()[1]} cm"
    return f"{way} {unit.step(abs(depth_m))}"
