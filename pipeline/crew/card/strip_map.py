"""The strip map of a stretch, and what a walker should know of it."""

from __future__ import annotations

from typing import Literal

import numpy as np

from pipeline.compare.streets import break_beside, own_name, reach_of
from pipeline.crew.buried.things import CLASSES, verdict_words
from pipeline.crew.hubs.references import layer_with
from pipeline.crew.lows import turn_words
from pipeline.crew.measures import measures
from pipeline.crew.passes import pass_words
from pipeline.crew.stretches import outermost
from pipeline.crew.work import CrewWork, between, place
from pipeline.model import Floats
from pipeline.model.pages import StripLine, StripMap, StripMark, StripPatch

MARGIN_M = 3.0
"""Street shown before the first and after the last lath of a page."""
ASIDE_M = 1.6
"""Ground shown outside the edges."""


def strip_map(work: CrewWork, station: Floats, side: int, numbers: list[str]) -> StripMap:
    """The street along the laths of one page, in the order walked.

    Parameters
    ----------
    work : CrewWork
    station : ndarray, shape (n,)
        Of the laths, in walking order.
    side : int
        That they stand on.
    numbers : list of str
        Their running counts; every fifth is written.
    """
    forward = len(station) < 2 or station[-1] >= station[0]
    low, high = float(station.min()) - MARGIN_M, float(station.max()) + MARGIN_M
    ends = (low, high) if forward else (high, low)
    lath = np.array([_lath_offset(work, float(s), side) for s in station])
    reach = float(np.abs(lath).max()) + ASIDE_M
    marks = [
        StripMark("lath", float(s), float(o), numbers[k] if _written(k, len(numbers)) else "")
        for k, (s, o) in enumerate(zip(station, lath, strict=True))
    ]
    ticks = tuple(
        (float(s), place(work, float(s)))
        for k, s in enumerate(station)
        if _written(k, len(station))
    )
    return StripMap(
        first=ends[0],
        second=ends[1],
        reach_m=reach,
        lines=_lines(work, low, high),
        marks=(*_hazard_marks(work, (low, high), reach), *marks),
        patches=_patches(work, low, high),
        ticks=ticks,
    )


def _written(k: int, n: int) -> bool:
    return k % 5 == 0 or k == n - 1


def _lath_offset(work: CrewWork, station: float, side: int) -> float:
    if not work.edge_layer:
        return side * 5.0
    offset, _ = outermost(work.corridor, work.edge_layer, side, station)
    return float(np.nan_to_num(offset[0], nan=side * _half_width(work, station)))


def _half_width(work: CrewWork, station: float) -> float:
    """Out to the outermost spot at a station where there is no edge, as in a mouth [m]."""
    here = np.abs(work.dots.offset[work.dots.station == station])
    return float(here.max()) if work.corridor.parts and len(here) else 5.0


def _lines(work: CrewWork, low: float, high: float) -> tuple[StripLine, ...]:
    """Edges of today's layer, the painted line outside them, crown and curb."""
    first, last = reach_of(work.corridor)
    s = np.linspace(max(low, first), min(high, last), 61)
    found = []
    if work.edge_layer:
        for side in (-1, 1):
            edge, _ = outermost(work.corridor, work.edge_layer, side, s)
            found.append(StripLine("heavy", s, edge))
            found.append(StripLine("dashed", s, edge + side * work.job.edge.clearance_m))
    reference = work.job.stakes.reference
    if any(own_name(work.corridor, reference) in x.breaks for x in work.corridor.layers):
        layer = work.corridor.layer(layer_with(work.corridor, reference))
        for side in (-1, 1):
            curb, _ = break_beside(work.corridor, layer, reference, side, s)
            found.append(StripLine("thin", s, curb))
    found.append(StripLine("dotted", s, np.zeros(len(s))))
    return tuple(found)


