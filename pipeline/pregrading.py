"""How high to leave the clay, lot by lot, on a day's ground.

A room under the roof: it asks `compare` and `crew` of a day's run; the words are theirs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compare import intervals
from pipeline.compare.roughness import Roughness
from pipeline.compare.sampling import Sample
from pipeline.compare.stretch_errors import by_stretch
from pipeline.crew.earth import LotSheet, LotToday, Pregrade
from pipeline.crew.measures import measures
from pipeline.crew.pregrade import evidence as pregrade_evidence
from pipeline.crew.pregrade import remaining_sheet
from pipeline.crew.pregrade import sheet as pregrade_sheet
from pipeline.crew.pregrade.lots import LotPlace, lot_places, with_strips
from pipeline.crew.pregrade.recommendation import Decision, Lot, check_lot, decision
from pipeline.crew.pregrade.remaining import Remaining, remaining
from pipeline.errors import JobError
from pipeline.model import Bools, Floats, Table
from pipeline.run import Day
from pipeline.settings import Job


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line asks for beside the job: a spread rate, one lot, equal costs."""

    spread_kg_m2: float | None = None
    lot: str | None = None
    equal_costs: bool = False


def stabilised(job: Job) -> bool:
    """True where the job has a stabilised layer, so that there is a height to decide.

    Raises
    ------
    JobError
        The job states how it stabilises, but the layer is none of its layers.
    """
    if job.stabilising.layer in [layer.name for layer in job.layers]:
        return True
    if any(key.startswith("stabilising") for key in job.given):
        raise _no_layer(job)
    return False


def _no_layer(job: Job) -> JobError:
    return JobError(
        "job.toml, stabilising.layer",
        f"found {job.stabilising.layer!r}, which is none of the layers",
        "name the layer that the finished stabilised clay is to have",
    )


def lots_today(day: Day, known: tuple[Sample, Roughness]) -> tuple[LotToday, ...]:
    """Every lot with its area, its error and its ground against the stabilised plane.

    Parameters
    ----------
    day : Day
    known : (Sample, Roughness)
        Of today's layer, from `pipeline.earthworks`.

    Raises
    ------
    JobError
        The stabilised layer is none of the job's, or lots that cannot be.
    InputError
        A strip's file that cannot be used.
    """
    inputs, line = day.morning.inputs, day.morning.corridor.alignment
    job = inputs.job
    if job.stabilising.layer not in [layer.name for layer in job.layers]:
        raise _no_layer(job)
    reach = float(line.station[0]), float(line.station[-1])
    files = tuple(zip(job.stabilising.strip_files, inputs.strips, strict=True))
    places = with_strips(lot_places(job, reach, line), files, line, job.checks.off_job_m)
    edges = np.array([places[0].start, *(place.end for place in places)])
    step = intervals.interval_stations(*reach, job.volumes.interval_m)
    plane = _above_plane(day, _with_edges(step, edges))
    lots = _lots(day, places, known)
    return tuple(
        LotToday(place, lot, plane.take(_rows_in(plane, place, places)), line)
        for place, lot in zip(places, lots, strict=True)
    )


def _with_edges(stations: Floats, edges: Floats) -> Floats:
    """All stations and the lots' ends, without slivers between the two."""
    apart = np.abs(stations[:, None] - edges[None, 1:-1])
    kept = stations[apart.min(axis=1, initial=np.inf) > 0.5]
    return np.union1d(kept, edges)


def _above_plane(day: Day, stations: Floats) -> intervals.Intervals:
    """Ground against the plane that the stabilised clay is to have, by stretch."""
    corridor, job = day.morning.corridor, day.morning.inputs.job
    layer = corridor.layer(job.stabilising.layer)
    design, above = day.compared.designs[layer.name], day.compared.differences[layer.name]
    found = intervals.by_interval(layer.name, above, design, corridor.alignment, stations)
    return found.take(np.isfinite(found.start) & np.isfinite(found.end))


def _rows_in(
    stretches: intervals.Intervals, place: LotPlace, places: tuple[LotPlace, ...]
) -> Bools:
    """Stretches of a lot; the first and the last lot have what lies beyond the line's ends."""
    first = np.where(np.isfinite(stretches.start), stretches.start, stretches.end)
    last = np.where(np.isfinite(stretches.end), stretches.end, stretches.start)
    middle = np.clip((first + last) / 2, places[0].start, np.nextafter(places[-1].end, -np.inf))
    return np.asarray((middle >= place.start) & (middle < place.end))


