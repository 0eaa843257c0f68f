"""Alignment and profile as elements of LandXML: what the model says, point by point."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.errors import OutputError
from pipeline.model import Alignment, Profile

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(32)
_SAME_GRADE = 1e-9
_SAME_HEIGHT_M = 1e-6

Quote = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class _Element:
    """One element with curvature linear along it: start (E, N), azimuth, length, curvatures."""

    easting: float
    northing: float
    azimuth: float
    length: float
    start: float
    end: float

    def at(self, along: float) -> tuple[float, float, float]:
        r"""Easting, northing and azimuth at a distance from the start.

        Notes
        -----
        :math:`\\int \\sin\\alpha`, :math:`\\int \\cos\\alpha` by 32 Gauss-Legendre points: under
        a nanometre for elements up to 400 m that turn less than once round.
        """
        rate = (self.end - self.start) / self.length
        s = 0.5 * along * (1.0 + _NODES)
        angle = self.azimuth + s * (self.start + 0.5 * rate * s)
        east = self.easting + 0.5 * along * float(_WEIGHTS @ np.sin(angle))
        north = self.northing + 0.5 * along * float(_WEIGHTS @ np.cos(angle))
        return east, north, self.azimuth + along * (self.start + 0.5 * rate * along)

    def halves(self) -> tuple[_Element, ...]:
        """Itself, or two where the curve changes sides: LandXML knows one side an element."""
        if self.start * self.end >= 0.0:
            return (self,)
        along = self.length * self.start / (self.start - self.end)
        east, north, azimuth = self.at(along)
        before = _Element(self.easting, self.northing, self.azimuth, along, self.start, 0.0)
        return before, _Element(east, north, azimuth, self.length - along, 0.0, self.end)


def alignment_lines(
    alignment: Alignment, profile: Profile | None, metres: float, quote: Quote
) -> Iterator[str]:
    """The ``Alignment`` element, line by line.

    Parameters
    ----------
    alignment : Alignment
    profile : Profile or None
        A stretch without heights parts it in two ``ProfAlign``.
    metres : float
        Metres in the file's unit.
    quote : callable
        Text -> attribute value with its quotes.
    """
    length = float(alignment.station[-1] - alignment.station[0]) / metres
    start = float(alignment.station[0]) / metres
    yield (
        f"<Alignment name={quote(alignment.name)} length={_attribute(length)}"
        f" staStart={_attribute(start)}>\n<CoordGeom>\n"
    )
    for element in _elements(alignment):
        for part in element.halves():
            yield _geometry(part, metres)
    yield "</CoordGeom>\n"
    for internal, back, ahead in alignment.equations:
        stations = (("staAhead", ahead), ("staBack", back), ("staInternal", internal))
        words = " ".join(f"{name}={_attribute(value / metres)}" for name, value in stations)
        yield f'<StaEquation {words} desc=""/>\n'
    if profile is not None:
        yield from _profile(profile, metres, quote)
    yield "</Alignment>\n"


def _elements(alignment: Alignment) -> Iterator[_Element]:
    columns = (
        alignment.easting,
        alignment.northing,
        alignment.azimuth,
        np.diff(alignment.station),
        alignment.curvature_start,
        alignment.curvature_end,
    )
    for row in zip(*(column.tolist() for column in columns), strict=True):
        yield _Element(*row)


def _geometry(element: _Element, metres: float) -> str:
    east, north, azimuth = element.at(element.length)
    begin = _point("Start", element.easting, element.northing, metres)
    end = _point("End", east, north, metres)
    length = f"length={_attribute(element.length / metres)}"
    if element.start == element.end == 0.0:
        return f"<Line {length}>{begin}{end}</Line>\n"
    turn = 'rot="cw"' if element.start + element.end > 0.0 else 'rot="ccw"'
    if element.start == element.end:
        radius = 1.0 / element.start
        centre = _point(
            "Center",
            element.easting + radius * math.cos(element.azimuth),
            element.northing - radius * math.sin(element.azimuth),
            metres,
        )
        chord = math.dist((element.easting, element.northing), (east, north)) / metres
        form = f"chord={_attribute(chord)} {length} radius={_attribute(abs(radius) / metres)}"
        return f'<Curve {turn} crvType="arc" {form}>{begin}{centre}{end}</Curve>\n'
    radii = " ".join(
        f"{name}={_attribute(_radius(value) / metres)}"
        for name, value in (("radiusStart", element.start), ("radiusEnd", element.end))
    )
    constant = math.sqrt(element.length / abs(element.end - element.start)) / metres
    form = f'{length} {radii} {turn} spiType="clothoid" constant={_attribute(constant)}'
    return f"<Spiral {form}>{begin}{_pi(element, (east, north, azimuth), metres)}{end}</Spiral>\n"


def _radius(curvature: float) -> float:
    return math.inf if curvature == 0.0 else 1.0 / abs(curvature)


def _pi(element: _Element, end: tuple[float, float, float], metres: float) -> str:
    """Where the tangents at both ends of a spiral meet; nothing where they do not."""
    east, north, azimuth = end
    turned = math.sin(azimuth - element.azimuth)
    if abs(turned) < 1e-9:
        return ""
    de, dn = east - element.easting, north - element.northing
    along = (de * math.cos(azimuth) - dn * math.sin(azimuth)) / -turned
    return _point(
        "PI",
        element.easting + along * math.sin(element.azimuth),
        element.northing + along * math.cos(element.azimuth),
        metres,
    )


def _point(name: str, easting: float, northing: float, metres: float) -> str:
    return f"<{name}>{_number(northing / metres)} {_number(easting / metres)}</{name}>"


def _number(value: float) -> str:
    """To a millionth of the file's unit, never ``-0.000000``."""
    return f"{round(value, 6) + 0.0:.6f}"


