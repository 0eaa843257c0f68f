"""High and low points of a line whose grade is known piece by piece.

On every piece the grade only grows or only falls, so it is zero at most once:
where a parabola's grade crosses it, or a circle's slope reaches it. Grade breaks
and level stretches are extremes too, and no sampling can miss a short one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.model import Bools, Floats

_LEVEL = 1e-9
"""A grade below this is level: 0.1 µm over 100 m."""


@dataclass(frozen=True, slots=True, eq=False)
class Slopes:
    """Grades of m pieces: ``start`` and ``end`` of the profile itself, ``extra`` added evenly.

    ``station`` has m + 1 entries; ``radius`` is infinite but on circles (+ sag);
    ``joined`` (m - 1) is False where the height jumps or is missing between two pieces.
    """

    station: Floats
    start: Floats
    end: Floats
    extra: Floats
    radius: Floats
    joined: Bools


@dataclass(frozen=True, slots=True)
class Turn:
    """Where a line turns from rising to falling or back; ``low`` = ``high`` but where level."""

    kind: Literal["high", "low", "flat"]
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Where the grade keeps one sign, -1, 0 or +1."""

    sign: int
    low: float
    high: float


def turns(slopes: Slopes) -> list[Turn]:
    """Every turn of the line, in order; its ends and jumps are none."""
    found: list[Turn] = []
    run: list[_Stretch] = []
    for i in range(len(slopes.start)):
        if i and not slopes.joined[i - 1]:
            found += _turns_of(run)
            run = []
        if not math.isnan(slopes.start[i] + slopes.extra[i]):
            run += _stretches(slopes, i)
    return found + _turns_of(run)


def _stretches(slopes: Slopes, i: int) -> list[_Stretch]:
    low, high = float(slopes.station[i]), float(slopes.station[i + 1])
    signs = [
        0 if abs(grade) < _LEVEL else int(np.sign(grade))
        for grade in (slopes.start[i] + slopes.extra[i], slopes.end[i] + slopes.extra[i])
    ]
    if signs[0] * signs[1] < 0:
        zero = min(max(_zero(slopes, i), low), high)
        return [_Stretch(signs[0], low, zero), _Stretch(signs[1], zero, high)]
    return [_Stretch(signs[0] or signs[1], low, high)]


def _zero(slopes: Slopes, i: int) -> float:
    """Station at which the grade plus the extra is zero."""
    low, high = float(slopes.station[i]), float(slopes.station[i + 1])
    start, end, extra = (float(a[i]) for a in (slopes.start, slopes.end, slopes.extra))
    radius = float(slopes.radius[i])
    if math.isinf(radius):
        return low + (high - low) * (start + extra) / (start - end)
    # sines of the slope angles grow evenly along the station
    return low + radius * (-extra / math.hypot(1.0, extra) - start / math.hypot(1.0, start))


def _turns_of(run: list[_Stretch]) -> list[Turn]:
    merged: list[_Stretch] = []
    for stretch in run:
        if merged and merged[-1].sign == stretch.sign:
            merged[-1] = _Stretch(stretch.sign, merged[-1].low, stretch.high)
        else:
            merged.append(stretch)
    found = []
    for i, stretch in enumerate(merged):
        before = merged[i - 1].sign if i else 0
        ahead = merged[i + 1].sign if i + 1 < len(merged) else 0
        if stretch.sign == 0:
            found.append(Turn(_kind(before, ahead), stretch.low, stretch.high))
        elif stretch.sign * ahead < 0:
            found.append(Turn(_kind(stretch.sign, ahead), stretch.high, stretch.high))
    return found


def _kind(before: int, ahead: int) -> Literal["high", "low", "flat"]:
    if before * ahead >= 0:
        return "flat"
    return "high" if before > 0 else "low"
