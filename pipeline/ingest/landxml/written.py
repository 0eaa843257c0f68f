"""Alignments, profiles and features of a LandXML file as they are written, and their points.

Directions are never read: four producers write them in three ways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from pipeline.ingest.landxml.stream import BadNumberError, NumberList, parse_numbers
from pipeline.ingest.source import shown
from pipeline.model import Floats, Ints

Plan = tuple[float, float]


class UnusableError(ValueError):
    """Why an alignment, profile or feature is left out."""


@dataclass(slots=True)
class Piece:
    """One element of a ``CoordGeom`` as it stands.

    ``points`` holds the text of Start, End, Center and PI, or the name of the
    point each refers to, behind an ``@``.
    """

    kind: str
    attributes: dict[str, str]
    line: int
    points: dict[str, str] = field(default_factory=dict)
    path: NumberList | None = None
    dimensions: int = 3
    chain: str = ""


@dataclass(slots=True)
class ProfileText:
    """One ``ProfAlign``: (element, attributes, text, line) of each point."""

    name: str
    line: int
    rows: list[tuple[str, dict[str, str], str, int]] = field(default_factory=list)


@dataclass(slots=True)
class LineText:
    """One ``Alignment`` or ``PlanFeature`` as it stands."""

    name: str
    attributes: dict[str, str]
    line: int
    pieces: list[Piece] = field(default_factory=list)
    equations: list[dict[str, str]] = field(default_factory=list)
    profiles: list[ProfileText] = field(default_factory=list)


@dataclass(slots=True)
class Book:
    """Named points [m] that geometry may refer to: easting, northing, elevation and shot."""

    file: str
    metres: float
    xyz: Floats
    shot: Ints
    row: dict[str, int]
    ambiguous: frozenset[str]

    def vertex(self, text: str) -> tuple[float, float, float, int]:
        """The place that a point's text or reference means; height NaN where there is none."""
        if text.startswith("@"):
            name = text[1:]
            if name in self.ambiguous or name not in self.row:
                why = "is there twice" if name in self.ambiguous else "is not in the file"
                raise UnusableError(f'point "{shown(name)}" {why}')
            k = self.row[name]
            east, north, up = (float(x) for x in self.xyz[k])
            return east, north, up, int(self.shot[k])
        values = numbers(text)
        if len(values) not in (2, 3):
            raise UnusableError(f'"{shown(text)}" is no point')
        up = values[2] * self.metres if len(values) == 3 else math.nan
        return values[1] * self.metres, values[0] * self.metres, up, -1

    def plan(self, piece: Piece, what: str) -> Plan | None:
        """Easting and northing of a piece's Start, End, Center or PI; None if not given."""
        if what not in piece.points:
            return None
        east, north, _, _ = self.vertex(piece.points[what])
        if not (math.isfinite(east) and math.isfinite(north)):
            raise UnusableError(f"{what} on line {piece.line} has no coordinates")
        return east, north


def numbers(text: str) -> list[float]:
    """The numbers of a text.

    Raises
    ------
    UnusableError
        One of them is no number.
    """
    try:
        return parse_numbers(text)
    except BadNumberError as error:
        raise UnusableError(str(error)) from None


def number(attributes: dict[str, str], name: str) -> float:
    """An attribute as a number; NaN where it is not given."""
    text = attributes.get(name, "").strip()
    if not text:
        return math.nan
    values = numbers(text)
    if len(values) != 1:
        raise UnusableError(f'{name} "{shown(text)}" is no number')
    return values[0]
