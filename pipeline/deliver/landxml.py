"""Surfaces, and the line they belong to, as LandXML 1.2.

Coordinates stand as northing, easting, elevation. No clock is read: the date is
given. The same input gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date as calendar_date
from itertools import chain
from xml.sax.saxutils import escape

import numpy as np

from pipeline import __version__
from pipeline.deliver.landxml_line import alignment_lines
from pipeline.errors import OutputError
from pipeline.model import Alignment, Floats, Ints, Profile, Surface
from pipeline.settings import Grid
from pipeline.units import Unit, metres_per, round_half_away

NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"

POINT_STEP = 1e-4
"""Coordinates and heights of surfaces are rounded to this, in the file's unit."""

_METRIC = (
    '<Metric areaUnit="squareMeter" linearUnit="meter" volumeUnit="cubicMeter"'
    ' temperatureUnit="celsius" pressureUnit="milliBars" diameterUnit="meter" widthUnit="meter"'
    ' heightUnit="meter" elevationUnit="meter" velocityUnit="kilometersPerHour"'
    ' angularUnit="radians" directionUnit="radians" latLongAngularUnit="radians"'
    ' flowUnit="literPerSecond"/>'
)
_IMPERIAL = (
    '<Imperial areaUnit="squareFoot" linearUnit="{0}" volumeUnit="cubicYard"'
    ' temperatureUnit="fahrenheit" pressureUnit="inchHG" angularUnit="radians"'
    ' directionUnit="radians"/>'
)
_UNITS: dict[Unit, str] = {
    "m": _METRIC,
    "ft": _IMPERIAL.format("foot"),
    "ftUS": _IMPERIAL.format("USSurveyFoot"),
}
_NO_XML = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_CHUNK = 50_000


def landxml_bytes(
    surfaces: Sequence[Surface],
    *,
    project: str,
    date: str,
    grid: Grid,
    units: Unit = "m",
    lines: Sequence[tuple[Alignment, Profile | None]] = (),
) -> bytes:
    """Surfaces and alignments as the content of a LandXML 1.2 file.

    Parameters
    ----------
    surfaces : sequence of Surface
        Each with triangles and a name of its own.
    project : str
    date : str
        ``2026-05-14``: the day the data are of.
    grid : Grid
        What the coordinates mean; an EPSG code is written as such.
    units : {"m", "ft", "ftUS"}
        The file's unit of length.
    lines : sequence of (Alignment, Profile or None)

    Returns
    -------
    bytes
        UTF-8. A surface has its points, triangles and areas, and its fixed edges
        as breaklines, joined where two of them meet.

    Raises
    ------
    OutputError
        A date that is none, a surface without triangles or with a height that is no
        number, or two of one name.

    Notes
    -----
    Points are rounded to 0.1 mm (or 0.0001 ft), half away from zero, so a vertex
    moves by 0.09 mm at most in space; those of the line to a micrometre. Areas are those
    of the triangles as written. Some 0.3 s for 100 000 points.
    """
    _check(surfaces, date)
    metres = metres_per(units)
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n',
        f'<LandXML xmlns="{NAMESPACE}" version="1.2" date="{date}" time="00:00:00">\n',
        f"<Units>{_UNITS[units]}</Units>\n",
        _coordinate_system(grid),
        f"<Project name={quoted(project)}/>\n",
        f'<Application name="lath" version="{__version__}"/>\n',
    ]
    if lines:
        parts.append("<Alignments>\n")
        for alignment, profile in lines:
            parts += alignment_lines(alignment, profile, metres, quoted)
        parts.append("</Alignments>\n")
    if surfaces:
        parts.append("<Surfaces>\n")
        for surface in surfaces:
            parts += _surface(surface, metres)
        parts.append("</Surfaces>\n")
    parts.append("</LandXML>\n")
    return "".join(parts).encode("utf-8")


def quoted(text: str) -> str:
    r"""`text` as an attribute's value with its quotes; what XML cannot hold is a blank.

    Examples
    --------
    >>> print(quoted('5" < 6\n'), quoted("Müller & Co"))
    "5&quot; &lt; 6 " "Müller &amp; Co"
    """
    return f'"{escape(_NO_XML.sub(" ", text), {chr(34): "&quot;"})}"'


def _check(surfaces: Sequence[Surface], date: str) -> None:
    try:
        if calendar_date.fromisoformat(date).isoformat() != date:
            raise ValueError(date)
    except ValueError:
        raise OutputError(
            "LandXML", f'found the date "{date}"', "name the day like 2026-05-14"
        ) from None
    names = [surface.name for surface in surfaces]
    for surface in surfaces:
        which = f'LandXML surface "{surface.name}"'
        if names.count(surface.name) > 1:
            raise OutputError(which, "there are two of this name", "give each a name of its own")
        if not len(surface.triangles):
            raise OutputError(which, "it has no triangles", "leave it out")
        used = surface.triangles.ravel()
        for column in (surface.x, surface.y, surface.z):
            if not np.isfinite(column[used]).all():
                raise OutputError(
                    which, "a corner has no coordinates", "look for it among the findings"
                )


