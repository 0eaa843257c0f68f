"""Every design layer at a place, whichever part of the design it comes from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.compare.compose import ordered
from pipeline.design import corridor as sections
from pipeline.design import feet as feet_of
from pipeline.model import Corridor, Floats, Ints, Layer, Part
from pipeline.surface import locate

NOBODY = -1
"""No part of the design has the layer at a place."""


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
    return ruling(corridor, layer.name, (station, offset), (easting, northing))[0]


def ruling(
    corridor: Corridor, layer: str, along: tuple[Floats, Floats], grid: tuple[Floats, Floats]
) -> tuple[Floats, Ints]:
    """Elevation of a layer and the part of the design that it comes from.

    Parameters
    ----------
    corridor : Corridor
    layer : str
    along, grid : tuple of ndarray, shape (n,)
        Station and offset along `corridor`, and easting and northing, of the same places.

    Returns
    -------
    elevation : ndarray, shape (n,)
        Metres; NaN where no part has the layer.
    part : ndarray of int, shape (n,)
        Its number in `pipeline.compare.compose.ordered`, -1 for none.
    """
    return _first_of(ordered(corridor), layer, along, grid)


def elsewhere(corridor: Corridor, layer: str, easting: Floats, northing: Floats) -> Floats:
    """Elevation of a layer on the other parts of the design than this street itself, (n,)."""
    others = [(name, part) for name, part in ordered(corridor) if isinstance(part, Part)]
    return _first_of(others, layer, (easting, northing), (easting, northing))[0]


def _first_of(
    parts: Sequence[tuple[str, Corridor | Part]],
    layer: str,
    along: tuple[Floats, Floats],
    grid: tuple[Floats, Floats],
) -> tuple[Floats, Ints]:
    z = np.full(np.shape(grid[0]), np.nan)
    owner = np.full(np.shape(grid[0]), NOBODY, dtype=np.int64)
    for number, (_, part) in enumerate(parts):
        open_ = np.flatnonzero(np.isnan(z))
        if not len(open_):
            break
        here = grid[0][open_], grid[1][open_]
        if isinstance(part, Corridor):
            z[open_] = _of_street(part, layer, (along[0][open_], along[1][open_]), here)
        else:
            z[open_] = _of_part(part, layer, here)
        owner[open_[np.isfinite(z[open_])]] = number
    return z, owner


def _of_street(
    street: Corridor, name: str, along: tuple[Floats, Floats], grid: tuple[Floats, Floats]
) -> Floats:
    """A layer of one street by its sections or its own triangles; NaN where it has none."""
    own = next((one for one in street.layers if one.name == name), None)
    if own is None:
        return np.full(len(grid[0]), np.nan)
    if own.surface is not None:
        return locate.interpolate(own.surface, *grid)
    return sections.elevation(street, *along, name)


def _of_part(part: Part, name: str, grid: tuple[Floats, Floats]) -> Floats:
    """A layer of one part; NaN where it has none."""
    if part.corridor is not None:
        if all(one.name != name for one in part.corridor.layers):
            return np.full(len(grid[0]), np.nan)
        feet = feet_of.locate(part.corridor.alignment, *grid)
        z = _of_street(part.corridor, name, (feet.station, feet.offset), grid)
        sectioned = part.corridor.layer(name).surface is None
        return np.where(feet.beyond == 0, z, np.nan) if sectioned else z
    surface = part.surface(name)
    return np.full(len(grid[0]), np.nan) if surface is None else locate.interpolate(surface, *grid)


def elevations(
    corridor: Corridor,
    station: Floats,
    offset: Floats,
    easting: Floats,
    northing: Floats,
    layers: Sequence[str] = (),
) -> Floats:
    """Layers, shape (n, layers), in the order named, else the corridor's [m]; NaN: not designed."""
    names = layers or [layer.name for layer in corridor.layers]
    columns = [ruling(corridor, name, (station, offset), (easting, northing))[0] for name in names]
    return np.stack(columns, axis=1)
