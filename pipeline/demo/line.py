"""The true line of the demo street: where it runs in plan and how high.

The plan is the numerical integral of the tangent, the profile the closed form
of two parabolas about each point of intersection.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model.arrays import Floats, Ints


@dataclass(frozen=True, slots=True)
class Element:
    """One piece of the line; ``turn`` +1 right, -1 left, 0 straight; radii in metres."""

    kind: Literal["line", "clothoid", "arc"]
    length: float
    radius_start: float = math.inf
    radius_end: float = math.inf
    turn: int = 0


@dataclass(frozen=True, slots=True)
class Pvi:
    """One point of intersection of the profile and the halves of its curve [m]."""

    station: float
    elevation: float
    curve_in: float = 0.0
    curve_out: float = 0.0


START_EASTING = 5240.000
START_NORTHING = 3110.000
START_AZIMUTH_DEG = 62.5
"""Degrees clockwise from grid north."""

ELEMENTS = (
    Element("line", 85.0),
    Element("clothoid", 30.0, math.inf, 120.0, +1),
    Element("arc", 75.0, 120.0, 120.0, +1),
    Element("clothoid", 30.0, 120.0, math.inf, +1),
    Element("line", 60.0),
    Element("arc", 90.0, 200.0, 200.0, -1),
    Element("line", 50.0),
)
LENGTH = 420.0

PROFILE = (
    Pvi(0.0, 102.000),
    Pvi(120.0, 103.800, 30.0, 50.0),
    Pvi(290.0, 101.760, 40.0, 40.0),
    Pvi(420.0, 102.930),
)
CREST, SAG = 1, 2
"""Rows of `PROFILE` with a crest and with a sag."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(32)


@dataclass(frozen=True, slots=True, eq=False)
class _Starts:
    """Each element where it begins: metres, radians, 1/m and 1/m2; ``rate`` is of curvature."""

    station: Floats
    easting: Floats
    northing: Floats
    azimuth: Floats
    curvature: Floats
    rate: Floats


def point(station: ArrayLike, offset: ArrayLike = 0.0) -> tuple[Floats, Floats]:
    r"""True easting and northing of a station and offset.

    Parameters
    ----------
    station : array_like
        Station [m], 0 to 420; broadcast against `offset`.
    offset : array_like
        Square to the line [m], right +.

    Returns
    -------
    easting, northing : ndarray
        Metres on the job grid; NaN off the ends of the line.

    Notes
    -----
    :math:`E(s) = \int \sin\alpha\,ds`, :math:`N(s) = \int \cos\alpha\,ds` with the azimuth
    :math:`\alpha` quadratic in each element, by 32-point Gauss-Legendre over
    each element. It turns at most 0.63 rad in one element, so the rule's own
    error is far below float64 rounding: under 1e-12 m about the start, 2e-12 m
    with these coordinates.
    """
    s, o = np.broadcast_arrays(np.asarray(station, np.float64), np.asarray(offset, np.float64))
    starts = _starts()
    row = _row(s)
    east, north = _advance(starts, row, s - starts.station[row])
    alpha = azimuth(s)
    return (
        starts.easting[row] + east + o * np.cos(alpha),
        starts.northing[row] + north - o * np.sin(alpha),
    )


def azimuth(station: ArrayLike) -> Floats:
    """Azimuth of the line [rad], clockwise from grid north; NaN off its ends."""
    s = np.asarray(station, dtype=np.float64)
    starts = _starts()
    row = _row(s)
    u = s - starts.station[row]
    alpha = starts.azimuth[row] + starts.curvature[row] * u + 0.5 * starts.rate[row] * u**2
    return _on_line(s, alpha)


def curvature(station: ArrayLike) -> Floats:
    """Curvature of the line [1/m], right +; NaN off its ends."""
    s = np.asarray(station, dtype=np.float64)
    starts = _starts()
    row = _row(s)
    bend = starts.curvature[row] + starts.rate[row] * (s - starts.station[row])
    return _on_line(s, bend)


