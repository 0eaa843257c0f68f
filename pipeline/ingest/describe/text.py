"""What a text file holds: points by their columns, or whatever columns of numbers there are.

A table that says which column is north is read as a job would read it. One that does
not is described column by column, and no column is taken for north.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, JobError, LathError
from pipeline.ingest.csv.cells import DELIMITERS, is_comment, is_number, split
from pipeline.ingest.csv.layout import find_layout
from pipeline.ingest.csv.read import lines_of, read_csv
from pipeline.ingest.csv.words import COORDINATES, split_unit
from pipeline.ingest.describe.description import (
    MOST_ROWS,
    Asked,
    Description,
    Extent,
    Tell,
    bare,
    code_counts,
    told,
)
from pipeline.ingest.describe.field import FIELD_TABLES, describe_sentences
from pipeline.ingest.source import read_text, shown
from pipeline.model import Reading
from pipeline.units import Unit, metres_per, parse_number

_SAMPLE = 2000
_HEAD_LINES = 50
_EVERY = 100_000
_UNITS: tuple[Unit, ...] = ("m", "ft", "ftUS")
_LAYOUT_WORD = re.compile(r'(\w+) = "([^"]*)"')


def describe_text(path: Path, asked: Asked, tell: Tell) -> Description:
    """Rows, columns, extents and codes of a table; counts of any other text that a crew has.

    Raises
    ------
    InputError
        No text, or nothing in it that reads like rows of numbers.
    JobError
        `asked` states columns that are not there.
    """
    text, encoding = read_text(path, None)
    head = [line.strip() for line in text[: 1 << 16].splitlines()[:_HEAD_LINES]]
    if any(line.startswith("$") and "GGA," in line[:8] for line in head):
        return describe_sentences(path, text)
    words = _header_words(head)
    for needed, describer in FIELD_TABLES:
        if all(any(word.startswith(one) for word in words) for one in needed):
            return describer(path)
    tell(f"{len(text):,} characters")
    lines = lines_of(text, shown(path.name, 80))
    del text
    try:
        return _points(path, lines, asked, encoding)
    except JobError:
        raise
    except InputError as refusal:
        if asked.columns is not None:
            raise
        return _rough(path, lines, refusal, tell)


def _header_words(head: Sequence[str]) -> list[str]:
    first = next((line for line in head if line and not line.startswith("#")), "")
    return [word.strip().lower() for word in first.removeprefix("\ufeff").split(",")]


# ---- a table of points


def _points(path: Path, lines: list[str], asked: Asked, encoding: str) -> Description:
    """The table as a job would read it, in the unit and with the decimal mark it asks for."""
    name = shown(path.name, 80)
    unit, decimal, words = _dialect(lines, asked, name)
    reading = read_csv(path, asked.format(name, unit, decimal))
    metres = metres_per(asked.unit or unit)
    said = _unit_said(words, unit)
    extent = Extent()
    shots = reading.shots
    extent.add(shots.easting, shots.northing, shots.elevation)
    return Description(
        file=name,
        format=reading.format,
        version="",
        bytes=path.stat().st_size,
        units=asked.unit or said,
        crs=None,
        points=len(shots),
        bbox=extent.box(metres),
        elevation=extent.heights(metres),
        oddities=told(reading.findings, name, _first(asked, said, decimal)),
        more=_more(reading, lines, words, encoding) | ({"decimal": ","} if decimal == "," else {}),
    )


def _dialect(lines: list[str], asked: Asked, name: str) -> tuple[Unit, str, str]:
    """Unit and decimal mark with which the layout can be read, and the layout in words."""
    first: LathError | None = None
    units = (asked.unit,) if asked.unit else _UNITS
    for decimal, unit in product(".,", units):
        try:
            layout = find_layout(lines[:_SAMPLE], asked.format(name, unit, decimal), name)
        except (InputError, JobError) as refusal:
            first = first or refusal
        else:
            return unit, decimal, layout.words
    raise first or InputError(name, "no layout", "give a file with points")


def _unit_said(words: str, unit: Unit) -> str | None:
    """The unit in the header's words: ``m``, ``ftUS``, or ``feet`` of either kind; None: none."""
    header = dict(_LAYOUT_WORD.findall(words))
    units = {split_unit(header[ours])[1] for ours in COORDINATES if ours in header} - {""}
    return units.pop() if len(units) == 1 else (unit if units else None)


