"""Least squares, said once.

Observations with their standard deviations go in; unknowns, residuals and how far
to trust both come out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import InputError
from pipeline.model import Floats

W_LIMIT = 3.29
"""A residual over its own standard deviation beyond this is an outlier: two-sided
0.1 % of the normal distribution, the level that goes with W. Baarda, A testing
procedure for use in geodetic networks (1968); from memory, the figure itself checked
against scipy's normal distribution."""

POINT_LIMIT = -2.0 * math.log(0.001)
"""The same 0.1 % for the two residuals of a point in plan taken together (chi-square
with two degrees of freedom, whose upper tail is exp(-x / 2))."""

_RANK = 1e-8
"""Singular values this much smaller than the largest mean that unknowns cannot be told
apart; columns are scaled to length one first, so units do not matter."""

_CHECKED = 1e-9
"""A smaller share of its own error in its residual, and an observation is unchecked."""


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Least-squares unknowns x (u,), their cofactors (u, u), and the n residuals.

    ``residual`` is observed minus adjusted, ``residual_cofactor`` (n, n) its cofactors
    from the stated standard deviations; ``checked`` (n,) is the share of an error
    that its own residual would show, 0 where nothing checks the observation.
    ``sigma0`` is 1 when the residuals are as large as the stated standard deviations
    promise, NaN without redundancy.
    """

    x: Floats
    cofactor: Floats
    residual: Floats
    residual_cofactor: Floats
    checked: Floats
    sigma0: float
    redundancy: int

    @property
    def standard_error(self) -> Floats:
        """Standard errors of x, shape (u,): as stated, or larger if sigma0 says so."""
        worst = max(1.0, self.sigma0) if self.redundancy > 0 else 1.0
        return np.asarray(np.sqrt(np.diag(self.cofactor)) * worst)

    @property
    def w(self) -> Floats:
        """Residuals over their standard deviations, shape (n,); NaN where unchecked."""
        w = np.full(len(self.residual), np.nan)
        shown = self.checked > _CHECKED
        w[shown] = self.residual[shown] / np.sqrt(np.diag(self.residual_cofactor)[shown])
        return w


def solve(
    design: ArrayLike, observed: ArrayLike, sigma: ArrayLike, names: tuple[str, ...], what: str
) -> Solution:
    """Unknowns that make the weighted squares of the residuals smallest.

    Parameters
    ----------
    design : array_like, shape (n, u)
        Change of each observation per unit of each unknown.
    observed : array_like, shape (n,)
        Observed minus computed, in the unit of its own sigma.
    sigma : array_like, shape (n,)
        Standard deviation of each observation, greater than zero.
    names : tuple of str
        The u unknowns, for the refusal.
    what : str
        What is being adjusted, for the refusal.

    Raises
    ------
    InputError
        Fewer observations than unknowns, or unknowns that the observations cannot
        tell apart; the message names them.

    Notes
    -----
    Singular values of the scaled design, no normal equations, so nothing is squared
    before it has to be.
    """
    a = np.asarray(design, dtype=np.float64)
    spread = np.asarray(sigma, dtype=np.float64)
    n, u = a.shape
    if n < u:
        found = f"{n} observations for {u} unknowns ({', '.join(names)})"
        raise InputError(what, found, "observe more known points")
    weighted = a / spread[:, None]
    lengths = np.linalg.norm(weighted, axis=0)
    left, values, right = np.linalg.svd(weighted / np.where(lengths > 0, lengths, 1.0), False)
    if not values[-1] > _RANK * values[0]:
        loose = [name for name, part in zip(names, right[-1], strict=True) if abs(part) > 0.1]
        found = f"these points leave open: {', '.join(loose)}"
        raise InputError(what, found, "observe a known point in another place")
    inverse = (right.T / values) / lengths[:, None]
    scaled = np.asarray(observed, dtype=np.float64) / spread
    x = inverse @ (left.T @ scaled)
    hat = left @ left.T
    redundancy = n - u
    residual = scaled - hat @ scaled
    sigma0 = math.sqrt(float(residual @ residual) / redundancy) if redundancy else math.nan
    return Solution(
        x=x,
        cofactor=inverse @ inverse.T,
        residual=residual * spread,
        residual_cofactor=(np.eye(n) - hat) * np.outer(spread, spread),
        checked=np.diag(np.eye(n) - hat) if redundancy else np.zeros(n),
        sigma0=sigma0,
        redundancy=redundancy,
    )


def point_tests(solution: Solution) -> Floats:
    """How much worse the fit is for keeping each point, shape (n / 2,).

    The observations must stand in pairs, easting and northing of a point. The
    figure is the drop of the weighted squares when that point is left out, so over
    `POINT_LIMIT` it is an outlier. NaN where nothing checks the point.

    Notes
    -----
    v' Q^-1 v with v the two residuals and Q their cofactors: data snooping for two
    observations at once (Baarda 1968, as `W_LIMIT`). Checked in the tests against
    refitting without the point.
    """
    half = len(solution.residual) // 2
    tests = np.full(half, np.nan)
    for k in range(half if solution.redundancy > 2 else 0):
        pair = slice(2 * k, 2 * k + 2)
        block = solution.residual_cofactor[pair, pair]
        if solution.checked[pair].min() > _CHECKED and np.linalg.cond(block) < 1e10:
            v = solution.residual[pair]
            tests[k] = float(v @ np.linalg.solve(block, v))
    return tests


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Errors at check points, in metres: plan and height apart.

    ``mean``, ``std`` and ``rmse`` are (easting, northing, elevation); ``rmse_r`` is
    radial in plan, ``h95`` and ``v95`` hold 95 % of the errors if these are normal.
    """

    n: int
    mean: tuple[float, float, float]
    std: tuple[float, float, float]
    rmse: tuple[float, float, float]
    rmse_r: float
    h95: float
    v95: float


