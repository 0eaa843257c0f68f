"""At which stations hubs stand: where something changes, and often enough between."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from pipeline.crew.hubs.extremes import HighLow, along_break, along_line
from pipeline.crew.hubs.stakes import Marks
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.stretches import multiples
from pipeline.design import alignment as line
from pipeline.design import equations, grade_line
from pipeline.model import Corridor, Floats
from pipeline.settings import LayoutRules

_SLACK_M = 1e-6
_RUN_M = 1.05
"""Rows of an eased change stand closer than this: half a metre, a metre where it is straight."""
_PARTS = (1, 2, 4, 5, 10, 20, 40, 50, 100)
"""What an interval is divided by: the stations stay round."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a hub stands at a station: ``rank`` 0 is kept before 1; empty ``what`` for an interval.

    ``offset`` is that of the thing itself where it is not on the line.
    """

    station: float
    rank: int
    what: str
    offset: float = 0.0


def covered(corridor: Corridor) -> tuple[float, float]:
    """First and last station that alignment, profile and section table all reach."""
    reaches = [corridor.alignment.station, corridor.profile.station]
    tables = [layer.station for layer in corridor.layers if layer.surface is None]
    first = max(float(at[0]) for at in reaches)
    last = min(float(at[-1]) for at in reaches)
    if tables:
        first = max(first, min(float(at[0]) for at in tables))
        last = min(last, max(float(at[-1]) for at in tables))
    return first, last


def line_reasons(corridor: Corridor, marks: Marks = ()) -> list[Reason]:
    """What changes along the line: its ends, curves, vertical curves, sections, crown extremes.

    ``marks`` are points with names of their own, such as the quarters of a curb return,
    instead of the plain ends.
    """
    ends = {"start", "end"} if marks else set()
    found = [
        Reason(at, 0, what) for at, what in line.key_points(corridor.alignment) if what not in ends
    ]
    found += [Reason(at, 0, what) for at, what in marks]
    found += [Reason(at, 2, what) for at, what in grade_line.curve_points(corridor.profile)]
    tables = [layer.station for layer in corridor.layers if layer.surface is None]
    changes = np.unique(np.concatenate(tables)) if tables else np.empty(0)
    # an eased change has rows every half metre: its two ends are what is set
    gap = np.diff(changes, prepend=-np.inf, append=np.inf)
    changes = changes[(gap[:-1] > _RUN_M) | (gap[1:] > _RUN_M)]
    first, last = covered(corridor)
    inside = (changes > first + _SLACK_M) & (changes < last - _SLACK_M)
    found += [Reason(float(at), 1, "section") for at in changes[inside]]
    found += [_turning(point) for point in along_line(corridor)]
    return [reason for reason in found if first - _SLACK_M <= reason.station <= last + _SLACK_M]


def edge_reasons(corridor: Corridor, names: tuple[str, ...], side: int) -> list[Reason]:
    """High and low points of named breaks along one side of the street."""
    return [_turning(point) for name in names for point in along_break(corridor, name, side)]


def _turning(point: HighLow) -> Reason:
    return Reason(point.station, 3, f"{point.mark} {point.what}", point.offset)


def interval_reasons(corridor: Corridor, rules: LayoutRules, offsets: Floats) -> list[Reason]:
    r"""Round stations, so close together that no chord leaves its curve by more than allowed.

    Parameters
    ----------
    corridor : Corridor
    rules : LayoutRules
        Interval and the two tolerances.
    offsets : ndarray, shape (k,)
        Offsets [m] at which hubs stand; the farthest out decides.

    Returns
    -------
    list of Reason
        Multiples of the interval, or of it over 2, 4, 5, 10 …, counted in the
        stations that people read, so the next list has the same ones.

    Notes
    -----
    A hub line at offset o along curvature k has the radius R = (1 - k o)/k; its
    chord may be s = sqrt(8 R m) long, which is s/(1 - k o) of the alignment. On a
    vertical curve s = sqrt(8 m / z''), the same as sqrt(800 K m). Both are the
    parabola of the middle ordinate; the true one is larger by a share below s²/(48 R²).
    """
    first, last = covered(corridor)
    alignment, heights = corridor.alignment, corridor.profile
    cuts = np.concatenate([alignment.station, heights.station])
    cuts = np.unique([first, *cuts[(cuts > first) & (cuts < last)], last])
    found = []
    for start, end in itertools.pairwise(cuts):
        allowed = _longest(corridor, float(start), float(end), rules, offsets)
        part = next(
            (rules.interval_m / n for n in _PARTS if rules.interval_m / n <= allowed),
            rules.interval_m / _PARTS[-1],
        )
        for region in equations.regions(alignment):
            low, high = max(start, region.start), min(end, region.end)
            if high < low:
                continue
            stations = multiples(region.station(low), region.station(high), part)
            found += [Reason(region.chain(float(at)), 4, "") for at in stations]
    return found


def _longest(
    corridor: Corridor, start: float, end: float, rules: LayoutRules, offsets: Floats
) -> float:
    """Longest step along the alignment on one stretch of one element and one grade piece."""
    alignment, heights = corridor.alignment, corridor.profile
    middle = np.array([0.5 * (start + end)])
    element = line.element_of(alignment, middle)
    ends = [float(line.curvature_on(alignment, element, np.array([at]))[0]) for at in (start, end)]
    allowed = np.inf
    for k in ends:
        widest = max(float(np.max(1.0 - k * offsets)), 0.01)
        if k:
            allowed = min(allowed, np.sqrt(8.0 * rules.sagitta_m / (abs(k) * widest)))
    piece = grade_line.piece_of(heights, middle)
    grades = [
        float(grade_line.on_piece(heights, piece, np.array([at]))[1][0]) for at in (start, end)
    ]
    radius = float(heights.radius[piece][0])
    bend = abs(grades[1] - grades[0]) / (end - start)
    if np.isfinite(radius):
        bend = (1.0 + max(g * g for g in grades)) ** 1.5 / abs(radius)
    if bend > 1e-12:
        allowed = min(allowed, np.sqrt(8.0 * rules.sagitta_height_m / bend))
    return float(allowed)


def merged(
    reasons: list[Reason], apart: float, unit: Measures = METRIC
) -> list[tuple[Reason, tuple[str, ...]]]:
    """One reason a place, the most telling, with the words of those that fall on it.

    Reasons nearer than `apart` to one of a better rank (or the same and earlier)
    give way; what they were is told with their distance where it is over 5 mm.
    """
    kept: list[tuple[Reason, list[str]]] = []
    for reason in sorted(reasons, key=lambda one: (one.rank, one.station, one.what)):
        near = [pair for pair in kept if abs(pair[0].station - reason.station) < apart]
        if not near:
            kept.append((reason, []))
            continue
        owner, words = min(near, key=lambda pair: abs(pair[0].station - reason.station))
        away = reason.station - owner.station
        told = reason.what
        if told and abs(away) > 0.005:
            told += f" {unit.long(abs(away), 0.01)} {unit.unit} {'ahead' if away > 0 else 'back'}"
        if told and told != owner.what and told not in words:
            words.append(told)
    kept.sort(key=lambda pair: pair[0].station)
    return [(owner, tuple(words)) for owner, words in kept]


def bridged(
    corridor: Corridor, rules: LayoutRules, offsets: Floats,
    chosen: list[tuple[Reason, tuple[str, ...]]],
) -> list[tuple[Reason, tuple[str, ...]]]:  # fmt: skip
    """The chosen stations with one more between two that are too far apart.

    A round station that gives way to a near point leaves the next gap longer than a
    chord may be.
    """
    found = chosen[:1]
    for before, after in itertools.pairwise(chosen):
        start, end = before[0].station, after[0].station
        if end - start > _longest(corridor, start, end, rules, offsets) + 1e-6:
            found.append((Reason(0.5 * (start + end), 5, ""), ()))
        found.append(after)
    return found


def stretch(corridor: Corridor, offsets: Floats) -> float:
    """How many metres of station a metre of the shortest hub line is worth, at most 10."""
    alignment = corridor.alignment
    ends = np.concatenate([alignment.curvature_start, alignment.curvature_end])
    shortest = float(np.min(1.0 - ends[:, None] * offsets[None, :], initial=1.0))
    return 1.0 / max(shortest, 0.1)
