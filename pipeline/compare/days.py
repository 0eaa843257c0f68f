"""Two mornings of one street: what moved, and whether it surely did.

Two things change the heights of a street overnight. A grader changes some of
them; a base set up on the wrong height changes all of them alike. Hubs, lids and
control do not move when the grader works, so what they all show is the datum,
and it is taken off before anything is called earthwork.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.compare.overlay import overlay
from pipeline.compare.pieces import corner_weights, fan, triangle_areas
from pipeline.compare.quantities import volumes_per_piece
from pipeline.design import feet as feet_of
from pipeline.model import Alignment, Bools, Floats, Ints, Overlay, Shots, Surface, Texts
from pipeline.model.arrays import lock_fields
from pipeline.model.spread import robust_spread

SAME_THING_M = 0.15
"""Two shots this close in plan on two days are one hub, lid or control point [assumed]."""
FEWEST = 3
"""With fewer fixed things one that was hit is half of the evidence: no shift is told."""
FIXED_SD_M = 0.007
"""Standard deviation of the change of one fixed thing, 5 mm a shot [assumed]; a few that
agree by luck are not believed to be better than this."""
SESSION_SD_M = 0.012
"""Standard deviation of the height of one morning's datum where nothing fixed was shot on
both [assumed]: two mornings then differ by 17 mm and no swell can be told."""
SURE = 2.0
"""Standard deviations beyond which a change is sure: 95 of 100 by the normal law."""
SURE_VOLUME = 3.0
"""Times the volume that the shots' noise shows on average, for a volume to be sure [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class FixedThings:
    """Things that earthwork does not move, shot on both days: change is after minus before [m]."""

    id: Texts
    easting: Floats
    northing: Floats
    change: Floats

    def __post_init__(self) -> None:
        n = len(self.change)
        lock_fields(self, {"id": (object, (n,))})
        lock_fields(self, dict.fromkeys(("easting", "northing", "change"), (np.float64, (n,))))


@dataclass(frozen=True, slots=True)
class Shift:
    """How much higher the later morning's datum stands [m], from ``things`` fixed things.

    ``shift_m`` is NaN where there are too few. ``sure``: it is more than noise, and
    is taken off. ``hit`` names the things that moved on their own.
    """

    shift_m: float
    se_m: float
    things: int
    sure: bool
    hit: tuple[str, ...]

    @property
    def taken_off_m(self) -> float:
        """What is subtracted from the later ground: the shift where it is sure, else 0."""
        return self.shift_m if self.sure else 0.0

    @property
    def doubt_m(self) -> float:
        """Standard deviation that the whole later ground shares [m]."""
        if math.isnan(self.shift_m):
            return math.sqrt(2.0) * SESSION_SD_M
        return self.se_m if self.sure else math.hypot(self.se_m, self.shift_m)


@dataclass(frozen=True, slots=True, eq=False)
class DayChange:
    """Change of the ground by stretch of the street, the datum's shift taken off.

    Stretch k lies between stations ``start[k]`` and ``end[k]``. ``mean_m`` is the
    mean change, raised +, over ``area_m2`` that both mornings cover, known to
    ``sd_m``; ``raised_m3`` and ``lowered_m3`` are apart, none negative;
    ``noise_m3`` is as much as either could be if nothing had moved.
    """

    start: Floats
    end: Floats
    area_m2: Floats
    mean_m: Floats
    sd_m: Floats
    raised_m3: Floats
    lowered_m3: Floats
    noise_m3: Floats

    def __post_init__(self) -> None:
        n = len(self.start)
        names = (
            "start", "end", "area_m2", "mean_m", "sd_m", "raised_m3", "lowered_m3", "noise_m3",
        )  # fmt: skip
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))

    @property
    def sure(self) -> Bools:
        """True where the stretch surely moved: its mean, or one of its volumes, is beyond noise."""
        volume = np.maximum(self.raised_m3, self.lowered_m3) > self.noise_m3
        return np.asarray((np.abs(self.mean_m) > SURE * self.sd_m) | volume)


