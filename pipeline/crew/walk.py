"""The order in which laths are walked to: out along one side, back along the other.

Where a design has several parts the main street is walked first. From there each leg, one
side of one part, is followed by the one that begins or ends nearest: around a return into
the side street, along it, round its bulb, and back along the other side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.model import Floats, Ints, Texts
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


def walking_order(
    station: Floats,
    offset: Floats,
    rules: WalkRules | None = None,
    places: tuple[Texts, Floats, Floats] | None = None,
) -> Ints:
    """Rows in the order in which their places are walked to.

    Up the first side with rising stations, down the other with falling ones; what
    stands on the line goes with the first side. Sorted by the continuous station,
    so a station equation reorders nothing.

    Parameters
    ----------
    station, offset : ndarray, shape (n,)
        Metres, right +. NaN is walked to last.
    rules : WalkRules, optional
    places : tuple of ndarray, shape (n,), optional
        Street, easting and northing. Of several streets the one of the first row is walked
        as said above, the others leg by leg, always on to the nearest end of a leg; where
        people work in blocks, street after street.

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
    if places is not None and len(set(places[0].tolist())) > 1:
        return _street_after_street((station, offset), places, rules)
    first = -1.0 if rules.first_side == "left" else 1.0
    leg = np.where(offset * first < -0.0005, 1, 0)
    along = np.where(leg == 0, station, -station)
    block = np.zeros(len(station))
    if rules.block_m > 0:
        # a lath on the border of two blocks belongs to the one it opens
        block = np.floor(station / rules.block_m + 1e-9)
    return np.lexsort((offset, along, leg, block)).astype(np.int64)


def _street_after_street(
    along: tuple[Floats, Floats], places: tuple[Texts, Floats, Floats], rules: WalkRules
) -> Ints:
    """The first street's rows in walking order, then the legs of the others."""
    station, offset = along
    street, *grid = places
    parts: list[list[Ints]] = []
    for name in dict.fromkeys(street.tolist()):
        rows = np.flatnonzero(street == name)
        if not parts or rules.block_m > 0:
            parts.append([rows[walking_order(station[rows], offset[rows], rules)]])
        else:
            parts.append(_legs(rows, station[rows], offset[rows]))
    if rules.block_m > 0:
        return np.concatenate([part[0] for part in parts]).astype(np.int64)
    return _chained(parts[0][0], [leg for part in parts[1:] for leg in part], grid)


def _legs(rows: Ints, station: Floats, offset: Floats) -> list[Ints]:
    """Rows of each side by rising station; what stands on the line goes with one of them."""
    right = offset > 0.0005
    if not (offset < -0.0005).any():
        right[:] = True
    legs = [np.flatnonzero(right == side) for side in (False, True)]
    return [rows[leg[np.lexsort((offset[leg], station[leg]))]] for leg in legs if len(leg)]


def _chained(first: Ints, left: list[Ints], grid: Sequence[Floats]) -> Ints:
    """One walk: the first rows, then leg after leg, on to the nearest end of one."""
    walked = [first]
    while left:
        here = walked[-1][-1]
        ends = np.array([[leg[0], leg[-1]] for leg in left])
        away = np.hypot(grid[0][ends] - grid[0][here], grid[1][ends] - grid[1][here])
        k, end = divmod(int(np.argmin(away)), 2)
        leg = left.pop(k)
        walked.append(leg[::-1] if end else leg)
    return np.concatenate(walked).astype(np.int64)


def walk(
    along: tuple[Floats, Floats],
    grid: tuple[Floats, Floats],
    rules: WalkRules | None = None,
    street: Texts | None = None,
) -> Walk:
    """`walking_order` of places known by (station, offset) and (easting, northing)."""
    order = walking_order(*along, rules, None if street is None else (street, *grid))
    return Walk(order, steps(grid[0][order], grid[1][order]))


def steps(easting: Floats, northing: Floats) -> Floats:
    """Distance from each place to the next [m]; NaN after the last, shape (n,)."""
    ahead = np.full(len(easting), np.nan)
    if len(easting) > 1:
        ahead[:-1] = np.hypot(np.diff(easting), np.diff(northing))
    return ahead


def step_words(metres: float) -> str:
    """``10.2``: metres to the next lath, empty after the last."""
    return format_length(metres, step=0.1)
