"""Runs of shots that stand off their neighbours by a constant: a rod or an instrument height."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.checks.bust import median_and_error, name_constant
from pipeline.checks.telling import at, stretch_text
from pipeline.model import Bools, Feet, Finding, Findings, Floats, Ints, Shots, Texts
from pipeline.model.arrays import lock_fields
from pipeline.model.spread import robust_spread
from pipeline.units import Called, format_station

REACH_M = 35.0
"""Neighbours are looked for this far along the street [assumed]."""
ASIDE_M = 1.0
"""Neighbours lie at the same offset within this [assumed]."""
NEIGHBOURS = 6
ROUGHNESS = 4.0
"""A constant below this many spreads of the clay's own roughness is roughness [assumed]."""
SHORTEST_RUN = 5
"""Shots that a run needs before its constant can be told from roughness: with five a bust
of 30 mm is found in 84 of 100 cases at 12 mm noise, as `bust.OVERLAPS` has it."""


@dataclass(frozen=True, slots=True)
class Run:
    """Consecutive shots that stand off by ``offset_m`` with standard error ``error_m``."""

    rows: tuple[int, ...]
    offset_m: float
    error_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Profiled:
    """Shots by where they lie on the street, n rows.

    ``height`` is above the profile, so that the street's own grade does not
    show. ``feature`` keeps an edge among edges and a bank among banks.
    """

    height: Floats
    station: Floats
    offset: Floats
    feature: Texts

    def __post_init__(self) -> None:
        n = len(self.feature)
        lock_fields(self, dict.fromkeys(("height", "station", "offset"), (np.float64, (n,))))
        lock_fields(self, {"feature": (object, (n,))})


def residuals(shots: Profiled, pool: Bools) -> Floats:
    """How far each shot stands off the median of its like nearby [m].

    Parameters
    ----------
    shots : Profiled
        Compared with shots of the same feature only, so that a curb or a bank is no fault.
    pool : bool (n,)
        Shots that may serve as neighbours.

    Returns
    -------
    (n,) float64
        NaN where fewer than two of its like lie within reach.

    Notes
    -----
    The median of up to six neighbours, nearest first, at other stations (more
    than half a metre along). Two neighbours in the same bust do not carry it away.
    """
    result = np.full(len(shots.height), np.nan)
    for name in sorted(set(shots.feature)):
        rows = np.flatnonzero(shots.feature == name)
        like = rows[pool[rows]]
        if len(like) >= 2:
            result[rows] = _against(shots, rows, like)
    return result


def _against(shots: Profiled, rows: Ints, like: Ints) -> Floats:
    from scipy.spatial import cKDTree

    def scaled(chosen: Ints) -> Floats:
        return np.column_stack([shots.station[chosen], shots.offset[chosen] * (REACH_M / ASIDE_M)])

    count = min(len(like), 3 * NEIGHBOURS)
    distance, index = cKDTree(scaled(like)).query(
        scaled(rows), k=np.arange(1, count + 1), distance_upper_bound=REACH_M
    )
    there = np.isfinite(distance)
    neighbour = like[np.where(there, index, 0)]
    there &= np.abs(shots.station[neighbour] - shots.station[rows][:, None]) > 0.5
    # the nearest that count, in order of distance
    there &= np.cumsum(there, axis=1) <= NEIGHBOURS
    around = np.where(there, shots.height[neighbour], np.nan)
    enough = there.sum(axis=1) >= 2
    result = np.full(len(rows), np.nan)
    result[enough] = shots.height[rows][enough] - np.nanmedian(around[enough], axis=1)
    return result


