"""The end of a street laid onto what it meets: its breaks are lifted there, and less farther on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import locate, point_at
from pipeline.design.corridor import elevation
from pipeline.design.rows import with_rows
from pipeline.design.section import between, column_of, filled, span_of
from pipeline.errors import DesignError
from pipeline.model import Corridor, Floats, Layer

_STEP_M = 0.5
_CLOSE_M = 1e-9


def pulled(layer: Layer, corner: Floats, lift: Floats, length: float, ahead: int) -> Layer:
    """A layer whose breaks are lifted at an end, the lift going to nothing over `length`.

    Parameters
    ----------
    layer : Layer
    corner : ndarray, shape (b,)
        Station at which each break meets what it is laid onto [m].
    lift : ndarray, shape (b,)
        What is added to the break there and all the way to the end [m].
    length : float
        Over this the lift falls evenly to zero [m].
    ahead : int
        +1 where the end is the start of the street, -1 where it is its end.
    """
    known = np.isfinite(corner) & np.isfinite(lift)
    stations = np.concatenate([corner[known], corner[known] + ahead * length])
    layer = with_rows(layer, stations)
    rise = layer.rise.copy()
    for j in np.flatnonzero(known):
        gone = (layer.station - corner[j]) * ahead / length
        rise[:, j] += lift[j] * np.clip(1.0 - gone, 0.0, 1.0)
    return replace(layer, rise=rise)


def onto(
    street: Corridor, through: Corridor, at: str, length: float, end: str
) -> tuple[Corridor, Floats]:
    """A street warped at one end so that it lies flush on the edge of one that goes through.

    Parameters
    ----------
    street, through : Corridor
    at : str
        Break of the through street, on its top layer, where the two meet.
    length : float
        Warp [m].
    end : str
        ``start`` or ``end`` of the street, or ``through``: it crosses and both
        approaches are laid on. Between the two edges the lift goes evenly from one to
        the other; the place there is the through street's.

    Returns
    -------
    Corridor
        The street with every layer both have lifted onto the through street's.
    lift : ndarray
        What the breaks of the top layer were lifted by [m]; NaN where one never crosses.

    Raises
    ------
    DesignError
        The street does not cross that edge near its end.

    Notes
    -----
    Each break is followed to where it crosses the edge, so a skewed street is laid on
    without a gap. Along the seam the two agree at the breaks, and between them as well
    where the edge has an even grade there.
    """
    layers, lifts = [], np.empty(0)
    names = {layer.name for layer in through.layers if layer.surface is None}
    for layer in street.layers:
        if layer.surface is not None or layer.name not in names:
            layers.append(layer)
            continue
        if end == "through":
            both = [_meeting(street, layer, through, at, ahead) for ahead in (1, -1)]
            lifts = lifts if layers else both[0][1]
            layers.append(_pulled_both_ways(street, layer, both, length))
            continue
        ahead = 1 if end == "start" else -1
        corner, lift = _meeting(street, layer, through, at, ahead)
        if not layers:
            lifts = lift
        # all fade from where the last of them meets the edge: until there the lift is even,
        # so along a skew edge the two agree between the breaks too
        last = np.full(len(corner), ahead * np.max(ahead * corner))
        layers.append(pulled(layer, last, lift, length, ahead))
    return replace(street, layers=tuple(layers)), lifts


def _pulled_both_ways(
    street: Corridor, layer: Layer, both: list[tuple[Floats, Floats]], length: float
) -> Layer:
    """A layer lifted onto both edges of the street that it crosses."""
    (near, lift_near), (far, lift_far) = both
    if not near.max() < far.min():
        raise DesignError(
            f"street {street.name!r}",
            "it does not come out again on the other side of the street that it is to cross",
            "warp its start or its end instead",
        )
    # even from the first break to the last that meets an edge, as at the end of a street
    at = np.array([near.min() - length, near.min(), near.max(), far.min(), far.max()])
    at = np.append(at, far.max() + length)
    layer = with_rows(layer, at)
    share_near = np.interp(layer.station, at, [0.0, 1.0, 1.0, 0.0, 0.0, 0.0])
    share_far = np.interp(layer.station, at, [0.0, 0.0, 0.0, 1.0, 1.0, 0.0])
    rise = layer.rise + np.outer(share_near, lift_near) + np.outer(share_far, lift_far)
    return replace(layer, rise=rise)


def _meeting(
    street: Corridor, layer: Layer, through: Corridor, at: str, ahead: int
) -> tuple[Floats, Floats]:
    """Where each break of a layer crosses the edge, and how far the edge lies above it there."""
    edge = through.layers[0]
    columns = {side: column_of(edge, at, side) for side in (-1, 1)}
    offset, rise = filled(layer)
    corner = np.full(len(layer.breaks), np.nan)
    lift = corner.copy()
    for j in range(len(layer.breaks)):
        found = crossing(street, layer.station, offset[:, j], through, columns, ahead)
        if found is None:
            continue
        station, (over, across) = found
        span = span_of(layer, np.array([station]))
        own = grade_line.elevation(street.profile, station) + between(rise[:, j], span)[0]
        corner[j] = station
        lift[j] = float(elevation(through, over, across, layer.name)) - float(own)
    _outside_with_edge(layer, at, corner, lift)
    # a break that never comes to the edge goes with the nearest that does
    known = np.flatnonzero(np.isfinite(lift))
    if not len(known):
        raise DesignError(
            f"street {street.name!r}",
            f"it does not cross the {at} of {through.name!r} near its"
            f" {'start' if ahead > 0 else 'end'}",
            "check its alignment, or take the warp away",
        )
    for j in np.flatnonzero(np.isnan(lift)).tolist():
        nearest = known[np.argmin(np.abs(known - j))]
        corner[j], lift[j] = corner[nearest], lift[nearest]
    return corner, lift


def _outside_with_edge(layer: Layer, at: str, corner: Floats, lift: Floats) -> None:
    """Curb and walk outside the street's own such break go with it and keep their shape."""
    for side in (-1, 1):
        for column, (name, on) in enumerate(zip(layer.breaks, layer.side, strict=True)):
            if name == at and on == side and np.isfinite(lift[column]):
                outer = slice(column + 1, None) if side > 0 else slice(None, column)
                corner[outer], lift[outer] = corner[column], lift[column]


