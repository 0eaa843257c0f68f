"""How a text file of points is laid out: delimiter, header, which column is what.

Found from the file where it says so itself, else taken from the job file, and
always said. The standard library's sniffer takes ``;`` with decimal commas for
a comma-separated file, so the delimiter is found here by which one leaves plain
numbers in most rows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.errors import InputError, JobError
from pipeline.ingest.csv.cells import BLANKS, DELIMITERS, Layout, is_comment, is_number, split
from pipeline.ingest.csv.columns import Mapped, map_header, map_stated
from pipeline.ingest.csv.words import COORDINATES, UNITS, meaning, plain
from pipeline.ingest.source import shown
from pipeline.settings import FileFormat

_SAMPLE = 400
_MOST_COLUMNS = 500
_ABOVE = 20
"""Rows of words above the numbers in which the header is looked for."""

_Row = tuple[int, list[str]]
"""(index of the line, its cells)."""


@dataclass(frozen=True, slots=True)
class _Head:
    """The header: where, its cells, and ``row``, ``comment`` or ``""``; ``last`` line it takes."""

    at: int
    cells: list[str]
    origin: str
    last: int


_NO_HEAD = _Head(-1, [], "", -1)


def find_layout(lines: Sequence[str], fmt: FileFormat, name: str) -> Layout:
    """The layout of a file.

    Parameters
    ----------
    lines : sequence of str
        The whole file.
    fmt : FileFormat
        What the job file states; it wins over what is found.
    name : str
        The file, for messages.

    Raises
    ------
    InputError
        No delimiter leaves three numbers a row, the header cannot be understood,
        or there is none and the job file does not state the columns.
    JobError
        A setting of the format cannot be used.
    """
    delimiter, begin = _stated_delimiter(lines, fmt)
    sample = _sample(lines, begin)
    if not sample:
        raise InputError(name, "no row in it", "give a file with points")
    if delimiter is None:
        delimiter = _find_delimiter([line for _, line in sample], fmt.decimal, name)
    rows = [(at, split(line, delimiter)) for at, line in sample if not is_comment(line, delimiter)]
    if not rows:
        raise InputError(name, "nothing but comments", "give a file with points")
    widest = max(rows, key=lambda row: len(row[1]))
    if len(widest[1]) > _MOST_COLUMNS:
        found = f"{len(widest[1])} columns"
        do = "this is no table of points: check the delimiter"
        raise InputError(f"{name} line {widest[0] + 1}", found, do)
    if delimiter == "," == fmt.decimal and not any('"' in line for _, line in sample):
        raise InputError(
            name,
            "the comma is both delimiter and decimal mark",
            "export it with semicolons, or with decimal points",
        )
    return _with_columns(lines, rows, delimiter, fmt, name)


def _stated_delimiter(lines: Sequence[str], fmt: FileFormat) -> tuple[str | None, int]:
    """The delimiter by the job file or a first line ``sep=;``; the line to begin at."""
    by_line = re.fullmatch(r'"?sep=(.)"?\s*', lines[0]) if lines else None
    if fmt.delimiter is None:
        return (by_line[1] if by_line else None), int(by_line is not None)
    names = {word: mark for mark, word in DELIMITERS.items()}
    mark = names.get(fmt.delimiter, fmt.delimiter)
    mark = BLANKS if mark == " " else mark
    if len(mark) > 1 or mark.isalnum() or (mark and mark in '"\n\r+-.'):
        raise JobError(
            f'format of "{fmt.files}", delimiter',
            f"found {shown(fmt.delimiter)!r}",
            f"give one character, or one of {', '.join(names)}",
        )
    return mark, int(by_line is not None)


def _sample(lines: Sequence[str], begin: int) -> list[tuple[int, str]]:
    """(index, line) of the first lines that are neither blank nor a comment."""
    found: list[tuple[int, str]] = []
    for at in range(begin, len(lines)):
        if lines[at].strip(" \t,;|") and not is_comment(lines[at], ";"):
            found.append((at, lines[at]))
            if len(found) == _SAMPLE:
                break
    return found


def _find_delimiter(sample: Sequence[str], decimal: str, name: str) -> str:
    """The candidate that leaves three or more plain numbers in most rows."""
    best, most = BLANKS, 0
    for candidate in DELIMITERS:
        rows = sum(_numbers(split(line, candidate)) >= 3 for line in sample)
        if rows > most:  # a tie goes to the mark that is rarer in text
            best, most = candidate, rows
    if most == 0:
        raise InputError(
            name,
            "no row holds three numbers, whichever delimiter is tried "
            f"(first row {shown(sample[0])!r})",
            "give northing, easting and elevation in every row"
            + (" with a decimal comma" if decimal == "," else ""),
        )
    return best


def _numbers(cells: Sequence[str]) -> int:
    """How many cells are numbers, with either decimal mark."""
    return sum(map(_is_any_number, cells))


def _with_columns(
    lines: Sequence[str], rows: list[_Row], delimiter: str, fmt: FileFormat, name: str
) -> Layout:
    head = _find_head(lines, rows, delimiter, fmt)
    body = [cells for at, cells in rows if at > head.last]
    usual = _usual_width(body)
    if isinstance(fmt.columns, list):
        mapped = map_stated(fmt.columns, fmt, usual, free=delimiter == BLANKS)
    elif head.cells:
        where = f"{name} line {head.at + 1}"
        if delimiter == BLANKS:
            _check_blank_header(head.cells, usual, where)
        mapped = map_header(head.cells, fmt, where)
    else:
        raise InputError(
            f"{name} line {rows[0][0] + 1}",
            "no header, and the job file does not state the columns in order"
            f" (row {_row(rows[0][1])})",
            'state columns in the job file in their order, such as ["id", "northing", "easting",'
            ' "elevation", "code"]: which is north cannot be told from numbers',
        )
    layout = Layout(
        delimiter=delimiter,
        decimal=fmt.decimal,
        columns=mapped.columns,
        scales=mapped.scales,
        width=mapped.width,
        header=tuple(head.cells) if head.origin == "row" else (),
        first=head.last + 1 if head.origin == "row" else rows[0][0],
        words=_words(head, rows, delimiter, mapped),
        unread=mapped.unread,
    )
    _check_width(layout, body, usual, name)
    _check_decimal(body, mapped.columns, fmt, name)
    return layout


def _words(head: _Head, rows: list[_Row], delimiter: str, mapped: Mapped) -> str:
    above = sum(at < head.at for at, _ in rows) if head.origin == "row" else 0
    header = {
        "row": f"header on line {head.at + 1}",
        "comment": f"header in the comment on line {head.at + 1}",
        "": "no header",
    }[head.origin]
    over = f" ({above} rows above it are not read)" if above else ""
    if head.origin == "row" and mapped.by_list:  # its words were not needed: show them
        over += f" ({_row(head.cells)})"
    return f'delimiter "{DELIMITERS.get(delimiter, delimiter)}", {header}{over}; {mapped.words}'


def _row(cells: Sequence[str]) -> str:
    return shown(" | ".join(cells), 60)


def _usual_width(body: Sequence[Sequence[str]]) -> int:
    """Cells of most rows, empty ones at the end not counted."""
    widths = []
    for row in body:
        width = len(row)
        while width and not row[width - 1]:
            width -= 1
        widths.append(width)
    return max(sorted(set(widths)), key=widths.count, default=0)


def _find_head(lines: Sequence[str], rows: list[_Row], delimiter: str, fmt: FileFormat) -> _Head:
    if fmt.header is False:
        return _NO_HEAD
    at, cells = rows[0]
    if isinstance(fmt.columns, list):
        places = [fmt.columns.index(ours) for ours in COORDINATES if ours in fmt.columns]
        bare = not any(k < len(cells) and _is_any_number(cells[k]) for k in places)
        return _Head(at, cells, "row", at) if fmt.header or bare else _NO_HEAD
    wordy = rows[:1] if fmt.header else []
    for row in rows[len(wordy) : _ABOVE]:
        if _numbers(row[1]) >= 2:
            break
        wordy.append(row)
    if wordy:
        return _head_row(wordy, fmt)
    return _head_comment(lines, rows, delimiter, fmt)


def _is_any_number(cell: str) -> bool:
    return is_number(cell, ".") or is_number(cell, ",")


def _head_row(wordy: list[_Row], fmt: FileFormat) -> _Head:
    """The last row that reads as a header, else the one with most words that are known."""
    best = max(
        range(len(wordy)),
        key=lambda k: (_reads_as_header(wordy[k][1], fmt), _known(wordy[k][1]), k),
    )
    at, cells = wordy[best]
    cells = list(cells)
    while cells and not cells[-1]:
        cells.pop()
    if best + 1 < len(wordy):  # a row of units under the words belongs to the header
        under = wordy[best + 1][1]
        if any(under) and all(plain(word.strip("()[]")) in UNITS for word in under if word):
            pairs = zip(cells, [*under, *[""] * len(cells)], strict=False)
            cells = [f"{word} ({unit.strip('()[]')})" if unit else word for word, unit in pairs]
            return _Head(at, cells, "row", wordy[best + 1][0])
    return _Head(at, cells, "row", at)


def _known(cells: Sequence[str]) -> int:
    return sum(bool(meaning(word)) for word in cells)


def _head_comment(lines: Sequence[str], rows: list[_Row], delimiter: str, fmt: FileFormat) -> _Head:
    """The comment nearest above the numbers that names all coordinates."""
    for at in range(rows[0][0] - 1, -1, -1):
        bare = re.sub(r"^\s*(?:#|//|\*|;)+", "", lines[at]).strip()
        for mark in (delimiter, BLANKS):
            cells = split(bare, mark)
            if cells and _reads_as_header(cells, fmt):
                return _Head(at, cells, "comment", -1)
    return _NO_HEAD


def _reads_as_header(cells: Sequence[str], fmt: FileFormat) -> bool:
    try:
        map_header(cells, fmt, "")
    except (InputError, JobError):
        return False
    return True


def _check_blank_header(cells: Sequence[str], usual: int, where: str) -> None:
    """Refuse a header between blanks whose words may be one column: ``Point Name``."""
    for first, second in pairwise(cells):
        both = f"{first} {second}"
        if meaning(both) and plain(both) != "date time" and len(cells) != usual:
            raise InputError(
                where,
                f'"{shown(both)}" between blanks may be one column or two',
                'state columns as a list in the job file, such as ["id", "northing", "easting",'
                ' "elevation", "code"]',
            )


def _check_width(layout: Layout, body: Sequence[Sequence[str]], usual: int, name: str) -> None:
    """Refuse a header with fewer words than most rows have cells: its words would be shifted."""
    if usual <= layout.width:
        return
    last = layout.width - 1
    if layout.delimiter == BLANKS and layout.text_last:
        numeric = sum(_is_any_number(row[last]) for row in body if len(row) > last)
        if 2 * numeric < len(body):
            return
    raise InputError(
        name,
        f"most rows have {usual} cells under {layout.width} columns",
        "give every column its word in the header, or state columns as a list in the job file",
    )


def _check_decimal(
    body: Sequence[Sequence[str]], columns: dict[str, int], fmt: FileFormat, name: str
) -> None:
    """Refuse a file whose decimal mark is the other one than the job file states."""
    other = "," if fmt.decimal == "." else "."
    places = [columns[ours] for ours in ("northing", "easting", "elevation")]

    def fits(mark: str) -> int:
        return sum(all(at < len(row) and is_number(row[at], mark) for at in places) for row in body)

    if body and not fits(fmt.decimal) and fits(other):
        example = next(row for row in body if all(at < len(row) for at in places))
        cells = " ".join(shown(example[at]) for at in places)
        raise InputError(
            name,
            f'numbers such as {cells}, while the format says decimal = "{fmt.decimal}"',
            f'state decimal = "{other}" for this file in the job file',
        )