def _lots(
    day: Day, places: tuple[LotPlace, ...], known: tuple[Sample, Roughness]
) -> tuple[Lot, ...]:
    """Areas and volumes still to be cut and filled, and how sure each lot's mean is."""
    inputs, line = day.morning.inputs, day.morning.corridor.alignment
    job, things = inputs.job, inputs.utilities
    edges = np.array([places[0].start, *(place.end for place in places)])
    found = intervals.by_interval(job.target.layer, day.difference, day.design, line, edges)
    errors = by_stretch(known[0], found, known[1], job.volumes)
    lots = []
    for place in places:
        rows = np.flatnonzero(_rows_in(found, place, places))
        inside = rows[np.isfinite(found.start[rows]) & np.isfinite(found.end[rows])]
        lots.append(
            Lot(
                name=place.name,
                start=place.start,
                end=place.end,
                area_m2=float(found.compared_area_m2[rows].sum()),
                mean_error_m=float(errors.mean_m[inside[0]]) if len(inside) else float("nan"),
                cut_m2=float(found.cut_area_m2[rows].sum()),
                fill_m2=float(found.fill_area_m2[rows].sum()),
                cut_m3=float(found.cut_m3[rows].sum()),
                fill_m3=float(found.fill_m3[rows].sum()),
                lids=None if things is None else len(things),
            )
        )
    return tuple(lots)


def how_high(lots: tuple[LotToday, ...], asked: Asked, *, strict: bool = False) -> Pregrade:
    """The height to leave each lot's clay at, with what it rests on.

    Parameters
    ----------
    lots : tuple of LotToday
    asked : Asked
    strict : bool
        Refuse where no lot at all is known; otherwise the sheet says so.

    Raises
    ------
    JobError
        A figure that makes no sense, a lot that is none, or, if strict, no lot is known.
    """
    names = [today.place.name for today in lots]
    if asked.lot is not None and asked.lot not in names:
        raise JobError(f"lot {asked.lot!r}", f"the lots are {', '.join(names)}", "name one of them")
    sheets, refusals = [], []
    for today in lots:
        try:
            check_lot(today.lot)
        except JobError as refusal:
            refusals.append(refusal)
            place = today.place
            said = (f"NO RECOMMENDATION: {refusal}",)
            sheets.append(LotSheet(place.name, place.start, place.end, said))
            continue
        sheets.append(_lot_sheet(today, asked, several=len(lots) > 1))
    if strict and len(refusals) == len(lots):
        raise refusals[0]
    return Pregrade(tuple(sheets), tuple(pregrade_sheet.HONESTY))


def _lot_sheet(today: LotToday, asked: Asked, *, several: bool) -> LotSheet:
    place, job = today.place, today.place.job
    mine = asked.lot is None or asked.lot == place.name
    spread = asked.spread_kg_m2 if mine else None
    found = decision(job, today.lot, spread_kg_m2=spread, equal_costs=asked.equal_costs)
    left = remaining(job, found, today.above_plane)
    words = [pregrade_sheet.lot_line(found, today.line)] if several else []
    words += pregrade_sheet.lines(
        found, job.hauling, today.line, place.left_out, measures(job.rounding)
    )
    tables = []
    if spread is not None:
        said, table = _change(today, found, left, asked)
        words += said
        tables.append(table)
    words += remaining_sheet.remaining_lines(left, job)
    tables += [
        remaining_sheet.remaining_table(left, today.line),
        pregrade_sheet.tornado(found),
        pregrade_evidence.evidence(found, job),
    ]
    if found.curve is not None:
        tables.append(pregrade_sheet.cost_table(found.curve))
    return LotSheet(place.name, place.start, place.end, tuple(words), tuple(tables), found, left)


def _change(
    today: LotToday, now: Decision, left: Remaining, asked: Asked
) -> tuple[tuple[str, ...], Table]:
    """What the spread rate that is asked for changes against the job's own."""
    job = today.place.job
    before = decision(job, today.lot, equal_costs=asked.equal_costs)
    return (
        remaining_sheet.change_lines(before, now, left, job),
        remaining_sheet.change_table(before, now, left, job, today.line),
    )
