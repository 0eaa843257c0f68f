"""The crew's part of the package: sights, edge, buried things, instrument list, printed pages."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.streets import Street, own_name, streets_of, told_from
from pipeline.crew import lows, passes
from pipeline.crew.buried import table as buried_table
from pipeline.crew.buried import things as hazards
from pipeline.crew.card import pages as card
from pipeline.crew.edge import table as edge_table
from pipeline.crew.edge.bank import backing_bank
from pipeline.crew.edge.line import EdgeLine, edge_spots, edges_by_street, longest_step, seen
from pipeline.crew.edge.machine import Objects, Path, machine_path
from pipeline.crew.edge.straight import long_sight, straightness
from pipeline.crew.gaps import ShotSides, shot_sides
from pipeline.crew.hubs import disturbed, instrument
from pipeline.crew.hubs.cutsheet import CutSheet
from pipeline.crew.hubs.slope import SlopeStakes, slope_stakes
from pipeline.crew.hubs.stakes import street_stations
from pipeline.crew.hubs.stale import StaleMark, stale_marks
from pipeline.crew.measures import measures
from pipeline.crew.sights import sightline
from pipeline.crew.sights import table as sights_table
from pipeline.crew.stretches import edge_layer
from pipeline.crew.work import CrewWork
from pipeline.deliver import csv, pdf
from pipeline.deliver.geojson import Places, geojson_pieces
from pipeline.earthworks import earthworks_words
from pipeline.errors import InputError, LathError
from pipeline.ingest.job.morning import days
from pipeline.ingest.wgs84 import grid_system, to_wgs84
from pipeline.kept.calls import keep
from pipeline.model import (
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

BESIDE_M = 3.0
"""Buried things this far outside a street's sections are told on its pages too [assumed]."""


def crew_files(day: Day, package: str) -> dict[str, bytes]:
    """The files that a grade person works by, by name.

    Parameters
    ----------
    day : Day
    package : str
        Id of the package; stands on every page.

    Returns
    -------
    dict of str to bytes
        ``sightlines.csv``, ``edge.csv``, ``buried.csv``, ``instrument.csv``, ``crew.pdf``, and
        ``instrument.geojson`` where the job's grid has a known place on the earth; with
        ``instrument.files`` ``instrument.gpkg`` too.

    Raises
    ------
    JobError
        A setting of the crew's tables cannot be used.
    """
    work = day.work if day.work is not None else crew_work(day)
    job = work.job
    points = instrument.set_out(work.corridor, day.stakes, job.instrument, job.stakes)
    if day.held:
        points = instrument.held(points, job.instrument)
    tables: tuple[Table, ...] = (
        _sightlines(work), edge_table.table(work), buried_table.table(work),
    )  # fmt: skip
    if day.held:
        tables = tuple(on_hold(table) for table in tables)
    files = {f"{table.name}.csv": csv.csv_bytes(table) for table in tables}
    files["instrument.csv"] = csv.csv_bytes(instrument.table(points, job.instrument))
    if not job.instrument.header:
        body = files["instrument.csv"]
        files["instrument.csv"] = body[body.index(b"\r\n") + 2 :]
    words = card.CardWords(day.morning.inputs.day, package, control_words(day), day.held)
    earth = None
    if day.earth is not None:
        earth = card.EarthWords(day.earth, earthworks_words(day.earth, day))
    files["crew.pdf"] = keep(pdf.pdf_bytes, keep(card.book, work, words, earth))
    wanted = job.instrument.files
    on_earth = geojson(points, job.grid.crs) if "geojson" in wanted else b""
    if on_earth:
        files["instrument.geojson"] = on_earth
    if "geopackage" in wanted:
        files["instrument.gpkg"] = geopackage(points, job, day.morning.inputs.day)
    return files


def _sightlines(work: CrewWork) -> Table:
    """``sightlines.csv``: the sights of every street."""
    rules, rounding = work.job.sights, work.job.rounding
    tables = [sights_table.table(one.corridor, one.sights, rules, rounding) for one in work.streets]
    return replace(tables[0], rows=tuple(row for table in tables for row in table.rows))


def day_before(day: Day) -> Day | None:
    """The last morning before this one, run in full; None where there is none that can be.

    Costs as much as the day itself: for stale marks, and for what moved since.
    """
    job = day.morning.inputs.job
    earlier = [name for name in days(job) if name < day.morning.inputs.day]
    try:
        return run_day(job.folder, earlier[-1], Stopwatch()) if earlier else None
    except LathError:
        return None


