"""What a test strip says about the rise, and how far it is to be believed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.crew.measures import METRIC, Measures
from pipeline.errors import JobError
from pipeline.model import Bools, Floats
from pipeline.model.spread import robust_spread
from pipeline.settings_earthwork import Strip, StripMethod

METHOD_ERROR_M: dict[StripMethod, float] = {
    "one set-up, one bench": 0.003,
    "two set-ups": 0.006,
    "satellite, shifted to a bench": 0.006,
    "satellite": 0.017,
}
"""Standard error that all points of a before-and-after survey share [assumed]. Two sessions by
satellite each carry 12 mm of their own; only a common bench takes that out."""

REGRADED_SDS = 3.0
"""A point farther than this from the middle, in robust standard deviations, was bladed between."""
LEAST_POINTS = 2
MOST_RISE_M = 0.2
"""A mean change beyond this is another bench mark or another layer, not clay that rose."""
GOOD_POINTS = 40


@dataclass(frozen=True, slots=True)
class Belief:
    """A rise that is believed in [m]: its mean and its standard deviation."""

    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class Tried:
    """A strip that was looked at, as it is called, and the standard error of its mean rise [m]."""

    title: str
    strip: Strip
    error_m: float
    limit_m: float


@dataclass(frozen=True, slots=True)
class Update:
    """Belief before and after the strip tests, those that were used and those that were not."""

    before: Belief
    after: Belief
    used: tuple[Tried, ...] = ()
    refused: tuple[Tried, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A strip as measured: the mean rise of the points that were not regraded.

    ``regraded`` marks points that stand so far off the rest that the blade must have
    been there between the two surveys.
    """

    strip: Strip
    regraded: Bools


def measured(
    before: ArrayLike, after: ArrayLike, *, spread_kg_m2: float, method: StripMethod, name: str = ""
) -> Measured:
    """A strip from heights before mixing and after compaction at the same points.

    Parameters
    ----------
    before, after : array_like, shape (n,)
        Heights [m]; a point with NaN in either is left out.
    spread_kg_m2 : float
        Cement spread on the strip.
    method : StripMethod
        How both surveys were tied together.
    name : str
        What the strip is called.

    Raises
    ------
    JobError
        Fewer than two points are left, or their mean is no rise.

    Notes
    -----
    Points farther than three robust standard deviations (1.4826 times the median
    absolute deviation, at least 1 mm) from the median are dropped and named.
    """
    rise = np.asarray(after, dtype=np.float64) - np.asarray(before, dtype=np.float64)
    known = ~np.isnan(rise)
    if known.sum() < LEAST_POINTS:
        raise JobError(
            f"strip test {name}".strip(),
            f"{int(known.sum())} points measured before and after",
            f"measure the same {GOOD_POINTS} points twice",
        )
    middle = float(np.median(rise[known]))
    spread = max(robust_spread(rise), 0.001)
    regraded = known & (np.abs(rise - middle) > REGRADED_SDS * spread)
    kept = rise[known & ~regraded]
    if not abs(float(kept.mean())) <= MOST_RISE_M:
        raise JobError(
            f"strip test {name}".strip(),
            f"rises by {float(kept.mean()):.3f} m on average, which no layer does",
            "check that both surveys stood on one bench mark, and which column is which",
        )
    strip = Strip(
        name=name,
        spread_kg_m2=spread_kg_m2,
        rise_m=float(kept.mean()),
        scatter_m=float(kept.std(ddof=1)),
        points=len(kept),
        method=method,
    )
    return Measured(strip, regraded)


def mean_error(strip: Strip) -> float:
    """Standard error of a strip's mean rise [m]: what its method shares, and its scatter."""
    return math.hypot(METHOD_ERROR_M[strip.method], strip.scatter_m / math.sqrt(strip.points))