def _attribute(value: float) -> str:
    return '"INF"' if math.isinf(value) else f'"{_number(value)}"'


@dataclass(frozen=True, slots=True)
class _Piece:
    """One piece of a profile: stations, height at the start, grades, radius."""

    start: float
    end: float
    elevation: float
    grade_in: float
    grade_out: float
    radius: float

    @property
    def length(self) -> float:
        return self.end - self.start

    @property
    def curved(self) -> bool:
        return self.grade_in != self.grade_out

    @property
    def rise(self) -> float:
        """Height at the end above the start; on a circle by the half angle of both slopes."""
        if math.isinf(self.radius):
            return 0.5 * self.length * (self.grade_in + self.grade_out)
        a, b = math.atan(self.grade_in), math.atan(self.grade_out)
        return self.length * math.tan(0.5 * (a + b))


def _profile(profile: Profile, metres: float, quote: Quote) -> Iterator[str]:
    runs: list[list[_Piece]] = [[]]
    columns = (
        profile.station[:-1], profile.station[1:], profile.elevation, profile.grade_start,
        profile.grade_end, profile.radius,
    )  # fmt: skip
    for row in zip(*(column.tolist() for column in columns), strict=True):
        piece = _Piece(*row)
        if not math.isnan(piece.elevation):
            runs[-1].append(piece)
        elif runs[-1]:
            runs.append([])
    runs = [run for run in runs if run]
    if not runs:
        raise OutputError(
            f'LandXML profile "{profile.name}"', "it has no height anywhere", "leave it out"
        )
    yield "<Profile>\n"
    for number, run in enumerate(runs, start=1):
        name = profile.name if len(runs) == 1 else f"{profile.name}, part {number}"
        yield f"<ProfAlign name={quote(name)}>\n"
        yield from _points(run, metres)
        yield "</ProfAlign>\n"
    yield "</Profile>\n"


def _points(run: list[_Piece], metres: float) -> Iterator[str]:
    """PVI by PVI: both ends, grade breaks, and one a vertical curve."""
    yield _row("PVI", run[0].start, run[0].elevation, metres)
    k = 0
    while k < len(run):
        piece = run[k]
        if piece.curved and k + 1 < len(run) and _unsymmetric(piece, run[k + 1]):
            after = run[k + 1]
            height = piece.elevation + piece.grade_in * piece.length
            lengths = {"lengthIn": piece.length, "lengthOut": after.length}
            yield _row("UnsymParaCurve", piece.end, height, metres, lengths)
            k, piece = k + 1, after
        elif piece.curved:
            yield _curve(piece, metres)
        k += 1
        breaks = k < len(run) and abs(piece.grade_out - run[k].grade_in) > _SAME_GRADE
        if breaks or k == len(run):
            yield _row("PVI", piece.end, piece.elevation + piece.rise, metres)


def _unsymmetric(piece: _Piece, after: _Piece) -> bool:
    """True for two parabolas whose outer tangents meet over the joint: one curve of two halves."""
    if not (after.curved and math.isinf(piece.radius) and math.isinf(after.radius)):
        return False
    over = piece.elevation + piece.grade_in * piece.length
    back = after.elevation + after.rise - after.grade_out * after.length
    return (
        abs(piece.grade_out - after.grade_in) <= _SAME_GRADE and abs(over - back) <= _SAME_HEIGHT_M
    )


def _curve(piece: _Piece, metres: float) -> str:
    if math.isinf(piece.radius):
        half = 0.5 * piece.length
        height = piece.elevation + piece.grade_in * half
        return _row("ParaCurve", piece.start + half, height, metres, {"length": piece.length})
    a, b = math.atan(piece.grade_in), math.atan(piece.grade_out)
    tangent = abs(piece.radius * math.tan(0.5 * (b - a)))
    lengths = {"length": abs(piece.radius * (b - a)), "radius": piece.radius}
    station = piece.start + tangent * math.cos(a)
    return _row("CircCurve", station, piece.elevation + tangent * math.sin(a), metres, lengths)


def _row(
    kind: str,
    station: float,
    elevation: float,
    metres: float,
    lengths: dict[str, float] | None = None,
) -> str:
    words = "".join(
        f" {name}={_attribute(value / metres)}" for name, value in (lengths or {}).items()
    )
    return f"<{kind}{words}>{_number(station / metres)} {_number(elevation / metres)}</{kind}>\n"
