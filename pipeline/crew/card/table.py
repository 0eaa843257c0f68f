"""Tables laid out for paper: widths from what stands in them, long texts wrapped, pages cut."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from pipeline.model.pages import (
    ADVANCE,
    LINE,
    NOTE_PT,
    PRINT_PT,
    TABLE_PT,
    CardPage,
    Column,
    header_pt,
    letters,
    row_pt,
)

Row: TypeAlias = tuple[str, ...]

MOST_LINES = 12
"""A text of more lines ends in dots: no name may push the numbers off a page."""
MOST_ROWS = 25
"""Rows of a list on one page."""
_PAGE_LINES = 40  # no sentence of ours is longer than a page
_NOTES = 4  # lines kept free for notes under a list
_PAD_PT = 8.0
_LEAST_WRAP, _LEAST_FORCED, _TITLE = 12, 6, 12


@dataclass(frozen=True, slots=True)
class Heading:
    """One column to lay out. ``wrap``: its texts may be broken into lines."""

    title: str
    size_pt: float = TABLE_PT
    bold: bool = False
    align: Literal["left", "right", "centre"] = "left"
    wrap: bool = False
    fill: bool = False
    """Takes what is left of the page's width, such as a column to write in."""


@dataclass(frozen=True, slots=True)
class Laid:
    """Columns with their widths, and the rows as they fit in them."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


def lay_out(headings: Sequence[Heading], rows: Sequence[Row]) -> Laid:
    """Widths from the longest text of each column; what is left goes to those that wrap.

    Where the page is too narrow, the widest column is wrapped too, and the next, until all
    have room: a long name makes a row taller, never a number shorter.

    Raises
    ------
    ValueError
        Too many columns for a page however they are wrapped: a fault in the caller.
    """
    titles = [_title(heading.title) for heading in headings]
    wrapping = {k for k, heading in enumerate(headings) if heading.wrap}
    widths = _widths(headings, titles, rows, wrapping)
    while sum(widths) > PRINT_PT:
        others = [k for k in range(len(headings)) if k not in wrapping]
        if not others:
            names = ", ".join(title.replace("\n", " ") for title in titles)
            raise ValueError(f"columns {names} are wider than the page")
        wrapping.add(max(others, key=lambda k: widths[k]))
        widths = _widths(headings, titles, rows, wrapping)
    spare = [k for k in range(len(headings)) if k in wrapping or headings[k].fill]
    for k in spare:
        widths[k] += (PRINT_PT - sum(widths)) / len(spare) if k != spare[-1] else 0.0
    if spare:
        widths[spare[-1]] += PRINT_PT - sum(widths)
    columns = tuple(
        Column(title, width, heading.size_pt, heading.bold, heading.align)
        for heading, title, width in zip(headings, titles, widths, strict=True)
    )
    return Laid(columns, tuple(_wrapped(columns, row, wrapping) for row in rows))


def _title(title: str) -> str:
    """A title in lines of few letters, so that a long name does not widen its column."""
    lines = [part for line in title.split("\n") for part in wrap(line, _TITLE)]
    return "\n".join(lines)


def _widths(
    headings: Sequence[Heading], titles: Sequence[str], rows: Sequence[Row], wrapping: set[int]
) -> list[float]:
    widths = []
    for k, heading in enumerate(headings):
        cells = [line for row in rows for line in row[k].split("\n")]
        longest = max((len(cell) for cell in cells), default=0)
        if k in wrapping:
            longest = min(longest, _LEAST_WRAP if heading.wrap else _LEAST_FORCED)
        title = max(len(word) for word in titles[k].split("\n"))
        body = longest * ADVANCE * heading.size_pt
        widths.append(max(body, title * ADVANCE * TABLE_PT) + _PAD_PT)
    return widths


def _wrapped(columns: Sequence[Column], row: Row, wrapping: set[int]) -> Row:
    cells = []
    for k, (column, cell) in enumerate(zip(columns, row, strict=True)):
        room = letters(column.width_pt - _PAD_PT, column.size_pt)
        lines = [part for line in cell.split("\n") for part in wrap(line, room)]
        if len(lines) > MOST_LINES:
            lines = [*lines[: MOST_LINES - 1], "..."]
        cells.append("\n".join(lines) if k in wrapping else cell)
    return tuple(cells)


def wrap(text: str, room: int) -> list[str]:
    """Lines of at most `room` letters; nothing is left out. An empty text is one empty line."""
    return textwrap.wrap(text, max(room, 1), break_on_hyphens=False) or [""]


def notes(texts: Sequence[str], lines: int) -> tuple[str, ...]:
    """Notes in as many lines as there are, the last saying how many are not told here."""
    room = letters(PRINT_PT, NOTE_PT)
    told: list[str] = []
    for k, text in enumerate(texts):
        block = wrap(text, room)
        rest = len(texts) - k - 1
        if len(told) + len(block) > lines - (1 if rest else 0):
            more = len(texts) - k
            said = f"{more} more on the pages behind" if lines else ""
            return tuple([*told, said][:lines])
        told += block
    return tuple(told)


def note_lines(room_pt: float) -> int:
    """Lines of notes that fit into a height."""
    return max(0, int((room_pt - 4.0) / (NOTE_PT * LINE) + 1e-9))


def cut(laid: Laid, room_pt: float, most: int) -> list[tuple[Row, ...]]:
    """Rows page by page: what fits into a height, `most` at a time, pages of like length."""
    if not laid.rows:
        return []
    pages: list[list[Row]] = [[]]
    share = math.ceil(len(laid.rows) / math.ceil(len(laid.rows) / most))
    used = header_pt(laid.columns)
    for row in laid.rows:
        height = row_pt(row, laid.columns)
        if pages[-1] and (used + height > room_pt or len(pages[-1]) >= share):
            pages.append([])
            used = header_pt(laid.columns)
        pages[-1].append(row)
        used += height
    return [tuple(page) for page in pages]


def table_pt(laid: Laid, rows: Sequence[Row]) -> float:
    """Height of some rows with their header [pt]."""
    return header_pt(laid.columns) + sum(row_pt(row, laid.columns) for row in rows)


def list_pages(
    words: tuple[str, str],
    headings: Sequence[Heading],
    rows: Sequence[Row],
    told: Sequence[str],
    body_pt: float,
) -> list[CardPage]:
    """A list cut into pages; its notes begin on the first, and what has no room goes on behind."""
    title, bar = words
    pages, left = [], list(told)
    if rows:
        laid = lay_out(headings, rows)
        for part in cut(laid, body_pt - _NOTES * 12.0 - 4.0, MOST_ROWS):
            said, left = _fitting(left, note_lines(body_pt - table_pt(laid, part)))
            pages.append(CardPage(title, bar, laid.columns, part, said))
    while left:
        said, left = _fitting(left, note_lines(body_pt))
        pages.append(CardPage(title, bar, (), (), said))
    return pages


def _fitting(told: Sequence[str], lines: int) -> tuple[tuple[str, ...], list[str]]:
    """Lines of the notes that fit, broken between sentences, and the sentences that are left.

    A sentence that is taller than a whole page is cut there, so that there is an end.
    """
    room = letters(PRINT_PT, NOTE_PT)
    said: list[str] = []
    for k, text in enumerate(told):
        block = wrap(text, room)
        if len(said) + len(block) > lines:
            if not said and len(block) > _PAGE_LINES:
                return tuple(block[:lines]), [" ".join(block[lines:]), *told[k + 1 :]]
            return tuple(said), list(told[k:])
        said += block
    return tuple(said), []
