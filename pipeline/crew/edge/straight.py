"""A straight-edge slid along the shot edge, and a long look down it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from pipeline.crew.edge.line import EdgeLine
from pipeline.crew.stretches import outermost, stood_for, true_runs
from pipeline.design import alignment as line
from pipeline.errors import JobError
from pipeline.model import Corridor, Floats
from pipeline.settings_crew import ShotEdgeRules

STEP_M = 0.10
"""The straight-edge is moved on by this much."""


def mid_ordinate(radius: ArrayLike, chord: ArrayLike) -> Floats:
    r"""Distance of an arc from the middle of its chord [m]: :math:`R - \sqrt{R^2 - c^2/4}`.

    Written as :math:`c^2 / 4 / (R + \sqrt{R^2 - c^2/4})`, which loses no digits on flat arcs.

    Examples
    --------
    >>> mid_ordinate([9.0, 60.0, 150.0], 3.0).round(4)
    array([0.1259, 0.0188, 0.0075])
    """
    r = np.asarray(radius, dtype=np.float64)
    quarter = np.asarray(chord, dtype=np.float64) ** 2 / 4.0
    return np.asarray(quarter / (r + np.sqrt(r**2 - quarter)))


@dataclass(frozen=True, slots=True)
class Wobble:
    """Where a straight-edge of one length finds the edge off by more than its limit.

    ``amount_m`` is + where the middle stands out of the street, - where into it, after
    the design's own bend is taken off; ``length_m`` is along the edge.
    """

    side: int
    chord_m: float
    start: float
    end: float
    length_m: float
    station: float
    amount_m: float


@dataclass(frozen=True, slots=True)
class Straightness:
    """What one straight-edge found along one edge line.

    ``tested_m`` of its length has shots close enough for this chord; the rest says nothing.
    """

    side: int
    chord_m: float
    limit_m: float
    length_m: float
    tested_m: float
    worst_m: float
    wobbles: tuple[Wobble, ...]


def straightness(
    corridor: Corridor, layer: str, lines: Sequence[EdgeLine], rules: ShotEdgeRules
) -> tuple[Straightness, ...]:
    """Every straight-edge of the rules, slid along every edge line.

    Raises
    ------
    JobError
        ``edge.chords_m`` and ``edge.chord_limits_m`` are not pairs.

    Notes
    -----
    At each place the ordinate of the shot edge from a chord of the stated length is
    compared with that of the design's edge between the same stations, both in plan: a
    true curve, clothoid or taper leaves nothing. A place is tested only where the shots
    are at most half a chord apart.
    """
    if len(rules.chords_m) != len(rules.chord_limits_m):
        raise JobError(
            "edge.chords_m",
            f"{len(rules.chords_m)} chords but {len(rules.chord_limits_m)} limits",
            "give each chord its limit in edge.chord_limits_m",
        )
    return tuple(
        _slide(corridor, layer, edge, chord, limit)
        for edge in lines
        for chord, limit in zip(rules.chords_m, rules.chord_limits_m, strict=True)
    )


def _slide(
    corridor: Corridor, layer: str, edge: EdgeLine, chord: float, limit: float
) -> Straightness:
    station = np.arange(edge.station[0], edge.station[-1] + 1e-9, STEP_M)
    off, tested = residuals(corridor, layer, edge, station, chord)
    with np.errstate(invalid="ignore"):
        beyond = tested & (np.abs(off) > limit)
    wobbles = []
    for a, b in true_runs(beyond):
        k = a + int(np.argmax(np.abs(off[a:b])))
        start, end = float(station[a]), float(station[b - 1])
        length = edge.tape.between(start, end)
        wobbles.append(
            Wobble(edge.side, chord, start, end, length, float(station[k]), float(off[k]))
        )
    worst = float(off[tested][np.argmax(np.abs(off[tested]))]) if tested.any() else float("nan")
    return Straightness(
        side=edge.side,
        chord_m=chord,
        limit_m=limit,
        length_m=edge.length_m,
        tested_m=float(stood_for(edge.tape.at(station))[tested].sum()),
        worst_m=worst,
        wobbles=tuple(wobbles),
    )


def residuals(
    corridor: Corridor, layer: str, edge: EdgeLine, station: Floats, chord: float
) -> tuple[Floats, np.ndarray]:
    """How far the middle of the edge stands out of a chord, less the design's own [m], (n,).

    The second array is True where the shots are close enough to say so.
    """
    middle, _ = outermost(corridor, layer, edge.side, station)
    element = line.element_of(corridor.alignment, station)
    curvature = line.curvature_on(corridor.alignment, element, station)
    stretch = 1.0 - curvature * middle
    bend = curvature / stretch
    half_angle = np.clip(0.5 * chord * bend, -1.0, 1.0)
    flat = np.abs(bend) < 1e-9
    arc = np.where(flat, 0.5 * chord, np.arcsin(half_angle) / np.where(flat, 1.0, bend))
    reach = arc / stretch
    ordinates = []
    for shot in (True, False):
        x, y = [], []
        for s in (station - reach, station, station + reach):
            limit, _ = outermost(corridor, layer, edge.side, s)
            offset = limit + (edge.side * edge.at(s) if shot else 0.0)
            east, north, _ = line.point_at(corridor.alignment, s, offset)
            x.append(east)
            y.append(north)
        ordinates.append(_ordinate(x, y))
    # left of the chord is +: out of the street on the left, into it on the right
    off = -edge.side * (ordinates[0] - ordinates[1])
    with np.errstate(invalid="ignore"):
        tested = np.isfinite(off)
        for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
            tested &= edge.gap(station + share * reach) <= 0.5 * chord + 1e-9
    return off, tested


def _ordinate(x: list[Floats], y: list[Floats]) -> Floats:
    """Distance of the middle point from the chord of the outer two, + to its left."""
    along_x, along_y = x[2] - x[0], y[2] - y[0]
    across = along_x * (y[1] - y[0]) - along_y * (x[1] - x[0])
    return np.asarray(across / np.hypot(along_x, along_y))


def long_sight(corridor: Corridor, edge: EdgeLine, limit: float) -> tuple[Wobble, ...]:
    """Where the edge leaves the line sighted from end to end of an element of the design.

    A slow snake whose every chord is straight is seen from the end of it. Between the
    ends of each line, arc or clothoid the edge should lie as far out as they do, in
    proportion; told where it is off by more than `limit`.
    """
    found = []
    ends = corridor.alignment.station
    for first, last in pairwise(ends):
        a, b = max(first, edge.station[0]), min(last, edge.station[-1])
        inside = (edge.station > a) & (edge.station < b)
        if b - a <= 0 or not inside.any():
            continue
        station = np.concatenate([[a], edge.station[inside], [b]])
        out = edge.at(station)
        off = out - np.interp(station, [a, b], [out[0], out[-1]])
        k = int(np.argmax(np.abs(off)))
        if abs(off[k]) > limit:
            start, end = float(a), float(b)
            length = edge.tape.between(start, end)
            found.append(
                Wobble(edge.side, length, start, end, length, float(station[k]), float(off[k]))
            )
    return tuple(found)
