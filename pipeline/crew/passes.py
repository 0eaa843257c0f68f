"""Cut deeper than one pass takes, told by stretch, and where the offset line is painted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.stretches import outermost, runs
from pipeline.model import Corridor, Floats, Ints, Stakes

KEEP_LINE = "keep the painted line in sight until the last pass"


def count(cut: ArrayLike, pass_m: float) -> Ints:
    """Passes of the blade that a cut takes: cut over pass, rounded up; 0 for fill, -1 for NaN.

    Examples
    --------
    >>> count([0.24, 0.10, 0.1001, -0.05, np.nan], 0.10).tolist()
    [3, 1, 2, 0, -1]
    """
    depth = np.asarray(cut, dtype=np.float64)
    # a cut of 0.3 is not a whole pass deeper for the last bit of float64
    whole = np.ceil(np.nan_to_num(depth) / pass_m - 1e-6)
    return np.where(np.isnan(depth), -1, np.clip(whole, 0, None)).astype(np.int64)


@dataclass(frozen=True, slots=True)
class PassRun:
    """A stretch of one side that takes the same number of passes, from lath to lath."""

    side: int
    start: float
    end: float
    passes: int
    most_m: float


def by_stretch(dots: Stakes, pass_m: float) -> tuple[PassRun, ...]:
    """Stretches along each edge that take two passes or more.

    Parameters
    ----------
    dots : Stakes
        Ground against today's layer at every spot; the outermost spot of each side at a
        station is its edge.
    pass_m : float
        What one pass takes off.
    """
    cut = dots.ground - dots.design[:, 0]
    found = []
    for side in (-1, 1):
        rows = _outer_rows(dots, side)
        passes = count(cut[rows], pass_m)
        for a, b in runs(passes.tolist()):
            if passes[a] >= 2:
                most = float(np.nanmax(cut[rows[a:b]]))
                ends = float(dots.station[rows[a]]), float(dots.station[rows[b - 1]])
                found.append(PassRun(side, *ends, int(passes[a]), most))
    return tuple(found)


def _outer_rows(dots: Stakes, side: int) -> Ints:
    """The outermost spot of one side at each station, by station."""
    rows = np.flatnonzero(np.sign(dots.offset) == side)
    order = rows[np.lexsort((-np.abs(dots.offset[rows]), dots.station[rows]))]
    first = np.flatnonzero(np.diff(dots.station[order], prepend=-np.inf) > 1e-6)
    return np.asarray(order[first], dtype=np.int64)


def pass_words(run: PassRun, pass_m: float, unit: Measures = METRIC) -> str:
    """``3 passes: 10 + 10 + 4 cm``, the deepest place of the stretch deciding."""
    whole = run.passes - 1
    rest = unit.small(run.most_m - whole * pass_m)
    if float(rest) == 0:
        rest = f"under {unit.outward(1e-4, 'up')}"
    each = " + ".join([unit.small(pass_m)] * whole + [rest])
    return f"{run.passes} passes: {each} {unit.small_unit}"


def line_from_hub(hub_behind: ArrayLike, extension: ArrayLike, clearance: float) -> Floats:
    """Distance from the hub line in to the painted offset line [m].

    Parameters
    ----------
    hub_behind : array_like
        Hub behind the reference, such as the back of the curb [m].
    extension : array_like
        Edge of today's layer behind the same reference [m].
    clearance : float
        Line outside that edge [m].

    Examples
    --------
    Hubs 1.50 behind the curb, clay to 0.30 behind it, line 0.30 outside the clay:

    >>> round(float(line_from_hub(1.50, 0.30, 0.30)), 3)
    0.9
    """
    behind = np.asarray(hub_behind, dtype=np.float64)
    return behind - (np.asarray(extension, dtype=np.float64) + clearance)


def hub_to_line(
    corridor: Corridor, layer: str, hubs: tuple[Floats, Floats, Floats], clearance: float
) -> Floats:
    """The same for hubs as shot, both sides, each from its own measured place [m].

    Parameters
    ----------
    corridor : Corridor
    layer : str
        Today's layer, which has edges.
    hubs : tuple of ndarray, shape (n,)
        Station, offset, and distance behind the reference.
    clearance : float

    Returns
    -------
    ndarray, shape (n,)
        NaN where no edge is designed; negative where the line lies outside the hubs.
    """
    station, offset, behind = hubs
    extension = np.full(len(station), np.nan)
    for side in (-1, 1):
        rows = np.flatnonzero(np.sign(offset) == side)
        edge, _ = outermost(corridor, layer, side, station[rows])
        reference = np.abs(offset[rows]) - behind[rows]
        extension[rows] = np.abs(edge) - reference
    return line_from_hub(behind, extension, clearance)
