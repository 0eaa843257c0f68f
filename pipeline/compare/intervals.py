"""Cut, fill and areas by stretch of the street and by lane, exact and adding up to the whole."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np

from pipeline.compare.crosslines import (
    Cuttings,
    Lanes,
    along_breaks,
    at_stations,
    bins,
    cut_within,
    lane_of,
    reach,
)
from pipeline.compare.pieces import starts
from pipeline.compare.quantities import Parts, parts
from pipeline.errors import JobError
from pipeline.model import Alignment, Bools, Floats, Ints, Overlay, Surface, Texts, texts
from pipeline.model.arrays import lock_fields
from pipeline.surface.cells import runs

SAME_STATION_M = 1e-9
BLOCK = 1 << 16
"""Pieces looked at together, so that what is worked out of them stays in the cache."""
OF_ANOTHER_ROW = 1e-9
"""A triangle of the design with no more than this part of it beyond a line is not cut there."""
NOTHING_M2 = 1e-6
"""A row with less plan area than a square millimetre is rounding and is left out."""


@dataclass(frozen=True, slots=True, eq=False)
class Intervals:
    """Cut and fill of one layer in k stretches, apart, with what no shot covers.

    Columns of length k. ``start`` and ``end`` are stations [m], infinite before
    the first and after the last station that was asked for; ``lane`` is empty
    where the whole width is one. Volumes [m3] and areas [m2], none negative.
    """

    layer: str
    lane: Texts
    start: Floats
    end: Floats
    cut_m3: Floats
    fill_m3: Floats
    cut_area_m2: Floats
    fill_area_m2: Floats
    compared_area_m2: Floats
    uncovered_area_m2: Floats

    def __post_init__(self) -> None:
        k = len(self.start)
        names = (
            "start", "end", "cut_m3", "fill_m3", "cut_area_m2", "fill_area_m2",
            "compared_area_m2", "uncovered_area_m2",
        )  # fmt: skip
        lock_fields(self, {"lane": (object, (k,)), **dict.fromkeys(names, (np.float64, (k,)))})

    def __len__(self) -> int:
        return len(self.start)

    @property
    def net_m3(self) -> Floats:
        """Cut less fill [m3]."""
        return self.cut_m3 - self.fill_m3

    @property
    def mean_cut_m(self) -> Floats:
        """Net over compared area [m], + where earth is left over; NaN where nothing is compared."""
        area = self.compared_area_m2
        mean = np.full(len(self), np.nan)
        np.divide(self.net_m3, area, out=mean, where=area > 0)
        return mean

    @property
    def middle(self) -> Floats:
        """Station midway [m]."""
        return 0.5 * (self.start + self.end)

    def take(self, rows: Bools | Ints) -> Intervals:
        """The rows that are asked for."""
        columns = {
            item.name: getattr(self, item.name)[rows]
            for item in fields(self)
            if item.name != "layer"
        }
        return Intervals(layer=self.layer, **columns)


def interval_stations(first: float, last: float, step: float) -> Floats:
    """Whole multiples of `step` from the first to the last station, with both ends.

    Raises
    ------
    JobError
        The step is not positive, or the stations do not rise.

    Examples
    --------
    >>> interval_stations(5.0, 47.0, 20.0).tolist()
    [5.0, 20.0, 40.0, 47.0]
    """
    if not step > 0 or not last > first:
        raise JobError(
            "volumes.interval_m",
            f"found a step of {step} m from station {first} to {last}",
            "give a positive step and stations that rise",
        )
    inner = np.arange(np.floor(first / step) + 1, np.ceil(last / step)) * step
    inner = inner[(inner > first + 1e-6) & (inner < last - 1e-6)]
    return np.asarray(np.concatenate(([first], inner, [last])), dtype=np.float64)


def by_interval(
    layer: str,
    overlay: Overlay,
    design: Surface,
    alignment: Alignment,
    stations: Floats,
    bounds: Lanes | None = None,
) -> Intervals:
    """Cut and fill between neighbouring stations, and between breaks if asked for.

    Parameters
    ----------
    layer : str
        Name of the design layer.
    overlay : Overlay
        Ground against that layer.
    design : Surface
        The layer's triangles, for the area that no shot covers.
    alignment : Alignment
    stations : ndarray, shape (k + 1,)
        Rising [m].
    bounds : Lanes, optional
        Lanes between named breaks, see `pipeline.compare.crosslines.lanes`.

    Returns
    -------
    Intervals
        Stretch by stretch, within each from left to right; first what lies before
        the first station and last what lies after the last, if anything does. The
        columns add up to the whole layer's within 1e-9 of it.

    Raises
    ------
    ValueError
        Stations that do not rise.

    Notes
    -----
    Every piece of the overlay is cut by the cross-sections and split along its
    zero line, so a stretch is as exact as the whole: see
    `pipeline.compare.crosslines.at_stations` for the one bound, behind the
    centre of a bend. A piece lies within its triangle of the design, so those of a
    triangle that is in one row are added to it as they are.
    """
    at = np.asarray(stations, dtype=np.float64)
    if len(at) < 2 or not (np.diff(at) > 0).all():
        raise ValueError(f"stations of intervals rise, at least two of them; got {at.tolist()}")
    names = ("",) if bounds is None else bounds.name
    shape = (len(at) + 1, len(names))
    whole, row = _design_rows(design, alignment, at, bounds)
    columns = _sums(alignment, overlay, (row[overlay.design_triangle], at), bounds)
    edges = np.concatenate(([-np.inf], at, [np.inf]))
    inside = (np.arange(shape[0]) > 0) & (np.arange(shape[0]) < shape[0] - 1)
    ends_only = (whole > NOTHING_M2) | (columns[4] > NOTHING_M2)
    shown = ends_only if bounds is not None else np.repeat(inside, shape[1]) | ends_only
    cut_m3, fill_m3, cut_m2, fill_m2, compared = columns[:, shown]
    return Intervals(
        layer=layer,
        lane=texts(np.tile(np.array(names, dtype=object), shape[0])[shown]),
        start=np.repeat(edges[:-1], shape[1])[shown],
        end=np.repeat(edges[1:], shape[1])[shown],
        cut_m3=cut_m3,
        fill_m3=fill_m3,
        cut_area_m2=cut_m2,
        fill_area_m2=fill_m2,
        compared_area_m2=compared,
        uncovered_area_m2=np.maximum(whole[shown] - compared, 0.0),
    )


def summed(row: Ints, values: Iterable[Floats], rows: int) -> Floats:
    """Each of several quantities added up by row, (values, rows)."""
    return np.stack([np.bincount(row, each, rows).astype(np.float64) for each in values])


@lru_cache(maxsize=2)
def _whole_parts(overlay: Overlay) -> Parts:
    """Contents of an overlay's pieces, kept for the latest two as `reach` is."""
    return parts(overlay)


