"""How widely values spread, measured so that a few bad ones do not decide."""

from __future__ import annotations

import numpy as np

from pipeline.model.arrays import Floats

MAD_TO_SD = 1.4826
"""Median absolute deviation -> standard deviation of a normal sample.

Huber, Robust Statistics, 1981, from memory; checked against scipy's normal distribution.
"""


def robust_spread(values: Floats) -> float:
    """1.4826 times the median absolute deviation of the values that are there; 0 of none.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where none is known; the spread is in their unit.

    Examples
    --------
    >>> round(robust_spread(np.array([1.0, 2.0, 3.0, float("nan")])), 4)
    1.4826
    """
    there = values[~np.isnan(values)]
    if not len(there):
        return 0.0
    return MAD_TO_SD * float(np.median(np.abs(there - np.median(there))))
