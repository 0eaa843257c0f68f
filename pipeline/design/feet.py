"""Where points lie along an alignment: the feet of their perpendiculars."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.design.chunks import Sides, chunks
from pipeline.design.pieces import (
    SAME_FOOT_M,
    SLACK_M,
    Group,
    Piece,
    Points,
    Ray,
    cut,
    feet_on,
    maybe_twice,
    searched,
)
from pipeline.design.placing import SAME_DIRECTION
from pipeline.model import Alignment, Bools, Feet, Floats, Ints

REACH_M = 50.0
"""Half the width of any street with room to spare [assumed; common practice, no source]."""


def locate(
    alignment: Alignment, easting: ArrayLike, northing: ArrayLike, *, reach: float = REACH_M
) -> Feet:
    """Station and offset of points: the nearest foot of the perpendicular.

    Parameters
    ----------
    alignment : Alignment
    easting, northing : array_like, shape (n,)
        Metres on the job grid.
    reach : float
        A perpendicular longer than this [m] is no rival of the nearest and is not
        counted; the nearest always is.

    Returns
    -------
    Feet
        ``feet`` counts the perpendiculars within reach, also one across the centre
        of a bend: each is a station and offset of the same point, and `all_feet`
        gives them. 0: no perpendicular; the corner of a kink is nearest, its
        station is given and the distance to it, signed. Off the ends (``beyond``)
        station and offset are measured on along the end tangent, which counts as
        one foot. NaN, and no feet, where a coordinate is NaN.

    Notes
    -----
    Exact to float64: 1e-9 m where coordinates are below 1e6 m, 1e-8 m below
    1e8 m. At the centre of a bend, where every foot is equally near, any of them
    is given. The nearest foot is found for every point, however far off or deep
    inside a bend. A foot up to 1 µm past the end of an element counts as on it, and
    two within 0.1 mm of a joint as one, so a joint that a file rounds has neither a
    gap nor two feet.

    Examples
    --------
    >>> from pipeline.design.alignment import build
    >>> from pipeline.model import AlignmentRows, ElementRow
    >>> line = build(AlignmentRows("x", (ElementRow("line", 50.0, start=(0.0, 0.0)),), 0.0, 0.0))[0]
    >>> feet = locate(line, [2.0, -1.0], [30.0, 60.0])
    >>> feet.station.tolist(), feet.offset.tolist(), feet.beyond.tolist()
    ([30.0, 60.0], [2.0, -1.0], [0, 1])
    """
    x, y = _near_zero(alignment, easting, northing)
    pieces = cut(alignment)
    nearest = _Nearest.of(len(x))
    sides = Sides(pieces)
    for part in chunks(x, y):
        points = x[part], y[part]
        found = _Nearest.of(len(points[0]))
        found.search(pieces, points, reach, sides.matter(points))
        nearest.put(part, found)
    return Feet(nearest.station, nearest.offset, nearest.feet, nearest.beyond)


def all_feet(
    alignment: Alignment, easting: float, northing: float, *, reach: float = math.inf
) -> tuple[tuple[float, float], ...]:
    """Every station and offset that one point has, the nearest first.

    Parameters
    ----------
    alignment : Alignment
    easting, northing : float
        Metres on the job grid.
    reach : float
        Longer perpendiculars [m] are left out; the nearest never is.

    Returns
    -------
    tuple of (station, offset)
        First what `locate` gives, then every other perpendicular to the alignment,
        by length. Empty where a coordinate is NaN.
    """
    points = _near_zero(alignment, easting, northing)
    nearest = locate(alignment, easting, northing)
    first = float(nearest.station[0]), float(nearest.offset[0])
    if math.isnan(first[0]):
        return ()
    found = []
    for piece, planes in _half_planes(cut(alignment), points):
        deep = searched(piece, points, maybe_twice(piece, points, planes))
        for rows, along, offset in [*feet_on(piece, points, planes), *deep]:
            if len(rows) and abs(offset[0]) <= reach:
                found.append((piece.station + float(along[0]), float(offset[0])))
    found.sort(key=lambda foot: (abs(foot[1]), foot[0]))
    kept = [first]
    for foot in found:
        if all(math.dist(foot, other) > 2.0 * SAME_FOOT_M for other in kept):
            kept.append(foot)
    return tuple(kept)


def _near_zero(alignment: Alignment, easting: ArrayLike, northing: ArrayLike) -> Points:
    x = np.atleast_1d(np.asarray(easting, np.float64)) - alignment.easting[0]
    y = np.atleast_1d(np.asarray(northing, np.float64)) - alignment.northing[0]
    return x, y


def _half_planes(pieces: list[Piece], points: Points) -> Iterator[tuple[Piece, Points]]:
    """Each piece with how far the points are ahead of its start and of its end."""
    past = np.empty(0)
    for piece in pieces:
        ahead = past if piece.smooth else piece.start.ahead(*points)
        past = piece.end.ahead(*points)
        yield piece, (ahead, past)


@dataclass(slots=True)
class _Nearest:
    """The nearest foot so far of each point.

    ``ended``: the last piece whose very end was a foot, since the next one's very
    start is the same foot. ``corner``: the nearest is a corner, no perpendicular.
    """

    station: Floats
    offset: Floats
    feet: Ints
    beyond: Ints
    squared: Floats
    ended: Ints
    corner: Bools

    @classmethod
    def of(cls, n: int) -> _Nearest:
        """Nothing found yet for n points."""
        return cls(
            station=np.full(n, np.nan),
            offset=np.full(n, np.nan),
            feet=np.zeros(n, dtype=np.int64),
            beyond=np.zeros(n, dtype=np.int64),
            squared=np.full(n, np.inf),
            ended=np.full(n, -2, dtype=np.int64),
            corner=np.zeros(n, dtype=bool),
        )

    def put(self, rows: Ints | slice, found: _Nearest) -> None:
        """What was found for some rows."""
        for name in ("station", "offset", "feet", "beyond"):
            getattr(self, name)[rows] = getattr(found, name)

    def search(self, pieces: list[Piece], points: Points, reach: float, matter: Bools) -> None:
        """Look at every piece that matters, every corner and both ends."""
        deep: list[tuple[int, Piece, Ints]] = []
        looked = [number for number in range(len(pieces)) if matter[number]]
        past_before, before = np.empty(0), -2
        for number in looked:
            piece, joined = pieces[number], before == number - 1
            ahead = past_before if piece.smooth and joined else piece.start.ahead(*points)
            past = piece.end.ahead(*points)
            for group in feet_on(piece, points, (ahead, past)):
                self.take_feet(number, piece, group, reach)
            deep.append((number, piece, maybe_twice(piece, points, (ahead, past))))
            if number == 0:
                self.take_end(piece.start, piece.station, points, ahead < -SLACK_M)
            elif joined and not piece.smooth:
                corner = np.flatnonzero((past_before > 0.0) & (ahead < 0.0))
                self.take_corner((pieces[number - 1].end, piece), points, corner, reach)
            past_before, before = past, number
        if before == len(pieces) - 1:
            last = pieces[-1]
            self.take_end(last.end, last.station + last.length, points, past_before > SLACK_M)
        for number, piece, rows in deep:
            for group in searched(piece, points, self.worth(piece, points, rows, reach)):
                self.take_feet(number, piece, group, reach)
        uncounted = (np.abs(self.offset) > reach) & ~self.corner
        self.feet[uncounted | (self.beyond != 0)] += 1

    def worth(self, piece: Piece, points: Points, rows: Ints, reach: float) -> Ints:
        """The rows for which a foot on the piece could count, or be nearer than what was found."""
        if not len(rows):
            return rows
        far = np.hypot(points[0][rows] - piece.start.x, points[1][rows] - piece.start.y)
        return rows[far - piece.length <= np.maximum(reach, np.sqrt(self.squared[rows]))]

    def take_feet(self, number: int, piece: Piece, group: Group, reach: float) -> None:
        """Feet on a piece: count them, and keep those that are nearer."""
        rows, along, offset = group
        if not len(rows):
            return
        again = (along < SAME_FOOT_M) & (self.ended[rows] == number - 1)
        self.feet[rows] += ~again & (np.abs(offset) <= reach)
        self.ended[rows[along > piece.length - SAME_FOOT_M]] = number
        self.keep(rows, offset * offset, piece.station + along, offset)

    def keep(self, rows: Ints, squared: Floats, station: Floats, offset: Floats) -> Ints:
        """Replace what is farther away; the rows replaced."""
        nearer = squared < self.squared[rows]
        rows = rows[nearer]
        self.squared[rows] = squared[nearer]
        self.station[rows] = station[nearer]
        self.offset[rows] = offset[nearer]
        self.beyond[rows] = 0
        self.corner[rows] = False
        return rows

    def take_corner(
        self, joint: tuple[Ray, Piece], points: Points, rows: Ints, reach: float
    ) -> None:
        """Outside a kink no perpendicular exists: the corner itself is nearest.

        A kink too small to be one, left by rounding, has a foot at its corner.
        """
        if not len(rows):
            return
        x, y = points[0][rows], points[1][rows]
        end, start = joint[0], joint[1].start
        squared = np.minimum(
            (x - end.x) ** 2 + (y - end.y) ** 2, (x - start.x) ** 2 + (y - start.y) ** 2
        )
        offset = np.copysign(np.sqrt(squared), end.right(x, y) + start.right(x, y))
        kept = self.keep(rows, squared, np.full(len(rows), joint[1].station), offset)
        if abs(end.sin * start.cos - end.cos * start.sin) < SAME_DIRECTION:
            self.feet[rows] += np.abs(offset) <= reach
        else:
            self.corner[kept] = True

    def take_end(self, end: Ray, station: float, points: Points, off: Bools) -> None:
        """Off an end of the alignment: on along its tangent."""
        rows = np.flatnonzero(off)
        x, y = points[0][rows], points[1][rows]
        along, offset = end.ahead(x, y), end.right(x, y)
        rows = self.keep(rows, along**2 + offset**2, station + along, offset)
        self.beyond[rows] = np.where(self.station[rows] < station, -1, 1)
