"""A day's results as files: every text made once, then written all or nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from pipeline import __version__
from pipeline.compare.places import Place
from pipeline.crew import cutsheet, dots, fate, stakes
from pipeline.crew.plan import PlanWords
from pipeline.crew.summary import CAUTION, Summary, mean_words
from pipeline.deliver import csv, json
from pipeline.deliver.package import safe_name, write_package
from pipeline.ingest.inputs import Inputs
from pipeline.judging import USED_FATES
from pipeline.model import Bools, Finding, Quantity, Table
from pipeline.run import DRAWN_CELL_M, Day
from pipeline.settings import Job, Rounding
from pipeline.units import format_length, format_side, format_station, lath_mark, round_half_away

MARKS_REST_ON = ("surface.", "stakes.", "rounding.", "target.", "design.")
"""Tables of settings that decide what is painted and written."""


def package_files(day: Day) -> dict[str, bytes]:
    """Every file of the package but the manifest, by name.

    Where a finding stops the day and the job withholds the lists, only the
    findings and the points are there.
    """
    tables = [_points_table(day)]
    files = {"findings.json": json.json_bytes(findings_object(day))}
    if not withheld(day):
        tables += [
            stakes.table(day.stakes, day.morning.inputs.job.stakes),
            cutsheet.table(day.sheet, _rounding(day)),
            dots.table(day.dots),
        ]
        files["quantities.json"] = json.json_bytes(quantities_object(day))
        files["cutfill.dxf"] = drawing_bytes(day)
        files["ground.xml"] = surfaces_bytes(day)
    for table in tables:
        files[f"{table.name}.csv"] = csv.csv_bytes(_held(table, day))
    return dict(sorted(files.items()))


def _points_table(day: Day) -> Table:
    morning = day.morning
    return fate.table(morning.shots, morning.fate, day.at_shots, _rounding(day), listed_rows(day))


def listed_rows(day: Day) -> Bools:
    """Shots that are listed one by one: all that people took, and every one that is not used.

    The points of a scan that went into the surface are in ``ground.xml``.
    """
    morning = day.morning
    return morning.placed.by_hand | ~morning.rows("in the surface")


def withheld(day: Day) -> bool:
    """True where the lists are not written."""
    return day.held and day.morning.inputs.job.target.withhold


def _rounding(day: Day) -> Rounding:
    return day.morning.inputs.job.rounding


def _held(table: Table, day: Day) -> Table:
    """The table, every row marked HOLD where a stop finding is not settled."""
    if not day.held:
        return table
    note = table.columns.index("note")
    rows = tuple(
        (*row[:note], f"HOLD {row[note]}".rstrip(), *row[note + 1 :]) for row in table.rows
    )
    return Table(table.name, table.columns, rows, table.text_columns)


def drawing_bytes(day: Day) -> bytes:
    """``cutfill.dxf``."""
    from pipeline.compare import map as difference_map
    from pipeline.crew import plan
    from pipeline.deliver import dxf

    morning = day.morning
    inputs, sheet = morning.inputs, morning.inputs.job.sheet
    # a shot kilometres away would shrink the street to a dot; it is in the lists
    on_map = listed_rows(day) & ~morning.rows("off the job")
    drawing = plan.drawing(
        plan.PlanInputs(
            corridor=morning.corridor,
            layer=inputs.job.target.layer,
            shots=morning.shots.take(on_map),
            used=morning.used[on_map],
            cut=day.at_shots.cut[on_map],
            bands=difference_map.bands(day.drawn, plan.band_limits(sheet.bands_m)),
            contours=difference_map.contours(day.drawn, plan.contour_levels(sheet.bands_m)),
            not_surveyed=difference_map.not_surveyed(day.ground, day.design),
            stakes=day.stakes,
            dots=day.dots,
            utilities=inputs.utilities,
            sheet=sheet,
            rounding=inputs.job.rounding,
            words=plan_words(day),
            local_shift=sheet.local_shift,
        )
    )
    return dxf.dxf_bytes(drawing)


def surfaces_bytes(day: Day) -> bytes:
    """``ground.xml``: today's ground and today's layer, with the line they belong to."""
    from pipeline.deliver.landxml import landxml_bytes

    inputs, corridor = day.morning.inputs, day.morning.corridor
    return landxml_bytes(
        [
            replace(day.ground, name=f"ground {inputs.day}"),
            replace(day.design, name=inputs.job.target.layer),
        ],
        project=inputs.job.name,
        date=inputs.day[:10],
        grid=inputs.job.grid,
        lines=[(corridor.alignment, corridor.profile)],
    )


def plan_words(day: Day) -> PlanWords:
    """What the title block of the drawing says."""
    inputs = day.morning.inputs
    job, summary = inputs.job, summary_of(day)
    (target,) = (row for row in day.quantities if row.layer == job.target.layer)
    return PlanWords(
        job=job.name,
        day=inputs.day,
        layer=job.target.layer,
        grid=job.grid.crs,
        heights=job.grid.vertical_datum,
        shots=f"{summary.read} read, {summary.used} used, {summary.refused} not used",
        package=package_id(inputs),
        prepared_by=job.sheet.prepared_by,
        numbers=(
            f"mean {mean_words(target.mean_cut_m)} m over {target.compared_area_m2:.0f} m2",
            f"cut {target.cut_m3:.1f} m3, fill {target.fill_m3:.1f} m3",
            f"not surveyed {target.uncovered_area_m2:.0f} m2",
            *(
                (f"map drawn from one shot in {DRAWN_CELL_M:g} m, volumes from all",)
                if day.drawn is not day.difference
                else ()
            ),
        ),
        cautions=(CAUTION,),
        held=day.held,
    )


def findings_object(day: Day) -> dict[str, Any]:
    """``findings.json``: every finding in full."""
    return {
        "day": day.morning.inputs.day,
        "held": day.held,
        "caution": CAUTION,
        "findings": [finding_object(finding) for finding in day.findings],
    }


def finding_object(finding: Finding) -> dict[str, Any]:
    """One finding as JSON takes it: null where there is no number."""
    return {
        "severity": finding.severity,
        "kind": finding.kind,
        "text": finding.text,
        "do": finding.do,
        "points": list(finding.points),
        "file": finding.file or None,
        "line": finding.line or None,
        "station": number(finding.station),
        "offset": number(finding.offset),
    }


def number(value: float, step: float = 0.001) -> float | None:
    """A number rounded once for JSON; None where there is none."""
    return None if np.isnan(value) else float(round_half_away(value, step))


def quantity_object(row: Quantity) -> dict[str, float | None]:
    """Cut, fill and areas of one layer."""
    names = [field.name for field in fields(row) if field.name != "layer"]
    return {name: number(getattr(row, name), 1e-4) for name in names}


def quantities_object(day: Day) -> dict[str, Any]:
    """``quantities.json``: every layer, cut and fill apart."""
    job = day.morning.inputs.job
    return {
        "job": job.name,
        "day": day.morning.inputs.day,
        "target": job.target.layer,
        "layers": {row.layer: quantity_object(row) for row in day.quantities},
    }


def manifest_object(day: Day, written: str) -> dict[str, Any]:
    """``manifest.json`` but for the outputs, which the package adds as it writes them."""
    inputs = day.morning.inputs
    return {
        "package": package_id(inputs),
        "lath": __version__,
        "job": inputs.job.name,
        "day": inputs.day,
        "written": written,
        "held": day.held,
        "inputs": [
            {"file": item.file, "bytes": item.bytes, "sha256": item.sha256}
            for item in inputs.fingerprints
        ],
        "settings": settings_object(inputs.job),
        "findings": {
            severity: sum(finding.severity == severity for finding in day.findings)
            for severity in ("stop", "person", "note")
        },
    }


def package_id(inputs: Inputs) -> str:
    """Ten characters that change when any input, or the program's version, does."""
    digest = hashlib.sha256(f"{__version__}\n{inputs.day}\n".encode())
    for item in inputs.fingerprints:
        digest.update(f"{item.file} {item.sha256}\n".encode())
    return digest.hexdigest()[:10]


