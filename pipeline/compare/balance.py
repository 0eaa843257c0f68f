"""It averages out, or it does not: the mean over the length that mixer and trimmer even out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from pipeline.compare.intervals import Intervals
from pipeline.model import Bools, Differences, Floats, Ints, Texts, texts
from pipeline.model.arrays import lock_fields
from pipeline.settings_earthwork import Volumes

SURE = 0.96
"""One-sided: a mean off by the tolerance is found in 95 of 100 cases, with a little to spare."""

Verdict: TypeAlias = Literal["good", "stretch", "left alone", "spot", "not shown", "not surveyed"]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A length whose mean is out of tolerance.

    ``depth_m`` is to be taken off over its whole area (+) or put on (-), ``volume_m3``
    the same in cubic metres; what is high and low within it evens out.
    """

    start: float
    end: float
    area_m2: float
    depth_m: float
    volume_m3: float


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """The rolling mean at each of k stretches, and what follows from it.

    ``own`` is the mean cut of the stretch itself [m], ``mean`` that over the balance
    length about it, ``error`` its standard error from the scatter of ``shots`` shots.
    ``verdict`` of each: ``good``; ``stretch``: part of a length in ``out``; ``left
    alone``: high or low by itself, evened out by its neighbours; ``spot``: so far off
    that it is bladed into them; ``not shown``: too few shots to say that the mean is good.
    """

    start: Floats
    end: Floats
    own: Floats
    mean: Floats
    error: Floats
    shots: Ints
    verdict: Texts
    out: tuple[Stretch, ...]

    def __post_init__(self) -> None:
        k = len(self.start)
        numbers = dict.fromkeys(("start", "end", "own", "mean", "error"), (np.float64, (k,)))
        lock_fields(self, {**numbers, "shots": (np.int64, (k,)), "verdict": (object, (k,))})


def balance(stretches: Intervals, at_shots: Differences, rules: Volumes) -> Balance:
    r"""Rolling mean of the cut over the balance length, and the lengths where it is off.

    Parameters
    ----------
    stretches : Intervals
        Whole width, a fraction of the balance length each: an eighth does.
    at_shots : Differences
        Ground against the same layer at the shots; NaN is left out.
    rules : Volumes
        ``balance_m``, ``mean_tolerance_m``, ``spot_m``.

    Notes
    -----
    The mean is exact: net volume over area of the stretches whose middle lies
    within half the balance length. At the ends of the street it is over what is
    there. It counts as good where :math:`|m| \le T - t \, s/\sqrt n`: the tolerance less
    what the scatter s of n shots about their own planes (along, across, crown)
    leaves open. So noise that averages out is let pass, and a mean off by T is not:
    the acceptance rule of a measured quantity with a guard band (ISO 14253-1, from
    memory). With 28 shots that scatter evenly by 20 mm the guard is 4 mm.
    """
    known = np.flatnonzero(np.isfinite(stretches.start) & np.isfinite(stretches.end))
    start, end = stretches.start[known], stretches.end[known]
    net, area = stretches.net_m3[known], stretches.compared_area_m2[known]
    first, last = _window((start + end) / 2, rules.balance_m)
    mean = _ratio(_between(net, first, last), _between(area, first, last))
    own = _ratio(net, area)
    error, shots = _scatter(at_shots, start[first], end[last - 1])
    guard = rules.mean_tolerance_m - _quantile(shots) * error
    surveyed = ~np.isnan(mean)
    off = surveyed & (guard > 0) & (np.abs(mean) > guard)
    # beyond the tolerance itself no number of shots is needed to say so
    off |= surveyed & (np.abs(mean) > rules.mean_tolerance_m)
    out: list[Stretch] = []
    for rows in _runs(off, np.sign(mean)):
        volume, size = float(net[rows].sum()), float(area[rows].sum())
        # a single spot next door lifts the mean here, yet nothing here is off
        if size > 0 and abs(volume / size) > max(float(guard[rows].min()), 0.0):
            ends = float(start[rows[0]]), float(end[rows[-1]])
            out.append(Stretch(*ends, size, volume / size, volume))
        else:
            off[rows] = False
    verdict = np.full(len(start), "good", dtype=object)
    single = surveyed & ~off & (np.abs(own) > rules.mean_tolerance_m)
    verdict[surveyed & ~off & ~(guard > 0)] = "not shown"
    verdict[single] = "left alone"
    verdict[single & (np.abs(own) > rules.spot_m)] = "spot"
    verdict[off] = "stretch"
    verdict[~surveyed] = "not surveyed"
    return Balance(start, end, own, mean, error, shots, texts(verdict), tuple(out))


def _window(middle: Floats, length: float) -> tuple[Ints, Ints]:
    """First and one past the last stretch whose middle is within half the length."""
    reach = length / 2 - 1e-6
    first = np.searchsorted(middle, middle - reach)
    last = np.searchsorted(middle, middle + reach, side="right")
    return first, last


def _between(values: Floats, first: Ints, last: Ints) -> Floats:
    total = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray(total[last] - total[first])


def _ratio(above: Floats, below: Floats) -> Floats:
    some = below > 1e-9
    return np.asarray(np.divide(above, below, out=np.full(len(above), np.nan), where=some))


def _scatter(at_shots: Differences, start: Floats, end: Floats) -> tuple[Floats, Ints]:
    """Standard error of the mean and number of the shots between each start and end.

    The scatter is about planes on both sides of the crown: a wrong crossfall is no noise.
    """
    known = np.flatnonzero(~np.isnan(at_shots.cut + at_shots.station + at_shots.offset))
    known = known[np.argsort(at_shots.station[known], kind="stable")]
    station, offset, cut = (getattr(at_shots, name)[known] for name in ("station", "offset", "cut"))
    low, high = np.searchsorted(station, start), np.searchsorted(station, end, side="right")
    error = np.full(len(start), np.inf)
    for k, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        if b - a <= _PLANES:
            continue
        s, o = station[a:b] - station[a:b].mean(), offset[a:b]
        planes = np.stack((np.ones(b - a), s, o, np.abs(o)), axis=1)
        rest = cut[a:b] - planes @ np.linalg.lstsq(planes, cut[a:b], rcond=None)[0]
        error[k] = math.sqrt(float(rest @ rest) / (b - a - _PLANES) / (b - a))
    return error, high - low


_PLANES = 4


def _quantile(shots: Ints) -> Floats:
    """Student's t for `SURE`, with what the planes leave of the shots."""
    from scipy.special import stdtrit

    return np.asarray(stdtrit(np.maximum(shots - _PLANES, 1), SURE))


def _runs(chosen: Bools, sign: Floats) -> list[Ints]:
    """Neighbouring chosen rows of one sign."""
    rows = np.flatnonzero(chosen)
    if not len(rows):
        return []
    breaks = (np.diff(rows) > 1) | (sign[rows[1:]] != sign[rows[:-1]])
    return np.split(rows, np.flatnonzero(breaks) + 1)
