"""What a height costs, what each input moves, and the mass diagram, to be drawn."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np

from pipeline.crew.haul.moves import MassHaul
from pipeline.crew.measures import METRIC, YARD_M3, Measures
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.remaining_sheet import low_words
from pipeline.crew.pregrade.sheet import tornado
from pipeline.crew.pregrade.target import EQUAL
from pipeline.design.equations import named
from pipeline.model import Alignment, Floats
from pipeline.model.curves import Bar, BarChart, CurveChart, Ticks
from pipeline.units import FOOT_M, format_length

T = TypeVar("T", float, Floats)
TICKS = 6


def cost_chart(found: Decision, unit: Measures = METRIC) -> CurveChart | None:
    """Expected cost over the whole lot by how far the clay is left low; None without costs."""
    if found.curve is None or found.target is None:
        return None
    prices, area = found.target.prices, found.lot.area_m2
    low = _low(found.curve.lowering_m, unit)
    cost = found.curve.cost_m2 * area
    reach = float(low.min()), float(low.max())
    equal = prices.origin == EQUAL
    of = f"{unit.volume_unit} over or short" if equal else (prices.currency or "cost")
    exact = found.target.exact
    marks = [(float(_low(exact, unit)), f"least {low_words(exact, unit)}")]
    if found.lowering is not None:
        chosen = low_words(found.lowering, unit)
        marks.append((float(_low(found.lowering, unit)), f"leave {chosen}"))
    return CurveChart(
        title=f"What it costs to be wrong: {found.lot.name}",
        x_label=f"clay left low, {unit.small_unit} (- is high)",
        y_label=f"expected {of} over {unit.area(area)} {unit.area_unit}",
        x=low,
        y=cost,
        x_ticks=within(ticks(*reach), *reach),
        y_ticks=ticks(0.0, float(cost.max())),
        marks=tuple(marks),
    )


def tornado_chart(found: Decision, unit: Measures = METRIC) -> BarChart:
    """What each input moves when it is off by its standard error, the largest first."""
    rows = tornado(found, unit).rows
    by = unit.of_long(1.0) if unit.unit == "ft" else 1000.0
    return BarChart(
        title=f"What each input moves: {found.lot.name}",
        x_label=f"change of the rise, {unit.fine_unit}",
        bars=tuple(
            Bar(f"{what}, {change}", by * effect.low_m, by * effect.high_m, low, high)
            for effect, (what, change, low, high) in zip(found.effects, rows, strict=True)
        ),
    )


def mass_chart(found: MassHaul, line: Alignment, unit: Measures = METRIC) -> CurveChart | None:
    """The mass diagram: cut less what the fill needs, added up along the street."""
    if len(found.station) < 2:
        return None
    first, last = float(found.station[0]), float(found.station[-1])
    ordinate = found.ordinate / YARD_M3 if unit.unit == "ft" else found.ordinate
    low, high = min(float(ordinate.min()), 0.0), max(float(ordinate.max()), 0.0)
    stations = [at for at, _ in within(ticks(first, last), first, last)]
    return CurveChart(
        title="Mass diagram: rising where there is more cut than the fill needs",
        x_label="station",
        y_label=f"cut less need of the fill, bank {unit.volume_unit}",
        x=found.station,
        y=ordinate,
        x_ticks=tuple((at, named(line, at)) for at in stations),
        y_ticks=ticks(low, high),
        zero=True,
    )


def ticks(low: float, high: float) -> Ticks:
    """Round numbers from `low` to `high`, some six of them, one, two or five times a power of ten.

    Examples
    --------
    >>> [text for _, text in ticks(-0.8, 4.1)]
    ['-1', '0', '1', '2', '3', '4', '5']
    """
    spread = max(high - low, 1e-6)
    power = 10.0 ** math.floor(math.log10(spread / TICKS))
    step = next(power * by for by in (1, 2, 5, 10) if power * by * TICKS >= spread * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    at = step * np.arange(first, last + 1)
    return tuple((float(one), format_length(float(one), step=step)) for one in at)


def within(marks: Ticks, low: float, high: float) -> Ticks:
    """The ticks that lie inside a reach."""
    return tuple(mark for mark in marks if low - 1e-9 <= mark[0] <= high + 1e-9)


def _low(low_m: T, unit: Measures) -> T:
    """Centimetres, or feet."""
    return low_m / FOOT_M if unit.unit == "ft" else 100.0 * low_m
