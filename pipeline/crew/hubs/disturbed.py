"""Hubs that have moved: off their line or row, or not where they were shot before."""

from __future__ import annotations

import numpy as np

from pipeline.crew.measures import METRIC, Measures
from pipeline.model import Floats, Shots, Texts, texts
from pipeline.model.spread import MAD_TO_SD
from pipeline.settings import StakeRules
from pipeline.units import format_side

LINE_NEEDS = 5
"""Hubs of one side from which their common line can be told [assumed]."""
ROW_NEEDS, ROW_LEAST_M, ROW_TIMES = 8, 0.10, 6.0
"""Hubs from which the habit of a row can be told; what is told at the least, and at how many
standard deviations of that habit [assumed]."""


def off_line(offset: Floats, behind: Floats, rules: StakeRules, unit: Measures = METRIC) -> Texts:
    """Words for each hub that does not stand in line with the others of its side, (n,).

    The line is the median distance behind the reference where a side has five hubs or
    more, so a crew that sets its hubs at another offset than the job says is told once
    (`not_as_stated`), not at every hub.
    """
    words = np.full(len(offset), "", dtype=object)
    for side in (-1, 1):
        rows = np.flatnonzero((np.sign(offset) == side) & np.isfinite(behind))
        if not len(rows):
            continue
        line = float(np.median(behind[rows])) if len(rows) >= LINE_NEEDS else rules.hub_behind_m
        for k in rows:
            off = float(behind[k]) - line
            if abs(off) > rules.moved_h_m + 1e-9:
                way = "farther out" if off > 0 else "farther in"
                words[k] = (
                    f"DISTURBED? {unit.long(abs(off), 0.001)} {unit.unit} {way} than its line"
                )
    return texts(words.tolist())


def out_of_row(station: Floats, offset: Floats, above: Floats, unit: Measures = METRIC) -> Texts:
    """Words for each hub whose top stands apart in height from the hubs beside it, (n,).

    A row of hubs follows the ground, and so does its height over the design: slowly. A rod
    read wrong at one hub, or a digit of it mistyped, stands out of the row; how far a hub may
    is told by all hubs of its side, so that rough ground raises no alarm.

    Parameters
    ----------
    station, offset, above : ndarray, shape (n,)
        Where the hubs of one street stand, and their tops over the reference [m].
    unit : Measures
        What the words are told in.
    """
    words = np.full(len(offset), "", dtype=object)
    for side in (-1, 1):
        rows = np.flatnonzero((np.sign(offset) == side) & np.isfinite(above))
        if len(rows) < ROW_NEEDS:
            continue
        rows = rows[np.argsort(station[rows], kind="stable")]
        row = above[rows]
        # off the middle of its neighbours and off that of the next: one of these that is wrong
        # itself, or a change of slope, shows in one of the two only
        near = row[2:-2] - (row[1:-3] + row[3:-1]) / 2
        far = row[2:-2] - (row[:-4] + row[4:]) / 2
        least = np.where(np.abs(near) < np.abs(far), near, far)
        apart = np.zeros(len(row))
        apart[2:-2] = np.where(near * far > 0, least, 0.0)
        limit = max(ROW_LEAST_M, ROW_TIMES * MAD_TO_SD * float(np.median(np.abs(near))))
        for k in np.flatnonzero(np.abs(apart) > limit):
            way = "above" if apart[k] > 0 else "below"
            much = f"{unit.long(abs(float(apart[k])), 0.001)} {unit.unit}"
            words[rows[k]] = f"DISTURBED? {much} {way} the hubs beside it"
    return texts(words.tolist())


def not_as_stated(
    offset: Floats, behind: Floats, rules: StakeRules, unit: Measures = METRIC
) -> tuple[str, ...]:
    """A sentence for each side whose hubs stand at another distance than the job states."""
    said = []
    for side in (-1, 1):
        here = behind[(np.sign(offset) == side) & np.isfinite(behind)]
        if len(here) < LINE_NEEDS:
            continue
        line = float(np.median(here))
        if abs(line - rules.hub_behind_m) > rules.moved_h_m:
            said.append(
                f"hubs {format_side(side)} stand {unit.long(line, 0.01)} {unit.unit} behind"
                f" {rules.reference}, the job says {unit.long(rules.hub_behind_m, 0.01)}"
                f" {unit.unit}"
            )
    return tuple(said)


def moved_since(now: Shots, before: Shots, rules: StakeRules, unit: Measures = METRIC) -> Texts:
    """Words for each hub of today that moved since it was shot before, by its id, (n,).

    Parameters
    ----------
    now, before : Shots
        Hubs of today and of an earlier morning; of several shots of one id in `before`
        the last counts.
    rules : StakeRules
        ``moved_h_m`` and ``moved_v_m``.
    unit : Measures
        What the words are told in.
    """
    rows = {str(name): k for k, name in enumerate(before.id)}
    words = []
    for k, name in enumerate(now.id):
        j = rows.get(str(name))
        words.append("" if j is None else _moved((now, k), (before, j), rules, unit))
    return texts(words)


def shot_twice(hubs: Shots, rules: StakeRules, unit: Measures = METRIC) -> Texts:
    """Words for each hub whose id was shot at two places or heights this morning, (n,)."""
    first: dict[str, int] = {}
    words = []
    for k, name in enumerate(hubs.id):
        j = first.setdefault(str(name), k)
        words.append(_moved((hubs, k), (hubs, j), rules, unit) if j != k else "")
    return texts(words)


def _moved(
    new: tuple[Shots, int], old: tuple[Shots, int], rules: StakeRules, unit: Measures
) -> str:
    (now, k), (before, j) = new, old
    away = float(np.hypot(now.easting[k] - before.easting[j], now.northing[k] - before.northing[j]))
    rise = float(now.elevation[k] - before.elevation[j])
    said = []
    if away > rules.moved_h_m + 1e-9:
        said.append(f"{unit.long(away, 0.001)} {unit.unit} sideways")
    if abs(rise) > rules.moved_v_m + 1e-9:
        said.append(f"{unit.long(abs(rise), 0.001)} {unit.unit} {'up' if rise > 0 else 'down'}")
    return f"DISTURBED: moved {', '.join(said)}" if said else ""
