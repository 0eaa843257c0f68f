"""A traverse: angles balanced, closure stated, legs balanced by the compass rule."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from pipeline.control.reduction import ARCSECOND, Corrections, mean_faces, sights, turn
from pipeline.errors import InputError
from pipeline.model import Finding, Findings, Floats, Observations, Shots, Traverse, texts

LINEAR_RATIO = 5000.0
"""A traverse that closes worse than one in this many is not balanced in silence [assumed]."""
ANGULAR_ARCSEC = 10.0
"""Angular misclosure allowed, times the square root of the number of angles [assumed]."""
HEIGHT_M = 0.012
"""Height misclosure allowed, times the square root of the length in km [assumed]."""


def balance_angles(
    opening_azimuth: float, angles: ArrayLike, closing_azimuth: float
) -> tuple[Floats, float]:
    """Azimuths of the legs, the angular misclosure shared out evenly.

    Parameters
    ----------
    opening_azimuth : float
        From the first station to its backsight [rad].
    angles : array_like, shape (n,)
        At each station in turn, clockwise from backsight to foresight [rad].
    closing_azimuth : float
        From the last station to its foresight [rad].

    Returns
    -------
    azimuths : ndarray, shape (n,)
        From each station to the next [rad], in [0, 2 pi); the last is the closing one.
    misclosure : float
        Measured minus known [rad], the short way round.

    Notes
    -----
    Azimuth = azimuth of the backsight + angle; the next backsight is that turned by
    pi. An equal share each: angles measured alike err alike.

    Examples
    --------
    Round a square; the last foresight looks back along the first backsight, and the
    four angles hold 9 seconds too much:

    >>> import numpy as np
    >>> az, off = balance_angles(0.0, np.radians([90.0, 90.0, 90.0, 90.0025]), np.pi)
    >>> round(float(np.degrees(off)), 4), np.degrees(az).round(3).tolist()
    (0.0025, [89.999, 359.999, 269.998, 180.0])
    """
    turned = np.asarray(angles, dtype=np.float64)
    n = len(turned)
    if not n:
        raise InputError("traverse", "no angle", "measure one at every station")
    steps = np.arange(1, n + 1)
    measured = opening_azimuth + np.cumsum(turned) - np.pi * (steps - 1)
    misclosure = float(turn(measured[-1] - closing_azimuth))
    return np.mod(measured - misclosure * steps / n, 2.0 * np.pi) % (2.0 * np.pi), misclosure


def compass_rule(
    azimuth: ArrayLike,
    length: ArrayLike,
    start: tuple[float, float],
    end: tuple[float, float],
    points: tuple[str, ...] | None = None,
) -> Traverse:
    """A traverse from `start` to `end`, its closure shared in proportion to leg length.

    Parameters
    ----------
    azimuth, length : array_like, shape (m,)
        Each leg: clockwise from grid north [rad], grid distance [m].
    start, end : tuple of float
        Known (easting, northing) of the first and last station; equal for a loop.
    points : tuple of str, optional
        The m + 1 station names.

    Returns
    -------
    Traverse
        Balanced legs and stations, closure (measured minus known) and ratio.
        A ratio below 1/5000 [assumed] is a ``stop`` finding. Elevations are NaN.

    Raises
    ------
    InputError
        No leg, arrays of two lengths, or a leg without length.

    Notes
    -----
    Compass (Bowditch) rule: leg i takes - closure × length i / perimeter, in easting
    and in northing. Checked against REF-TS-9 and REF-TS-10.
    """
    a, d = np.asarray(azimuth, dtype=np.float64), np.asarray(length, dtype=np.float64)
    if a.shape != d.shape or not d.size or not (np.isfinite(a).all() and (d > 0).all()):
        found = f"{a.size} azimuths and {d.size} lengths, each length to be over zero"
        raise InputError("traverse", found, "give every leg its azimuth and its length")
    names = points or tuple(str(k + 1) for k in range(len(d) + 1))
    departure, latitude = d * np.sin(a), d * np.cos(a)
    off_e = float(departure.sum()) - (end[0] - start[0])
    off_n = float(latitude.sum()) - (end[1] - start[1])
    perimeter = float(d.sum())
    departure = departure - off_e * d / perimeter
    latitude = latitude - off_n * d / perimeter
    closure = math.hypot(off_e, off_n)
    # a closure of float noise is none
    ratio = perimeter / closure if closure > 1e-12 * perimeter else math.inf
    return Traverse(
        point=texts(names),
        azimuth=a,
        length=d,
        latitude=latitude,
        departure=departure,
        easting=start[0] + np.concatenate([[0.0], np.cumsum(departure)]),
        northing=start[1] + np.concatenate([[0.0], np.cumsum(latitude)]),
        elevation=np.full(len(d) + 1, np.nan),
        angular_misclosure=math.nan,
        misclosure_e=off_e,
        misclosure_n=off_n,
        misclosure_z=math.nan,
        perimeter=perimeter,
        ratio=ratio,
        findings=_linear(names, closure, ratio),
    )


def ratio_text(ratio: float) -> str:
    """Closure as the trade writes it, to the lower hundred: ``1/15 100``; ``exact``.

    Examples
    --------
    >>> ratio_text(15146.3), ratio_text(635.2), ratio_text(math.inf)
    ('1/15 100', '1/635', 'exact')
    """
    if math.isinf(ratio):
        return "exact"
    whole = math.floor(ratio / 100.0) * 100 if ratio >= 1000.0 else math.floor(ratio)
    return f"1/{whole:,}".replace(",", " ")


def _linear(names: tuple[str, ...], closure: float, ratio: float) -> Findings:
    if ratio >= LINEAR_RATIO:
        return ()
    text = (
        f"traverse {names[0]} to {names[-1]} closes {closure:.3f} m off, {ratio_text(ratio)};"
        f" {ratio_text(LINEAR_RATIO)} asked for"
    )
    return (Finding("stop", "traverse closure", text, "measure again; do not use its points"),)


def _need(rows: list[int], name: str, other: str, what: str) -> None:
    if not rows:
        found = f"no {what} from {name} to {other}"
        raise InputError(f"traverse at {name}", found, "sight it, or correct the route")


def _rows(book: Observations, here: str, there: str) -> list[int]:
    return [
        row for row in range(len(book)) if book.occupied[row] == here and book.target[row] == there
    ]


def _angles(book: Observations, route: tuple[str, ...], ends: tuple[str, str]) -> Floats:
    """Clockwise angle at each station of the route; several sightings are meaned."""
    before = (ends[0], *route[:-1])
    after = (*route[1:], ends[1])
    angles = []
    for here, back, ahead in zip(route, before, after, strict=True):
        means = []
        for there, what in ((back, "backsight"), (ahead, "foresight")):
            rows = _rows(book, here, there)
            _need(rows, here, there, what)
            readings = book.horizontal[rows]
            means.append(float(readings[0] + np.mean(turn(readings - readings[0]))))
        angles.append(float(np.mod(means[1] - means[0], 2.0 * np.pi)))
    return np.array(angles)


def _legs(
    book: Observations, route: tuple[str, ...], corrections: Corrections
) -> tuple[Floats, Floats]:
    """Grid length and rise of each leg; there and back are meaned, the rise with its sign."""
    distance, rise = sights(book, corrections)
    lengths, rises = [], []
    for here, there in pairwise(route):
        ahead, back = _rows(book, here, there), _rows(book, there, here)
        both = [row for row in ahead + back if not math.isnan(distance[row])]
        _need(both, here, there, "distance")
        lengths.append(float(np.mean(distance[both])))
        # a direction alone, without distance or zenith angle, has no rise
        ways = [sign * rise[use] for sign, use in ((1.0, ahead), (-1.0, back))]
        known = [np.nanmean(way) for way in ways if np.isfinite(way).any()]
        rises.append(float(np.mean(known)) if known else math.nan)
    return np.array(lengths), np.array(rises)


def traverse(
    observations: Observations,
    route: tuple[str, ...],
    ends: tuple[str, str],
    control: Shots,
    corrections: Corrections | None = None,
) -> Traverse:
    """A traverse along `route` between known points, from the sightings of the day.

    Parameters
    ----------
    observations : Observations
        Set-ups on every point of the route, each sighting the one before and the
        one after; faces are meaned here, sightings there and back averaged.
    route : tuple of str
        Points occupied in order; the first and the last are known.
    ends : tuple of str
        Known points sighted to open (from the first) and to close (from the last).
    control : Shots
        Holds the four known points.
    corrections : Corrections, optional
        As for `setups.reduce_observations`.

    Returns
    -------
    Traverse
        Balanced in angle, then by the compass rule; heights balanced with length.
        Misclosures beyond the limits are ``stop`` findings.

    Raises
    ------
    InputError
        A route of one point, a known point that is missing, or a sighting missing.
    """
    if len(route) < 2:
        raise InputError("traverse", f"a route of {len(route)} points", "name two or more")
    known = {str(name): row for row, name in enumerate(control.id)}
    for name in (route[0], route[-1], *ends):
        if name not in known:
            raise InputError(f"traverse point {name}", "is not among the control", "add it")
    rows = [known[name] for name in (ends[0], route[0], route[-1], ends[1])]
    place = np.column_stack([control.easting[rows], control.northing[rows]])
    east, north = (place[[0, 3]] - place[[1, 2]]).T
    opening, closing = np.arctan2(east, north)
    book = mean_faces(observations)[0]
    fixes = corrections or Corrections()
    azimuths, off = balance_angles(float(opening), _angles(book, route, ends), float(closing))
    lengths, rises = _legs(book, route, fixes)
    flat = compass_rule(
        azimuths[:-1], lengths, tuple(place[1].tolist()), tuple(place[2].tolist()), route
    )
    return _lifted(flat, off, rises, (control.elevation[rows[1]], control.elevation[rows[2]]))


def _lifted(flat: Traverse, angular: float, rises: Floats, ends: tuple[float, float]) -> Traverse:
    """The same traverse with heights balanced along it and its angular misclosure told."""
    off = float(rises.sum()) - (ends[1] - ends[0])
    shares = flat.length / flat.perimeter
    up = ends[0] + np.concatenate([[0.0], np.cumsum(rises - off * shares)])
    found = list(flat.findings)
    limit = ANGULAR_ARCSEC * math.sqrt(len(flat.point))
    name = f"traverse {flat.point[0]} to {flat.point[-1]}"
    if abs(angular) / ARCSECOND > limit:
        text = f"{name}: angles close {angular / ARCSECOND:+.0f} seconds off, {limit:.0f} allowed"
        found.append(Finding("stop", "traverse angles", text, "look for a wrong sighting"))
    allowed = HEIGHT_M * math.sqrt(max(flat.perimeter / 1000.0, 0.1))
    if abs(off) > allowed:
        text = f"{name}: heights close {off:+.3f} m off, {allowed:.3f} allowed"
        found.append(Finding("stop", "traverse heights", text, "look at the rod heights"))
    return replace(
        flat, elevation=up, angular_misclosure=angular, misclosure_z=off, findings=tuple(found)
    )
