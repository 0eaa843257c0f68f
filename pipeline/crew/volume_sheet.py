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
    units: Measures = METRIC,
) -> Table:
    """Cut and fill by stretch, and by lane where there are lanes; stations as `line` names them.

    With `errors` what holds 95 of 100 cases stands beside them. Metric for software; a page
    has the crew's unit.
    """

    def area(square_metres: float) -> str:
        metric = units.unit == "m"
        return format_length(square_metres, step=0.1) if metric else units.area(square_metres)

    rows = tuple(
        (
            named(line, found.start[k]) if np.isfinite(found.start[k]) else "before",
            named(line, found.end[k]) if np.isfinite(found.end[k]) else "after",
            found.lane[k],
            units.volume(found.cut_m3[k], 0.01),
            units.volume(found.fill_m3[k], 0.01),
            area(found.cut_area_m2[k]),
            area(found.fill_area_m2[k]),
            area(found.compared_area_m2[k]),
            area(found.uncovered_area_m2[k]),
            units.mark(float(found.mean_cut_m[k])),
            *(() if errors is None else either_way(errors, k, units)),
        )
        for k in range(len(found))
    )
    mean = f"mean_{units.unit}"
    cube, square, fine = units.volume_unit, units.area_unit, units.fine_unit
    columns: tuple[str, ...] = (
        "from_station", "to_station", "lane", f"cut_{cube}", f"fill_{cube}", f"cut_{square}",
        f"fill_{square}", f"compared_{square}", f"not_surveyed_{square}", mean,
    )  # fmt: skip
    if errors is not None:
        either = ("cut", cube), ("fill", cube), ("mean", fine)
        columns += tuple(f"{what}_give_or_take_{unit}" for what, unit in either)
    name = f"volumes_{column_name(found.layer)}"
    return Table(name, columns, rows, frozenset(columns[:3]) | {mean})


def either_way(errors: StretchErrors, k: int, units: Measures = METRIC) -> tuple[str, ...]:
    """What holds cut, fill and mean of a stretch in 95 of 100 cases; empty: too few shots."""
    return (
        units.volume(NINETY_FIVE * errors.cut_m3[k]),
        units.volume(NINETY_FIVE * errors.fill_m3[k]),
        units.fine(NINETY_FIVE * errors.mean_m[k]),
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
    found: SectionVolumes, line: Alignment | None = None, units: Measures = METRIC
) -> tuple[str, ...]:
    """Totals by each method, and why they differ where they do."""
    said = []
    for what in ("cut", "fill"):
        exact = float(getattr(found, f"exact_{what}_m3").sum())
        words = [f"{what} {units.volume(exact)} {units.volume_unit} exact"]
        for method, title in (("end_area", "average end area"), ("prismoidal", "prismoidal")):
            total = float(getattr(found, f"{method}_{what}_m3").sum())
            off = found.off_by(method, what)
            share = "" if math.isnan(off) else f" ({100 * off:+.1f} %)"
            words.append(f"{title} {units.volume(total)}{share}")
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
            f" and counts nothing, most {units.long(found.unseen_m[worst], 0.01)} {units.unit}"
            f" between {named(line, found.start[worst])} and {named(line, found.end[worst])}"
        )
    return tuple(said)


def plus_minus(value: float, error: StandardError, units: Measures = METRIC) -> str:
    """``118 m3 +- 9``: volume and what holds it in 95 of 100 cases.

    Examples
    --------
    >>> plus_minus(118.2, StandardError(900.0, 2.0, 3.0, 2.7))
    '118 m3 +- 9'
    """
    if math.isnan(error.total):
        return f"{units.volume(value)} {units.volume_unit}, too few shots to say how sure"
    volume, either = sure_to(value, error, units)
    return f"{volume} {units.volume_unit} +- {either}"


def sure_to(value: float, error: StandardError, units: Measures) -> tuple[str, str]:
    """A volume and what holds it in 95 of 100 cases, both as fine as that deserves."""
    either = NINETY_FIVE * error.total
    step = 1.0 if either >= 2 else 0.1
    return units.volume(value, step), units.volume(either, step)


def uncertainty_lines(
    quantity: Quantity, found: Uncertainty, units: Measures = METRIC
) -> tuple[str, ...]:
    """How sure cut, fill and mean are, in 95 of 100 cases, and what it hangs on."""
    said = [
        (
            f"cut {plus_minus(quantity.cut_m3, found.cut, units)},"
            f" fill {plus_minus(quantity.fill_m3, found.fill, units)} (95 of 100 cases)"
        ),
    ]
    net = found.net
    if math.isnan(net.total):
        return tuple(said)
    mean = units.mark(quantity.mean_cut_m)
    parts = ", ".join(
        f"{title} {units.finest(NINETY_FIVE * value / net.area_m2)}"
        for title, value in (
            ("bench and set-up", net.systematic),
            ("ground between the shots", net.between),
            ("single shots", net.instrument),
        )
    )
    either = f"{units.fine(NINETY_FIVE * net.mean_m)} {units.fine_unit}"
    said.append(f"mean {mean} {units.unit} +- {either}: {parts} {units.fine_unit}")
    if abs(found.cut.missed) > MISSED_SHARE * found.cut.total:
        said.append(
            f"cut and fill are likely {units.volume(abs(found.cut.missed))} {units.volume_unit}"
            f" {'larger' if found.cut.missed > 0 else 'smaller'} each: the ground waves between"
            " the shots"
        )
    said.append(f"ground between the shots: {found.roughness.method}")
    if found.thinned:
        said.append("so many shots that only some were used to work out how sure this is")
    return tuple(said)


def state_lines(quantity: Quantity, bulking: Bulking, units: Measures = METRIC) -> tuple[str, ...]:
    """Cut and fill in the bank, loose and compacted."""
    said = []
    for what, of, volume in (
        ("cut", "bank", quantity.cut_m3),
        ("fill", "compacted", quantity.fill_m3),
    ):
        states = (
            f"{units.volume(float(in_state(volume, of, to, bulking)))} {to}"  # type: ignore[arg-type]
            for to in ("bank", "loose", "compacted")
        )
        said.append(f"{what} {units.volume_unit}: {', '.join(states)}")
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
    units: Measures = METRIC,
) -> tuple[str, ...]:
    """Lengths to take from or add to, and what is left alone."""
    said = [
        f"{named(line, one.start)} to {named(line, one.end)}: {_depth(one.depth_m, units)} over"
        f" {units.area(one.area_m2)} {units.area_unit},"
        f" {units.volume(abs(one.volume_m3))} {units.volume_unit}"
        for one in found.out
    ]
    if not said:
        said.append(
            f"the mean over {units.long(rules.balance_m, 1.0)} {units.unit} is good everywhere"
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


def _depth(depth_m: float, units: Measures) -> str:
    mark = ground_mark(depth_m, step=0.005)
    if mark == "GRADE":
        return "less than half a centimetre off" if units.unit == "m" else "less than 0.01 ft off"
    way = "take off" if depth_m > 0 else "put on"
    if units.unit == "m":
        return f"{way} {mark.split()[1]} cm"
    return f"{way} {units.step(abs(depth_m))}"