def find_runs(shots: Shots, usable: Bools, profiled: Profiled, limit_m: float) -> tuple[Run, ...]:
    """Runs of consecutive shots of one set-up that stand off by more than `limit_m`.

    A run is at least five shots, all on one side of half the limit; two shots
    that do not follow, or have no residual, may stand between. Its constant is
    the median, its standard error 1.25 x 1.4826 x MAD / sqrt(n), n those that
    have a residual, and it counts if it is more than three errors, more than the
    limit and more than `ROUGHNESS` times the spread of all residuals from zero:
    five shots in a hollow of rough clay are no bust. The strongest run is taken
    out of the neighbours before the rest is judged, for a bust makes its good
    neighbours look bad; shots at its ends that do not share its constant are
    given back.
    """
    groups = _groups(shots, np.flatnonzero(usable))
    pool = usable.copy()
    found: list[Run] = []
    while True:
        residual = residuals(profiled, pool)
        residual[~pool] = np.nan
        least = max(limit_m, ROUGHNESS * robust_spread(residual))
        strongest = max(
            (run for group in groups for run in _runs_of(group, residual, least)),
            key=lambda run: abs(run.offset_m) * len(run.rows) ** 0.5,
            default=None,
        )
        if strongest is None:
            return tuple(sorted(found, key=lambda run: run.rows[0]))
        pool[list(strongest.rows)] = False
        again = residuals(profiled, pool)
        kept = _without_good_ends(np.array(strongest.rows), again, strongest.offset_m)
        confirmed = _measured(kept, again, least)
        if confirmed is not None:
            found.append(confirmed)
            pool[np.setdiff1d(strongest.rows, kept)] = True


def _without_good_ends(rows: Ints, residual: Floats, offset_m: float) -> Ints:
    """The run from its first to its last shot that stands off by at least half its constant."""
    bad = np.flatnonzero(residual[rows] * np.sign(offset_m) > abs(offset_m) / 2)
    return rows[bad[0] : bad[-1] + 1] if len(bad) else rows[:0]


def _runs_of(group: Ints, residual: Floats, limit_m: float) -> list[Run]:
    found = []
    for sign in (1.0, -1.0):
        for stretch in _stretches(group, sign * residual, limit_m / 2):
            run = _measured(stretch, residual, limit_m)
            if run is not None:
                found.append(run)
    return found


def _groups(shots: Shots, order: Ints) -> list[Ints]:
    """Rows of one file and one set-up, in the order shot."""
    groups: dict[tuple[int, str], list[int]] = {}
    for row in order:
        groups.setdefault((int(shots.file[row]), str(shots.setup[row])), []).append(int(row))
    return [np.array(rows) for rows in groups.values()]


def _stretches(rows: Ints, residual: Floats, threshold: float) -> list[Ints]:
    """Stretches of `rows` above the threshold, bridging up to two shots that are not."""
    above = np.flatnonzero(np.nan_to_num(residual[rows]) > threshold)
    if not len(above):
        return []
    breaks = np.flatnonzero(np.diff(above) > 3) + 1
    return [rows[part] for part in np.split(above, breaks)]


def _measured(rows: Ints, residual: Floats, limit_m: float) -> Run | None:
    if np.isfinite(residual[rows]).sum() < SHORTEST_RUN:
        return None
    constant, error = median_and_error(residual[rows], shot_sd_m=0.0)
    if abs(constant) <= max(3 * error, limit_m):
        return None
    return Run(tuple(int(row) for row in rows), constant, error)


def findings(
    shots: Shots,
    feet: Feet,
    runs: tuple[Run, ...],
    constants: Mapping[str, float],
    *,
    set_aside: bool,
    called: Called = format_station,
) -> Findings:
    """One finding a run: how many, how far, where, what it equals, and what follows.

    ``constants`` are heights that people mix up, by name; the run is only said
    to equal one, nothing is corrected.
    """
    what = "kept out of the surface" if set_aside else "still in the surface"
    return tuple(_finding(shots, feet, run, constants, (called, what)) for run in runs)


def _finding(
    shots: Shots,
    feet: Feet,
    run: Run,
    constants: Mapping[str, float],
    said: tuple[Called, str],
) -> Finding:
    called, what = said
    rows = list(run.rows)
    side = "high" if run.offset_m > 0 else "low"
    # rough clay hides a few millimetres, however small the spread looks
    names = name_constant(run.offset_m, max(run.error_m, 0.005), constants)
    equals = f"; equals {' or '.join(names[:3])}" if names else ""
    text = (
        f"{len(rows)} shots in a row stand {abs(run.offset_m):.3f} m {side}"
        f" (+/- {run.error_m:.3f}), {stretch_text(feet.station[rows], called)}{equals}; {what}"
    )
    do = "ask for the rod height and what was shot; correct the file or shoot the stretch again"
    return at(Finding("person", "suspected bust", text, do), shots, rows, feet)
