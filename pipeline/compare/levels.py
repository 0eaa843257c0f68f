"""Every design layer at a place, whichever part of the design it comes from."""

from __future__ import annotations

import numpy as np

from pipeline.compare.compose import ordered
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.model import Corridor, Floats, Layer, Part
from pipeline.surface import locate


def layer_elevation(
    corridor: Corridor,
    layer: Layer,
    station: Floats,
    offset: Floats,
    easting: Floats,
    northing: Floats,
) -> Floats:
    """Elevation of one layer at n places known both ways [m]; NaN where it is not designed.

    A section layer is evaluated exactly at station and offset, a surface layer
    is interpolated in its own triangles at easting and northing. Where the design has
    several parts, the first in order of priority that is designed at a place counts.
    """
    if not corridor.parts:
        return _of_street(corridor, layer, (station, offset), (easting, northing))
    z = np.full(np.shape(easting), np.nan)
    for _, part in ordered(corridor):
        open_ = np.flatnonzero(np.isnan(z))
        if not len(open_):
            break
        grid = easting[open_], northing[open_]
        if isinstance(part, Corridor):
            z[open_] = _of_street(part, layer, (station[open_], offset[open_]), grid)
        else:
            z[open_] = _of_part(part, layer.name, grid)
    return z


def _of_street(
    street: Corridor, layer: Layer, along: tuple[Floats, Floats], grid: tuple[Floats, Floats]
) -> Floats:
    if layer.surface is not None:
        return locate.interpolate(layer.surface, *grid)
    return sections.elevation(street, *along, layer.name)


def _of_part(part: Part, name: str, grid: tuple[Floats, Floats]) -> Floats:
    """A layer of one part; NaN where it has none."""
    if part.corridor is not None:
        own = next((one for one in part.corridor.layers if one.name == name), None)
        if own is None:
            return np.full(len(grid[0]), np.nan)
        feet = line.locate(part.corridor.alignment, *grid)
        inside = feet.beyond == 0
        z = _of_street(part.corridor, own, (feet.station, feet.offset), grid)
        return np.where(inside, z, np.nan) if own.surface is None else z
    surface = part.surface(name)
    return np.full(len(grid[0]), np.nan) if surface is None else locate.interpolate(surface, *grid)


def elevations(
    corridor: Corridor, station: Floats, offset: Floats, easting: Floats, northing: Floats
) -> Floats:
    """All layers, shape (n, layers), in the corridor's order [m]; NaN where not designed."""
    columns = [
        layer_elevation(corridor, layer, station, offset, easting, northing)
        for layer in corridor.layers
    ]
    return np.stack(columns, axis=1)
