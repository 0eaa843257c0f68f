"""The points to set before the work, from the job folder to ``layout.csv``.

The second road through the house: it needs the design and what is buried, no shots.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import __version__, objects
from pipeline.crew.hubs import layout, street_layout
from pipeline.crew.measures import measures
from pipeline.deliver import csv
from pipeline.deliver.package import write_package
from pipeline.design.equations import station_text
from pipeline.ingest.job.inputs import Inputs, read_before_shots
from pipeline.model import Alignment, Corridor, Findings, Stakes, Table
from pipeline.run import build_corridor

FOLDER = "layout"
"""Beside the days' folders."""


@dataclass(frozen=True, slots=True, eq=False)
class SettingOut:
    """The points of a job, and what about them and the design a person should know."""

    inputs: Inputs
    corridor: Corridor
    streets: tuple[street_layout.StreetPoints, ...]
    findings: Findings

    @property
    def table(self) -> Table:
        """``layout.csv``."""
        return street_layout.whole_table(self.streets, self.inputs.job.stakes)

    @property
    def counts(self) -> dict[str, int]:
        """Hubs, points of the line, and points left out."""
        kinds = [str(kind) for one in self.streets for kind in one.points.kind]
        return {
            "hubs": kinds.count("stake"),
            "points": kinds.count("point"),
            "left_out": sum(finding.kind == "point left out" for finding in self.findings),
        }


def set_out(folder: Path) -> SettingOut:
    """The points to set for the job in `folder`; nothing is written.

    Raises
    ------
    LathError
        The job or its design cannot be used, or hubs would stand in the machine's path.
    """
    inputs = read_before_shots(folder)
    corridor, found = build_corridor(inputs)
    job = inputs.job
    streets, more = street_layout.whole_layout(
        corridor, job.stakes, job.layout, inputs.utilities, measures(job.rounding)
    )
    return SettingOut(inputs, corridor, streets, (*found, *more))


def deliver(result: SettingOut, out: Path | None) -> Path:
    """Write ``layout.csv`` and its manifest, both or neither, and say where they are.

    Raises
    ------
    OutputError
        They cannot be written; what stood there before is unchanged.
    """
    inputs = result.inputs
    folder = (out if out is not None else inputs.job.folder / "out") / FOLDER
    write_package(folder, layout_files(result), manifest_object(inputs))
    return folder


def layout_files(result: SettingOut) -> dict[str, bytes]:
    """Every file of the package but the manifest, by name."""
    return {"layout.csv": csv.csv_bytes(result.table)}


def manifest_object(inputs: Inputs) -> dict[str, Any]:
    """``manifest.json`` but for the outputs."""
    return {
        "package": objects.package_id(inputs),
        "lath": __version__,
        "made_with": objects.libraries(),
        "job": inputs.job.name,
        "inputs": objects.inputs_object(inputs),
        "settings": objects.settings_object(inputs.job),
    }


def layout_object(result: SettingOut, folder: Path) -> dict[str, Any]:
    """What ``lath layout --json`` prints."""
    return {
        "job": result.inputs.job.name,
        "file": (folder / "layout.csv").as_posix(),
        "counts": result.counts,
        "points": [
            {"street": one.name, **_point_object(one.points, i, one.corridor.alignment)}
            for one in result.streets
            for i in range(len(one.points))
        ],
        "caution": layout.CAUTION,
        "findings": [
            objects.finding_object(finding, result.corridor.alignment)
            for finding in result.findings
        ],
    }


def _point_object(points: Stakes, i: int, line: Alignment) -> dict[str, Any]:
    return {
        "id": points.id[i],
        "kind": points.kind[i],
        "what": points.what[i],
        "station": objects.number(points.station[i]),
        "station_text": station_text(line, float(points.station[i])),
        "offset": objects.number(points.offset[i]),
        "easting": objects.number(points.easting[i]),
        "northing": objects.number(points.northing[i]),
        "lath": points.mark[i],
        "note": points.note[i],
    }


def layout_words(result: SettingOut, folder: Path) -> list[str]:
    """The same for a person: counts, what needs one, and the caution."""
    counts = result.counts
    counted = (
        f"{result.inputs.job.name}: {counts['hubs']} hubs, {counts['points']} points of the line"
        f" and the gutters, {counts['left_out']} left out"
    )
    told = [
        f"  {finding.text}. {finding.do[:1].upper()}{finding.do[1:]}"
        for finding in result.findings
        if finding.severity != "note"
    ]
    return [counted, *told, layout.CAUTION, f"Written    {folder / 'layout.csv'}"]
