"""Which triangles of two surfaces can overlap, from a grid laid over both.

A pair that overlaps shares a cell of the grid, so that no pair is missed; most
of the pairs that share one do overlap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compare.pieces import starts
from pipeline.model import Bools, Floats, Ints
from pipeline.surface.cells import Grid, runs, touched

GROUND_BLOCK = 1 << 17
"""Ground triangles that are spread over the grid together."""
SAMPLE = 1 << 16
"""Triangles of each surface, or up to twice as many, by which the grid is chosen."""
MOST_CELLS = 1 << 22
PAIR_BLOCK = 1 << 14
"""Pairs handed on together: their working arrays stay inside the processor's cache."""


@dataclass(frozen=True, slots=True)
class CellLists:
    """Triangles by cell: those of occupied cell k are ``first[k]:first[k + 1]`` of ``triangle``."""

    key: Ints
    first: Ints
    triangle: Ints


def candidate_pairs(
    ground: Floats, design: Floats, *, smallest: float = 0.0
) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of triangles whose bounding boxes and grid cells meet.

    Parameters
    ----------
    ground, design : ndarray, shape (2, 3, n)
        Easting and northing of the three corners about a common origin [m].
    smallest : float
        Triangles of this plan area or less are left out [m2].

    Yields
    ------
    ground, design : ndarray, shape (m,)
        Triangle numbers: every pair once, rising by ground triangle and then
        by design triangle over the whole sequence, about `PAIR_BLOCK` at a time.

    Notes
    -----
    Memory goes with `GROUND_BLOCK` and with the design, not with the ground.
    """
    ground_box, design_box = boxes(ground), boxes(design)
    low, high = _common(ground_box, design_box)
    ground_rows = np.flatnonzero(_reaches(ground_box, low, high) & (_areas(ground) > smallest))
    design_rows = np.flatnonzero(_reaches(design_box, low, high) & (_areas(design) > smallest))
    if not (len(ground_rows) and len(design_rows)):
        return
    samples = ground[:, :, sampled(ground_rows)], design[:, :, sampled(design_rows)]
    grid = lay_grid(samples, (len(ground_rows), len(design_rows)), low, high)
    cells = by_cell(design, design_rows, grid)
    for begin in range(0, len(ground_rows), GROUND_BLOCK):
        block = ground_rows[begin : begin + GROUND_BLOCK]
        for g, d in _share_cell(ground, block, cells, grid):
            meet = _boxes_meet(ground_box, g, design_box, d)
            pair = np.sort(g[meet] * np.int64(design.shape[2]) + d[meet])
            pair = pair[np.concatenate(([True], pair[1:] != pair[:-1]))[: len(pair)]]
            first, second = np.divmod(pair, np.int64(design.shape[2]))
            for at in range(0, len(pair), PAIR_BLOCK):
                yield first[at : at + PAIR_BLOCK], second[at : at + PAIR_BLOCK]


def boxes(corners: Floats) -> Floats:
    """(4, n): low easting, low northing, high easting, high northing."""
    return np.concatenate((corners.min(axis=1), corners.max(axis=1)))


def _areas(corners: Floats) -> Floats:
    edge = corners[:, 1:] - corners[:, :1]
    return np.asarray(0.5 * (edge[0, 0] * edge[1, 1] - edge[1, 0] * edge[0, 1]))


def _common(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Low and high corner of the plan that both reach; high below low where there is none."""
    if not (a.shape[1] and b.shape[1]):
        return np.zeros(2), np.full(2, -1.0)
    low = np.maximum(a[:2].min(axis=1), b[:2].min(axis=1))
    return low, np.minimum(a[2:].max(axis=1), b[2:].max(axis=1))


def _reaches(box: Floats, low: Floats, high: Floats) -> Bools:
    return np.asarray(
        (box[0] < high[0]) & (box[2] > low[0]) & (box[1] < high[1]) & (box[3] > low[1])
    )