@dataclass(frozen=True, slots=True, eq=False)
class _Division:
    """Where pieces are cut across; by bin, first the one before all edges, what it belongs to.

    ``stretch`` is the one between knots of the breaks, `off` their ends the nearest;
    ``row`` that of the stations.
    """

    edges: Floats
    stretch: Ints
    off: Bools
    row: Ints


def _divided(stations: Floats, bounds: Lanes | None) -> _Division:
    if bounds is None:
        every = np.arange(len(stations) + 1)
        return _Division(stations, every, every < 0, every)
    edges = _merged(bounds.knot, stations)
    middle = np.concatenate(([-np.inf], (edges[:-1] + edges[1:]) / 2, [np.inf]))
    free = np.searchsorted(bounds.knot, middle) - 1
    stretch = np.clip(free, 0, len(bounds.knot) - 2)
    return _Division(edges, stretch, free != stretch, np.searchsorted(stations, middle))


def _sums(
    alignment: Alignment, overlay: Overlay, at: tuple[Ints, Floats], bounds: Lanes | None
) -> Floats:
    """Contents of the pieces by row, (5, rows).

    ``at`` are the row of each piece, -1 where its triangle of the design is in more than one,
    and the stations.
    """
    row, stations = at
    rest = np.flatnonzero(row < 0)
    if 2 * len(rest) > len(row):
        return _cut_sums(alignment, overlay, stations, bounds)
    count = (len(stations) + 1) * (1 if bounds is None else len(bounds.name))
    whole = np.flatnonzero(row >= 0)
    each = [column[whole] for column in _contents(_whole_parts(overlay))]
    few = _as_overlay(overlay.origin, *_taken(overlay, rest))
    return summed(row[whole], each, count) + _cut_sums(alignment, few, stations, bounds)


