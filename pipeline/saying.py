"""A day's results in words and as JSON: the closing words, the manifest, what commands print."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from pipeline import __version__
from pipeline.compare.places import Place
from pipeline.compare.streets import side_word, streets_of
from pipeline.crew.earth import Haul, Pregrade
from pipeline.crew.measures import Measures, measures
from pipeline.crew.page.change import progress_sentences
from pipeline.crew.summary import CAUTION, Summary
from pipeline.design.equations import station_text
from pipeline.earthworks import layer_object
from pipeline.ingest.job.inputs import Inputs
from pipeline.judging import USED_FATES
from pipeline.model import Alignment, Corridor, Finding, Quantity, Stakes, Table
from pipeline.run import Day
from pipeline.settings import Job
from pipeline.units import format_length, format_side, round_half_away

MADE_WITH = (
    "ezdxf", "laspy", "lazrs", "numpy", "pyproj", "pythoncdt", "reportlab", "scipy", "shapely",
)  # fmt: skip
MARKS_REST_ON = (
    "surface.", "stakes.", "rounding.", "target.", "design.chord_m", "design.max_step_m",
)  # fmt: skip
"""Tables of settings that decide what is painted and written."""


def findings_object(day: Day) -> dict[str, Any]:
    """``findings.json``: every finding in full."""
    return {
        "day": day.morning.inputs.day,
        "held": day.held,
        "caution": CAUTION,
        "findings": [finding_object(finding, _line(day)) for finding in day.findings],
    }


def _line(day: Day) -> Alignment:
    return day.morning.corridor.alignment


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
    """A number rounded once for JSON; None where there is none."""
    return None if np.isnan(value) else float(round_half_away(value, step))


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
    return {"python": python, **{name: version(name) for name in MADE_WITH}}


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
    """Dotted key and value of every setting; of a list of tables, with its place in the list."""
    rows: list[tuple[str, Any]] = []
    for item in fields(settings):  # type: ignore[arg-type]  # only settings dataclasses come here
        value = getattr(settings, item.name)
        key = f"{prefix}{item.name}"
        if item.name in {"folder", "given"} and not prefix:
            continue
        if is_dataclass(value):
            rows += _flat(value, f"{key}.")
        elif any(is_dataclass(part) for _, part in _parts(value)):
            for name, part in _parts(value):
                rows += _flat(part, f"{key}.{name}.")
        else:
            rows.append((key, value))
    return rows


def _parts(value: Any) -> list[tuple[Any, Any]]:
    if isinstance(value, Mapping):
        return list(value.items())
    return list(enumerate(value, 1)) if isinstance(value, list | tuple) else []


def summary_of(day: Day) -> Summary:
    """The figures for the closing words."""
    morning = day.morning
    job, shots = morning.inputs.job, morning.shots
    refused = morning.placed.refused
    reasons = [(str(name), int(morning.rows(name).sum())) for name in sorted(set(morning.fate))]
    unread = [("row that cannot be read", refused)] if refused else []
    listed = sum(count for name, count in reasons if name not in USED_FATES)
    painted = day.dots.kind
    lines = {one.name: one.corridor for one in streets_of(day.morning.corridor)}
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
            _extreme_words(day.stakes, row, lines)
            for row, what in enumerate(day.stakes.what)
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
        withheld=day.held and job.target.withhold,
        unit=measures(job.rounding),
        sure=() if day.earth is None else tuple(one.sure for one in day.earth.layers),
        progress=progress_sentences(day.trend, measures(job.rounding)),
    )


def _extreme_words(stakes: Stakes, row: int, lines: Mapping[str, Corridor]) -> str:
    """``low point of crown at 0+120.0``; the street in front where there are several."""
    street = lines[str(stakes.street[row])]
    side = side_word(street, float(stakes.offset[row])).replace("CL", "")
    at = station_text(street.alignment, float(stakes.station[row]))
    words = " ".join(word for word in (stakes.what[row], side, "at", at) if word)
    return f"{street.name}: {words}" if len(lines) > 1 else words


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
        "findings": [finding_object(finding, _line(day)) for finding in day.findings],
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


def place_words(place: Place) -> list[str]:
    """The same for a person: elevations in metres, marks in the crew's unit."""
    unit = Measures(place.marks_unit)
    feet = " ft" if unit.unit == "ft" else ""
    side = format_side(place.offset)
    along = f"Station {place.called}"
    across = f"offset {format_length(place.offset)} {side}"
    grid = f"E {format_length(place.easting)}, N {format_length(place.northing)}"
    lines = [f"{along}, {across}, {grid}"]
    if place.held:
        lines.insert(0, "HOLD: a finding stops the day; see lath check, and mark nothing by this")
    ground = format_length(place.ground) or "not surveyed"
    lines.append(f"Ground            {ground}")
    for name, elevation in place.layers.items():
        height = format_length(elevation) or "not designed here"
        mark = unit.mark(place.cut[name])
        lines.append(f"{name:18s}{height}  {mark}{feet if mark else ''}".rstrip())
    lines += [
        f"Also {called} {format_length(offset)}: inside a tight curve the place"
        " lies square to more than one station"
        for called, (_, offset) in zip(place.others_called, place.other_feet, strict=True)
    ]
    return lines


def table_words(table: Table) -> list[str]:
    """A table in aligned columns, for a terminal."""
    rows = [table.columns, *table.rows]
    widths = [max(len(row[k]) for row in rows) for k in range(len(table.columns))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def table_objects(table: Table) -> list[dict[str, str]]:
    """A table as one object a row, texts as printed."""
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


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
        "words": list(height.words),
        "honesty": list(height.honesty),
        "tables": lots[0]["tables"],
        "lots": lots,
        "haul": {
            "words": list(haul.words),
            "moves": [] if haul.table is None else table_objects(haul.table),
        },
    }


NOT_PRINTED = frozenset({"pregrade_cost"})
"""Tables of a lot that are for a picture, not for a terminal."""


def pregrade_words(height: Pregrade, haul: Haul) -> list[str]:
    """The same for a person: each lot's words and tables, the haul plan, the honest notes."""
    said: list[str] = []
    for lot in height.lots:
        said += [*lot.words, ""]
        for table in lot.tables:
            if table.rows and table.name not in NOT_PRINTED:
                said += [f"{table.name.replace('_', ' ')}:", *table_words(table), ""]
    said += [*haul.words, ""]
    if haul.table is not None:
        said += [*table_words(haul.table), ""]
    return [*said, *height.honesty]
