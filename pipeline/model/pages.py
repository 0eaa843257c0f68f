"""Pages as they are printed: texts final, a strip map and a table on each.

Every letter has the same width, so whoever fills a page knows what fits on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.model.arrays import Floats, lock_fields
from pipeline.model.curves import CurveChart

WIDTH_PT, HEIGHT_PT = 210.0 / 25.4 * 72.0, 279.4 / 25.4 * 72.0
"""What letter and A4 paper have in common; one file prints on both without clipping."""
MARGIN_PT = 12.0 / 25.4 * 72.0
PRINT_PT = WIDTH_PT - 2.0 * MARGIN_PT
"""Width that is printed on."""
ADVANCE = 0.602
"""Width of a letter over the size of the type; checked against the font by a test."""

SMALL_PT, NOTE_PT, TABLE_PT, NUMBER_PT, TITLE_PT = 9.0, 10.0, 11.0, 14.0, 13.0
"""Sizes of type: nothing is smaller than the first, tables and numbers as named."""
LINE = 1.18
"""Height of a line over the size of its type."""
ROW_PT = 17.2
"""Least height of a row: 6 mm, to write on with a pencil."""
HEAD_PT, STRIP_PT, FIGURE_PT = 78.0, 112.0, 176.0
"""Heights of the head, of a strip map and of a drawn curve."""


def letters(width_pt: float, size_pt: float) -> int:
    """Letters of one size that fit across a width."""
    return int((width_pt + 1e-6) / (ADVANCE * size_pt))


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its title, width and type. ``mono`` is the only face there is."""

    title: str
    width_pt: float
    size_pt: float = TABLE_PT
    bold: bool = False
    align: Literal["left", "right", "centre"] = "left"


@dataclass(frozen=True, slots=True, eq=False)
class StripLine:
    """A line on a strip map: n places by station and distance across, right +."""

    pen: Literal["heavy", "thin", "dashed", "dotted"]
    station: Floats
    across: Floats

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "across"), (np.float64, (n,))))


@dataclass(frozen=True, slots=True)
class StripMark:
    """A mark on a strip map, with its word beside it; empty where it has none."""

    shape: Literal["lath", "cross", "box", "up", "down", "none"]
    station: float
    across: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class StripPatch:
    """A stretch of one side that is hatched: ``not shot``, or drawn over: ``missing``."""

    kind: Literal["not shot", "missing"]
    start: float
    end: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StripMap:
    """A street drawn straight, from the first station to the second, left to right.

    Where the first is the greater the page is walked back and the street is drawn turned
    about, so the map lies as the walker sees it. ``reach_m`` is how far it shows across.
    """

    first: float
    second: float
    reach_m: float
    lines: tuple[StripLine, ...]
    marks: tuple[StripMark, ...]
    patches: tuple[StripPatch, ...]
    ticks: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True)
class CardPage:
    """One page: title, the bar that names the plane, strip map or figure, table, notes.

    A cell may hold several lines. Rows that begin a new plane are not mixed: one page,
    one bar.
    """

    title: str
    bar: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()
    strip: StripMap | None = None
    figure: CurveChart | None = None


@dataclass(frozen=True, slots=True)
class CardBook:
    """All pages, and what stands on each of them.

    ``head`` are lines under the title, ``foot`` lines at the bottom, wrapped already;
    ``held`` is printed across the head where a stop finding is not settled.
    """

    job: str
    head: tuple[str, ...]
    foot: tuple[str, ...]
    pages: tuple[CardPage, ...]
    held: str = ""

    @property
    def body_pt(self) -> float:
        """Height of a page between head and foot [pt]."""
        return HEIGHT_PT - 2.0 * MARGIN_PT - HEAD_PT - self.foot_pt

    @property
    def foot_pt(self) -> float:
        """Height of the foot with its page number [pt]."""
        return (len(self.foot) + 1) * SMALL_PT * LINE + 8.0


def header_pt(columns: tuple[Column, ...]) -> float:
    """Height of the titles of a table [pt]: two lines, or more where a title has more."""
    lines = max([2, *(column.title.count("\n") + 1 for column in columns)])
    return lines * TABLE_PT * LINE + 6.0


def row_pt(row: tuple[str, ...], columns: tuple[Column, ...]) -> float:
    """Height of one row of a table [pt]."""
    tallest = max(
        (cell.count("\n") + 1) * column.size_pt * LINE
        for cell, column in zip(row, columns, strict=True)
    )
    return max(ROW_PT, tallest + 3.0)


def notes_pt(notes: tuple[str, ...]) -> float:
    """Height of the notes under a table [pt]."""
    return len(notes) * NOTE_PT * LINE + (4.0 if notes else 0.0)
