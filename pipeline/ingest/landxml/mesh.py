"""The points and faces of one LandXML surface as a mesh, and what is wrong with them."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from pipeline.ingest.badrows import BadRow, line_words
from pipeline.ingest.landxml.points import NO_FACE, FaceRows, Names, Triples
from pipeline.ingest.landxml.stream import NumberList
from pipeline.ingest.landxml.units import Units
from pipeline.ingest.limits import no_height, no_place, zero_heights
from pipeline.ingest.source import shown
from pipeline.model import Bools, Finding, Floats, Indices, Ints, Mesh, Texts, texts

_FACES_AT_ONCE = 100_000
_NO_IDS = np.array([NO_FACE], dtype=np.int64)


@dataclass(slots=True)
class Drawn:
    """A list of points as drawn: data points, a breakline, a boundary or a contour."""

    kind: str
    name: str
    code: str
    numbers: NumberList
    dimensions: int
    elevation: float = float("nan")


@dataclass(slots=True)
class SurfaceRows:
    """One ``Surface`` as it streams by."""

    name: str
    line: int
    names: Names = field(default_factory=Names)
    ids: array[int] = field(default_factory=lambda: array("q"))
    lines: array[int] = field(default_factory=lambda: array("q"))
    points: Triples = field(default_factory=Triples)
    faces: FaceRows = field(init=False)
    declared: dict[str, str] = field(default_factory=dict)
    drawn: list[Drawn] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.faces = FaceRows(self.names)


@dataclass(frozen=True, slots=True, eq=False)
class Vertices:
    """Usable points [m], shape (n, 3) as easting, northing, elevation, with id and line."""

    xyz: Floats
    id: Texts
    line: Ints


def usable(rows: Triples, metres: float) -> tuple[Floats, Bools, dict[int, tuple[str, str]]]:
    """Points of the rows and which of them can be used.

    Returns
    -------
    xyz : ndarray, shape (n, 3)
        Easting, northing, elevation [m]; not finite where the row is bad.
    good : ndarray, shape (n,), bool
    why : dict
        (kind, text) of each row that cannot be used.
    """
    raw = rows.array()[:, [1, 0, 2]]
    xyz = raw * metres + 0.0
    bad = np.zeros(len(raw), dtype=np.bool_)
    bad[list(rows.bad)] = True
    why = {
        row: ("no height" if row in rows.flat else "bad row", text)
        for row, text in rows.bad.items()
    }
    lost = no_place(xyz[:, 0], xyz[:, 1]) & ~bad
    high = no_height(raw[:, 2], xyz[:, 2]) & ~bad & ~lost
    good = ~(bad | lost | high)
    zero = np.zeros(len(raw), dtype=np.bool_)
    zero[good] = zero_heights(xyz[good, 2])
    for row in np.flatnonzero(lost):
        why[int(row)] = ("bad row", "lies on no grid")
    for row in np.flatnonzero(high):
        why[int(row)] = ("no height", f"{raw[row, 2]:g} stands for no height")
    for row in np.flatnonzero(zero):
        why[int(row)] = ("no height", "exactly 0, while all others are far from it: no height")
    return xyz, good & ~zero, why


def mesh_of(
    rows: SurfaceRows, units: Units, file: str
) -> tuple[Mesh | None, Vertices, list[BadRow], list[Finding]]:
    """The surface's own points and visible faces.

    Faces whose points are missing, repeated or not three are left out and listed,
    as are points that cannot be used. A surface without a face gives no mesh.
    """
    xyz, good, why = usable(rows.points, units.metres)
    ids = np.array(rows.ids, dtype=np.int64)
    word = texts(rows.names.word(code) for code in rows.ids)
    lines = np.array(rows.lines, dtype=np.int64)
    bad = [
        BadRow(
            int(lines[row]), kind, shown(word[row]), f"point {shown(word[row])} of surface "
            f'"{shown(rows.name)}": {text}', "correct the point or export it again",
        )
        for row, (kind, text) in sorted(why.items())
    ]  # fmt: skip
    vertices = Vertices(xyz[good], word[good], lines[good])
    triangles, findings = _triangles(rows, ids, (xyz, good), file)
    hidden = int(np.count_nonzero(np.array(rows.faces.hidden) == 1))
    mesh = None
    if len(triangles):
        east, north, up = vertices.xyz.T
        mesh = Mesh(rows.name, east, north, up, triangles, vertices.id, hidden=hidden)
        findings += _declared(rows, mesh, units, file)
    if hidden:
        text = f'{file}: surface "{shown(rows.name)}": {hidden} hidden faces left out'
        findings.append(Finding("note", "hidden faces", text, "nothing", file=file, line=rows.line))
    return mesh, vertices, bad, findings


def _triangles(
    rows: SurfaceRows, ids: Ints, points: tuple[Floats, Bools], file: str
) -> tuple[Indices, list[Finding]]:
    """Visible faces as rows of the usable points, and the findings on the others."""
    xyz, good = points
    faces = rows.faces.array()
    mark = np.array(rows.faces.hidden, dtype=np.int64)
    if not len(ids):  # faces without any point
        ids, xyz, good = _NO_IDS, np.full((1, 3), np.nan), np.zeros(1, dtype=np.bool_)
    order = np.argsort(ids, kind="stable")
    at = np.searchsorted(ids[order], faces).astype(np.int32)
    corner = order.astype(np.int32)[np.minimum(at, len(ids) - 1)]
    known = ids[corner] == faces
    usable_corner = known & good[corner]
    shape = np.zeros(len(faces), dtype=np.bool_)
    shape[list(rows.faces.bad)] = True
    twice = _twice(ids, xyz)
    checks = [
        ("that are not three points", shape),
        ("to points that are not there", ~known.all(axis=1)),
        ("to points that cannot be used", ~usable_corner.all(axis=1)),
        ("to ids given twice to different points", np.isin(faces, ids[twice]).any(axis=1)),
        ("that name a point twice", _repeats(faces)),
        ("with a mark that is neither hidden nor visible", mark == 2),
    ]
    keep = mark == 0
    left = mark != 1
    findings = []
    for what, wrong in checks:
        hit = np.flatnonzero(wrong & left)
        left &= ~wrong
        keep &= ~wrong
        if hit.size:
            findings.append(_face_finding(rows, hit, what, file))
    if twice.any():
        text = f'{file}: surface "{shown(rows.name)}": ids given twice: '
        text += line_words([rows.names.word(int(code)) for code in np.unique(ids[twice])])
        do = "export it again; faces that use them are left out"
        findings.append(Finding("person", "repeated id", text, do, file=file, line=rows.line))
    rank = np.cumsum(good) - 1
    return rank[corner[keep]].astype(np.int32), findings


def _repeats(faces: Ints) -> Bools:
    a, b, c = faces.T
    return np.asarray((a == b) | (b == c) | (a == c))


def _twice(ids: Ints, xyz: Floats) -> Bools:
    """True for points whose id another point has too, unless they are the same point."""
    order = np.argsort(ids, kind="stable")
    same = ids[order][1:] == ids[order][:-1]
    apart = ~(np.abs(xyz[order][1:] - xyz[order][:-1]).max(axis=1, initial=0.0) <= 1e-9)
    twice = np.zeros(len(ids), dtype=np.bool_)
    at = np.flatnonzero(same & apart)
    twice[order[at]] = twice[order[at + 1]] = True
    return np.isin(ids, ids[twice])


def _face_finding(rows: SurfaceRows, hit: Ints, what: str, file: str) -> Finding:
    lines = [rows.faces.line[int(k)] for k in hit]
    text = (
        f'{file}: surface "{shown(rows.name)}": {len(hit)} faces {what}, lines {line_words(lines)}'
    )
    do = "they are left out; export the surface again if it has holes"
    return Finding("person", "bad face", text, do, file=file, line=lines[0])


def _declared(rows: SurfaceRows, mesh: Mesh, units: Units, file: str) -> Iterable[Finding]:
    """A note for each declared number that the visible faces do not bear out."""
    names = ("elevMin", "elevMax", "area2DSurf", "area3DSurf")
    if not any(name in rows.declared for name in names):
        return
    measured = dict(zip(names, measures(mesh, units), strict=True))
    for name, value in measured.items():
        text = rows.declared.get(name, "").strip()
        try:
            stated = float(text)
        except ValueError:
            continue
        step = 0.6 * 10.0 ** -len(text.partition(".")[2])
        if abs(stated - value) > max(step, 1e-6 * abs(value)):
            words = (
                f'{file}: surface "{shown(rows.name)}" declares {name} {shown(text)},'
                f" its faces give {value:.4f}"
            )
            do = "nothing is taken from the declared number"
            yield Finding("note", "declared number", words, do, file=file, line=rows.line)


def measures(mesh: Mesh, units: Units) -> tuple[float, float, float, float]:
    """Lowest and highest corner, area in plan and on the slope, in the file's units."""
    origin = mesh.easting[0], mesh.northing[0], 0.0
    low, high, flat, sloped = np.inf, -np.inf, 0.0, 0.0
    for start in range(0, len(mesh.triangles), _FACES_AT_ONCE):
        chosen = mesh.triangles[start : start + _FACES_AT_ONCE]
        corners = np.stack(
            [
                column[chosen] - zero
                for column, zero in zip(
                    (mesh.easting, mesh.northing, mesh.elevation), origin, strict=True
                )
            ],
            axis=2,
        )
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        low, high = min(low, corners[:, :, 2].min()), max(high, corners[:, :, 2].max())
        flat += float(np.abs(cross[:, 2]).sum()) / 2
        sloped += float(np.linalg.norm(cross, axis=1).sum()) / 2
    square = units.area_m2 or np.nan
    return low / units.metres, high / units.metres, flat / square, sloped / square