def update(
    prior: Belief,
    strips: Sequence[Strip],
    *,
    spread_kg_m2: float,
    per_kg_m: float,
    limit_m: float,
    lot_error_m: float,
) -> Update:
    r"""Belief in the rise after the strips, each counted for as much as it is sure.

    Parameters
    ----------
    prior : Belief
        From the mass balance.
    strips : sequence of Strip
    spread_kg_m2 : float
        The spread rate that the belief is about; a strip at another rate is moved to it.
    per_kg_m : float
        Rise for one kg/m2 more [m].
    limit_m : float
        A strip whose mean is known no better is refused.
    lot_error_m : float
        The strip is not the rest of the street.

    Notes
    -----
    Normal with normal: :math:`\mu' = (\mu/s_0^2 + m/s_m^2) / (1/s_0^2 + 1/s_m^2)` and
    :math:`s'^{-2} = s_0^{-2} + s_m^{-2}`, with :math:`s_m^2 = s_{meas}^2 + s_{lot}^2`.

    Examples
    --------
    >>> one = Strip(spread_kg_m2=12.5, rise_m=0.022)
    >>> got = update(Belief(0.015, 0.009), [one], spread_kg_m2=12.5, per_kg_m=0.0012,
    ...              limit_m=0.007, lot_error_m=0.003)
    >>> round(1000 * got.after.mean, 1), round(1000 * got.after.sd, 1)
    (20.7, 3.8)
    """
    mean, sd = prior.mean, prior.sd
    used, refused = [], []
    for number, strip in enumerate(strips, start=1):
        error = mean_error(strip)
        tried = Tried(strip.name or f"strip {number}", strip, error, limit_m)
        if error > limit_m:
            refused.append(tried)
            continue
        moved = strip.rise_m + per_kg_m * (spread_kg_m2 - strip.spread_kg_m2)
        weight, other = 1 / sd**2, 1 / (error**2 + lot_error_m**2)
        mean, sd = (mean * weight + moved * other) / (weight + other), (weight + other) ** -0.5
        used.append(tried)
    return Update(prior, Belief(mean, sd), tuple(used), tuple(refused))


def strip_words(found: Update, unit: Measures = METRIC) -> tuple[str, ...]:
    """What every strip said, in the crew's unit; those that are not used last, and why."""
    return (*used_words(found, unit), *(_refusal(one, unit) for one in found.refused))


def used_words(found: Update, unit: Measures = METRIC) -> tuple[str, ...]:
    """What the strips said that are used."""
    said = []
    for one in found.used:
        strip, rose = one.strip, unit.finest(one.strip.rise_m)
        said.append(
            f"{one.title}: rose {rose} {unit.fine_unit} at {strip.spread_kg_m2:g} kg/m2,"
            f" +-{unit.finest(one.error_m)} ({strip.points} points, {strip.method})"
        )
        if strip.points < GOOD_POINTS:
            said.append(f"{one.title}: {strip.points} points; {GOOD_POINTS} are better")
    return tuple(said)


def _refusal(one: Tried, unit: Measures) -> str:
    """Why a strip is not used, and what would help."""
    strip, fine = one.strip, unit.fine_unit
    shared, own = METHOD_ERROR_M[strip.method], strip.scatter_m / math.sqrt(strip.points)
    if shared >= own:
        why = f"surveyed by {strip.method}, which alone leaves +-{unit.fine(shared)} {fine}"
        help_ = "measure before and after from one set-up on one bench mark"
    else:
        why = f"{strip.points} points that scatter by {unit.fine(strip.scatter_m)} {fine}"
        help_ = "measure more points, at painted spots, and leave out those that were bladed"
    return (
        f"{one.title} NOT USED: its mean is known to +-{unit.finest(one.error_m)} {fine}, more"
        f" than the {unit.fine(one.limit_m)} {fine} allowed; {why}; {help_}"
    )


@dataclass(frozen=True, slots=True)
class Fit:
    """Rise by spread rate from several strips: ``mismatch + per_kg * spread`` [m], with errors."""

    mismatch: float
    mismatch_error: float
    per_kg: float
    per_kg_error: float


def fit(strips: Sequence[Strip]) -> Fit:
    """The straight line through strips at different spread rates, by weighted least squares.

    Raises
    ------
    JobError
        Fewer than two spread rates: a line needs two.

    Examples
    --------
    >>> line = fit([Strip(spread_kg_m2=10.0, rise_m=0.012), Strip(spread_kg_m2=20.0, rise_m=0.024)])
    >>> round(1000 * line.per_kg, 3), round(1000 * line.per_kg_error, 3)
    (1.2, 0.424)
    """
    spread = np.array([strip.spread_kg_m2 for strip in strips])
    if len(np.unique(spread)) < 2:
        raise JobError(
            "strip tests", f"{len(strips)} at one spread rate", "lay strips at two rates or more"
        )
    rows: Floats = np.stack((np.ones(len(spread)), spread), axis=1)
    weight = np.array([1 / mean_error(strip) for strip in strips])
    scaled = rows * weight[:, None]
    covariance = np.linalg.inv(scaled.T @ scaled)
    rise = np.array([strip.rise_m for strip in strips])
    mismatch, per_kg = (covariance @ scaled.T @ (rise * weight)).tolist()
    errors = np.sqrt(np.diag(covariance)).tolist()
    return Fit(mismatch, errors[0], per_kg, errors[1])
