"""Pages that are lists of the edge: where it leaves its line, machine path, backing bank."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

import numpy as np

from pipeline.crew.card.streets import BOX, assumed_words, said_of, street_cell, street_heading
from pipeline.crew.card.table import Heading, list_pages
from pipeline.crew.edge.bank import Bank, State
from pipeline.crew.edge.line import worst_first
from pipeline.crew.edge.machine import Path
from pipeline.crew.measures import Measures, measures
from pipeline.crew.work import CrewWork, between, place
from pipeline.model.pages import NUMBER_PT, CardPage
from pipeline.model.telling import counted
from pipeline.settings import Job
from pipeline.units import format_side


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
            *street_cell(work, one),
            spot.verdict,
            place(one, spot.station, float(spot.side)),
            f"OFF {unit.small(spot.amount_m)}",
            unit.long(spot.length_m),
            unit.volume(spot.volume_m3, 0.01),
            unit.long(spot.shot_gap_m),
            BOX,
        )
        for one, spot in found
    ]
    headings = [
        *street_heading(work),
        Heading("what"),
        Heading("worst at", NUMBER_PT, bold=True),
        Heading(f"take\noff {unit.small_unit}", NUMBER_PT, bold=True),
        Heading(f"length\n{unit.unit}", align="right"),
        Heading(f"clay\n{unit.volume_unit}", align="right"),
        Heading(f"shots\napart {unit.unit}", align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    told = [_limits_told(work.job, unit)]
    told += [text for one in streets for text in said_of(work, one, _edge_told(one))]
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
        + assumed_words(job, {f"edge.{key}": word for key, word in said.items()})
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
            side = format_side(one_edge.side)
            said.append(
                f"{unit.stated(one_edge.chord_m)} straight-edge {side}: shots too far apart on"
                f" {unit.long(untested, 1.0)} of {unit.long(one_edge.length_m, 1.0)} {unit.unit},"
                " not tested there"
            )
    for snake in work.long_sights:
        side = format_side(snake.side)
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
            *street_cell(work, one),
            between(one, c.start, c.end, c.side),
            c.what,
            unit.small(c.height_m),
            unit.long(c.width_m, 0.01),
            # a thing that stands there has no height above the floor, and no volume
            "" if np.isnan(c.height_m) else unit.volume(c.volume_m3, 0.01),
            BOX,
        )
        for one, path in paths
        for c in path.conflicts
    ]
    headings = [
        *street_heading(work),
        Heading("where", bold=True),
        Heading("what", wrap=True, bold=True),
        Heading(f"high or\nlow {unit.small_unit}", NUMBER_PT, bold=True, align="right"),
        Heading(f"wide\n{unit.unit}", align="right"),
        Heading(unit.volume_unit, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    layers = list(dict.fromkeys(path.layer for _, path in paths))
    told = [_room_told(work.job, layers, unit)]
    told += [text for one, path in paths for text in said_of(work, one, _path_told(path, unit))]
    told.append(
        f"CLEAR only where shots stand {unit.stated(work.job.machine.coverage_m)} apart or closer,"
        " and only until the next pass of a blade."
    )
    over = " AND ".join(layers).upper()
    bar = f"CURB MACHINE OVER {over}   {counted(len(rows), 'CONFLICT', 'CONFLICTS')}"
    return list_pages(("Machine path", bar), headings, rows, told, body_pt)


def _room_told(job: Job, layers: list[str], unit: Measures) -> str:
    """The room that was looked at; widths that nobody stated are called assumed."""
    rules = job.machine
    said = {"inside_m": "inside", "outside_m": "behind", "trim_m": "trims"}
    return (
        f"ROOM from {unit.long(rules.inside_m, 0.01)} {unit.unit} inside the {rules.inner} to"
        f" {unit.long(rules.outside_m, 0.01)} {unit.unit} behind the {rules.outer}; trims"
        f" {unit.small(rules.trim_m)} {unit.small_unit}; floor {', '.join(layers)}."
        + assumed_words(job, {f"machine.{key}": word for key, word in said.items()})
    )


def _path_told(path: Path, unit: Measures) -> list[str]:
    """How much of each side is clear, or cannot be told."""
    told = []
    for side, nose in zip((-1, 1), path.smallest_nose_m, strict=True):
        states = _lengths(path, ("CLEAR", "CONFLICT", "LOW", "NOT SHOT"), side, unit)
        if not states:
            # a return or a bulb has one edge: nothing to say of the side that is none
            continue
        seen = (
            f"{unit.long(nose)} {unit.unit}"
            if np.isfinite(nose)
            else "none, nothing was shot there"
        )
        said = f"{format_side(side)}: {states};"
        told.append(f"{said} smallest nose the survey could see: {seen}")
    return told


def bank_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The backing bank where it is not as it should be."""
    banks = [(one, one.bank) for one in work.streets if one.bank is not None]
    if not banks:
        return []
    unit = measures(work.job.rounding)
    rows = [
        (
            *street_cell(work, one),
            run.state,
            between(one, run.start, run.end, run.side),
            unit.long(run.length_m),
            # short lengths that were shot within one that was not do not tell its height
            "" if run.state == "NOT SHOT" else unit.small(run.crest_m),
            unit.volume(run.build_m3) if run.build_m3 else "",
            BOX,
        )
        for one, bank in banks
        for run in bank.runs
        if run.state != "OK"
    ]
    headings = [
        *street_heading(work),
        Heading("bank", bold=True),
        Heading("where", bold=True),
        Heading(f"length\n{unit.unit}", align="right"),
        Heading(f"crest\n{unit.small_unit}", NUMBER_PT, bold=True, align="right"),
        Heading(f"build\n{unit.volume_unit}", NUMBER_PT, bold=True, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    layers = list(dict.fromkeys(bank.layer for _, bank in banks))
    told = [_crest_told(work.job, layers, unit)]
    told += [text for one, bank in banks for text in said_of(work, one, _bank_told(bank, unit))]
    bar = f"BANK ABOVE {' AND '.join(layers).upper()}   {unit.small_unit}"
    return list_pages(("Backing bank", bar), headings, rows, told, body_pt)


def _crest_told(job: Job, layers: list[str], unit: Measures) -> str:
    rules = job.bank
    stated = {"bank.least_m", "bank.most_m"} <= job.given
    return (
        f"Crest {unit.small(rules.least_m)} to {unit.small(rules.most_m)} {unit.small_unit}"
        f" above {', '.join(layers)} at the edge; looked for {unit.stated(rules.reach_m)}"
        " behind it." + ("" if stated else " Common practice, no source, not stated in the job.")
    )


def _bank_told(bank: Bank, unit: Measures) -> list[str]:
    """How much of each side is in which state."""
    told = []
    for side in (-1, 1):
        states = _lengths(bank, get_args(State), side, unit)
        if states:
            told.append(f"{format_side(side)}: {states}")
    return told


def _lengths(of: Path | Bank, states: Sequence[str], side: int, unit: Measures) -> str:
    """``62 m CLEAR, 8 m NOT SHOT``: the states that one side is in."""
    lengths = {state: of.length(state, side) for state in states}
    return ", ".join(
        f"{unit.long(length, 1.0)} {unit.unit} {state}"
        for state, length in lengths.items()
        if length > 0
    )
