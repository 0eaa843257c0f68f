"""Satellite positions onto the job grid: our table, or the fix sentences of a receiver.

Table (a header row, columns in any order)::

    id, latitude_deg, longitude_deg, ellipsoid_height_m, geoid_separation_m,
    sigma_e_m, sigma_n_m, sigma_v_m, code, note, time, quality, rod_m

Angles end in ``_deg`` or ``_dms``, lengths in ``_m``, ``_mm``, ``_ft`` or ``_ftUS``.
``easting_m`` and ``northing_m`` stand for latitude and longitude where the receiver
has projected already, ``elevation_m`` for the ellipsoid height where it has taken
off the geoid, ``sigma_h_m`` (radial) for east and north. Heights are of the mark on
the ground: the rod is off already and only kept for the record.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.errors import InputError, JobError
from pipeline.ingest.field.angles import LATITUDE_FORMS, LONGITUDE_FORMS
from pipeline.ingest.field.geodetic import (
    Projected,
    local_grid,
    moves_datum,
    project,
    separation_elevation,
)
from pipeline.ingest.field.nmea import parse_fixes
from pipeline.ingest.header_table import HeaderTable, read_header_table
from pipeline.ingest.limits import no_height
from pipeline.ingest.source import open_source
from pipeline.model import (
    NO_LINES,
    Bools,
    Finding,
    Findings,
    Floats,
    Reading,
    Severity,
    Texts,
    make_shots,
)
from pipeline.model import texts as text_column
from pipeline.model.telling import listed

SEPARATION_SLACK_M = 0.005
"""A stated separation and one in the file may differ this much [assumed]."""
LOCAL_REACH_M = 20_000.0
"""Farther from its origin a plane grid is worth less than 5 ppm (d² / 2R²)."""
_FIXED = ("fixed", "4")


@dataclass(frozen=True, slots=True, kw_only=True)
class GnssRules:
    """What the job knows of its satellite positions; nothing of it is guessed."""

    source_crs: str = ""
    """Geographic system that the receiver worked in, such as ``EPSG:4258``."""
    grid_crs: str = "local"
    """Projected system of the job grid; ``local``: a plane about `local_origin`."""
    local_origin_deg: tuple[float, float] | None = None
    """Latitude and longitude near the street; the same for all files of a day."""
    separation_m: float | None = None
    """Geoid above ellipsoid, + upward, where the file does not say."""
    tie_to_control: bool = False
    """Leave ellipsoid heights as they are for `control.localise` to shift."""
    antenna_height_m: float | None = None
    """Antenna above the mark; needed for fix sentences, which tell of the antenna."""
    accuracy_m: float = 0.05
    """Worst datum operation that is taken [assumed]."""
    epoch: float | None = None
    """Decimal year of the positions, where the datums drift apart."""


def read_gnss(path: Path, rules: GnssRules) -> Reading:
    """Positions of one file as shots on the job grid.

    Parameters
    ----------
    path : Path
        Fix sentences when its first sign is ``$``, else a table.
    rules : GnssRules
        Systems, separation and limits.

    Returns
    -------
    Reading
        Shots in metres; ``sigma_h`` radial, NaN where the file gives none. A position
        that is not a fixed solution is kept and is a finding for a ``person``.

    Raises
    ------
    InputError
        No row that can be used, heights without a separation, or positions that
        cannot be projected well enough (`geodetic.project`).
    JobError
        A rule that is missing: source system, local origin, antenna height.
    """
    with open_source(path) as stream:
        raw = stream.read()
    if raw.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"$"):
        return _from_sentences(path.name, raw.decode("ascii", errors="replace"), rules)
    return _from_table(read_header_table(path), rules)


def _onto_grid(latitude: Floats, longitude: Floats, rules: GnssRules) -> Projected:
    if not rules.source_crs:
        do = "state the geographic system that the receiver worked in, such as EPSG:4258"
        raise JobError("source_crs", "is not stated, and the file gives latitudes", do)
    grid = rules.grid_crs
    if grid == "local":
        if rules.local_origin_deg is None:
            do = "state a latitude and longitude near the street"
            raise JobError("local_origin_deg", "is not stated, and the grid is local", do)
        grid = local_grid(rules.source_crs, *rules.local_origin_deg)
    systems = (rules.source_crs, grid)
    placed = project(latitude, longitude, systems, accuracy_m=rules.accuracy_m, epoch=rules.epoch)
    far = float(np.hypot(placed.easting, placed.northing).max())
    if rules.grid_crs == "local" and far > LOCAL_REACH_M:
        found = f"a position lies {far / 1000.0:.0f} km from {rules.local_origin_deg}"
        raise JobError("local_origin_deg", found, "state an origin near the street")
    return placed


def _said(file: str, rules: GnssRules, placed: Projected, heights: str) -> list[Finding]:
    """What was done to get here, for the record, and what still has to be done."""
    told: list[tuple[Severity, str, str, str]] = [
        ("note", "projection", placed.operation, "nothing")
    ]
    if placed.outside_deg > 0:
        text = (
            f"positions lie {placed.outside_deg:.2f} degrees outside the area of {rules.grid_crs}"
        )
        told.append(("person", "outside the grid", text, "see that this is the job's grid"))
    if rules.grid_crs == "local":
        text = f"positions on a plane about {rules.local_origin_deg}, not yet on the job"
        told.append(("person", "not localised", text, "localise them on control before use"))
    if heights == "ellipsoid":
        text = "heights are above the ellipsoid until control ties them"
        told.append(("person", "ellipsoid heights", text, "localise them on control before use"))
    elif heights == "separation" and moves_datum(placed.operation):
        text = "the datum changes in plan, heights are left in the receiver's"
        do = "see that the separation belongs to the receiver's datum, or tie to a bench mark"
        told.append(("person", "height datum", text, do))
    elif heights == "receiver":
        text = "heights rest on the receiver's own geoid model"
        do = "check them on a bench mark, or state the separation"
        told.append(("person", "receiver geoid", text, do))
    return [
        Finding(severity, kind, f"{file}: {text}", do, file=file)
        for severity, kind, text, do in told
    ]


def _not_fixed(file: str, ids: Texts, quality: Texts) -> Findings:
    loose = [str(name) for name, word in zip(ids, quality, strict=True) if word not in _FIXED]
    if not loose:
        return ()
    text = f"{file}: {len(loose)} positions are not a fixed solution: {listed(loose, 8)}"
    do = "shoot them again; no hub, curb or pavement match by them"
    return (Finding("person", "satellite quality", text, do, tuple(loose), file=file),)


def _from_sentences(file: str, text: str, rules: GnssRules) -> Reading:
    if rules.antenna_height_m is None:
        do = "state how high the antenna stood above the mark"
        raise JobError("antenna_height_m", f"is not stated, and {file} tells of the antenna", do)
    fixes = parse_fixes(file, text)
    placed = _onto_grid(fixes.latitude, fixes.longitude, rules)
    ellipsoid = fixes.altitude + fixes.separation
    heights = "receiver"
    up = fixes.altitude
    if rules.separation_m is not None:
        heights, up = "separation", separation_elevation(ellipsoid, rules.separation_m)
    elif rules.tie_to_control:
        heights, up = "ellipsoid", ellipsoid
    ids = text_column(str(k + 1) for k in range(len(fixes.line)))
    shots = make_shots(
        placed.easting,
        placed.northing,
        up - rules.antenna_height_m,
        id=ids,
        time=fixes.time,
        note=fixes.quality,
        line=fixes.line,
        files=(file,),
    )
    findings = (*fixes.findings, *_said(file, rules, placed, heights))
    findings += _not_fixed(file, ids, fixes.quality)
    return Reading(
        file, "fix sentences", "", "m", rules.grid_crs, shots, NO_LINES,
        findings=findings, refused=fixes.refused,
    )  # fmt: skip


def _from_table(table: HeaderTable, rules: GnssRules) -> Reading:
    projected = table.has("easting")
    table.need("id", *(("easting", "northing") if projected else ("latitude", "longitude")))
    if table.has("elevation") == table.has("ellipsoid_height"):
        found = "needs one column of heights, elevation or ellipsoid_height"
        raise InputError(f"{table.file} line 1", found, "keep the one that the heights are")
    columns = _columns(table)
    first, second = _plan(table, projected)
    up, heights = _elevations(table, rules)
    good = table.good & np.isfinite(up)
    if not good.any():
        why = table.findings[0].text if table.findings else "there is none"
        raise InputError(table.file, f"no row can be used; {why}", "correct the rows")
    if projected:
        placed = Projected(first[good], second[good], "as the receiver projected them", 0.0)
        # the receiver's own grid is the job's: nothing is left to localise
        said = _said(table.file, replace(rules, grid_crs="as given"), placed, heights)
    else:
        placed = _onto_grid(first[good], second[good], rules)
        said = _said(table.file, rules, placed, heights)
    quality = columns.pop("quality")[good]
    kept: dict[str, Any] = {name: column[good] for name, column in columns.items()}
    shots = make_shots(
        placed.easting,
        placed.northing,
        up[good],
        line=table.lines[good],
        files=(table.file,),
        **kept,
    )
    if table.has("quality"):
        said.extend(_not_fixed(table.file, shots.id, text_column(w.lower() for w in quality)))
    return Reading(
        table.file, "positions table", "", "m", rules.grid_crs, shots, NO_LINES,
        findings=(*table.findings, *said), refused=int(np.count_nonzero(~good)),
    )  # fmt: skip


def _columns(table: HeaderTable) -> dict[str, Any]:
    """What a shot has besides its place, and the quality of its solution."""
    columns: dict[str, Any] = {
        "id": table.words("id", required=True),
        "sigma_v": table.lengths("sigma_v"),
        "rod": table.lengths("rod"),
        "quality": table.words("quality"),
    }
    for name in ("code", "note", "time"):
        columns[name] = table.words(name)
    radial = table.lengths("sigma_h")
    both = np.hypot(table.lengths("sigma_e"), table.lengths("sigma_n"))
    columns["sigma_h"] = np.where(np.isnan(radial), both, radial)
    for name in ("sigma_h", "sigma_v"):
        for row in np.flatnonzero(columns[name] < 0):
            table.fault(int(row), name, "is negative", "write the standard deviation")
    return columns


def _plan(table: HeaderTable, projected: bool) -> tuple[Floats, Floats]:
    """Easting and northing [m], or latitude and longitude [rad], shape (n,) each."""
    if projected:
        plan = {name: table.lengths(name) for name in ("easting", "northing")}
    else:
        plan = {
            "latitude": table.angles("latitude", forms=LATITUDE_FORMS),
            "longitude": table.angles("longitude", forms=LONGITUDE_FORMS),
        }
    for name, column in plan.items():
        _filled(table, name, ~np.isnan(column))
    first, second = plan.values()
    return first, second


def _elevations(table: HeaderTable, rules: GnssRules) -> tuple[Floats, str]:
    """Elevations [m], and what they rest on: ``given``, ``separation`` or ``ellipsoid``."""
    stated = table.lengths("geoid_separation")
    if table.has("elevation"):
        return _high(table, "elevation"), "given"
    height = _high(table, "ellipsoid_height")
    constant = math.nan if rules.separation_m is None else rules.separation_m
    off = np.abs(stated - constant)
    if (off > SEPARATION_SLACK_M).any():
        row = int(np.nanargmax(off))
        where = f"{table.file} line {table.lines[row]}"
        found = f"geoid separation {stated[row]:.3f} m, the job says {constant:.3f} m"
        raise InputError(where, found, "keep the one that belongs to the receiver's datum")
    separation = np.where(np.isnan(stated), constant, stated)
    if np.isnan(separation).all() and rules.tie_to_control:
        return height, "ellipsoid"
    if np.isnan(separation).all():
        found = "ellipsoid heights without a geoid separation"
        do = "state separation_m, bring a geoid_separation column, or tie_to_control"
        raise InputError(table.file, found, do)
    _filled(table, "geoid_separation", ~np.isnan(separation))
    return separation_elevation(height, separation), "separation"


def _high(table: HeaderTable, name: str) -> Floats:
    """A column of heights [m]; every row must have one that can be on Earth, above either zero."""
    height = table.lengths(name)
    _filled(table, name, ~np.isnan(height))
    for row in np.flatnonzero(no_height(height, height) & ~np.isnan(height)):
        found = f"{height[row]:g} m stands for no height"
        table.fault(int(row), name, found, "correct it, or its unit; else shoot the point again")
    return height


def _filled(table: HeaderTable, name: str, there: Bools) -> None:
    """Fault every row where a column that it needs is not `there`."""
    for row in np.flatnonzero(~there):
        table.fault(int(row), name, "is empty", "write it or leave the row out")
