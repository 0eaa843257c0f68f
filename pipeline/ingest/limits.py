"""What can be a coordinate or a height on Earth, and what stands for none."""

from __future__ import annotations

import numpy as np

from pipeline.model import Bools, Floats

COORDINATE_M = 1e8
"""Beyond this no grid has coordinates: the largest false eastings are some tens of millions."""

LOWEST_M, HIGHEST_M = -500.0, 9000.0
"""No ground on Earth lies outside this: Dead Sea shore -430 m, highest summit 8849 m [memory]."""

ZERO_GAP_M = 10.0
"""A height of exactly 0 is taken for a missing one if all others are farther from 0 than this."""

NO_HEIGHT = frozenset(
    sign * value
    for sign in (1.0, -1.0)
    for value in (9999.0, 9999.9, 9999.99, 9999.999, 32767.0, 32768.0, 99999.0, 999999.0)
)
"""Numbers, in the file's own unit, that common practice writes for no height (no source)."""


def no_height(raw: Floats, metres: Floats) -> Bools:
    """True where a height is one of `NO_HEIGHT` or none on Earth.

    Parameters
    ----------
    raw, metres : ndarray, shape (n,)
        The height in the file's unit and in metres.
    """
    odd = ~((metres >= LOWEST_M) & (metres <= HIGHEST_M))
    if bool((np.abs(raw) >= 9999.0).any()):
        odd |= np.isin(raw, np.array(sorted(NO_HEIGHT)))
    return odd


def zero_heights(metres: Floats) -> Bools:
    """True where a height is exactly 0 while every other lies more than `ZERO_GAP_M` from 0."""
    zero: Bools = metres == 0.0
    others = np.abs(metres[~zero])
    if not zero.any() or not others.size or others.min() <= ZERO_GAP_M:
        return np.zeros(len(metres), dtype=np.bool_)
    return zero


def no_place(easting: Floats, northing: Floats) -> Bools:
    """True where a coordinate [m] is beyond every grid, or not finite."""
    inside: Bools = (np.abs(easting) < COORDINATE_M) & (np.abs(northing) < COORDINATE_M)
    return ~inside
