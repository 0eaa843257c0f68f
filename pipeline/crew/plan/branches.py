"""The other parts of a design on the map: side streets, returns, bulbs, and patches' outlines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.streets import claimed, inward, streets_of
from pipeline.crew.plan.lines import DrawnStreet, Edge, edges, line_stations, outline
from pipeline.design import alignment as line
from pipeline.model import Corridor, Floats, Lines


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """One part with a line of its own, as the map draws it; ``prefix`` begins its stations."""

    name: str
    prefix: str
    kind: str
    corridor: Corridor
    street: DrawnStreet
    edges: tuple[Edge, ...]


def branches_of(corridor: Corridor, layer: str, origin: Floats) -> tuple[Branch, ...]:
    """Every part but the main street, near zero about `origin`.

    Edges are drawn where the part rules: not under a street that comes before it.
    """
    found = []
    for one in streets_of(corridor)[1:]:
        along = line_stations(one.corridor.alignment)
        east, north, azimuth = line.point_at(one.corridor.alignment, along, np.zeros(len(along)))
        street = DrawnStreet(
            origin, along, east - origin[0], north - origin[1], azimuth, one.prefix
        )
        shown = edges(one.corridor, one.corridor.layer(layer), street) if one.has(layer) else ()
        kept = tuple(_ruling(one.corridor, layer, street, edge) for edge in shown)
        found.append(Branch(one.name, one.prefix, one.kind, one.corridor, street, kept))
    return tuple(found)


def _ruling(corridor: Corridor, layer: str, street: DrawnStreet, edge: Edge) -> Edge:
    rows = np.flatnonzero(~np.isnan(edge.x))
    along = street.station[rows], edge.offset[rows]
    grid = edge.x[rows] + street.origin[0], edge.y[rows] + street.origin[1]
    gone = ~claimed(corridor, layer, along, grid)
    if edge.outer:
        gone |= inward(corridor, layer, int(np.sign(np.nanmean(edge.offset))), along)
    return _without(edge, rows[gone])


def with_mouths(corridor: Corridor, layer: str, street: DrawnStreet, edge: Edge) -> Edge:
    """An edge of the main street, interrupted where another part goes on outside it."""
    if not corridor.parts or not edge.outer:
        return edge
    side = int(np.sign(np.nanmean(edge.offset)))
    gone = inward(corridor, layer, side, (street.station, edge.offset))
    return _without(edge, np.flatnonzero(gone))


def _without(edge: Edge, rows: Sequence[int] | np.ndarray) -> Edge:
    columns = {name: getattr(edge, name).copy() for name in ("offset", "x", "y")}
    for column in columns.values():
        column[rows] = np.nan
    return replace(edge, **columns)


def every_way(street: DrawnStreet, branches: Sequence[Branch]) -> DrawnStreet:
    """The points of all lines as one, for the direction in which something is written."""
    if not branches:
        return street
    lines = [street, *(one.street for one in branches)]
    station, x, y, azimuth = (
        np.concatenate([getattr(one, name) for one in lines])
        for name in ("station", "x", "y", "azimuth")
    )
    return DrawnStreet(street.origin, station, x, y, azimuth)


def patch_outlines(corridor: Corridor, layer: str, origin: Floats) -> tuple[tuple[str, Lines], ...]:
    """Name and outline of every patch that has the layer."""
    found = []
    for part in corridor.parts:
        surface = part.surface(layer) if part.kind == "patch" else None
        if surface is not None:
            found.append((part.name, outline(surface, origin)))
    return tuple(found)
