"""Pages that are lists: edge, machine path, bank, buried things, marks to keep."""

from __future__ import annotations

from typing import get_args

import numpy as np

from pipeline.crew.buried.things import below_words, verdict_words
from pipeline.crew.card.strip_map import between, place
from pipeline.crew.card.table import Heading, Row, list_pages
from pipeline.crew.edge.bank import Bank, State
from pipeline.crew.edge.line import worst_first
from pipeline.crew.edge.machine import Path
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.hubs.slope import mark as slope_mark
from pipeline.crew.hubs.stale import stale_words
from pipeline.crew.lows import turn_words
from pipeline.crew.measures import Measures, measures
from pipeline.crew.passes import KEEP_LINE, pass_words
from pipeline.crew.work import CrewWork
from pipeline.model.pages import NUMBER_PT, CardPage
from pipeline.settings import Job

_BOX = "\u2610"


def _street(work: CrewWork) -> list[Heading]:
    """The column that names the street, where there are several."""
    return [Heading("street", wrap=True)] if work.others else []


def _on(work: CrewWork, one: CrewWork) -> Row:
    """The cell of that column for a row about one street."""
    return (one.corridor.name,) if work.others else ()


def _said(work: CrewWork, one: CrewWork, told: list[str]) -> list[str]:
    """Sentences about one street, which is named where there are several."""
    return [f"{one.corridor.name}: {text}" for text in told] if work.others else told


def _assumed(job: Job, said: dict[str, str]) -> str:
    """`` Assumed, not stated in the job: trims.`` of settings by key; empty: all are stated."""
    words = [word for key, word in said.items() if key not in job.given]
    return f" Assumed, not stated in the job: {', '.join(words)}." if words else ""


