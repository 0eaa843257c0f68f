"""Breaklines from field codes: shots of one code, in the order shot."""

from __future__ import annotations

import math

import numpy as np

from pipeline.model import NO_LINES, Bools, Finding, Findings, Floats, Ints, Linework, Shots
from pipeline.settings import Code
from pipeline.units import format_length

FOLD_DEGREES = 5.0
"""Within this of straight back, a line has folded [assumed]. A traffic-island nose of 0.5 m
shot once at its tip turns back by 6° at 5 m steps and stays a line."""

RESHOT_M = 0.05
"""A step this short is the same place shot again and has no direction [assumed, the default
of ``SurfaceRules.same_place_m``]."""


_SLACK_M = 1e-6  # 15 m between two northings of 6 000 000 is not 15 in binary


def breaklines(shots: Shots, codes: dict[str, Code]) -> tuple[Linework, Findings]:
    """Lines along the shots whose code makes a line, in the order shot.

    A crew shoots cross-sections in zig-zag, so the shots of one line lie
    scattered among the others: each full field code (``EC1``, ``EC2``) is a line
    of its own. Lines do not run on from one file to the next, for two crews may
    have given two lines the same number.

    Parameters
    ----------
    shots : Shots
        Rows in the order shot.
    codes : dict of str to Code
        By field code. A field code is looked up whole, then without the digits
        at its end. A code that is not ground, or not a line, draws nothing.

    Returns
    -------
    Linework
        ``kind`` is ``break``, ``name`` the field code, ``point`` the row in
        `shots`. A line that was cut is several lines of one name, each of two
        shots or more.
    Findings
        ``person`` for each place where the line was not joined: a step longer
        than `Code.max_step_m`, or a turn within 5° of straight back. ``note``
        for a line of one shot and for a code that goes on in another file.

    Examples
    --------
    >>> from pipeline.model import make_shots
    >>> shots = make_shots([0, 0, 10, 10], [0, 8, 0, 8], [1, 1, 1, 1],
    ...                    code=["EC1", "EC2", "EC1", "EC2"])
    >>> lines, _ = breaklines(shots, {"EC": Code(what="edge of clay", line=True)})
    >>> lines.name, lines.point.tolist(), lines.start.tolist()
    (('EC1', 'EC2'), [0, 2, 1, 3], [0, 2, 4])
    """
    pieces: list[Ints] = []
    names: list[str] = []
    findings: list[Finding] = []
    files_of: dict[str, int] = {}
    drawn = _line_codes(shots, codes)
    for (name, file), rows in _rows_by_line(shots, drawn).items():
        if name in files_of:
            findings.append(_carried_over(shots, name, files_of[name], int(rows[0])))
        files_of[name] = file
        found, said = _pieces(shots, rows, name, drawn[name].max_step_m)
        pieces.extend(found)
        names.extend([name] * len(found))
        findings.extend(said)
    return _linework(shots, pieces, names), tuple(findings)


def meaning(field_code: str, codes: dict[str, Code]) -> Code | None:
    """What `field_code` stands for: looked up whole, then without the digits at its end."""
    return codes.get(field_code) or codes.get(base_code(field_code))


def base_code(field_code: str) -> str:
    """The code without the number that tells lines apart: ``EC12`` -> ``EC``."""
    return field_code.rstrip("0123456789") or field_code


def _line_codes(shots: Shots, codes: dict[str, Code]) -> dict[str, Code]:
    """The field codes among the shots that draw a line on the ground, and what they mean."""
    found = {name: meaning(name, codes) for name in set(shots.code.tolist())}
    return {name: code for name, code in found.items() if code and code.line and code.ground}


def _rows_by_line(shots: Shots, drawn: dict[str, Code]) -> dict[tuple[str, int], Ints]:
    """Rows of each (field code, file) that draws a line, by first shot."""
    rows: dict[tuple[str, int], list[int]] = {}
    pairs = zip(shots.code.tolist(), shots.file.tolist(), strict=True)
    for row, pair in enumerate(pairs):
        if pair[0] in drawn:
            rows.setdefault(pair, []).append(row)
    return {pair: np.array(found, dtype=np.int64) for pair, found in rows.items()}


