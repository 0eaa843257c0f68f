"""The crew's part of the package: sights, edge, buried things, instrument list, printed pages."""

from __future__ import annotations

import numpy as np

from pipeline.crew import lows, passes, sightline
from pipeline.crew.buried import table as buried_table
from pipeline.crew.buried import things as hazards
from pipeline.crew.card import pages as card
from pipeline.crew.edge import table as edge_table
from pipeline.crew.edge.bank import backing_bank
from pipeline.crew.edge.line import edge_lines, edge_spots, seen
from pipeline.crew.edge.machine import Objects, Path, machine_path
from pipeline.crew.edge.straight import long_sight, straightness
from pipeline.crew.hubs import disturbed, instrument, stakes
from pipeline.crew.hubs.slope import slope_stakes
from pipeline.crew.hubs.stale import stale_marks
from pipeline.crew.stretches import edge_layer
from pipeline.crew.work import CrewWork
from pipeline.deliver import csv, pdf
from pipeline.deliver.geojson import Places, geojson_pieces
from pipeline.errors import InputError, LathError
from pipeline.ingest.job.morning import days
from pipeline.ingest.wgs84 import to_wgs84
from pipeline.model import (
    Bools,
    Corridor,
    Finding,
    Findings,
    Floats,
    Shots,
    Table,
    Texts,
    make_shots,
    texts,
)
from pipeline.run import Day, Stopwatch, run_day
from pipeline.settings import Job
from pipeline.surface.lines import meaning

THINGS = ("lid", "object")
"""Fates of shots that are things, not ground."""


def crew_files(day: Day, package: str, before: Day | None = None) -> dict[str, bytes]:
    """The files that a grade person works by, by name.

    Parameters
    ----------
    day : Day
    package : str
        Id of the package; stands on every page.
    before : Day, optional
        An earlier morning of the same job: marks that are overtaken since are told. Hubs
        that moved since the day before are told without it, from that day's files.

    Returns
    -------
    dict of str to bytes
        ``sightlines.csv``, ``edge.csv``, ``buried.csv``, ``instrument.csv``, ``crew.pdf``, and
        ``instrument.geojson`` where the job's grid has a known place on the earth.

    Raises
    ------
    JobError
        A setting of the crew's tables cannot be used.
    """
    work = day.work if day.work is not None and before is None else crew_work(day, before)
    job = work.job
    points = instrument.set_out(work.corridor, day.stakes, job.instrument, job.stakes)
    if day.held:
        points = instrument.held(points, job.instrument)
    tables = (
        sightline.table(work.corridor, work.sights, job.sights, job.rounding),
        edge_table.table(work),
        buried_table.table(work),
    )
    files = {f"{table.name}.csv": csv.csv_bytes(_marked(table, day.held)) for table in tables}
    files["instrument.csv"] = csv.csv_bytes(instrument.table(points, job.instrument))
    if not job.instrument.header:
        body = files["instrument.csv"]
        files["instrument.csv"] = body[body.index(b"\r\n") + 2 :]
    words = card.CardWords(day.morning.inputs.day, package, control_words(day), day.held)
    files["crew.pdf"] = pdf.pdf_bytes(card.book(work, words))
    on_earth = geojson(points, job.grid.crs)
    if on_earth:
        files["instrument.geojson"] = on_earth
    return files


def day_before(day: Day) -> Day | None:
    """The last morning before this one, run in full; None where there is none that can be.

    Costs as much as the day itself: for stale marks only.
    """
    job = day.morning.inputs.job
    earlier = [name for name in days(job) if name < day.morning.inputs.day]
    try:
        return run_day(job.folder, earlier[-1], Stopwatch()) if earlier else None
    except LathError:
        return None


def crew_work(day: Day, before: Day | None = None) -> CrewWork:
    """Everything the crew carries, computed from a day's run."""
    morning, job = day.morning, day.morning.inputs.job
    corridor, target = morning.corridor, job.target.layer
    layer = edge_layer(corridor, target)
    shots = morning.shots
    in_surface = shots.take(morning.rows("in the surface"))
    edges = edge_lines(corridor, layer, in_surface, job.codes) if layer else ()
    spots = stakes.interval_stations(corridor, job.stakes)
    things = hazards.things(
        (corridor, target), day.ground, (morning.inputs.utilities, _things(day)), job.hazards
    )
    sheet = day.sheet
    return CrewWork(
        job=job,
        corridor=corridor,
        edge_layer=layer,
        dots=day.dots,
        sheet=sheet,
        flags=_flags(day, before),
        to_line=_to_line(day, layer),
        sights=sightline.sights(
            (corridor, target), day.ground, spots, job.sights, job.rounding.on_grade_m
        ),
        spots=edge_spots((corridor, layer), day.ground, edges, job.edge),
        seen=seen(edges),
        straight=straightness(corridor, layer, edges, job.edge),
        long_sights=tuple(
            wobble
            for edge in edges
            for wobble in long_sight(corridor, edge, max(job.edge.chord_limits_m))
        ),
        path=_path(day, layer, in_surface, things),
        bank=backing_bank(corridor, layer, day.ground, job.bank) if layer else None,
        things=things,
        ties=buried_table.tie_words(things, sheet.hubs),
        turns=lows.turns(corridor, morning.inputs.utilities, job.stakes.reference, job.hazards),
        passes=passes.by_stretch(day.dots, job.target.pass_m),
        stale=stale_marks(before.dots, day.dots, job.target.stale_m) if before else (),
        slopes=slope_stakes(corridor, day.ground, spots, job.slope),
    )


