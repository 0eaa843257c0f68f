"""A morning as it is seen along each part of a design: what the checks are told of every line.

A room under the roof beside `judging`, for checks know no design and no geometry.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from pipeline.checks.case import Case
from pipeline.checks.facets import Facets, Plan
from pipeline.checks.gaps import Cells
from pipeline.compare.compose import ordered
from pipeline.compare.levels import layer_elevation, ruling
from pipeline.compare.streets import Street, edge_name, home_of, inward, streets_of, told_from
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design import feet as feet_of
from pipeline.design.equations import station_text
from pipeline.design.section import CROWN
from pipeline.model import Bools, BreakLine, Corridor, Finding, Floats, Part, Surface

INSIDE_M = 0.02
"""A break belongs to the part that rules this far inside of it."""
MOST_CELLS = 100_000
"""A design is asked at so many places at most how far the next shot is."""


def every_metre(corridor: Corridor) -> Floats:
    """Stations along a line a metre apart, with both ends."""
    ends = corridor.alignment.station[[0, -1]]
    return np.append(np.arange(*ends), ends[1])


def half_width_m(corridor: Corridor) -> float:
    """How far the widest section of a street reaches from its line; 0 where it has none."""
    layers = [np.nanmax(np.abs(one.offset)) for one in corridor.layers if one.offset.size]
    return float(max(layers, default=0.0))


def break_lines(corridor: Corridor, beside: float = 0.0) -> tuple[BreakLine, ...]:
    """Every break of every section layer, each metre and at the layer's own stations.

    ``beside`` asks as far before and behind those stations too [m].
    """
    ends = corridor.alignment.station
    metre = every_metre(corridor)
    found = []
    for layer in corridor.layers:
        knots = np.concatenate([layer.station + away for away in (-beside, 0.0, beside)])
        station: Floats = np.unique(np.concatenate([metre, np.clip(knots, ends[0], ends[-1])]))
        for name, side in zip(layer.breaks, layer.side, strict=True):
            offset, elevation = sections.break_line(corridor, layer.name, name, side, station)
            found.append(BreakLine(name, layer.name, side, station, offset, elevation))
    return tuple(found)


def bends(corridor: Corridor) -> tuple[tuple[float, float], ...]:
    """Stretches (from, to) on which the line is curved."""
    alignment = corridor.alignment
    bent = (alignment.curvature_start != 0) | (alignment.curvature_end != 0)
    pairs = zip(alignment.station[:-1][bent], alignment.station[1:][bent], strict=True)
    return tuple((float(a), float(b)) for a, b in pairs)


def along_each(case: Case, corridor: Corridor) -> Case:
    """The case with its shots seen along every part of the design; as it is where there is one.

    A shot belongs to the part that rules its place, else to the one whose sections are
    nearest. A break belongs to a part where that part rules just inside of it, and is none
    where another goes on outside: in a mouth, under a return, along a bulb's throat.
    """
    if not corridor.parts:
        return case
    layer, shots = case.job.target.layer, case.shots
    grid = shots.easting, shots.northing
    streets, number, _ = home_of(corridor, layer, grid)
    parts = tuple(
        replace(
            case,
            feet=feet_of.locate(street.corridor.alignment, *grid),
            breaks=_own_breaks(street.corridor),
            bends=bends(street.corridor),
            called=partial(station_text, street.corridor.alignment),
            part=street.name,
            kind=street.kind,
            mine=number == k,
            told=partial(told_from, corridor, street.corridor) if k else partial(_of_main, street),
        )
        for k, street in enumerate(streets)
    )
    return replace(case, parts=parts, cells=_cells(corridor, layer))


def _of_main(street: Street, finding: Finding) -> Finding:
    return replace(finding, text=f"{street.name}: {finding.text}")


def _own_breaks(corridor: Corridor) -> tuple[BreakLine, ...]:
    """The breaks that are this part's own; the line of a return or a bulb by its proper name.

    The crown runs on where the sections have ended and the ground of a bulb lies around it.
    """
    parts = [part for _, part in ordered(corridor)]
    own = np.array([isinstance(part, Corridor) for part in parts])
    area = np.array([isinstance(part, Part) and part.kind == "area" for part in parts])
    found = []
    for one in break_lines(corridor, beside=INSIDE_M):
        inner = np.nan_to_num(one.offset) - one.side * INSIDE_M
        east, north, _ = line.point_at(corridor.alignment, one.station, inner)
        z, owner = ruling(corridor, one.layer, (one.station, inner), (east, north))
        there = (owner >= 0) & own[owner] & np.isfinite(one.offset)
        if one.side and one.name == edge_name(corridor.layer(one.layer), one.side):
            there &= ~inward(corridor, one.layer, one.side, (one.station, one.offset))
        offset = np.where(there, one.offset, np.nan)
        elevation = np.where(there, one.elevation, np.nan)
        if one.name == CROWN and corridor.on == CROWN:
            bare = (owner >= 0) & area[owner] & (np.nan_to_num(one.offset) == 0.0)
            offset, elevation = np.where(bare, 0.0, offset), np.where(bare, z, elevation)
        name = corridor.on if one.name == CROWN else one.name
        found.append(BreakLine(name, one.layer, one.side, one.station, offset, elevation))
    return tuple(found)


def _cells(corridor: Corridor, layer: str) -> Cells:
    """Places of the whole design on one grid, and the part that each is told along."""
    east, north = _outline(corridor)
    box = [float(end) for end in (east.min(), east.max(), north.min(), north.max())]
    step = max(1.0, ((box[1] - box[0]) * (box[3] - box[2]) / MOST_CELLS) ** 0.5)
    easting, northing = np.meshgrid(
        np.arange(box[0] + step / 2, box[1], step), np.arange(box[2] + step / 2, box[3], step),
        indexing="ij",
    )  # fmt: skip
    shape, grid = easting.shape, (easting.ravel(), northing.ravel())
    main = feet_of.locate(corridor.alignment, *grid)
    z, owner = ruling(corridor, layer, (main.station, main.offset), grid)
    street = [isinstance(p, Corridor) or p.kind == "street" for _, p in ordered(corridor)]
    ruled = (owner >= 0) & np.array(street)[owner]
    _, number, feet = home_of(corridor, layer, grid)
    return Cells(
        easting=easting, northing=northing, station=feet.station.reshape(shape),
        offset=feet.offset.reshape(shape), part=number.reshape(shape),
        inside=np.isfinite(z).reshape(shape), ruled=ruled.reshape(shape), step=step,
    )  # fmt: skip


def _designed(corridor: Corridor, layer: str, grid: tuple[Floats, Floats]) -> Bools:
    feet = feet_of.locate(corridor.alignment, *grid)
    z = layer_elevation(corridor, corridor.layer(layer), feet.station, feet.offset, *grid)
    return np.asarray(np.isfinite(z))


def _outline(corridor: Corridor) -> tuple[Floats, Floats]:
    """Places along every line of the design, as far out as its widest break on either side."""
    east, north = [], []
    for street in streets_of(corridor):
        own = street.corridor
        station = every_metre(own)
        for side in (-1.0, 1.0):
            e, n, _ = line.point_at(own.alignment, station, side * half_width_m(own))
            east.append(e)
            north.append(n)
    return np.concatenate(east), np.concatenate(north)


def facets_of(case: Case, corridor: Corridor, surface: Surface) -> tuple[Facets, ...]:
    """Today's triangles by station and offset, for each part those whose middle is told along it.

    Where the design has several parts their edges are measured on the grid, for round a
    bulb or a return station and offset are no lengths.
    """
    east, north = surface.x + surface.origin[0], surface.y + surface.origin[1]
    triangles = surface.triangles.astype(np.int64)
    if not case.parts:
        feet = feet_of.locate(corridor.alignment, east, north)
        return (Facets(feet.station, feet.offset, triangles),)
    layer = case.job.target.layer
    middle = east[triangles].mean(axis=1), north[triangles].mean(axis=1)
    inside = _designed(corridor, layer, middle)
    streets, number, _ = home_of(corridor, layer, middle)
    places = np.stack([surface.x, surface.y], axis=1)[triangles]
    sides = places - np.roll(places, -1, axis=1)
    length = np.hypot(sides[..., 0], sides[..., 1]).max(axis=1)
    u, v = places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]
    area = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    found = []
    for k, street in enumerate(streets):
        rows = np.flatnonzero(number == k)
        feet = feet_of.locate(street.corridor.alignment, east, north)
        plan = Plan(length[rows], area[rows], inside[rows])
        found.append(Facets(feet.station, feet.offset, triangles[rows], plan))
    return tuple(found)