def _hazard_marks(work: CrewWork, span: tuple[float, float], reach: float) -> list[StripMark]:
    marks = []
    low, high = span
    things = work.beside
    for k in range(len(things)):
        s, o = float(things.feet.station[k]), float(things.feet.offset[k])
        if low <= s <= high and abs(o) <= reach:
            bad = things.verdict[k] in {"HIT", "UNKNOWN"}
            marks.append(StripMark("cross" if bad else "box", s, o, str(things.id[k])[:12]))
    named: set[tuple[str, int, bool]] = set()
    for turn in work.turns:
        if low <= turn.station <= high:
            way: Literal["up", "down"] = "up" if turn.mark == "HP" else "down"
            # crown and gutter turn at one place: their mark is named once a side
            key = turn.mark, round(turn.station), turn.offset > 0
            text = "" if key in named else turn.mark
            named.add(key)
            marks.append(StripMark(way, turn.station, turn.offset, text))
    return marks


def _patches(work: CrewWork, low: float, high: float) -> tuple[StripPatch, ...]:
    found = []
    dots = work.dots
    stations = np.unique(dots.station)
    for k, s in enumerate(stations):
        start = 0.5 * (stations[max(k - 1, 0)] + s)
        end = 0.5 * (s + stations[min(k + 1, len(stations) - 1)])
        for side in (-1, 1):
            here = (dots.station == s) & (np.sign(dots.offset) == side) & (dots.kind == "unshot")
            if here.any() and low <= s <= high:
                across = np.abs(dots.offset[here])
                near, far = side * float(across.min()), side * float(across.max())
                found.append(
                    StripPatch("not shot", float(start), float(end), near, far + side * 0.2)
                )
    for run in work.bank.runs if work.bank else ():
        if run.state == "MISSING" and run.end >= low and run.start <= high:
            edge = abs(_lath_offset(work, 0.5 * (run.start + run.end), run.side))
            found.append(
                StripPatch("missing", run.start, run.end, run.side * edge,
                           run.side * (edge + work.job.bank.reach_m))
            )  # fmt: skip
    return tuple(found)


def stretch_notes(work: CrewWork, low: float, high: float, side: int) -> list[str]:
    """What lies between two stations: hazards of both sides, the rest of one, worst first."""
    hazards = hazard_notes(work, low, high)
    unit = measures(work.job.rounding)
    said = [words for words in hazards if " CLEAR: " not in words]
    said += [
        f"EDGE {spot.verdict}: {between(work, spot.start, spot.end, side)} stands in"
        f" {unit.small(spot.amount_m)} {unit.small_unit}, paint and take off"
        for spot in work.spots
        if spot.side == side and spot.verdict in {"STOP", "PAINT"} and _meets(spot, low, high)
    ]
    bad = {"MISSING", "LOW", "HEAVY"}
    said += [
        f"BANK {run.state}: {between(work, run.start, run.end, side)},"
        f" {unit.volume(run.build_m3)} {unit.volume_unit} to build"
        for run in (work.bank.runs if work.bank else ())
        if run.side == side and run.state in bad and _meets(run, low, high)
    ]
    for deep in work.passes:
        if deep.side == side and _meets(deep, low, high):
            words = pass_words(deep, work.job.target.pass_m, unit)
            said.append(f"PASSES: {between(work, deep.start, deep.end, side)} {words}")
    for turn in work.turns:
        if low <= turn.station <= high and turn.offset * side >= 0:
            words = turn_words(turn, unit)
            at = place(work, turn.station, turn.offset)
            said.append(f"KEEP {turn.mark} of {turn.what} {at}" + (f": {words}" if words else ""))
    return said + [words for words in hazards if " CLEAR: " in words]


def _meets(run: object, low: float, high: float) -> bool:
    return bool(run.end >= low and run.start <= high)  # type: ignore[attr-defined]


def hazard_notes(work: CrewWork, low: float, high: float) -> list[str]:
    """Every buried or standing thing between two stations, the worst first."""
    things = work.beside
    rows = [k for k in range(len(things)) if low <= things.feet.station[k] <= high]
    rows.sort(key=lambda k: (CLASSES.index(str(things.verdict[k])), float(things.feet.station[k])))
    return [
        f"{things.kind[k]} {things.id[k]}"
        f" {place(work, float(things.feet.station[k]), float(things.feet.offset[k]))}"
        f" {verdict_words(things, k, measures(work.job.rounding))}"
        for k in rows
    ]
