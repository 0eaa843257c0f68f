"""LandXML 1.0 to 2.0: points, surfaces, alignments and profiles, in metres.

Coordinates stand as northing, easting, elevation. What is not read is listed by
name and number, never dropped in silence.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import combinations
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.badrows import BadRow, bad_findings
from pipeline.ingest.landxml.crosssections import KINDS, NAMES, read_cross_sections
from pipeline.ingest.landxml.document import Document
from pipeline.ingest.landxml.geometry import alignment_rows, feature_lines
from pipeline.ingest.landxml.mesh import SurfaceRows, Vertices, mesh_of
from pipeline.ingest.landxml.profile import profile_rows
from pipeline.ingest.landxml.shots import Points, add_named, add_surface
from pipeline.ingest.landxml.stream import stream
from pipeline.ingest.landxml.units import Units, units_of
from pipeline.ingest.landxml.written import Book, LineText, UnusableError
from pipeline.ingest.source import shown
from pipeline.model import (
    NO_LINES,
    AlignmentRows,
    Finding,
    Ints,
    Linework,
    Mesh,
    ProfileRow,
    ProfileRows,
    Reading,
    Severity,
    join_lines,
)
from pipeline.model.telling import listed
from pipeline.settings import FileFormat

VERSIONS = ("1.0", "1.1", "1.2", "2.0")

_MOST_NAMES = 40
_POINTLESS = ("PointFiles", "PointFile", "RetWall", "RetWallPnt")
"""Elements that hold ground points in a form that is not read."""


def read_landxml(path: Path, fmt: FileFormat) -> Reading:
    """Everything of a LandXML file that a street needs, converted to metres.

    Parameters
    ----------
    path : Path
        Version 1.0 to 2.0, any namespace, any encoding that it declares.
    fmt : FileFormat
        ``surface`` names the surface whose points are ground, where there are
        several. ``unit`` counts only where the file declares none.

    Returns
    -------
    Reading
        ``shots``: every surveyed point once: named points, then of the one
        surface its triangles' points (``P`` and their id), data points (``D``)
        and vertices of breaklines and contours (``B``) that are none of these.
        ``lines``: breaklines, contours, boundaries and holes of that surface, and
        drawn features as strings; ``point`` is the shot at each vertex.
        ``meshes``: the visible faces of every surface. ``alignments`` and
        ``profiles``. ``findings``: rows and faces that cannot be used, declared
        numbers that are wrong, elements that are not read.

    Raises
    ------
    InputError
        Not well-formed or made to choke a reader, not LandXML, no unit of length,
        a list with a broken number, no surface of the name in `fmt`.

    Notes
    -----
    The file streams through arrays: a million points and two million faces take
    some 550 MB at the peak, half of it the reading itself. Lengths are multiplied
    by the exact ratio rounded to float64 (relative error 2e-16).
    """
    document = Document(shown(path.name, 80))
    stream(path, document.start, document.at)
    across = any(document.unread.get(name) for name in KINDS)
    if across:
        # they are read in a pass of their own
        for name in NAMES:
            document.unread.pop(name, None)
    reading = judge(document, fmt)
    if not across:
        return reading
    levels = {owner: rows.points for owner, rows in reversed(reading.profiles)}
    sections, about = read_cross_sections(path, fmt, _levels(levels))
    return replace(reading, cross_sections=sections, findings=(*reading.findings, *about))


def _levels(profiles: dict[str, tuple[ProfileRow, ...]]) -> Callable[[str, float], float]:
    """About how high each alignment lies at a station: straight between its profile's points."""

    def level(alignment: str, station: float) -> float:
        points = profiles.get(alignment)
        if not points:
            return float("nan")
        along = [point.station for point in points], [point.elevation for point in points]
        return float(np.interp(station, *along))

    return level


def judge(document: Document, fmt: FileFormat) -> Reading:
    """What `read_landxml` gives, of a document that has streamed by."""
    return _Reader(document, fmt).reading()


