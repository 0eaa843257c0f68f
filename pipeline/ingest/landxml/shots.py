"""The points of a LandXML file as shots, each once, and its drawn lines through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.ingest.badrows import BadRow
from pipeline.ingest.landxml.mesh import Drawn, SurfaceRows, Vertices, usable
from pipeline.ingest.landxml.points import NamedPoints, Triples
from pipeline.ingest.landxml.units import Units
from pipeline.ingest.same_points import first_rows, match
from pipeline.ingest.source import shown
from pipeline.model import (
    NO_LINES,
    Finding,
    Floats,
    Ints,
    Linework,
    Shots,
    Texts,
    make_shots,
    texts,
)

_KINDS = {"break": "break", "contour": "break", "outer": "boundary", "island": "boundary",
          "void": "hole"}  # fmt: skip


@dataclass(slots=True)
class Points:
    """Shots as they are put together: parts of equal columns, in order."""

    file: str
    xyz: list[Floats] = field(default_factory=list)
    id: list[Texts] = field(default_factory=list)
    code: list[Texts] = field(default_factory=list)
    line: list[Ints] = field(default_factory=list)
    note: dict[int, str] = field(default_factory=dict)
    time: dict[int, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return sum(map(len, self.xyz))

    def places(self) -> Floats:
        """All of them, shape (n, 3)."""
        return np.concatenate(self.xyz) if self.xyz else np.empty((0, 3))

    def add(self, xyz: Floats, ids: Texts, codes: Texts, lines: Ints) -> None:
        """One more part."""
        self.xyz.append(xyz)
        self.id.append(ids)
        self.code.append(codes)
        self.line.append(lines)

    def shots(self) -> Shots:
        """The shots, in metres."""
        if not len(self):
            return make_shots([], [], [], files=(self.file,))
        notes, times = np.full(len(self), "", object), np.full(len(self), "", object)
        for column, given in ((notes, self.note), (times, self.time)):
            for row, text in given.items():
                column[row] = text
        east, north, up = self.places().T
        return make_shots(
            east,
            north,
            up,
            files=(self.file,),
            id=np.concatenate(self.id),
            code=np.concatenate(self.code),
            note=notes,
            time=times,
            line=np.concatenate(self.line),
        )


def add_named(points: Points, named: NamedPoints, units: Units) -> tuple[Ints, list[BadRow]]:
    """Put the ``CgPoint`` rows among the shots.

    Returns
    -------
    row : ndarray, shape (n,)
        The shot that each became, -1 where it cannot be used.
    bad : list of BadRow
    """
    xyz, good, why = usable(named.rows, units.metres)
    lines = np.array(named.line, dtype=np.int64)
    kept = np.flatnonzero(good)
    points.add(
        xyz[kept],
        texts(named.name[k] or f"{points.file}:{lines[k]}" for k in kept),
        texts(named.code[k] for k in kept),
        lines[kept],
    )
    row = np.where(good, np.cumsum(good) - 1, -1)
    points.note.update({int(row[k]): named.note[k] for k in kept if named.note[k]})
    points.time.update({int(row[k]): named.time[k] for k in kept if named.time[k]})
    bad = [
        BadRow(
            int(lines[k]),
            kind,
            shown(named.name[k]),
            f'point "{shown(named.name[k])}": {text}',
            "give the point three coordinates or shoot it again",
        )
        for k, (kind, text) in sorted(why.items())
    ]
    return row, bad


def add_surface(
    points: Points, rows: SurfaceRows, vertices: Vertices, units: Units
) -> tuple[Linework, list[BadRow], list[Finding]]:
    """Put a surface's points among the shots, each once, and draw its lines.

    First its triangles' points, then data points and vertices of lines that are
    none of these. So what was surveyed but trimmed from the triangles is there
    too. A vertex within a centimetre of a shot is that shot.
    """
    fresh = match(vertices.xyz, points.places()) < 0
    blank = texts([""] * int(fresh.sum()))
    ids = texts(f"P{one}" for one in vertices.id[fresh])
    points.add(vertices.xyz[fresh], ids, blank, vertices.line[fresh])
    findings: list[Finding] = []
    dots = [one for one in rows.drawn if one.kind == "point" and _sound(one, points, findings)]
    data = _gather(dots, units)
    _add_data_points(points, data)
    lines = [one for one in rows.drawn if one.kind in _KINDS and _sound(one, points, findings)]
    drawn = _gather(lines, units)
    return _linework(points, drawn), data.bad + drawn.bad, findings


@dataclass(slots=True)
class _Gathered:
    """Usable points of several lists: where, of which list, which place in it."""

    drawn: Sequence[Drawn]
    xyz: Floats
    of: Ints
    place: Ints
    bad: list[BadRow]

    def line(self, rows: Ints) -> Ints:
        """Line of the file of the list that each point is in."""
        return np.array([one.numbers.line for one in self.drawn], dtype=np.int64)[self.of[rows]]

    def code(self, rows: Ints) -> Texts:
        """Code of the list that each point is in."""
        return texts(self.drawn[k].code for k in self.of[rows])


def _gather(drawn: Sequence[Drawn], units: Units) -> _Gathered:
    counts = [len(one.numbers.values) // one.dimensions for one in drawn]
    of = np.repeat(np.arange(len(drawn)), counts)
    place = np.concatenate([np.arange(count) for count in counts]) if counts else of
    raw = np.concatenate([_raw(one) for one in drawn]) if drawn else np.empty((0, 3))
    flat = np.isnan(raw[:, 2])
    xyz = np.empty_like(raw)
    good = np.zeros(len(raw), dtype=np.bool_)
    bad: list[BadRow] = []
    for group in (np.flatnonzero(~flat), np.flatnonzero(flat)):
        rows = Triples()
        rows.take_array(np.nan_to_num(raw[group]))
        xyz[group], good[group], why = usable(rows, units.metres)
        for k, (kind, text) in sorted(why.items()):
            one = drawn[of[group[k]]]
            words = f'{_NOUN[one.kind]} "{shown(one.name)}", point {place[group[k]] + 1}: {text}'
            do = "correct it or export it again"
            bad.append(BadRow(one.numbers.line, kind, "", words, do))
    xyz[flat, 2] = np.nan  # a boundary in plan has no heights
    return _Gathered(drawn, xyz[good], of[good], place[good], bad)


def _raw(drawn: Drawn) -> Floats:
    """Northing, easting, elevation in the file's unit; NaN for no height."""
    values = np.array(drawn.numbers.values, dtype=np.float64).reshape(-1, drawn.dimensions)
    if drawn.dimensions == 3:
        return values
    return np.column_stack([values, np.full(len(values), drawn.elevation)])


