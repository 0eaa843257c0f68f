"""A layer that lies a thickness below another, measured vertically or square to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.errors import DesignError
from pipeline.model import Floats, Layer, Surface


def surface_below(surface: Surface, thickness: float, measured: str, name: str) -> Surface:
    """A surface `thickness` below another.

    Parameters
    ----------
    surface : Surface
    thickness : float
        Metres, not below zero.
    measured : str
        ``vertical`` or ``perpendicular``.
    name : str
        Of the new surface.

    Notes
    -----
    Square to a plane of slope s, a thickness t reaches ``t sqrt(1 + s²)`` down. Each
    corner takes the mean of that over its triangles, weighted by their area in plan:
    exact on a plane; where two planes of slopes s1, s2 meet, off by at most half of
    ``t |sqrt(1 + s1²) - sqrt(1 + s2²)|`` on either (0.03 mm for 0.3 m, level against 2 %).
    """
    down = np.full(len(surface.z), thickness)
    if measured == "perpendicular":
        down = thickness * _secants(surface)
    return replace(surface, name=name, z=surface.z - down)


def _secants(surface: Surface) -> Floats:
    """Mean of ``sqrt(1 + slope²)`` of the triangles about each corner."""
    t = surface.triangles
    x, y, z = surface.x[t], surface.y[t], surface.z[t]
    ux, uy, uz = x[:, 1] - x[:, 0], y[:, 1] - y[:, 0], z[:, 1] - z[:, 0]
    vx, vy, vz = x[:, 2] - x[:, 0], y[:, 2] - y[:, 0], z[:, 2] - z[:, 0]
    plan = ux * vy - uy * vx
    true = np.sqrt((uy * vz - uz * vy) ** 2 + (uz * vx - ux * vz) ** 2 + plan**2)
    above, below = np.zeros(len(surface.z)), np.zeros(len(surface.z))
    for k in range(3):
        np.add.at(above, t[:, k], true)
        np.add.at(below, t[:, k], plan)
    return np.divide(above, below, out=np.ones_like(above), where=below > 0.0)


def layer_below(layer: Layer, thickness: float, measured: str, named: tuple[str, str]) -> Layer:
    """A layer a thickness below another; ``named`` are its name and title.

    Raises
    ------
    DesignError
        A section layer measured square to it: its widths are stated level, so its
        thickness is too.
    """
    name, title = named
    if layer.surface is not None:
        below = surface_below(layer.surface, thickness, measured, name)
        return Layer(name=name, title=title, surface=below)
    if measured != "vertical":
        raise DesignError(
            f"layer {name!r}",
            f"it is to lie square below {layer.name!r}, which comes from sections",
            "state it vertical, or give it in the section table",
        )
    return replace(layer, name=name, title=title, rise=layer.rise - thickness)