def _coordinate_system(grid: Grid) -> str:
    code = grid.crs.upper().removeprefix("EPSG:")
    where = f"name={quoted(grid.crs)}"
    if grid.crs.upper().startswith("EPSG:") and code.isdecimal() and code.isascii():
        where = f"epsgCode={quoted(code)}"
    heights = f" verticalCoordinateSystemName={quoted(grid.vertical_datum)}"
    return f"<CoordinateSystem {where}{heights if grid.vertical_datum else ''}/>\n"


def _surface(surface: Surface, metres: float) -> Iterator[str]:
    """One ``Surface``, its points numbered from 1 in the order of the vertices used."""
    number = np.zeros(len(surface.x), dtype=np.int64)
    number[surface.triangles] = 1
    used = np.flatnonzero(number)
    number[used] = np.arange(1, len(used) + 1)
    place = np.column_stack(
        [
            surface.y[used] + surface.origin[1],
            surface.x[used] + surface.origin[0],
            surface.z[used],
        ]
    )
    place = round_half_away(place / metres, POINT_STEP)
    faces = number[surface.triangles]
    flat, sloped = _areas(place, faces - 1)
    yield f"<Surface name={quoted(surface.name)}>\n"
    yield from _breaklines(surface, place, number)
    yield f'<Definition surfType="TIN" area2DSurf="{flat:.4f}" area3DSurf="{sloped:.4f}">\n<Pnts>\n'
    ids = np.arange(1, len(used) + 1).tolist()
    columns = (ids, *place.T.tolist())
    yield from _rows('<P id="%d">%.4f %.4f %.4f</P>\n', columns)
    yield "</Pnts>\n<Faces>\n"
    yield from _faces(faces, len(used))
    yield "</Faces>\n</Definition>\n</Surface>\n"


def _rows(form: str, columns: tuple[list[float], ...]) -> Iterator[str]:
    """`form` filled with one row after the other; a whole chunk at once is what makes it quick."""
    for start in range(0, len(columns[0]), _CHUNK):
        chunk = [column[start : start + _CHUNK] for column in columns]
        values = tuple(chain.from_iterable(zip(*chunk, strict=True)))
        yield (form * len(chunk[0])) % values


def _faces(faces: Ints, count: int) -> Iterator[str]:
    """Triangles of points numbered up to `count`, their digits looked up instead of formatted."""
    digits = np.arange(count + 1).astype(f"S{len(str(count))}")
    wide = digits.dtype.str
    form = np.dtype(f"S3,{wide},S1,{wide},S1,{wide},S5")
    for start in range(0, len(faces), _CHUNK):
        a, b, c = digits[faces[start : start + _CHUNK].T]
        row = np.empty(len(a), form)
        parts = (b"<F>", a, b" ", b, b" ", c, b"</F>\n")
        for name, part in zip(form.names or (), parts, strict=True):
            row[name] = part
        text = row.view(np.uint8)
        yield text[text != 0].tobytes().decode("ascii")


def _areas(place: Floats, faces: Ints) -> tuple[float, float]:
    """Plan area and area along the slopes, in the file's unit of length squared."""
    columns = np.ascontiguousarray((place - place.mean(axis=0)).T)
    (ax, bx, cx), (ay, by, cy), (az, bz, cz) = (column[faces.T] for column in columns)
    bx, by, bz, cx, cy, cz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    x, y, z = by * cz - bz * cy, bz * cx - bx * cz, bx * cy - by * cx
    return float(np.abs(z).sum()) / 2.0, float(np.sqrt(x * x + y * y + z * z).sum()) / 2.0


def _breaklines(surface: Surface, place: Floats, number: Ints) -> Iterator[str]:
    ways = chains(surface)
    if not ways:
        return
    yield "<SourceData>\n<Breaklines>\n"
    for way in ways:
        rows = place[number[way] - 1]
        words = " ".join("%.4f %.4f %.4f" % tuple(row) for row in rows.tolist())  # noqa: UP031 - as `_rows` rounds
        yield f'<Breakline brkType="standard"><PntList3D>{words}</PntList3D></Breakline>\n'
    yield "</Breaklines>\n</SourceData>\n"


def chains(surface: Surface) -> list[list[int]]:
    """The fixed edges as ways along vertices, each edge in one of them.

    Ways end where other than two fixed edges meet; a ring repeats its first vertex.
    They begin at the lowest vertex that can begin one.
    """
    triangle, side = np.nonzero(surface.fixed)
    ends = np.sort(
        np.column_stack(
            [surface.triangles[triangle, side], surface.triangles[triangle, (side + 1) % 3]]
        ),
        axis=1,
    )
    beside: dict[int, list[int]] = {}
    for a, b in np.unique(ends, axis=0).tolist():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    through = {vertex for vertex, others in beside.items() if len(others) == 2}
    # first the ways between ends, then the rings that are left
    begins = (*sorted(set(beside) - through), *sorted(through))
    return [_way(begin, beside, through) for begin in begins for _ in _while(beside[begin])]


def _while(edges: list[int]) -> Iterator[None]:
    """As long as there are edges left; each turn is to take one away."""
    while edges:
        yield None


def _way(begin: int, beside: dict[int, list[int]], through: set[int]) -> list[int]:
    """Along the edges to where the way ends, taking each away."""
    way = [begin]
    while True:
        follow = beside[way[-1]].pop(0)
        beside[follow].remove(way[-1])
        way.append(follow)
        if follow not in through or not beside[follow]:
            return way