CIRCULAR_95 = math.sqrt(-2.0 * math.log(0.05))
"""95 % of a circular normal error lies within this many standard deviations."""
LINEAR_95 = 1.959963984540054
"""95 % of a normal error lies within this many standard deviations."""


def accuracy(d_easting: ArrayLike, d_northing: ArrayLike, d_elevation: ArrayLike) -> Accuracy:
    """Mean, spread and 95 % figures of the errors [m] at n check points, n >= 2.

    Raises
    ------
    InputError
        Fewer than two points, or one without an error.

    Notes
    -----
    h95 = 2.4477 / sqrt(2) rmse_r, v95 = 1.9600 rmse_z, which hold when easting and
    northing err alike: FGDC-STD-007.3-1998 and the ASPRS positional accuracy standard
    of 2014, Annex D (REF-AC-1, REF-AC-3).

    Examples
    --------
    >>> round(accuracy([0.01, -0.01], [0.0, 0.0], [0.02, 0.02]).v95, 4)
    0.0392
    """
    errors = np.array([d_easting, d_northing, d_elevation], dtype=np.float64)
    n = errors.shape[1]
    if n < 2 or not np.isfinite(errors).all():
        raise InputError("check points", f"{n} with an error each", "check two points or more")
    mean, std = errors.mean(axis=1), errors.std(axis=1, ddof=1)
    rmse = np.sqrt((errors**2).mean(axis=1))
    rmse_r = math.hypot(rmse[0], rmse[1])
    return Accuracy(
        n=n,
        mean=(float(mean[0]), float(mean[1]), float(mean[2])),
        std=(float(std[0]), float(std[1]), float(std[2])),
        rmse=(float(rmse[0]), float(rmse[1]), float(rmse[2])),
        rmse_r=rmse_r,
        h95=CIRCULAR_95 / math.sqrt(2.0) * rmse_r,
        v95=LINEAR_95 * float(rmse[2]),
    )
