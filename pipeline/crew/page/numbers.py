"""Design, ground and lines as whole numbers and lists that a page's script can reckon with.

Alignment, profile and sections go over as the float64 that they are. Triangles go
over as whole steps about a whole-metre origin: a millimetre where the survey was
written in millimetres, else down to a micrometre, so that a height on the page
differs from the program's by less than 1e-6 m times one plus the slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipeline.crew.measures import METRIC, Measures
from pipeline.design.equations import regions
from pipeline.design.pieces import cut
from pipeline.design.section import filled
from pipeline.model import Alignment, Floats, Layer, Profile, Region, Surface
from pipeline.surface.contour import Isolines
from pipeline.units import format_length

DRAWN_M = 0.001
"""What is only looked at goes over in whole millimetres."""
_STEPS = (1e-3, 1e-4, 1e-5)
_FINEST = 1e-6
_SAME = 1e-9

Origin = tuple[float, float]


def page_origin(ground: Surface, alignment: Alignment) -> Origin:
    """Whole metres amid the ground, or at the line's start where there is none."""
    if not len(ground.x):
        return float(np.round(alignment.easting[0])), float(np.round(alignment.northing[0]))
    x, y = ground.x + ground.origin[0], ground.y + ground.origin[1]
    return (
        float(np.round((x.min() + x.max()) / 2)),
        float(np.round((y.min() + y.max()) / 2)),
    )


def line_data(alignment: Alignment) -> dict[str, Any]:
    """The pieces of the alignment, see `pipeline.design.pieces.Piece`, and its regions."""
    return {
        "origin": [float(alignment.easting[0]), float(alignment.northing[0])],
        "regions": [[one.start, one.end, one.shown] for one in regions(alignment)],
        "pieces": [
            [
                piece.station, piece.length,
                piece.start.x, piece.start.y, piece.start.sin, piece.start.cos,
                piece.end.x, piece.end.y, piece.end.sin, piece.end.cos,
                piece.curvature, piece.rate, int(piece.smooth),
            ]
            for piece in cut(alignment)
        ],
    }  # fmt: skip


def profile_data(profile: Profile) -> dict[str, Any]:
    """The pieces of the profile; null for no radius, and for a contradicted height."""
    radius = np.where(np.isfinite(profile.radius), profile.radius, np.nan)
    return {
        "station": profile.station,
        "elevation": profile.elevation,
        "grade_start": profile.grade_start,
        "grade_end": profile.grade_end,
        "radius": radius,
    }


def layer_data(layer: Layer, origin: Origin) -> dict[str, Any]:
    """A layer: its sections row by row, or its triangles."""
    named = {"name": layer.name, "title": layer.title or layer.name}
    if layer.surface is not None:
        return {**named, "surface": tin_data(layer.surface, origin)}
    offset, rise = filled(layer)
    return {
        **named,
        "breaks": list(layer.breaks),
        "side": list(layer.side),
        "station": layer.station,
        "offset": offset.ravel(),
        "rise": rise.ravel(),
    }


def tin_data(surface: Surface, origin: Origin) -> dict[str, Any]:
    """Vertices in whole steps about the origin, and triangles."""
    x = surface.x + (surface.origin[0] - origin[0])
    y = surface.y + (surface.origin[1] - origin[1])
    step = _step(x, y, surface.z)
    return {
        "step": step,
        "x": _whole(x, step),
        "y": _whole(y, step),
        "z": _whole(surface.z, step),
        "triangles": surface.triangles.astype(np.int64).ravel(),
    }


def _step(*columns: Floats) -> float:
    """The coarsest step in which every value is whole."""
    for step in _STEPS:
        if all(np.abs(v - np.round(v / step) * step).max(initial=0.0) < _SAME for v in columns):
            return step
    return _FINEST


def _whole(values: Floats, step: float) -> np.ndarray[Any, np.dtype[np.int64]]:
    return np.round(values / step).astype(np.int64)


def marks(easting: Floats, northing: Floats, origin: Origin) -> dict[str, Any]:
    """Places, to the millimetre."""
    return {
        "step": DRAWN_M,
        "x": _whole(easting - origin[0], DRAWN_M),
        "y": _whole(northing - origin[1], DRAWN_M),
    }


def closed_lines(rings: Sequence[Floats], origin: Origin) -> dict[str, Any]:
    """Rings, to the millimetre, with where each starts."""
    points = np.concatenate([np.empty((0, 2)), *rings])
    start = np.cumsum([0, *(len(ring) for ring in rings)])
    return {**marks(points[:, 0], points[:, 1], origin), "start": start.astype(np.int64)}


def open_lines(lines: Isolines, origin: Origin) -> dict[str, Any]:
    """Lines, to the millimetre, with where each starts."""
    return {**marks(lines.x, lines.y, origin), "start": lines.start}


def labelled_gaps(
    gaps: Sequence[Region], origin: Origin, unit: Measures = METRIC
) -> list[tuple[str, float, float]]:
    """``NOT SURVEYED`` with its area, and a place inside each gap to write it at [m]."""
    import shapely

    found = []
    for gap in gaps:
        shape = shapely.Polygon(gap.rings[0], gap.rings[1:])
        place = shapely.point_on_surface(shape)
        whole = shape.area >= 1.0 or unit.unit == "ft"
        area = unit.area(shape.area) if whole else format_length(float(shape.area), step=0.1)
        found.append(
            (
                f"NOT SURVEYED {area} {unit.area_unit}",
                round(float(place.x) - origin[0], 3),
                round(float(place.y) - origin[1], 3),
            )
        )
    return found
