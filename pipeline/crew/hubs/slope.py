"""Slope stakes: where a slope from the section meets the ground."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.crew.hubs.references import reference_line
from pipeline.crew.measures import measures
from pipeline.crew.words import hub_mark
from pipeline.design import alignment as line
from pipeline.model import Corridor, Floats, Surface
from pipeline.model.arrays import lock_fields
from pipeline.settings import Rounding
from pipeline.settings_crew import SlopeRules
from pipeline.surface import locate

BRACKET_M = 0.25
"""The first crossing is looked for in steps of this length; a thinner ridge is stepped over."""
EXACT_M = 0.001


def first_catch(above: Callable[[Floats], Floats], n: int, reach_m: float) -> Floats:
    """Where n functions of distance first reach zero, by bracket and bisection [m].

    Parameters
    ----------
    above : callable
        Takes distances, shape (n,), and gives ground less slope, (n,): NaN where the
        ground was not surveyed.
    n : int
    reach_m : float
        How far out to look.

    Returns
    -------
    ndarray, shape (n,)
        To 1 mm; 0 where the slope starts on the ground; NaN where the ground ends before
        the slope meets it, or it never does.

    Notes
    -----
    The plain iteration x = H |ground - hinge| can run away on cross-sloping ground; this
    cannot. Of several crossings the one nearest the hinge is taken.
    """
    near, catch = np.zeros(n), np.full(n, np.nan)
    start = above(near)
    catch[np.abs(start) <= 1e-9] = 0.0
    alive = np.isfinite(start) & np.isnan(catch)
    bracketed = np.zeros(n, dtype=bool)
    low, high = np.zeros(n), np.zeros(n)
    for k in range(1, int(np.ceil(reach_m / BRACKET_M)) + 1):
        far = np.full(n, min(k * BRACKET_M, reach_m))
        value = above(far)
        crossed = alive & ~bracketed & np.isfinite(value) & (value * start <= 0)
        low[crossed], high[crossed] = near[crossed], far[crossed]
        bracketed |= crossed
        alive &= bracketed | np.isfinite(value)
        near = far
    for _ in range(int(np.ceil(np.log2(BRACKET_M / EXACT_M))) + 4):
        middle = 0.5 * (low + high)
        same = above(middle) * start > 0
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.where(bracketed, 0.5 * (low + high), catch)


@dataclass(frozen=True, slots=True, eq=False)
class SlopeStakes:
    """n slope stakes: station and side, catch point, and the cut or fill there to the hinge.

    ``out`` is from the hinge to the catch point [m], ``cut`` its height above the hinge
    [m], + cut; ``ratio`` horizontal to one vertical. NaN where there is no catch point.
    """

    station: Floats
    side: Floats
    hinge: Floats
    out: Floats
    cut: Floats
    ratio: Floats

    def __post_init__(self) -> None:
        n = len(self.station)
        names = ("station", "side", "hinge", "out", "cut", "ratio")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))

    def __len__(self) -> int:
        return len(self.station)


def slope_stakes(
    corridor: Corridor, ground: Surface, station: Floats, rules: SlopeRules
) -> SlopeStakes:
    """A slope stake on both sides at each station; none where the rules name no hinge.

    Up the left, down the right. Ground above the hinge is cut and the slope rises from
    it, ground below is fill and it falls.

    Raises
    ------
    DesignError
        No layer has the hinge break.
    """
    if not rules.hinge:
        nothing = np.empty(0)
        return SlopeStakes(*[nothing] * 6)
    s = np.concatenate([station, station[::-1]])
    side = np.repeat([-1, 1], len(station))
    hinge = reference_line(corridor, rules.hinge, s, side)
    s, side = s[np.isfinite(hinge.offset)], side[np.isfinite(hinge.offset)]
    hinge = reference_line(corridor, rules.hinge, s, side)

    def place(out: Floats) -> tuple[Floats, Floats]:
        east, north, _ = line.point_at(corridor.alignment, s, hinge.offset + side * out)
        return east, north

    up = locate.interpolate(ground, *place(np.zeros(len(s)))) >= hinge.elevation
    ratio = np.where(up, rules.cut_slope, rules.fill_slope)
    rise = np.where(up, 1.0, -1.0) / ratio

    def above(out: Floats) -> Floats:
        return locate.interpolate(ground, *place(out)) - (hinge.elevation + rise * out)

    out = first_catch(above, len(s), rules.reach_m)
    return SlopeStakes(
        station=s,
        side=side.astype(float),
        hinge=hinge.offset,
        out=out,
        cut=rise * out,
        ratio=ratio,
    )


def mark(stakes: SlopeStakes, row: int, rounding: Rounding) -> tuple[str, ...]:
    """Lines on a slope stake: ``SS``, ``C 0.60 @ 4.2``, ``2:1``; ``NOT SHOT`` without a catch.

    The distance is from the centreline, as published slope-stake convention has it
    (REF-GS-8).
    """
    if np.isnan(stakes.out[row]):
        return ("SS", "NOT SHOT")
    away = abs(float(stakes.hinge[row])) + float(stakes.out[row])
    cut = hub_mark(float(stakes.cut[row]), 0.01, rounding)
    where = f" @ {measures(rounding).long(away)}" if cut != "ON GRADE" else ""
    return ("SS", f"{cut}{where}", f"{stakes.ratio[row]:g}:1")
