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
from pipeline.crew.passes import KEEP_LINE, pass_words
from pipeline.crew.work import CrewWork
from pipeline.model.pages import NUMBER_PT, CardPage
from pipeline.settings_crew import MachineRules
from pipeline.units import format_length

_BOX = "\u2610"


def edge_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """Where the edge leaves its line, the worst first; straightness; what could be seen."""
    if not work.edge_layer:
        return []
    rows = [
        (
            spot.verdict,
            place(work, spot.station, float(spot.side)),
            (
                f"{'OFF' if spot.amount_m > 0 else 'ON'}"
                f" {format_length(abs(spot.amount_m) * 100.0, step=1.0)}"
            ),
            format_length(spot.length_m, step=0.1),
            format_length(spot.volume_m3, step=0.01) if spot.amount_m > 0 else "",
            format_length(spot.shot_gap_m, step=0.1),
            _BOX,
        )
        for spot in work.spots
        if spot.verdict != "SHORT"
    ]
    headings = [
        Heading("what"),
        Heading("worst at", NUMBER_PT, bold=True),
        Heading("take\noff cm", NUMBER_PT, bold=True),
        Heading("length\nm", align="right"),
        Heading("clay\nm3", align="right"),
        Heading("shots\napart m", align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    bar = f"EDGE OF {work.edge_layer.upper()} AGAINST ITS LINE   cm"
    return list_pages(("Edge", bar), headings, rows, _edge_told(work), body_pt)


def _edge_told(work: CrewWork) -> list[str]:
    said = [
        f"SMALLEST NOSE these shots could see {between(work, one.start, one.end, one.side)}:"
        f" {format_length(one.smallest_nose_m, step=0.1)} m ({one.shots} shots)"
        for one in work.seen
    ]
    short = [spot for spot in work.spots if spot.verdict == "SHORT"]
    if short:
        worst = min(short, key=lambda spot: spot.amount_m)
        said.append(
            f"SHORT of its line in {len(short)} places, most"
            f" {format_length(-worst.amount_m * 100.0, step=1.0)} cm at"
            f" {place(work, worst.station, float(worst.side))}; all in edge.csv"
        )
    if not any(spot.verdict != "SHORT" for spot in work.spots) and work.seen:
        said.append("Nothing shot stands in by more than the watch limit.")
    if not work.seen:
        said.append("No edge was shot: its code must name the break in the job file.")
    return said + _straight_told(work)


def _straight_told(work: CrewWork) -> list[str]:
    """What the straight-edges and the long look found, and where they could not say."""
    said = []
    for one_edge in work.straight:
        for wobble in one_edge.wobbles:
            way = "out" if wobble.amount_m > 0 else "in"
            said.append(
                f"{wobble.chord_m:g} m STRAIGHT-EDGE"
                f" {between(work, wobble.start, wobble.end, wobble.side)}:"
                f" {format_length(abs(wobble.amount_m) * 1000.0, step=1.0)} mm {way}"
            )
        untested = one_edge.length_m - one_edge.tested_m
        if untested > 0.5:
            side = "L" if one_edge.side < 0 else "R"
            said.append(
                f"{one_edge.chord_m:g} m straight-edge {side}: shots too far apart on"
                f" {untested:.0f} of {one_edge.length_m:.0f} m, not tested there"
            )
    for snake in work.long_sights:
        side = "L" if snake.side < 0 else "R"
        way = "out" if snake.amount_m > 0 else "in"
        said.append(
            f"LONG SIGHT {side}: {format_length(abs(snake.amount_m) * 1000.0, step=1.0)} mm {way}"
            f" of the line {place(work, snake.start)} to {place(work, snake.end)}, at"
            f" {place(work, snake.station)}"
        )
    return said


def path_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The machine's path: every conflict, what is clear, what nobody can say."""
    if work.path is None:
        return []
    rules, path = work.job.machine, work.path
    rows = [
        (
            between(work, c.start, c.end, c.side),
            c.what,
            format_length(c.height_m * 100.0, step=1.0),
            format_length(c.width_m, step=0.01),
            format_length(c.volume_m3, step=0.01),
            _BOX,
        )
        for c in path.conflicts
    ]
    headings = [
        Heading("where", bold=True),
        Heading("what", wrap=True, bold=True),
        Heading("high or\nlow cm", NUMBER_PT, bold=True, align="right"),
        Heading("wide\nm", align="right"),
        Heading("m3", align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    told = _path_told(path, rules)
    bar = f"CURB MACHINE OVER {path.layer.upper()}   {len(path.conflicts)} CONFLICTS"
    return list_pages(("Machine path", bar), headings, rows, told, body_pt)


def _path_told(path: Path, rules: MachineRules) -> list[str]:
    """The room that was looked at, and how much of it is clear, or cannot be told."""
    told = [
        (
            f"ROOM from {rules.inside_m:.2f} m inside the {rules.inner} to {rules.outside_m:.2f} m"
            f" behind the {rules.outer}; trims {rules.trim_m * 100:.0f} cm; floor {path.layer}."
        )
    ]
    for side, nose in zip((-1, 1), path.smallest_nose_m, strict=True):
        states = ", ".join(
            f"{path.length(state, side):.0f} m {state}"
            for state in ("CLEAR", "CONFLICT", "LOW", "NOT SHOT")
            if path.length(state, side) > 0
        )
        seen = f"{nose:.1f} m" if np.isfinite(nose) else "none, nothing was shot there"
        said = f"{'L' if side < 0 else 'R'}: {states or 'no such section'};"
        told.append(f"{said} smallest nose the survey could see: {seen}")
    told.append(
        f"CLEAR only where shots stand {rules.coverage_m:g} m apart or closer, and only until the"
        " next pass of a blade."
    )
    return told


def bank_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The backing bank where it is not as it should be."""
    if work.bank is None:
        return []
    rules = work.job.bank
    rows = [
        (
            run.state,
            between(work, run.start, run.end, run.side),
            format_length(run.length_m, step=0.1),
            format_length(run.crest_m * 100.0, step=1.0),
            format_length(run.build_m3, step=0.1) if run.build_m3 else "",
            _BOX,
        )
        for run in work.bank.runs
        if run.state != "OK"
    ]
    headings = [
        Heading("bank", bold=True),
        Heading("where", bold=True),
        Heading("length\nm", align="right"),
        Heading("crest\ncm", NUMBER_PT, bold=True, align="right"),
        Heading("build\nm3", NUMBER_PT, bold=True, align="right"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    told = [
        (
            f"Crest {rules.least_m * 100:.0f} to {rules.most_m * 100:.0f} cm above"
            f" {work.bank.layer} at the edge; looked for {rules.reach_m:g} m behind it."
        )
    ]
    for side in (-1, 1):
        states = ", ".join(
            f"{work.bank.length(state, side):.0f} m {state}"
            for state in ("OK", "LOW", "MISSING", "HIGH", "HEAVY", "NOT SHOT")
            if work.bank.length(state, side) > 0
        )
        told.append(f"{'L' if side < 0 else 'R'}: {states}")
    bar = f"BANK ABOVE {work.bank.layer.upper()}   cm"
    return list_pages(("Backing bank", bar), headings, rows, told, body_pt)


def buried_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """Buried and standing things in driving order."""
    things, rules = work.things, work.job.hazards
    rows = [
        (
            thing_place(work, k),
            f"{things.id[k]} {things.kind[k]}",
            *(
                below_words(float(x[k]))
                for x in (things.cover, things.margins.blade, things.margins.rotor)
            ),
            verdict_words(things, k),
        )
        for k in range(len(things))
    ]
    headings = [
        Heading("place", bold=True),
        Heading("thing", wrap=True),
        Heading("cover\ncm", align="right"),
        Heading("under\nblade", align="right"),
        Heading("under\nrotor", align="right"),
        Heading("treat as", wrap=True, bold=True),
    ]
    zone = (
        f"{rules.zone_m:.2f} m each side, as the job states it"
        if rules.zone_m is not None
        else "not stated in the job: ask what the law of the place says"
    )
    told = [
        f"Tolerance zone {zone}.",
        (
            f"Blade leaves {work.layer}; rotor {rules.mixing_depth_m * 100:.0f} +"
            f" {rules.overcut_m * 100:.0f} cm under it. Unknown is treated as a hit."
        ),
        *(f"TIES {things.id[k]}: {work.ties[k]}" for k in range(len(things)) if work.ties[k]),
    ]
    bar = f"BURIED AND STANDING, BELOW {work.layer.upper()}   cm, - is above"
    return list_pages(("Buried things", bar), headings, rows, told, body_pt)


def thing_place(work: CrewWork, k: int) -> str:
    """Where a thing of the whole list is; its street is named where it is not the main one."""
    things = work.things
    street = work.of(str(things.street[k]))
    at = place(street, float(things.feet.station[k]), float(things.feet.offset[k]))
    return at if street is work else f"{street.corridor.name} {at}"


def keep_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """High and low points, passes, marks to rewrite, slope stakes: one list to walk with."""
    rows: list[Row] = [
        ("KEEP", place(work, t.station, t.offset), f"{t.mark} of {t.what}", turn_words(t), _BOX)
        for t in work.turns
    ]
    rows += [
        ("PASSES", between(work, p.start, p.end, p.side),
         pass_words(p, work.job.target.pass_m), KEEP_LINE, _BOX)
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
    return [*said, "; ".join(f"{word} {name}" for word, name in short)] if short else said
