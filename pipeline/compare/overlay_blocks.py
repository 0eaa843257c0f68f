"""The compiled form of `overlay`: its loops over blocks of ground triangles, on several cores.

Each block gives its pieces by itself and they are laid down in the order of the blocks, so
that any number of threads makes the same overlay.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from pipeline.compare import overlay_kernel
from pipeline.compare.candidates import CellLists, boxes, by_cell, lay_grid, sampled
from pipeline.compare.overlay_kernel import Faces, Listed, Made
from pipeline.compiled import given, on_cores
from pipeline.model import Floats, Ints, Surface
from pipeline.surface.cells import Grid

Point: TypeAlias = tuple[float, float]

MANY = 1 << 17
"""Triangles that are looked over at a time."""
BLOCK = 1 << 14
"""Ground triangles of a block: its pieces stay in the cache until they are laid down."""
_NOWHERE = (np.inf, np.inf, -np.inf, -np.inf, np.inf, 0)


def faces(x: Floats, y: Floats, surface: Surface) -> Faces:
    """A surface about the common origin, as the loops take it."""
    return Faces(given(x), given(y), given(surface.z), given(surface.triangles))


def reach(of: Faces) -> tuple[Floats, float, int]:
    """Least x and y, greatest x and y; least twice the area, and which triangle has it."""
    blocks = _blocks(of)
    with on_cores() as threads:
        found = np.array(list(threads.map(overlay_kernel.reach, blocks)) or [_NOWHERE])
    least = int(np.argmin(found[:, 4]))
    span = np.concatenate((found[:, :2].min(axis=0), found[:, 2:4].max(axis=0)))
    return span, float(found[least, 4]), least * MANY + int(found[least, 5])


def _blocks(of: Faces) -> list[Faces]:
    starts = range(0, len(of.corner), MANY)
    return [of._replace(corner=given(of.corner[k : k + MANY])) for k in starts]


def _reaching(of: Faces, low: Point, high: Point) -> Ints:
    with on_cores() as threads:
        found = threads.map(lambda block: overlay_kernel.reaching(block, low, high), _blocks(of))
        parts = [rows + k * MANY for k, rows in enumerate(found)]
    return np.concatenate([np.empty(0, np.int64), *parts])


def pieces(
    ground: Faces, design: Faces, spans: Floats
) -> tuple[Floats, Floats, Floats, Ints, Ints, Ints]:
    """x, y, cut of the corners, start, ground and design triangle of the pieces, as `Overlay`.

    ``spans`` has a row for each of the two: least x and y, greatest x and y.
    """
    low, high = spans[:, :2].max(axis=0), spans[:, 2:].min(axis=0)
    common = (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
    rows, below = _reaching(ground, *common), _reaching(design, *common)
    made = _room(len(rows) + len(below))
    if len(rows) and len(below):
        every = _corners(design, np.arange(len(design.corner)))
        samples = _corners(ground, sampled(rows))[:2], every[:2, :, sampled(below)]
        grid = lay_grid(samples, (len(rows), len(below)), low, high)
        listed = _listed(every, by_cell(every[:2], below, grid), grid)
        many = max(BLOCK, len(listed.box) // 8)
        blocks = [given(rows[k : k + many]) for k in range(0, len(rows), many)]
        with on_cores() as threads:
            for part in threads.map(lambda block: _pieces_of(block, ground, listed), blocks):
                _lay_down(part, made)
    return _as_long_as_needed(made)


def _pieces_of(rows: Ints, ground: Faces, design: Listed) -> Made:
    made = _room(len(rows))
    while made.done[0] < len(rows):
        overlay_kernel.fill(rows, ground, design, made)
        if made.done[0] < len(rows):
            made = _larger(made)
    return made


def _lay_down(part: Made, made: Made) -> None:
    """The pieces of a block behind those that are there."""
    _, pieces, corners = part.done.tolist()
    _, piece, at = made.done.tolist()
    while at + corners > len(made.x) or piece + pieces > len(made.ground):
        _larger(made)
    for column, more in zip(made[:3], part[:3], strict=True):
        column[at : at + corners] = more[:corners]
    made.start[piece + 1 : piece + pieces + 1] = part.start[1 : pieces + 1] + at
    made.ground[piece : piece + pieces] = part.ground[:pieces]
    made.design[piece : piece + pieces] = part.design[:pieces]
    made.done[1], made.done[2] = piece + pieces, at + corners


def _corners(faces: Faces, rows: Ints) -> Floats:
    corner = faces.corner[rows].T
    return np.stack((faces.x[corner], faces.y[corner], faces.z[corner]))


def _listed(corners: Floats, cells: CellLists, grid: Grid) -> Listed:
    size = grid.columns, grid.rows
    first = cells.first[np.searchsorted(cells.key, np.arange(grid.columns * grid.rows + 1))]
    return Listed(
        grid.low, grid.cell, size, given(first.astype(np.int32)),
        given(cells.triangle.astype(np.int32)), given(boxes(corners[:2]).T),
        given(corners.reshape(9, -1).T),
    )  # fmt: skip


def _room(n: int) -> Made:
    """For three pieces a triangle to begin with: what is not written to is not there yet."""
    x, y, cut = (np.empty(12 * n + 64) for _ in range(3))
    start, ground, design = (np.empty(3 * n + 16 + k, np.int64) for k in (1, 0, 0))
    start[0] = 0
    return Made(x, y, cut, start, ground, design, np.zeros(3, np.int64))


def _larger(made: Made) -> Made:
    for column in made[:-1]:
        column.resize(2 * len(column), refcheck=False)
    return made


def _as_long_as_needed(made: Made) -> tuple[Floats, Floats, Floats, Ints, Ints, Ints]:
    pieces, corners = made.done[1:].tolist()
    for column, n in zip(made[:-1], (*[corners] * 3, pieces + 1, pieces, pieces), strict=True):
        column.resize(n, refcheck=False)
        column.setflags(write=False)
    return made[:-1]
