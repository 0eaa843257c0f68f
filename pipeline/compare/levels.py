"""Every design layer at a place, whether it comes from sections or from a surface."""

from __future__ import annotations

import numpy as np

from pipeline.design import corridor as sections
from pipeline.model import Corridor, Floats, Layer
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
    is interpolated in its own triangles at easting and northing.
    """
    if layer.surface is not None:
        return locate.interpolate(layer.surface, easting, northing)
    return sections.elevation(corridor, station, offset, layer.name)


def elevations(
    corridor: Corridor, station: Floats, offset: Floats, easting: Floats, northing: Floats
) -> Floats:
    """All layers, shape (n, layers), in the corridor's order [m]; NaN where not designed."""
    columns = [
        layer_elevation(corridor, layer, station, offset, easting, northing)
        for layer in corridor.layers
    ]
    return np.stack(columns, axis=1)