def profile(station: ArrayLike) -> Floats:
    r"""True height of the finished crown [m]; NaN off the ends of the line.

    Notes
    -----
    About a point of intersection with halves :math:`l_1, l_2` and grades
    :math:`g_1, g_2` the curve leaves the tangents by :math:`e\,(x/l)^2`, x from
    the near end of the half, with :math:`e = l_1 l_2 (g_2 - g_1) / 2(l_1 + l_2)`.
    """
    s = np.asarray(station, dtype=np.float64)
    z = np.interp(s, [p.station for p in PROFILE], [p.elevation for p in PROFILE])
    for row in (CREST, SAG):
        pvi, middle = PROFILE[row], _middle_ordinate(row)
        along_in = np.clip((s - pvi.station + pvi.curve_in) / pvi.curve_in, 0.0, None)
        along_out = np.clip((pvi.station + pvi.curve_out - s) / pvi.curve_out, 0.0, None)
        z = z + middle * np.where(s <= pvi.station, along_in, along_out) ** 2
    return _on_line(s, z)


def grades(row: int) -> tuple[float, float]:
    """Grade into and out of a point of intersection [m/m], uphill +."""
    before, at, after = PROFILE[row - 1 : row + 2]
    return (
        (at.elevation - before.elevation) / (at.station - before.station),
        (after.elevation - at.elevation) / (after.station - at.station),
    )


def turning(row: int, extra: float = 0.0) -> float:
    r"""Station at which the grade plus `extra` is zero on the curve at `row`.

    Notes
    -----
    The grade on the first half is :math:`g_1 + 2 e x/l_1^2`, on the second
    :math:`g_2 - 2 e y/l_2^2`, y back from its end; both are linear.
    """
    pvi, middle = PROFILE[row], _middle_ordinate(row)
    grade_in, grade_out = grades(row)
    x = -(grade_in + extra) * pvi.curve_in**2 / (2.0 * middle)
    if 0.0 <= x <= pvi.curve_in:
        return pvi.station - pvi.curve_in + x
    y = (grade_out + extra) * pvi.curve_out**2 / (2.0 * middle)
    return pvi.station + pvi.curve_out - y


def high_point() -> tuple[float, float]:
    """Station and height of the crest of the profile."""
    station = turning(CREST)
    return station, float(profile(station))


def low_point() -> tuple[float, float]:
    """Station and height of the bottom of the sag of the profile."""
    station = turning(SAG)
    return station, float(profile(station))


def _on_line(station: Floats, values: Floats) -> Floats:
    """The values; NaN where a station lies off the ends of the line."""
    return np.where((station >= 0.0) & (station <= LENGTH), values, np.nan)


def _middle_ordinate(row: int) -> float:
    """Height of the curve over the point of intersection [m], - below it."""
    pvi = PROFILE[row]
    grade_in, grade_out = grades(row)
    both = pvi.curve_in + pvi.curve_out
    return pvi.curve_in * pvi.curve_out * (grade_out - grade_in) / (2.0 * both)


def _row(station: Floats) -> Ints:
    """The element that each station lies on."""
    starts = _starts().station
    return np.clip(np.searchsorted(starts, station, side="right") - 1, 0, len(starts) - 1)


def _advance(starts: _Starts, row: Ints, u: Floats) -> tuple[Floats, Floats]:
    """Easting and northing gained over `u` metres from the start of element `row`."""
    half = 0.5 * u[..., None]
    t = half * (1.0 + _NODES)
    alpha = (
        starts.azimuth[row][..., None]
        + starts.curvature[row][..., None] * t
        + 0.5 * starts.rate[row][..., None] * t**2
    )
    return (
        half[..., 0] * (np.sin(alpha) @ _WEIGHTS),
        half[..., 0] * (np.cos(alpha) @ _WEIGHTS),
    )


@functools.cache
def _starts() -> _Starts:
    """Station, place, azimuth, curvature and its rate at the start of each element."""
    length = np.array([e.length for e in ELEMENTS])
    bend_start = np.array([e.turn / e.radius_start for e in ELEMENTS])
    bend_end = np.array([e.turn / e.radius_end for e in ELEMENTS])
    turned = 0.5 * (bend_start + bend_end) * length
    starts = _Starts(
        station=_before(length),
        easting=np.zeros(len(length)),
        northing=np.zeros(len(length)),
        azimuth=math.radians(START_AZIMUTH_DEG) + _before(turned),
        curvature=bend_start,
        rate=(bend_end - bend_start) / length,
    )
    east, north = _advance(starts, np.arange(len(length)), length)
    starts.easting[:] = START_EASTING + _before(east)
    starts.northing[:] = START_NORTHING + _before(north)
    return starts


def _before(steps: Floats) -> Floats:
    """Sum of the steps before each."""
    return np.concatenate([[0.0], np.cumsum(steps)[:-1]])