def crossing(
    street: Corridor, stations: Floats, offsets: Floats, through: Corridor,
    columns: dict[int, int], ahead: int,
) -> tuple[float, tuple[float, float]] | None:  # fmt: skip
    """Station at which a line of a street crosses an edge of another, and where that is on it.

    The first crossing from the end inward. ``offsets`` at ``stations`` describe the line,
    linear between; ``columns`` the edge's column on either side of the through street.
    None where the line does not cross.
    """
    edge = through.layers[0]
    first, last = float(stations[0]), float(stations[-1])
    count = max(2, int(np.ceil((last - first) / _STEP_M)) + 1)
    s = np.linspace(first, last, count)[::ahead]

    def outside(station: Floats) -> tuple[Floats, Floats, Floats]:
        offset = np.interp(station, stations, offsets)
        e, n, _ = point_at(street.alignment, station, offset)
        feet = locate(through.alignment, e, n)
        span = span_of(edge, feet.station)
        left = between(edge.offset[:, columns[-1]], span)
        right = between(edge.offset[:, columns[1]], span)
        away = np.where(feet.offset < 0.0, left - feet.offset, feet.offset - right)
        return away, feet.station, feet.offset

    away, _, _ = outside(s)
    sign = away > 0.0
    turn = np.flatnonzero((sign[1:] != sign[:-1]) & np.isfinite(away[1:] + away[:-1]))
    if not len(turn):
        return None
    low, high = s[turn[0]], s[turn[0] + 1]
    for _ in range(60):
        middle = 0.5 * (low + high)
        if (outside(np.array([middle]))[0][0] > 0.0) == sign[turn[0]]:
            low = middle
        else:
            high = middle
        if abs(high - low) < _CLOSE_M:
            break
    # on the through street's side, where it is designed
    inside = low if not sign[turn[0]] else high
    _, over, across = outside(np.array([inside]))
    return float(inside), (float(over[0]), float(across[0]))