def _boxes_meet(a: Floats, i: Ints, b: Floats, j: Ints) -> Bools:
    """Boxes overlap by more than an edge."""
    return np.asarray(
        (a[0, i] < b[2, j]) & (b[0, j] < a[2, i]) & (a[1, i] < b[3, j]) & (b[1, j] < a[3, i])
    )


def sampled(rows: Ints) -> Ints:
    """Every n-th row, n such that enough are left to choose a grid by."""
    return rows[:: max(1, len(rows) // SAMPLE)]


def lay_grid(
    samples: tuple[Floats, Floats], of: tuple[int, int], low: Floats, high: Floats
) -> Grid:
    """The cell size with the least expected work, by samples of ground and design.

    A convex shape of area A and perimeter P touches A/c² + 2P/(πc) + 1 cells of
    side c on average over its place and direction (integral geometry: the mean
    area of its sum with the cell). Triangles spread evenly over their ground are
    then met ng·nd times a cell; listing them costs once a cell each.
    """
    reach = float(np.max(high - low))
    sizes = reach / np.geomspace(1.0, 1e5, 60)
    area_g, cells_g = _expected_cells(samples[0], of[0], sizes)
    area_d, cells_d = _expected_cells(samples[1], of[1], sizes)
    spread = max(area_g, area_d, 1e-300)
    work = 2.0 * (cells_g + cells_d) + cells_g * cells_d * sizes**2 / spread
    few = np.prod(np.floor((high - low)[:, None] / sizes) + 1, axis=0) <= MOST_CELLS
    cell = float(sizes[int(np.argmin(np.where(few, work, np.inf)))])
    columns, rows = (int(n) for n in np.floor((high - low) / cell) + 1)
    return Grid((float(low[0]), float(low[1])), cell, columns, rows)


def _expected_cells(corners: Floats, of: int, sizes: Floats) -> tuple[float, Floats]:
    """Total area, and the cells that `of` such triangles touch for each cell size."""
    edge = np.roll(corners, -1, axis=1) - corners
    every = of / corners.shape[2]
    perimeter = every * float(np.hypot(edge[0], edge[1]).sum())
    area = every * float(_areas(corners).sum())
    return area, area / sizes**2 + 2 * perimeter / (np.pi * sizes) + of


def by_cell(corners: Floats, rows: Ints, grid: Grid) -> CellLists:
    """The triangles `rows`, listed by the cells that they touch."""
    owner, key = touched(corners[:, :, rows], grid)
    order = np.argsort(key, kind="stable")
    key = key[order]
    new = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    return CellLists(key[new], np.append(new, len(key)), rows[owner[order]])


def _share_cell(
    ground: Floats, block: Ints, cells: CellLists, grid: Grid
) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of a block of ground triangles with the design of the same cells, with repeats."""
    owner, key = touched(ground[:, :, block], grid)
    at = np.minimum(np.searchsorted(cells.key, key), len(cells.key) - 1)
    known = cells.key[at] == key
    owner, at = owner[known], at[known]
    count = cells.first[at + 1] - cells.first[at]
    for begin, end in _batches(owner, count):
        batch = count[begin:end]
        d = cells.triangle[runs(cells.first[at[begin:end]], batch)]
        yield np.repeat(block[owner[begin:end]], batch), d


def _batches(owner: Ints, count: NDArray[np.integer]) -> Iterator[tuple[int, int]]:
    """Ranges of entries with about 16 pair blocks each, never parting a triangle's entries."""
    if not len(owner):
        return
    last = np.flatnonzero(np.concatenate((owner[1:] != owner[:-1], [True])))
    batch = starts(count)[last + 1] // (16 * PAIR_BLOCK)
    ends = last[np.concatenate((batch[1:] != batch[:-1], [True]))] + 1
    yield from zip(np.concatenate(([0], ends[:-1])).tolist(), ends.tolist(), strict=True)