@dataclass(slots=True)
class _Reader:
    """Judges a document and puts the reading together."""

    document: Document
    fmt: FileFormat
    bad: list[BadRow] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def reading(self) -> Reading:
        document = self.document
        units, about = units_of(document.units, self.fmt, document.file)
        self.findings += about
        points = Points(document.file)
        shot, bad = add_named(points, document.named, units)
        self.bad += bad
        book = self._book(units, shot)
        meshes, lines = self._surfaces(points, units)
        strings = self._features(book)
        alignments, profiles = self._alignments(book, units)
        self._about_points(points)
        self._about_file()
        return Reading(
            file=document.file,
            format="LandXML",
            version=document.version,
            unit=units.name,
            crs=_crs(document.coordinate_system),
            shots=points.shots(),
            lines=join_lines([lines, strings]),
            meshes=tuple(meshes),
            alignments=tuple(alignments),
            profiles=tuple(profiles),
            findings=(*self.findings, *bad_findings(sorted(self.bad), document.file)),
            refused=len(self.bad),
        )

    def say(self, severity: Severity, kind: str, text: str, do: str, line: int = 0) -> None:
        """One more finding about the file."""
        file = self.document.file
        self.findings.append(Finding(severity, kind, f"{file}: {text}", do, file=file, line=line))

    # ---- points

    def _book(self, units: Units, shot: Ints) -> Book:
        """Named points by name; a name that two different points have is ambiguous."""
        named = self.document.named
        raw = named.rows.array()[:, [1, 0, 2]]
        for k, (northing, easting) in named.rows.flat.items():
            raw[k, :2] = easting, northing
        xyz = raw * units.metres
        row: dict[str, int] = {}
        ambiguous = set()
        needed = any(_refers(text) for text in (*self.document.alignments, *self.document.features))
        if needed or named.references:
            for k, name in enumerate(named.name):
                if not np.isfinite(xyz[k, :2]).all():
                    continue
                first = row.setdefault(name, k)
                if not np.allclose(xyz[first], xyz[k], rtol=0, atol=1e-4, equal_nan=True):
                    ambiguous.add(name)
        for name, other, line in named.references:
            if other not in row:
                text = f'point "{shown(name)}" refers to "{shown(other)}", which is not there'
                self.bad.append(BadRow(line, "bad row", shown(name), text, "export it again"))
        return Book(self.document.file, units.metres, xyz, shot, row, frozenset(ambiguous))

    def _about_points(self, points: Points) -> None:
        references = len(self.document.named.references)
        if references:
            text = f"{references} points only name another one"
            self.say("note", "reference", text, "nothing")
        heights = points.places()[:, 2]
        if len(heights) and not heights.any():
            text = f"the height of all {len(heights)} points is 0: places, not levels"
            self.say("person", "zero heights", text, "do not use them as ground")

    # ---- surfaces

    def _surfaces(self, points: Points, units: Units) -> tuple[list[Mesh], Linework]:
        surfaces = self._chosen()
        meshes: list[Mesh] = []
        lines = NO_LINES
        for rows in surfaces:
            mesh, vertices, bad, about = mesh_of(rows, units, self.document.file)
            self.findings += about
            if mesh is not None:
                meshes.append(mesh)
            if len(surfaces) == 1:
                self.bad += bad
                lines = self._ground(rows, vertices, points, units)
            else:
                self.findings += bad_findings(bad, self.document.file)
        if len(surfaces) > 1:
            self._about_several(surfaces, meshes)
        return meshes, lines

    def _chosen(self) -> list[SurfaceRows]:
        surfaces = self.document.surfaces
        if self.fmt.surface is None:
            return surfaces
        chosen = [rows for rows in surfaces if rows.name == self.fmt.surface]
        if len(chosen) != 1:
            names = ", ".join(f'"{shown(rows.name)}"' for rows in surfaces) or "none"
            raise InputError(
                self.document.file,
                f'{len(chosen)} surfaces are called "{shown(self.fmt.surface)}"; there are {names}',
                "name one of them",
            )
        return chosen

    def _ground(
        self, rows: SurfaceRows, vertices: Vertices, points: Points, units: Units
    ) -> Linework:
        lines, bad, about = add_surface(points, rows, vertices, units)
        self.bad += bad
        self.findings += about
        document = self.document
        if document.odd_breaklines:
            text = f"breaklines read as ordinary ones: {_counts(document.odd_breaklines)}"
            self.say("person", "breakline type", text, "look at the ground there")
        islands = document.odd_boundaries.pop("island", 0)
        if islands:
            text = f"{islands} islands are read as boundaries of their own"
            self.say("person", "island", text, "look at the edge of the surface there")
        if document.odd_boundaries:
            text = f"boundaries not used: {_counts(document.odd_boundaries)}"
            self.say("note", "boundary type", text, "nothing, if they bound no ground")
        return lines

    def _about_several(self, surfaces: list[SurfaceRows], meshes: list[Mesh]) -> None:
        names = [rows.name for rows in surfaces]
        quoted = ", ".join(f'"{shown(name)}"' for name in names)
        text = f"holds {len(names)} surfaces ({quoted}): the points of none are taken as shots"
        self.say("person", "several surfaces", text, "name the ground with surface in the job file")
        if len(set(names)) < len(names):
            self.say("person", "same name", f"surfaces of one name: {quoted}", "rename them")
        for a, b in combinations(meshes[:20], 2):
            if _overlap(a, b) and not _meet_in_height(a, b):
                text = f'surfaces "{shown(a.name)}" and "{shown(b.name)}" share no height'
                do = "check that both are in one unit and one height system"
                self.say("note", "heights apart", text, do)

    # ---- lines

    def _features(self, book: Book) -> Linework:
        vertices: list[tuple[float, float, float, int]] = []
        names: list[str] = []
        start = [0]
        left: list[str] = []
        for feature in self.document.features:
            try:
                strings = feature_lines(feature, book)
            except UnusableError as error:
                left.append(f'"{shown(feature.name)}" ({error})')
                continue
            for string in strings:
                vertices += string
                names.append(feature.name)
                start.append(len(vertices))
        if left:
            text = f"{len(left)} drawn features are not read: {listed(left, 5, '; ')}"
            self.say("note", "feature left out", text, "nothing, if they bound no ground")
        if not names:
            return NO_LINES
        east, north, up, shot = zip(*vertices, strict=True)
        kinds = ("string",) * len(names)
        return Linework(
            np.array(east),
            np.array(north),
            np.array(up),
            np.array(shot, dtype=np.int64),
            np.array(start, dtype=np.int64),
            tuple(names),
            kinds,
        )

    def _alignments(
        self, book: Book, units: Units
    ) -> tuple[list[AlignmentRows], list[tuple[str, ProfileRows]]]:
        alignments: list[AlignmentRows] = []
        profiles: list[tuple[str, ProfileRows]] = []
        for text in self.document.alignments:
            name = shown(text.name)
            try:
                rows, doubts = alignment_rows(text, book)
            except UnusableError as error:
                words = f'alignment "{name}" is left out: {error}'
                self.say(
                    "stop", "alignment left out", words, "export it in another form", text.line
                )
            else:
                alignments.append(rows)
                for doubt in doubts:
                    words = f'alignment "{name}": {doubt}'
                    do = "compare with the plan"
                    self.say("note", "declared number", words, do, text.line)
            for profile in text.profiles:
                try:
                    heights = profile_rows(profile, units.metres, book.file)
                except UnusableError as error:
                    words = f'profile "{shown(profile.name)}" of "{name}" is left out: {error}'
                    self.say("stop", "profile left out", words, "export it again", profile.line)
                else:
                    profiles.append((text.name, heights))
        return alignments, profiles

    # ---- the file

    def _about_file(self) -> None:
        document = self.document
        if document.version not in VERSIONS:
            text = f'states the version "{shown(document.version)}"; read like {VERSIONS[-1]}'
            self.say("note", "version", text, "compare the counts with where it came from")
        system = document.coordinate_system.get("verticalCoordinateSystemName", "")
        system = system or document.coordinate_system.get("verticalDatum", "")
        if system:
            text = f'heights in "{shown(system)}"'
            self.say("note", "heights", text, "compare with the job's height system")
        lost = Counter({name: document.unread.pop(name, 0) for name in _POINTLESS})
        if +lost:
            text = f"ground points that are not read: {_counts(+lost)}"
            self.say("person", "points not read", text, "export them as points or breaklines")
        if document.unread:
            text = f"elements not read here: {_counts(document.unread)}"
            self.say("note", "not read", text, "nothing, if the job does not need them")


