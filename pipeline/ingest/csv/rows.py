"""Rows of a point file as growing columns: plain stretches at once, odd ones with care."""

from __future__ import annotations

import re
from collections.abc import Sequence
from operator import methodcaller
from typing import NamedTuple

import numpy as np

from pipeline.ingest.badrows import BadRow
from pipeline.ingest.csv.cells import Layout, is_comment
from pipeline.ingest.csv.words import COORDINATES, LENGTHS
from pipeline.ingest.limits import no_height, no_place
from pipeline.ingest.source import INVISIBLE, shown
from pipeline.model import Floats
from pipeline.units import parse_number

_TEXTS = ("id", "code", "note", "setup", "time", "date")
_SIGMAS = ("sigma_h", "sigma_v")
_PLAIN = {mark: re.compile(rf"[0-9{re.escape(mark)}+\- \t\n]*") for mark in ".,"}
_COMMENT_MARKS = frozenset("#/*;")
_LONGEST_NUMBER = 32
_EXPONENT = re.compile(r"[+-]?([0-9]*)\.?([0-9]*)[eE]([+-]?[0-9]+)")
_FINEST_M = 0.001
_SHOOT = "shoot the point again if it is needed"


class _Taken(NamedTuple):
    """A row whose coordinates are numbers."""

    line: int
    cells: list[str]
    coordinates: tuple[float, ...]


