"""The order in which laths are walked to: out along one side, back along the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.model import Floats, Ints
from pipeline.model.arrays import lock_fields
from pipeline.settings_crew import WalkRules
from pipeline.units import format_length


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """Rows in walking order, and how far it is from each to the next [m], NaN after the last."""

    order: Ints
    to_next: Floats

    def __post_init__(self) -> None:
        n = len(self.order)
        lock_fields(self, {"order": (np.int64, (n,)), "to_next": (np.float64, (n,))})

    @property
    def length_m(self) -> float:
        """The whole walk, straight from place to place."""
        return float(np.nansum(self.to_next))


def walking_order(station: Floats, offset: Floats, rules: WalkRules | None = None) -> Ints:
    """Rows in the order in which their places are walked to.

    Up the first side with rising stations, down the other with falling ones; what
    stands on the line goes with the first side. Sorted by the continuous station,
    so a station equation reorders nothing.

    Parameters
    ----------
    station, offset : ndarray, shape (n,)
        Metres, right +. NaN is walked to last.
    rules : WalkRules, optional

    Returns
    -------
    ndarray, shape (n,), int
        Every row once.

    Examples
    --------
    >>> walking_order(np.array([0.0, 10.0, 10.0, 0.0]), np.array([5.0, 5.0, -5.0, -5.0])).tolist()
    [3, 2, 1, 0]
    """
    rules = rules or WalkRules()
    first = -1.0 if rules.first_side == "left" else 1.0
    leg = np.where(offset * first < -0.0005, 1, 0)
    along = np.where(leg == 0, station, -station)
    block = np.zeros(len(station))
    if rules.block_m > 0:
        # a lath on the border of two blocks belongs to the one it opens
        block = np.floor(station / rules.block_m + 1e-9)
    return np.lexsort((offset, along, leg, block)).astype(np.int64)


def walk(
    along: tuple[Floats, Floats], grid: tuple[Floats, Floats], rules: WalkRules | None = None
) -> Walk:
    """`walking_order` of places known by (station, offset) and (easting, northing)."""
    order = walking_order(*along, rules)
    return Walk(order, steps(grid[0][order], grid[1][order]))


def steps(easting: Floats, northing: Floats) -> Floats:
    """Distance from each place to the next [m]; NaN after the last, shape (n,)."""
    ahead = np.full(len(easting), np.nan)
    if len(easting) > 1:
        ahead[:-1] = np.hypot(np.diff(easting), np.diff(northing))
    return ahead


def count_words(row: int, rows: int) -> str:
    """``17/64``: the running count that shows a skipped lath; `row` counts from 0."""
    return f"{row + 1}/{rows}"


def step_words(metres: float) -> str:
    """``10.2``: metres to the next lath, empty after the last."""
    return format_length(metres, step=0.1)
