"""The corners of a patch's outline, to be set so that its boundary can be seen on the ground."""

from __future__ import annotations

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.crew.hubs.layout import Zones
from pipeline.crew.plan.lines import outline
from pipeline.design import feet as feet_of
from pipeline.model import Corridor, Finding, Findings, Floats, Part, Stakes, Utilities, texts
from pipeline.settings import LayoutRules

_STRAIGHT_M = 0.02
"""A corner of the mesh this near to the line between its neighbours bends nothing [assumed]."""


def patch_corners(
    corridor: Corridor, part: Part, number: int, things: tuple[Utilities | None, LayoutRules]
) -> tuple[Stakes, Findings]:
    """Corners of a patch's outline, clockwise from the south-western one.

    Parameters
    ----------
    corridor : Corridor
        Whose stations and offsets are told.
    part : Part
        The patch.
    number : int
        Of the patch; its ids begin with it.
    things : tuple of Utilities or None, and LayoutRules
        No point is set near a recorded thing: it is left out and told.
    """
    ring = _bends(part)
    east, north = ring.T
    at = feet_of.locate(corridor.alignment, east, north)
    names = tuple(layer.name for layer in corridor.layers)
    level = elevations(corridor, at.station, at.offset, east, north, names)
    for column, name in enumerate(names):
        surface = part.surface(name)
        if surface is not None:
            x, y = surface.x + surface.origin[0], surface.y + surface.origin[1]
            nearest = np.hypot(x[:, None] - east, y[:, None] - north).argmin(axis=0)
            level[:, column] = surface.z[nearest]
    kept, told = _clear(part, ring, at.station, things)
    what = f"corner of patch {part.name}"
    points = Stakes(
        layers=names,
        id=texts([f"PATCH{number}-{k + 1:02d}" for k in range(len(ring))]),
        kind=texts(["point"] * len(ring)),
        what=texts([what] * len(ring)),
        station=at.station,
        offset=at.offset,
        easting=east,
        northing=north,
        ground=np.full(len(ring), np.nan),
        design=level,
        mark=texts([f"PATCH {k + 1}" for k in range(len(ring))]),
        note=texts([""] * len(ring)),
        street=texts([part.name] * len(ring)),
    )
    return points.take(kept), told


def _bends(part: Part) -> Floats:
    """Easting and northing of the outline's corners, shape (n, 2)."""
    import shapely

    surface = part.surfaces[0]
    drawn = outline(surface, surface.origin)
    rings = []
    for a, b in zip(drawn.start[:-1], drawn.start[1:], strict=True):
        line = shapely.Polygon(np.column_stack([drawn.x[a:b], drawn.y[a:b]]))
        corners = shapely.get_coordinates(line.simplify(_STRAIGHT_M).normalize().exterior)[:-1]
        first = int(np.lexsort((corners[:, 0], corners[:, 0] + corners[:, 1]))[0])
        rings.append(np.roll(corners, -first, axis=0))
    return np.concatenate(rings) + np.asarray(surface.origin)


def _clear(
    part: Part, ring: Floats, station: Floats, things: tuple[Utilities | None, LayoutRules]
) -> tuple[np.ndarray, Findings]:
    zones = Zones(things[0], things[1].utility_clear_m)
    kept, told = [], []
    for k, (east, north) in enumerate(ring):
        hit = zones.hit(east, north)
        if not hit:
            kept.append(k)
            continue
        told.append(
            Finding(
                "person", "point left out",
                f"corner {k + 1} of patch {part.name}: within the distance kept from {hit}",
                "mark it by ties from clear ground", points=(hit,), station=float(station[k]),
            )
        )  # fmt: skip
    return np.array(kept, dtype=np.int64), tuple(told)
