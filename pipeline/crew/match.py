"""Which of two sets of places are the same place."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from pipeline.model import Floats, Ints

Places: TypeAlias = tuple[Floats, Floats]
"""Easting and northing of n places [m]."""
TIE_M = 25.0
"""A tie is no longer than this: one tape [assumed]."""


def match(known: Places, found: Places, reach_m: float) -> Ints:
    """For each found place the known place that it is, -1 for none.

    The nearest pair is taken first and each place is used once, so two lids side by
    side are not both taken for the same one.

    Parameters
    ----------
    known, found : tuple of ndarray, shapes (n,) and (m,)
    reach_m : float
        Two places farther apart are two.

    Returns
    -------
    ndarray, shape (m,), int
    """
    result = np.full(len(found[0]), -1, dtype=np.int64)
    if not len(known[0]) or not len(found[0]):
        return result
    apart = np.hypot(found[0][:, None] - known[0][None, :], found[1][:, None] - known[1][None, :])
    taken = np.zeros(len(known[0]), dtype=bool)
    rows, columns = np.nonzero(apart <= reach_m)
    for k in np.argsort(apart[rows, columns], kind="stable"):
        row, column = rows[k], columns[k]
        if result[row] < 0 and not taken[column]:
            result[row] = column
            taken[column] = True
    return result


def ties(place: tuple[float, float], marks: Places) -> Ints:
    """Up to three marks, nearest first, whose distances fix a place again.

    Two of them are never in line with the place within 30 degrees: such distances
    cross too flat to find anything by. Fewer than three: there are no more.

    Parameters
    ----------
    place : tuple of float
        Easting and northing [m].
    marks : tuple of ndarray, shape (n,)
        Places that can be found again, such as hubs.
    """
    east, north = marks[0] - place[0], marks[1] - place[1]
    away = np.hypot(east, north)
    chosen: list[int] = []
    for k in np.argsort(away, kind="stable"):
        if not 0.0 < away[k] <= TIE_M or len(chosen) == 3:
            continue
        sines = [abs(east[k] * north[j] - north[k] * east[j]) / away[k] / away[j] for j in chosen]
        if all(sine >= 0.5 - 1e-12 for sine in sines):
            chosen.append(int(k))
    return np.array(chosen, dtype=np.int64)