_NOUN = {
    "point": "list of data points",
    "break": "breakline",
    "contour": "contour",
    "outer": "boundary",
    "island": "boundary",
    "void": "boundary",
}


def _add_data_points(points: Points, data: _Gathered) -> None:
    fresh = np.flatnonzero(match(data.xyz, points.places()) < 0)
    ids = texts(f"D{k + 1}" for k in fresh)
    points.add(data.xyz[fresh], ids, data.code(fresh), data.line(fresh))


def _sound(drawn: Drawn, points: Points, findings: list[Finding]) -> bool:
    """False, with a finding, for a line too short, or points or a breakline without heights."""
    count = len(drawn.numbers.values) // drawn.dimensions
    is_area = drawn.kind in ("outer", "island", "void")
    reason = ""
    if drawn.dimensions == 2 and not is_area and not np.isfinite(drawn.elevation):
        reason = "has no heights"
    elif count < (3 if is_area else 1 if drawn.kind == "point" else 2):
        reason = f"has {count} points"
    if not reason:
        return True
    where = f"{points.file} line {drawn.numbers.line}"
    text = f'{where}: {_NOUN[drawn.kind]} "{shown(drawn.name)}" {reason} and is left out'
    do = "export it with heights, or correct it"
    line = drawn.numbers.line
    findings.append(Finding("person", "line left out", text, do, file=points.file, line=line))
    return False


def _linework(points: Points, lines: _Gathered) -> Linework:
    if not lines.drawn:
        return NO_LINES
    shot = _through_shots(points, lines)
    xyz = lines.xyz.copy()
    through = shot >= 0
    xyz[through] = points.places()[shot[through]]
    counts = np.bincount(lines.of, minlength=len(lines.drawn))
    return Linework(
        easting=xyz[:, 0],
        northing=xyz[:, 1],
        elevation=xyz[:, 2],
        point=shot,
        start=np.concatenate([[0], np.cumsum(counts)]),
        name=tuple(one.name for one in lines.drawn),
        kind=tuple(_KINDS[one.kind] for one in lines.drawn),
    )


def _through_shots(points: Points, lines: _Gathered) -> Ints:
    """The shot at each vertex of a breakline or contour, made where there is none; else -1."""
    surveyed = np.array([one.kind in ("break", "contour") for one in lines.drawn])[lines.of]
    shot = np.full(len(lines.xyz), -1, dtype=np.int64)
    at = np.flatnonzero(surveyed)
    shot[at] = match(lines.xyz[at], points.places())
    new = at[shot[at] < 0]
    first, place = first_rows(lines.xyz[new])
    shot[new] = len(points) + place
    made = new[first]
    ids = texts(f"B{lines.of[k] + 1}.{lines.place[k] + 1}" for k in made)
    points.add(lines.xyz[made], ids, lines.code(made), lines.line(made))
    return shot