def settings_object(job: Job) -> dict[str, dict[str, Any]]:
    """Every setting, its value, and whether the job states it or it is assumed."""
    return {
        key: {"value": value, "origin": "job" if key in job.given else "assumed"}
        for key, value in _flat(job)
    }


def assumed(job: Job) -> tuple[str, ...]:
    """What the marks rest on and the job leaves to the default; the rest only counted."""
    numbers = [
        (key, value)
        for key, value in _flat(job)
        if key not in job.given and isinstance(value, int | float) and not isinstance(value, bool)
    ]
    shown = [f"{key} {value:g}" for key, value in numbers if key.startswith(MARKS_REST_ON)]
    return (*shown, f"{len(numbers) - len(shown)} more settings, listed in manifest.json")


def _flat(settings: object, prefix: str = "") -> list[tuple[str, Any]]:
    rows: list[tuple[str, Any]] = []
    for item in fields(settings):  # type: ignore[arg-type]  # only settings dataclasses come here
        value = getattr(settings, item.name)
        key = f"{prefix}{item.name}"
        if item.name in {"folder", "given"} and not prefix:
            continue
        if is_dataclass(value):
            rows += _flat(value, f"{key}.")
        elif not isinstance(value, Mapping | list | tuple) or not any(
            is_dataclass(part) for part in _parts(value)
        ):
            rows.append((key, value))
    return rows


