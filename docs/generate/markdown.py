"""Cells and tables of Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

MADE = "<!-- Made from the code by `python -m docs.generate`; change it there. -->\n"


def cell(text: str) -> str:
    """Text as a cell takes it: on one line, bars and angle brackets escaped."""
    plain = " ".join(text.split()).replace("|", "\\|")
    parts = re.split(r"(`[^`]*`)", plain)
    parts[::2] = [part.replace("<", "&lt;").replace(">", "&gt;") for part in parts[::2]]
    return "".join(parts)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; an empty one is a bug of the caller."""
    lines = ["| " + " | ".join(heads) + " |", "|" + " --- |" * len(heads)]
    lines += ["| " + " | ".join(cell(text) for text in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def prose(docstring: str) -> str:
    """A docstring's words as Markdown: single backticks, no line breaks of its own."""
    return " ".join(docstring.replace("``", "`").split())
