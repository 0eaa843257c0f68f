"""What a height costs, what each input moves, and the mass diagram, to be drawn."""

from __future__ import annotations

import math

import numpy as np

from pipeline.crew.haul.moves import MassHaul
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.target import EQUAL
from pipeline.design.equations import named
from pipeline.model import Alignment
from pipeline.model.curves import Bar, BarChart, CurveChart, Ticks
from pipeline.units import format_length

TICKS = 6


def cost_chart(found: Decision) -> CurveChart | None:
    """Expected cost over the whole lot by how far the clay is left low; None without costs."""
    if found.curve is None or found.target is None:
        return None
    prices, area = found.target.prices, found.lot.area_m2
    low = 100 * found.curve.lowering_m
    cost = found.curve.cost_m2 * area
    reach = float(low.min()), float(low.max())
    equal = prices.origin == EQUAL
    unit = "m3 over or short" if equal else (prices.currency or "cost")
    marks = [
        (100 * found.target.exact, f"least {format_length(100 * found.target.exact, step=0.1)}")
    ]
    if found.lowering is not None:
        chosen = format_length(100 * found.lowering, step=0.1)
        marks.append((100 * found.lowering, f"leave {chosen}"))
    return CurveChart(
        title=f"What it costs to be wrong: {found.lot.name}",
        x_label="clay left low, cm (- is high)",
        y_label=f"expected {unit} over {area:.0f} m2",
        x=low,
        y=cost,
        x_ticks=within(ticks(*reach), *reach),
        y_ticks=ticks(0.0, float(cost.max())),
        marks=tuple(marks),
    )


def tornado_chart(found: Decision) -> BarChart:
    """What each input moves when it is off by its standard error, the largest first."""
    return BarChart(
        title=f"What each input moves: {found.lot.name}",
        x_label="change of the rise, mm",
        bars=tuple(
            Bar(
                f"{effect.what}, {effect.change}",
                1000 * effect.low_m,
                1000 * effect.high_m,
                _signed(1000 * effect.low_m),
                _signed(1000 * effect.high_m),
            )
            for effect in found.effects
        ),
    )


def mass_chart(found: MassHaul, line: Alignment) -> CurveChart | None:
    """The mass diagram: cut less what the fill needs, added up along the street."""
    if len(found.station) < 2:
        return None
    first, last = float(found.station[0]), float(found.station[-1])
    low, high = min(float(found.ordinate.min()), 0.0), max(float(found.ordinate.max()), 0.0)
    stations = [at for at, _ in within(ticks(first, last), first, last)]
    return CurveChart(
        title="Mass diagram: rising where there is more cut than the fill needs",
        x_label="station",
        y_label="cut less need of the fill, bank m3",
        x=found.station,
        y=found.ordinate,
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


def _signed(value: float) -> str:
    text = format_length(value, step=0.1)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"
