"""Lengths of the street that are alike, and a design layer carried on past its edge."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from pipeline.compare.streets import inward, reach_of
from pipeline.design import corridor as sections
from pipeline.model import Bools, Corridor, Floats

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


def stations(corridor: Corridor, step: float) -> Floats:
    """Stations each `step` metres over the whole street, both ends included."""
    first, last = reach_of(corridor)
    inner = np.arange(np.ceil(first / step), np.floor(last / step) + 1) * step
    return np.unique(np.clip(np.concatenate([[first], inner, [last]]), first, last))


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

    NaN where the layer is not designed at that station at all.
    """
    z = np.array(sections.elevation(corridor, station, offset, layer))
    out = np.flatnonzero(np.isnan(z))
    for side in (-1, 1):
        rows = out[np.sign(offset[out]) == side]
        if not len(rows):
            continue
        edge, level = outermost(corridor, layer, side, station[rows])
        fall = sections.crossfall(corridor, station[rows], edge - side * _INSIDE_M, layer)
        beyond = side * (offset[rows] - edge) > 0
        z[rows] = np.where(beyond, level + fall * (offset[rows] - edge), np.nan)
    return z
