"""One file in another format: what a job reads of it, as CSV, GeoJSON, GeoPackage or LandXML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from pipeline.convert_line import edges_on_lines, line_of, ways_of
from pipeline.deliver.file import check_free, write_file
from pipeline.deliver.geojson import Places, geojson_pieces
from pipeline.deliver.landxml import landxml_bytes
from pipeline.deliver.points import point_rows
from pipeline.errors import InputError, OutputError, SurfaceError
from pipeline.ingest.describe.description import Asked, Description, Extent, told
from pipeline.ingest.files import kind_of, read
from pipeline.ingest.las.points import class_name
from pipeline.ingest.las.read import LasTally, las_chunks, las_findings
from pipeline.ingest.wgs84 import ToWgs84, grid_system, to_wgs84
from pipeline.model import (
    NO_LINES,
    Findings,
    Reading,
    Shots,
    Surface,
    join_shots,
    make_shots,
    texts,
)
from pipeline.model.gridsystem import UNDEFINED
from pipeline.settings import FileFormat, Grid
from pipeline.surface import mesh as file_mesh

FORMATS = {"csv": ".csv", "geojson": ".geojson", "geopackage": ".gpkg", "landxml": ".xml"}
"""What can be written, and how such files are called."""

_UNITS = ("m", "ft", "ftUS")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """The format, where it goes, and the coordinate system where the file does not say it."""

    to: str
    out: Path | None = None
    crs: str = ""
    force: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """What went into a file, in words, and what a person should know about it."""

    path: Path
    bytes: int
    holds: str
    oddities: tuple[str, ...]


@dataclass(slots=True)
class _Source:
    """What is converted: points that may come in pieces, and all else of the file."""

    file: str
    crs: str
    reading: Reading
    tally: LasTally | None = None
    chunks: Iterable[Shots] = ()
    points: int = 0
    holds: list[str] = field(default_factory=list)
    oddities: list[str] = field(default_factory=list)

    def shots(self) -> Iterator[Shots]:
        """The points, counted on the way."""
        for part in self.chunks or (self.reading.shots,):
            self.points += len(part)
            yield part

    def findings(self) -> Findings:
        """Of the whole file, once all points have been taken."""
        if self.tally is None:
            return self.reading.findings
        every = self.tally.classes is not None and len(self.tally.classes) == 256
        return tuple(one for one in las_findings(self.tally) if not (every and one.kind == "class"))


def convert(path: Path, described: Description, asked: Asked, wanted: Wanted) -> Written:
    """Write what a job would read of a file in another format.

    Parameters
    ----------
    path : Path
    described : Description
        What `describe` said of it: its unit and its coordinate system count here.
    asked : Asked
        Unit, columns, surface and classes that the person states.
    wanted : Wanted

    Returns
    -------
    Written

    Raises
    ------
    InputError, JobError
        A job could not use the file: its unit is not known, its columns do not say
        which is north, its coordinates are degrees; or, for GeoJSON, it cannot be
        brought to WGS 84.
    OutputError
        The place is taken, is the file itself, or the file holds nothing that the
        format can carry.
    """
    out = wanted.out or Path(f"{path.stem}{FORMATS[wanted.to]}")
    if out.exists() and out.samefile(path):
        raise OutputError(str(out), "it is the file that is read", "name another with --out")
    check_free(out, force=wanted.force)
    source = _source(path, described, asked, wanted)
    make = {
        "csv": _csv, "geojson": _geojson, "geopackage": _geopackage, "landxml": _landxml,
    }[wanted.to]  # fmt: skip
    size = write_file(out, make(path, source, described), force=wanted.force)
    holds = [f"{source.points:,} points", *source.holds] if source.points else source.holds
    known = set(described.oddities)
    oddities = tuple(
        text for text in told(source.findings(), source.file, source.oddities) if text not in known
    )
    return Written(out, size, ", ".join(holds), oddities)


def _source(path: Path, described: Description, asked: Asked, wanted: Wanted) -> _Source:
    unit = asked.unit or described.units
    if unit is None or unit == "feet":
        found = "does not say which foot" if unit else "does not say its unit"
        raise InputError(described.file, found, "state it with --unit m, ft or ftUS")
    known = next((one for one in _UNITS if one == unit), "m")
    fmt = asked.format(described.file, known, described.more.get("decimal", "."))  # type: ignore[arg-type]
    crs = wanted.crs or described.system or described.crs or ""
    if kind_of(path) != "las":
        reading = read(path, fmt)
        return _Source(described.file, crs, reading)
    tally = LasTally()
    nothing = make_shots([], [], [], files=(described.file,))
    reading = Reading(
        described.file, described.format, described.version, unit, crs, nothing, NO_LINES
    )
    chunks = _scan(path, fmt, asked, tally)
    return _Source(described.file, crs, reading, tally, chunks)


def _scan(path: Path, fmt: FileFormat, asked: Asked, tally: LasTally) -> Iterator[Shots]:
    """The points of a scan in pieces, the class as code, the number in the file as id."""
    names = texts(class_name(number) for number in range(256))
    for chunk in las_chunks(path, fmt, classes=asked.classes, chunk_points=200_000, tally=tally):
        yield make_shots(
            chunk.easting,
            chunk.northing,
            chunk.elevation,
            id=texts(str(number) for number in chunk.record.tolist()),
            code=names[chunk.classification],
            line=chunk.record,
            files=(path.name,),
        )


# ---- the formats


def _csv(path: Path, source: _Source, described: Description) -> Iterator[bytes]:
    del path, described
    shots = source.shots()
    first = next(shots, None)
    if first is None or not len(first):
        do = "name its surface with --surface" if source.reading.meshes else "give a file of points"
        raise OutputError(source.file, "holds no points for a table", do)
    _left_out(source, "lines", len(source.reading.lines))
    _left_out(source, "surfaces", len(source.reading.meshes))
    _left_out(source, "alignments", len(source.reading.alignments))
    return point_rows(_again(first, shots))


def _left_out(source: _Source, what: str, count: int) -> None:
    if count:
        source.oddities.append(f"{count} {what} are not in this format")


def _again(first: Shots, rest: Iterator[Shots]) -> Iterator[Shots]:
    yield first
    yield from rest


def _geojson(path: Path, source: _Source, described: Description) -> Iterator[bytes]:
    del path
    shots = source.shots()
    first = next(shots, source.reading.shots)
    lines, doubts = ways_of(source.reading)
    extent = Extent()
    extent.add(first.easting, first.northing)
    for line in lines:
        extent.add(line.easting, line.northing)
    box = extent.box()
    if box is None:
        raise OutputError(source.file, "holds no point and no line", "give a file with some")
    onto = to_wgs84(source.crs, box, source.file)
    _left_out(source, "surfaces", len(source.reading.meshes))
    source.oddities += doubts
    source.holds += [f"{len(lines)} lines"] if lines else []
    about = {
        "source": f"{described.file}, {described.format} {described.version}".rstrip(),
        "from": onto.system,
        "operation": onto.words,
    }
    places = (_places(part, onto) for part in _again(first, shots))
    return geojson_pieces(places, (line.on(onto) for line in lines), about)


def _places(shots: Shots, onto: ToWgs84) -> Places:
    longitude, latitude = onto.degrees(shots.easting, shots.northing)
    return Places(longitude, latitude, shots.elevation, shots.id, shots.code, shots.note)


def _geopackage(path: Path, source: _Source, described: Description) -> Iterator[bytes]:
    del described
    from pipeline.deliver.geopackage import GridPoints, geopackage_bytes

    shots = join_shots(source.shots())
    if not len(shots):
        raise OutputError(source.file, "holds no points", "give a file of points")
    _left_out(source, "lines", len(source.reading.lines))
    _left_out(source, "surfaces", len(source.reading.meshes))
    _left_out(source, "alignments", len(source.reading.alignments))
    system = grid_system(source.crs)
    if system.code == UNDEFINED:
        source.oddities.append("its coordinate system is not known: written as a local grid")
    points = GridPoints(
        shots.easting, shots.northing, shots.elevation, shots.id, shots.code, shots.note
    )
    yield geopackage_bytes(points, system, _changed(path))


def _changed(path: Path) -> str:
    """The day on which a file was last written."""
    return datetime.fromtimestamp(path.stat().st_mtime, tz=UTC).date().isoformat()


def _landxml(path: Path, source: _Source, described: Description) -> Iterator[bytes]:
    reading = source.reading
    surfaces = _surfaces(source)
    lines = []
    for rows in reading.alignments:
        line, doubts = line_of(rows, reading.profiles)
        source.oddities += doubts
        if line is not None:
            lines.append(line)
    if not surfaces and not lines:
        do = "give a file with faces or an alignment; points go to csv or geojson"
        raise OutputError(source.file, "holds no surface and no alignment", do)
    _left_out(source, "named points", int(described.more.get("named_points", 0)))
    source.holds += [f"{len(surfaces)} surfaces"] if surfaces else []
    source.holds += [f"{len(lines)} alignments"] if lines else []
    grid = Grid(
        crs=described.crs or source.crs or "local", vertical_datum=described.more.get("heights", "")
    )
    changed = _changed(path)
    yield landxml_bytes(surfaces, project=path.stem, date=changed, grid=grid, lines=lines)


def _surfaces(source: _Source) -> list[Surface]:
    """The file's own triangles, each surface under a name of its own, breaklines marked."""
    surfaces: list[Surface] = []
    taken: dict[str, int] = {}
    for one in source.reading.meshes:
        try:
            surface, findings = file_mesh.from_mesh(one)
        except SurfaceError as refusal:
            source.oddities.append(f'surface "{one.name}" is not written: {refusal.found}')
            continue
        source.oddities += [found.text for found in findings if found.severity != "note"]
        taken[one.name] = taken.get(one.name, 0) + 1
        name = one.name or "surface"
        name = name if taken[one.name] == 1 else f"{name} ({taken[one.name]})"
        fixed = edges_on_lines(surface, source.reading.lines)
        surfaces.append(replace(surface, name=name, fixed=fixed))
    return surfaces