def _counts(names: Counter[str]) -> str:
    """``Parcel 83, Pipe 5``, in the order met."""
    first = [f"{shown(name)} {count}" for name, count in list(names.items())[:_MOST_NAMES]]
    more = len(names) - _MOST_NAMES
    return ", ".join(first) + (f" and {more} more names" if more > 0 else "")


def _refers(text: LineText) -> bool:
    return any(
        piece.kind == "Chain" or any(point.startswith("@") for point in piece.points.values())
        for piece in text.pieces
    )


def _crs(system: dict[str, str]) -> str:
    """``EPSG:3875`` where the file states the code, else the name it gives."""
    code = system.get("epsgCode", "").strip()
    if code.isdecimal() and code.isascii():
        return f"EPSG:{int(code)}"
    for name in ("horizontalCoordinateSystemName", "name", "desc"):
        if system.get(name):
            return shown(system[name], 80)
    return ""


def _overlap(a: Mesh, b: Mesh) -> bool:
    return all(
        x.min() <= y.max() and y.min() <= x.max()
        for x, y in ((a.easting, b.easting), (a.northing, b.northing))
    )


def _meet_in_height(a: Mesh, b: Mesh) -> bool:
    low = max(a.elevation.min(), b.elevation.min())
    return bool(low <= min(a.elevation.max(), b.elevation.max()))
