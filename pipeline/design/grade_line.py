"""The profile used: height, grade and turning points at stations along it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pipeline.design.turning import Slopes, turns
from pipeline.model import Extreme, Floats, Ints, Profile

SLACK_M = 1e-6
"""Files round their stations to a micrometre: the profile reaches this much past its ends."""


def on_piece(profile: Profile, piece: Ints, station: Floats) -> tuple[Floats, Floats]:
    """Elevation [m] and grade [m/m] at stations, each on the piece with the given number.

    Notes
    -----
    A circle is written by its slope's sine u, which grows evenly along the
    station: ``z - z0 = x (u + u0) / (cos + cos0)``, without the radius's cancellation.
    """
    x = station - profile.station[piece]
    length = np.diff(profile.station)[piece]
    g0, g1 = profile.grade_start[piece], profile.grade_end[piece]
    radius = profile.radius[piece]
    grade = g0 + (g1 - g0) * (x / length)
    rise = 0.5 * x * (g0 + grade)
    circle = np.isfinite(radius)
    if circle.any():
        u0 = g0 / np.sqrt(1.0 + g0 * g0)
        u = np.clip(u0 + x / radius, -1.0, 1.0)
        cos0, cos = np.sqrt(1.0 - u0 * u0), np.sqrt(1.0 - u * u)
        with np.errstate(divide="ignore"):
            grade = np.where(circle, u / cos, grade)
        rise = np.where(circle, x * (u + u0) / (cos + cos0), rise)
    return profile.elevation[piece] + rise, grade


def piece_of(profile: Profile, station: ArrayLike) -> Ints:
    """Number of the piece at each station; at a joint the one ahead, off the ends the nearest."""
    piece = np.searchsorted(profile.station, station, side="right") - 1
    return np.asarray(np.clip(piece, 0, len(profile.elevation) - 1), dtype=np.int64)


def elevation(profile: Profile, station: ArrayLike) -> Floats:
    """Elevation of the profile [m] at stations [m]; NaN off its ends and where it is contradicted.

    Examples
    --------
    A 60 m sag, -2.0 % to +1.5 %, whose PVI stands at 0+200 and 50.000 m:

    >>> from pipeline.design.profile import build
    >>> from pipeline.model import ProfileRow, ProfileRows
    >>> rows = (ProfileRow(100, 52.0), ProfileRow(200, 50.0, 30, 30), ProfileRow(300, 51.5))
    >>> elevation(build(ProfileRows("sag", rows))[0], [170, 200, 230, 400]).round(4)
    array([50.6   , 50.2625, 50.45  ,     nan])
    """
    return _on_profile(profile, station)[0]


def grade(profile: Profile, station: ArrayLike) -> Floats:
    """Grade of the profile [m/m], uphill +; at a grade break the one ahead; NaN off its ends."""
    return _on_profile(profile, station)[1]


def _on_profile(profile: Profile, station: ArrayLike) -> tuple[Floats, Floats]:
    s = np.asarray(station, dtype=np.float64)
    z, g = on_piece(profile, piece_of(profile, s), s)
    on = (s >= profile.station[0] - SLACK_M) & (s <= profile.station[-1] + SLACK_M)
    return np.where(on, z, np.nan), np.where(on, g, np.nan)


def turning_points(profile: Profile) -> tuple[Extreme, ...]:
    """High and low points of the profile, and level stretches, in order of station.

    A level stretch between a rise and a fall is one high point with two stations;
    between two rises it is ``flat``. The ends of the profile are no extremes.
    """
    m = len(profile.elevation)
    slopes = Slopes(
        station=profile.station,
        start=profile.grade_start,
        end=profile.grade_end,
        extra=np.zeros(m),
        radius=profile.radius,
        joined=np.isfinite(profile.elevation[:-1]) & np.isfinite(profile.elevation[1:]),
    )
    return tuple(
        Extreme(turn.kind, turn.low, turn.high, float(elevation(profile, turn.low)))
        for turn in turns(slopes)
    )


def curve_points(profile: Profile) -> tuple[tuple[float, str], ...]:
    """Stations where vertical curves begin and end, with the trade's names.

    Returns
    -------
    tuple of (station, what)
        ``PVC`` and ``PVT`` at the ends of a curve, ``PVCC`` and ``PVRC`` where two
        meet that bend the same way and opposite ways, ``PVI`` at a grade break.
    """
    bend = np.sign(profile.grade_end - profile.grade_start)
    found = []
    for i in range(1, len(bend)):
        before, ahead = bend[i - 1], bend[i]
        if np.isnan(before + ahead):
            continue
        names = {(True, False): "PVT", (False, True): "PVC", (False, False): "PVI"}
        both = "PVCC" if before == ahead else "PVRC"
        found.append((float(profile.station[i]), names.get((before != 0, ahead != 0), both)))
    return tuple(found)
