"""Total-station sightings and level books from plain tables.

Sightings (a header row, columns in any order)::

    setup, occupied, target, role, face, instrument_height_m, target_height_m,
    horizontal_dms, zenith_dms, slope_distance_m, prism_constant_mm, ppm, code, note, time

An angle column ends in ``_deg``, ``_gon`` or ``_dms`` (123-45-06.7), a length in
``_m``, ``_mm``, ``_ft`` or ``_ftUS``. ``setup``, ``target``, ``role`` and a horizontal
angle must be there. ``occupied`` names the point under the instrument, empty for
a free station; without that column a set-up is named after its point.

Level book: ``point, backsight_m, intermediate_m, foresight_m, distance_m, elevation_m``.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.header_table import HeaderTable, read_header_table
from pipeline.model import (
    FieldNotes,
    Finding,
    Findings,
    Floats,
    LevelBook,
    Texts,
    make_observations,
    make_shots,
    texts,
)

ROLES = ("backsight", "foresight", "check")
REACH: dict[str, float] = {
    "slope_distance": 10_000.0,
    "instrument_height": 30.0,
    "target_height": 30.0,
    "prism_constant": 1.0,
    "ppm": 1000.0,
}
"""Largest size of a reading [m; ppm]; beyond it a unit or a digit has slipped [assumed]."""
FACES = {
    "": "", "left": "left", "l": "left", "1": "left", "f1": "left",
    "right": "right", "r": "right", "2": "right", "f2": "right",
}  # fmt: skip


def read_observations(path: Path) -> FieldNotes:
    """Sightings of one table; a row that cannot be used is among the findings.

    Lengths come out in metres, angles in radians. A cell left empty is NaN, except
    that an empty prism constant or ppm is 0, which is said in a note.

    Raises
    ------
    InputError
        The file is not such a table, or no row of it can be used.
    """
    table = read_header_table(path)
    table.need("setup", "target", "role", "horizontal")
    columns = _columns(table)
    _check_angles(table, columns)
    _check_distances(table, columns)
    good = table.good
    if not good.any():
        raise InputError(table.file, *_nothing(table))
    observations = make_observations(
        **{name: column[good] for name, column in columns.items()},
        line=table.lines[good],
        files=(table.file,),
    )
    nothing = make_shots([], [], [], files=(table.file,))
    return FieldNotes(
        file=table.file,
        format="sightings table",
        version="",
        unit="m",
        observations=observations,
        control=nothing,
        points=nothing,
        findings=table.findings + _said(table, columns),
        refused=int(np.count_nonzero(~good)),
    )


def _columns(table: HeaderTable) -> dict[str, Any]:
    columns: dict[str, Any] = {
        "setup": table.words("setup", required=True),
        "target": table.words("target", required=True),
        "role": _choice(table, "role", {role: role for role in ROLES}),
        "face": _choice(table, "face", FACES) if "face" in table.header else table.words("face"),
        "horizontal": table.angles("horizontal"),
        "zenith": table.angles("zenith"),
        "prism_constant": np.nan_to_num(table.lengths("prism_constant")),
        "ppm": np.nan_to_num(table.numbers("ppm")),
    }
    for name in ("slope_distance", "instrument_height", "target_height"):
        columns[name] = table.lengths(name)
    for name in ("code", "note", "time"):
        columns[name] = table.words(name)
    occupied = "occupied" if "occupied" in table.header else "setup"
    columns["occupied"] = table.words(occupied)
    return columns


def _choice(table: HeaderTable, name: str, words: dict[str, str]) -> Texts:
    cells = [cell.lower() for cell in table.words(name)]
    for row, cell in enumerate(cells):
        if cell not in words:
            known = ", ".join(word for word in words if word)
            table.fault(row, name, f'found "{cell}"', f"write one of: {known}")
    return texts(words.get(cell, "") for cell in cells)


def _check_angles(table: HeaderTable, columns: dict[str, Any]) -> None:
    """Fault angles that no instrument reads; a face left blank is filled in from the zenith."""
    horizontal, zenith, face = columns["horizontal"], columns["zenith"], columns["face"]
    for row in np.flatnonzero(np.isnan(horizontal)):
        table.fault(int(row), "horizontal", "is empty", "write the reading or leave the row out")
    turned = np.mod(zenith, 2 * np.pi)
    plumb = (np.abs(zenith) > 2 * np.pi) | (np.abs(np.sin(turned)) < 1e-3)
    for row in np.flatnonzero(plumb & ~np.isnan(zenith)):
        found = f"a zenith angle of {np.degrees(zenith[row]):.4f} degrees looks straight up or down"
        table.fault(int(row), "zenith", found, "write the angle from straight up: level is 90")
    # over 180 degrees the telescope is turned over: that is what face right means
    right = turned > np.pi
    wrong = ((face == "left") & right) | ((face == "right") & ~right & ~np.isnan(zenith))
    for row in np.flatnonzero(wrong):
        found = f'"{face[row]}" against a zenith angle of {np.degrees(turned[row]):.4f} degrees'
        table.fault(int(row), "face", found, "correct the face or the angle")
    unsaid = (face == "") & ~np.isnan(zenith)
    columns["face"] = texts(np.where(unsaid, np.where(right, "right", "left"), face))
    columns["zenith"] = turned


def _check_distances(table: HeaderTable, columns: dict[str, Any]) -> None:
    distance = columns["slope_distance"]
    for row in np.flatnonzero(distance <= 0):
        do = "correct it; leave the cell empty where none was measured"
        table.fault(int(row), "slope_distance", f"a distance of {distance[row]:g} m", do)
    for name, reach in REACH.items():
        for row in np.flatnonzero(np.abs(columns[name]) > reach):
            found = f"{columns[name][row]:g}, beyond {reach:g}"
            table.fault(int(row), name, found, "correct it, or the unit in the column's name")
    for name in ("zenith", "instrument_height", "target_height"):
        for row in np.flatnonzero(~np.isnan(distance) & np.isnan(columns[name])):
            found = "is empty though a distance was measured"
            table.fault(int(row), name, found, "write it; a height of nothing is written 0")


def _nothing(table: HeaderTable) -> tuple[str, str]:
    if not len(table):
        return "holds a header and no rows", "put the sightings under it"
    return f"no row can be used; the first: {table.findings[0].text}", "correct the rows"


def _said(table: HeaderTable, columns: dict[str, Any]) -> Findings:
    missing = [name for name in ("prism_constant", "ppm") if not table.has(name)]
    if not missing or np.isnan(columns["slope_distance"]).all():
        return ()
    text = f"{table.file}: no column {' or '.join(missing)}; taken as applied by the instrument"
    do = "state it in the table if the instrument did not apply it"
    return (Finding("note", "distance correction", text, do, file=table.file),)


def read_level_book(path: Path) -> LevelBook:
    """One level run as booked: ``point`` and at least backsight and foresight columns.

    Raises
    ------
    InputError
        The file is not such a table or has fewer than two rows, or one of its rows
        cannot be read: a run with a row left out is another run.
    """
    table = read_header_table(path)
    table.need("point", "backsight", "foresight")
    point = table.words("point", required=True)
    readings: dict[str, Floats] = {
        name: table.lengths(name) for name in ("backsight", "intermediate", "foresight", "distance")
    }
    booked = table.lengths("elevation")
    if not table.good.all():
        first = table.findings[0]
        raise InputError(table.file, first.text, first.do)
    if len(table) < 2:
        raise InputError(table.file, f"{len(table)} rows", "a run needs two points or more")
    return LevelBook(
        file=table.file,
        point=point,
        booked=booked,
        backsight=readings["backsight"],
        intermediate=readings["intermediate"],
        foresight=readings["foresight"],
        distance=readings["distance"],
        line=table.lines,
        findings=table.findings,
    )
