"""An alignment in pieces so simple that a perpendicular's foot on one is easy to find.

A piece turns at most a quarter circle and never both ways. Two half-planes,
square to its tangents at both ends, say whether a point has a foot there, so
nearly every piece is passed over without trigonometry. Lines and arcs then have
a closed form; on a clothoid the foot is where the point is square to the tangent.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pipeline.design.element import in_frame
from pipeline.model import Alignment, Bools, Floats, Ints

SLACK_M = 1e-6
"""Files round to a micrometre: a foot this far past the end of an element is still on it."""
SAME_FOOT_M = 1e-4
"""Two feet this close to a joint, one on either side, are one: no rival by 0.1 mm."""
_AT_END_M = 1e-5
_STEPS = 8
_NONE: Ints = np.empty(0, dtype=np.int64)

Points: TypeAlias = tuple[Floats, Floats]
Group: TypeAlias = tuple[Ints, Floats, Floats]
"""Rows (each at most once), distance along the piece, offset."""


@dataclass(frozen=True, slots=True)
class Ray:
    """A place and the direction there."""

    x: float
    y: float
    sin: float
    cos: float

    def ahead(self, x: Floats, y: Floats) -> Floats:
        """Metres ahead of the place, along its direction."""
        return x * self.sin + (y * self.cos - (self.x * self.sin + self.y * self.cos))

    def right(self, x: Floats, y: Floats) -> Floats:
        """Metres to the right of the direction."""
        return x * self.cos - (y * self.sin + (self.x * self.cos - self.y * self.sin))


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of an element that turns one way and at most a quarter circle.

    ``smooth``: it goes on from the piece before it within one element. ``front``
    and ``back``: how far its end is ahead along the start's tangent, and its
    start behind along the end's.
    """

    station: float
    length: float
    start: Ray
    end: Ray
    curvature: float
    rate: float
    smooth: bool
    front: float
    back: float


def cut(alignment: Alignment) -> list[Piece]:
    """The pieces of an alignment in order, near zero about its first point."""
    pieces = []
    length = np.diff(alignment.station)
    for i in range(len(length)):
        k = float(alignment.curvature_start[i])
        rate = (float(alignment.curvature_end[i]) - k) / float(length[i])
        cuts = _cuts(k, rate, float(length[i]))
        rays = _rays(alignment, i, cuts, rate)
        for j in range(len(cuts) - 1):
            start, end = rays[j], rays[j + 1]
            east, north = end.x - start.x, end.y - start.y
            pieces.append(
                Piece(
                    station=float(alignment.station[i] + cuts[j]),
                    length=float(cuts[j + 1] - cuts[j]),
                    start=start,
                    end=end,
                    curvature=k + rate * float(cuts[j]),
                    rate=rate,
                    smooth=j > 0,
                    front=east * start.sin + north * start.cos,
                    back=east * end.sin + north * end.cos,
                )
            )
    return pieces


def _cuts(curvature: float, rate: float, length: float) -> Floats:
    """Distances along an element at which it is cut, with both ends."""
    ends = [0.0, length]
    if rate != 0.0 and 0.0 < -curvature / rate < length:
        ends.insert(1, -curvature / rate)
    cuts: list[float] = []
    for low, high in itertools.pairwise(ends):
        tightest = max(abs(curvature + rate * low), abs(curvature + rate * high))
        count = max(1, math.ceil(tightest * (high - low) / (0.5 * math.pi)))
        cuts += np.linspace(low, high, count + 1)[:-1].tolist()
    return np.array([*cuts, length])


def _rays(alignment: Alignment, i: int, along: Floats, rate: float) -> list[Ray]:
    """Place and direction at distances along element `i`."""
    x, y, turned = in_frame(along, alignment.curvature_start[i], rate)
    azimuth = float(alignment.azimuth[i])
    sin, cos = math.sin(azimuth), math.cos(azimuth)
    east = alignment.easting[i] - alignment.easting[0] + (x * sin + y * cos)
    north = alignment.northing[i] - alignment.northing[0] + (x * cos - y * sin)
    return [
        Ray(e, n, math.sin(azimuth + t), math.cos(azimuth + t))
        for e, n, t in zip(east.tolist(), north.tolist(), turned.tolist(), strict=True)
    ]


