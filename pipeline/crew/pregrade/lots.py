"""One decision a lot: where each lies, by which rules it goes, and which strip speaks for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from pipeline.crew.pregrade.strip import Measured, measured
from pipeline.design.alignment import locate
from pipeline.design.equations import named
from pipeline.errors import InputError, JobError
from pipeline.model import Alignment
from pipeline.model.strip import StripHeights
from pipeline.settings import Job
from pipeline.settings_earthwork import LotRule, Strip, StripFile

LEAST_M = 0.01
"""A shorter gap between two lots is a rounding of their stations."""
WHERE = frozenset({"name", "start", "end"})
OF_SOIL = ("max_density_kg_m3", "optimum_moisture", "compaction_before", "density_loss",
           "density_loss_error", "moisture_before", "moisture_after")  # fmt: skip
OF_MOISTURE = ("compaction_before", "moisture_before", "moisture_after")
"""What does not outlive its class: a lot of another class has that class's own."""


@dataclass(frozen=True, slots=True, eq=False)
class LotPlace:
    """A lot on the street: its stations, and the job as it holds there.

    ``job`` has the lot's own stabilising, its strips among them, and says of each
    setting whether the lot or the job states it. ``left_out`` says what of its
    strips' files was not used.
    """

    name: str
    start: float
    end: float
    job: Job
    left_out: tuple[str, ...] = ()


def lot_places(
    job: Job, reach: tuple[float, float], line: Alignment | None = None
) -> tuple[LotPlace, ...]:
    """The job's lots along the street, and what lies between them, in order.

    Parameters
    ----------
    job : Job
    reach : (float, float)
        First and last station of the line, counted on from its start.
    line : Alignment, optional
        That names the stations of a refusal.

    Returns
    -------
    tuple of LotPlace
        One, named after the job, where it states no lots; else its lots and, as
        ``rest 1`` and so on, the stretches in none of them.

    Raises
    ------
    JobError
        Two lots of one name, or that overlap; one that ends before it begins or lies
        off the street; a strip of a lot that is none.
    """
    rules = job.stabilising
    first, last = reach
    if not rules.lots:
        _check_strips(rules.strips, [""])
        return (LotPlace(job.name, first, last, job),)
    lots = sorted(rules.lots, key=lambda lot: lot.start)
    _check(lots, reach, line)
    found: list[LotPlace] = []
    at, rests = first, 0
    for lot in lots:
        if lot.start - at > LEAST_M:
            rests += 1
            found.append(LotPlace(f"rest {rests}", at, lot.start, _job_of(job, f"rest {rests}")))
        found.append(LotPlace(lot.name, max(lot.start, at), min(lot.end, last), _job_in(job, lot)))
        at = lot.end
    if last - at > LEAST_M:
        rests += 1
        found.append(LotPlace(f"rest {rests}", at, last, _job_of(job, f"rest {rests}")))
    _check_strips(rules.strips, [place.name for place in found])
    return tuple(found)


def _check(lots: Sequence[LotRule], reach: tuple[float, float], line: Alignment | None) -> None:
    names = [lot.name for lot in lots]
    for k, lot in enumerate(lots):
        where = f"stabilising.lots, {lot.name!r}"
        span = f"{named(line, lot.start)} to {named(line, lot.end)}"
        if names.count(lot.name) > 1:
            raise JobError(where, "is named twice", "give each lot its own name")
        if not lot.end > lot.start:
            raise JobError(where, f"found {span}", "let its stations rise from start to end")
        if lot.end <= reach[0] or lot.start >= reach[1]:
            street = f"{named(line, reach[0])} to {named(line, reach[1])}"
            raise JobError(
                where, f"found {span}, off the street", f"give stations from {street}"
            )  # fmt: skip
        if k and lot.start < lots[k - 1].end - LEAST_M:
            raise JobError(
                where,
                f"begins at {named(line, lot.start)}, inside {lots[k - 1].name!r}",
                "let no two lots overlap: one place has one target",
            )


def _check_strips(strips: Sequence[Strip], names: Sequence[str]) -> None:
    for number, strip in enumerate(strips, start=1):
        if strip.lot not in names:
            known = ", ".join(name for name in names if name) or "none is stated"
            raise JobError(
                f"stabilising.strips, {strip.name or f'strip {number}'}",
                f"found lot {strip.lot!r}; the lots are: {known}",
                "name the lot that it was laid in: it says nothing of another clay",
            )


