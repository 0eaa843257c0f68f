"""Points and lines as GeoJSON (RFC 7946): longitude and latitude on WGS 84, in degrees.

A third coordinate would be a height above the ellipsoid (RFC 7946, section 3.1.1).
Elevations on a site are above something else, so they stand among the properties.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

import numpy as np

from pipeline.model import Floats, Texts
from pipeline.model.arrays import lock_fields
from pipeline.units import round_half_away

DEGREE_STEP = 1e-8
"""About a millimetre on the ground."""
HEIGHT_STEP_M = 1e-4

_AT_ONCE = 10_000
_HEIGHTS = (
    "elevation_m is the file's own elevation in metres; there is no third coordinate, which"
    " would have to be above the WGS 84 ellipsoid"
)


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Points in degrees; n rows, ``elevation`` [m] NaN where there is none."""

    longitude: Floats
    latitude: Floats
    elevation: Floats
    id: Texts
    code: Texts
    note: Texts

    def __post_init__(self) -> None:
        n = len(self.longitude)
        numbers = ("longitude", "latitude", "elevation")
        lock_fields(self, dict.fromkeys(numbers, (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("id", "code", "note"), (object, (n,))))


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A line in degrees, n vertices; ``kind`` such as break, boundary, alignment."""

    name: str
    kind: str
    longitude: Floats
    latitude: Floats
    elevation: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        n = len(self.longitude)
        if not len(self.elevation):
            object.__setattr__(self, "elevation", np.full(n, np.nan))
        numbers = ("longitude", "latitude", "elevation")
        lock_fields(self, dict.fromkeys(numbers, (np.float64, (n,))))


def geojson_pieces(
    places: Iterable[Places], ways: Iterable[Way], about: Mapping[str, str]
) -> Iterator[bytes]:
    """One feature collection, piece by piece, a feature a line.

    Parameters
    ----------
    places : iterable of Places
        Each point becomes a ``Point``.
    ways : iterable of Way
        Each becomes a ``LineString``; one with fewer than two places is left out.
    about : mapping
        What a reader has to know, such as the operation that led to WGS 84; written
        as a foreign member of that name (RFC 7946, section 6.1).

    Yields
    ------
    bytes
        UTF-8. Degrees are rounded to `DEGREE_STEP`, longitude first.
    """
    yield b'{"type":"FeatureCollection",\n"features":['
    gap = "\n"
    rows = chain(chain.from_iterable(map(_points, places)), _lines(ways))
    waiting: list[str] = []
    for row in rows:
        waiting.append(gap + _text(row))
        gap = ",\n"
        if len(waiting) == _AT_ONCE:
            yield "".join(waiting).encode("utf-8")
            waiting.clear()
    yield "".join(waiting).encode("utf-8")
    told = {"heights": _HEIGHTS, **about}
    yield f'\n],\n"about":{_text(told)}}}\n'.encode()


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _points(places: Places) -> Iterator[dict[str, Any]]:
    degrees = _degrees(places.longitude, places.latitude)
    heights = _heights(places.elevation)
    for at, height, name, code, note in zip(
        degrees, heights, places.id, places.code, places.note, strict=True
    ):
        said = {"id": str(name), "elevation_m": height, "code": str(code), "note": str(note)}
        properties = {key: value for key, value in said.items() if value not in ("", None)}
        yield _feature("Point", at, properties)


def _lines(ways: Iterable[Way]) -> Iterator[dict[str, Any]]:
    for way in ways:
        if len(way.longitude) < 2:
            continue
        properties: dict[str, Any] = {"name": way.name, "kind": way.kind}
        if np.isfinite(way.elevation).any():
            properties["elevations_m"] = _heights(way.elevation)
        yield _feature("LineString", _degrees(way.longitude, way.latitude), properties)


def _feature(kind: str, coordinates: list[Any], properties: dict[str, Any]) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _degrees(longitude: Floats, latitude: Floats) -> list[list[float]]:
    rounded = round_half_away(np.column_stack([longitude, latitude]), DEGREE_STEP)
    return [list(pair) for pair in rounded.tolist()]


def _heights(elevation: Floats) -> list[float | None]:
    rounded = round_half_away(elevation, HEIGHT_STEP_M).tolist()
    return [None if math.isnan(value) else value for value in rounded]
