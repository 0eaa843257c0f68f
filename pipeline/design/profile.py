"""The profile put together from its points of vertical intersection; `grade_line` evaluates it."""

from __future__ import annotations

import bisect
import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from pipeline.design.grade_line import SLACK_M, on_piece
from pipeline.design.section import PLAIN
from pipeline.errors import DesignError
from pipeline.model import (
    Finding,
    Findings,
    Profile,
    ProfileRow,
    ProfileRows,
)
from pipeline.units import Called

_SAME_LENGTH_M = 0.001


@dataclass(frozen=True, slots=True)
class _Span:
    """One piece: tangent, parabola (infinite radius) or circle, from ``start`` to ``end``."""

    start: float
    end: float
    elevation: float
    grade_start: float
    grade_end: float
    radius: float = math.inf


@dataclass(frozen=True, slots=True)
class _Curve:
    """The pieces about one PVI; none for a grade break, which begins and ends there."""

    begin: float
    end: float
    spans: tuple[_Span, ...]


def build(rows: ProfileRows, called: Called = PLAIN) -> tuple[Profile, Findings]:
    r"""The profile of its points of vertical intersection (PVI).

    Parameters
    ----------
    rows : ProfileRows
        At least two, in order of station. The first and the last have no curve.
    called : callable
        What people call a station that is counted on from the start.

    Returns
    -------
    Profile
    Findings
        Vertical curves that overlap, naming both PVIs: two different heights are
        then designed for one place, so between the later curve's beginning and
        the earlier one's end the profile has none (NaN). A curve that reaches
        past the profile's end is named too and used as far as the profile goes.
        Circular curves whose arc length or sign contradicts their radius and grades.

    Raises
    ------
    DesignError
        Fewer than two PVIs, stations out of order, a value that is no number, a
        curve with only one half, or a curve at the first or last PVI.

    Notes
    -----
    Symmetric: :math:`z = z_0 + g_1 x + (g_2 - g_1)x^2/2L`. Unsymmetric: two such
    parabolas that meet under the PVI with the grade
    :math:`(g_1 l_1 + g_2 l_2)/(l_1 + l_2)`. Circular: a true circle with
    :math:`T = R\tan\Delta/2` measured along the tangents, Δ the difference of the
    slope angles; it begins :math:`T\cos\alpha_1` before the PVI. All exact but for float64.
    """
    points = tuple(_placed(row, called) for row in rows.points)
    _check(rows.name, points)
    grade = [
        (b.elevation - a.elevation) / (b.station - a.station) for a, b in itertools.pairwise(points)
    ]
    found: list[Finding] = []
    first, last = (_Curve(row.station, row.station, ()) for row in (points[0], points[-1]))
    inner = zip(points[1:-1], grade, grade[1:], strict=False)
    curves = [first, *(_curve(row, before, ahead, found) for row, before, ahead in inner), last]
    contradicted = _overlaps(points, curves, found, called)
    tangents = [
        _Span(a.station, b.station, a.elevation, g, g)
        for (a, b), g in zip(itertools.pairwise(points), grade, strict=True)
    ]
    pieces = _assemble(curves, tangents, contradicted)
    profile = Profile(
        name=rows.name,
        station=np.array([*(piece.start for piece in pieces), pieces[-1].end]),
        elevation=np.array([piece.elevation for piece in pieces]),
        grade_start=np.array([piece.grade_start for piece in pieces]),
        grade_end=np.array([piece.grade_end for piece in pieces]),
        radius=np.array([piece.radius for piece in pieces]),
    )
    return profile, tuple(found)


def _placed(row: ProfileRow, called: Called) -> ProfileRow:
    """The row with its file's line and its station in its ``where``, as every message names it."""
    place = f"PVI at station {called(row.station)}"
    return replace(row, where=f"{row.where} ({place})" if row.where else place)


def _check(name: str, points: tuple[ProfileRow, ...]) -> None:
    if len(points) < 2:
        raise DesignError(f"profile {name!r}", f"it has {len(points)} PVIs", "give it at least two")
    for row in points:
        numbers = (row.station, row.elevation, row.length_in, row.length_out)
        if not all(math.isfinite(value) for value in numbers):
            raise DesignError(
                row.where, f"elevation {row.elevation}, halves {numbers[2:]}", "give numbers"
            )
        if min(numbers[2:]) < 0.0 or (numbers[2] > 0.0) != (numbers[3] > 0.0):
            raise DesignError(
                row.where,
                f"the halves of its curve are {row.length_in} m and {row.length_out} m",
                "give both halves a length, or neither for a grade break",
            )
    for before, row in itertools.pairwise(points):
        if not row.station > before.station:
            raise DesignError(
                row.where,
                f"it does not lie ahead of the {before.where}",
                "list the PVIs in order of station, one at each",
            )
    for row in (points[0], points[-1]):
        if row.length_in > 0.0 or _is_circular(row):
            raise DesignError(
                row.where,
                "it is the first or last of the profile and has a vertical curve,"
                " which needs a grade on both sides",
                "add a PVI beyond it, or take the curve away",
            )


def _is_circular(row: ProfileRow) -> bool:
    return not (math.isnan(row.radius) and math.isnan(row.arc_length))


def _curve(row: ProfileRow, before: float, ahead: float, found: list[Finding]) -> _Curve:
    if _is_circular(row):
        return _circle(row, before, ahead, found)
    if row.length_in == 0.0:
        return _Curve(row.station, row.station, ())
    begin, end = row.station - row.length_in, row.station + row.length_out
    start = row.elevation - before * row.length_in
    if row.length_in == row.length_out:
        return _Curve(begin, end, (_Span(begin, end, start, before, ahead),))
    both = row.length_in + row.length_out
    middle = (before * row.length_in + ahead * row.length_out) / both
    under = start + 0.5 * (before + middle) * row.length_in
    spans = (
        _Span(begin, row.station, start, before, middle),
        _Span(row.station, end, under, middle, ahead),
    )
    return _Curve(begin, end, spans)