def _pieces(
    shots: Shots, rows: Ints, name: str, max_step_m: float
) -> tuple[list[Ints], list[Finding]]:
    """One line cut where it may not be joined, and why."""
    if len(rows) == 1:
        return [], [_single(shots, name, int(rows[0]))]
    # shifted first: at N 6 000 000 a squared step would lose its millimetres
    x = shots.easting[rows] - shots.easting[rows[0]]
    y = shots.northing[rows] - shots.northing[rows[0]]
    step = np.hypot(np.diff(x), np.diff(y))
    gap = step > max_step_m + _SLACK_M
    fold = _folds(x, y, step, gap)
    findings = []
    for k in np.flatnonzero(gap | fold):
        a, b = int(rows[k]), int(rows[k + 1])
        if gap[k]:
            findings.append(_gap(shots, name, (a, b), float(step[k]), max_step_m))
        else:
            findings.append(_fold(shots, name, (a, b)))
    parts = np.split(rows, np.flatnonzero(gap | fold) + 1)
    return [part for part in parts if len(part) > 1], findings


def _folds(x: Floats, y: Floats, step: Floats, gap: Bools) -> Bools:
    """Steps, shape (n - 1,), that lead straight back along the step before."""
    fold = np.zeros(len(step), dtype=np.bool_)
    moved = np.flatnonzero(step > RESHOT_M)
    if len(moved) < 2:
        return fold
    # direction from the last real move's end to the next, re-shots in between left out
    dx, dy = np.diff(x)[moved], np.diff(y)[moved]
    along = dx[1:] * dx[:-1] + dy[1:] * dy[:-1]
    limit = -math.cos(math.radians(FOLD_DEGREES)) * step[moved[1:]] * step[moved[:-1]]
    # a step that is not joined anyway cannot be folded onto
    fold[moved[1:]] = (along < limit) & ~gap[moved[:-1]] & ~gap[moved[1:]]
    return fold


def _linework(shots: Shots, pieces: list[Ints], names: list[str]) -> Linework:
    if not pieces:
        return NO_LINES
    point = np.concatenate(pieces)
    return Linework(
        easting=shots.easting[point],
        northing=shots.northing[point],
        elevation=shots.elevation[point],
        point=point,
        start=np.cumsum([0, *map(len, pieces)]),
        name=tuple(names),
        kind=("break",) * len(names),
    )


def _gap(shots: Shots, name: str, rows: tuple[int, int], step: float, max_step_m: float) -> Finding:
    a, b = (str(shots.id[row]) for row in rows)
    return Finding(
        severity="person",
        kind="line gap",
        text=f"line {name} is not joined from {a} to {b}: {format_length(step, step=0.01)} m"
        f" apart, the longest step is {format_length(max_step_m, step=0.01)} m",
        do="shoot the line between them, or give its two parts different numbers",
        points=(a, b),
        file=shots.files[shots.file[rows[1]]],
        line=int(shots.line[rows[1]]),
    )


def _fold(shots: Shots, name: str, rows: tuple[int, int]) -> Finding:
    a, b = (str(shots.id[row]) for row in rows)
    return Finding(
        severity="person",
        kind="line fold",
        text=f"line {name} folds straight back at {a}: {a} and {b} are not joined",
        do="check the order of these shots and the number of the line",
        points=(a, b),
        file=shots.files[shots.file[rows[1]]],
        line=int(shots.line[rows[1]]),
    )


def _single(shots: Shots, name: str, row: int) -> Finding:
    return Finding(
        severity="note",
        kind="line of one shot",
        text=f"line {name} has one shot, {shots.id[row]}: no line is drawn",
        do="check the number of the line",
        points=(str(shots.id[row]),),
        file=shots.files[shots.file[row]],
        line=int(shots.line[row]),
    )


def _carried_over(shots: Shots, name: str, file: int, row: int) -> Finding:
    here = shots.files[shots.file[row]]
    return Finding(
        severity="note",
        kind="line in two files",
        text=f"line {name} of {shots.files[file]} is not joined to line {name} of {here}",
        do="shoot the last point of the line again at the start of the new file",
        points=(str(shots.id[row]),),
        file=here,
        line=int(shots.line[row]),
    )
