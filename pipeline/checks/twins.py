"""The same place shot twice, the same file given twice, yesterday's file given again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.checks.telling import at, millimetres
from pipeline.model import Bools, Feet, Finding, Findings, Floats, Ints, Shots, Texts
from pipeline.model.arrays import lock_fields
from pipeline.model.telling import counted, listed

TWICE, CONFLICT, FACE, TWO_CODES = "twice", "conflict", "face", "two codes"
_STEP_M = 0.001
"""Fresh shots do not meet old ones to the millimetre in three coordinates."""
SAME_SHARE = 0.9
"""A file of which this much stands in another is that file again [assumed]."""
FEW = 3
"""So many shots to the millimetre are no chance any more [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Twins:
    """Pairs of shots at one place, m rows, ``first`` shot before ``second``.

    ``kind``: ``twice``, near in height and of one code; ``conflict``, of one code
    but apart in height; ``face``, apart in height and of two codes, as the foot and
    the top of a curb, two real points; ``two codes``, near in height.
    """

    first: Ints
    second: Ints
    plan: Floats
    dz: Floats
    kind: Texts

    def __post_init__(self) -> None:
        n = len(self.kind)
        lock_fields(self, dict.fromkeys(("first", "second"), (np.int64, (n,))))
        lock_fields(self, dict.fromkeys(("plan", "dz"), (np.float64, (n,))))
        lock_fields(self, {"kind": (object, (n,))})

    def __len__(self) -> int:
        return len(self.kind)


def find_twins(shots: Shots, base: Texts, rows: Bools, place_m: float, height_m: float) -> Twins:
    """Every pair among `rows` at most `place_m` apart in plan, and what it is.

    Parameters
    ----------
    shots : Shots
    base : Texts, shape (n,)
        Code without the number of its line; an unknown code as it stands.
    rows : bool (n,)
        Shots to be looked at; control re-shots are twins by intent and left out.
    place_m, height_m : float
        ``surface.same_place_m`` and ``surface.same_height_m``, as the surface has them.

    Notes
    -----
    The surface itself uses the first of ``twice`` and ``conflict`` and both of
    ``face``; here nothing is merged.
    """
    from scipy.spatial import cKDTree

    chosen = np.flatnonzero(rows)
    if len(chosen) < 2:
        none = np.empty(0, dtype=np.int64)
        return Twins(none, none, np.empty(0), np.empty(0), np.empty(0, dtype=object))
    east = shots.easting[chosen] - shots.easting[chosen[0]]
    north = shots.northing[chosen] - shots.northing[chosen[0]]
    pairs = cKDTree(np.column_stack([east, north])).query_pairs(
        # a micrometre of slack: coordinates are decimal, their differences are not
        place_m + 1e-6,
        output_type="ndarray",
    )
    pairs = np.sort(pairs, axis=1)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    first, second = chosen[pairs[:, 0]], chosen[pairs[:, 1]]
    dz = shots.elevation[second] - shots.elevation[first]
    near, one_code = np.abs(dz) <= height_m + 1e-6, base[first] == base[second]
    kind = np.where(
        near, np.where(one_code, TWICE, TWO_CODES), np.where(one_code, CONFLICT, FACE)
    ).astype(object)
    plan = np.hypot(
        shots.easting[second] - shots.easting[first], shots.northing[second] - shots.northing[first]
    )
    return Twins(first, second, plan, dz, kind)


def twin_findings(shots: Shots, feet: Feet, twins: Twins, told: Bools) -> Findings:
    """Conflicts one by one; the other kinds in one note each.

    ``told`` are shots that the surface speaks about itself: a pair of two of them is left out,
    but for faces.
    """
    found = []
    silent = told[twins.first] & told[twins.second]
    for k in np.flatnonzero((twins.kind == CONFLICT) & ~silent):
        pair = [int(twins.first[k]), int(twins.second[k])]
        text = (
            f"{shots.id[pair[0]]} and {shots.id[pair[1]]} are {twins.plan[k] * 1000.0:.0f} mm apart"
            f" in plan and {millimetres(float(twins.dz[k]))} in height under one code: one of them"
            " is wrong by that much"
        )
        do = "ask for rod and set-up of both; shoot the spot a third time"
        found.append(at(Finding("person", "two heights", text, do), shots, pair, feet))
    for kind, text in _NOTES.items():
        some = np.flatnonzero((twins.kind == kind) & (~silent | (kind == FACE)))
        if len(some):
            rows = np.column_stack([twins.first[some], twins.second[some]]).ravel()
            finding = Finding(
                "note", _KINDS[kind], f"{counted(len(some), 'pair')} {text}", "nothing"
            )
            found.append(at(finding, shots, rows, feet))
    return tuple(found)


_NOTES = {
    TWICE: "of shots are one spot shot twice",
    TWO_CODES: "of shots are one spot under two codes; both are kept",
    FACE: "of shots are foot and top of a face, such as a curb's; both are kept",
}
_KINDS = {TWICE: "shot twice", TWO_CODES: "two codes", FACE: "face"}


def repeated_files(shots: Shots) -> tuple[Bools, Findings]:
    """Rows of files that were given before under another name, and a finding for each file.

    Two files are one if nine tenths of the smaller stand in the other to the
    millimetre, by content: names and order do not count. The later file's shots
    that are repeated are marked; every one would stand in the surface twice.
    """
    again = np.zeros(len(shots), dtype=bool)
    if len(shots.files) < 2:
        return again, ()
    number = _numbers(shots)
    found = []
    for later in range(len(shots.files)):
        rows = np.flatnonzero(shots.file == later)
        for earlier in range(later):
            before = shots.file == earlier
            shared = rows[np.isin(number[rows], number[before])]
            smaller = min(len(rows), int(before.sum()))
            if len(shared) < FEW or len(shared) < SAME_SHARE * smaller:
                continue
            again[shared] = True
            text = (
                f"{shots.files[later]}: {len(shared)} of its {counted(len(rows), 'shot')} stand in"
                f" {shots.files[earlier]} to the millimetre: the same file twice"
            )
            do = "take one of the two out of the day's folder"
            found.append(at(Finding("person", "file twice", text, do), shots, shared))
            break
    return again, tuple(found)


def repeated_day(shots: Shots, before: Shots, ground: Bools) -> tuple[Bools, Findings]:
    """Shots that stand in an earlier day's files to the millimetre, and a finding for each file.

    Parameters
    ----------
    shots, before : Shots
        Today's, and those of the day before.
    ground : bool (n,)
        Today's shots that are ground. A file of hubs or lids may well be brought
        again; ground of yesterday would give yesterday's cuts.

    Returns
    -------
    again : bool (n,)
    findings : Findings
        ``stop`` where most of a file's ground is yesterday's, else ``person``; a
        ``note`` where none of it is ground.
    """
    number = _numbers(shots, before)
    again = np.isin(number[: len(shots)], number[len(shots) :])
    found = []
    for k, name in enumerate(shots.files):
        rows = np.flatnonzero((shots.file == k) & again)
        if len(rows) < FEW:
            continue
        total = int((shots.file == k).sum())
        of_ground = int((ground & (shots.file == k)).sum())
        text = f"{name}: {len(rows)} of its {counted(total, 'shot')} stand in"
        text += f" {listed(before.files, 3)} of the day before, to the millimetre"
        do = "give today's file, or take these shots out"
        if not of_ground:
            finding = Finding(
                "note", "yesterday again", text, "nothing, if they were not shot again"
            )
        elif int(ground[rows].sum()) >= of_ground / 2:
            text += ": every cut would be yesterday's"
            finding = Finding("stop", "yesterday again", text, do)
        else:
            finding = Finding("person", "yesterday again", text, do)
        found.append(at(finding, shots, rows))
    return again, tuple(found)


def _numbers(*parts: Shots) -> Ints:
    """A number for each place to the millimetre, equal for equal places."""
    columns = [
        np.rint(np.concatenate([getattr(part, name) for part in parts]) / _STEP_M).astype(np.int64)
        for name in ("easting", "northing", "elevation")
    ]
    number = np.unique(np.column_stack(columns), axis=0, return_inverse=True)[1]
    return np.asarray(number, dtype=np.int64).ravel()
