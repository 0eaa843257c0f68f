"""How far the triangles that stand for a design layer leave its exact surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compare.levels import layer_elevation
from pipeline.design.alignment import locate
from pipeline.model import Corridor, Finding, Findings, Floats, Layer, Surface
from pipeline.settings import DesignRules

_NEAR = np.array([[0.48, 0.48, 0.04], [0.04, 0.48, 0.48], [0.48, 0.04, 0.48], [1, 1, 1]])
_WEIGHTS = _NEAR / _NEAR.sum(axis=1, keepdims=True)
"""Places of a triangle that are asked: near the middle of each edge, and its own middle."""
_LEAST_M = 0.06
"""A narrower triangle has no place that is farther than a chord from its edges."""
_FACE = 5.0
"""Steeper, and it is a face that leans: in height it stands for nothing."""


@dataclass(frozen=True, slots=True)
class Chords:
    """The largest difference of triangles from the exact surface [m], where, of how many places."""

    difference: float
    easting: float
    northing: float
    places: int


def largest_difference(corridor: Corridor, layer: Layer, surface: Surface) -> Chords:
    """Triangles of a design layer against the layer evaluated by station and offset.

    Parameters
    ----------
    corridor : Corridor
        Evaluated exactly: alignment, profile and section each by its own formula, at the
        foot of the perpendicular, not at the triangles' own stations.
    layer : Layer
    surface : Surface
        As triangulated, or put together of several parts.

    Returns
    -------
    Chords
        NaN where no place can be compared.

    Notes
    -----
    Measured square to the surface. Left out are faces, which lean by a millimetre, and
    triangles narrower than 60 mm. An area between edges is defined by its triangles, so
    there nothing differs.
    """
    east, north, z, slope = _places(surface)
    feet = locate(corridor.alignment, east, north)
    exact = layer_elevation(corridor, layer, feet.station, feet.offset, east, north)
    # square to the surface: on a curb's slope a hair in plan is several in height
    off = np.abs(z - exact) / np.hypot(1.0, slope)
    known = np.isfinite(off)
    if not known.any():
        return Chords(float("nan"), float("nan"), float("nan"), 0)
    worst = int(np.nanargmax(off))
    return Chords(float(off[worst]), float(east[worst]), float(north[worst]), int(known.sum()))


def _places(surface: Surface) -> tuple[Floats, Floats, Floats, Floats]:
    t = surface.triangles
    x, y, z = surface.x[t], surface.y[t], surface.z[t]
    ax, ay, bx, by = x[:, 1] - x[:, 0], y[:, 1] - y[:, 0], x[:, 2] - x[:, 0], y[:, 2] - y[:, 0]
    az, bz = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    area = np.abs(ax * by - ay * bx)
    longest = np.hypot(x - np.roll(x, 1, axis=1), y - np.roll(y, 1, axis=1)).max(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.hypot(az * by - bz * ay, bz * ax - az * bx) / area
    kept = (area > _LEAST_M * longest) & (slope < _FACE)
    at = [np.asarray(axis[kept] @ _WEIGHTS.T).ravel() for axis in (x, y, z)]
    steep = np.repeat(slope[kept], len(_WEIGHTS))
    return at[0] + surface.origin[0], at[1] + surface.origin[1], at[2], steep


def findings(layer: str, found: Chords, chord_m: float) -> Findings:
    """The largest difference as a note; for a person where it is over what the job states."""
    if not found.places:
        return ()
    text = (
        f"layer {layer!r}: its triangles leave the exact surface by"
        f" {1000 * found.difference:.2f} mm at most, asked at {found.places} places, at"
        f" E {found.easting:.3f}, N {found.northing:.3f}; {1000 * chord_m:g} mm is stated"
    )
    if found.difference <= chord_m:
        return (Finding("note", "design triangles", text, "nothing to do"),)
    do = "state a smaller design.chord_m or design.max_step_m, or ask for the place"
    return (Finding("person", "design triangles", text, do),)


def told(corridor: Corridor, surface: Surface, layer: str, rules: DesignRules) -> Findings:
    """`findings` of one layer's triangles; nothing of a layer that is given as triangles."""
    chosen = corridor.layer(layer)
    if chosen.surface is not None:
        return ()
    return findings(layer, largest_difference(corridor, chosen, surface), rules.chord_m)