def fixed_things(before: Shots, after: Shots, *, reach_m: float = SAME_THING_M) -> FixedThings:
    """The fixed things that both mornings shot, paired by place.

    Parameters
    ----------
    before, after : Shots
        Only shots of things that do not move: hubs, lids, control.
    reach_m : float
        Largest distance in plan between the two shots of one thing [m].

    Returns
    -------
    FixedThings
        Each shot at most once: two are a pair where either is the nearest to the other.
    """
    from scipy.spatial import cKDTree

    if not (len(before) and len(after)):
        return FixedThings(np.empty(0, dtype=object), np.empty(0), np.empty(0), np.empty(0))
    origin = before.easting[0], before.northing[0]
    old, new = (
        np.column_stack([shots.easting - origin[0], shots.northing - origin[1]])
        for shots in (before, after)
    )
    distance, near = cKDTree(old).query(new)
    there = np.asarray(near, dtype=np.int64)
    back = np.asarray(cKDTree(new).query(old)[1], dtype=np.int64)
    rows = np.flatnonzero((np.asarray(distance) <= reach_m) & (back[there] == np.arange(len(new))))
    return FixedThings(
        id=after.id[rows],
        easting=after.easting[rows],
        northing=after.northing[rows],
        change=after.elevation[rows] - before.elevation[there[rows]],
    )


def datum_shift(things: FixedThings, *, least_m: float) -> Shift:
    """What all fixed things moved by alike, and which moved on their own.

    Parameters
    ----------
    things : FixedThings
    least_m : float
        A smaller shift is nothing to act on [m], and a thing that differs from the
        others by less was not hit.

    Notes
    -----
    The median change, and 1.25 · 1.4826 MAD / √n as its standard error (MAD: the
    median absolute deviation), not below 1.25 `FIXED_SD_M` / √n. Up to half of the
    things may have been hit. The shift is sure beyond 3 standard errors and `least_m`.

    References
    ----------
    1.4826 makes the MAD the standard deviation of a normal sample, √(π/2) = 1.25
    is the price of the median: Huber, Robust Statistics (1981), from memory.
    """
    n = len(things.change)
    if n < FEWEST:
        return Shift(math.nan, math.nan, n, sure=False, hit=())
    shift = float(np.median(things.change))
    apart = np.abs(things.change - shift)
    sd = max(robust_spread(things.change), FIXED_SD_M)
    se = 1.25 * sd / math.sqrt(n)
    hit = apart > max(3.0 * sd, least_m)
    return Shift(
        shift_m=shift,
        se_m=se,
        things=n,
        sure=abs(shift) > max(3.0 * se, least_m),
        hit=tuple(str(name) for name in things.id[hit]),
    )


