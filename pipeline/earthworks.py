"""How much dirt, how sure, and where it goes: a day's earthworks.

A room under the roof: it asks `compare` and `crew` of a day's run; the words are theirs.
"""

from __future__ import annotations

import numpy as np

from pipeline.compare import balance as evening
from pipeline.compare import cross_sections, intervals, next_shots, sampling, uncertainty
from pipeline.compare.roughness import Roughness
from pipeline.compare.stretch_errors import layer_errors
from pipeline.crew import volume_sheet
from pipeline.crew.earth import Earthworks, Haul, LayerVolumes, Pregrade
from pipeline.crew.haul import arrows as haul_arrows
from pipeline.crew.haul import moves as haul
from pipeline.crew.measures import measures
from pipeline.kept.calls import keep
from pipeline.model import Floats, Quantity, Surface, Table
from pipeline.pregrading import Asked, how_high, lots_today, stabilised
from pipeline.run import SAME_PLACE, Day

SECTIONS_M = 10.0
"""Distance of the cross-sections that end areas are taken from [assumed]."""
BESIDE_MM, ROWS_MM = 20.0, 6.0
"""On the map arrows run this far outside the outermost stake, in rows this far apart: clear of
the ids of the stakes and of one another's words [mm of paper, assumed]."""


def earthworks(day: Day) -> Earthworks:
    """Volumes of every layer by stretch and lane, how sure they are, and what follows."""
    job, line = day.morning.inputs.job, day.morning.corridor.alignment
    rules = job.volumes
    sigma = _sigma(day)
    spread = _sample(day, day.design, sigma, day.quantity)
    roughness = keep(uncertainty.learned, spread)
    layers = tuple(_layer_volumes(day, row, sigma, roughness) for row in day.quantities)
    (target,) = (one for one in layers if one.quantity is day.quantity)
    lots = lots_today(day, (spread, roughness)) if stabilised(job) else ()
    whole = keep(sampling.whole_design, day.design, line)
    return Earthworks(
        target=target,
        layers=layers,
        sections=cross_sections.by_sections(
            _stretches(day, SECTIONS_M), day.difference, line, day.design
        ),
        evenness=evening.balance(_stretches(day, rules.balance_m / 8.0), day.at_shots, rules),
        next_shots=keep(next_shots.next_shots, spread, whole, roughness, rules.shot_sigma_m),
        haul=where_it_goes(target.stretches, day, equal_costs=False),
        lots=lots,
        pregrade=how_high(lots, Asked()) if lots else None,
    )


def pregrade_asked(day: Day, asked: Asked) -> tuple[Pregrade, Haul]:
    """What ``lath pregrade`` asks for: heights by lot, and the haul plan of today's layer.

    Raises
    ------
    JobError
        No stabilised layer, a figure that makes no sense, or no lot is known.
    """
    spread = _sample(day, day.design, _sigma(day), day.quantity)
    lots = lots_today(day, (spread, keep(uncertainty.learned, spread)))
    stretches = _stretches(day, day.morning.inputs.job.volumes.interval_m)
    haul_plan = where_it_goes(stretches, day, equal_costs=asked.equal_costs)
    return how_high(lots, asked, strict=True), haul_plan


def _layer_volumes(
    day: Day, quantity: Quantity, sigma: Floats, roughness: Roughness
) -> LayerVolumes:
    rules, name = day.morning.inputs.job.volumes, quantity.layer
    spread = _sample(day, day.compared.designs[name], sigma, quantity)
    found = day.compared.sums[name]
    sure, errors = keep(layer_errors, quantity, spread, found.stretches, roughness, rules)
    return LayerVolumes(
        quantity=quantity,
        sure=sure,
        stretches=found.stretches,
        errors=errors,
        lanes=found.lanes,
    )


def _stations(day: Day, step: float) -> Floats:
    line = day.morning.corridor.alignment
    return intervals.interval_stations(float(line.station[0]), float(line.station[-1]), step)


def _stretches(day: Day, step: float) -> intervals.Intervals:
    line, layer = day.morning.corridor.alignment, day.morning.inputs.job.target.layer
    return keep(
        intervals.by_interval, layer, day.difference, day.design, line, _stations(day, step)
    )


def _sigma(day: Day) -> Floats:
    """Standard error of every vertex of the ground, from the precision of the shots."""
    morning = day.morning
    # a mesh that the job keeps has vertices of its own, whose precision nobody states
    own = bool((day.ground.point >= 0).any())
    rows = np.flatnonzero(np.isin(morning.fate, ("in the surface", SAME_PLACE)))
    stated = morning.shots.sigma_v[rows] if own else np.empty(0)
    return sampling.shot_sigma(day.ground, stated, morning.inputs.job.volumes)


def _sample(day: Day, design: Surface, sigma: Floats, quantity: Quantity) -> sampling.Sample:
    line = day.morning.corridor.alignment
    return keep(sampling.sample, day.ground, design, sigma, line, quantity.compared_area_m2)


def earthworks_words(found: Earthworks, day: Day) -> tuple[str, ...]:
    """How much, how sure, and where it does not average out."""
    job, target, line = day.morning.inputs.job, found.target, day.morning.corridor.alignment
    unit = measures(job.rounding)
    return (
        *volume_sheet.uncertainty_lines(target.quantity, target.sure, unit),
        *volume_sheet.state_lines(target.quantity, job.bulking, unit),
        *volume_sheet.section_lines(found.sections, line, unit),
        *volume_sheet.balance_lines(found.evenness, job.volumes, line, unit),
    )


def earthworks_tables(found: Earthworks, day: Day) -> tuple[Table, ...]:
    """``volumes_...csv`` of every layer, end areas, balance and the next shots."""
    line = day.morning.corridor.alignment
    return (
        *(volume_sheet.interval_table(one.stretches, line, one.errors) for one in found.layers),
        volume_sheet.section_table(found.sections, line),
        volume_sheet.balance_table(found.evenness, line),
        volume_sheet.next_shot_table(found.next_shots, line),
        *(() if found.haul.table is None else (found.haul.table,)),
    )


def _beside(day: Day) -> tuple[float, float]:
    """How far from the line the first row of arrows runs, and the rows from one another [m]."""
    mm = day.morning.inputs.job.sheet.scale / 1000.0
    outermost = float(
        np.max(np.abs(day.stakes.offset), initial=5.0, where=~np.isnan(day.stakes.offset))
    )
    return outermost + BESIDE_MM * mm, ROWS_MM * mm


def where_it_goes(stretches: intervals.Intervals, day: Day, *, equal_costs: bool) -> Haul:
    """The cheapest way of the cut into the fill; words only where the job states no costs."""
    job = day.morning.inputs.job
    rates = haul.rates_of(job.costs, equal=equal_costs)
    whole = np.isfinite(stretches.start) & np.isfinite(stretches.end)
    diagram = haul.mass_haul(stretches, job.bulking)
    if rates is None or not whole.all():
        said = (
            "costs not stated: no haul plan; state them in the job file or ask for --equal-costs"
            if rates is None
            else "earth beyond the ends of the line: no haul plan"
        )
        return Haul((said,), None, (), diagram)
    gives, needs = haul.demands(stretches, job.bulking)
    moves = haul.plan(stretches.middle, gives, needs, rates, job.hauling)
    return Haul(
        haul.words(moves, haul.summary(moves, job.hauling), rates, measures(job.rounding)),
        haul.table(moves, day.morning.corridor.alignment),
        haul_arrows.arrows(
            moves,
            day.morning.corridor.alignment,
            rows_m=_beside(day),
            unit=measures(job.rounding),
        ),
        diagram,
        moves,
    )
