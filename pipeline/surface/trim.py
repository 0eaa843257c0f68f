"""Where the surface ends: at a drawn boundary, or where nobody shot."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.model import Bools, Floats, Indices, Ints
from pipeline.model.arrays import lock_fields
from pipeline.surface.places import GRID_M

SLIVER = 0.03
"""An outer triangle lower than this share of its outside edge may be a sliver [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Net:
    """Triangles over n places before any are taken away; m triangles.

    ``x``, ``y`` metres near zero, shape (n,); ``triangles``, ``neighbours`` and
    ``fixed`` as in `Surface`, shape (m, 3).
    """

    x: Floats
    y: Floats
    triangles: Indices
    neighbours: Indices
    fixed: Bools

    def __post_init__(self) -> None:
        n, m = len(self.x), len(self.triangles)
        lock_fields(self, dict.fromkeys(("x", "y"), (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("triangles", "neighbours"), (np.int32, (m, 3))))
        lock_fields(self, {"fixed": (np.bool_, (m, 3))})

    def length(self, t: Ints, k: Ints) -> Floats:
        """Plan length [m] of the edges from vertex k to vertex k + 1 of triangles t."""
        a, b = self.triangles[t, k], self.triangles[t, (k + 1) % 3]
        plan: Floats = np.hypot(self.x[b] - self.x[a], self.y[b] - self.y[a])
        return plan

    def outside(self, keep: Bools) -> tuple[Ints, Ints]:
        """Edges (t, k) of the triangles in `keep` with none of them beyond, in order."""
        open_edge = (self.neighbours < 0) | ~keep[self.neighbours]
        t, k = np.nonzero(open_edge & keep[:, None])
        return t, k


def peel(net: Net, keep: Bools, max_edge_m: float) -> Bools:
    """The triangles that stay when outer ones over ground that nobody shot are taken away.

    A triangle goes when one of its outside edges is longer than `max_edge_m`;
    what it uncovers is looked at in its turn, until no outside edge is longer.
    A piece of a line is never too long: whoever shot the line says that it runs
    straight from shot to shot.

    Parameters
    ----------
    net : Net
        m triangles.
    keep : ndarray, shape (m,), bool
        Those that are left so far.
    max_edge_m : float
        Longest outside edge in plan [m].
    """
    keep = keep.copy()
    t, k = net.outside(keep)
    going = np.unique(t[(net.length(t, k) > max_edge_m) & ~net.fixed[t, k]])
    while len(going):
        keep[going] = False
        # an edge just uncovered is as long seen from the other side
        t, k = np.repeat(going, 3), np.tile([0, 1, 2], len(going))
        long = (net.length(t, k) > max_edge_m) & ~net.fixed[t, k]
        beyond = net.neighbours[t[long], k[long]]
        going = np.unique(beyond[beyond >= 0])
        going = going[keep[going]]
    return keep


def drop_slivers(net: Net, keep: Bools, thin_m: float) -> Bools:
    """The triangles that stay when flat ones along the outside are taken away.

    Three shots along an edge of the work are never quite in line, and the
    triangle between them covers nothing while its slope may be anything. One
    goes when its height over its one outside edge is less than `thin_m` and
    less than `SLIVER` of that edge. It stays where the edge is a piece of a
    line, or where a vertex would be left without a triangle or the surface
    hang by one.

    Parameters
    ----------
    net : Net
        m triangles.
    keep : ndarray, shape (m,), bool
        Those that are left so far.
    thin_m : float
        Height [m] under which a triangle may be a sliver. Shots in one line but
        for the rounding to the grid always make slivers, which go.
    """
    thin_m = max(thin_m, 2.0 * GRID_M)
    keep = keep.copy()
    on_outside = np.zeros(len(net.x), dtype=np.bool_)
    t, k = net.outside(keep)
    on_outside[net.triangles[t, k]] = True
    on_outside[net.triangles[t, (k + 1) % 3]] = True
    # few, and each changes what is outside for the next: one by one, in order
    waiting = deque(t[_flat(net, t, k, thin_m)].tolist())
    while waiting:
        one = waiting.popleft()
        beyond = net.neighbours[one]
        edges = np.flatnonzero((beyond < 0) | ~keep[beyond])
        apex = net.triangles[one, (edges[0] + 2) % 3]
        if (
            keep[one]
            and len(edges) == 1
            and not on_outside[apex]
            and _flat(net, np.array([one]), edges, thin_m)[0]
        ):
            keep[one] = False
            on_outside[apex] = True
            waiting.extend(beyond[(beyond >= 0) & keep[beyond]].tolist())
    return keep


def _flat(net: Net, t: Ints, k: Ints, thin_m: float) -> Bools:
    """Whether triangles t hardly rise over their edges k."""
    length = net.length(t, k)
    height = twice_area(net.x, net.y, net.triangles[t]) / length
    flat: Bools = (height < thin_m) & (height < SLIVER * length) & ~net.fixed[t, k]
    return flat


def enclosed(net: Net, keep: Bools, ring: Ints) -> Bools:
    """Which triangles, shape (m,), lie within the `ring` of places, of those in `keep`."""
    import shapely

    polygon = shapely.Polygon(np.column_stack([net.x[ring], net.y[ring]]))
    shapely.prepare(polygon)
    rows = np.flatnonzero(keep)
    # the ring is made of edges, so no triangle is partly inside and its middle decides
    x = net.x[net.triangles[rows]].mean(axis=1)
    y = net.y[net.triangles[rows]].mean(axis=1)
    inside = np.zeros(len(keep), dtype=np.bool_)
    inside[rows] = shapely.contains_xy(polygon, x, y)
    return inside


def twice_area(x: Floats, y: Floats, triangles: NDArray[np.integer]) -> Floats:
    """Twice the plan area [m²] of each triangle, counter-clockwise +."""
    a, b, c = triangles.T
    area: Floats = (x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])
    return area


def remaining(neighbours: Indices, keep: Bools) -> Indices:
    """Neighbours of the triangles that stay, renumbered; -1 where one is gone."""
    number = np.where(keep, np.cumsum(keep, dtype=np.int32) - 1, -1)
    left = neighbours[keep]
    renumbered: Indices = np.where(left >= 0, number[left], -1)
    return renumbered