def crew_work(day: Day, before: Day | None = None) -> CrewWork:
    """Everything the crew carries, computed from a day's run: the main street, and its others."""
    morning, job = day.morning, day.morning.inputs.job
    target, in_surface = job.target.layer, morning.shots.take(morning.rows("in the surface"))
    found = buried_things(day)
    whole = _Whole(
        day, found, in_surface, edges_by_street(morning.corridor, target, in_surface, job.codes),
        buried_table.tie_words(found, day.sheet.hubs, measures(job.rounding)),
        hub_flags(day, before),
        stale_marks(before.dots, day.dots, job.target.stale_m) if before else (),
    )  # fmt: skip
    main, *rest = streets_of(morning.corridor)
    others = tuple(_street_work(whole, street) for street in rest)
    return replace(_street_work(whole, main), others=others)


@dataclass(frozen=True, slots=True)
class _Whole:
    """What is found once for all streets of a day."""

    day: Day
    things: hazards.Things
    shots: Shots
    edges: dict[str, tuple[EdgeLine, ...]]
    ties: Texts
    flags: Texts
    stale: tuple[StaleMark, ...]


def _street_work(whole: _Whole, street: Street) -> CrewWork:
    """The work along one part of the design."""
    day, corridor = whole.day, street.corridor
    job, layer = day.morning.inputs.job, edge_layer(corridor, day.morning.inputs.job.target.layer)
    edges, spots = whole.edges[street.name], street_stations(street, job.stakes)
    shot = shot_sides(street, whole.edges, longest_step(corridor, layer, job.codes))
    rows = np.flatnonzero(day.sheet.street == street.name)
    sheet, dots = day.sheet.take(rows), day.dots.take(day.dots.street == street.name)
    return CrewWork(
        job=job,
        corridor=corridor,
        edge_layer=layer,
        dots=dots,
        sheet=sheet,
        flags=whole.flags[rows],
        to_line=_to_line(corridor, sheet, layer, job),
        sights=keep(
            sightline.sights,
            (corridor, job.target.layer),
            day.ground,
            spots,
            job.sights,
            job.rounding.on_grade_m,
        ),
        spots=edge_spots((corridor, layer), day.ground, edges, job.edge),
        seen=seen(edges),
        straight=keep(straightness, corridor, layer, edges, job.edge),
        long_sights=tuple(
            wobble
            for edge in edges
            for wobble in long_sight(corridor, edge, max(job.edge.chord_limits_m))
        ),
        path=_path(whole, corridor, layer, shot),
        bank=keep(backing_bank, corridor, layer, day.ground, job.bank, shot) if layer else None,
        things=whole.things,
        ties=whole.ties,
        turns=_turns(whole, street),
        passes=passes.by_stretch(dots, job.target.pass_m),
        stale=_stale_on(whole, street),
        slopes=_slopes(whole, street, spots),
        beside=_beside(whole.things, corridor),
    )


def _beside(things: hazards.Things, corridor: Corridor) -> hazards.Things:
    return hazards.beside(things, corridor, BESIDE_M) if corridor.parts else things


def _turns(whole: _Whole, street: Street) -> tuple[lows.Turn, ...]:
    inputs = whole.day.morning.inputs
    reference = inputs.job.stakes.reference
    if street.prefix and not (street.shows(lows.GUTTER) or street.shows(reference)):
        return ()
    return lows.turns(street.corridor, inputs.utilities, reference, inputs.job.hazards)


def _stale_on(whole: _Whole, street: Street) -> tuple[StaleMark, ...]:
    """Marks of this street that are overtaken."""
    dots = whole.day.dots
    here = set(dots.id[dots.street == street.name].tolist())
    return tuple(mark for mark in whole.stale if mark.id in here)


def _slopes(whole: _Whole, street: Street, spots: Floats) -> SlopeStakes:
    rules = whole.day.morning.inputs.job.slope
    if street.prefix and not street.shows(rules.hinge):
        rules = replace(rules, hinge="")
    return slope_stakes(street.corridor, whole.day.ground, spots, rules)


def crew_findings(work: CrewWork) -> Findings:
    """What of the crew's work needs a person before anyone starts."""
    said: list[Finding] = []
    unit = measures(work.job.rounding)
    main, things = work.corridor, work.things
    for one in work.streets:
        rows = np.flatnonzero(things.street == one.corridor.name)
        own = things.take(rows, things.feet.take(rows), one.corridor.name)
        told = hazards.findings(own, one.corridor.alignment, unit)
        said += told if one is work else (told_from(main, one.corridor, x) for x in told)
    for one in work.streets:
        said += _on_street(one, main)
    return tuple(said)