def crew_findings(work: CrewWork) -> Findings:
    """What of the crew's work needs a person before anyone starts."""
    line = work.corridor.alignment
    said = [*hazards.findings(work.things, line), *lows.findings(work.turns, line)]
    sheet = work.sheet
    said += [
        Finding(
            severity="person",
            kind="hub disturbed",
            text=f"hub {sheet.hubs.id[k]}: {work.flags[k]}",
            do="set it again before anything is measured from it",
            points=(str(sheet.hubs.id[k]),),
            station=float(sheet.station[k]),
            offset=float(sheet.offset[k]),
        )
        for k in np.flatnonzero(work.flags != "")
    ]
    said += [
        Finding("note", "hubs at another offset", sentence, "correct stakes.hub_behind_m")
        for sentence in disturbed.not_as_stated(sheet.offset, sheet.behind, work.job.stakes)
    ]
    return tuple(said)


def _things(day: Day) -> Shots:
    """Shots of lids, valves and whatever stands."""
    kept: Bools = np.isin(day.morning.fate, THINGS)
    return day.morning.shots.take(kept)


def _flags(day: Day, before: Day | None) -> Texts:
    """What is wrong with each hub of the sheet: off its line, shot twice, moved since."""
    sheet, inputs = day.sheet, day.morning.inputs
    old = before.sheet.hubs if before is not None else _hubs(inputs.yesterday, inputs.job)
    since = disturbed.moved_since(sheet.hubs, old, inputs.job.stakes)
    pairs = zip(sheet.flag, since, strict=True)
    return texts("; ".join(word for word in pair if word) for pair in pairs)


def _to_line(day: Day, layer: str) -> Floats:
    """From each hub in to the painted offset line [m]; NaN where the layer has no edge."""
    sheet = day.sheet
    if not layer:
        return np.full(len(sheet.hubs), np.nan)
    hubs = sheet.station, sheet.offset, sheet.behind
    return passes.hub_to_line(
        day.morning.corridor, layer, hubs, day.morning.inputs.job.edge.clearance_m
    )


def _hubs(shots: Shots | None, job: Job) -> Shots:
    """The hubs among the shots of an earlier morning."""
    if shots is None:
        return make_shots([], [], [])
    codes = [meaning(str(code), job.codes) for code in shots.code]
    return shots.take([code is not None and code.kind == "hub" for code in codes])


def _path(day: Day, layer: str, shots: Shots, things: hazards.Things) -> Path | None:
    """The machine's path; None where the design has no curb for a machine to lay."""
    rules, corridor = day.morning.inputs.job.machine, day.morning.corridor
    if not layer or not (_has(corridor, rules.inner) and _has(corridor, rules.outer)):
        return None
    hubs = day.sheet.hubs
    objects = Objects(
        name=texts(
            [f"{kind} {name}" for kind, name in zip(things.kind, things.id, strict=True)]
            + [f"hub {name}" for name in hubs.id]
        ),
        easting=np.concatenate([things.easting, hubs.easting]),
        northing=np.concatenate([things.northing, hubs.northing]),
    )
    return machine_path(
        (corridor, layer), day.ground, (shots.easting, shots.northing), objects, rules
    )


def _has(corridor: Corridor, break_name: str) -> bool:
    return any(break_name in layer.breaks for layer in corridor.layers)


def control_words(day: Day) -> str:
    """Which known points were shot again this morning, and how that went."""
    checks = [finding for finding in day.findings if finding.kind == "control check"]
    if not checks:
        return "not checked this morning"
    names = ",".join(sorted({finding.text.split(" ", 1)[0] for finding in checks}))
    bad = sum(finding.severity != "note" for finding in checks)
    return f"{names} {'checked' if not bad else f'checked, {bad} over a limit'}"


def _marked(table: Table, held: bool) -> Table:
    """The table, every row marked HOLD where a stop finding is not settled."""
    if not held or "note" not in table.columns:
        return table
    at = table.columns.index("note")
    rows = tuple((*row[:at], f"HOLD {row[at]}".rstrip(), *row[at + 1 :]) for row in table.rows)
    return Table(table.name, table.columns, rows, table.text_columns)


def geojson(points: instrument.SetOut, crs: str) -> bytes:
    """The points to set in longitude and latitude; empty where the grid's place is not known.

    A grid whose way to the earth needs a file that is not installed has none: the
    coordinates would be some metres off, and look right.
    """
    if crs == "local" or not len(points):
        return b""
    east, north = points.easting, points.northing
    box = float(east.min()), float(north.min()), float(east.max()), float(north.max())
    try:
        onto = to_wgs84(crs, box, "instrument.geojson")
        longitude, latitude = onto.degrees(east, north)
    except InputError:
        return b""
    places = Places(longitude, latitude, points.elevation, points.id, points.code, points.note)
    about = {"from": onto.system, "operation": onto.words}
    return b"".join(geojson_pieces([places], [], about))
