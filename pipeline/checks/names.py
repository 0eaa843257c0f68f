"""Ids and codes: said twice, or not in the list."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping

import numpy as np

from pipeline.checks.telling import at
from pipeline.model import Bools, Finding, Findings, Shots, Texts
from pipeline.model.arrays import of_each
from pipeline.model.telling import counted
from pipeline.settings import Code

_LINE_NUMBER = re.compile(r"\d+$")


def base_codes(shots: Shots, codes: Mapping[str, Code]) -> Texts:
    """The job's code of each shot, ``EC`` for ``EC1``; empty where the job has none.

    A field code may carry remarks after a blank; the first word counts.
    """

    def base(text: str) -> str:
        word = first_word(text)
        known = word if word in codes else _LINE_NUMBER.sub("", word)
        return known if known in codes else ""

    return of_each(shots.code, base)


def first_word(text: str) -> str:
    """What stands before the first blank of a field code."""
    return text.split(maxsplit=1)[0] if text.split() else ""


def unknown_codes(shots: Shots, base: Texts, codes: Mapping[str, Code]) -> Findings:
    """One finding for each field code that the job does not list, with the nearest it has."""
    rows_of: dict[str, list[int]] = {}
    for row in np.flatnonzero(base == ""):
        rows_of.setdefault(str(shots.code[row]), []).append(int(row))
    found = []
    for text, rows in rows_of.items():
        near = difflib.get_close_matches(text.upper(), list(codes), n=1, cutoff=0.5)
        hint = f" (did you mean {near[0]}?)" if near else ""
        said = (
            f"code {text!r} is not in the job's list{hint};"
            f" {counted(len(rows), 'shot')} listed, not in the surface"
        )
        do = "correct the code, or add it to the job file"
        found.append(at(Finding("person", "unknown code", said, do), shots, rows))
    return tuple(found)


def repeated_ids(shots: Shots, apart_m: float) -> Findings:
    """The same id on two points farther apart than `apart_m`: both are kept, both are named."""
    listed = shots.id.tolist()
    if len(set(listed)) == len(listed):
        return ()
    first: dict[str, int] = {}
    found = []
    for row, name in enumerate(listed):
        if not name:
            continue
        earlier = first.setdefault(name, row)
        if earlier == row:
            continue
        gap = float(
            np.linalg.norm(
                [
                    shots.easting[row] - shots.easting[earlier],
                    shots.northing[row] - shots.northing[earlier],
                    shots.elevation[row] - shots.elevation[earlier],
                ]
            )
        )
        if gap > apart_m:
            text = (
                f"stands at two places {gap:.3f} m apart; both are used,"
                f" first seen in {shots.where(earlier)}"
            )
            twice = Finding("person", "id used twice", text, "rename one of them")
            found.append(at(twice, shots, [row]))
    return tuple(found)


def ground_rows(base: Texts, codes: Mapping[str, Code]) -> Bools:
    """True where the shot's code is part of the ground surface."""
    is_ground = {name: code.ground and code.kind == "ground" for name, code in codes.items()}
    return of_each(base, lambda code: is_ground.get(code, False), bool)


def kind_rows(base: Texts, codes: Mapping[str, Code], kind: str) -> Bools:
    """True where the shot's code is of this kind: ``hub``, ``lid``, ``control``, ``object``."""
    kinds = {name: code.kind for name, code in codes.items()}
    return of_each(base, lambda code: kinds.get(code, "") == kind, bool)
