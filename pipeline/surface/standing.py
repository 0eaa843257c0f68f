"""Places where something stood on the ground of a scan, from the cells it was taken out of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pipeline.model import Bools, Floats, Ints
from pipeline.model.arrays import lock_fields

_FEWEST = 3


@dataclass(frozen=True, slots=True, eq=False)
class Objects:
    """Where points were taken out, three or more together: one row a place, the largest first.

    Centre and extents [m] of its points in plan, top above the ground [m], points.
    """

    easting: Floats
    northing: Floats
    size_e: Floats
    size_n: Floats
    height: Floats
    points: Ints

    def __post_init__(self) -> None:
        n = len(self.easting)
        names = ("easting", "northing", "size_e", "size_n", "height")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))
        lock_fields(self, {"points": (np.int64, (n,))})

    def __len__(self) -> int:
        return len(self.easting)


def hidden(seen: Iterable[tuple[Ints, Ints]], shape: tuple[int, int]) -> int:
    """Cells in which points were taken out and none is left; `Fate.seen` of each part."""
    taken, left = np.zeros((2, shape[0] * shape[1]), dtype=bool)
    for gone, kept in seen:
        taken[gone] = True
        left[kept] = True
    return int((taken & ~left).sum())


def taken_by_cell(
    place: tuple[Floats, Floats, Floats], cell: Ints, above: Bools
) -> tuple[Ints, Floats]:
    """Cells with points taken out; points, and most x, -x, y, -y and rise in each, (6, cells)."""
    x, y, rise = (column[above] for column in place)
    at, which, count = np.unique(cell[above], return_inverse=True, return_counts=True)
    about = np.full((6, len(at)), -np.inf)
    about[0] = count
    for most, values in zip(about[1:], (x, -x, y, -y, rise), strict=True):
        np.maximum.at(most, which, values)
    return at, about


def objects(taken: Iterable[tuple[Ints, Floats]], shape: tuple[int, int]) -> Objects:
    """Cells with points taken out that touch, even at a corner, are one place."""
    from scipy.ndimage import label

    parts = list(taken)
    at = np.concatenate([cells for cells, _ in parts] or [np.empty(0, dtype=np.int64)])
    about = np.concatenate([one for _, one in parts] or [np.empty((6, 0))], axis=1)
    occupied = np.zeros(shape[0] * shape[1], dtype=bool)
    occupied[at] = True
    number, many = label(occupied.reshape(shape), structure=np.ones((3, 3)))
    which = number.ravel()[at] - 1
    points = np.bincount(which, about[0], minlength=many).astype(np.int64)
    east, west, north, south, top = np.full((5, many), -np.inf)
    for most, values in zip((east, west, north, south, top), about[1:], strict=True):
        np.maximum.at(most, which, values)
    order = np.lexsort((-south, east, -points))
    order = order[points[order] >= _FEWEST]
    return Objects(
        easting=((east - west) / 2)[order],
        northing=((north - south) / 2)[order],
        size_e=(east + west)[order],
        size_n=(north + south)[order],
        height=top[order],
        points=points[order],
    )