class Rows:
    """Columns that grow stretch by stretch.

    ``numbers`` are raw values in the file's unit, ``words`` the text columns,
    ``lines`` the line of each used row. Comments and repeated headers are listed
    by line, and so are cells taken as not given, by what is wrong with them.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.numbers: dict[str, list[Floats]] = {
            ours: [] for ours in layout.columns if ours in LENGTHS
        }
        self.words: dict[str, list[str]] = {ours: [] for ours in layout.columns if ours in _TEXTS}
        self.lines: list[int] = []
        self.bad: list[BadRow] = []
        self.comments: list[int] = []
        self.commented_rows: list[int] = []
        self.headers: list[int] = []
        self.unread_cells: dict[str, list[int]] = {}
        self.cleaned = 0
        self._same: dict[str, str] = {}

    def take_plain(self, chunk: Sequence[str], first: int) -> bool:
        """Take a stretch whose rows are all as expected; False (nothing taken) if any is not.

        Parameters
        ----------
        chunk : sequence of str
            Lines of the file.
        first : int
            Line number of the first.
        """
        joined = "\n".join(chunk)
        bare = joined.replace("\n", "").replace("\t", "")
        if '"' in joined or not bare.isprintable():
            return False
        cells = self._columns(chunk, joined)
        if cells is None or {cell.lstrip()[:1] for cell in cells[0]} & _COMMENT_MARKS:
            return False
        numbers: dict[str, Floats] = {}
        for ours in self.numbers:
            values = self._plain_numbers(cells[self.layout.columns[ours]], ours)
            if values is None:
                return False
            numbers[ours] = values
        if not self._all_usable(numbers):
            return False
        for ours, values in numbers.items():
            self.numbers[ours].append(values)
        for ours, column in self.words.items():
            stripped = [cell.strip() for cell in cells[self.layout.columns[ours]]]
            # codes and set-ups are few: one string each, however many rows carry it
            same = self._same.setdefault if ours in ("code", "setup") else None
            column.extend([same(cell, cell) for cell in stripped] if same else stripped)
        self.lines.extend(range(first, first + len(chunk)))
        return True

    def _columns(self, chunk: Sequence[str], joined: str) -> list[list[str]] | None:
        """The cells of a stretch by column; None where a row has too few or too many."""
        mark, width = self.layout.delimiter, self.layout.width
        if mark:
            if set(map(methodcaller("count", mark), chunk)) != {width - 1}:
                return None
            cells = joined.replace("\n", mark).split(mark)
            return [cells[at::width] for at in range(width)]
        rows = [line.split(None, width - 1 if self.layout.text_last else -1) for line in chunk]
        if set(map(len, rows)) != {width}:
            return None
        return [list(column) for column in zip(*rows, strict=True)]

    def _plain_numbers(self, cells: Sequence[str], ours: str) -> Floats | None:
        joined = "\n".join(cells)
        if (
            not _PLAIN[self.layout.decimal].fullmatch(joined)
            or max(map(len, cells)) > _LONGEST_NUMBER
        ):
            return None
        if self.layout.decimal == ",":
            cells = joined.replace(",", ".").split("\n")
        try:
            if ours in COORDINATES:
                return np.array(list(map(float, cells)))
            return np.array([float(cell) if cell.strip() else np.nan for cell in cells])
        except ValueError:
            return None

    def _all_usable(self, numbers: dict[str, Floats]) -> bool:
        metres = {ours: numbers[ours] * self.layout.scales[ours] for ours in COORDINATES}
        lost = no_place(metres["easting"], metres["northing"])
        if any((numbers[ours] < 0).any() for ours in _SIGMAS if ours in numbers):
            return False
        return not (lost.any() or no_height(numbers["elevation"], metres["elevation"]).any())

    def take_careful(self, chunk: Sequence[str], first: int) -> None:
        """Take a stretch row by row; each row ends as a point, a bad row or counted."""
        taken: list[_Taken] = []
        for line, text in enumerate(chunk, start=first):
            if not text.strip(f" \t{self.layout.delimiter}"):
                continue
            if is_comment(text, self.layout.delimiter):
                self._comment(text, line)
                continue
            cells = self.layout.split(text)
            if self.layout.header and tuple(cells) == self.layout.header:
                self.headers.append(line)
                continue
            bare = [INVISIBLE.sub("", cell) for cell in cells]
            self.cleaned += bare != cells
            found = self._coordinates(bare, line)
            if self.layout.is_cut(text, bare):
                why = f'too many cells: "{shown(bare[-1])}" begins with a number'
                found = self._bad(bare, line, why, "put quotes around the text, points in decimals")
            if isinstance(found, BadRow):
                self.bad.append(found)
            else:
                taken.append(_Taken(line, bare, found))
        self._keep(taken)

    def _comment(self, text: str, line: int) -> None:
        self.comments.append(line)
        cells = self.layout.split(text.lstrip(" \t#/*;"))
        if not isinstance(self._coordinates(cells, line), BadRow):
            self.commented_rows.append(line)

    def _keep(self, taken: list[_Taken]) -> None:
        """Columns of the rows that have a place and a height on Earth; the others are bad."""
        raw = np.array([row.coordinates for row in taken]).reshape(-1, 3).T
        metres = raw * np.array([[self.layout.scales[ours]] for ours in COORDINATES])
        lost, high = no_place(metres[0], metres[1]), no_height(raw[2], metres[2])
        for k in np.flatnonzero(lost | high):
            line, cells, (easting, northing, elevation) = taken[k]
            if lost[k]:
                text = f"easting {easting:g}, northing {northing:g} lie on no grid"
                self.bad.append(self._bad(cells, line, text, "correct the row"))
            else:
                text = f'column "{self._label("elevation")}": {elevation:g} stands for no height'
                self.bad.append(self._bad(cells, line, text, _SHOOT, "no height"))
        kept = [row for row, out in zip(taken, lost | high, strict=True) if not out]
        for ours, values in zip(COORDINATES, raw[:, ~(lost | high)], strict=True):
            self.numbers[ours].append(values)
        for ours, parts in self.numbers.items():
            if ours not in COORDINATES:
                parts.append(np.array([self._optional(r.cells, ours, r.line) for r in kept]))
        for ours, column in self.words.items():
            column.extend(self._cell(row.cells, ours) for row in kept)
        self.lines.extend(row.line for row in kept)

    def _cell(self, cells: list[str], ours: str) -> str:
        at = self.layout.columns.get(ours, len(cells))
        return cells[at].strip() if at < len(cells) else ""

    def _optional(self, cells: list[str], ours: str, line: int) -> float:
        cell = self._cell(cells, ours)
        if not cell:
            return np.nan
        try:
            value = parse_number(cell, decimal=self.layout.decimal)
        except ValueError:
            wrong = f"{ours} is no number"
        else:
            if ours not in _SIGMAS or value >= 0:
                return value
            # -1 is written for a deviation that is not known, and would pass for a small one
            wrong = f"{ours} is negative"
        self.unread_cells.setdefault(wrong, []).append(line)
        return np.nan

    def _coordinates(self, cells: list[str], line: int) -> tuple[float, ...] | BadRow:
        """Easting, northing and elevation in the file's unit, or why there are none."""
        layout = self.layout
        if len(cells) > layout.width:
            text = f"{len(cells)} cells, expected {layout.width}"
            return self._bad(cells, line, text, "put quotes around a text that holds the delimiter")
        values = []
        for ours in COORDINATES:
            cell = self._cell(cells, ours)
            try:
                values.append(parse_number(cell, decimal=layout.decimal))
            except ValueError:
                return self._not_a_number(cells, ours, line)
            if _shortened(cell, layout.scales[ours]):
                text = f'column "{self._label(ours)}": found "{shown(cell)}", digits are lost'
                return self._bad(cells, line, text, "export all digits, without exponents")
        return tuple(values)

    def _not_a_number(self, cells: list[str], ours: str, line: int) -> BadRow:
        cell = self._cell(cells, ours)
        label = f'column "{self._label(ours)}"'
        if not cell and ours == "elevation":
            return self._bad(cells, line, f"{label}: no height", _SHOOT, "no height")
        text = f'{label}: found "{shown(cell)}", expected a number'
        return self._bad(cells, line, text, "correct the row")

    def _bad(
        self, cells: list[str], line: int, text: str, do: str, kind: str = "bad row"
    ) -> BadRow:
        return BadRow(line, kind, shown(self._cell(cells, "id")), text, do)

    def _label(self, ours: str) -> str:
        at = self.layout.columns[ours]
        return shown(self.layout.header[at]) if at < len(self.layout.header) else ours


def _shortened(cell: str, scale: float) -> bool:
    """True for a number with an exponent whose last digit is worth more than a millimetre.

    A spreadsheet writes ``1.234E+06`` for 1234018.52: the decimals are lost.
    """
    if "e" not in cell and "E" not in cell:
        return False
    match = _EXPONENT.fullmatch(cell.replace(",", "."))
    if match is None:
        return False
    last = int(match[3]) - len(match[2])
    return float(f"1e{last}") * scale > _FINEST_M * 1.000001 and float(cell.replace(",", ".")) != 0