def _first(asked: Asked, said: str | None, decimal: str) -> Iterator[str]:
    if said is None and asked.unit is None:
        yield "does not say its unit; none is assumed"
    if said == "feet" and asked.unit is None:
        yield "says feet, not whether international or US survey feet"
    if decimal == ",":
        yield "writes its decimals with a comma, which a job has to state"


def _more(reading: Reading, lines: list[str], words: str, encoding: str) -> dict[str, Any]:
    comments = [line.strip() for line in lines[:_HEAD_LINES] if is_comment(line, ";")]
    more = {
        "layout": words,
        "encoding": encoding,
        "comments": [shown(line, 120) for line in comments[:5]],
        "refused": reading.refused,
        "codes": code_counts(reading.shots.code),
    }
    return {key: value for key, value in more.items() if value}


# ---- any other table


@dataclass(slots=True)
class _Column:
    """One column of a table whose columns nobody names."""

    name: str
    numbers: int = 0
    low: float = math.inf
    high: float = -math.inf

    def take(self, cell: str, decimal: str) -> bool:
        """Count a cell; True if it is a number."""
        try:
            value = parse_number(cell, decimal=decimal)
        except ValueError:
            return False
        self.numbers += 1
        self.low, self.high = min(self.low, value), max(self.high, value)
        return True

    def facts(self) -> dict[str, Any]:
        """As the description lists it."""
        facts: dict[str, Any] = {"name": self.name, "numbers": self.numbers}
        return facts | ({"low": self.low, "high": self.high} if self.numbers else {})


@dataclass(slots=True)
class _Rough:
    """A table as rows of cells: its delimiter, its decimal mark, its header and its columns."""

    delimiter: str
    decimal: str
    columns: list[_Column] = field(default_factory=list)
    rows: int = 0
    others: int = 0

    def take(self, line: str) -> None:
        """Count one row; one with fewer than three numbers is no row of a point."""
        cells = split(line, self.delimiter)
        while len(self.columns) < min(len(cells), MOST_ROWS):
            self.columns.append(_Column(f"column {len(self.columns) + 1}"))
        if sum(is_number(cell, self.decimal) for cell in cells) < 3:
            self.others += 1
            return
        self.rows += 1
        for cell, column in zip(cells, self.columns, strict=False):
            column.take(cell, self.decimal)


def _rough(path: Path, lines: list[str], refusal: InputError, tell: Tell) -> Description:
    """Rows and columns of a table that does not say which is which.

    Raises
    ------
    InputError
        `refusal`, where most rows hold fewer than three numbers: no table of points.
    """
    name = shown(path.name, 80)
    body = [(k, line) for k, line in enumerate(lines) if line.strip() and not is_comment(line, ";")]
    sample = [line for _, line in body[:_SAMPLE]]
    rough = _layout(sample)
    if rough is None:
        raise refusal
    header = split(sample[0], rough.delimiter)
    bare_head = not any(is_number(cell, rough.decimal) for cell in header)
    if bare_head:
        rough.columns = [_Column(shown(cell) or "-") for cell in header[:MOST_ROWS]]
    for count, (_, line) in enumerate(body[int(bare_head) :], start=1):
        rough.take(line)
        if count % _EVERY == 0:
            tell(f"{count:,} of {len(body):,} lines")
    first = [
        f"{_place(refusal, name)}{refusal.found}",
        "no column is taken for north: --columns id,northing,easting,elevation,code says which is",
    ]
    if rough.others:
        first.append(f"{rough.others} lines hold fewer than three numbers")
    return Description(
        file=name,
        format="text table",
        version="",
        bytes=path.stat().st_size,
        units=None,
        crs=None,
        points=rough.rows,
        oddities=tuple(first),
        more={
            "layout": f'delimiter "{DELIMITERS[rough.delimiter]}"'
            f", {'header' if bare_head else 'no header'}",
            "columns": [column.facts() for column in rough.columns],
        },
    )


def _place(refusal: InputError, name: str) -> str:
    where = bare(refusal.which, name).strip()
    return f"{where}: " if where and where != name else ""


def _layout(sample: Sequence[str]) -> _Rough | None:
    """Delimiter and decimal mark that leave three numbers in most rows; None if none does."""
    best, most = None, max(0, (len(sample) - 1) // 2 - 1)
    for delimiter, decimal in product(DELIMITERS, ".,"):
        if delimiter == decimal == ",":
            continue
        rows = sum(
            sum(is_number(cell, decimal) for cell in split(line, delimiter)) >= 3 for line in sample
        )
        if rows > most:
            best, most = _Rough(delimiter, decimal), rows
    return best