def _job_of(job: Job, name: str) -> Job:
    """The job as it holds in what is no lot: as stated, with the strips laid there."""
    own = [strip for strip in job.stabilising.strips if strip.lot == name]
    return replace(job, stabilising=replace(job.stabilising, strips=own))


def _job_in(job: Job, lot: LotRule) -> Job:
    """The job as it holds in a lot, with what the lot states counted as stated."""
    rules = job.stabilising
    stated = {
        item.name: value
        for item in fields(lot)
        if item.name not in WHERE and (value := getattr(lot, item.name)) is not None
    }
    lapsed: set[str] = set()
    if stated.get("soil", rules.soil) != rules.soil:
        lapsed |= set(OF_SOIL)
    if stated.get("moisture", rules.moisture) != rules.moisture:
        lapsed |= set(OF_MOISTURE)
    own = [strip for strip in rules.strips if strip.lot == lot.name]
    changed = replace(rules, **{**dict.fromkeys(lapsed), **stated, "strips": own})
    given = job.given - {f"stabilising.{name}" for name in lapsed}
    given |= {f"stabilising.{name}" for name in stated}
    return replace(job, stabilising=changed, given=given)


def with_strips(
    places: Sequence[LotPlace],
    files: Sequence[tuple[StripFile, StripHeights]],
    alignment: Alignment,
    off_m: float,
) -> tuple[LotPlace, ...]:
    """The lots with the strips that were measured in them, each found by its points' stations.

    Parameters
    ----------
    places : sequence of LotPlace
    files : sequence of (StripFile, StripHeights)
        What the job says of a strip, and its heights.
    alignment : Alignment
    off_m : float
        A point farther from the line belongs to another job.

    Raises
    ------
    InputError
        A strip's points lie off the street, or in two lots.
    JobError
        Too few of them were measured twice, or their mean is no rise.
    """
    found = {place.name: place for place in places}
    for rule, heights in files:
        place = found[_lot_of(rule, heights, places, alignment, off_m).name]
        strip = measured(
            heights.before,
            heights.after,
            spread_kg_m2=rule.spread_kg_m2,
            method=rule.method,
            name=rule.name or heights.file,
        )
        rules = place.job.stabilising
        rules = replace(rules, strips=[*rules.strips, strip.strip])
        found[place.name] = replace(
            place,
            job=replace(place.job, stabilising=rules),
            left_out=(*place.left_out, *_left_out(strip, heights)),
        )
    return tuple(found.values())


def _lot_of(
    rule: StripFile,
    heights: StripHeights,
    places: Sequence[LotPlace],
    alignment: Alignment,
    off_m: float,
) -> LotPlace:
    """The lot that holds every point of a strip."""
    feet = locate(alignment, heights.easting, heights.northing)
    station = np.clip(feet.station, places[0].start, places[-1].end)
    away = np.hypot(feet.offset, feet.station - station)
    far = np.flatnonzero(away > off_m)
    if len(far):
        raise InputError(
            rule.file,
            f"point {heights.id[far[0]]!r} lies {away[far[0]]:.0f} m off the street",
            "check its easting and northing",
        )
    inside = [
        (station >= place.start - LEAST_M) & (station <= place.end + LEAST_M) for place in places
    ]
    whole = [place for place, rows in zip(places, inside, strict=True) if rows.all()]
    if not whole:
        held = [place.name for place, rows in zip(places, inside, strict=True) if rows.any()]
        raise InputError(
            rule.file,
            f"its points lie in the lots {', '.join(held)}",
            "give each lot's points a file of their own: one strip, one clay",
        )
    return whole[0]


def _left_out(found: Measured, heights: StripHeights) -> tuple[str, ...]:
    """Which points do not count, and why."""
    title = found.strip.name
    bladed = [str(name) for name in heights.id[found.regraded]]
    blank = np.isnan(heights.before) | np.isnan(heights.after)
    said = []
    if bladed:
        said.append(f"{title}: bladed between, left out: {', '.join(bladed)}")
    if blank.any():
        said.append(f"{title}: {int(blank.sum())} of {len(blank)} points not measured twice")
    return tuple(said)
