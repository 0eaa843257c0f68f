"""The cells that lie wholly in one square piece of a scan."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.model import Bools, Floats, Ints
from pipeline.surface.thin import cells_at

_SLACK_M = 1e-6


class Frame(NamedTuple):
    """First of the cells and how many; rows and columns count from the scan's least corner."""

    west: float
    south: float
    cell_m: float
    row: int
    column: int
    rows: int
    columns: int

    @property
    def cells(self) -> int:
        """How many."""
        return self.rows * self.columns

    def holds(self, x: Floats, y: Floats) -> Bools:
        """Points, counted from the scan's least corner, whose cell is one of these."""
        row, column = cells_at(y, self.cell_m) - self.row, cells_at(x, self.cell_m) - self.column
        found: Bools = (row >= 0) & (row < self.rows) & (column >= 0) & (column < self.columns)
        return found

    def of_scan(self, cell: Ints, columns: int) -> Ints:
        """Cells of the frame as cells of the scan, of so many columns."""
        row, column = np.divmod(cell, max(1, self.columns))
        return np.asarray((row + self.row) * columns + column + self.column)


def frame_of(least: tuple[float, float], corner: tuple[float, float], side: float,
             cell_m: float) -> Frame:  # fmt: skip
    """Cells in the square on `corner`, of a scan whose least easting and northing are `least`."""
    spans = []
    for low, start in zip(least, corner, strict=True):
        edges = np.array([start - low - _SLACK_M, start - low + side + _SLACK_M])
        first, last = cells_at(edges, cell_m).tolist()
        spans.append((first + 1, max(0, last - first - 1)))
    (column, columns), (row, rows) = spans
    return Frame(least[0], least[1], cell_m, row, column, rows, columns)
