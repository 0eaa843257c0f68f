"""The street's own lines on the map: centreline, ticks, edges and breaks, strokes over gaps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.crew.stretches import multiples
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design.section import CROWN
from pipeline.model import Alignment, Bools, Corridor, Floats, Ints, Layer, Lines, Surface
from pipeline.model.arrays import lock_fields

CHORD_M = 0.002
"""Largest gap between a curve and its chords on the map [m]."""
_STEP_M = 5.0
_WIDENING = 4.0
"""The outside of a curve is drawn at the centreline's stations; its chords are longer."""


@dataclass(frozen=True, slots=True, eq=False)
class DrawnStreet:
    """Points along the alignment, near zero about ``origin``, close enough to draw it by.

    ``short`` begins the stations of a side street, empty for the main one.
    """

    origin: Floats
    station: Floats
    x: Floats
    y: Floats
    azimuth: Floats
    short: str = ""

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "x", "y", "azimuth"), (np.float64, (n,))))
        lock_fields(self, {"origin": (np.float64, (2,))})

    def direction(self, x: Floats, y: Floats) -> Floats:
        """Angle of the street [rad, counter-clockwise from east] nearest to each place."""
        from scipy.spatial import cKDTree

        tree = cKDTree(np.column_stack([self.x, self.y]))
        _, row = tree.query(np.column_stack([x, y]))
        return np.asarray(np.pi / 2 - self.azimuth[row], dtype=np.float64)


def line_stations(alignment: Alignment) -> Floats:
    """Stations close enough to draw the line: every joint, every 5 m, closer in curves.

    Notes
    -----
    A chord of length c on radius R leaves a gap of c squared / 8 R (sagitta).
    The tightest radius of an element sets its step.
    """
    tight = np.maximum(np.abs(alignment.curvature_start), np.abs(alignment.curvature_end))
    lengths = np.diff(alignment.station)
    with np.errstate(divide="ignore"):
        step = np.minimum(_STEP_M, np.sqrt(8.0 * CHORD_M / _WIDENING / tight))
    parts = [
        np.linspace(first, first + length, max(2, math.ceil(length / s) + 1))
        for first, length, s in zip(alignment.station[:-1], lengths, step, strict=True)
    ]
    return np.unique(np.round(np.concatenate(parts), 9))


def street_of(corridor: Corridor) -> DrawnStreet:
    """The street near zero: its origin is the south-west corner, down to whole 100 m."""
    station = line_stations(corridor.alignment)
    east, north, azimuth = line.point_at(corridor.alignment, station, np.zeros(len(station)))
    origin = np.floor(np.array([east.min(), north.min()]) / 100.0) * 100.0
    return DrawnStreet(origin, station, east - origin[0], north - origin[1], azimuth)


def station_ticks(alignment: Alignment, every_m: float) -> Floats:
    """Stations that are whole multiples of `every_m`, from the start to the end of the line."""
    return multiples(float(alignment.station[0]), float(alignment.station[-1]), every_m)


def tick_lines(corridor: Corridor, street: DrawnStreet, station: Floats, length_m: float) -> Lines:
    """A stroke across the line at each station."""
    ends = [
        line.point_at(corridor.alignment, station, np.full(len(station), offset))
        for offset in (-length_m / 2, length_m / 2)
    ]
    x = np.column_stack([end[0] for end in ends]).ravel() - street.origin[0]
    y = np.column_stack([end[1] for end in ends]).ravel() - street.origin[1]
    return Lines("centreline-tick", x, y, np.arange(len(station) + 1) * 2)


@dataclass(frozen=True, slots=True)
class Edge:
    """One named break of the design along the street; rows without it are NaN."""

    name: str
    offset: Floats
    x: Floats
    y: Floats
    outer: bool


def edges(corridor: Corridor, layer: Layer, street: DrawnStreet) -> tuple[Edge, ...]:
    """Every named break of a section layer along the street, left to right.

    The leftmost and the rightmost break at each station are the outer ones; a
    surface layer has no breaks.
    """
    found = []
    for name, side in zip(layer.breaks, layer.side, strict=True):
        offset, _ = sections.break_line(corridor, layer.name, name, side, street.station)
        east, north, _ = line.point_at(corridor.alignment, street.station, offset)
        x, y = east - street.origin[0], north - street.origin[1]
        outer = (name, side) in {
            (layer.breaks[0], layer.side[0]), (layer.breaks[-1], layer.side[-1]),
        }  # fmt: skip
        own = corridor.on if name == CROWN else name
        found.append(Edge(own, offset, x, y, outer and bool(side or corridor.on == CROWN)))
    return tuple(found)


