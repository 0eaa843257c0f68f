"""Lengths of the street that are alike, and a design layer carried on past its edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from pipeline.compare.streets import inward, reach_of
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.model import Alignment, Bools, Corridor, Floats
from pipeline.model.arrays import lock_fields

TAPE_STEP_M = 0.10
"""A tape is laid through places this far apart: on R 3 its chords are 0.05 mm a metre short."""
_INSIDE_M = 0.005  # the fall of the outermost strip is read this far inside its edge


def runs(labels: Sequence[object] | np.ndarray) -> list[tuple[int, int]]:
    """First row and row after the last of every run of equal labels, in order.

    Examples
    --------
    >>> runs(["a", "a", "b"])
    [(0, 2), (2, 3)]
    """
    n = len(labels)
    if not n:
        return []
    change = [k for k in range(1, n) if labels[k] != labels[k - 1]]
    bounds = [0, *change, n]
    return list(pairwise(bounds))


def true_runs(flags: Bools) -> list[tuple[int, int]]:
    """Runs of True, as `runs` gives them."""
    step = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(step == 1), np.flatnonzero(step == -1)
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def multiples(first: float, last: float, step: float) -> Floats:
    """Whole multiples of a step from one number to another; an end a hair off is one of them.

    Examples
    --------
    >>> multiples(0.1, 60.0, 20.0).tolist()
    [20.0, 40.0, 60.0]
    """
    count = np.arange(np.ceil(first / step - 1e-9), np.floor(last / step + 1e-9) + 1)
    return np.asarray(count * step, dtype=np.float64)


def stations(corridor: Corridor, step: float) -> Floats:
    """Stations each `step` metres over the whole street, both ends included."""
    first, last = reach_of(corridor)
    inner = multiples(first, last, step)
    return np.unique(np.clip(np.concatenate([[first], inner, [last]]), first, last))


@dataclass(frozen=True, slots=True, eq=False)
class Tape:
    """A measuring tape laid along a line beside the street: an edge, an offset line, a path.

    In a bend a metre along the street is more or less than a metre along its edge; what the
    crew measures, paints and builds is measured there.
    """

    station: Floats
    distance: Floats

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "distance"), (np.float64, (n,))))

    def at(self, station: ArrayLike) -> Floats:
        """Reading of the tape beside stations [m]; off its ends that of the end."""
        return np.interp(np.asarray(station, dtype=np.float64), self.station, self.distance)

    def between(self, start: float, end: float) -> float:
        """Metres along the line from beside one station to beside another."""
        return float(self.at(end) - self.at(start))


def lay_tape(alignment: Alignment, station: Floats, offset: Floats) -> Tape:
    """A tape through places beside a line, straight from each to the next.

    Parameters
    ----------
    alignment : Alignment
    station : ndarray, shape (n,)
        Increasing, close enough that chords stand for the bend.
    offset : ndarray, shape (n,)
        Places that are NaN are passed by.
    """
    known = np.isfinite(offset)
    s, o = station[known], offset[known]
    east, north, _ = line.point_at(alignment, s, o)
    steps = np.hypot(np.diff(east), np.diff(north))
    return Tape(s, np.concatenate([np.zeros(min(len(s), 1)), np.cumsum(steps)]))


def edge_tape(corridor: Corridor, layer: str, side: int, station: Floats) -> Tape:
    """A tape along a layer's designed edge from the first to the last of some stations."""
    inner = np.arange(station[0], station[-1], TAPE_STEP_M)
    every = np.unique(np.concatenate([inner, station]))
    offset, _ = outermost(corridor, layer, side, every)
    return lay_tape(corridor.alignment, every, offset)


def metre_beside(alignment: Alignment, station: Floats, offset: Floats) -> Floats:
    r"""Metres at an offset for a metre of the line: :math:`1 - \kappa o`, never below 0.

    An area on the ground is the integral of this over station and offset, so a volume is
    exact where heights are summed with it; for a section that stays the same that is Pappus'
    rule, area times the way of its centroid.
    """
    element = line.element_of(alignment, station)
    curvature = line.curvature_on(alignment, element, station)
    return np.asarray(np.clip(1.0 - curvature * offset, 0.0, None))


def stood_for(distance: Floats) -> Floats:
    """Length that each of some places along a line stands for [m]: half way to either side."""
    half = 0.5 * np.diff(distance)
    return np.asarray(np.concatenate([[0.0], half]) + np.concatenate([half, [0.0]]))


def edge_layer(corridor: Corridor, target: str) -> str:
    """Today's layer if it has edges, else the lowest layer that has; empty where none has."""
    if any(layer.name == target and layer.surface is None for layer in corridor.layers):
        return target
    with_breaks = [layer.name for layer in corridor.layers if layer.surface is None]
    return with_breaks[-1] if with_breaks else ""


def outermost(
    corridor: Corridor, layer: str, side: int, station: ArrayLike
) -> tuple[Floats, Floats]:
    """Offset and elevation of the outermost break there is on one side; NaN where none is.

    Nor is there an edge where another part of the design goes on outside it, as in a mouth.
    """
    s = np.atleast_1d(np.asarray(station, dtype=np.float64))
    offset, elevation = np.full(len(s), np.nan), np.full(len(s), np.nan)
    chosen = corridor.layer(layer)
    for name, of in zip(chosen.breaks, chosen.side, strict=True):
        if of not in (side, 0):
            continue
        o, z = sections.break_line(corridor, layer, name, of, s)
        with np.errstate(invalid="ignore"):
            farther = np.isfinite(z) & ~(side * o <= side * offset)
        offset, elevation = np.where(farther, o, offset), np.where(farther, z, elevation)
    inside = inward(corridor, layer, side, (s, offset))
    return np.where(inside, np.nan, offset), np.where(inside, np.nan, elevation)


def carried(corridor: Corridor, layer: str, station: Floats, offset: Floats) -> Floats:
    """Elevation of a section layer, carried on past its edge at the outermost fall [m].

    Parameters
    ----------
    corridor : Corridor
    layer : str
    station : ndarray, shape (n,)
    offset : ndarray, shape (n,) or (n, c)
        One or several at each station.

    Returns
    -------
    ndarray, as `offset`
        NaN where the layer is not designed at that station at all.
    """
    beside = offset.reshape(len(station), -1)
    z = np.array(sections.elevation(corridor, station[:, None], beside, layer))
    off = np.isnan(z)
    for side in (-1, 1):
        out = off & (np.sign(beside) == side)
        rows = np.flatnonzero(out.any(axis=1))
        if not len(rows):
            continue
        edge, level = outermost(corridor, layer, side, station[rows])
        fall = sections.crossfall(corridor, station[rows], edge - side * _INSIDE_M, layer)
        past = beside[rows] - edge[:, None]
        on = np.where(side * past > 0, level[:, None] + fall[:, None] * past, np.nan)
        z[rows] = np.where(out[rows], on, z[rows])
    return z.reshape(offset.shape)
