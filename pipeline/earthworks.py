"""How much dirt, how sure, where it goes, and how high to leave the clay: a day's earthworks.

A room under the roof: it asks `compare` and `crew` of a day's run and words nothing itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.compare import balance as evening
from pipeline.compare import cross_sections, intervals, next_shots, uncertainty
from pipeline.compare.roughness import Roughness
from pipeline.crew import volume_sheet
from pipeline.crew.haul import arrows as haul_arrows
from pipeline.crew.haul import moves as haul
from pipeline.crew.haul.arrows import Arrow
from pipeline.crew.pregrade import evidence as pregrade_evidence
from pipeline.crew.pregrade import recommendation as pregrade
from pipeline.crew.pregrade import sheet as pregrade_sheet
from pipeline.design.equations import station_text
from pipeline.errors import JobError
from pipeline.kept.calls import keep
from pipeline.model import Alignment, Quantity, Table
from pipeline.run import Day
from pipeline.units import round_half_away

SECTIONS_M = 10.0
"""Distance of the cross-sections that end areas are taken from [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Earthworks:
    """Today's layer in stretches, with its uncertainty, its balance and where to shoot next."""

    quantity: Quantity
    stretches: intervals.Intervals
    sections: cross_sections.SectionVolumes
    evenness: evening.Balance
    sure: uncertainty.Uncertainty
    next_shots: next_shots.NextShots


@dataclass(frozen=True, slots=True, eq=False)
class Haul:
    """Where the dirt goes, as words, a table and arrows; none of it where no costs are stated."""

    words: tuple[str, ...]
    table: Table | None
    arrows: tuple[Arrow, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Pregrade:
    """The height to leave the clay at: words and tables, all final."""

    decision: pregrade.Decision
    words: tuple[str, ...]
    honesty: tuple[str, ...]
    tables: tuple[Table, ...]


def earthworks(day: Day) -> Earthworks:
    """Volumes of today's layer by stretch, and how sure they are."""
    job, alignment = day.morning.inputs.job, day.morning.corridor.alignment
    rules, layer = job.volumes, job.target.layer
    (quantity,) = (row for row in day.quantities if row.layer == layer)
    found = _stretches(day, rules.interval_m)
    sure, spread, roughness = _how_sure(day, quantity)
    whole = keep(uncertainty.whole_design, day.design, alignment)
    return Earthworks(
        quantity=quantity,
        stretches=found,
        sections=cross_sections.by_sections(
            _stretches(day, SECTIONS_M), day.difference, alignment, day.design
        ),
        evenness=evening.balance(_stretches(day, rules.balance_m / 8.0), day.at_shots, rules),
        sure=sure,
        next_shots=keep(next_shots.next_shots, spread, whole, roughness, rules.shot_sigma_m),
    )


def _stretches(day: Day, step: float) -> intervals.Intervals:
    line = day.morning.corridor.alignment
    stations = intervals.interval_stations(float(line.station[0]), float(line.station[-1]), step)
    layer = day.morning.inputs.job.target.layer
    return keep(intervals.by_interval, layer, day.difference, day.design, line, stations)


def _how_sure(
    day: Day, quantity: Quantity
) -> tuple[uncertainty.Uncertainty, uncertainty.Sample, Roughness]:
    """Standard errors, from the precision of the shots and the waves between them."""
    morning, rules = day.morning, day.morning.inputs.job.volumes
    # a mesh that the job keeps has vertices of its own, whose precision nobody states
    own = bool((day.ground.point >= 0).any())
    rows = np.flatnonzero(np.isin(morning.fate, ("in the surface", "same place as another shot")))
    stated = morning.shots.sigma_v[rows] if own else np.empty(0)
    sigma = uncertainty.shot_sigma(day.ground, stated, rules)
    spread = keep(
        uncertainty.sample, day.ground, day.design, sigma, morning.corridor.alignment,
        quantity.compared_area_m2,
    )  # fmt: skip
    roughness = keep(uncertainty.learned, spread)
    sure = keep(uncertainty.standard_errors, quantity, spread, roughness, rules)
    return sure, spread, roughness


def earthworks_words(found: Earthworks, day: Day) -> tuple[str, ...]:
    """How much, how sure, and where it does not average out."""
    job, line = day.morning.inputs.job, day.morning.corridor.alignment
    return (
        *volume_sheet.uncertainty_lines(found.quantity, found.sure),
        *volume_sheet.state_lines(found.quantity, job.bulking),
        *volume_sheet.section_lines(found.sections, line),
        *volume_sheet.balance_lines(found.evenness, job.volumes, line),
    )


def earthworks_tables(found: Earthworks, day: Day) -> tuple[Table, ...]:
    """``volumes_...csv``, end areas, balance and the next shots."""
    line = day.morning.corridor.alignment
    return (
        volume_sheet.interval_table(found.stretches, line),
        volume_sheet.section_table(found.sections, line),
        volume_sheet.balance_table(found.evenness, line),
        volume_sheet.next_shot_table(found.next_shots, line),
    )


def earthworks_object(found: Earthworks, line: Alignment) -> dict[str, Any]:
    """Standard errors and stretches for ``quantities.json``; null where there is no number."""
    errors = {name: _number(getattr(found.sure, name).total) for name in ("cut", "fill", "net")}
    rows = found.stretches
    return {
        "standard_error_m3": errors,
        "mean_standard_error_m": _number(found.sure.net.mean_m, 1e-4),
        "stretches": [
            {
                "from": _number(rows.start[k]),
                "to": _number(rows.end[k]),
                "from_station": station_text(line, float(rows.start[k])) or None,
                "to_station": station_text(line, float(rows.end[k])) or None,
                "cut_m3": _number(rows.cut_m3[k]),
                "fill_m3": _number(rows.fill_m3[k]),
                "uncovered_m2": _number(rows.uncovered_area_m2[k], 0.01),
            }
            for k in range(len(rows))
        ],
    }


def _number(value: float, step: float = 0.001) -> float | None:
    return float(round_half_away(value, step)) if np.isfinite(value) else None


def where_it_goes(found: Earthworks, day: Day, *, equal_costs: bool) -> Haul:
    """The cheapest way of the cut into the fill; words only where the job states no costs."""
    job = day.morning.inputs.job
    rates = haul.rates_of(job.costs, equal=equal_costs)
    whole = np.isfinite(found.stretches.start) & np.isfinite(found.stretches.end)
    if rates is None or not whole.all():
        said = (
            "costs not stated: no haul plan; state them in the job file or ask for --equal-costs"
            if rates is None
            else "earth beyond the ends of the line: no haul plan"
        )
        return Haul((said,), None, ())
    gives, needs = haul.demands(found.stretches, job.bulking)
    moves = haul.plan(found.stretches.middle, gives, needs, rates, job.hauling)
    return Haul(
        haul.words(moves, haul.summary(moves, job.hauling), rates),
        haul.table(moves, day.morning.corridor.alignment),
        haul_arrows.arrows(moves, day.morning.corridor.alignment),
    )


def how_high(
    day: Day, found: Earthworks, *, spread_kg_m2: float | None, equal_costs: bool
) -> Pregrade:
    """The height to leave the clay at, with what it rests on.

    Raises
    ------
    JobError
        The job's stabilised layer is none of its layers, or a figure that makes no sense.
    """
    job, line = day.morning.inputs.job, day.morning.corridor.alignment
    if job.stabilising.layer not in [layer.name for layer in job.layers]:
        raise JobError(
            "job.toml, stabilising.layer",
            f"found {job.stabilising.layer!r}, which is none of the layers",
            "name the layer that the finished stabilised clay is to have",
        )
    utilities = day.morning.inputs.utilities
    lot = pregrade.lot_of(
        job.name,
        (float(line.station[0]), float(line.station[-1])),
        found.quantity,
        found.sure.net.mean_m,
        None if utilities is None else len(utilities),
    )
    decision = pregrade.decision(job, lot, spread_kg_m2=spread_kg_m2, equal_costs=equal_costs)
    words = list(pregrade_sheet.lines(decision, job.hauling, line))
    if spread_kg_m2 is not None:
        planned = pregrade.decision(job, lot, equal_costs=equal_costs)
        words += pregrade_sheet.change_lines(planned, decision)
    tables = [pregrade_evidence.evidence(decision, job), pregrade_sheet.tornado(decision)]
    if decision.curve is not None:
        tables.append(pregrade_sheet.cost_table(decision.curve))
    return Pregrade(decision, tuple(words), tuple(pregrade_sheet.HONESTY), tuple(tables))
