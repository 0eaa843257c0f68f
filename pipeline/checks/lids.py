"""Lids as shot against the list of buried things, against the ground, and against each other.

A check of data, no locate: what is not on the list may be there all the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pipeline.checks.references import matched
from pipeline.checks.telling import at, millimetres
from pipeline.model import Bools, Feet, Finding, Findings, Floats, Ints, Shots, Utilities
from pipeline.settings import CheckRules

REACH_M = 1.0
"""A shot this near to a recorded place is of that lid, if its note names none [assumed]."""


def match_lids(shots: Shots, lids: Bools, record: Utilities) -> Ints:
    """Row of the record for each shot, -1 for none: by an id in its id or note, else by place."""
    return np.where(lids, matched(shots, record, REACH_M), -1)


def near_record(easting: Floats, northing: Floats, record: Utilities, reach_m: float) -> Bools:
    """True where a place lies within `reach_m` of a recorded thing, (n,)."""
    near = np.zeros(len(easting), dtype=bool)
    for east, north in zip(record.easting, record.northing, strict=True):
        near |= np.hypot(easting - east, northing - north) <= reach_m
    return near


def lid_findings(
    shots: Shots, feet: Feet, lids: Bools, record: Utilities, rules: CheckRules
) -> Findings:
    """Lids and record against each other.

    Parameters
    ----------
    shots : Shots
    feet : Feet
        Where the n shots lie.
    lids : bool (n,)
        Shots coded as a lid.
    record : Utilities
    rules : CheckRules
        ``fixed_moved_m`` and ``lids_apart_m``.

    Returns
    -------
    Findings
        ``person``: a lid whose height or place is not the recorded one, two lids
        nearer than two can be. ``note``: a record without height, so only its place is
        compared. What only one of the two has is told with the blade's reach, by
        `crew.buried`.
    """
    matched = match_lids(shots, lids, record)
    rows = np.flatnonzero(lids)
    found: list[Finding] = []
    for row in rows[matched[rows] >= 0]:
        found += _compared(shots, feet, int(row), (record, int(matched[row])), rules)
    found += _crowded(shots, feet, rows, matched, rules)
    return tuple(found)


def _compared(
    shots: Shots, feet: Feet, row: int, of: tuple[Utilities, int], rules: CheckRules
) -> list[Finding]:
    record, k = of
    dz = float(shots.elevation[row] - record.lid[k])
    plan = float(
        np.hypot(shots.easting[row] - record.easting[k], shots.northing[row] - record.northing[k])
    )
    found = []
    if plan > rules.lids_apart_m or abs(dz) > rules.fixed_moved_m:
        height = "" if np.isnan(dz) else f"{millimetres(dz)} in height and "
        text = (
            f"{record.id[k]} as shot is {height}{plan * 1000.0:.0f} mm in plan off its record; the"
            " depth to what breaks hangs on it"
        )
        do = "see whether the lid was moved; correct the list or shoot it again"
        found.append(Finding("person", "lid against record", text, do))
    if np.isnan(dz):
        text = f"{record.id[k]}: no lid height on record to compare the shot with"
        do = "write the shot height into the list"
        found.append(Finding("note", "lid against record", text, do))
    return [at(finding, shots, [row], feet) for finding in found]


def _crowded(
    shots: Shots, feet: Feet, rows: Ints, matched: Ints, rules: CheckRules
) -> list[Finding]:
    found = []
    for k, one in enumerate(rows):
        for other in rows[k + 1 :]:
            away = float(
                np.hypot(
                    shots.easting[one] - shots.easting[other],
                    shots.northing[one] - shots.northing[other],
                )
            )
            again = matched[one] >= 0 and matched[one] == matched[other]
            if away < rules.lids_apart_m and not again:
                text = (
                    f"{shots.id[one]} and {shots.id[other]} are {away:.2f} m apart: one lid"
                    " under two names, or one of them wrong"
                )
                finding = Finding("person", "lids too near", text, "look at the spot, correct one")
                found.append(at(finding, shots, [one, other], feet))
    return found


def rim_findings(
    shots: Shots, feet: Feet, lids: Bools, ground: ArrayLike, rules: CheckRules
) -> Findings:
    """Rims that stand out of the ground by more than ``rim_above_m``.

    ``ground`` is the surface at each of the n shots [m], NaN where it does not reach.
    """
    over = shots.elevation - np.asarray(ground, dtype=np.float64)
    found = []
    for row in np.flatnonzero(lids & (np.nan_to_num(over) > rules.rim_above_m)):
        text = (
            f"rim of {shots.id[row]} stands {over[row]:.2f} m above the ground around it: a wrong"
            " rod, or a thing that the blade meets"
        )
        do = "look at it before a machine comes near; shoot it again"
        found.append(at(Finding("person", "rim above ground", text, do), shots, [row], feet))
    return tuple(found)
