"""Rows that are listed instead of used, and the findings that list them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pipeline.model import Finding
from pipeline.model.telling import listed

LISTED = 1000
"""So many bad rows are listed one by one; the rest are one finding."""

TOGETHER = 20
"""More rows without a height than this are one finding."""


class BadRow(NamedTuple):
    """A row that is listed instead of used."""

    line: int
    kind: str
    id: str
    text: str
    do: str


def line_words(lines: Sequence[object], most: int = 12) -> str:
    """Line numbers or ids for a message: ``3, 8, 11 and 40 more``."""
    return listed([str(line) for line in lines], most)


def bad_findings(bad: Sequence[BadRow], name: str) -> list[Finding]:
    """One finding a bad row; many rows without a height are one finding that names them all."""
    heights = [row for row in bad if row.kind == "no height"]
    together = len(heights) > TOGETHER
    single = [row for row in bad if row.kind != "no height"] if together else list(bad)
    found = [_one(row, name) for row in single[:LISTED]]
    if together:
        text = (
            f"{name}: {len(heights)} rows without a usable height, the first: {heights[0].text}"
            f" (lines {line_words([row.line for row in heights])})"
        )
        found.append(_several("no height", text, heights[0].do, heights, name))
    if rest := single[LISTED:]:
        text = f"{name}: {len(rest)} more rows like these, lines {rest[0].line} to {rest[-1].line}"
        found.append(_several("bad row", text, "look for one cause before any row", rest, name))
    return found


def _one(row: BadRow, name: str) -> Finding:
    points = (row.id,) if row.id else ()
    text = f"{name} line {row.line}: {row.text}"
    return Finding("person", row.kind, text, row.do, points, file=name, line=row.line)


def _several(kind: str, text: str, do: str, rows: Sequence[BadRow], name: str) -> Finding:
    points = tuple(row.id for row in rows if row.id)
    return Finding("person", kind, text, do, points, file=name, line=rows[0].line)
