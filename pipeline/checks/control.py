"""Control shot again this morning against its record."""

from __future__ import annotations

import numpy as np

from pipeline.checks.references import matched
from pipeline.checks.telling import at
from pipeline.model import Finding, Findings, Severity, Shots
from pipeline.settings import CheckRules

REACH_M = 1.0
"""A check shot this near to a recorded point is of that point, if it names none [assumed]."""


def control_shots(shots: Shots, record: Shots, rules: CheckRules) -> Findings:
    """Each re-shot control point: within, over the warning, or over the limit.

    Parameters
    ----------
    shots : Shots
        The morning's check shots; each is matched by the record's id in its own
        id or note, else by the nearest record within a metre.
    record : Shots
        The job's control.
    rules : CheckRules
        Warning and stop limits, plan and height apart.

    Returns
    -------
    Findings
        ``stop`` over a stop limit, ``person`` over a warning, ``note`` with the
        figures otherwise. Fewer than two different points checked is itself a
        finding: one point proves nothing about the rest.
    """
    found = []
    checked: set[int] = set()
    for row, match in enumerate(matched(shots, record, REACH_M).tolist()):
        if match < 0:
            found.append(_unmatched(shots, row))
            continue
        checked.add(match)
        found.append(_compare(shots, row, record, match, rules))
    if len(checked) < 2:
        text = f"{len(checked)} of {len(record)} control points shot this morning"
        found.append(
            Finding(
                severity="person",
                kind="control not checked",
                text=f"{text}: the set-up is not checked",
                do="shoot at least two control points, opening and closing",
            )
        )
    return tuple(found)


def _unmatched(shots: Shots, row: int) -> Finding:
    text = "check shot is not near any recorded control point"
    do = "name the control point in the note, or add it to the control file"
    return at(Finding("person", "control not known", text, do), shots, [row])


def _compare(shots: Shots, row: int, record: Shots, match: int, rules: CheckRules) -> Finding:
    de = float(shots.easting[row] - record.easting[match])
    dn = float(shots.northing[row] - record.northing[match])
    dz = float(shots.elevation[row] - record.elevation[match])
    plan = float(np.hypot(de, dn))
    severity: Severity = "note"
    verdict, do = "within tolerance", "nothing"
    if plan > rules.control_stop_h_m or abs(dz) > rules.control_stop_v_m:
        severity, verdict = "stop", "over the limit"
        do = "set up again on checked control before anything is staked"
    elif plan > rules.control_warn_h_m or abs(dz) > rules.control_warn_v_m:
        severity, verdict = "person", "over the warning"
        do = "check bubble, height of instrument and rod; shoot it again"
    text = (
        f"{record.id[match]} re-shot: dE {de * 1000:+.0f} mm, dN {dn * 1000:+.0f} mm,"
        f" dZ {dz * 1000:+.0f} mm, {verdict}"
    )
    return at(Finding(severity, "control check", text, do), shots, [row])