def _on_street(work: CrewWork, main: Corridor) -> Findings:
    """What of one street's work needs a person; where it is, is told along the main street."""
    sheet = work.sheet
    said = [*lows.findings(work.turns, work.corridor.alignment)]
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
        for sentence in disturbed.not_as_stated(
            sheet.offset, sheet.behind, work.job.stakes, measures(work.job.rounding)
        )
    ]
    if work.corridor is main:
        return tuple(said)
    return tuple(told_from(main, work.corridor, finding) for finding in said)


def buried_things(day: Day) -> hazards.Things:
    """What is on record and what of it, and besides it, was shot: buried and standing."""
    morning = day.morning
    job = morning.inputs.job
    return hazards.things(
        (morning.corridor, job.target.layer),
        day.ground,
        (morning.inputs.utilities, morning.things),
        job.hazards,
    )


def hub_flags(day: Day, before: Day | None) -> Texts:
    """What is wrong with each hub of the sheet: off its line or row, shot twice, moved since."""
    sheet, inputs = day.sheet, day.morning.inputs
    old = before.sheet.hubs if before is not None else _hubs(inputs.yesterday, inputs.job)
    since = disturbed.moved_since(sheet.hubs, old, inputs.job.stakes, measures(inputs.job.rounding))
    both = [f"{own}; {moved}".split("; ") for own, moved in zip(sheet.flag, since, strict=True)]
    # a sheet that has been through here keeps its words as they are
    return texts("; ".join(dict.fromkeys(word for word in words if word)) for words in both)


def _to_line(corridor: Corridor, sheet: CutSheet, layer: str, job: Job) -> Floats:
    """From each hub in to the painted offset line [m]; NaN where the layer has no edge."""
    if not layer:
        return np.full(len(sheet.hubs), np.nan)
    hubs = sheet.station, sheet.offset, sheet.behind
    return passes.hub_to_line(corridor, layer, hubs, job.edge.clearance_m)


def _hubs(shots: Shots | None, job: Job) -> Shots:
    """The hubs among the shots of an earlier morning."""
    if shots is None:
        return make_shots([], [], [])
    codes = [meaning(str(code), job.codes) for code in shots.code]
    return shots.take([code is not None and code.kind == "hub" for code in codes])


def _path(whole: _Whole, corridor: Corridor, layer: str, shot: ShotSides) -> Path | None:
    """The machine's path; None where the street has no curb for a machine to lay."""
    day, things, shots = whole.day, whole.things, whole.shots
    rules = day.morning.inputs.job.machine
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
    at = shots.easting, shots.northing
    return keep(machine_path, (corridor, layer), day.ground, at, objects, rules, shot)


def _has(corridor: Corridor, break_name: str) -> bool:
    return any(own_name(corridor, break_name) in layer.breaks for layer in corridor.layers)


def control_words(day: Day) -> str:
    """Which known points were shot again this morning, and how that went."""
    checks = [finding for finding in day.findings if finding.kind == "control check"]
    if not checks:
        return "not checked this morning"
    names = ",".join(sorted({finding.text.split(" ", 1)[0] for finding in checks}))
    bad = sum(finding.severity != "note" for finding in checks)
    return f"{names} {'checked' if not bad else f'checked, {bad} over a limit'}"


def on_hold(table: Table) -> Table:
    """The table with every row marked HOLD: a stop finding is not settled."""
    if "note" not in table.columns:
        columns = (*table.columns, "note")
        rows = tuple((*row, "HOLD") for row in table.rows)
        return Table(table.name, columns, rows, table.text_columns | {"note"})
    at = table.columns.index("note")
    rows = tuple((*row[:at], f"HOLD {row[at]}".rstrip(), *row[at + 1 :]) for row in table.rows)
    return Table(table.name, table.columns, rows, table.text_columns)


def geopackage(points: instrument.SetOut, job: Job, day: str) -> bytes:
    """The points to set on the job grid as a GeoPackage.

    Raises
    ------
    OutputError
        The library that writes it is not installed.
    """
    from pipeline.deliver.geopackage import GridPoints, geopackage_bytes

    held = GridPoints(
        points.easting, points.northing, points.elevation, points.id, points.code, points.note
    )
    return geopackage_bytes(held, grid_system(job.grid.crs), day, "points_to_set")


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
