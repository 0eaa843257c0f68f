"""Many convex polygons at once, laid end to end in flat arrays.

Polygon k owns corners ``start[k]:start[k + 1]``, counter-clockwise; no polygon
is empty. A row of ``columns`` is anything linear over the polygon: an easting,
a height, a difference. Cutting carries all of them along.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.model import Floats, Ints
from pipeline.surface.cells import runs
from pipeline.surface.trim import twice_area


def starts(count: NDArray[np.integer]) -> Ints:
    """Running start of each polygon, and the total behind the last."""
    start = np.zeros(len(count) + 1, dtype=np.int64)
    np.cumsum(count, out=start[1:])
    return start


def following(start: Ints) -> Ints:
    """The next corner of each corner, round its own polygon."""
    after = np.arange(1, start[-1] + 1)
    after[start[1:] - 1] = start[:-1]
    return after


def clip(columns: Floats, start: Ints, inside: Floats) -> tuple[Floats, Ints, Ints]:
    """Polygons cut back to where a linear value is not negative.

    Parameters
    ----------
    columns : ndarray, shape (c, n)
        Linear values at the corners; rows are cut alike.
    start : ndarray, shape (p + 1,)
        Where each polygon starts.
    inside : ndarray, shape (n,)
        The value that decides, at the corners.

    Returns
    -------
    columns : ndarray, shape (c, m)
    start : ndarray, shape (q + 1,)
    kept : ndarray, shape (q,)
        Which of the given polygons are left, in their order. One that keeps
        fewer than three corners only touched the line and is gone.

    Notes
    -----
    One half-plane of I. E. Sutherland and G. W. Hodgman, "Reentrant polygon
    clipping", Communications of the ACM 17 (1974), for all polygons together.
    A crossing is always reckoned from its inner end, so that two polygons that
    share the edge get the same point to the last bit.

    Examples
    --------
    The unit square left of x = 0.25:

    >>> square = np.array([[0.0, 1.0, 1.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
    >>> columns, start, kept = clip(square, np.array([0, 4]), 0.25 - square[0])
    >>> columns.tolist(), start.tolist(), kept.tolist()
    ([[0.0, 0.25, 0.25, 0.0], [0.0, 0.0, 1.0, 1.0]], [0, 4], [0])
    """
    after = following(start)
    there = inside[after]
    keep = inside >= 0
    cross = ((inside > 0) & (there < 0)) | ((inside < 0) & (there > 0))
    emitted = keep.astype(np.int64) + cross
    count = np.add.reduceat(emitted, start[:-1]) if len(start) > 1 else emitted
    alive = count >= 3
    corner_alive = np.repeat(alive, np.diff(start))
    keep &= corner_alive
    cross &= corner_alive
    emitted *= corner_alive
    place = np.cumsum(emitted) - emitted
    new_start = starts(count[alive])
    out = np.empty((len(columns), new_start[-1]))
    out[:, place[keep]] = columns[:, keep]
    here = np.flatnonzero(cross)
    ahead = after[here]
    inner = np.where(inside[here] > 0, here, ahead)
    outer = np.where(inside[here] > 0, ahead, here)
    share = inside[inner] / (inside[inner] - inside[outer])
    base = columns[:, inner]
    out[:, place[here] + keep[here]] = base + share * (columns[:, outer] - base)
    return out, new_start, np.flatnonzero(alive)


def take(columns: Floats, start: Ints, chosen: Ints) -> tuple[Floats, Ints]:
    """The polygons at `chosen`, in that order."""
    count = np.diff(start)[chosen]
    return columns[:, runs(start[:-1][chosen], count)], starts(count)


def fan(start: Ints) -> tuple[Ints, Ints]:
    """Triangles of every polygon from its first corner.

    Returns
    -------
    triangles : ndarray, shape (t, 3)
        Corner numbers, counter-clockwise.
    owner : ndarray, shape (t,)
        The polygon of each.
    """
    count = np.diff(start) - 2
    owner = np.repeat(np.arange(len(count)), count)
    second = runs(start[:-1] + 1, count)
    return np.stack((start[:-1][owner], second, second + 1), axis=1), owner


def corner_weights(x: Floats, y: Floats) -> Floats:
    """Weights by which the corners of triangles give the place (0, 0), (n, 3) as the corners."""
    weight = np.roll(x, -1, axis=1) * np.roll(y, -2, axis=1)
    weight -= np.roll(y, -1, axis=1) * np.roll(x, -2, axis=1)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def triangle_areas(x: Floats, y: Floats, triangles: NDArray[np.integer]) -> Floats:
    """Plan areas [m2], + where counter-clockwise, from coordinates near zero."""
    return np.asarray(0.5 * twice_area(x, y, triangles))
