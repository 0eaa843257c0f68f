"""A day's results as files: every text made once, then written all or nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from pipeline import publish_days
from pipeline.compare.streets import streets_of
from pipeline.crew import dots, fate
from pipeline.crew.hubs import cutsheet, stakes
from pipeline.crew.measures import measures
from pipeline.crew.plan.frame import PlanWords
from pipeline.crew.summary import CAUTION, mean_words
from pipeline.deliver import csv, dxf, json
from pipeline.deliver.history import HISTORY_FILE
from pipeline.deliver.landxml import landxml_bytes
from pipeline.deliver.package import safe_name, write_package
from pipeline.earthworks import earthworks, earthworks_tables
from pipeline.kept.calls import keep
from pipeline.model import Table
from pipeline.objects import findings_object, manifest_object, package_id, quantities_object
from pipeline.planning import listed_rows, plan_drawings
from pipeline.publish_crew import (
    crew_files,
    crew_findings,
    crew_work,
    day_before,
    hub_flags,
    on_hold,
)
from pipeline.publish_page import page_files
from pipeline.publish_pictures import pictures
from pipeline.run import DRAWN_CELL_M, Day, shading, sorted_findings
from pipeline.saying import summary_of
from pipeline.settings import Rounding


def complete(day: Day) -> Day:
    """The day with the crew's work in it, and what of that work needs a person."""
    before = day_before(day)
    work = crew_work(day, before)
    found = [*day.findings, *crew_findings(work)]
    # cutsheet.csv, too, says which hubs moved since they were set or since yesterday
    sheet = replace(day.sheet, flag=hub_flags(day, before))
    since = publish_days.since(before, day)
    day = replace(day, before=before, work=work, since=since, sheet=sheet)
    if before is not None and day.since is not None:
        found += publish_days.change_findings(before, day)
    return replace(day, findings=sorted_findings(tuple(found)))


def with_earth(day: Day) -> Day:
    """The day with its earthworks, for the closing words and the package; not where withheld."""
    if day.withheld or day.earth is not None:
        return day
    return replace(day, earth=earthworks(day))


def package_files(day: Day) -> dict[str, bytes]:
    """Every file of the package but the manifest, by name.

    Where a finding stops the day and the job withholds the lists, only the
    findings and the points are there.
    """
    day = replace(day, shading=shading(day))
    tables = [_points_table(day)]
    files = {"findings.json": json.json_bytes(findings_object(day))}
    if not day.withheld:
        streets = {one.name: one.corridor for one in streets_of(day.morning.corridor)}
        tables += [
            stakes.table(day.stakes, day.morning.inputs.job.stakes, streets),
            cutsheet.table(day.sheet, _rounding(day), streets),
            dots.table(day.dots, day.morning.inputs.job.walk, streets),
        ]
        work = day.earth if day.earth is not None else earthworks(day)
        day = replace(day, earth=work)
        tables += earthworks_tables(work, day)
        files["quantities.json"] = json.json_bytes(quantities_object(day))
        files |= drawing_files(day)
        files["ground.xml"] = surfaces_bytes(day)
        files |= crew_files(day, package_id(day.morning.inputs, day.before))
    changes, changes_tables = _since(day)
    files |= page_files(day, plan_words(day), changes=changes, changes_tables=changes_tables)
    for table in tables:
        files[f"{table.name}.csv"] = csv.csv_bytes(on_hold(table) if day.held else table)
    return dict(sorted(files.items()))


def _since(day: Day) -> tuple[tuple[str, ...], tuple[Table, ...]]:
    """What moved since the morning before, and how far the work has come."""
    unit = measures(_rounding(day))
    words: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    if day.before is not None and day.since is not None:
        words, tables = publish_days.change_words(day.before, day)
    if day.withheld:
        return words, tables
    return (
        (*words, *publish_days.progress_words(day.trend, unit)),
        (*publish_days.trend_tables(day.trend, unit), *tables),
    )


def _points_table(day: Day) -> Table:
    morning = day.morning
    at_shots = day.at_shots
    if day.withheld:
        # a number that may not be painted is not written where somebody could read it off
        at_shots = replace(at_shots, cut=np.full(len(at_shots.cut), np.nan))
    return fate.table(
        morning.shots, morning.fate, at_shots, _rounding(day), listed_rows(day),
        morning.corridor.alignment,
    )  # fmt: skip


def _rounding(day: Day) -> Rounding:
    return day.morning.inputs.job.rounding


