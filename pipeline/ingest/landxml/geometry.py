"""Alignments and drawn features of a LandXML file, as rows.

Everything follows from the points and the turn of each element. What cannot be read exactly
is left out by name; a spiral that is no clothoid is not drawn as one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from pipeline.ingest.landxml.written import Book, LineText, Piece, Plan, UnusableError, number
from pipeline.ingest.source import shown
from pipeline.model import AlignmentRows, ElementRow

_TURN = {"cw": 1, "ccw": -1}
SLACK_M = 0.002
"""Two statements of one length that differ by more than this are told."""


def alignment_rows(text: LineText, book: Book) -> tuple[AlignmentRows, list[str]]:
    """An alignment as rows [m], and what about it does not agree with itself.

    Raises
    ------
    UnusableError
        Saying which element of it cannot be read.
    """
    elements = tuple(row for piece in text.pieces for row in _elements(piece, book))
    if not elements:
        raise UnusableError("it has no geometry that is read here")
    metres = book.metres
    start = number(text.attributes, "staStart") * metres
    start = 0.0 if math.isnan(start) else start
    declared = number(text.attributes, "length") * metres
    rows = AlignmentRows(
        name=text.name,
        elements=elements,
        start_station=start,
        declared_length=declared,
        equations=_equations(text, start, metres),
    )
    doubts = [doubt for row in elements for doubt in _doubts(row)]
    total = sum(map(element_length, elements))
    if math.isfinite(declared) and abs(total - declared) > SLACK_M:
        doubts.append(f"declares a length of {declared:.3f} m, its elements have {total:.3f} m")
    return rows, doubts


def _equations(
    text: LineText, start: float, metres: float
) -> tuple[tuple[float, float, float], ...]:
    found = []
    internal, ahead = start, start
    for one in text.equations:
        if one.get("staIncrement", "increasing").lower() != "increasing":
            raise UnusableError("a station equation after which stations decrease")
        at = number(one, "staInternal") * metres
        back, then = number(one, "staBack") * metres, number(one, "staAhead") * metres
        if math.isnan(back):
            back = ahead + at - internal
        if not math.isfinite(at + back + then):
            raise UnusableError("a station equation without staInternal and staAhead")
        found.append((at, back, then))
        internal, ahead = at, then
    return tuple(found)


def _elements(piece: Piece, book: Book) -> Iterator[ElementRow]:
    try:
        if piece.kind == "Line":
            yield _straight(piece, book)
        elif piece.kind == "Curve":
            yield _arc(piece, book)
        elif piece.kind == "Spiral":
            yield _clothoid(piece, book)
        else:
            corners = [(v[0], v[1]) for v in _path(piece, book)]
            where = f"{book.file} line {piece.line}"
            for a, b in pairwise(corners):
                if a != b:
                    yield ElementRow("line", start=a, end=b, where=where)
    except UnusableError as error:
        raise UnusableError(f"{piece.kind} on line {piece.line}: {error}") from None


def _ends(piece: Piece, book: Book) -> tuple[Plan, Plan]:
    start, end = book.plan(piece, "Start"), book.plan(piece, "End")
    if start is None or end is None:
        raise UnusableError("no Start or no End")
    return start, end


def _straight(piece: Piece, book: Book) -> ElementRow:
    start, end = _ends(piece, book)
    length = number(piece.attributes, "length") * book.metres
    where = f"{book.file} line {piece.line}"
    return ElementRow("line", length=length, start=start, end=end, where=where)


def _turn(piece: Piece) -> int:
    turn = _TURN.get(piece.attributes.get("rot", "").strip().lower())
    if turn is None:
        raise UnusableError("it does not say whether it turns cw or ccw")
    return turn


def _radius(piece: Piece, name: str, metres: float) -> float:
    """Radius [m], infinite for ``INF``, NaN where it is not given."""
    if piece.attributes.get(name, "").strip().upper() in ("INF", "INFINITY", "INFINITE"):
        return math.inf
    radius = number(piece.attributes, name) * metres
    if radius <= 0:
        raise UnusableError(f"{name} is {radius:g}")
    return radius


def _arc(piece: Piece, book: Book) -> ElementRow:
    start, end = _ends(piece, book)
    centre = book.plan(piece, "Center")
    radius = _radius(piece, "radius", book.metres)
    if math.isnan(radius):
        if centre is None:
            raise UnusableError("neither radius nor Center")
        radius = math.dist(start, centre)
    if not 0 < radius < math.inf:
        raise UnusableError(f"its radius is {radius:g} m")
    return ElementRow(
        "arc",
        length=number(piece.attributes, "length") * book.metres,
        radius_start=radius,
        radius_end=radius,
        turn=_turn(piece),
        start=start,
        end=end,
        centre=centre,
        intersection=book.plan(piece, "PI"),
        where=f"{book.file} line {piece.line}",
    )


def _clothoid(piece: Piece, book: Book) -> ElementRow:
    form = piece.attributes.get("spiType", "").strip()
    if form.lower() != "clothoid":
        raise UnusableError(f'a spiral of the type "{shown(form)}"; only the clothoid is read')
    length = number(piece.attributes, "length") * book.metres
    if not 0 < length < math.inf:
        raise UnusableError("no length")
    radii = [_radius(piece, name, book.metres) for name in ("radiusStart", "radiusEnd")]
    if any(map(math.isnan, radii)) or all(map(math.isinf, radii)):
        raise UnusableError("it needs radiusStart and radiusEnd, one of them finite")
    return ElementRow(
        "clothoid",
        length=length,
        radius_start=radii[0],
        radius_end=radii[1],
        turn=_turn(piece),
        start=book.plan(piece, "Start"),
        end=book.plan(piece, "End"),
        intersection=book.plan(piece, "PI"),
        where=f"{book.file} line {piece.line}",
    )


def _path(piece: Piece, book: Book) -> list[tuple[float, float, float, int]]:
    """Vertices of a Line, IrregularLine or Chain."""
    if piece.kind == "Chain":
        return [book.vertex(f"@{name}") for name in piece.chain.split()]
    ends = [book.vertex(piece.points[what]) for what in ("Start", "End") if what in piece.points]
    if piece.path is None:
        if len(ends) < 2:
            raise UnusableError("no Start or no End")
        return ends
    size = piece.dimensions
    rows = np.array(piece.path.values).reshape(-1, size) * book.metres
    inner = [
        (float(row[1]), float(row[0]), float(row[2]) if size == 3 else math.nan, -1) for row in rows
    ]
    # the list should hold both ends; where it does not, they are put there
    if len(ends) == 2 and (not inner or math.dist(inner[0][:2], ends[0][:2]) > SLACK_M):
        inner.insert(0, ends[0])
    if len(ends) == 2 and math.dist(inner[-1][:2], ends[1][:2]) > SLACK_M:
        inner.append(ends[1])
    return inner


def element_length(row: ElementRow) -> float:
    """Length [m] of an element by its geometry; a clothoid's is the one it declares."""
    if row.kind == "clothoid" or row.start is None or row.end is None:
        return row.length
    if row.kind == "line":
        return math.dist(row.start, row.end)
    if row.centre is None:  # of the two arcs over the chord the shorter, unless it says otherwise
        half = math.asin(min(1.0, math.dist(row.start, row.end) / (2 * row.radius_start)))
        long = math.isfinite(row.length) and row.length > math.pi * row.radius_start
        return row.radius_start * (2 * math.pi - 2 * half if long else 2 * half)
    a, b = (
        math.atan2(point[0] - row.centre[0], point[1] - row.centre[1])
        for point in (row.start, row.end)
    )
    sweep = (row.turn * (b - a)) % (2 * math.pi)
    return row.radius_start * sweep