def edge_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """Where the edge leaves its line, the worst first; straightness; what could be seen."""
    streets = [one for one in work.streets if one.edge_layer]
    if not streets:
        return []
    unit = measures(work.job.rounding)
    found = [(one, spot) for one in streets for spot in one.spots if spot.verdict != "SHORT"]
    found.sort(key=lambda pair: worst_first(pair[1]))
    rows = [
        (
            *_on(work, one),
            spot.verdict,
            place(one, spot.station, float(spot.side)),
            f"OFF {unit.small(spot.amount_m)}",
            unit.long(spot.length_m),
            unit.volume(spot.volume_m3, 0.01),
            unit.long(spot.shot_gap_m),
            _BOX,
        )
        for one, spot in found
    ]
    headings = [
        *_street(work),
        Heading("what"),
        Heading("worst at", NUMBER_PT, bold=True),
        Heading(f"take\noff {unit.small_unit}", NUMBER_PT, bold=True),
        Heading(f"length\n{unit.unit}", align="right"),
        Heading(f"clay\n{unit.volume_unit}", align="right"),
        Heading(f"shots\napart {unit.unit}", align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    told = [_limits_told(work.job, unit)]
    told += [text for one in streets for text in _said(work, one, _edge_told(one))]
    layers = " AND ".join(dict.fromkeys(one.edge_layer.upper() for one in streets))
    bar = f"EDGE OF {layers} AGAINST ITS LINE   {unit.small_unit}"
    return list_pages(("Edge", bar), headings, rows, told, body_pt)


def _limits_told(job: Job, unit: Measures) -> str:
    """What is watched, painted and stopped for."""
    rules, small = job.edge, unit.small_unit
    said = {"watch_m": "watch", "paint_m": "paint", "paint_length_m": "length", "stop_m": "stop"}
    return (
        f"WATCH over {unit.small(rules.watch_m)} {small}, PAINT over {unit.small(rules.paint_m)}"
        f" {small} along {unit.stated(rules.paint_length_m)}, STOP from"
        f" {unit.small(rules.stop_m)} {small}."
        + _assumed(job, {f"edge.{key}": word for key, word in said.items()})
    )


def _edge_told(work: CrewWork) -> list[str]:
    unit = measures(work.job.rounding)
    said = [
        f"SMALLEST NOSE these shots could see {between(work, one.start, one.end, one.side)}:"
        f" {unit.long(one.smallest_nose_m)} {unit.unit} ({one.shots} shots)"
        for one in work.seen
    ]
    short = [spot for spot in work.spots if spot.verdict == "SHORT"]
    if short:
        worst = min(short, key=lambda spot: spot.amount_m)
        said.append(
            f"SHORT of its line in {len(short)} places, most"
            f" {unit.small(-worst.amount_m)} {unit.small_unit} at"
            f" {place(work, worst.station, float(worst.side))}; all in edge.csv"
        )
    if not any(spot.verdict != "SHORT" for spot in work.spots) and work.seen:
        said.append("Nothing shot stands in by more than the watch limit.")
    if not work.seen:
        said.append("No edge was shot: its code must name the break in the job file.")
    return said + _straight_told(work)


def _straight_told(work: CrewWork) -> list[str]:
    """What the straight-edges and the long look found, and where they could not say."""
    said, unit = [], measures(work.job.rounding)
    for one_edge in work.straight:
        for wobble in one_edge.wobbles:
            way = "out" if wobble.amount_m > 0 else "in"
            said.append(
                f"{unit.stated(wobble.chord_m)} STRAIGHT-EDGE"
                f" {between(work, wobble.start, wobble.end, wobble.side)}:"
                f" {unit.fine(abs(wobble.amount_m))} {unit.fine_unit} {way}"
            )
        untested = one_edge.length_m - one_edge.tested_m
        if untested > 0.5:
            side = "L" if one_edge.side < 0 else "R"
            said.append(
                f"{unit.stated(one_edge.chord_m)} straight-edge {side}: shots too far apart on"
                f" {unit.long(untested, 1.0)} of {unit.long(one_edge.length_m, 1.0)} {unit.unit},"
                " not tested there"
            )
    for snake in work.long_sights:
        side = "L" if snake.side < 0 else "R"
        way = "out" if snake.amount_m > 0 else "in"
        said.append(
            f"LONG SIGHT {side}: {unit.fine(abs(snake.amount_m))} {unit.fine_unit} {way}"
            f" of the line {place(work, snake.start)} to {place(work, snake.end)}, at"
            f" {place(work, snake.station)}"
        )
    return said


def path_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The machine's path: every conflict, what is clear, what nobody can say."""
    paths = [(one, one.path) for one in work.streets if one.path is not None]
    if not paths:
        return []
    unit = measures(work.job.rounding)
    rows = [
        (
            *_on(work, one),
            between(one, c.start, c.end, c.side),
            c.what,
            unit.small(c.height_m),
            unit.long(c.width_m, 0.01),
            # a thing that stands there has no height above the floor, and no volume
            "" if np.isnan(c.height_m) else unit.volume(c.volume_m3, 0.01),
            _BOX,
        )
        for one, path in paths
        for c in path.conflicts
    ]
    headings = [
        *_street(work),
        Heading("where", bold=True),
        Heading("what", wrap=True, bold=True),
        Heading(f"high or\nlow {unit.small_unit}", NUMBER_PT, bold=True, align="right"),
        Heading(f"wide\n{unit.unit}", align="right"),
        Heading(unit.volume_unit, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    layers = list(dict.fromkeys(path.layer for _, path in paths))
    told = [_room_told(work.job, layers, unit)]
    told += [text for one, path in paths for text in _said(work, one, _path_told(path, unit))]
    told.append(
        f"CLEAR only where shots stand {unit.stated(work.job.machine.coverage_m)} apart or closer,"
        " and only until the next pass of a blade."
    )
    count = len(rows)
    over = " AND ".join(layers).upper()
    bar = f"CURB MACHINE OVER {over}   {count} CONFLICT{'' if count == 1 else 'S'}"
    return list_pages(("Machine path", bar), headings, rows, told, body_pt)


def _room_told(job: Job, layers: list[str], unit: Measures) -> str:
    """The room that was looked at; widths that nobody stated are called assumed."""
    rules = job.machine
    said = {"inside_m": "inside", "outside_m": "behind", "trim_m": "trims"}
    return (
        f"ROOM from {unit.long(rules.inside_m, 0.01)} {unit.unit} inside the {rules.inner} to"
        f" {unit.long(rules.outside_m, 0.01)} {unit.unit} behind the {rules.outer}; trims"
        f" {unit.small(rules.trim_m)} {unit.small_unit}; floor {', '.join(layers)}."
        + _assumed(job, {f"machine.{key}": word for key, word in said.items()})
    )


def _path_told(path: Path, unit: Measures) -> list[str]:
    """How much of each side is clear, or cannot be told."""
    told = []
    for side, nose in zip((-1, 1), path.smallest_nose_m, strict=True):
        states = ", ".join(
            f"{unit.long(path.length(state, side), 1.0)} {unit.unit} {state}"
            for state in ("CLEAR", "CONFLICT", "LOW", "NOT SHOT")
            if path.length(state, side) > 0
        )
        if not states:
            # a return or a bulb has one edge: nothing to say of the side that is none
            continue
        seen = (
            f"{unit.long(nose)} {unit.unit}"
            if np.isfinite(nose)
            else "none, nothing was shot there"
        )
        said = f"{'L' if side < 0 else 'R'}: {states};"
        told.append(f"{said} smallest nose the survey could see: {seen}")
    return told


def bank_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The backing bank where it is not as it should be."""
    banks = [(one, one.bank) for one in work.streets if one.bank is not None]
    if not banks:
        return []
    rules, unit = work.job.bank, measures(work.job.rounding)
    rows = [
        (
            *_on(work, one),
            run.state,
            between(one, run.start, run.end, run.side),
            unit.long(run.length_m),
            # short lengths that were shot within one that was not do not tell its height
            "" if run.state == "NOT SHOT" else unit.small(run.crest_m),
            unit.volume(run.build_m3) if run.build_m3 else "",
            _BOX,
        )
        for one, bank in banks
        for run in bank.runs
        if run.state != "OK"
    ]
    headings = [
        *_street(work),
        Heading("bank", bold=True),
        Heading("where", bold=True),
        Heading(f"length\n{unit.unit}", align="right"),
        Heading(f"crest\n{unit.small_unit}", NUMBER_PT, bold=True, align="right"),
        Heading(f"build\n{unit.volume_unit}", NUMBER_PT, bold=True, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    layers = list(dict.fromkeys(bank.layer for _, bank in banks))
    stated = {"bank.least_m", "bank.most_m"} <= work.job.given
    told = [
        (
            f"Crest {unit.small(rules.least_m)} to {unit.small(rules.most_m)} {unit.small_unit}"
            f" above {', '.join(layers)} at the edge; looked for {unit.stated(rules.reach_m)}"
            " behind it."
            + ("" if stated else " Common practice, no source, not stated in the job.")
        )
    ]
    told += [text for one, bank in banks for text in _said(work, one, _bank_told(bank, unit))]
    bar = f"BANK ABOVE {' AND '.join(layers).upper()}   {unit.small_unit}"
    return list_pages(("Backing bank", bar), headings, rows, told, body_pt)


def _bank_told(bank: Bank, unit: Measures) -> list[str]:
    """How much of each side is in which state."""
    told = []
    for side in (-1, 1):
        states = ", ".join(
            f"{unit.long(bank.length(state, side), 1.0)} {unit.unit} {state}"
            for state in get_args(State)
            if bank.length(state, side) > 0
        )
        if states:
            told.append(f"{'L' if side < 0 else 'R'}: {states}")
    return told


def buried_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """Buried and standing things in driving order."""
    things, rules, unit = work.things, work.job.hazards, measures(work.job.rounding)
    rows = [
        (
            thing_place(work, k),
            f"{things.id[k]} {things.kind[k]}",
            *(
                below_words(float(x[k]), unit)
                for x in (things.cover, things.margins.blade, things.margins.rotor)
            ),
            verdict_words(things, k, unit),
        )
        for k in range(len(things))
    ]
    headings = [
        Heading("place", bold=True),
        Heading("thing", wrap=True),
        Heading(f"cover\n{unit.small_unit}", align="right"),
        Heading("under\nblade", align="right"),
        Heading("under\nrotor", align="right"),
        Heading("treat as", wrap=True, bold=True),
    ]
    told = [
        f"Tolerance zone {_zone_words(rules.zone_m, unit)}.",
        (
            f"Blade leaves {work.layer}; rotor {unit.small(rules.mixing_depth_m)} +"
            f" {unit.small(rules.overcut_m)} {unit.small_unit} under it. Unknown is treated as"
            " a hit."
            + _assumed(
                work.job, {"hazards.mixing_depth_m": "depth", "hazards.overcut_m": "overcut"}
            )
        ),
        *(
            f"TIES {things.id[k]}, {unit.unit}: {work.ties[k]}"
            for k in range(len(things))
            if work.ties[k]
        ),
    ]
    bar = f"BURIED AND STANDING, BELOW {work.layer.upper()}   {unit.small_unit}, - is above"
    return list_pages(("Buried things", bar), headings, rows, told, body_pt)


def _zone_words(zone_m: float | None, unit: Measures) -> str:
    if zone_m is None:
        return "not stated in the job: ask what the law of the place says"
    return f"{unit.long(zone_m, 0.01)} {unit.unit} each side, as the job states it"


def thing_place(work: CrewWork, k: int) -> str:
    """Where a thing of the whole list is; its street is named where it is not the main one."""
    things = work.things
    street = work.of(str(things.street[k]))
    at = place(street, float(things.feet.station[k]), float(things.feet.offset[k]))
    return at if street is work else f"{street.corridor.name} {at}"


def keep_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """High and low points, passes, marks to rewrite, slope stakes: one list to walk with."""
    rows = [(*_on(work, one), *row, _BOX) for one in work.streets for row in _keep_rows(one)]
    headings = [
        *_street(work),
        Heading("do"),
        Heading("place", bold=True),
        Heading("what", wrap=True),
        Heading("say", wrap=True, bold=True),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    bar = f"MARKS TO KEEP AND REWRITE ON {work.layer.upper()}"
    return list_pages(("Marks", bar), headings, rows, _legend(work), body_pt)


def _keep_rows(work: CrewWork) -> list[Row]:
    """What to do, where, to what, and what is said there, along one street."""
    unit, slopes = measures(work.job.rounding), work.slopes
    rows: list[Row] = [
        ("KEEP", place(work, t.station, t.offset), f"{t.mark} of {t.what}", turn_words(t, unit))
        for t in work.turns
    ]
    rows += [
        ("PASSES", between(work, p.start, p.end, p.side),
         pass_words(p, work.job.target.pass_m, unit), KEEP_LINE)
        for p in work.passes
    ]  # fmt: skip
    rows += [
        ("REWRITE", place(work, m.station, m.offset), lath_name(m.what), stale_words(m))
        for m in work.stale
    ]
    rows += [
        ("SLOPE", place(work, float(slopes.station[k]), float(slopes.side[k])),
         work.job.slope.hinge, " ".join(slope_mark(slopes, k, work.job.rounding)))
        for k in range(len(slopes))
    ]  # fmt: skip
    return rows


def _legend(work: CrewWork) -> list[str]:
    """Every short word of the pages, written out."""
    names = {name for layer in work.corridor.layers for name in layer.breaks}
    short = sorted((lath_name(name), name) for name in names if lath_name(name) != name.upper())
    said = [
        (
            "C cut, down to the layer; F fill, up to it; GRADE within tolerance; HP high point;"
            " LP low point; UP, DN slope to the next lath; OFF take off the edge; ! see the note."
        )
    ]
    if work.job.rounding.marks_unit == "ft":
        said.append("Stations are the design's own, in metres; all else on these pages is in feet.")
    return [*said, "; ".join(f"{word} {name}" for word, name in short)] if short else said
