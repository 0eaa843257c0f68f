"""A constant that a group of shots is off by, measured on independent points, and its name.

`runs` looks for busts among neighbours; here a group (one set-up, one rod) is held
against points that it does not share its rod with: hub tops, rims, existing curb,
control, shots of another group. A constant that equals a dimension of the job is
named, for a mixed curb reference looks exactly like a rod bust.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model import Finding, Findings
from pipeline.model.spread import robust_spread

ROD_STEPS: dict[str, float] = {
    f"rod step {step:.2f} m": step for step in (0.10, 0.15, 0.20, 0.25, 0.30, 0.50)
}
"""Steps a rod is set in: common practice, no source."""
CLAY_SD_M = 0.012
"""Standard deviation of one shot on clay [assumed]; five shots often look better than
they are, so no group is believed to be better than this."""
LEAST_M = 0.015
"""A smaller constant is nothing that the crew could act on [assumed]."""
OVERLAPS = 5
"""Independent points that every change of rod or set-up should have: with five, a bust
of 30 mm is found in 84 of 100 cases at 12 mm noise (computed for a mean, 3 sigma)."""
FEWEST = 3
"""With fewer, one bad point is half of the evidence: the group is not tested."""


@dataclass(frozen=True, slots=True)
class Bust:
    """A group that stands off by ``offset`` [m, + too high], known to ``se`` [m].

    ``shots`` counts the group, ``overlaps`` those with an independent point.
    ``names`` are the constants it equals, nearest first; empty: none.
    """

    group: str
    shots: int
    overlaps: int
    offset: float
    se: float
    names: tuple[str, ...]


def name_constant(residual: float, se: float, dictionary: Mapping[str, float]) -> tuple[str, ...]:
    """Entries of `dictionary` that a constant equals within two standard errors.

    Parameters
    ----------
    residual : float
        The constant [m], either sign: a rod set long and a rod set short, or a curb
        top shot for its flow line and the reverse, are the same mistake.
    se : float
        Its standard error [m].
    dictionary : mapping
        Name -> size [m] of what people mix up: rod steps, curb height, thickness of a
        layer. An entry of 0 never matches.

    Returns
    -------
    tuple of str
        Nearest first, equals in the order of the dictionary.

    Examples
    --------
    >>> known = {"curb height": 0.150, "gravel": 0.200, "rod step 0.15 m": 0.15}
    >>> name_constant(-0.147, 0.004, known)
    ('curb height', 'rod step 0.15 m')
    >>> name_constant(0.12, 0.004, known)
    ()
    """
    gaps = [
        (round(abs(abs(residual) - abs(size)), 9), order, name)
        for order, (name, size) in enumerate(dictionary.items())
        if size and abs(abs(residual) - abs(size)) <= 2.0 * se
    ]
    return tuple(name for _, _, name in sorted(gaps))


def median_and_error(residuals: ArrayLike, *, shot_sd_m: float = CLAY_SD_M) -> tuple[float, float]:
    """Median of the residuals that are there [m] and its standard error [m].

    Notes
    -----
    1.25 s / sqrt(n), s the larger of 1.4826 MAD and `shot_sd_m`; 1.2533 and 1.4826 are
    those of the normal distribution. NaN where no residual is there.

    Examples
    --------
    >>> median_and_error([0.10, 0.11, float("nan"), 0.09, 0.10], shot_sd_m=0.012)
    (0.1, 0.0075)
    """
    values = np.asarray(residuals, dtype=np.float64)
    values = values[~np.isnan(values)]
    if not values.size:
        return math.nan, math.nan
    middle = float(np.median(values))
    return middle, 1.25 * max(robust_spread(values), shot_sd_m) / math.sqrt(values.size)


def find_busts(
    groups: ArrayLike,
    residuals: ArrayLike,
    dictionary: Mapping[str, float],
    *,
    least_m: float = LEAST_M,
    shot_sd_m: float = CLAY_SD_M,
) -> tuple[Bust, ...]:
    """Groups whose shots stand off their independent points by a constant.

    Parameters
    ----------
    groups : array_like of str, shape (n,)
        Set-up and rod of each shot, as one label.
    residuals : array_like, shape (n,)
        Shot minus independent height [m], NaN where there is none to compare with.
    dictionary : mapping
        Named constants, as for `name_constant`.
    least_m : float
        A constant below this is no bust [m].
    shot_sd_m : float
        Smallest spread that is believed [m].

    Returns
    -------
    tuple of Bust
        Groups with |median| > max(3 se, least_m), in order of first shot. Groups
        with fewer than three overlaps are not tested (`untested`).

    Notes
    -----
    Every group against independent points, never against the mean of the groups: a
    morning shot wholly with one wrong rod is one group. Median and MAD, so that two
    bad points among five do not decide.
    """
    labels = np.asarray(groups, dtype=object)
    values = np.asarray(residuals, dtype=np.float64)
    found: list[Bust] = []
    for label in dict.fromkeys(labels.tolist()):
        rows = labels == label
        overlaps = int(np.count_nonzero(~np.isnan(values[rows])))
        if overlaps < FEWEST:
            continue
        offset, se = median_and_error(values[rows], shot_sd_m=shot_sd_m)
        if abs(offset) > max(3.0 * se, least_m):
            names = name_constant(offset, se, dictionary)
            found.append(Bust(str(label), int(rows.sum()), overlaps, offset, se, names))
    return tuple(found)


def untested(groups: ArrayLike, residuals: ArrayLike) -> Findings:
    """One finding for each group with fewer overlaps than the field rule asks for."""
    labels = np.asarray(groups, dtype=object)
    there = ~np.isnan(np.asarray(residuals, dtype=np.float64))
    found: list[Finding] = []
    for label in dict.fromkeys(labels.tolist()):
        overlaps = int(np.count_nonzero(there[labels == label]))
        if overlaps >= OVERLAPS:
            continue
        weak = "a small rod bust would not show" if overlaps >= FEWEST else "no rod bust would show"
        text = f"{label}: {overlaps} shots on points known otherwise; {weak}"
        do = f"shoot {OVERLAPS} points again at every change of rod or set-up"
        found.append(Finding("note", "few overlaps", text, do))
    return tuple(found)


def bust_findings(busts: tuple[Bust, ...]) -> Findings:
    """One finding a bust, for a person: proposed, never applied."""
    return tuple(_finding(bust) for bust in busts)


def _finding(bust: Bust) -> Finding:
    side = "HIGH" if bust.offset > 0 else "LOW"
    text = (
        f"{bust.group} ({bust.shots} shots, {bust.overlaps} on known points) reads"
        f" {abs(bust.offset):.3f} m {side} (sd {bust.se * 1000.0:.0f} mm)"
    )
    text += f": equals {' or '.join(bust.names)}" if bust.names else ": equals no known constant"
    do = "ask for the rod height and the point that was shot; correct the file or shoot again"
    return Finding("person", "suspected bust", text, do)
