"""What a drawing holds: entities by type, points, lines, faces and extents, in its own unit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from pipeline.errors import InputError
from pipeline.ingest.describe.description import (
    MOST_ROWS,
    Asked,
    Description,
    Extent,
    SurfaceFacts,
    Tell,
    own,
    told,
)
from pipeline.ingest.dxf.load import Loaded, load
from pipeline.ingest.dxf.read import judge
from pipeline.ingest.dxf.units import unit_of
from pipeline.ingest.dxf.walk import Gathered
from pipeline.ingest.landxml.mesh import measures
from pipeline.ingest.landxml.units import Units
from pipeline.ingest.source import shown
from pipeline.model import Reading
from pipeline.settings import FileFormat
from pipeline.units import metres_per


def describe_dxf(path: Path, asked: Asked, tell: Tell) -> Description:
    """Counts, extents and areas of a drawing, every layer read as ground, in its own unit.

    ``points`` are the ``POINT`` entities, ``faces`` the faces as drawn, before they
    are split into triangles, both also inside of blocks. ``breaklines`` are lines
    with heights.

    Raises
    ------
    InputError
        Damaged, cut short, too large, or blocks that never end.
    """
    loaded = load(path)
    tell("walking through it")
    units, metres, first = _unit(loaded, asked)
    reading, found = judge(loaded, metres)
    extent = _extent(reading, found, metres)
    return Description(
        file=loaded.file,
        format="DXF",
        version=loaded.version,
        bytes=path.stat().st_size,
        units=units,
        crs=None,
        points=len(found.points),
        faces=len(found.polygons),
        breaklines=reading.lines.kind.count("break"),
        surfaces=tuple(_surfaces(reading, found, metres))[:MOST_ROWS],
        bbox=extent.box(metres),
        elevation=extent.heights(metres),
        oddities=told(reading.findings, loaded.file, first),
        more=_more(loaded, reading, found),
    )


def _more(loaded: Loaded, reading: Reading, found: Gathered) -> dict[str, dict[str, int]]:
    entities = Counter(shown(entity.dxftype()) for entity in loaded.document.modelspace())
    layers = {shown(name): count for name, count in found.used_layers.most_common(MOST_ROWS)}
    lines = dict(Counter(reading.lines.kind))
    more = {"entities": dict(entities.most_common(MOST_ROWS)), "layers": layers, "lines": lines}
    return {key: value for key, value in more.items() if value}


def _unit(loaded: Loaded, asked: Asked) -> tuple[str | None, float, list[str]]:
    """The unit told in, metres in one, and what is odd about it."""
    if loaded.unit_code == 0:
        if asked.unit:
            return asked.unit, metres_per(asked.unit), ["states no unit; told in it as stated"]
        return None, 1.0, ["states no unit ($INSUNITS); none is assumed"]
    try:
        name, metres, about = unit_of(loaded.unit_code, loaded.metric, FileFormat(), loaded.file)
    except InputError as refusal:
        return None, 1.0, [f"{refusal.found}; the numbers are told as they stand"]
    first = [one.text.removeprefix(f"{loaded.file}: ") for one in about]
    if asked.unit and asked.unit != name:
        first.append(f"its unit ($INSUNITS {loaded.unit_code}) is {name}, not {asked.unit}")
    return name, metres, first


def _extent(reading: Reading, found: Gathered, metres: float) -> Extent:
    """Around points, faces and lines [m]; lines that are flat at 0 have no heights."""
    extent = Extent()
    lines = reading.lines
    extent.add(reading.shots.easting, reading.shots.northing, reading.shots.elevation)
    extent.add(lines.easting, lines.northing, lines.elevation)
    for polygon in found.polygons:
        extent.add(*(polygon.T * metres))
    return extent


def _surfaces(reading: Reading, found: Gathered, metres: float) -> Iterator[SurfaceFacts]:
    drawn = Counter(origin.layer for origin in found.polygon_of)
    square = Units("", metres, metres**2)
    for mesh in reading.meshes:
        low, high, flat, sloped = measures(mesh, square)
        yield SurfaceFacts(
            name=shown(mesh.name, 80),
            points=len(mesh.easting),
            faces=drawn[mesh.name],
            area2d=round(float(flat), 4),
            area3d=round(float(sloped), 4),
            elevation=(own(low), own(high)),
        )
