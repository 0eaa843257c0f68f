"""A day's results as JSON: the files of the package, and what ``--json`` prints."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from dataclasses import fields
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from pipeline import __version__
from pipeline.compare import intervals
from pipeline.compare.bulking import in_state
from pipeline.compare.places import Place
from pipeline.crew.earth import Haul, LayerVolumes, Pregrade
from pipeline.crew.summary import CAUTION
from pipeline.design.equations import station_text
from pipeline.ingest.job.inputs import Inputs
from pipeline.kept.digest import LIBRARIES
from pipeline.model import Alignment, Finding, Quantity, Table
from pipeline.run import Day
from pipeline.saying import summary_of
from pipeline.settings import AROUND, Job
from pipeline.strict import dotted
from pipeline.units import round_half_away


def findings_object(day: Day) -> dict[str, Any]:
    """``findings.json``: every finding in full."""
    return {
        "day": day.morning.inputs.day,
        "held": day.held,
        "caution": CAUTION,
        "findings": [
            finding_object(finding, day.morning.corridor.alignment) for finding in day.findings
        ],
    }


def finding_object(finding: Finding, line: Alignment) -> dict[str, Any]:
    """One finding as JSON takes it: null where there is no number.

    ``station`` is counted on from the start, ``station_text`` what `line` calls it.
    """
    return {
        "severity": finding.severity,
        "kind": finding.kind,
        "text": finding.text,
        "do": finding.do,
        "points": list(finding.points),
        "file": finding.file or None,
        "line": finding.line or None,
        "station": number(finding.station),
        "station_text": station_text(line, finding.station) or None,
        "offset": number(finding.offset),
    }


def number(value: float, step: float = 0.001) -> float | None:
    """A number rounded once for JSON; None where there is none, or no end to it."""
    return float(round_half_away(value, step)) if np.isfinite(value) else None


def quantity_object(row: Quantity) -> dict[str, float | None]:
    """Cut, fill and areas of one layer."""
    names = [field.name for field in fields(row) if field.name != "layer"]
    return {name: number(getattr(row, name), 1e-4) for name in names}


def quantities_object(day: Day) -> dict[str, Any]:
    """``quantities.json``: every layer, cut and fill apart."""
    job = day.morning.inputs.job
    layers: dict[str, dict[str, Any]] = {
        row.layer: dict(quantity_object(row)) for row in day.quantities
    }
    for one in () if day.earth is None else day.earth.layers:
        layers[one.quantity.layer] |= layer_object(one, day)
    return {
        "job": job.name,
        "day": day.morning.inputs.day,
        "held": day.held,
        "target": job.target.layer,
        "bulking": {
            "loose_per_bank": job.bulking.loose_per_bank,
            "compacted_per_bank": job.bulking.compacted_per_bank,
            "origin": "job" if "bulking" in job.given else "assumed",
        },
        "layers": layers,
    }


def layer_object(found: LayerVolumes, day: Day) -> dict[str, Any]:
    """What ``quantities.json`` says of one layer besides its totals; null where there is none."""
    bulking, line = day.morning.inputs.job.bulking, day.morning.corridor.alignment
    sure, quantity = found.sure, found.quantity
    volumes = (("cut", "bank", quantity.cut_m3), ("fill", "compacted", quantity.fill_m3))
    return {
        "standard_error_m3": {
            name: number(getattr(sure, name).total) for name in ("cut", "fill", "net")
        },
        "mean_standard_error_m": number(sure.net.mean_m, 1e-4),
        "states_m3": {
            what: {
                state: number(float(in_state(volume, of, state, bulking)))  # type: ignore[arg-type]
                for state in ("bank", "loose", "compacted")
            }
            for what, of, volume in volumes
        },
        "stretches": [
            {
                **_row(found.stretches, k, line),
                "standard_error_m3": {
                    "cut": number(found.errors.cut_m3[k]),
                    "fill": number(found.errors.fill_m3[k]),
                    "net": number(found.errors.net_m3[k]),
                },
            }
            for k in range(len(found.stretches))
        ],
        "lanes": None
        if found.lanes is None
        else [
            {"lane": str(found.lanes.lane[k]), **_row(found.lanes, k, line)}
            for k in range(len(found.lanes))
        ],
    }


def _row(rows: intervals.Intervals, k: int, line: Alignment) -> dict[str, Any]:
    """One stretch of a layer or of a lane."""
    return {
        "from": number(rows.start[k]),
        "to": number(rows.end[k]),
        "from_station": station_text(line, float(rows.start[k])) or None,
        "to_station": station_text(line, float(rows.end[k])) or None,
        "cut_m3": number(rows.cut_m3[k]),
        "fill_m3": number(rows.fill_m3[k]),
        "compared_m2": number(rows.compared_area_m2[k], 0.01),
        "uncovered_m2": number(rows.uncovered_area_m2[k], 0.01),
    }


def manifest_object(day: Day, written: str, command: Mapping[str, Any]) -> dict[str, Any]:
    """``manifest.json`` but for the outputs, which the package adds as it writes them.

    ``command`` are the parameters that are no setting, each with its value and origin.
    """
    inputs = day.morning.inputs
    return {
        "package": package_id(inputs, day.before),
        "lath": __version__,
        "made_with": libraries(),
        "job": inputs.job.name,
        "day": inputs.day,
        "written": written,
        "held": day.held,
        "command": command,
        "inputs": inputs_object(inputs, day.before),
        "history": sorted({row.day for row in day.trend}),
        "settings": settings_object(inputs.job),
        "findings": {
            severity: sum(finding.severity == severity for finding in day.findings)
            for severity in ("stop", "person", "note")
        },
    }


def inputs_object(inputs: Inputs, before: Day | None = None) -> list[dict[str, Any]]:
    """Name, size and SHA-256 of every file that was read, those of the day before as well."""
    read = {item.file: item for item in inputs.fingerprints}
    for item in before.morning.inputs.fingerprints if before else ():
        read.setdefault(item.file, item)
    return [
        {"file": item.file, "bytes": item.bytes, "sha256": item.sha256} for item in read.values()
    ]


def package_id(inputs: Inputs, before: Day | None = None) -> str:
    """Ten characters that change when any input, or the program's version, does."""
    digest = hashlib.sha256(f"{__version__}\n{inputs.day}\n".encode())
    for item in inputs_object(inputs, before):
        digest.update(f"{item['file']} {item['sha256']}\n".encode())
    return digest.hexdigest()[:10]


