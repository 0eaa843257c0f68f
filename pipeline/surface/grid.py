"""Where straight pieces meet on the grid of whole micrometres, decided exactly.

Snap rounding: each point of the grid owns the half-open cell of one unit about
it. A crossing is moved to the point whose cell it falls in, and every piece that
passes through the cell of an end or of a crossing is led through that point. It
is proved that pieces so led meet in points of the grid only. Repeating it until no
piece passes through a cell that is not its own also keeps them apart by half a unit.

References
----------
D. H. Greene and F. F. Yao, Finite-resolution computational geometry, FOCS 1986;
J. D. Hobby, Practical segment intersection with finite precision output,
Computational Geometry 13 (1999). Cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.model import Bools, Floats, Ints

if TYPE_CHECKING:
    import shapely

_WHOLE = 2.0**53  # below this float64 holds whole numbers exactly


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Straight pieces from (ax, ay) to (bx, by), whole grid units, all of length s."""

    ax: Ints
    ay: Ints
    bx: Ints
    by: Ints

    def take(self, rows: Ints) -> Pieces:
        """The pieces at `rows`."""
        return Pieces(self.ax[rows], self.ay[rows], self.bx[rows], self.by[rows])

    def length(self) -> Floats:
        """Length of each piece in grid units."""
        long: Floats = np.hypot(self.bx - self.ax, self.by - self.ay)
        return long

    def side(self, x: Ints, y: Ints) -> Floats:
        """Twice the area of each piece with its point (x, y), + where that is on the left."""
        return cross(self.bx - self.ax, self.by - self.ay, x - self.ax, y - self.ay)

    def along(self, x: Ints, y: Ints) -> Floats:
        """How far along each piece its point lies, 0 at the start, 1 at the end."""
        dx, dy = self.bx - self.ax, self.by - self.ay
        part = (x - self.ax) * 1.0 * dx + (y - self.ay) * 1.0 * dy
        share: Floats = part / (dx * 1.0 * dx + dy * 1.0 * dy)
        return share


@dataclass(frozen=True, slots=True, eq=False)
class Cuts:
    """Points that pieces are to be led through: piece ``seg``, ``t`` along it, point (x, y).

    In order along each piece, none of them at its ends.
    """

    seg: Ints
    t: Floats
    x: Ints
    y: Ints

    def __len__(self) -> int:
        return len(self.seg)


def cross(ux: Ints, uy: Ints, vx: Ints, vy: Ints) -> Floats:
    """``ux * vy - uy * vx``; its sign is exact, and so is its value below 2**53.

    Notes
    -----
    Products of grid distances outgrow 64 bits, so they are multiplied as
    float64; the few differences that are small against their products are
    computed again in whole numbers. The relative error stays under 1e-8.
    """
    left, right = ux * 1.0 * vy, uy * 1.0 * vx
    area: Floats = left - right
    size = np.abs(left) + np.abs(right)
    rows = np.flatnonzero((size >= _WHOLE) & (np.abs(area) <= 1e-7 * size))
    whole = zip(*(column[rows].tolist() for column in (ux, vy, uy, vx)), strict=True)
    area[rows] = [float(p * q - r * s) for p, q, r, s in whole]
    return area


def find_cuts(pieces: Pieces, fresh: Bools) -> Cuts:
    """Points through which pieces must be led so that they meet end to end only.

    Parameters
    ----------
    pieces : Pieces
        s pieces of some length.
    fresh : ndarray, shape (s,), bool
        Pieces that may meet others; two that are not fresh are known not to.
    """
    import shapely

    boxes = shapely.box(
        np.minimum(pieces.ax, pieces.bx) - 0.5, np.minimum(pieces.ay, pieces.by) - 0.5,
        np.maximum(pieces.ax, pieces.bx) + 0.5, np.maximum(pieces.ay, pieces.by) + 0.5,
    )  # fmt: skip
    tree = shapely.STRtree(boxes)
    i, j = _close_pairs(tree, boxes, fresh)
    p, q = pieces.take(i), pieces.take(j)
    sides = (p.side(q.ax, q.ay), p.side(q.bx, q.by), q.side(p.ax, p.ay), q.side(p.bx, p.by))
    signs = [np.sign(side) for side in sides]
    meet = np.flatnonzero((signs[0] * signs[1] < 0) & (signs[2] * signs[3] < 0))
    x, y = _crossing_points(p.take(meet), q.take(meet))
    k, seg = tree.query(shapely.points(x, y)) if len(meet) else (meet, meet)
    # every end near a piece is the end of a piece near it
    seg = np.concatenate([seg, i, i, j, j])
    x = np.concatenate([x[k], q.ax, q.bx, p.ax, p.bx])
    y = np.concatenate([y[k], q.ay, q.by, p.ay, p.by])
    return _led_through(pieces, seg, x, y)


def _close_pairs(tree: shapely.STRtree, boxes: Any, fresh: Bools) -> tuple[Ints, Ints]:
    """Pairs of pieces whose boxes touch, one of them fresh at least, each pair once."""
    new = np.flatnonzero(fresh)
    k, other = tree.query(boxes[new])
    i = new[k]
    once = (i < other) | (~fresh[other] & (i != other))
    return np.minimum(i, other)[once], np.maximum(i, other)[once]


def _crossing_points(p: Pieces, q: Pieces) -> tuple[Ints, Ints]:
    """The grid points in whose cells the pieces p and q cross; exact."""
    columns = [getattr(piece, name).tolist() for piece in (p, q) for name in Pieces.__slots__]
    points = []
    for ax, ay, bx, by, cx, cy, dx, dy in zip(*columns, strict=True):
        ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
        under = ux * vy - uy * vx
        over = (cx - ax) * vy - (cy - ay) * vx
        if under < 0:
            under, over = -under, -over
        # half a unit up, then down to the whole: the cell is open on its upper sides
        points.append([a + (2 * u * over + under) // (2 * under) for a, u in ((ax, ux), (ay, uy))])
    x, y = np.array(points, dtype=np.int64).reshape(-1, 2).T
    return x, y


def _led_through(pieces: Pieces, seg: Ints, x: Ints, y: Ints) -> Cuts:
    """Those of the points (x, y) whose cell the piece `seg` passes through, each once."""
    near = pieces.take(seg)
    dx, dy = near.bx - near.ax, near.by - near.ay
    area, t = near.side(x, y), near.along(x, y)
    reach = (np.abs(dx) + np.abs(dy)) / 2.0
    # through the cell, or through its lower left corner, which is the one it owns
    hit = (np.abs(area) < reach) | ((2 * area == dx - dy) & (dx * 1.0 * dy < 0))
    rows = np.flatnonzero(hit & (t > 0) & (t < 1))
    rows = rows[np.lexsort((y[rows], x[rows], t[rows], seg[rows]))]
    again = np.zeros(len(rows), dtype=np.bool_)
    again[1:] = True
    for column in (seg, x, y):
        again[1:] &= column[rows[1:]] == column[rows[:-1]]
    rows = rows[~again]
    return Cuts(seg[rows], t[rows], x[rows], y[rows])
