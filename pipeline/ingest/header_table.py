"""A comma-separated table with a header row whose names carry the unit.

``slope_distance_m`` and ``slope_distance_ft`` are the same column in different
units; nothing is guessed from the numbers. A cell that cannot be read makes its
row unusable: the row becomes a `Finding` with file, line and column, and the
reading goes on.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.field.angles import ANGLE_FORMS
from pipeline.ingest.source import open_source
from pipeline.model import Bools, Finding, Findings, Floats, Ints, Texts, texts
from pipeline.units import metres_per, parse_number

LENGTH_FORMS: dict[str, float] = {
    "m": 1.0,
    "mm": 0.001,
    "ft": metres_per("ft"),
    "ftus": metres_per("ftUS"),
}
"""Ending of a column's name -> metres in one."""
_OTHER_UNITS = (
    "cm", "dm", "km", "in", "inch", "yd", "feet", "usft", "metre", "meter", "metres", "meters",
    "rad", "mrad", "grad", "grads", "degrees", "mgon",
)  # fmt: skip
"""Endings that are units, but none that is read: such a column would pass for one left empty."""


class HeaderTable:
    """Rows of text under a checked header, and what was wrong with them.

    Columns are fetched by name with `words`, `numbers`, `lengths` and `angles`;
    each fetch marks the rows it cannot read. ``good`` is asked last.
    """

    def __init__(self, file: str, header: list[str], rows: list[list[str]], lines: Ints) -> None:
        self.file = file
        self.header = header
        self.lines = lines
        self._rows = rows
        self._faults: dict[int, Finding] = {}
        self._asked: set[str] = set()

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def good(self) -> Bools:
        """Rows without a fault, shape (n,)."""
        keep = np.ones(len(self._rows), dtype=np.bool_)
        keep[list(self._faults)] = False
        return keep

    @property
    def findings(self) -> Findings:
        """One finding a faulty row, in order of line, then the columns nobody asked for."""
        unread = [name for name in self.header if name not in self._asked]
        rows = [self._faults[row] for row in sorted(self._faults)]
        if unread:
            text = f"{self.file}: columns not read: {', '.join(unread)}"
            do = "nothing, if they are meant to be left out; else correct their names"
            rows.append(Finding("note", "column not read", text, do, file=self.file, line=1))
        return tuple(rows)

    def has(self, name: str) -> bool:
        """Whether the header holds `name`, with any unit ending or none."""
        return any(head == name or head.rsplit("_", 1)[0] == name for head in self.header)

    def fault(self, row: int, column: str, found: str, do: str) -> None:
        """Mark `row` unusable; the first fault of a row is the one that is told."""
        heads = (head for head in self.header if head.rsplit("_", 1)[0] == column)
        shown = column if column in self.header else next(heads, column)
        where = f'{self.file} line {self.lines[row]}, column "{shown}"'
        self._faults.setdefault(
            row,
            Finding(
                "person",
                "unreadable row",
                f"{where}: {found}",
                do,
                file=self.file,
                line=int(self.lines[row]),
            ),
        )

    def need(self, *names: str) -> None:
        """Refuse the file when one of these columns is missing, whatever its unit.

        Raises
        ------
        InputError
            The first of them that is not there.
        """
        for name in names:
            if not self.has(name):
                raise InputError(
                    f"{self.file} line 1",
                    f'no column "{name}" among {", ".join(self.header)}',
                    "name the column in the header row, with its unit where it has one",
                )

    def words(self, name: str, *, required: bool = False) -> Texts:
        """Text column, shape (n,), blanks around cells dropped; empty where there is none."""
        if name not in self.header:
            return texts([""] * len(self))
        at = self._at(name)
        column = texts([row[at].strip() for row in self._rows])
        if required:
            for row in np.flatnonzero(column == ""):
                self.fault(int(row), name, "is empty", "fill the cell or leave the row out")
        return column

    def numbers(self, name: str, *, scale: float = 1.0) -> Floats:
        """Plain numbers times `scale`, shape (n,); NaN where the cell is empty."""
        return self._parsed(name, lambda cell: parse_number(cell) * scale)

    def lengths(self, name: str) -> Floats:
        """Metres, shape (n,), from the one column ``name_m``, ``_mm``, ``_ft`` or ``_ftUS``.

        NaN where the cell is empty or there is no such column.

        Raises
        ------
        InputError
            Two columns of that name, or one that states no unit or another one.
        """
        form = self._form(name, LENGTH_FORMS)
        if form is None:
            return np.full(len(self), np.nan)
        return self.numbers(f"{name}_{form}", scale=LENGTH_FORMS[form])

    def angles(
        self, name: str, *, forms: dict[str, Callable[[str], float]] | None = None
    ) -> Floats:
        """Radians, shape (n,), from the one column ``name_deg``, ``_gon`` or ``_dms``.

        NaN and refusals as for `lengths`; `forms` where other endings or letters are read.
        """
        readers = ANGLE_FORMS if forms is None else forms
        form = self._form(name, readers)
        if form is None:
            return np.full(len(self), np.nan)
        return self._parsed(f"{name}_{form}", readers[form])

    def _form(
        self, name: str, forms: dict[str, float] | dict[str, Callable[[str], float]]
    ) -> str | None:
        found = [form for form in forms if f"{name}_{form}" in self.header]
        if len(found) > 1:
            both = " and ".join(f"{name}_{form}" for form in found)
            raise InputError(
                f"{self.file} line 1",
                f"columns {both} say the same thing twice",
                "keep one of them",
            )
        endings = ", ".join(f"{name}_{form}" for form in forms)
        if not found and name in self.header:
            raise InputError(
                f"{self.file} line 1",
                f'column "{name}" states no unit',
                f"call it one of {endings}",
            )
        odd = next((f"{name}_{u}" for u in _OTHER_UNITS if f"{name}_{u}" in self.header), "")
        if not found and odd:
            raise InputError(
                f"{self.file} line 1",
                f'column "{odd}" is in a unit that is not read',
                f"write it as one of {endings}",
            )
        return found[0] if found else None

    def _parsed(self, name: str, read: Callable[[str], float]) -> Floats:
        values = np.full(len(self), np.nan)
        if name not in self.header:
            return values
        at = self._at(name)
        for row, cells in enumerate(self._rows):
            cell = cells[at].strip()
            if not cell:
                continue
            try:
                values[row] = read(cell)
            except ValueError as why:
                self.fault(row, name, f"{why}", "correct the cell or leave the row out")
        return values

    def _at(self, name: str) -> int:
        self._asked.add(name)
        return self.header.index(name)