def _cut_sums(
    alignment: Alignment, overlay: Overlay, stations: Floats, bounds: Lanes | None
) -> Floats:
    """Contents of any pieces by row: those in one row as they are, the rest cut."""
    least, most, offset = reach(alignment, overlay)
    division, lanes = _divided(stations, bounds), 1 if bounds is None else len(bounds.name)
    low, high = bins(least, most, division.edges)
    lane = np.where(low < high, -1, 0)
    if bounds is not None:
        sure = np.flatnonzero((lane == 0) & ~division.off[low + 1])
        lane[:] = -1
        for rows in np.split(sure, range(BLOCK, len(sure), BLOCK)):
            pieces = Cuttings(overlay.origin, *_taken(overlay, rows), low[rows])
            stretch = division.stretch[low[rows] + 1]
            lane[rows] = lane_of(alignment, pieces, bounds, stretch, offset[rows])
    whole, rest = np.flatnonzero(lane >= 0), np.flatnonzero(lane < 0)
    rows = division.row[low[whole] + 1] * lanes + lane[whole]
    count = (len(stations) + 1) * lanes
    few = Cuttings(overlay.origin, *_taken(overlay, rest), low[rest])
    cut = cut_within(alignment, few, high[rest], division.edges)
    cut, others = _in_lanes(alignment, cut, division, bounds)
    each = [column[whole] for column in _contents(_whole_parts(overlay))]
    return summed(rows, each, count) + summed(others, _contents(parts(_cuttings(cut))), count)


def _contents(of: Parts) -> tuple[Floats, ...]:
    return of.cut, of.fill, of.cut_area, of.fill_area, of.area


def _taken(overlay: Overlay, rows: Ints) -> tuple[Floats, Ints]:
    """Some pieces of an overlay: x, y and cut of their corners, and where each piece starts."""
    count = np.diff(overlay.start)[rows]
    corners = runs(overlay.start[:-1][rows], count)
    return np.stack((overlay.x[corners], overlay.y[corners], overlay.cut[corners])), starts(count)


def _placed(
    alignment: Alignment,
    origin: Floats,
    columns: Floats,
    at: tuple[Ints, Floats],
    bounds: Lanes | None,
) -> tuple[Cuttings, Ints]:
    """Pieces cut at stations and along lanes; the row of `Intervals` of each."""
    start, stations = at
    division = _divided(stations, bounds)
    cut = at_stations(alignment, origin, columns, start, division.edges)
    return _in_lanes(alignment, cut, division, bounds)


def _in_lanes(
    alignment: Alignment, cut: Cuttings, division: _Division, bounds: Lanes | None
) -> tuple[Cuttings, Ints]:
    """Pieces that were cut at the edges, cut along the lanes; the row of each."""
    if bounds is None:
        return cut, cut.bin + 1
    cut, lane = along_breaks(alignment, cut, bounds, division.stretch[cut.bin + 1])
    return cut, division.row[cut.bin + 1] * len(bounds.name) + lane


def _merged(knot: Floats, stations: Floats) -> Floats:
    """All stations, and the knots that do not coincide with one of them."""
    near = np.abs(knot[:, None] - stations[None]).min(axis=1) if len(knot) else knot
    return np.union1d(stations, knot[near > SAME_STATION_M])


def _design_rows(
    surface: Surface, alignment: Alignment, stations: Floats, bounds: Lanes | None
) -> tuple[Floats, Ints]:
    """Plan area of a surface by row, and the row of each triangle; -1 where it has several."""
    triangles = len(surface.triangles)
    corners = surface.triangles.ravel()
    # its number goes along as a height does: what is cut off a triangle knows whose it was
    number = np.repeat(np.arange(triangles, dtype=np.float64), 3)
    columns = np.stack((surface.x[corners], surface.y[corners], number))
    start = np.arange(triangles + 1) * 3
    cut, row = _placed(alignment, surface.origin, columns, (start, stations), bounds)
    owner = np.rint(cut.columns[2, cut.start[:-1]]).astype(np.int64)
    lanes = 1 if bounds is None else len(bounds.name)
    area = parts(_cuttings(cut)).area
    whole = np.bincount(owner, area, triangles)
    alone = area >= whole[owner] * (1.0 - OF_ANOTHER_ROW)
    of_triangle = np.full(triangles, -1, dtype=np.int64)
    of_triangle[owner[alone]] = row[alone]
    return np.asarray(summed(row, (area,), (len(stations) + 1) * lanes)[0]), of_triangle


def _cuttings(cut: Cuttings) -> Overlay:
    return _as_overlay(cut.origin, cut.columns, cut.start)


def _as_overlay(origin: Floats, columns: Floats, start: Ints) -> Overlay:
    none = np.zeros(len(start) - 1, dtype=np.int64)
    return Overlay(
        origin=origin,
        x=columns[0],
        y=columns[1],
        cut=columns[2],
        start=start,
        ground_triangle=none,
        design_triangle=none,
    )