def break_lines(found: Sequence[Edge]) -> tuple[Lines, ...]:
    """The breaks as lines, interrupted where the design has none."""
    return tuple(
        broken_line("edge-outer" if edge.outer else "edge-break", edge.x, edge.y) for edge in found
    )


def broken_line(layer: str, x: Floats, y: Floats) -> Lines:
    """One line of its points, cut wherever a point is NaN."""
    there = ~np.isnan(x)
    starts = np.flatnonzero(there & ~np.concatenate([[False], there[:-1]]))
    ends = np.flatnonzero(there & ~np.concatenate([there[1:], [False]])) + 1
    return Lines(layer, x[there], y[there], np.concatenate([[0], np.cumsum(ends - starts)]))


def outline(surface: Surface, origin: Floats) -> Lines:
    """The open edges of a design surface, joined end to end."""
    import shapely

    row, side = np.nonzero(surface.neighbours < 0)
    a = surface.triangles[row, side]
    b = surface.triangles[row, (side + 1) % 3]
    shift = surface.origin - origin
    x, y = surface.x + shift[0], surface.y + shift[1]
    pairs = np.stack([np.column_stack([x[a], y[a]]), np.column_stack([x[b], y[b]])], axis=1)
    joined = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(pairs)))
    return lines_of("edge-outer", shapely.get_parts(joined))


def lines_of(layer: str, shapes: Sequence[object]) -> Lines:
    """Drawing lines of shapely's."""
    import shapely

    points, owner = shapely.get_coordinates(shapes, return_index=True)
    counts = np.bincount(owner, minlength=len(shapes))
    return Lines(layer, points[:, 0], points[:, 1], np.concatenate([[0], np.cumsum(counts)]))


def strokes(polygons: Sequence[object], spacing: float, angle: float) -> Lines:
    """Parallel strokes over polygons, cut at their edges and holes.

    Parameters
    ----------
    polygons : sequence of shapely polygons
    spacing : float
        Distance between strokes [m]; the strokes of all polygons line up.
    angle : float
        Direction of the strokes [rad], counter-clockwise from east.

    Returns
    -------
    Lines
        On layer ``gap-not-surveyed``, two points a stroke. A polygon too narrow
        for the spacing may get none, so its outline has to be drawn as well.
    """
    import shapely

    found: list[object] = []
    along = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-along[1], along[0]])
    for polygon in polygons:
        corners = shapely.get_coordinates(polygon)
        t, u = corners @ along, corners @ across
        steps = np.arange(math.ceil(u.min() / spacing), math.floor(u.max() / spacing) + 1) * spacing
        ends = np.array([t.min() - 1.0, t.max() + 1.0])
        rays = ends[None, :, None] * along + steps[:, None, None] * across
        cut = shapely.intersection(shapely.linestrings(rays), polygon) if len(steps) else []
        parts = shapely.get_parts(cut)
        # a stroke that only touches a corner leaves a point
        found += [part for part in parts if shapely.length(part) > 1e-6]
    return lines_of("gap-not-surveyed", found)


def polygons_of(rings: Sequence[tuple[Floats, ...]], origin: Floats) -> list[object]:
    """Regions, each its outer ring and its holes, as shapely polygons near zero."""
    import shapely

    return [
        shapely.Polygon(each[0] - origin, [hole - origin for hole in each[1:]]) for each in rings
    ]


def ring_lines(rings: Sequence[Floats], layer: str) -> Lines:
    """Closed outlines."""
    points = np.concatenate(rings) if rings else np.empty((0, 2))
    counts: Ints = np.array([len(ring) for ring in rings], dtype=np.int64)
    start = np.concatenate([[0], np.cumsum(counts)])
    return Lines(layer, points[:, 0], points[:, 1], start, closed=True)


def label_rows(station: Floats, every_m: float, usable: Bools) -> tuple[Ints, Ints]:
    """Rows where a line could be labelled once in every stretch of about `every_m`.

    Returns
    -------
    rows, stretch : ndarray of int
        Up to nine places a stretch, the middle one first, and the number of the
        stretch of each.
    """
    rows = np.flatnonzero(usable)
    if not len(rows):
        return rows, rows
    first, last = float(station[0]), float(station[-1])
    count = max(1, round((last - first) / every_m))
    # from the middle of a stretch outwards, in tenths of it
    tenths = np.array([5, 6, 4, 7, 3, 8, 2, 9, 1]) / 10
    wanted = first + (np.arange(count)[:, None] + tenths) * (last - first) / count
    at = rows[np.clip(np.searchsorted(station[rows], wanted.ravel()), 0, len(rows) - 1)]
    stretch = np.repeat(np.arange(count), len(tenths))
    _, new = np.unique(at, return_index=True)
    new = np.sort(new)
    return at[new], stretch[new]
