"""The height that a shot's like foretell: along the street, and by the plane of the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.checks.runs import Profiled
from pipeline.model import Bools, Floats, Ints
from pipeline.model.arrays import lock_fields
from pipeline.model.spread import MAD_TO_SD, robust_spread

ALONG_M, ACROSS_M = 10.0, 2.5
"""Rows of shots lie this far apart, and the ground shots of one row [assumed]."""
REACH_M = 80.0
"""Neighbours along the street lie within this, as far as six are needed [assumed]."""
LINE_ASIDE_M, GROUND_ASIDE_M = 1.5, 0.5
"""A coded line, and what was shot at one offset, keep within this across the street [assumed]."""
PLANE_REACH = 3.5
"""The plane takes shots within this many units of `ALONG_M` and `ACROSS_M` [assumed]."""
BAND_M, OF_A_BAND = 0.75, 3
"""It takes at most so many shots of one offset, however densely a windrow was shot [assumed]."""
LINE_NEIGHBOURS, PLANE_NEIGHBOURS = 6, 9
FEWEST = 3
"""With fewer neighbours the shot is not tested."""
FEW, LOCAL = 10, 25
"""A class of fewer is measured by the spread of all; nearby are so many of one class."""
_FLOOR_M = 0.005
_ROUNDS = 30
_BLOCK = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class Hoods:
    """The like of each of n shots, nearest first, k at most.

    ``near`` are their rows (n, k), -1 for none; ``group`` the class of each shot
    (n,), -1 where it is not tested. ``most`` of them are used. ``curved`` where
    the fit is a parabola along the street, else a plane; ``local`` where the spread of
    those nearby counts, if it is larger than that of the class.
    """

    near: Ints
    group: Ints
    most: int
    curved: bool
    local: bool = True

    def __post_init__(self) -> None:
        n = len(self.group)
        lock_fields(self, {"near": (np.int64, (n, None)), "group": (np.int64, (n,))})


def along_street(profiled: Profiled, usable: Bools, line: Bools, cell: Ints) -> Hoods:
    """Shots of its own line, or ground of its own strip, at the offset of each shot."""
    group = _classes(profiled, usable, line, cell)
    near = _nearest(profiled, group, (REACH_M, LINE_ASIDE_M), 6 * LINE_NEIGHBOURS)
    ds = np.abs(profiled.station[near] - profiled.station[:, None])
    do = np.abs(profiled.offset[near] - profiled.offset[:, None])
    aside = np.where(line, LINE_ASIDE_M, GROUND_ASIDE_M)[:, None]
    near = np.where((ds <= REACH_M) & (do <= aside), near, -1)
    order = np.argsort(np.where(near < 0, np.inf, ds), axis=1, kind="stable")
    near = np.take_along_axis(near, order, axis=1)
    return Hoods(near[:, : 2 * LINE_NEIGHBOURS], group, LINE_NEIGHBOURS, curved=True)


def in_plane(profiled: Profiled, usable: Bools, cell: Ints) -> Hoods:
    """Ground of its own strip around each shot, a few of each offset."""
    group = np.where(usable, cell, -1)
    reach = (PLANE_REACH * ALONG_M, PLANE_REACH * ACROSS_M)
    near = _nearest(profiled, group, reach, 4 * PLANE_NEIGHBOURS)
    do = profiled.offset[near] - profiled.offset[:, None]
    band = np.where(near < 0, -(10**6), np.rint(do / BAND_M).astype(np.int64))
    earlier = np.tril(np.ones((near.shape[1], near.shape[1]), dtype=bool), k=-1)
    rank = ((band[:, :, None] == band[:, None, :]) & earlier).sum(axis=2)
    near = np.where(rank < OF_A_BAND, near, -1)
    order = np.argsort(near < 0, axis=1, kind="stable")
    near = np.take_along_axis(near, order, axis=1)
    return Hoods(near[:, : 2 * PLANE_NEIGHBOURS], group, PLANE_NEIGHBOURS, curved=False)


def _classes(profiled: Profiled, usable: Bools, line: Bools, cell: Ints) -> Ints:
    """A number for each line and each strip of ground."""
    numbers: dict[tuple[str, int], int] = {}
    group = np.full(len(usable), -1, dtype=np.int64)
    for row in np.flatnonzero(usable):
        key = (str(profiled.feature[row]), -1) if line[row] else ("", int(cell[row]))
        group[row] = numbers.setdefault(key, len(numbers))
    return group


def _nearest(profiled: Profiled, group: Ints, reach: tuple[float, float], width: int) -> Ints:
    """Rows of the same class within reach of each shot, nearest first by its measure, -1: none."""
    from scipy.spatial import cKDTree

    near = np.full((len(group), width), -1, dtype=np.int64)
    places = np.column_stack([profiled.station / reach[0], profiled.offset / reach[1]])
    for number in range(int(group.max(initial=-1)) + 1):
        rows = np.flatnonzero(group == number)
        if len(rows) <= FEWEST:
            continue
        count = min(len(rows), width + 1)
        _, index = cKDTree(places[rows]).query(
            places[rows], k=np.arange(1, count + 1), distance_upper_bound=1.0
        )
        found = np.append(rows, -1)[index]
        found[found == rows[:, None]] = -1
        order = np.argsort(found < 0, axis=1, kind="stable")
        near[rows, : min(count, width)] = np.take_along_axis(found, order, axis=1)[:, :width]
    return near


def stand_off(
    profiled: Profiled, hoods: Hoods, least_m: float, spreads: float
) -> tuple[Floats, Bools]:
    """How far each shot stands off its like, and whether that is too far.

    Parameters
    ----------
    profiled : Profiled
    hoods : Hoods
    least_m : float
        Less is never too far [m].
    spreads : float
        Nor is less than this many robust spreads of its class.

    Returns
    -------
    residual : ndarray, shape (n,)
        Shot minus prediction [m]; NaN with fewer than three of its like.
    off : bool (n,)

    Notes
    -----
    The fit is of least absolute residuals, by reweighting ten times. A residual is
    divided by sqrt(1 + v), v the variance of its own prediction in variances of a
    shot, before it is measured in spreads (1.4826 MAD) of those of its class that are
    not off: all of them, or along the street the 25 nearest where those spread more.
    The worst of each neighbourhood leaves the neighbours, then all are predicted
    again; at the end what is no longer off comes back.
    """
    pool = hoods.group >= 0
    residual, score = np.full((2, len(pool)), np.nan)
    told = np.ones(len(pool), dtype=bool)
    for _ in range(_ROUNDS):
        # only those that had one of the shots just left out among their like are told again
        rows = np.flatnonzero(told)
        residual[rows], score[rows] = _residuals(profiled, hoods, pool, rows)
        limit = spreads * _spreads(profiled, score, hoods, pool)
        off = (np.abs(residual) > least_m) & (np.abs(score) > limit)
        around = np.where(
            hoods.near >= 0, np.where(off & pool, np.abs(score), 0.0)[hoods.near], 0.0
        )
        worst = off & pool & (np.abs(np.nan_to_num(score)) >= around.max(axis=1, initial=0.0))
        if not worst.any():
            break
        pool &= ~worst
        told = (worst[hoods.near] & (hoods.near >= 0)).any(axis=1)
    return residual, off


def _residuals(profiled: Profiled, hoods: Hoods, pool: Bools, asked: Ints) -> tuple[Floats, Floats]:
    """Shot minus prediction [m], and the same divided by sqrt(1 + variance of the prediction)."""
    residual, score = np.full((2, len(asked)), np.nan)
    for begin in range(0, len(asked), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        residual[part], score[part] = _some_residuals(profiled, hoods, pool, asked[part])
    return residual, score


def _some_residuals(
    profiled: Profiled, hoods: Hoods, pool: Bools, asked: Ints
) -> tuple[Floats, Floats]:
    near = hoods.near[asked]
    there = (near >= 0) & pool[near]
    there &= np.cumsum(there, axis=1) <= hoods.most
    known = np.flatnonzero((there.sum(axis=1) >= FEWEST) & (hoods.group[asked] >= 0))
    residual, score = np.full((2, len(asked)), np.nan)
    if len(known):
        rows, index, used = asked[known], near[known], there[known]
        ds = (profiled.station[index] - profiled.station[rows][:, None]) / ALONG_M
        do = (profiled.offset[index] - profiled.offset[rows][:, None]) / ACROSS_M
        third = _bent(ds, used) if hoods.curved else do
        terms = np.stack([np.ones_like(ds), ds, third], axis=2)
        height, variance = _predicted(terms, profiled.height[index], used)
        residual[known] = profiled.height[rows] - height
        score[known] = residual[known] / np.sqrt(1.0 + variance)
    return residual, score


def _bent(ds: Floats, used: Bools) -> Floats:
    """The square, where two neighbours on either side carry a curvature."""
    both = np.minimum(((ds > 0) & used).sum(axis=1), ((ds < 0) & used).sum(axis=1)) >= 2
    return np.where(both[:, None], ds**2, 0.0)


def _predicted(terms: Floats, height: Floats, used: Bools) -> tuple[Floats, Floats]:
    """Height in the middle by least absolute residuals, and its variance in shots' variances."""
    # pins a term that the neighbours do not determine to zero, and no other
    ridge = 1e-6 * np.eye(terms.shape[2])
    zero = height[:, :1]
    height = height - zero
    weight = used.astype(np.float64)
    for _ in range(10):
        weighted = np.swapaxes(terms * weight[..., None], 1, 2)
        inverse = np.linalg.inv(weighted @ terms + ridge)
        hat = (inverse[:, :1] @ weighted)[:, 0]
        solution = inverse @ (weighted @ height[..., None])
        left = np.abs(height - (terms @ solution)[..., 0])
        weight = used / np.maximum(left / _FLOOR_M, 1.0)
    return zero[:, 0] + (hat * height).sum(axis=1), (hat**2).sum(axis=1)


def _spreads(profiled: Profiled, score: Floats, hoods: Hoods, pool: Bools) -> Floats:
    """Robust spread that each score is measured by: of its class, or larger, of the class nearby.

    Rows stand 5 m apart on a bend and 10 m on a straight, clay is rough here and
    rolled there: what is usual for the class may be little for the place.
    """
    group = hoods.group
    good = pool & ~np.isnan(score)
    spread = np.full(len(score), robust_spread(score[good]))
    for number in range(int(group.max(initial=-1)) + 1):
        rows = np.flatnonzero(group == number)
        known = rows[good[rows]]
        if len(known) < FEW:
            continue
        order = known[np.argsort(profiled.station[known], kind="stable")]
        width = min(LOCAL, len(order)) if hoods.local else len(order)
        sizes = np.lib.stride_tricks.sliding_window_view(np.abs(score[order]), width)
        local = MAD_TO_SD * np.median(sizes, axis=1)
        place = np.searchsorted(profiled.station[order], profiled.station[rows])
        window = np.clip(place - width // 2, 0, len(local) - 1)
        spread[rows] = np.maximum(local[window], robust_spread(score[known]))
    return spread
