"""Fixed things since yesterday: one that moved, told from everything that moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.checks.bust import median_and_error
from pipeline.checks.telling import at, counted, millimetres, volume_text
from pipeline.model import Bools, Feet, Finding, Findings, Floats, Ints, Shots
from pipeline.model.arrays import lock_fields
from pipeline.settings import CheckRules

FEWEST = 3
"""Fixed things that a common shift needs: of two nobody can say which one moved."""
SHOT_SD_M = 0.004
"""No fixed thing is believed to be shot better than this on two days [assumed]."""
REACH_M, HIT_M = 0.3, 3.0
"""A fixed thing is looked for this near, and by its id this far, if it was hit [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Fixed things of two days, n of today's shots.

    ``before`` is the row of yesterday's shot, -1 for none; ``dz`` today minus
    yesterday [m] and ``plan`` the distance moved [m], NaN for none. ``shift`` is
    what all have in common, known to ``se`` [m], NaN of fewer than three;
    ``moved`` are those that stand off it.
    """

    before: Ints
    dz: Floats
    plan: Floats
    shift: float
    se: float
    moved: Bools

    def __post_init__(self) -> None:
        n = len(self.dz)
        lock_fields(self, {"before": (np.int64, (n,)), "moved": (np.bool_, (n,))})
        lock_fields(self, dict.fromkeys(("dz", "plan"), (np.float64, (n,))))


def compare_fixed(today: Shots, yesterday: Shots, rules: CheckRules) -> Moves:
    """Hubs, lids and control of two days, the common shift apart from what moved alone.

    Parameters
    ----------
    today, yesterday : Shots
        Fixed things only. Each is matched by place among those of its code; else by
        its id within 3 m, for a hub that was hit. Ids alone do not do: instruments
        number from one every morning.
    rules : CheckRules
        ``fixed_moved_m``.

    Notes
    -----
    The shift is the median of the height differences, se = 1.25 s / sqrt(n) with s the
    larger of 1.4826 MAD and 4 mm: up to half of the things may have been hit.
    """
    before = _same_things(today, yesterday)
    there = before >= 0
    dz, plan = np.full(len(today), np.nan), np.full(len(today), np.nan)
    old = before[there]
    dz[there] = today.elevation[there] - yesterday.elevation[old]
    plan[there] = np.hypot(
        today.easting[there] - yesterday.easting[old],
        today.northing[there] - yesterday.northing[old],
    )
    shift, se = median_and_error(dz, shot_sd_m=SHOT_SD_M)
    if int(there.sum()) < FEWEST:
        shift, se = np.nan, np.nan
    off = np.abs(dz - np.nan_to_num(shift)) > rules.fixed_moved_m
    return Moves(before, dz, plan, shift, se, off & there)


def _same_things(today: Shots, yesterday: Shots) -> Ints:
    """Row of yesterday's shot of each thing, -1 for none."""
    rows = np.full(len(today), -1, dtype=np.int64)
    for row in range(len(today)):
        alike = np.flatnonzero(yesterday.code == today.code[row])
        away = np.hypot(
            yesterday.easting[alike] - today.easting[row],
            yesterday.northing[alike] - today.northing[row],
        )
        same_id = yesterday.id[alike] == today.id[row]
        near = alike[(away <= REACH_M) | (same_id & (away <= HIT_M))]
        if len(near):
            rows[row] = near[np.argmin(away[np.isin(alike, near)])]
    return rows


def shifted(moves: Moves, rules: CheckRules) -> bool:
    """Whether everything moved together by more than chance and more than matters."""
    return bool(abs(moves.shift) > max(3.0 * moves.se, rules.fixed_moved_m))


def net_change(change: ArrayLike, moves: Moves, rules: CheckRules) -> Floats:
    """Change of the ground since yesterday [m] without the common shift, where there is one.

    Examples
    --------
    A datum 30 mm too high and 50 mm graded off read as 20 mm off; net it is 50:

    >>> fixed = Moves([0, 1, 2], [0.03] * 3, [0.0] * 3, 0.03, 0.003, [False] * 3)
    >>> net_change([-0.02, 0.03], fixed, CheckRules()).round(3).tolist()
    [-0.05, 0.0]
    """
    values = np.asarray(change, dtype=np.float64)
    return values - moves.shift if shifted(moves, rules) else values


def day_findings(
    today: Shots, feet: Feet, moves: Moves, area_m2: float, rules: CheckRules
) -> Findings:
    """The common shift with its cost over `area_m2` of street; each thing that moved alone."""
    found = []
    there = np.flatnonzero(moves.before >= 0)
    if shifted(moves, rules):
        worth = volume_text(abs(moves.shift) * area_m2, rules.load_m3)
        text = (
            f"{counted(len(there), 'fixed thing')} stand {millimetres(moves.shift)} off yesterday"
            f" together (sd {moves.se * 1000.0:.0f} mm): datum, set-up or rod, not the grader;"
            f" over the street {worth}"
        )
        do = "check the bench mark and the set-up before any cut of today is painted"
        found.append(at(Finding("stop", "everything moved", text, do), today, there, feet))
    elif len(there) < FEWEST:
        text = (
            f"{counted(len(there), 'fixed thing')} shot on both days: a datum shift would not show"
        )
        do = f"shoot {FEWEST} or more hubs, lids or control points every day"
        found.append(Finding("note", "few fixed things", text, do))
    for row in np.flatnonzero(moves.moved):
        own = float(moves.dz[row] - np.nan_to_num(moves.shift))
        text = (
            f"{today.id[row]} moved {millimetres(own)} in height since yesterday"
            f" ({moves.plan[row] * 1000.0:.0f} mm in plan) while the others did not"
        )
        do = "look whether it was hit or lowered; take no height from it until it is set again"
        found.append(at(Finding("person", "thing moved", text, do), today, [row], feet))
    return tuple(found)
