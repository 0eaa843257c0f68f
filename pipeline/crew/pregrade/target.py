"""The height that costs least when nobody knows the rise: the critical-ratio rule."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import JobError
from pipeline.model import Floats
from pipeline.model.arrays import lock_fields
from pipeline.settings_earthwork import Costs

EQUAL = "equal costs"
STATED = "costs of the job"


@dataclass(frozen=True, slots=True)
class Prices:
    """What a cubic metre over and a cubic metre under the plane cost, and who says so.

    ``origin`` is `STATED` or `EQUAL`; with equal costs the amounts are shares of a
    whole, not money.
    """

    over: float
    under: float
    origin: str
    currency: str = ""

    @property
    def ratio(self) -> float:
        """Critical ratio: over / (over + under), the chance of a shortage that is paid for."""
        return self.over / (self.over + self.under)


@dataclass(frozen=True, slots=True, eq=False)
class CostCurve:
    """Expected cost of a square metre by how far the clay is left low [m]: for the picture."""

    lowering_m: Floats
    cost_m2: Floats

    def __post_init__(self) -> None:
        k = len(self.lowering_m)
        lock_fields(self, dict.fromkeys(("lowering_m", "cost_m2"), (np.float64, (k,))))


@dataclass(frozen=True, slots=True)
class Target:
    """How far below the plane the clay is left [m], + low, - high.

    ``exact`` minimises the expected cost, ``lowering`` is the neighbouring multiple of
    the step that costs less; costs are per square metre.
    """

    exact: float
    lowering: float
    cost_m2: float
    rounding_m2: float
    prices: Prices


def prices_of(costs: Costs, *, equal: bool) -> Prices | None:
    """The job's costs, equal ones if asked for, or None: then there is no target.

    Raises
    ------
    JobError
        One of the two is missing, one is negative, or both are nothing.

    Examples
    --------
    >>> prices_of(Costs(), equal=False) is None, prices_of(Costs(), equal=True).ratio
    (True, 0.5)
    """
    if equal:
        return Prices(1.0, 1.0, EQUAL)
    over, under = costs.surplus_per_m3, costs.shortage_per_m3
    if over is None and under is None:
        return None
    if over is None or under is None:
        missing = "surplus_per_m3" if over is None else "shortage_per_m3"
        raise JobError(
            f"costs.{missing}", "is not stated, though its counterpart is", "state both or neither"
        )
    for name, value in (("surplus_per_m3", over), ("shortage_per_m3", under)):
        if not (math.isfinite(value) and value >= 0):
            raise JobError(f"costs.{name}", f"found {value:g}", "give a cost of zero or more")
    if over + under == 0:
        raise JobError(
            "costs", "both a surplus and a shortage cost nothing", "state what one of them costs"
        )
    return Prices(over, under, STATED, costs.currency)


def expected_cost(rises: ArrayLike, lowering: ArrayLike, prices: Prices) -> Floats:
    """Mean cost of a square metre over the possible rises, at each lowering.

    Parameters
    ----------
    rises : array_like, shape (n,)
        Possible rises of the lot's mean [m], in any order.
    lowering : array_like, shape (k,)
        Metres below the plane.
    prices : Prices

    Notes
    -----
    Over times the mean of (rise - lowering)+ and under times that of (lowering -
    rise)+, exact for the given rises: from running sums of them in order.
    """
    h = np.sort(np.asarray(rises, dtype=np.float64))
    p = np.asarray(lowering, dtype=np.float64)
    total = np.concatenate(([0.0], np.cumsum(h)))
    below = np.searchsorted(h, p, side="right")
    short = (p * below - total[below]) / len(h)
    surplus = (total[-1] - total[below] - p * (len(h) - below)) / len(h)
    return np.asarray(prices.over * surplus + prices.under * short)


def target(rises: ArrayLike, prices: Prices, step: float) -> Target:
    """The lowering that costs least on average, and its neighbour on the grader's step.

    Parameters
    ----------
    rises : array_like, shape (n,)
        Possible rises of the lot's mean over the plane it is measured from [m].
    prices : Prices
    step : float
        What a grader can hold [m].

    Returns
    -------
    Target

    Notes
    -----
    The least expected cost is at the quantile over / (over + under) of the rises:
    the newsvendor's rule. Of the two multiples of the step about it the cheaper one
    is taken; what it costs more is shown.

    References
    ----------
    REF-NV-2 to REF-NV-4 of ``shared/references.toml``; checked by brute force.
    """
    if not step > 0:
        raise JobError("stabilising.round_m", f"found {step:g}", "give a step greater than zero")
    exact = float(np.quantile(np.asarray(rises, dtype=np.float64), prices.ratio))
    near = step * np.array([math.floor(exact / step), math.floor(exact / step) + 1])
    cost = expected_cost(rises, np.array([exact, *near]), prices)
    best = 1 if cost[1] <= cost[2] else 2
    chosen = round(float(near[best - 1]), 9)
    return Target(exact, chosen, float(cost[best]), float(cost[best] - cost[0]), prices)


def normal_target(mean: float, sd: float, prices: Prices) -> tuple[float, float]:
    r"""Lowering [m] and its expected cost per square metre for a normal rise: the closed form.

    Notes
    -----
    :math:`p^* = \mu + s\,\Phi^{-1}(r)`, :math:`r = c_o / (c_o + c_u)`, and the expected
    cost there is :math:`s (c_o + c_u)\,\varphi(\Phi^{-1}(r))`.

    Examples
    --------
    Surplus three times as dear as shortage, 9 mm of doubt: 6.1 mm lower than the mean.

    >>> round(1000 * normal_target(0.015, 0.009, Prices(3.0, 1.0, STATED))[0] - 15, 1)
    6.1
    """
    from scipy.special import ndtri

    if prices.ratio in (0.0, 1.0):
        return math.copysign(math.inf, prices.ratio - 0.5), 0.0
    z = float(ndtri(prices.ratio))
    density = math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
    return mean + sd * z, sd * (prices.over + prices.under) * density


def curve(rises: ArrayLike, prices: Prices, *, points: int = 61) -> CostCurve:
    """Expected cost over the range of lowerings that somebody might choose."""
    low, high = np.quantile(np.asarray(rises, dtype=np.float64), [0.005, 0.995])
    at = np.linspace(float(low), float(high), points)
    return CostCurve(at, expected_cost(rises, at, prices))
