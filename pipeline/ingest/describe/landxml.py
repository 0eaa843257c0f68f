"""What a LandXML file holds: points, surfaces, alignments, profiles and sightings, counted.

The file is judged as a job would judge it, in metres, and told in its own unit. A
unit that is missing, unknown or contradicted leaves the numbers as they stand.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.describe.description import (
    MOST_ROWS,
    AlignmentFacts,
    Asked,
    Description,
    Extent,
    ProfileFacts,
    SurfaceFacts,
    Tell,
    bare,
    code_counts,
    own,
    told,
)
from pipeline.ingest.landxml.document import Document
from pipeline.ingest.landxml.geometry import element_length
from pipeline.ingest.landxml.mesh import SurfaceRows, measures
from pipeline.ingest.landxml.observations import read_landxml_observations
from pipeline.ingest.landxml.read import judge
from pipeline.ingest.landxml.stream import BadNumberError, parse_numbers, stream
from pipeline.ingest.landxml.units import Units, units_of
from pipeline.ingest.landxml.written import LineText, Piece, ProfileText
from pipeline.ingest.source import shown
from pipeline.ingest.whereabouts import known_crs, whereabouts
from pipeline.model import AlignmentRows, Mesh, ProfileRow, ProfileRows, Reading

_SIGHTINGS = (
    "InstrumentSetup", "InstrumentPoint", "ObservationGroup", "TargetPoint", "Backsight",
    "BacksightPoint", "RawObservation",
)  # fmt: skip
"""Elements that another reader takes, so that they are not among those that nobody read."""


@dataclass(slots=True)
class _Told:
    """The unit the numbers are told in, and what is said of it before all else."""

    units: str | None
    metres: float
    first: list[str] = field(default_factory=list)


def describe_landxml(path: Path, asked: Asked, tell: Tell) -> Description:
    """Counts, extents, lengths and areas of a LandXML file, in its own unit.

    Raises
    ------
    InputError
        Not well-formed, made to choke a reader, not LandXML, or a list with a
        broken number.
    """
    document = Document(shown(path.name, 80))
    stream(path, document.start, document.at)
    tell("judging")
    unit = _unit(document, asked)
    survey, about = _survey(path, document, asked)
    reading = judge(document, asked.format(document.file))
    surfaces = tuple(_surfaces(document, reading, unit))
    extent = _extent(document, reading, unit.metres)
    middle, oddity = _middle(reading.crs, extent, unit)
    return Description(
        file=document.file,
        format="LandXML",
        version=document.version,
        bytes=path.stat().st_size,
        units=unit.units,
        crs=reading.crs or None,
        points=len(document.named.name) + sum(one.points for one in surfaces),
        faces=sum(one.faces for one in surfaces),
        hidden_faces=sum(one.hidden_faces for one in surfaces),
        breaklines=sum(one.kind == "break" for rows in document.surfaces for one in rows.drawn),
        alignments=tuple(_alignments(document, reading, unit.metres)),
        profiles=tuple(_profiles(document, reading, unit.metres)),
        surfaces=surfaces[:MOST_ROWS],
        bbox=extent.box(unit.metres),
        elevation=extent.heights(unit.metres),
        oddities=told(reading.findings, document.file, [*unit.first, *oddity, *about]),
        more=_more(document, reading, {"sightings": survey, "middle": middle}),
    )


def _more(document: Document, reading: Reading, found: Mapping[str, Any]) -> dict[str, Any]:
    """What only LandXML has; what there is none of is left out."""
    system = document.coordinate_system
    heights = system.get("verticalCoordinateSystemName") or system.get("verticalDatum", "")
    more = {
        "named_points": len(document.named.name),
        "data_points": sum(_data_points(rows) for rows in document.surfaces),
        "heights": shown(heights, 80),
        "features": len(document.features),
        "cross_sections": document.unread.get("CrossSect", 0),
        "lines": dict(Counter(reading.lines.kind)),
        "codes": code_counts(reading.shots.code),
        **found,
    }
    return {key: value for key, value in more.items() if value}


def _unit(document: Document, asked: Asked) -> _Told:
    """The unit declared; one that cannot be used is told, and taken from the document."""
    declared = document.units
    linear = [one["linearUnit"] for one in declared if one.get("linearUnit")]
    try:
        units, _ = units_of(declared, asked.format(document.file), document.file)
    except InputError as refusal:
        first = [f"{refusal.found}; the numbers are told as they stand"]
        heights = [one["elevationUnit"] for one in declared if one.get("elevationUnit")]
        words = [*dict.fromkeys(linear), *(f"heights {one}" for one in dict.fromkeys(heights))]
        # to be judged at all the numbers need some unit: as metres they stay what they are
        document.units = [{"linearUnit": "meter"}]
        return _Told(shown(", ".join(words), 80) or None, 1.0, first)
    first = []
    if not linear:
        first = [f"declares no unit of length; told in {units.name}, as stated"]
    elif asked.unit and units.name != asked.unit:
        first = [f"declares {shown(linear[0])}, not {asked.unit}; told as it declares"]
    return _Told(units.name, units.metres, first)


def _middle(crs: str, extent: Extent, unit: _Told) -> tuple[dict[str, float], list[str]]:
    """Middle of the file in degrees, and what is odd about it."""
    box, system = extent.box(), known_crs(crs)
    if box is None or system is None or unit.units is None:
        return {}, []
    place = whereabouts(system, box, 1.0)
    if place is None:
        return {}, []
    if place.oddity:
        return {}, [place.oddity]
    return {"latitude": round(place.latitude, 5), "longitude": round(place.longitude, 5)}, []


# ---- surfaces and points


def _surfaces(document: Document, reading: Reading, unit: _Told) -> Iterator[SurfaceFacts]:
    """Facts of every surface; the meshes are those that have a visible face, in their order."""
    waiting = list(reading.meshes)
    for rows in document.surfaces:
        hidden = int(np.count_nonzero(np.array(rows.faces.hidden) == 1))
        faces = len(rows.faces.line)
        mesh = waiting[0] if waiting and waiting[0].name == rows.name and faces > hidden else None
        if mesh is not None:
            waiting.pop(0)
        flat, sloped = _areas(mesh, unit)
        yield SurfaceFacts(
            name=shown(rows.name, 80),
            points=len(rows.ids),
            faces=faces,
            hidden_faces=hidden,
            area2d=flat,
            area3d=sloped,
            elevation=_heights(mesh, unit.metres),
        )


def _areas(mesh: Mesh | None, unit: _Told) -> tuple[float, float]:
    if mesh is None:
        return math.nan, math.nan
    square = Units("", unit.metres, unit.metres**2)
    _, _, flat, sloped = measures(mesh, square)
    # a slope has no area where heights are in another unit than the plan
    return round(flat, 4), math.nan if ", heights" in (unit.units or "") else round(sloped, 4)


def _heights(mesh: Mesh | None, metres: float) -> tuple[float, float] | None:
    if mesh is None:
        return None
    used = mesh.elevation[np.unique(mesh.triangles)]
    return own(used.min(), metres), own(used.max(), metres)


def _data_points(rows: SurfaceRows) -> int:
    return sum(
        len(one.numbers.values) // one.dimensions for one in rows.drawn if one.kind == "point"
    )


def _extent(document: Document, reading: Reading, metres: float) -> Extent:
    """Around points, surfaces, lines, alignments and features [m]."""
    extent = Extent()
    shots, lines = reading.shots, reading.lines
    extent.add(shots.easting, shots.northing, shots.elevation)
    extent.add(lines.easting, lines.northing, lines.elevation)
    for mesh in reading.meshes:
        extent.add(mesh.easting, mesh.northing, mesh.elevation)
    for text in (*document.alignments, *document.features):
        for piece in text.pieces:
            for northing, easting in _piece_places(piece):
                extent.add([easting * metres], [northing * metres])
    return extent


def _piece_places(piece: Piece) -> Iterator[tuple[float, float]]:
    """Places on an element as it stands (northing, easting); of a spiral only its ends."""
    found: dict[str, tuple[float, float]] = {}
    for name in ("Start", "End", "Center"):
        try:
            numbers = parse_numbers(piece.points.get(name, ""))
        except BadNumberError:  # a reference to a point, which is in the box already
            continue
        if len(numbers) in (2, 3):
            found[name] = numbers[0], numbers[1]
    yield from (place for name, place in found.items() if name != "Center")
    if piece.path is not None:
        values = np.array(piece.path.values).reshape(-1, piece.dimensions)
        yield from ((float(row[0]), float(row[1])) for row in values)
    if piece.kind == "Curve" and len(found) == 3:
        yield from _far_sides(found, piece.attributes.get("rot", "").strip().lower())


def _far_sides(at: dict[str, tuple[float, float]], rot: str) -> Iterator[tuple[float, float]]:
    """Where an arc runs due east or north, which is where it reaches farthest."""
    (cn, ce), radius = at["Center"], math.dist(at["Start"], at["Center"])
    first, last = (math.atan2(at[name][1] - ce, at[name][0] - cn) for name in ("Start", "End"))
    if rot == "ccw":
        first, last = last, first
    sweep = (last - first) % (2.0 * math.pi)
    for quarter in range(4):
        azimuth = quarter * math.pi / 2.0
        if rot in ("cw", "ccw") and (azimuth - first) % (2.0 * math.pi) <= sweep:
            yield cn + radius * math.cos(azimuth), ce + radius * math.sin(azimuth)


# ---- alignments and profiles


def _alignments(document: Document, reading: Reading, metres: float) -> Iterator[AlignmentFacts]:
    """Facts of every alignment, also of one that cannot be used: its length is then not known."""
    waiting = list(reading.alignments)
    for text in document.alignments[:MOST_ROWS]:
        usable = bool(waiting) and waiting[0].name == text.name
        rows = waiting.pop(0) if usable else None
        kinds = Counter(piece.kind.lower() for piece in text.pieces)
        yield AlignmentFacts(
            name=shown(text.name, 80),
            elements=len(text.pieces),
            length=_length(rows, metres),
            start_station=_start(text, rows, metres),
            kinds=dict(kinds),
            equations=len(text.equations),
        )


def _length(rows: AlignmentRows | None, metres: float) -> float:
    return math.nan if rows is None else own(math.fsum(map(element_length, rows.elements)), metres)


def _start(text: LineText, rows: AlignmentRows | None, metres: float) -> float:
    if rows is not None:
        return own(rows.start_station, metres)
    try:
        values = parse_numbers(text.attributes.get("staStart", ""))
    except BadNumberError:
        return math.nan
    return own(values[0]) if len(values) == 1 else math.nan


def _profiles(document: Document, reading: Reading, metres: float) -> Iterator[ProfileFacts]:
    waiting = list(reading.profiles)
    texts = [(line.name, text) for line in document.alignments for text in line.profiles]
    for name, text in texts[:MOST_ROWS]:
        usable = bool(waiting) and waiting[0][0] == name and waiting[0][1].name == text.name
        rows = waiting.pop(0)[1] if usable else None
        yield _profile(name, text, rows, metres)


def _profile(
    alignment: str, text: ProfileText, rows: ProfileRows | None, metres: float
) -> ProfileFacts:
    points: Sequence[ProfileRow] = () if rows is None else rows.points
    return ProfileFacts(
        alignment=shown(alignment, 80),
        name=shown(text.name, 80),
        points=len(text.rows),
        curves=sum(kind != "PVI" for kind, *_ in text.rows),
        start_station=own(points[0].station, metres) if points else math.nan,
        end_station=own(points[-1].station, metres) if points else math.nan,
    )


# ---- sightings


def _survey(path: Path, document: Document, asked: Asked) -> tuple[dict[str, Any], list[str]]:
    """Counts of the sightings in the file, and what is odd about them."""
    counts = {name: document.unread.pop(name, 0) for name in _SIGHTINGS}
    if not counts["RawObservation"]:
        return {}, []
    facts = {"setups": counts["InstrumentSetup"], "observations": counts["RawObservation"]}
    try:
        notes = read_landxml_observations(path, unit=asked.unit)
    except InputError as refusal:
        return facts, [f"sightings cannot be used: {refusal.found}"]
    facts["with_distance"] = int(np.isfinite(notes.observations.slope_distance).sum())
    facts["control_points"] = len(notes.control)
    # points are judged, and told, with all others
    unused = [bare(one.text, document.file) for one in notes.findings if ' to "' in one.text]
    if len(unused) > 1:
        unused = [f"{len(unused)} sightings cannot be used, the first: {unused[0]}"]
    return facts, unused
