"""Pages that are lists: edge, machine path, bank, buried things, marks to keep."""

from __future__ import annotations

import numpy as np

from pipeline.crew.buried.things import below_words, verdict_words
from pipeline.crew.card.strip_map import between, place
from pipeline.crew.card.table import Heading, Row, list_pages
from pipeline.crew.edge.machine import Path
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.hubs.slope import mark as slope_mark
from pipeline.crew.hubs.stale import stale_words
from pipeline.crew.lows import turn_words
from pipeline.crew.measures import Measures, measures
from pipeline.crew.passes import KEEP_LINE, pass_words
from pipeline.crew.work import CrewWork
from pipeline.model.pages import NUMBER_PT, CardPage
from pipeline.settings_crew import MachineRules

_BOX = "\u2610"


def edge_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """Where the edge leaves its line, the worst first; straightness; what could be seen."""
    if not work.edge_layer:
        return []
    unit = measures(work.job.rounding)
    rows = [
        (
            spot.verdict,
            place(work, spot.station, float(spot.side)),
            (f"{'OFF' if spot.amount_m > 0 else 'ON'} {unit.small(abs(spot.amount_m))}"),
            unit.long(spot.length_m),
            unit.volume(spot.volume_m3, 0.01) if spot.amount_m > 0 else "",
            unit.long(spot.shot_gap_m),
            _BOX,
        )
        for spot in work.spots
        if spot.verdict != "SHORT"
    ]
    headings = [
        Heading("what"),
        Heading("worst at", NUMBER_PT, bold=True),
        Heading(f"take\noff {unit.small_unit}", NUMBER_PT, bold=True),
        Heading(f"length\n{unit.unit}", align="right"),
        Heading(f"clay\n{unit.volume_unit}", align="right"),
        Heading(f"shots\napart {unit.unit}", align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    bar = f"EDGE OF {work.edge_layer.upper()} AGAINST ITS LINE   {unit.small_unit}"
    return list_pages(("Edge", bar), headings, rows, _edge_told(work), body_pt)


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
    if work.path is None:
        return []
    path, unit = work.path, measures(work.job.rounding)
    rows = [
        (
            between(work, c.start, c.end, c.side),
            c.what,
            unit.small(c.height_m),
            unit.long(c.width_m, 0.01),
            unit.volume(c.volume_m3, 0.01),
            _BOX,
        )
        for c in path.conflicts
    ]
    headings = [
        Heading("where", bold=True),
        Heading("what", wrap=True, bold=True),
        Heading(f"high or\nlow {unit.small_unit}", NUMBER_PT, bold=True, align="right"),
        Heading(f"wide\n{unit.unit}", align="right"),
        Heading(unit.volume_unit, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    told = _path_told(path, work.job.machine, unit)
    count = len(path.conflicts)
    bar = f"CURB MACHINE OVER {path.layer.upper()}   {count} CONFLICT{'' if count == 1 else 'S'}"
    return list_pages(("Machine path", bar), headings, rows, told, body_pt)


def _path_told(path: Path, rules: MachineRules, unit: Measures) -> list[str]:
    """The room that was looked at, and how much of it is clear, or cannot be told."""
    told = [
        (
            f"ROOM from {unit.long(rules.inside_m, 0.01)} {unit.unit} inside the {rules.inner} to"
            f" {unit.long(rules.outside_m, 0.01)} {unit.unit} behind the {rules.outer}; trims"
            f" {unit.small(rules.trim_m)} {unit.small_unit}; floor {path.layer}."
        )
    ]
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
    told.append(
        f"CLEAR only where shots stand {unit.stated(rules.coverage_m)} apart or closer, and only"
        " until the next pass of a blade."
    )
    return told


def bank_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The backing bank where it is not as it should be."""
    if work.bank is None:
        return []
    rules, unit = work.job.bank, measures(work.job.rounding)
    rows = [
        (
            run.state,
            between(work, run.start, run.end, run.side),
            unit.long(run.length_m),
            unit.small(run.crest_m),
            unit.volume(run.build_m3) if run.build_m3 else "",
            _BOX,
        )
        for run in work.bank.runs
        if run.state != "OK"
    ]
    headings = [
        Heading("bank", bold=True),
        Heading("where", bold=True),
        Heading(f"length\n{unit.unit}", align="right"),
        Heading(f"crest\n{unit.small_unit}", NUMBER_PT, bold=True, align="right"),
        Heading(f"build\n{unit.volume_unit}", NUMBER_PT, bold=True, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    told = [
        (
            f"Crest {unit.small(rules.least_m)} to {unit.small(rules.most_m)} {unit.small_unit}"
            f" above {work.bank.layer} at the edge; looked for {unit.stated(rules.reach_m)}"
            " behind it."
        )
    ]
    for side in (-1, 1):
        states = ", ".join(
            f"{unit.long(work.bank.length(state, side), 1.0)} {unit.unit} {state}"
            for state in ("OK", "LOW", "MISSING", "HIGH", "HEAVY", "NOT SHOT")
            if work.bank.length(state, side) > 0
        )
        if states:
            told.append(f"{'L' if side < 0 else 'R'}: {states}")
    bar = f"BANK ABOVE {work.bank.layer.upper()}   {unit.small_unit}"
    return list_pages(("Backing bank", bar), headings, rows, told, body_pt)


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
    zone = (
        f"{unit.long(rules.zone_m, 0.01)} {unit.unit} each side, as the job states it"
        if rules.zone_m is not None
        else "not stated in the job: ask what the law of the place says"
    )
    told = [
        f"Tolerance zone {zone}.",
        (
            f"Blade leaves {work.layer}; rotor {unit.small(rules.mixing_depth_m)} +"
            f" {unit.small(rules.overcut_m)} {unit.small_unit} under it. Unknown is treated as"
            " a hit."
        ),
        *(
            f"TIES {things.id[k]}, {unit.unit}: {work.ties[k]}"
            for k in range(len(things))
            if work.ties[k]
        ),
    ]
    bar = f"BURIED AND STANDING, BELOW {work.layer.upper()}   {unit.small_unit}, - is above"
    return list_pages(("Buried things", bar), headings, rows, told, body_pt)


def thing_place(work: CrewWork, k: int) -> str:
    """Where a thing of the whole list is; its street is named where it is not the main one."""
    things = work.things
    street = work.of(str(things.street[k]))
    at = place(street, float(things.feet.station[k]), float(things.feet.offset[k]))
    return at if street is work else f"{street.corridor.name} {at}"


def keep_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """High and low points, passes, marks to rewrite, slope stakes: one list to walk with."""
    unit = measures(work.job.rounding)
    rows: list[Row] = [
        (
            "KEEP",
            place(work, t.station, t.offset),
            f"{t.mark} of {t.what}",
            turn_words(t, unit),
            _BOX,
        )
        for t in work.turns
    ]  # fmt: skip
    rows += [
        ("PASSES", between(work, p.start, p.end, p.side),
         pass_words(p, work.job.target.pass_m, unit), KEEP_LINE, _BOX)
        for p in work.passes
    ]  # fmt: skip
    rows += [
        ("REWRITE", place(work, m.station, m.offset), lath_name(m.what), stale_words(m), _BOX)
        for m in work.stale
    ]
    slopes = work.slopes
    rows += [
        ("SLOPE", place(work, float(slopes.station[k]), float(slopes.side[k])),
         work.job.slope.hinge, " ".join(slope_mark(slopes, k, work.job.rounding)), _BOX)
        for k in range(len(slopes))
    ]  # fmt: skip
    headings = [
        Heading("do"),
        Heading("place", bold=True),
        Heading("what", wrap=True),
        Heading("say", wrap=True, bold=True),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    bar = f"MARKS TO KEEP AND REWRITE ON {work.layer.upper()}"
    return list_pages(("Marks", bar), headings, rows, _legend(work), body_pt)


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
