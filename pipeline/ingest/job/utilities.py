"""The list of buried and standing things: ``utilities.csv``."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.model import Floats, Utilities, texts
from pipeline.units import parse_number

COLUMNS = (
    "id", "kind", "northing_m", "easting_m", "lid_elevation_m", "depth_to_top_m", "note",
)  # fmt: skip


def read_utilities(path: Path) -> Utilities:
    """Every row of the list; a row that cannot be read refuses the file.

    A hazard that is dropped because of a typing slip is one that gets hit, so a
    bad row is not skipped here. ``lid_elevation_m`` and ``depth_to_top_m`` may
    be blank: unknown.

    Raises
    ------
    InputError
        File, line, column, what was found and what was expected.
    """
    rows = list(_rows(path))
    _check(path, rows)

    def column(name: str, *, blank: bool = False) -> Floats:
        return np.array([_number(path, line, row, name, blank=blank) for line, row in rows])

    return Utilities(
        id=texts(row["id"] for _, row in rows),
        kind=texts(row["kind"] for _, row in rows),
        easting=column("easting_m"),
        northing=column("northing_m"),
        lid=column("lid_elevation_m", blank=True),
        depth_to_top=column("depth_to_top_m", blank=True),
        note=texts(row["note"] for _, row in rows),
    )


def _check(path: Path, rows: list[tuple[int, dict[str, str]]]) -> None:
    """Refuse an id given twice and a depth above the lid: both hide a thing."""
    seen: dict[str, int] = {}
    for line, row in rows:
        first = seen.setdefault(row["id"], line)
        if first != line:
            raise InputError(
                f"{path.name} line {line}",
                f"id {row['id']!r} stands on line {first} too",
                "give each thing an id of its own",
            )
        if row["depth_to_top_m"].startswith("-"):
            raise InputError(
                f"{path.name} line {line}, column 'depth_to_top_m'",
                f"found {row['depth_to_top_m']!r}, a depth above the lid",
                "state depths downward, or leave it blank if unknown",
            )


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(
            path.name, "no such file", "name the list of buried things in the job file"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(path.name, f"cannot be read ({error})", "save it as UTF-8") from None
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError(path.name, "empty", f"give it the columns {', '.join(COLUMNS)}")
    header = [word.strip() for word in next(csv.reader([lines[0][1]]))]
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        raise InputError(
            f"{path.name} line {lines[0][0]}",
            f"no column {', '.join(missing)}",
            f"give it the columns {', '.join(COLUMNS)}",
        )
    for number, line in lines[1:]:
        cells = next(csv.reader([line]))
        if len(cells) != len(header):
            raise InputError(
                f"{path.name} line {number}",
                f"{len(cells)} cells under {len(header)} columns",
                "fill or remove cells until they agree",
            )
        yield number, {name: cell.strip() for name, cell in zip(header, cells, strict=True)}


def _number(
    path: Path, line: int, row: dict[str, str], column: str, *, blank: bool = False
) -> float:
    if blank and not row[column]:
        return float("nan")
    try:
        return parse_number(row[column])
    except ValueError:
        raise InputError(
            f"{path.name} line {line}, column {column!r}",
            f"found {row[column]!r}, expected a number in metres",
            "correct the cell" + (" or leave it blank if unknown" if blank else ""),
        ) from None
