"""Convex pieces cut at the cross-section lines of an alignment, and along its breaks.

A cross-section is a straight line in plan, on a curve as on a straight, and a
break is a chord between two knots of the design. Both cut a convex piece into
convex pieces on which the difference stays linear: nothing is lost and nothing
is approximated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from pipeline.compare.pieces import clip, take
from pipeline.design import corridor as sections
from pipeline.design.alignment import locate, point_at
from pipeline.model import Alignment, Corridor, Floats, Ints, Overlay
from pipeline.model.arrays import lock_fields
from pipeline.settings import DesignRules
from pipeline.units import format_side

ON_LINE_M = 1e-6
"""A corner this close to a cross-section lies on it; a piece is not cut for less."""


@dataclass(frozen=True, slots=True, eq=False)
class Cuttings:
    """Convex pieces, each in one bin: ``columns`` (3, n) are x, y, cut about ``origin``.

    ``bin`` counts the stations at or before the piece, less one: -1 lies before
    the first of k + 1 stations, 0 to k - 1 between them, k after the last.
    """

    origin: Floats
    columns: Floats
    start: Ints
    bin: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Lanes:
    """Named lanes between breaks, from left to right.

    ``knot`` (k + 1,) are stations and ``offset`` (2, k, b) the breaks' offsets at
    both ends of every stretch between them, NaN where there is no such break.
    ``name`` holds the b + 1 lanes, the outermost two beyond all breaks.
    """

    name: tuple[str, ...]
    knot: Floats
    offset: Floats

    def __post_init__(self) -> None:
        k, b = len(self.knot) - 1, len(self.name) - 1
        lock_fields(self, {"knot": (np.float64, (k + 1,)), "offset": (np.float64, (2, k, b))})


def lanes(
    corridor: Corridor,
    layer: str,
    rules: DesignRules,
    breaks: Sequence[tuple[str, int]] | None = None,
) -> Lanes:
    """The lanes between named breaks of a section layer.

    Parameters
    ----------
    corridor : Corridor
    layer : str
        The section layer that has the breaks; volumes of any other layer may be
        asked for by them.
    rules : DesignRules
        The chords on which curved breaks are cut are those of the design's triangles.
    breaks : sequence of (name, side), optional
        From left to right, side -1, 0 (the crown) or +1; all breaks of the layer
        where none are given.

    Raises
    ------
    DesignError
        The layer has no such break, or is a surface of its own.
    """
    chosen = corridor.layer(layer)
    wanted = tuple(breaks or zip(chosen.breaks, chosen.side, strict=True))
    knot = sections.knots(corridor, rules)
    # a break is straight between knots: two places within give both ends, from within
    step = np.diff(knot)
    near, far = knot[:-1] + step / 4, knot[1:] - step / 4
    offset = np.empty((2, len(step), len(wanted)))
    for column, (name, side) in enumerate(wanted):
        a, b = (sections.break_line(corridor, layer, name, side, at)[0] for at in (near, far))
        offset[:, :, column] = a - (b - a) / 2, b + (b - a) / 2
    titles = [f"{name} {format_side(side)}" if side else name for name, side in wanted]
    between = [f"{left} to {right}" for left, right in pairwise(titles)]
    names = (f"left of {titles[0]}", *between, f"right of {titles[-1]}")
    return Lanes(names, knot, offset)


def at_stations(
    alignment: Alignment, origin: Floats, columns: Floats, start: Ints, stations: Floats
) -> Cuttings:
    """Pieces cut at the cross-sections of rising stations.

    Parameters
    ----------
    alignment : Alignment
    origin : ndarray, shape (2,)
        What the pieces' coordinates are measured from.
    columns, start : ndarray
        Convex pieces as in `pipeline.compare.pieces`; the first two rows are x and y.
    stations : ndarray, shape (k + 1,)
        Rising [m].

    Returns
    -------
    Cuttings
        Areas and volumes add up to those of the given pieces, to rounding.

    Notes
    -----
    Each corner's station is that of its nearest foot, exact to 1e-9 m; a piece is
    cut by every cross-section strictly between its least and greatest corner.
    That is exact wherever a piece lies nearer to the line than the centre of the
    bend, which every design without folds does. A piece that reaches past it
    (ground far behind a tight bend) is still counted once and whole, but the
    interval it is counted in follows from its nearest feet. A piece up to
    `ON_LINE_M` over a line is not cut: at most 1e-6 m times width and depth.
    """
    feet = locate(alignment, columns[0] + origin[0], columns[1] + origin[1])
    low, high = bins(*ranges(feet.station, start), stations)
    return cut_within(alignment, Cuttings(origin, columns, start, low), high, stations)


def bins(least: Floats, most: Floats, stations: Floats) -> tuple[Ints, Ints]:
    """First and last bin of pieces that reach from their least to their greatest station."""
    low = np.searchsorted(stations, least + ON_LINE_M, side="right") - 1
    high = np.searchsorted(stations, most - ON_LINE_M, side="left") - 1
    return low, np.maximum(low, high)


def cut_within(alignment: Alignment, pieces: Cuttings, high: Ints, stations: Floats) -> Cuttings:
    """Pieces that reach from their own bin to the bin `high`, cut at the stations between."""
    origin, columns, start, low = pieces.origin, pieces.columns, pieces.start, pieces.bin
    lines = _cross_lines(alignment, origin, stations)
    done: list[tuple[Floats, Ints, Ints]] = []
    while True:
        whole = np.flatnonzero(low >= high)
        done.append((*take(columns, start, whole), low[whole]))
        rest = np.flatnonzero(low < high)
        if not len(rest):
            break
        columns, start = take(columns, start, rest)
        low, high = low[rest], high[rest]
        past = _beyond(columns, start, lines[:, low + 1])
        behind, behind_start, kept = clip(columns, start, -past)
        done.append((behind, behind_start, low[kept]))
        columns, start, kept = clip(columns, start, past)
        low, high = low[kept] + 1, high[kept]
    return Cuttings(origin, *_joined(done))


def along_breaks(
    alignment: Alignment, cut: Cuttings, bounds: Lanes, stretch: Ints
) -> tuple[Cuttings, Ints]:
    """Pieces that were cut at the knots of `bounds`, cut further along its breaks.

    Parameters
    ----------
    alignment : Alignment
    cut : Cuttings
        Cut at ``bounds.knot``, and elsewhere if wanted.
    bounds : Lanes
    stretch : ndarray
        Of each piece, the stretch between knots that it lies in; 0 or the last one
        off the ends, where the breaks go on straight.

    Returns
    -------
    cut : Cuttings
    lane : ndarray
        The lane of each piece, a position in ``bounds.name``.
    """
    chords = _chords(alignment, cut.origin, bounds)
    columns, start, rows = cut.columns, cut.start, np.arange(len(cut.bin))
    done: list[tuple[Floats, Ints, Ints]] = []
    lane: list[Ints] = []
    for number in range(len(bounds.name) - 1):
        at = stretch[rows]
        missing = np.isnan(bounds.offset[0, at, number])
        beyond = _beyond(columns, start, chords[:, at, number])
        right = np.where(np.repeat(missing, np.diff(start)), 1.0, beyond)
        left, left_start, kept = clip(columns, start, -right)
        done.append((left, left_start, rows[kept]))
        lane.append(np.full(len(kept), number))
        columns, start, kept = clip(columns, start, right)
        rows = rows[kept]
    done.append((columns, start, rows))
    lane.append(np.full(len(rows), len(bounds.name) - 1))
    columns, start, rows = _joined(done)
    return Cuttings(cut.origin, columns, start, cut.bin[rows]), np.concatenate(lane)


def _chords(alignment: Alignment, origin: Floats, bounds: Lanes) -> Floats:
    """A point on each break's chord about `origin`, and the direction right of it, (4, k, b).

    The direction's length cancels.
    """
    ends = [
        point_at(alignment, at[:, None], np.nan_to_num(offset))[:2]
        for at, offset in zip((bounds.knot[:-1], bounds.knot[1:]), bounds.offset, strict=True)
    ]
    (x0, y0), (x1, y1) = ends
    return np.stack((x0 - origin[0], y0 - origin[1], y1 - y0, -(x1 - x0)))


def lane_of(
    alignment: Alignment, pieces: Cuttings, bounds: Lanes, stretch: Ints, offset: Floats
) -> Ints:
    """The lane that each piece lies in as it is, as `along_breaks` would say; -1 if it is cut.

    Parameters
    ----------
    alignment, pieces, bounds, stretch
        As for `along_breaks`; no piece lies off the ends of the breaks.
    offset : ndarray
        About where each piece lies beside the line: where to look first [m].

    Notes
    -----
    A piece strictly right of one break and strictly left of the next is right of all that
    come before, where breaks keep their order from left to right at both ends of a
    stretch. Where they do not, and on a break, -1 is said.
    """
    chords = _chords(alignment, pieces.origin, bounds)
    missing, last = np.isnan(bounds.offset[0]), len(bounds.name) - 1
    with np.errstate(invalid="ignore"):
        least = np.fmax.accumulate(bounds.offset, axis=2)
        crossed = np.asarray((bounds.offset < least).any(axis=(0, 2)))
    # the break before each lane, -1 where there is none
    number = np.where(missing, -1, np.arange(last))
    first = np.full((len(number), 1), -1)
    before = np.asarray(np.maximum.accumulate(np.hstack([first, number]), axis=1))
    near = np.where(missing, -np.inf, bounds.offset.mean(axis=0))
    left = offset[:, None] < near[stretch]
    lane = np.where(left.any(axis=1), left.argmax(axis=1), last)
    inside = ~crossed[stretch]
    for side, of in ((1, before[stretch, lane]), (-1, np.where(lane < last, lane, -1))):
        away = side * _beyond(pieces.columns, pieces.start, chords[:, stretch, of])
        if len(lane):
            inside &= (of < 0) | (np.minimum.reduceat(away, pieces.start[:-1]) > 0)
    return np.where(inside, lane, -1)


@lru_cache(maxsize=2)
def reach(alignment: Alignment, overlay: Overlay) -> tuple[Floats, Floats, Floats]:
    """Least and greatest station and mean offset of each piece [m]; kept for the latest two.

    A piece's corners have the stations of their nearest feet. Each way of dividing an overlay
    asks for them, and finding them is most of the work.
    """
    corners = overlay.x + overlay.origin[0], overlay.y + overlay.origin[1]
    feet = locate(alignment, *corners)
    middle = np.empty(0)
    if len(overlay.ground_triangle):
        middle = np.add.reduceat(feet.offset, overlay.start[:-1]) / np.diff(overlay.start)
    return (*ranges(feet.station, overlay.start), middle)


def ranges(values: Floats, start: Ints) -> tuple[Floats, Floats]:
    """Least and greatest over the corners of each piece."""
    if len(start) < 2:
        return np.empty(0), np.empty(0)
    return np.minimum.reduceat(values, start[:-1]), np.maximum.reduceat(values, start[:-1])


def _cross_lines(alignment: Alignment, origin: Floats, stations: Floats) -> Floats:
    """A point on each cross-section about `origin`, and the direction ahead, (4, k)."""
    easting, northing, azimuth = point_at(alignment, stations)
    return np.stack((easting - origin[0], northing - origin[1], np.sin(azimuth), np.cos(azimuth)))


def _beyond(columns: Floats, start: Ints, line: Floats) -> Floats:
    """How far each corner lies beyond its piece's line, along the line's direction."""
    x, y, along, up = np.repeat(line, np.diff(start), axis=1)
    return np.asarray((columns[0] - x) * along + (columns[1] - y) * up)


def _joined(parts: list[tuple[Floats, Ints, Ints]]) -> tuple[Floats, Ints, Ints]:
    """Several sets of pieces as one, in the order given."""
    columns = np.concatenate([part[0] for part in parts], axis=1)
    shift = np.cumsum([0, *(part[1][-1] for part in parts[:-1])])
    starts = [part[1][:-1] + by for part, by in zip(parts, shift, strict=True)]
    return (
        columns,
        np.concatenate([*starts, [columns.shape[1]]]),
        np.concatenate([part[2] for part in parts]),
    )
