"""Points on the job grid as an OGC GeoPackage: one file that any general map program opens.

fudgeo writes it (0.7 MB of Python on the standard library's SQLite); bindings to a whole
map library would be 100 MB. It is not needed for anything else and is imported here, inside
the function. The same points give the same bytes.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from pipeline.errors import OutputError
from pipeline.model import Floats, Texts
from pipeline.model.arrays import lock_fields
from pipeline.model.gridsystem import UNDEFINED, GridSystem
from pipeline.units import round_half_away

STEP_M = 1e-4
"""Coordinates and elevations are rounded to this [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class GridPoints:
    """n points on the grid [m]; ``elevation`` is NaN where there is none."""

    easting: Floats
    northing: Floats
    elevation: Floats
    id: Texts
    code: Texts
    note: Texts

    def __post_init__(self) -> None:
        n = len(self.easting)
        numbers = ("easting", "northing", "elevation")
        lock_fields(self, dict.fromkeys(numbers, (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("id", "code", "note"), (object, (n,))))


def geopackage_bytes(
    points: GridPoints, system: GridSystem, day: str, table: str = "points"
) -> bytes:
    """One table of points as a GeoPackage.

    Parameters
    ----------
    points : GridPoints
    system : GridSystem
        Coordinates are written in its own unit, easting first.
    day : str
        ``2026-05-14``: what the file says of when it was changed; no clock is read.
    table : str
        Name of the table; one of ours, letters and underscores.

    Returns
    -------
    bytes
        The table with ``id``, ``code``, ``elevation_m`` (empty where there is none) and
        ``note``. There is no third coordinate: a plane grid says nothing of heights.

    Raises
    ------
    OutputError
        fudgeo is not installed.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            from fudgeo.enumeration import FieldType, GPKGFlavors, ShapeType
            from fudgeo.geometry import Point
            from fudgeo.geopkg import Field, MemoryGeoPackage, SpatialReferenceSystem
    except ImportError as fault:
        raise OutputError(
            "the GeoPackage of the points to set",
            "needs fudgeo, which is not installed",
            'install it with pip install "fudgeo>=1.5", or ask for another format',
        ) from fault
    package = MemoryGeoPackage.create(flavor=GPKGFlavors.epsg)
    authority = "NONE" if system.code == UNDEFINED else "EPSG"
    srs = SpatialReferenceSystem(
        system.name or "undefined", authority, system.code, system.definition or "undefined"
    )
    fields = [
        Field("id", FieldType.text),
        Field("code", FieldType.text),
        Field("elevation_m", FieldType.double),
        Field("note", FieldType.text),
    ]
    package.create_feature_class(
        table, srs, shape_type=ShapeType.point, fields=fields, geom_name="geom"
    )
    rows = [(Point(x=x, y=y, srs_id=system.code), *told) for (x, y), *told in _rows(points, system)]
    insert = f"INSERT INTO {table} (geom, id, code, elevation_m, note) VALUES (?, ?, ?, ?, ?)"  # noqa: S608  # a name of ours
    with package.connection as connection:
        connection.executemany(insert, rows)
        box = _extent(points, system)
        connection.execute(
            "UPDATE gpkg_contents SET last_change = ?, min_x = ?, min_y = ?, max_x = ?, max_y = ?",
            (f"{day[:10]}T00:00:00.000Z", *box),
        )
    data = bytes(package.connection.serialize())
    package.connection.close()
    return data


def _places(points: GridPoints, system: GridSystem) -> Floats:
    """Easting and northing in the system's unit, (n, 2)."""
    metres = round_half_away(np.column_stack([points.easting, points.northing]), STEP_M)
    return np.asarray(metres / system.metres)


def _rows(
    points: GridPoints, system: GridSystem
) -> list[tuple[list[float], str, str, float | None, str]]:
    heights = round_half_away(points.elevation, STEP_M).tolist()
    return [
        (place, str(name), str(code), None if np.isnan(height) else height, str(note))
        for place, name, code, height, note in zip(
            _places(points, system).tolist(), points.id, points.code, heights, points.note,
            strict=True,
        )
    ]  # fmt: skip


def _extent(points: GridPoints, system: GridSystem) -> list[float | None]:
    """West, south, east and north; empty where there is no point."""
    if not len(points.easting):
        return [None] * 4
    places = _places(points, system)
    return [*places.min(axis=0).tolist(), *places.max(axis=0).tolist()]
