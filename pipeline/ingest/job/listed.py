"""Small lists of the job folder, of which no row may be lost: every slip refuses the file."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypeAlias

import numpy as np

from pipeline.errors import InputError
from pipeline.model import Floats
from pipeline.units import parse_number

Row: TypeAlias = tuple[int, dict[str, str]]
"""A line's number, and its cells by column."""


def listed_rows(path: Path, columns: Sequence[str], whose: str) -> list[Row]:
    """Every row of a table with commas and a header; lines that begin with # are comments.

    Parameters
    ----------
    path : Path
    columns : sequence of str
        That it must have; others may be there.
    whose : str
        What the file lists, for whoever has to name it in the job file.

    Raises
    ------
    InputError
        No such file, not text, empty, a column missing, cells too many or too few, or an
        id given twice.
    """
    rows = list(_rows(path, columns, whose))
    seen: dict[str, int] = {}
    for line, row in rows:
        first = seen.setdefault(row["id"], line)
        if first != line:
            raise InputError(
                f"{path.name} line {line}",
                f"id {row['id']!r} stands on line {first} too",
                "give each one an id of its own",
            )
    return rows


def _rows(path: Path, columns: Sequence[str], whose: str) -> Iterator[Row]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(path.name, "no such file", f"name {whose} in the job file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(path.name, f"cannot be read ({error})", "save it as UTF-8") from None
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError(path.name, "empty", f"give it the columns {', '.join(columns)}")
    header = [word.strip() for word in next(csv.reader([lines[0][1]]))]
    missing = [name for name in columns if name not in header]
    if missing:
        raise InputError(
            f"{path.name} line {lines[0][0]}",
            f"no column {', '.join(missing)}",
            f"give it the columns {', '.join(columns)}",
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


def numbers(path: Path, rows: Sequence[Row], column: str, *, blank: bool = False) -> Floats:
    """A column of metres; NaN for a blank cell, where the column may have them.

    Raises
    ------
    InputError
        File, line, column, what was found and what was expected.
    """
    return np.array([_number(path, line, row, column, blank=blank) for line, row in rows])


def _number(path: Path, line: int, row: dict[str, str], column: str, *, blank: bool) -> float:
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
