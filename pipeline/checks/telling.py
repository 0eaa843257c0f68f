"""What every check says in the same words: which shots, where, and what it costs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model import Feet, Finding, Floats, Shots
from pipeline.units import Called, format_length, format_side, format_station


def at(finding: Finding, shots: Shots, rows: ArrayLike, feet: Feet | None = None) -> Finding:
    """The finding with the ids of all `rows`, and file, line and place of the first."""
    chosen = np.asarray(rows, dtype=np.int64)
    first = int(chosen[0])
    place = (math.nan, math.nan)
    if feet is not None:
        place = float(feet.station[first]), float(feet.offset[first])
    return replace(
        finding,
        points=tuple(str(shots.id[row]) for row in chosen),
        file=shots.files[shots.file[first]],
        line=int(shots.line[first]),
        station=place[0],
        offset=place[1],
    )


def volume_text(volume_m3: float, load_m3: float) -> str:
    """Cubic metres of compacted clay, and the truck loads they are.

    Examples
    --------
    >>> volume_text(3.2, 7.2), volume_text(16.0, 7.2), volume_text(0.02, 7.2)
    ('3.2 m3 (0.4 loads)', '16.0 m3 (2.2 loads)', 'less than 0.1 m3')
    """
    if volume_m3 < 0.05:
        return "less than 0.1 m3"
    loads = format_length(volume_m3 / load_m3, step=0.1)
    return f"{format_length(volume_m3, step=0.1)} m3 ({loads} loads)"


def millimetres(value_m: float) -> str:
    """A signed length in whole millimetres: ``+12 mm``."""
    whole = round(value_m * 1000.0)
    return f"{whole:+d} mm" if whole else "0 mm"


def stretch_text(station: Floats, called: Called = format_station) -> str:
    """``0+120.0 to 0+150.0``; one station where it is the same."""
    low, high = (called(float(end)) for end in (np.min(station), np.max(station)))
    return low if low == high else f"{low} to {high}"


def side_text(side: int) -> str:
    """`` left``, `` right``, or nothing for the crown; to stand behind a break's name."""
    return {"L": " left", "R": " right", "CL": ""}[format_side(float(side))]