def _text(file: str, raw: bytes) -> str:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        line = raw.count(b"\n", 0, why.start) + 1
        raise InputError(
            f"{file} line {line}", f"byte {raw[why.start]:#04x} is not UTF-8", "save it as UTF-8"
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise InputError(f"{file} line {line}", "holds a zero byte", "save it as plain text")
    return text


def _header(file: str, cells: list[str]) -> list[str]:
    names = [cell.strip().lower() for cell in cells]
    for name in names:
        if not name or names.count(name) > 1:
            found = f'column "{name}" stands there twice' if name else "a column has no name"
            raise InputError(f"{file} line 1", found, "give every column its own name")
    return names


def read_header_table(path: Path, *, delimiter: str = ",") -> HeaderTable:
    """The table at `path`, its header checked, ragged rows marked.

    UTF-8 with or without byte order mark; ``#`` opens a comment line before the
    header or between rows; empty lines are passed over.

    Raises
    ------
    InputError
        No ordinary file, not UTF-8, no header, a column named twice, or quotes that do
        not close.
    """
    file = path.name
    with open_source(path) as stream:
        text = _text(file, stream.read())
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    header: list[str] = []
    rows: list[list[str]] = []
    lines: list[int] = []
    try:
        for cells in reader:
            blank = not any(cell.strip() for cell in cells)
            if blank or cells[0].lstrip().startswith("#"):
                continue
            if not header:
                header = _header(file, cells)
                continue
            rows.append(cells)
            lines.append(reader.line_num)
    except csv.Error as why:
        raise InputError(
            f"{file} line {reader.line_num}", f"{why}", "close the quotes or take them out"
        ) from None
    if not header:
        raise InputError(file, "has no header row", "name the columns in the first row")
    return _checked(file, header, rows, lines)


def _checked(file: str, header: list[str], rows: list[list[str]], lines: list[int]) -> HeaderTable:
    table = HeaderTable(file, header, rows, np.array(lines, dtype=np.int64))
    for row, cells in enumerate(rows):
        if len(cells) != len(header):
            found = f"the row has {len(cells)} cells, the header {len(header)}"
            table.fault(row, header[0], found, "put quotes around a text that holds a comma")
            cells[:] = (cells + [""] * len(header))[: len(header)]
    return table
