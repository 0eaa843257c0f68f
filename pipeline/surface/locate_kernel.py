"""The loops of `locate`, to be compiled: triangle by triangle what numpy does in batches.

Every sum and product that decides or is given stands as there, in the same order, so that both
give the same bits. A helper stays in this file: whoever compiles looks at no other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.compiled import given, inlined, kernel
from pipeline.model import Floats, Indices, Ints, Surface

ON_EDGE_M = 1e-9


class Faces(NamedTuple):
    """Triangles (m, 3) on vertices near zero."""

    x: Floats
    y: Floats
    z: Floats
    corner: Indices


class Cells(NamedTuple):
    """Points by square cells: those of cell k are ``first[k]:first[k + 1]`` of x and y."""

    low: tuple[float, float]
    side: float
    size: tuple[int, int]
    first: Indices
    x: Floats
    y: Floats


@inlined
def _cell_of(distance: float, side: float, count: int) -> int:
    return int(min(max(distance / side, 0.0), count - 1.0))


@kernel
def by_cell(
    points: tuple[Floats, Floats], low: tuple[float, float], side: float, size: tuple[int, int]
) -> tuple[Indices, Ints]:
    """Where each cell begins in the order of the points by cell, and that order."""
    x, y = points
    columns, rows = size
    first = np.zeros(columns * rows + 1, np.int32)
    key, order = np.empty(len(x), np.int32), np.empty(len(x), np.int64)
    for k in range(len(x)):
        row = _cell_of(y[k] - low[1], side, rows)
        key[k] = row * columns + _cell_of(x[k] - low[0], side, columns)
        first[key[k] + 1] += 1
    for k in range(1, len(first)):
        first[k] += first[k - 1]
    at = first.copy()
    for k in range(len(x)):
        order[at[key[k]]] = k
        at[key[k]] += 1
    return first, order


@inlined
def _inside(a: Floats, qx: float, qy: float) -> bool:
    """Within the triangle x, x, x, y, y, y, or within the tolerance of its edges."""
    for k in range(3):
        j = k + 1 if k < 2 else 0
        ux, uy, vx, vy = a[k] - qx, a[3 + k] - qy, a[j] - qx, a[3 + j] - qy
        if not ux * vy - uy * vx >= -ON_EDGE_M * (abs(vx - ux) + abs(vy - uy)):
            return False
    return True


@kernel
def lowest(faces: Faces, cells: Cells, found: Indices) -> None:
    """The first triangle that each point lies in, in the order of the cells; -1 stays."""
    columns, rows = cells.size
    a, low, side = np.empty(6), cells.low, cells.side
    for t in range(len(faces.corner)):
        for k in range(3):
            v = faces.corner[t, k]
            a[k], a[3 + k] = faces.x[v], faces.y[v]
        west, east = min(a[0], a[1], a[2]) - ON_EDGE_M, max(a[0], a[1], a[2]) + ON_EDGE_M
        south, north = min(a[3], a[4], a[5]) - ON_EDGE_M, max(a[3], a[4], a[5]) + ON_EDGE_M
        begin = _cell_of(west - low[0], side, columns)
        end = _cell_of(east - low[0], side, columns)
        last = _cell_of(north - low[1], side, rows)
        for row in range(_cell_of(south - low[1], side, rows), last + 1):
            base = row * columns
            for q in range(cells.first[base + begin], cells.first[base + end + 1]):
                x, y = cells.x[q], cells.y[q]
                boxed = west <= x <= east and south <= y <= north
                if boxed and found[q] < 0 and _inside(a, x, y):
                    found[q] = t


@kernel
def interpolated(faces: Faces, points: tuple[Floats, Floats], found: Indices, out: Floats) -> None:
    """Height on the plane of each point's triangle, counted from the nearest corner."""
    for q in range(len(found)):
        if found[q] < 0:
            out[q] = np.nan
            continue
        a, b, c = (
            faces.corner[found[q], 0], faces.corner[found[q], 1], faces.corner[found[q], 2],
        )  # fmt: skip
        qx, qy = points[0][q], points[1][q]
        x0, x1, x2 = faces.x[a] - qx, faces.x[b] - qx, faces.x[c] - qx
        y0, y1, y2 = faces.y[a] - qy, faces.y[b] - qy, faces.y[c] - qy
        z0, z1, z2 = faces.z[a], faces.z[b], faces.z[c]
        w0, w1, w2 = x1 * y2 - y1 * x2, x2 * y0 - y2 * x0, x0 * y1 - y0 * x1
        base = z0 if w0 >= w1 and w0 >= w2 else (z1 if w1 >= w2 else z2)
        total = w0 + w1 + w2
        s0, s1, s2 = (w0 / total, w1 / total, w2 / total) if total > 0 else (0.0, 0.0, 0.0)
        out[q] = base + (s0 * (z0 - base) + s1 * (z1 - base) + s2 * (z2 - base))


def find(surface: Surface, points: tuple[Floats, Floats]) -> Indices:
    """As `locate.find`, of points shifted as the surface is."""
    known = np.flatnonzero(np.isfinite(points[0]) & np.isfinite(points[1]))
    result = np.full(len(points[0]), -1, dtype=np.int32)
    if not (len(known) and len(surface.triangles)):
        return result
    x, y = (given(column[known]) for column in points)
    low = float(x.min()), float(y.min())
    across, up = float(x.max()) - low[0], float(y.max()) - low[1]
    # two points a cell, where they lie evenly
    side = max(np.sqrt(2.0 * across * up / len(x)), across / 4096, up / 4096, 1e-3)
    size = int(across / side) + 1, int(up / side) + 1
    first, order = by_cell((x, y), low, side, size)
    cells = Cells(low, side, size, given(first), given(x[order]), given(y[order]))
    found = np.full(len(order), -1, dtype=np.int32)
    lowest(_faces(surface), cells, found)
    result[known[order]] = found
    return result


def heights(surface: Surface, points: tuple[Floats, Floats], found: Indices) -> Floats:
    """As `locate.interpolate`, in triangles that are found."""
    out = np.empty(len(found))
    interpolated(_faces(surface), (given(points[0]), given(points[1])), given(found), out)
    return out


def _faces(surface: Surface) -> Faces:
    return Faces(given(surface.x), given(surface.y), given(surface.z), given(surface.triangles))