def feet_on(piece: Piece, points: Points, planes: Points) -> list[Group]:
    """The feet on one piece, as groups in which a point occurs once.

    Parameters
    ----------
    piece : Piece
    points : (x, y)
        Coordinates of all points, near zero as the piece is.
    planes : (ahead, past)
        How far each point lies ahead of the piece's start and of its end, along
        the tangents there.

    Notes
    -----
    Points on a clothoid that `maybe_twice` names are not decided here.
    """
    x, y = points
    ahead, past = planes
    if piece.rate != 0.0:
        return [_within(piece, group) for group in _on_clothoid(piece, points, planes)]
    rows = np.flatnonzero((ahead >= -SLACK_M) & (past <= SLACK_M))
    if piece.curvature == 0.0:
        return [_within(piece, (rows, ahead[rows], piece.start.right(x[rows], y[rows])))]
    across = np.flatnonzero((ahead <= SLACK_M) & (past >= -SLACK_M))
    groups = _near_on_arc(piece, points, rows), _far_on_arc(piece, points, across)
    return [_within(piece, group) for group in groups]


def _within(piece: Piece, group: Group) -> Group:
    rows, along, offset = group
    on = (along >= -SLACK_M) & (along <= piece.length + SLACK_M)
    return group if on.all() else (rows[on], along[on], offset[on])


def _near_on_arc(piece: Piece, points: Points, rows: Ints) -> Group:
    """The foot on the point's side of the centre; no centre is used, so a flat arc is exact."""
    k = piece.curvature
    x, y = points[0][rows], points[1][rows]
    u, v = piece.start.ahead(x, y), piece.start.right(x, y)
    # cosine and sine of the turn, both times the distance from the centre over R
    cos, sin = 1.0 - k * v, k * u
    # (1 - distance) / k without its cancellation
    offset = (2.0 * v - k * (u * u + v * v)) / (1.0 + np.sqrt(cos * cos + sin * sin))
    return rows, np.arctan2(sin, cos) / k, offset


def _far_on_arc(piece: Piece, points: Points, rows: Ints) -> Group:
    """The foot across the centre."""
    k = piece.curvature
    x, y = points[0][rows], points[1][rows]
    u, v = piece.start.ahead(x, y), piece.start.right(x, y)
    cos, sin = 1.0 - k * v, k * u
    return rows, np.arctan2(-sin, -cos) / k, (1.0 + np.hypot(cos, sin)) / k


def _on_clothoid(piece: Piece, points: Points, planes: Points) -> list[Group]:
    """The one foot of points between the half-planes, or across them; any at the very ends."""
    ahead, past = planes
    inside = (ahead > _AT_END_M) & (past < -_AT_END_M)
    across = (ahead < -_AT_END_M) & (past > _AT_END_M)
    groups = []
    for chosen, falling in ((inside, True), (across, False)):
        rows = np.flatnonzero(chosen)
        share = ahead[rows] / (ahead[rows] - past[rows])
        n = len(rows)
        bounds = np.zeros(n), np.full(n, piece.length)
        search = (*bounds, piece.length * share, np.full(n, falling))
        groups.append(_square_to(piece, points, rows, search))
    # a foot there may lie just off the piece, or be one of two: both are looked for
    near = np.abs(ahead) <= _AT_END_M
    near |= np.abs(past) <= _AT_END_M
    return groups + searched(piece, points, np.flatnonzero(near))


def _square_to(
    piece: Piece, points: Points, rows: Ints, search: tuple[Floats, Floats, Floats, Bools]
) -> Group:
    """The one place between two bounds where a point is square to a clothoid's tangent.

    `search` holds the bounds, a guess, and whether the lag falls from the lower to
    the upper bound. Newton's method; where a step leaves the bounds they are
    halved. A last step below 1e-7 m leaves less than 1e-12 m, since the error
    after a step is its square times the change of curvature across the offset.
    """
    low, high, s, falling = search
    offset = np.zeros(len(rows))
    if not len(rows):
        return rows, s, offset
    x, y = points[0][rows], points[1][rows]
    u, v = piece.start.ahead(x, y), piece.start.right(x, y)
    s = np.clip(s, low, high)
    for _ in range(80):
        lag, offset = _lag(piece, u, v, s)
        short = (lag > 0.0) == falling
        low, high = np.where(short, s, low), np.where(short, high, s)
        slope = (piece.curvature + piece.rate * s) * offset - 1.0
        ahead = s - lag / np.where(slope == 0.0, 1e-300, slope)
        ahead = np.where((ahead >= low) & (ahead <= high), ahead, 0.5 * (low + high))
        step, s = np.abs(ahead - s), ahead
        if float(step.max()) < 1e-7:
            break
    return rows, s, offset