def compare_days(
    grounds: tuple[Surface, Surface],
    noise: tuple[Floats, Floats],
    alignment: Alignment,
    shift: Shift,
    *,
    step_m: float = 20.0,
) -> DayChange:
    """What moved between two mornings, by stretch of the street.

    Parameters
    ----------
    grounds : (Surface, Surface)
        Before and after.
    noise : (ndarray, ndarray)
        Standard deviation of the height of every vertex of either [m].
    alignment : Alignment
        Stretches begin at whole multiples of `step_m` along it.
    shift : Shift
        `datum_shift` of the two mornings.
    step_m : float
        Length of a stretch [m].

    Returns
    -------
    DayChange
        Only stretches that both mornings cover. A piece of ground counts where its
        middle lies, so a stretch ends within a triangle's width of its station.

    Notes
    -----
    The volume is exact: the two surfaces are overlaid triangle by triangle. Its mean
    over a stretch is a sum of the vertices' heights with known weights, so the
    independent noise of the shots passes exactly, and what the whole morning shares
    (`Shift.doubt_m`) adds to every stretch. What the ground does between two
    shots is in neither.
    """
    before, after = grounds
    change = overlay(after, before)
    change = _shifted(change, shift.taken_off_m)
    raised, lowered, area = volumes_per_piece(change)
    middle, _ = _middles(change)
    feet = feet_of.locate(alignment, middle[0] + change.origin[0], middle[1] + change.origin[1])
    number = np.floor(np.nan_to_num(feet.station) / step_m).astype(np.int64)
    stretches, slot = np.unique(number, return_inverse=True)
    where = slot.astype(np.int64)
    total = [_summed(where, v, len(stretches)) for v in (area, raised, lowered)]
    variance, local = _noise_of(change, (before, after), noise, (where, total[0]))
    return DayChange(
        start=np.asarray(stretches * step_m, dtype=np.float64),
        end=np.asarray((stretches + 1) * step_m, dtype=np.float64),
        area_m2=total[0],
        mean_m=(total[1] - total[2]) / total[0],
        sd_m=np.sqrt(variance + shift.doubt_m**2),
        raised_m3=total[1],
        lowered_m3=total[2],
        # the mean of the positive part of a normal variable is its deviation / √(2π)
        noise_m3=total[0] * (SURE_VOLUME * local / math.sqrt(2.0 * math.pi) + SURE * shift.doubt_m),
    )


def _shifted(change: Overlay, down_m: float) -> Overlay:
    return Overlay(
        origin=change.origin, x=change.x, y=change.y, cut=change.cut - down_m,
        start=change.start, ground_triangle=change.ground_triangle,
        design_triangle=change.design_triangle,
    )  # fmt: skip


def _middles(pieces: Overlay) -> tuple[tuple[Floats, Floats], Floats]:
    """Centroid of every piece, near zero, and its area."""
    triangles, owner = fan(pieces.start)
    areas = triangle_areas(pieces.x, pieces.y, triangles)
    count = len(pieces.ground_triangle)
    whole = _summed(owner, areas, count)
    x, y = (
        _summed(owner, areas * v[triangles].mean(axis=1), count) / whole
        for v in (pieces.x, pieces.y)
    )
    return (x, y), whole


def _summed(where: Ints, values: Floats, count: int) -> Floats:
    """Sum of the values that belong to each of `count` groups."""
    return np.asarray(np.bincount(where, values, count), dtype=np.float64)


def _noise_of(
    change: Overlay,
    grounds: tuple[Surface, Surface],
    noise: tuple[Floats, Floats],
    stretch: tuple[Ints, Floats],
) -> tuple[Floats, Floats]:
    """Variance of each stretch's mean, and the deviation of the change at one place of it.

    The integral of a linear function over a piece is its area times the value in its
    middle, so the weight of a vertex is the sum of area times barycentric weight.
    """
    where, total = stretch
    before, after = grounds
    (x, y), area = _middles(change)
    variance, local = np.zeros(len(total)), np.zeros(len(total))
    for surface, triangle, sd in (
        (after, change.ground_triangle, noise[1]),
        (before, change.design_triangle, noise[0]),
    ):
        shift = change.origin - surface.origin
        corner = surface.triangles[triangle]
        share = corner_weights(
            surface.x[corner] - (x + shift[0])[:, None], surface.y[corner] - (y + shift[1])[:, None]
        )
        key = (where[:, None] * np.int64(len(surface.x)) + corner).ravel()
        pairs, slot = np.unique(key, return_inverse=True)
        weight = _summed(slot.astype(np.int64), (share * area[:, None]).ravel(), len(pairs))
        of_stretch, vertex = np.divmod(pairs, np.int64(len(surface.x)))
        part = _summed(of_stretch, (weight * sd[vertex]) ** 2, len(total))
        variance += part / total**2
        here = ((share * sd[corner]) ** 2).sum(axis=1)
        local += _summed(where, area * here, len(total)) / total
    return variance, np.sqrt(local)
