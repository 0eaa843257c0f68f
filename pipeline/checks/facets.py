"""Triangles that run flat over a break of the design, or span ground that nobody shot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.checks.coverage import Missing
from pipeline.checks.references import Breaks, break_at, edges, offset_at, section_height
from pipeline.checks.telling import stretch_text, volume_text
from pipeline.model import Bools, BreakLine, Finding, Findings, Floats, Ints
from pipeline.model.arrays import lock_fields
from pipeline.model.telling import counted
from pipeline.settings import CheckRules
from pipeline.units import Called, format_station

LEAST_M3 = 0.05
"""A triangle that leaves out less is not told [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """m triangles on the grid: longest edge [m], area [m2], and True where they are designed."""

    length: Floats
    area: Floats
    inside: Bools

    def __post_init__(self) -> None:
        m = len(self.length)
        lock_fields(self, dict.fromkeys(("length", "area"), (np.float64, (m,))))
        lock_fields(self, {"inside": (np.bool_, (m,))})


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """Triangles by the station and offset of their corners: (n,) each, and (m, 3) rows.

    ``plan`` is given where the design has several parts: station and offset are no lengths
    around a bulb, and its middle has no section.
    """

    station: Floats
    offset: Floats
    triangles: Ints
    plan: Plan | None = None

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "offset"), (np.float64, (n,))))
        lock_fields(self, {"triangles": (np.int64, (None, 3))})


def flat_facets(section: Breaks, facets: Facets, reach_m: float) -> tuple[Bools, Floats]:
    """Triangles that cross an inner break of today's layer without a corner on it.

    Parameters
    ----------
    section : sequence of BreakLine
        All breaks of the layer from left to right; the outer two are not asked for.
    facets : Facets
    reach_m : float
        A corner this near to the break is on it [m].

    Returns
    -------
    flat : bool (m,)
    lost : ndarray, shape (m,)
        What each leaves out of the design [m3], + where it runs below; 0 elsewhere.

    Notes
    -----
    Exact where the design is linear between the corners and the break: the design less
    the triangle is zero at the corners and linear between them and the break. By
    station and offset, as in `missing_breaks`.
    """
    flat = np.zeros(len(facets.triangles), dtype=bool)
    lost = np.zeros(len(flat))
    for line in section[1:-1]:
        out = facets.offset - offset_at(line, facets.station)
        corner = out[facets.triangles]
        over = (corner > reach_m).any(axis=1) & (corner < -reach_m).any(axis=1)
        over &= (np.abs(corner) > reach_m).all(axis=1)
        rows = np.flatnonzero(over)
        if len(rows):
            flat[rows] = True
            rise = _rise(section, facets, facets.triangles[rows].ravel(), line)
            lost[rows] += _lost(facets, rows, out, rise)
    return flat, np.nan_to_num(lost)


def _rise(section: Breaks, facets: Facets, corners: Ints, line: BreakLine) -> Floats:
    """Design over the break at the corners named, free of the street's grade; else NaN, (n,)."""
    rise = np.full(len(facets.station), np.nan)
    station, offset = facets.station[corners], facets.offset[corners]
    height = section_height(section, station, np.clip(offset, *edges(section, station)))
    rise[corners] = height - break_at(line, station)[1]
    return rise


def _lost(facets: Facets, rows: Ints, out: Floats, rise: Floats) -> Floats:
    """Volume between break and triangle: a corner alone on its side, the other two opposite."""
    corners = facets.triangles[rows]
    right = out[corners] > 0
    # turn each triangle so that the corner alone on its side comes first
    lone = np.where(right.sum(axis=1) == 1, right.argmax(axis=1), (~right).argmax(axis=1))
    turn = (lone[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(corners, turn, axis=1).T
    places = np.column_stack([facets.station, facets.offset])

    def crossing(one: Ints, other: Ints) -> tuple[Floats, Floats]:
        share = (out[one] / (out[one] - out[other]))[:, None]
        place = places[one] + share * (places[other] - places[one])
        return place, -(rise[one] + share[:, 0] * (rise[other] - rise[one]))

    p, over_p = crossing(a, b)
    q, over_q = crossing(a, c)
    tip = _area(places[a], p, q) * (over_p + over_q)
    first = _area(p, places[b], places[c]) * over_p
    second = _area(p, places[c], q) * (over_p + over_q)
    return (tip + first + second) / 3.0


def _area(a: Floats, b: Floats, c: Floats) -> Floats:
    u, v = b - a, c - a
    return np.asarray(0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]))


def facet_findings(
    facets: Facets,
    flat: Bools,
    lost: ArrayLike,
    told: Sequence[Missing],
    rules: CheckRules,
    called: Called = format_station,
) -> Findings:
    """One finding for the triangles that run flat over a break, outside the stretches told."""
    volume = np.asarray(lost, dtype=np.float64)
    middle = facets.station[facets.triangles].mean(axis=1)
    for one in told:
        flat = flat & ~((middle >= one.start) & (middle <= one.end))
    flat = flat & (np.abs(volume) > LEAST_M3)
    if not flat.any():
        return ()
    worth = volume_text(float(np.abs(volume[flat]).sum()), rules.load_m3)
    worst = middle[flat][np.argmax(np.abs(volume[flat]))]
    text = (
        f"{counted(int(flat.sum()), 'triangle')} over a break of the design without a corner on it,"
        f" {stretch_text(middle[flat], called)}, most at {called(float(worst))}: {worth}"
    )
    do = "shoot the break there, or code it as a line so that the triangles follow it"
    return (Finding("person", "break not followed", text, do, station=float(middle[flat].min())),)


def long_facets(section: Breaks, facets: Facets, longest_m: float) -> Bools:
    """Triangles on today's layer with an edge longer than `longest_m`: not surveyed, (m,)."""
    if facets.plan is not None:
        return np.asarray(facets.plan.inside & (facets.plan.length > longest_m), dtype=bool)
    station, offset = facets.station[facets.triangles.T], facets.offset[facets.triangles.T]
    sides = [np.hypot(station[k] - station[k - 1], offset[k] - offset[k - 1]) for k in range(3)]
    long = np.maximum(np.maximum(sides[0], sides[1]), sides[2]) > longest_m
    corners = facets.triangles[long]
    middle = np.column_stack([facets.station, facets.offset])[corners].mean(axis=1)
    left, right = edges(section, middle[:, 0])
    long[long] = (middle[:, 1] >= left) & (middle[:, 1] <= right)
    return np.asarray(long, dtype=bool)


def long_findings(
    facets: Facets,
    long: Bools,
    longest_m: float,
    rules: CheckRules,
    called: Called = format_station,
) -> Findings:
    """One finding for all ground on the street that only long triangles span."""
    if not long.any():
        return ()
    places = np.column_stack([facets.station, facets.offset])[facets.triangles[long]]
    areas = _area(places[:, 0], places[:, 1], places[:, 2])
    area = float((areas if facets.plan is None else facets.plan.area[long]).sum())
    text = (
        f"{area:.0f} m2 of the street lie under triangles with an edge over {longest_m:g} m,"
        f" {stretch_text(places[:, :, 0], called)}: not surveyed; each centimetre there is"
        f" {volume_text(0.01 * area, rules.load_m3)}"
    )
    do = "shoot there, or take nothing from the numbers of that stretch"
    return (Finding("person", "not surveyed", text, do, station=float(places[:, :, 0].min())),)
