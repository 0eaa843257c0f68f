"""How widely residuals spread, measured so that a few bad ones do not decide."""

from __future__ import annotations

import numpy as np

from pipeline.model import Floats


def robust_spread(values: Floats) -> float:
    """1.4826 times the median absolute deviation of the values that are there; 0 of none.

    Notes
    -----
    1.4826 makes it the standard deviation of a normal sample (Huber, Robust Statistics, 1981,
    from memory; checked against scipy's normal distribution).

    Examples
    --------
    >>> round(robust_spread(np.array([1.0, 2.0, 3.0, float("nan")])), 4)
    1.4826
    """
    there = values[~np.isnan(values)]
    if not len(there):
        return 0.0
    return 1.4826 * float(np.median(np.abs(there - np.median(there))))
