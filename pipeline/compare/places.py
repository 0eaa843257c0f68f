"""The design at one place, every layer, with today's ground and the cut or fill."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.design import alignment as line
from pipeline.design import equations, feet
from pipeline.model import Corridor, Surface
from pipeline.surface import locate


@dataclass(frozen=True, slots=True)
class Place:
    """One place, known by station and offset and by easting and northing.

    ``layers`` and ``cut`` are NaN where a layer is not designed or the ground
    was not surveyed. ``other_feet`` holds (station, offset) of every further
    perpendicular: inside a tight curve the place can be meant from either.
    ``station`` counts on from the start; ``called`` is the station as people read
    it, after the alignment's equations, and ``others_called`` that of each other foot.
    """

    station: float
    offset: float
    easting: float
    northing: float
    ground: float
    layers: dict[str, float]
    cut: dict[str, float]
    other_feet: tuple[tuple[float, float], ...]
    called: str
    others_called: tuple[str, ...] = ()
    held: bool = False
    """True where a finding stops the day: nothing is marked by this cut."""
    marks_unit: Literal["m", "ft"] = "m"
    """What the crew of the job writes marks in."""


def at_station(corridor: Corridor, ground: Surface | None, station: float, offset: float) -> Place:
    """The place at a station and an offset."""
    easting, northing, _ = line.point_at(
        corridor.alignment, np.array([station]), np.array([offset])
    )
    return _place(corridor, ground, (station, offset), (float(easting[0]), float(northing[0])))


def at_grid(corridor: Corridor, ground: Surface | None, easting: float, northing: float) -> Place:
    """The place at an easting and a northing: the nearest foot of the perpendicular."""
    found = feet.locate(corridor.alignment, np.array([easting]), np.array([northing]))
    along = float(found.station[0]), float(found.offset[0])
    return _place(corridor, ground, along, (easting, northing))


def _place(
    corridor: Corridor,
    ground: Surface | None,
    along: tuple[float, float],
    grid: tuple[float, float],
) -> Place:
    station, offset, easting, northing = (np.array([value]) for value in (*along, *grid))
    heights = elevations(corridor, station, offset, easting, northing)[0]
    ground_z = (
        float("nan") if ground is None else float(locate.interpolate(ground, easting, northing)[0])
    )
    names = [layer.name for layer in corridor.layers]
    others = tuple(
        (float(s), float(o))
        for s, o in feet.all_feet(corridor.alignment, grid[0], grid[1])
        if abs(s - along[0]) > 1e-3
    )
    called = [
        equations.station_text(corridor.alignment, s, step=0.001)
        for s in (along[0], *(s for s, _ in others))
    ]
    return Place(
        station=along[0],
        offset=along[1],
        easting=grid[0],
        northing=grid[1],
        ground=ground_z,
        layers={name: float(z) for name, z in zip(names, heights, strict=True)},
        cut={name: ground_z - float(z) for name, z in zip(names, heights, strict=True)},
        other_feet=others,
        called=called[0],
        others_called=tuple(called[1:]),
    )


def with_ground(place: Place, elevation: float | None) -> Place:
    """The place with `elevation` as its ground; unchanged where none is given."""
    if elevation is None:
        return place
    cut = {name: elevation - z for name, z in place.layers.items()}
    return replace(place, ground=elevation, cut=cut)