def _lag(piece: Piece, u: Floats, v: Floats, s: Floats | float) -> tuple[Floats, Floats]:
    """How far points lie ahead of the normal at `s`, and to the right of the tangent there."""
    x, y, turned = in_frame(s, piece.curvature, piece.rate)
    cos, sin = np.cos(turned), np.sin(turned)
    east, right = u - x, v - y
    return east * cos + right * sin, right * cos - east * sin


def maybe_twice(piece: Piece, points: Points, planes: Points) -> Ints:
    """Rows of points outside the half-planes of a clothoid that may yet have two feet on it.

    Notes
    -----
    The evolute of a clothoid that turns one way and less than a quarter circle is
    convex, so a point has at most two tangents to it: at most two feet. Between
    the half-planes that makes one. Outside, two are possible only where the lag
    ``(P - C(s))·T(s)`` can change its sign: T(s) lies between the end tangents,
    so the point must lie behind one end's normal and ahead of that normal moved to the
    other end. And the point must be inside the tightest radius R of curvature:
    its depth at s is a sum of the depths from both ends with weights that add up to at most
    sec(δ/2), δ the turn of the piece, so one of those must reach R cos(δ/2).
    """
    if piece.rate == 0.0:
        return _NONE
    ahead, past = planes
    rows = np.flatnonzero(
        ((ahead < -_AT_END_M) & (past < -_AT_END_M) & (past > -piece.back))
        | ((ahead > _AT_END_M) & (past > _AT_END_M) & (ahead < piece.front))
    )
    x, y = points[0][rows], points[1][rows]
    tightest = max(piece.curvature, piece.curvature + piece.rate * piece.length, key=abs)
    turned = (piece.curvature + 0.5 * piece.rate * piece.length) * piece.length
    depth = math.copysign(1.0, tightest)
    deepest = np.maximum(depth * piece.start.right(x, y), depth * piece.end.right(x, y))
    return np.asarray(rows[deepest * abs(tightest) > 0.999 * math.cos(0.5 * turned)])


def searched(piece: Piece, points: Points, rows: Ints) -> list[Group]:
    """Any feet of points on a clothoid: step by step, and where the lag turns back."""
    if not len(rows):
        return []
    x, y = points[0][rows], points[1][rows]
    u, v = piece.start.ahead(x, y), piece.start.right(x, y)
    nodes = np.linspace(-SLACK_M, piece.length + SLACK_M, _STEPS + 1).tolist()
    found = [_lag(piece, u, v, node) for node in nodes]
    ahead = [lag > 0.0 for lag, _ in found]
    grows = [
        (piece.curvature + piece.rate * node) * offset > 1.0
        for node, (_, offset) in zip(nodes, found, strict=True)
    ]
    groups = []
    for j in range(_STEPS):
        low, high = nodes[j], nodes[j + 1]
        once = np.flatnonzero(ahead[j] != ahead[j + 1])
        groups.append(_between(piece, points, rows[once], (low, high, ahead[j][once])))
        back = np.flatnonzero((ahead[j] == ahead[j + 1]) & (grows[j] != grows[j + 1]))
        if len(back):
            turn = _turning_back(piece, (u[back], v[back]), (low, high))
            twice = (_lag(piece, u[back], v[back], turn)[0] > 0.0) != ahead[j][back]
            back, turn = back[twice], turn[twice]
            groups.append(_between(piece, points, rows[back], (low, turn, ahead[j][back])))
            groups.append(_between(piece, points, rows[back], (turn, high, ~ahead[j][back])))
    return groups


def _between(
    piece: Piece, points: Points, rows: Ints, bracket: tuple[ArrayLike, ArrayLike, Bools]
) -> Group:
    low, high = (np.array(np.broadcast_to(end, len(rows)), np.float64) for end in bracket[:2])
    return _square_to(piece, points, rows, (low, high, 0.5 * (low + high), bracket[2]))


def _turning_back(piece: Piece, frame: Points, between: tuple[float, float]) -> Floats:
    """Where the lag stops growing or falling, by halving: its slope is κ·offset - 1."""
    u, v = frame
    low, high = np.full(len(u), between[0]), np.full(len(u), between[1])
    at_low = (piece.curvature + piece.rate * low) * _lag(piece, u, v, low)[1] > 1.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        offset = _lag(piece, u, v, middle)[1]
        same = ((piece.curvature + piece.rate * middle) * offset > 1.0) == at_low
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.asarray(0.5 * (low + high))