def _circle(row: ProfileRow, before: float, ahead: float, found: list[Finding]) -> _Curve:
    angle_in, angle_out = math.atan(before), math.atan(ahead)
    turned = angle_out - angle_in
    radius = abs(row.radius)
    if math.isnan(radius):
        radius = row.arc_length / abs(turned) if turned else math.inf
    if not radius > 0.0 or row.length_in > 0.0:
        given = ("radius", row.radius), ("arc", row.arc_length)
        sizes = "".join(f"{word} {size:g} m, " for word, size in given if not math.isnan(size))
        raise DesignError(
            row.where,
            f"its circular curve has {sizes}halves {row.length_in} m and {row.length_out} m",
            "give a circular curve a radius or an arc length, and no halves",
        )
    if turned == 0.0 or math.isinf(radius):
        found.append(_odd(row, "the grade is the same on both sides; its circular curve is none"))
        return _Curve(row.station, row.station, ())
    arc = radius * abs(turned)
    if abs(row.arc_length - arc) > _SAME_LENGTH_M:
        what = f"the file says arc length {row.arc_length:.4f} m, its radius and grades give"
        found.append(_odd(row, f"{what} {arc:.4f} m; the radius is used"))
    if row.radius < 0.0 < turned:
        found.append(_odd(row, "the file marks a crest, the grades make a sag and are used"))
    tangent = radius * math.tan(0.5 * abs(turned))
    begin = row.station - tangent * math.cos(angle_in)
    end = row.station + tangent * math.cos(angle_out)
    start = row.elevation - tangent * math.sin(angle_in)
    span = _Span(begin, end, start, before, ahead, math.copysign(radius, turned))
    return _Curve(begin, end, (span,))


def _odd(row: ProfileRow, what: str) -> Finding:
    return Finding(
        "person", "vertical curve", f"{row.where}: {what}",
        "ask the designer which is meant", station=row.station,
    )  # fmt: skip


def _overlaps(
    points: tuple[ProfileRow, ...], curves: list[_Curve], found: list[Finding],
    called: Called,
) -> list[tuple[float, float]]:  # fmt: skip
    """Stretches for which two curves give two heights; each becomes a finding."""
    contradicted = []
    farthest = list(itertools.accumulate((curve.end for curve in curves), max))
    for j, later in enumerate(curves):
        for i in range(j - 1, -1, -1):
            if farthest[i] <= later.begin + SLACK_M:
                break
            earlier = curves[i]
            if earlier.end <= later.begin + SLACK_M:
                continue
            low = max(later.begin, points[0].station)
            high = min(earlier.end, points[-1].station)
            text = (
                f"the {_what(points[i], earlier)} reaches to station"
                f" {called(earlier.end)}, past the beginning of the"
                f" {_what(points[j], later)} at {called(later.begin)}"
            )
            if high > low + SLACK_M:
                contradicted.append((low, high))
                text += ": two heights are designed there, so none is given"
            do = "ask the designer for the lengths of the curves"
            found.append(Finding("person", "vertical curves overlap", text, do, station=low))
    return contradicted


def _what(row: ProfileRow, curve: _Curve) -> str:
    return f"vertical curve of the {row.where}" if curve.spans else row.where


def _assemble(
    curves: list[_Curve], tangents: list[_Span], contradicted: list[tuple[float, float]]
) -> list[_Span]:
    """Pieces from end to end: curves where there are, tangents between, NaN where contradicted.

    Outside the contradicted stretches no two curves overlap, so the one that
    began last is the only candidate.
    """
    first, last = tangents[0].start, tangents[-1].end
    spans = sorted((s for curve in curves for s in curve.spans), key=lambda span: span.start)
    edges = [edge for stretch in contradicted for edge in stretch]
    edges += [edge for curve in curves for edge in (curve.begin, curve.end)]
    edges += [span.end for span in spans]
    inside = sorted(edge for edge in edges if first + SLACK_M < edge < last - SLACK_M)
    cuts = [first]
    cuts += [edge for k, edge in enumerate(inside) if k == 0 or edge > inside[k - 1] + SLACK_M]
    cuts.append(last)
    pieces: list[_Span] = []
    for low, high in itertools.pairwise(cuts):
        middle = 0.5 * (low + high)
        if any(start <= middle < end for start, end in contradicted):
            if pieces and math.isnan(pieces[-1].elevation):
                low = pieces.pop().start  # noqa: PLW2901 - one stretch without height
            pieces.append(_Span(low, high, math.nan, math.nan, math.nan))
        else:
            curve = _began_last(spans, middle)
            if curve is None or middle >= curve.end:
                curve = _began_last(tangents, middle)
            if curve is not None:
                pieces.append(_part(curve, low, high))
    return pieces


def _began_last(spans: list[_Span], station: float) -> _Span | None:
    i = bisect.bisect_right(spans, station, key=lambda span: span.start)
    return spans[i - 1] if i else None


def _part(span: _Span, low: float, high: float) -> _Span:
    """A piece cut down to part of itself."""
    rows = np.zeros(2, dtype=np.int64)
    z, g = on_piece(_as_profile(span), rows, np.array([low, high]))
    return _Span(low, high, float(z[0]), float(g[0]), float(g[1]), span.radius)


def _as_profile(span: _Span) -> Profile:
    return Profile(
        name="",
        station=np.array([span.start, span.end]),
        elevation=np.array([span.elevation]),
        grade_start=np.array([span.grade_start]),
        grade_end=np.array([span.grade_end]),
        radius=np.array([span.radius]),
    )
