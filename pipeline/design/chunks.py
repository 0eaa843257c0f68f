"""Points in chunks that lie together, and the pieces of an alignment that matter to a chunk.

A million points in no order are everywhere in every chunk. Sorted by where they lie, a chunk of
them is beside a few pieces only, and its box says beside which.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.design.pieces import Piece, Points, Ray
from pipeline.model import Bools, Floats, Ints

CHUNK = 16384
_CELLS = 1 << 16
_SLACK_M = 1e-4
"""More than the slacks of `pieces`: a box that comes so near is looked into."""


def chunks(x: Floats, y: Floats) -> Iterator[Ints | slice]:
    """Rows of points, chunk by chunk; many are sorted by square cells first."""
    n = len(x)
    if n <= 2 * CHUNK:
        yield from (slice(first, first + CHUNK) for first in range(0, n, CHUNK))
        return
    order = np.argsort(_cells(x, y), kind="stable")
    yield from (order[first : first + CHUNK] for first in range(0, n, CHUNK))


def _cells(x: Floats, y: Floats) -> np.ndarray[tuple[int], np.dtype[np.uint16]]:
    """A cell for each point, row by row; so few that they are sorted by their digits."""
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        return np.zeros(len(x), dtype=np.uint16)
    left, bottom = float(x[known].min()), float(y[known].min())
    across, up = float(x[known].max()) - left, float(y[known].max()) - bottom
    side = max(np.sqrt(across * up / _CELLS), (across + up) / (_CELLS / 4)) * 1.01 or 1.0
    columns = int(across / side) + 1
    with np.errstate(invalid="ignore"):
        cell = np.floor((y - bottom) / side) * columns + np.floor((x - left) / side)
    cell[~known] = _CELLS - 1
    return cell.astype(np.uint16)


class Sides:
    """The half-planes at both ends of every piece, to be asked of a box of points."""

    def __init__(self, pieces: list[Piece]) -> None:
        self.start = _planes([piece.start for piece in pieces])
        self.end = _planes([piece.end for piece in pieces])
        self.straight = np.array([p.curvature == 0.0 and p.rate == 0.0 for p in pieces])
        self.spiral = np.array([p.rate != 0.0 for p in pieces])
        self.front = np.array([p.front for p in pieces])
        self.back = np.array([p.back for p in pieces])

    def matter(self, points: Points) -> Bools:
        """The pieces on which, or at whose ends, a point of the box could have what is nearest.

        All of them where a coordinate is NaN.
        """
        box = tuple((float(v.min()), float(v.max())) for v in points)
        if not np.isfinite(box).all():
            return np.ones(len(self.straight), dtype=bool)
        low_a, high_a = _least_and_greatest(self.start, *box)
        low_p, high_p = _least_and_greatest(self.end, *box)
        e = _SLACK_M
        between = (high_a >= -e) & (low_p <= e)
        across = ~self.straight & (low_a <= e) & (high_p >= -e)
        twice = (low_a <= e) & (low_p <= e) & (high_p >= -self.back - e)
        twice |= (high_a >= -e) & (high_p >= -e) & (low_a <= self.front + e)
        found = between | across | (twice & self.spiral)
        # outside a kink the corner is nearest; beyond either end the tangent goes on
        corner = (high_p[:-1] >= -e) & (low_a[1:] <= e)
        found[:-1] |= corner
        found[1:] |= corner
        found[0] |= low_a[0] <= e
        found[-1] |= high_p[-1] >= -e
        return np.asarray(found)


def _planes(rays: list[Ray]) -> Floats:
    """(3, n): sine, cosine and how far ahead zero is."""
    rows = [(r.sin, r.cos, -(r.x * r.sin + r.y * r.cos)) for r in rays]
    return np.array(rows).T


def _least_and_greatest(
    planes: Floats, x: tuple[float, float], y: tuple[float, float]
) -> tuple[Floats, Floats]:
    """How far a box is ahead of each plane, at its nearest and its farthest corner."""
    middle = planes[0] * (0.5 * (x[0] + x[1])) + planes[1] * (0.5 * (y[0] + y[1])) + planes[2]
    reach = np.abs(planes[0]) * (0.5 * (x[1] - x[0])) + np.abs(planes[1]) * (0.5 * (y[1] - y[0]))
    return middle - reach, middle + reach
