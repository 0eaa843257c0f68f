"""The road as a whole: heights, slopes and edges of its layers by station and offset."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pipeline.design import grade_line
from pipeline.design.alignment import locate
from pipeline.design.knots import knots
from pipeline.design.section import SLACK_M, between, column_of, filled, pairs_outward, span_of
from pipeline.design.strips import triangulate
from pipeline.design.turning import Slopes, turns
from pipeline.errors import DesignError
from pipeline.model import Corridor, Extreme, Floats, Layer, Surface

__all__ = [
    "Interpolate",
    "break_line",
    "convert_reference",
    "crossfall",
    "edge_extremes",
    "elevation",
    "elevation_at",
    "knots",
    "triangulate",
]

Interpolate: TypeAlias = Callable[[Surface, Floats, Floats], Floats]
"""Elevation of a surface at easting and northing, NaN off it."""


def elevation(corridor: Corridor, station: ArrayLike, offset: ArrayLike, layer: str) -> Floats:
    """Designed elevation of a section layer at stations and offsets.

    Parameters
    ----------
    corridor : Corridor
    station, offset : array_like
        Metres; broadcast against each other.
    layer : str
        Name of a section layer.

    Returns
    -------
    ndarray, float64
        Metres; NaN off the section, off the alignment or the profile, and where
        the profile is contradicted: not designed there.

    Raises
    ------
    DesignError
        There is no such layer, or it is a surface of its own (`elevation_at`).

    Notes
    -----
    Exact but for float64. On a vertical face the foot of it on the crown's side
    counts; the height of its other end is that of a named break (`break_line`).
    A micrometre past an edge is still on it.
    """
    chosen = _section_layer(corridor, layer)
    s, o = np.asarray(station, np.float64), np.asarray(offset, np.float64)
    rise, _ = _across(chosen, s, o)
    return _on_line(corridor, s) + rise


def elevation_at(
    corridor: Corridor,
    easting: ArrayLike,
    northing: ArrayLike,
    layer: str,
    *,
    interpolate: Interpolate | None = None,
) -> Floats:
    """Designed elevation of any layer at grid coordinates.

    Parameters
    ----------
    corridor : Corridor
    easting, northing : array_like, shape (n,)
        Metres on the job grid.
    layer : str
    interpolate : callable, optional
        How a surface is read: ``interpolate(surface, easting, northing)``. Needed
        for a layer that is a surface of its own; design knows no triangles.

    Returns
    -------
    ndarray, shape (n,), float64
        Metres; NaN where the layer is not designed. Off the ends of the alignment
        a section layer is not.

    Raises
    ------
    DesignError
        There is no such layer.
    TypeError
        A surface layer and no `interpolate`: a fault of the calling code.
    """
    e, n = np.atleast_1d(np.asarray(easting, np.float64), np.asarray(northing, np.float64))
    chosen = _layer(corridor, layer)
    if chosen.surface is not None:
        if interpolate is None:
            raise TypeError(f"layer {layer!r} is a surface: pass interpolate")
        return interpolate(chosen.surface, e, n)
    feet = locate(corridor.alignment, e, n)
    return elevation(corridor, feet.station, feet.offset, layer)


def crossfall(corridor: Corridor, station: ArrayLike, offset: ArrayLike, layer: str) -> Floats:
    """Slope across a section layer [m/m], + where it rises to the right; NaN off the section.

    At a break the slope on the crown's side, at the crown that of the right half.
    """
    s, o = np.asarray(station, np.float64), np.asarray(offset, np.float64)
    return _across(_section_layer(corridor, layer), s, o)[1]


def _layer(corridor: Corridor, name: str) -> Layer:
    try:
        return corridor.layer(name)
    except KeyError as error:
        raise DesignError(f"layer {name!r}", str(error.args[0]), "name one of them") from None


def _section_layer(corridor: Corridor, name: str) -> Layer:
    layer = _layer(corridor, name)
    if layer.surface is not None:
        raise DesignError(
            f"layer {name!r}",
            "it is a surface of its own and has no section",
            "ask for it by easting and northing, or name a layer of the section table",
        )
    return layer


def _on_line(corridor: Corridor, station: Floats) -> Floats:
    """Elevation of the profile, NaN also off the alignment."""
    ends = corridor.alignment.station
    on = (station >= ends[0] - SLACK_M) & (station <= ends[-1] + SLACK_M)
    return np.where(on, grade_line.elevation(corridor.profile, station), np.nan)


def _across(layer: Layer, station: Floats, offset: Floats) -> tuple[Floats, Floats]:
    """Height above the profile and slope to the right, a strip between two breaks at a time.

    From the crown outward, and the first strip that holds a point keeps it. Breaks are
    looked up once a station, however many offsets there are beside it.
    """
    span = span_of(layer, station)
    offsets, rises = filled(layer)
    shape = np.broadcast_shapes(station.shape, offset.shape)
    rise, slope = np.full(shape, np.nan), np.full(shape, np.nan)
    free = np.ones(shape, dtype=bool)
    for inner, outer in pairs_outward(layer):
        near, far = between(offsets[:, inner], span), between(offsets[:, outer], span)
        width = np.abs(far - near)
        out = (offset - near) * np.sign(outer - inner)
        here = free & (out >= -SLACK_M) & (out <= width + SLACK_M) & (width > SLACK_M)
        low, high = between(rises[:, inner], span), between(rises[:, outer], span)
        fall = np.divide(high - low, far - near, out=np.zeros_like(low), where=width > SLACK_M)
        rise = np.where(here, low + fall * (offset - near), rise)
        slope = np.where(here, fall, slope)
        free &= ~here
    return rise, slope


def break_line(
    corridor: Corridor, layer: str, name: str, side: int, station: ArrayLike
) -> tuple[Floats, Floats]:
    """Offset and elevation of a named break along one side of a section layer.

    Parameters
    ----------
    corridor : Corridor
    layer : str
        Name of a section layer.
    name : str
        Name of the break; ``crown`` whatever the side.
    side : int
        -1 left, +1 right, 0 the crown.
    station : array_like
        Metres.

    Returns
    -------
    offset, elevation : ndarray, float64
        Metres; NaN where the section has no such break or nothing is designed.

    Raises
    ------
    DesignError
        The layer has no break of that name on that side.
    """
    chosen = _section_layer(corridor, layer)
    column = column_of(chosen, name, side)
    s = np.asarray(station, dtype=np.float64)
    span = span_of(chosen, s)
    rise = between(chosen.rise[:, column], span)
    return between(chosen.offset[:, column], span), _on_line(corridor, s) + rise


def convert_reference(
    corridor: Corridor, layer: str, from_break: str, to_break: str, side: int, station: ArrayLike
) -> Floats:
    """What is added to a height at one break to have the height at another [m].

    Parameters
    ----------
    corridor : Corridor
    layer : str
        Name of a section layer.
    from_break, to_break : str
        The break that the height is known at, and the one that it is wanted at.
    side : int
        -1 left, +1 right.
    station : array_like
        Metres.

    Returns
    -------
    ndarray, float64
        Metres; NaN where the section lacks one of the breaks.

    Raises
    ------
    DesignError
        A break is not named, or the layer has none of that name on that side: a
        height without the name of its break is not a height.
    """
    chosen = _section_layer(corridor, layer)
    span = span_of(chosen, np.asarray(station, dtype=np.float64))
    columns = [column_of(chosen, name, side) for name in (from_break, to_break)]
    return between(chosen.rise[:, columns[1]] - chosen.rise[:, columns[0]], span)


def edge_extremes(corridor: Corridor, layer: str, name: str, side: int) -> tuple[Extreme, ...]:
    """High and low points of one break along the road, which are not those of the crown.

    Parameters
    ----------
    corridor : Corridor
    layer, name, side
        As for `break_line`.

    Returns
    -------
    tuple of Extreme
        In order of station. Where the section changes at once, or the break
        begins or ends, the edge is cut: its ends are no extremes.

    Raises
    ------
    DesignError
        The layer has no break of that name on that side.

    Notes
    -----
    Each piece of the profile (tangent, parabola, circle) plus a rise that is
    linear in station, so the zero of its grade has a closed form: exact, no sampling.
    """
    chosen = _section_layer(corridor, layer)
    column = column_of(chosen, name, side)
    profile = corridor.profile
    ends = corridor.alignment.station
    cuts = np.unique(np.concatenate([profile.station, chosen.station, ends]))
    low = max(profile.station[0], chosen.station[0], ends[0])
    high = min(profile.station[-1], chosen.station[-1], ends[-1])
    cuts = cuts[(cuts >= low) & (cuts <= high)]
    if len(cuts) < 2:
        return ()
    start, end = cuts[:-1], cuts[1:]
    middle = 0.5 * (start + end)
    piece = grade_line.piece_of(profile, middle)
    row, _ = span_of(chosen, middle)
    rise = chosen.rise[:, column]
    slope = (rise[row + 1] - rise[row]) / (chosen.station[row + 1] - chosen.station[row])
    z0, g0 = grade_line.on_piece(profile, piece, start)
    z1, g1 = grade_line.on_piece(profile, piece, end)
    z0 = z0 + rise[row] + slope * (start - chosen.station[row])
    z1 = z1 + rise[row] + slope * (end - chosen.station[row])
    joined = np.abs(z1[:-1] - z0[1:]) <= SLACK_M
    found = []
    for turn in turns(Slopes(cuts, g0, g1, slope, profile.radius[piece], joined)):
        offset, z = break_line(corridor, layer, name, side, turn.low)
        found.append(Extreme(turn.kind, turn.low, turn.high, float(z), float(offset)))
    return tuple(found)