def libraries() -> dict[str, str]:
    """Versions of Python and of the libraries that the numbers and the files come from."""
    python = ".".join(str(part) for part in sys.version_info[:3])
    return {"python": python, **{name: version(name) for name in LIBRARIES}}


def settings_object(job: Job) -> dict[str, dict[str, Any]]:
    """Every setting, its value, and whether the job states it or it is assumed."""
    return {
        key: {"value": value, "origin": "job" if key in job.given else "assumed"}
        for key, value in dotted(job, AROUND)
    }


def run_object(day: Day, folder: Path | None, seconds: Mapping[str, float]) -> dict[str, Any]:
    """What ``--json`` prints of a run or a check."""
    summary = summary_of(day)
    return {
        "day": summary.day,
        "package": None if folder is None else package_id(day.morning.inputs, day.before),
        "folder": None if folder is None else folder.as_posix(),
        "held": day.held,
        "shots": {"read": summary.read, "used": summary.used, "refused": summary.refused},
        "target": summary.target,
        "layers": {
            row.layer: {
                "cut_m3": number(row.cut_m3),
                "fill_m3": number(row.fill_m3),
                "mean_cut_m": number(row.mean_cut_m, 1e-4),
                "uncovered_m2": number(row.uncovered_area_m2, 0.01),
                **_errors(day, row.layer),
            }
            for row in day.quantities
        },
        "progress": [
            {
                "day": row.day,
                "layer": row.layer,
                "left_m": number(row.left_m, 1e-4),
                "per_cent": number(row.per_cent, 0.1),
            }
            for row in day.trend
        ],
        "findings": [
            finding_object(finding, day.morning.corridor.alignment) for finding in day.findings
        ],
        "seconds": {stage: round(spent, 3) for stage, spent in seconds.items()},
    }


def _errors(day: Day, layer: str) -> dict[str, Any]:
    """Standard errors of a layer, once they have been worked out."""
    found = [one for one in day.earth.layers if one.quantity.layer == layer] if day.earth else []
    parts = [layer_object(one, day) for one in found]
    return {"standard_error_m3": parts[0]["standard_error_m3"]} if parts else {}


def place_object(place: Place) -> dict[str, Any]:
    """What ``lath at --json`` prints; null where there is no layer or no ground."""
    return {
        "held": place.held,
        "station": number(place.station),
        "station_text": place.called,
        "offset": number(place.offset),
        "easting": number(place.easting),
        "northing": number(place.northing),
        "ground": number(place.ground),
        "layers": {name: number(z) for name, z in place.layers.items()},
        "cut": {name: number(cut) for name, cut in place.cut.items()},
        "other_feet": [
            {"station": number(station), "station_text": called, "offset": number(offset)}
            for called, (station, offset) in zip(place.others_called, place.other_feet, strict=True)
        ],
    }


def pregrade_object(day: Day, height: Pregrade, haul: Haul) -> dict[str, Any]:
    """What ``lath pregrade --json`` prints: each lot's decision, its words and its tables.

    ``words`` are those of all lots, ``tables`` those of the first.
    """
    lots = [
        {
            "lot": lot.name,
            "from": number(lot.start),
            "to": number(lot.end),
            "left_low_m": None if lot.decision is None else lot.decision.lowering,
            "words": list(lot.words),
            "tables": {table.name: table_objects(table) for table in lot.tables},
        }
        for lot in height.lots
    ]
    return {
        "day": day.morning.inputs.day,
        "held": day.held,
        "words": list(height.words),
        "honesty": list(height.honesty),
        "tables": lots[0]["tables"],
        "lots": lots,
        "haul": {
            "words": list(haul.words),
            "moves": [] if haul.table is None else table_objects(haul.table),
        },
    }


def table_objects(table: Table) -> list[dict[str, str]]:
    """A table as one object a row, texts as printed."""
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]