def _parts(value: Any) -> list[Any]:
    if isinstance(value, Mapping):
        return list(value.values())
    return list(value) if isinstance(value, list | tuple) else []


def summary_of(day: Day) -> Summary:
    """The figures for the closing words."""
    morning = day.morning
    job, shots = morning.inputs.job, morning.shots
    refused = morning.placed.refused
    reasons = [(str(name), int(morning.rows(name).sum())) for name in sorted(set(morning.fate))]
    unread = [("row that cannot be read", refused)] if refused else []
    listed = sum(count for name, count in reasons if name not in USED_FATES)
    painted = day.dots.kind
    return Summary(
        job=job.name,
        day=morning.inputs.day,
        read=len(shots) + refused,
        used=len(shots) - listed,
        refused=listed + refused,
        reasons=tuple(
            [row for row in reasons if row[0] in USED_FATES]
            + [row for row in reasons if row[0] not in USED_FATES]
            + unread
        ),
        quantities=day.quantities,
        target=job.target.layer,
        extremes=tuple(
            f"{what} {format_side(offset)} at {format_station(station)}".replace(" CL at", " at")
            for what, offset, station in zip(
                day.stakes.what, day.stakes.offset, day.stakes.station, strict=True
            )
            if what.startswith(("high point", "low point"))
        ),
        numbers=(
            ("numbers", int((painted == "number").sum())),
            ("dots at grade", int((painted == "dot").sum())),
            ("spots not shot", int((painted == "unshot").sum())),
            ("stakes to set", len(day.stakes)),
            ("hubs on the cut sheet", len(day.sheet.hubs)),
        ),
        findings=day.findings,
        assumed=assumed(job),
    )


def deliver(day: Day, out: Path | None) -> Path:
    """Write the package of the day, all or nothing, and say where it is.

    Raises
    ------
    OutputError
        It cannot be written; an earlier package is unchanged.
    """
    inputs = day.morning.inputs
    folder = (out if out is not None else inputs.job.folder / "out") / safe_name(inputs.day)
    written = datetime.now(tz=UTC).isoformat(timespec="seconds")
    write_package(folder, package_files(day), manifest_object(day, written))
    return folder


def run_object(day: Day, folder: Path | None, seconds: Mapping[str, float]) -> dict[str, Any]:
    """What ``--json`` prints of a run or a check."""
    summary = summary_of(day)
    return {
        "day": summary.day,
        "package": None if folder is None else folder.as_posix(),
        "held": day.held,
        "shots": {"read": summary.read, "used": summary.used, "refused": summary.refused},
        "target": summary.target,
        "layers": {
            row.layer: {
                "cut_m3": number(row.cut_m3),
                "fill_m3": number(row.fill_m3),
                "mean_cut_m": number(row.mean_cut_m, 1e-4),
                "uncovered_m2": number(row.uncovered_area_m2, 0.01),
            }
            for row in day.quantities
        },
        "findings": [finding_object(finding) for finding in day.findings],
        "seconds": {stage: round(spent, 3) for stage, spent in seconds.items()},
    }


def place_object(place: Place) -> dict[str, Any]:
    """What ``lath at --json`` prints; null where there is no layer or no ground."""
    return {
        "station": number(place.station),
        "station_text": place.called,
        "offset": number(place.offset),
        "easting": number(place.easting),
        "northing": number(place.northing),
        "ground": number(place.ground),
        "layers": {name: number(z) for name, z in place.layers.items()},
        "cut": {name: number(cut) for name, cut in place.cut.items()},
        "other_feet": [
            {"station": number(station), "offset": number(offset)}
            for station, offset in place.other_feet
        ],
    }


def place_words(place: Place) -> list[str]:
    """The same for a person."""
    side = format_side(place.offset)
    along = f"Station {place.called}"
    across = f"offset {format_length(place.offset)} {side}"
    grid = f"E {format_length(place.easting)}, N {format_length(place.northing)}"
    lines = [f"{along}, {across}, {grid}"]
    ground = format_length(place.ground) or "not surveyed"
    lines.append(f"Ground            {ground}")
    for name, elevation in place.layers.items():
        height = format_length(elevation) or "not designed here"
        lines.append(f"{name:18s}{height}  {lath_mark(place.cut[name])}".rstrip())
    lines += [
        f"Also {called} {format_length(offset)}: inside a tight curve the place"
        " lies square to more than one station"
        for called, (_, offset) in zip(place.others_called, place.other_feet, strict=True)
    ]
    return lines
