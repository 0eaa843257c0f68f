"""What the tables of a field day hold: sightings, levels, satellite positions, design tables."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.describe.description import (
    AlignmentFacts,
    Description,
    Extent,
    ProfileFacts,
    code_counts,
    own,
    told,
)
from pipeline.ingest.field.angles import LATITUDE_FORMS, LONGITUDE_FORMS
from pipeline.ingest.field.nmea import parse_fixes
from pipeline.ingest.field.observations import read_level_book, read_observations
from pipeline.ingest.header_table import LENGTH_FORMS, HeaderTable, read_header_table
from pipeline.ingest.job.design import read_alignment, read_profile
from pipeline.ingest.source import shown
from pipeline.model import Floats

_ELLIPSOID = "heights are above the ellipsoid"


def _unit(path: Path, column: str) -> tuple[str, float]:
    """Unit that a column of lengths is headed with, and metres in one; the metre if none."""
    heads = (head.rpartition("_") for head in read_header_table(path).header)
    form = next((form for name, _, form in heads if name == column), "m")
    return ("ftUS" if form == "ftus" else form), LENGTH_FORMS.get(form, 1.0)


def _describe_sightings(path: Path) -> Description:
    notes = read_observations(path)
    unit, metres = _unit(path, "slope_distance")
    sights = notes.observations
    far = sights.slope_distance[np.isfinite(sights.slope_distance)]
    return Description(
        file=notes.file,
        format=notes.format,
        version="",
        bytes=path.stat().st_size,
        units=unit,
        crs=None,
        oddities=told(notes.findings, notes.file, ["holds sightings, no coordinates"]),
        more={
            "sightings": {
                "setups": len(set(sights.setup)),
                "observations": len(sights) + notes.refused,
                "with_distance": len(far),
                "targets": len(set(sights.target)),
                "longest": own(far.max(), metres) if len(far) else None,
            },
            "roles": dict(Counter(sights.role)),
            "faces": dict(Counter(face for face in sights.face if face)),
            "refused": notes.refused,
            "codes": code_counts(sights.code),
        },
    )


def _describe_levels(path: Path) -> Description:
    book = read_level_book(path)
    unit, metres = _unit(path, "foresight")
    counts = {
        name: int(np.isfinite(getattr(book, name)).sum())
        for name in ("backsight", "intermediate", "foresight")
    }
    booked = Extent()
    booked.add((), (), book.booked)
    return Description(
        file=book.file,
        format="level book",
        version="",
        bytes=path.stat().st_size,
        units=unit,
        crs=None,
        elevation=booked.heights(metres),
        oddities=told(book.findings, book.file, ["holds rod readings, no coordinates"]),
        more={"rows": len(book), "readings": counts},
    )


def _describe_positions(path: Path) -> Description:
    """A table of latitudes and longitudes: which grid it goes on is the job's to say.

    ``bbox`` is longitude and latitude in degrees; ``elevation`` the heights as they stand.
    """
    table = read_header_table(path)
    table.need("id", "latitude", "longitude")
    ids = table.words("id")
    latitude, longitude = (
        np.degrees(table.angles(name, forms=forms))
        for name, forms in (("latitude", LATITUDE_FORMS), ("longitude", LONGITUDE_FORMS))
    )
    ellipsoid = table.has("ellipsoid_height")
    heights = "ellipsoid_height" if ellipsoid else "elevation"
    height = table.lengths(heights)
    unit, metres = _unit(path, heights)
    quality, codes = table.words("quality"), table.words("code")
    _ask_all(table)
    good = table.good & np.isfinite(latitude) & np.isfinite(longitude)
    if not good.any():
        first = table.findings[0].text if table.findings else "there is none"
        raise InputError(table.file, f"no row can be used; {first}", "correct the rows")
    return _positions(
        (path, "positions table", unit),
        (longitude[good], latitude[good], height[good] / metres),
        told(table.findings, table.file, [_ELLIPSOID] if ellipsoid else []),
        {
            "quality": dict(Counter(word for word in quality[good] if word)),
            "refused": int((~good).sum()),
            "repeated_ids": len(ids) - len(set(ids)),
            "codes": code_counts(codes[good]),
        },
    )


def _ask_all(table: HeaderTable) -> None:
    """Fetch the columns that a job reads too, so that only the others are told as not read."""
    for name in ("geoid_separation", "sigma_e", "sigma_n", "sigma_h", "sigma_v", "rod"):
        table.lengths(name)
    for name in ("note", "time"):
        table.words(name)


def describe_sentences(path: Path, text: str) -> Description:
    """Fix sentences of a receiver, in degrees and metres; heights are of the antenna.

    Raises
    ------
    InputError
        No sentence is a fix.
    """
    name = shown(path.name, 80)
    fixes = parse_fixes(name, text)
    return _positions(
        (path, "fix sentences", "m"),
        (np.degrees(fixes.longitude), np.degrees(fixes.latitude), fixes.altitude),
        told(fixes.findings, name, ["heights are of the antenna, above the receiver's own geoid"]),
        {"quality": dict(Counter(fixes.quality)), "refused": fixes.refused},
    )


def _positions(
    what: tuple[Path, str, str],
    columns: tuple[Floats, Floats, Floats],
    oddities: Iterable[str],
    more: dict[str, Any],
) -> Description:
    path, form, unit = what
    extent = Extent()
    extent.add(*columns)
    return Description(
        file=shown(path.name, 80),
        format=form,
        version="",
        bytes=path.stat().st_size,
        units=f"degrees, heights {unit}",
        crs=None,
        points=len(columns[0]),
        bbox=extent.box(),
        elevation=extent.heights(),
        oddities=("latitude and longitude, not yet on a grid", *oddities),
        more={key: value for key, value in more.items() if value},
    )


def _describe_alignment(path: Path) -> Description:
    rows = read_alignment(path)
    lengths = [row.length for row in rows.elements]
    facts = AlignmentFacts(
        name=rows.name,
        elements=len(rows.elements),
        length=own(math.fsum(lengths)),
        start_station=own(rows.start_station),
        kinds=dict(Counter(row.kind for row in rows.elements)),
    )
    start = rows.elements[0].start if rows.elements else None
    return Description(
        file=shown(path.name, 80),
        format="alignment table",
        version="",
        bytes=path.stat().st_size,
        units="m",
        crs=None,
        alignments=(facts,),
        more={"start": {"easting": start[0], "northing": start[1]}} if start else {},
    )


def _describe_profile(path: Path) -> Description:
    rows = read_profile(path)
    points = rows.points
    heights = Extent()
    heights.add((), (), [row.elevation for row in points])
    facts = ProfileFacts(
        alignment="",
        name=rows.name,
        points=len(points),
        curves=sum(row.length_in > 0 or row.length_out > 0 for row in points),
        start_station=own(points[0].station),
        end_station=own(points[-1].station),
    )
    return Description(
        file=shown(path.name, 80),
        format="profile table",
        version="",
        bytes=path.stat().st_size,
        units="m",
        crs=None,
        profiles=(facts,),
        elevation=heights.heights(),
    )


FIELD_TABLES: tuple[tuple[tuple[str, ...], Callable[[Path], Description]], ...] = (
    (("setup", "target", "role", "horizontal"), _describe_sightings),
    (("point", "backsight", "foresight"), _describe_levels),
    (("id", "latitude_", "longitude_"), _describe_positions),
    (("kind", "length_m", "radius_m", "azimuth_deg"), _describe_alignment),
    (("station", "elevation_m", "curve_in_m"), _describe_profile),
)
"""(how words of the header begin, who describes such a table)."""