def _doubts(row: ElementRow) -> Iterator[str]:
    """What one element says twice and differently."""
    line = row.where.rpartition(" ")[2]
    if row.kind == "arc" and row.centre and row.start and row.end:
        first, last = math.dist(row.start, row.centre), math.dist(row.end, row.centre)
        if abs(first - last) > SLACK_M or abs(first - row.radius_start) > SLACK_M:
            yield (
                f"the arc on line {line} has the radius {row.radius_start:.3f} m, from its centre"
                f" {first:.3f} m to the start and {last:.3f} m to the end"
            )
    if row.kind != "clothoid" and math.isfinite(row.length):
        length = element_length(row)
        if abs(length - row.length) > SLACK_M:
            yield (
                f"the {row.kind} on line {line} declares {row.length:.3f} m,"
                f" its points give {length:.3f} m"
            )


def feature_lines(text: LineText, book: Book) -> list[list[tuple[float, float, float, int]]]:
    """The strings of a drawn feature, each a list of (easting, northing, elevation, shot).

    Raises
    ------
    UnusableError
        It is not made of straight pieces only, or refers to a point that is not there.
    """
    strings: list[list[tuple[float, float, float, int]]] = []
    for piece in text.pieces:
        if piece.kind in ("Curve", "Spiral"):
            raise UnusableError(f"{piece.kind} on line {piece.line} is not straight")
        path = _path(piece, book)
        if strings and math.dist(strings[-1][-1][:2], path[0][:2]) <= SLACK_M:
            strings[-1].extend(path[1:])
        elif len(path) > 1:
            strings.append(path)
    return strings
