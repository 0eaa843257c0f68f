"""Whether a shot is good enough for what it is used for: a map of clay, or a hub.

Shots carry what their file states. What it does not state is assumed and said;
fix and dilution of precision are read from a shot's note, where one is.
"""

from __future__ import annotations

import re

import numpy as np

from pipeline.checks.telling import at
from pipeline.model import Bools, Finding, Findings, Floats, Shots
from pipeline.model.arrays import numbered, of_each
from pipeline.model.telling import counted, listed
from pipeline.settings import CheckRules

_SATELLITE = re.compile(r"\b(?:rtk|gnss|gps|dgps|pdop|float)\b", re.IGNORECASE)
_LOOSE = re.compile(
    r"\b(?:float|dgps|differential|autonomous|single|estimated|simulated)\b", re.IGNORECASE
)
_PDOP = re.compile(r"\bpdop\s*[=:]?\s*([0-9]{1,3}(?:\.[0-9]{1,3})?)", re.IGNORECASE)


def judge_precision(
    shots: Shots, strict: Bools, satellite: Bools, rules: CheckRules
) -> tuple[Bools, Findings]:
    """Each shot by its stated precision, fix and use; nothing is deleted.

    Parameters
    ----------
    shots : Shots
    strict : bool (n,)
        Shots that hubs, curb or a test strip hang on.
    satellite : bool (n,)
        Shots known to come from a satellite receiver, as by the format of their
        file. Notes that say so are added.
    rules : CheckRules
        ``map_*``, ``strict_sigma_v_m``, ``default_sigma_v_m``, ``bench_shifted``.

    Returns
    -------
    bool (n,)
        Refused: a hub, curb or strip shot whose height must not be used for that.
    Findings
        ``person``: over the limits of a map; a satellite fix that is not fixed; a
        strict shot by satellite whose heights were not shifted to a bench mark, or
        that is over the strict limit: it is refused. ``note``: files that state no
        precision, and strict shots whose method nothing states.

    Notes
    -----
    Two sessions of one receiver differ by a height that their own precision does
    not show, 12 mm or so [assumed]: so a satellite hub needs the bench mark however
    small its stated sigma is. A state's design manual keeps satellites off pavement
    matches altogether (Wisconsin DOT, Facilities Development Manual 9-30-1).
    """
    by_note, loose, pdop = _stated(shots)
    satellite = satellite | by_note
    assumed = np.isnan(shots.sigma_v)
    wide = ~assumed & (shots.sigma_v > rules.map_sigma_v_m)
    wide |= np.nan_to_num(shots.sigma_h) > rules.map_sigma_h_m
    wide |= np.nan_to_num(pdop) > rules.map_pdop
    loose &= satellite
    over = ~assumed & (shots.sigma_v > rules.strict_sigma_v_m)
    refused = strict & satellite & (over | loose | ~np.bool_(rules.bench_shifted))
    coarse = strict & ~refused & over
    found = [
        *_wide(shots, wide & ~loose, rules),
        *_loose(shots, loose),
        *_refused(shots, refused, rules),
        *_coarse(shots, coarse, rules),
        *_unstated(shots, assumed, rules),
    ]
    return refused, tuple(found)


def _stated(shots: Shots) -> tuple[Bools, Bools, Floats]:
    """What the notes say: taken by satellite, not fixed, dilution of precision (NaN)."""
    notes, number = numbered(shots.note)
    rows = [(bool(_SATELLITE.search(x)), bool(_LOOSE.search(x)), _pdop(x)) for x in notes]
    columns = np.array(rows, dtype=np.float64).reshape(-1, 3)[number]
    return columns[:, 0] == 1.0, columns[:, 1] == 1.0, columns[:, 2]


def _pdop(text: str) -> float:
    match = _PDOP.search(text)
    return float(match[1]) if match else np.nan


def _wide(shots: Shots, wide: Bools, rules: CheckRules) -> Findings:
    rows = np.flatnonzero(wide)
    if not len(rows):
        return ()
    stated = shots.sigma_v[rows][~np.isnan(shots.sigma_v[rows])]
    worst = f" (worst height {stated.max() * 1000.0:.0f} mm)" if len(stated) else ""
    text = (
        f"{counted(len(rows), 'shot')} state more than the map of the clay bears: height"
        f" {rules.map_sigma_v_m * 1000.0:.0f} mm, plan {rules.map_sigma_h_m * 1000.0:.0f} mm,"
        f" PDOP {rules.map_pdop:g}{worst}; they are used"
    )
    do = "shoot them again when the sky is better, or with an instrument"
    return (at(Finding("person", "precision", text, do), shots, rows),)


def _loose(shots: Shots, loose: Bools) -> Findings:
    # a note that is the bare word was written by the reader of satellite files, which told it
    bare = of_each(shots.note, lambda note: bool(_LOOSE.fullmatch(note.strip())), bool)
    rows = np.flatnonzero(loose & ~bare)
    if not len(rows):
        return ()
    text = f"{counted(len(rows), 'satellite shot')} without a fixed solution: decimetres off"
    return (at(Finding("person", "precision", text, "shoot them again"), shots, rows),)


def _refused(shots: Shots, refused: Bools, rules: CheckRules) -> Findings:
    rows = np.flatnonzero(refused)
    if not len(rows):
        return ()
    why = (
        f"no fixed solution or over {rules.strict_sigma_v_m * 1000.0:.0f} mm in height"
        if rules.bench_shifted
        else "no shift to a bench mark is stated for the day"
    )
    text = (
        f"{counted(len(rows), 'hub, curb or strip shot')} by satellite, {why}: a session can"
        " stand 10 to 20 mm off as a whole, and so would the curb; they give no cut"
    )
    do = "level them or use an instrument; or shoot a bench mark and state bench_shifted = true"
    return (at(Finding("person", "satellite hub", text, do), shots, rows),)


def _coarse(shots: Shots, coarse: Bools, rules: CheckRules) -> Findings:
    rows = np.flatnonzero(coarse)
    if not len(rows):
        return ()
    worst = float(shots.sigma_v[rows].max()) * 1000.0
    text = (
        f"{counted(len(rows), 'hub, curb or strip shot')} state up to {worst:.0f} mm in height,"
        f" over {rules.strict_sigma_v_m * 1000.0:.0f} mm; they are used"
    )
    return (at(Finding("person", "precision", text, "shoot them again"), shots, rows),)


def _unstated(shots: Shots, assumed: Bools, rules: CheckRules) -> Findings:
    names = [name for k, name in enumerate(shots.files) if (assumed & (shots.file == k)).any()]
    if not names:
        return ()
    text = (
        f"{counted(int(assumed.sum()), 'shot')} of {listed(names)} state no height precision;"
        f" {rules.default_sigma_v_m * 1000.0:.0f} mm is assumed"
    )
    do = "give a sigma_v column, or set checks.default_sigma_v_m"
    return (Finding("note", "precision assumed", text, do, file=names[0]),)
