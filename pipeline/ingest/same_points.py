"""Which points of one file are the same point."""

from __future__ import annotations

import numpy as np

from pipeline.model import Floats, Ints

SAME_M = 0.01
"""Points of one file closer than this in space are one: a rounding of centimetres apart."""

_GRAIN = 1e4  # tenths of a millimetre
_MIX = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)


def _keys(points: Floats) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
    """One number a point, equal for points equal to a tenth of a millimetre."""
    grains = np.round(points * _GRAIN).astype(np.int64).view(np.uint64)
    with np.errstate(over="ignore"):
        return np.asarray((grains * _MIX).sum(axis=1, dtype=np.uint64))


def match(points: Floats, among: Floats) -> Ints:
    """Row of `among` that is the same point, -1 where there is none.

    Parameters
    ----------
    points : ndarray, shape (m, 3)
    among : ndarray, shape (n, 3)
        Easting, northing, elevation [m].

    Returns
    -------
    ndarray, shape (m,), int64
        The first row equal to 0.1 mm, else the nearest within `SAME_M`.
    """
    found = np.full(len(points), -1, dtype=np.int64)
    if not len(points) or not len(among):
        return found
    keys, wanted = _keys(among), _keys(points)
    order = np.argsort(keys, kind="stable")
    at = np.asarray(np.searchsorted(keys[order], wanted))
    candidate = np.asarray(order[np.minimum(at, len(order) - 1)])
    equal = (keys[candidate] == wanted) & (
        np.abs(among[candidate] - points).max(axis=1) < 1.01 / _GRAIN
    )
    found[equal] = candidate[equal]
    left = np.flatnonzero(found < 0)
    if left.size:
        from scipy.spatial import cKDTree

        origin = among.min(axis=0)
        distance, nearest = cKDTree(among - origin).query(
            points[left] - origin, distance_upper_bound=SAME_M
        )
        close = np.isfinite(distance)
        found[left[close]] = np.asarray(nearest)[close]
    return found


def first_rows(points: Floats) -> tuple[Ints, Ints]:
    """(rows of the first of equal points, for each point its place among them).

    Parameters
    ----------
    points : ndarray, shape (n, 3)

    Examples
    --------
    >>> a, b = first_rows(np.array([[0, 0, 1.0], [5, 0, 1], [0, 0, 1]]))
    >>> a.tolist(), b.tolist()
    ([0, 1], [0, 1, 0])
    """
    _, first, inverse = np.unique(_keys(points), return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return first[order].astype(np.int64), rank[inverse.ravel()]
