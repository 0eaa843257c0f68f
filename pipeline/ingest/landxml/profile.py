"""Profiles of a LandXML file, as rows."""

from __future__ import annotations

import math

from pipeline.ingest.landxml.written import ProfileText, UnusableError, number, numbers
from pipeline.ingest.source import shown
from pipeline.model import ProfileRow, ProfileRows


def profile_rows(text: ProfileText, metres: float, file: str) -> ProfileRows:
    """A profile as rows [m], in order of station.

    Raises
    ------
    UnusableError
        Fewer than two points, or one that cannot be read.
    """
    rows = []
    for kind, attributes, words, line in text.rows:
        try:
            rows.append(_profile_point(kind, attributes, words, metres, f"{file} line {line}"))
        except UnusableError as error:
            raise UnusableError(f"{kind} on line {line}: {error}") from None
    if len(rows) < 2:
        raise UnusableError(f"it has {len(rows)} points")
    return ProfileRows(text.name, tuple(sorted(rows, key=lambda row: row.station)))


def _profile_point(
    kind: str, attributes: dict[str, str], words: str, metres: float, where: str
) -> ProfileRow:
    values = numbers(words)
    if len(values) != 2:
        raise UnusableError(f'"{shown(words)}" is not a station and an elevation')
    station, elevation = values[0] * metres, values[1] * metres
    row = {"station": station, "elevation": elevation}
    if kind == "ParaCurve":
        row["length_in"] = row["length_out"] = _positive(attributes, "length") * metres / 2
    elif kind == "UnsymParaCurve":
        row["length_in"] = _positive(attributes, "lengthIn") * metres
        row["length_out"] = _positive(attributes, "lengthOut") * metres
    elif kind == "CircCurve":
        row["arc_length"] = _positive(attributes, "length") * metres
        row["radius"] = number(attributes, "radius") * metres
        if not 0 < abs(row["radius"]) < math.inf:
            raise UnusableError("no radius")
    return ProfileRow(**row, where=where)


def _positive(attributes: dict[str, str], name: str) -> float:
    value = number(attributes, name)
    if not 0 <= value < math.inf:
        raise UnusableError(f"no {name}")
    return value