def drawing_files(day: Day) -> dict[str, bytes]:
    """``cutfill.dxf``, and ``cutfill-plain.dxf`` where the job asks for it."""
    drawn, plain = plan_drawings(day, plan_words(day))
    files = {"cutfill.dxf": keep(dxf.dxf_bytes, drawn)}
    if plain is not None:
        files["cutfill-plain.dxf"] = keep(dxf.dxf_bytes, plain, plain=True)
    return files


def surfaces_bytes(day: Day) -> bytes:
    """``ground.xml``: today's ground and today's layer, with the line they belong to.

    Every name in it says HOLD where a stop finding is not settled: a machine shows names.
    """
    inputs, corridor = day.morning.inputs, day.morning.corridor
    hold = "HOLD " if day.held else ""
    return keep(
        landxml_bytes,
        [
            replace(day.ground, name=f"{hold}ground {inputs.day}"),
            replace(day.design, name=f"{hold}{inputs.job.target.layer}"),
        ],
        project=f"{hold}{inputs.job.name}",
        date=inputs.day[:10],
        grid=inputs.job.grid,
        lines=[(corridor.alignment, corridor.profile)],
    )


def plan_words(day: Day) -> PlanWords:
    """What the title block of the drawing says."""
    inputs = day.morning.inputs
    job, summary = inputs.job, summary_of(day)
    unit = measures(job.rounding)
    target = day.quantity
    unmarked = int((~listed_rows(day)).sum())
    cut, fill = (f"{unit.volume(x)} {unit.volume_unit}" for x in (target.cut_m3, target.fill_m3))
    area = f"{unit.area(target.compared_area_m2)} {unit.area_unit}"
    return PlanWords(
        job=job.name,
        day=inputs.day,
        layer=job.target.layer,
        grid=job.grid.crs,
        heights=job.grid.vertical_datum,
        shots=f"{summary.read} read, {summary.used} used, {summary.refused} not used",
        package=package_id(inputs, day.before),
        prepared_by=job.sheet.prepared_by,
        numbers=(
            f"mean {mean_words(target.mean_cut_m, unit)} {unit.unit} over {area}",
            f"cut {cut}, fill {fill}",
            f"not surveyed {unit.area(target.uncovered_area_m2)} {unit.area_unit}",
            *(
                (f"map drawn from one shot in {unit.stated(DRAWN_CELL_M)}, volumes from all",)
                if day.drawn is not day.difference
                else ()
            ),
            *((f"{unmarked} points of scans and surfaces: no mark here",) if unmarked else ()),
        ),
        cautions=(CAUTION,),
        held=day.held,
        unit=unit,
    )


@dataclass(frozen=True, slots=True)
class Delivered:
    """The package as written, the day it was written of, and why the history has it not."""

    folder: Path
    day: Day
    history_refusal: str = ""


@dataclass(frozen=True, slots=True)
class Command:
    """What of a package the command line decides."""

    day: str | None = None
    """As stated; None: the latest."""
    pictures: bool = False

    def told(self, day: str) -> dict[str, dict[str, Any]]:
        """Each parameter with its value and where it comes from."""
        stated = {"day": self.day is not None, "pictures": self.pictures}
        values = {"day": day, "pictures": self.pictures}
        return {
            key: {"value": value, "origin": "command line" if stated[key] else "default"}
            for key, value in values.items()
        }


def deliver(day: Day, out: Path | None, command: Command | None = None) -> Delivered:
    """Write the package of the day, all or nothing; then put the day into the history.

    The history lies beside the packages, so a run writes nowhere else. The package does
    not wait for it: nobody digs by the history.

    Raises
    ------
    OutputError
        It cannot be written; an earlier package is unchanged.
    """
    inputs, command = day.morning.inputs, command or Command()
    folder = (out if out is not None else inputs.job.folder / "out") / safe_name(inputs.day)
    written = datetime.now(tz=UTC).isoformat(timespec="seconds")
    name, history = package_id(inputs, day.before), folder.parent / HISTORY_FILE
    day = publish_days.with_trend(day, history, name)
    manifest = manifest_object(day, written, command.told(inputs.day))
    write_package(folder, day_files(day, command), manifest)
    refusal = publish_days.keep(day, history, name)
    return Delivered(folder, day, refusal)


def day_files(day: Day, command: Command) -> dict[str, bytes]:
    """`package_files`, and the pictures where they are wanted."""
    day = with_earth(day)
    files = package_files(day)
    if command.pictures:
        files |= pictures(day, plan_words(day))
    return files
