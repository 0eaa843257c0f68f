"""One shot per cell of a scan: enough for a triangle, few enough to triangulate.

A shot is chosen, never averaged, so that every vertex of the ground can be
traced to a record of a file.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import SurfaceError
from pipeline.model import Floats, Ints

Keep: TypeAlias = Literal["median", "lowest"]

LOWEST_PERCENT = 10
"""``lowest`` is the shot that this share of its cell's shots lie below."""

PERCENT: dict[Keep, int] = {"median": 50, "lowest": LOWEST_PERCENT}

# bits of a 64-bit word that are left for the height within its cell's number
_LEAST_HEIGHT_BITS = 24
_HEIGHT_STEP_M = 1e-6
_ON_EDGE = 1e-6
# up to so many cells a shot a table of all cells is smaller than the shots themselves
_CELLS_PER_SHOT = 3


def thin(x: ArrayLike, y: ArrayLike, z: ArrayLike, cell_m: float, *, keep: Keep = "median") -> Ints:
    """Rows of one shot per square cell, in ascending order.

    Parameters
    ----------
    x, y, z : array_like, shape (n,)
        Metres, finite, any origin.
    cell_m : float
        Side of the cells [m]; their corners are whole multiples of it. A shot
        within a millionth of a cell below an edge counts as on it.
    keep : {"median", "lowest"}
        The shot with the median height of its cell (the lower of the two middle
        ones), which noise does not bias; or the one that a tenth of the cell's
        shots lie below, which is near the bottom of grass and rods without being
        the one stray echo underneath. In a cell of ten or fewer that is the lowest.

    Returns
    -------
    ndarray of int64, shape (cells in use,)
        Of equal heights (to a micrometre) the shot that stands first.

    Raises
    ------
    SurfaceError
        A coordinate that is not finite, a cell that is not greater than zero, or
        shots spread so far that their cells cannot be numbered.

    Notes
    -----
    Cell and height are packed into one 64-bit whole number and sorted once:
    10 million shots in about a second.

    Examples
    --------
    Three shots in the first cell, one in the second:

    >>> thin([0.01, 0.05, 0.09, 0.15], [0, 0, 0, 0], [5.0, 5.3, 5.1, 5.2], 0.1).tolist()
    [2, 3]
    """
    return np.sort(_choose(_checked(x, y, z, cell_m), cell_m, keep))


def finite_columns(x: ArrayLike, y: ArrayLike, z: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Three float64 columns; `SurfaceError` names the first point that is not finite."""
    east, north, height = (np.asarray(values, dtype=np.float64) for values in (x, y, z))
    for name, values in zip("xyz", (east, north, height), strict=True):
        if not np.isfinite(values).all():
            row = int(np.flatnonzero(~np.isfinite(values))[0])
            raise SurfaceError(
                f"point {row + 1} of the scan", f"{name} is {values[row]}", "leave the point out"
            )
    return east, north, height


def _checked(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, cell_m: float
) -> tuple[Floats, Floats, Floats]:
    if not cell_m > 0:
        raise SurfaceError("thinning", f"cells of {cell_m!r} m", "give a side greater than zero")
    return finite_columns(x, y, z)


def cell_numbers(x: Floats, y: Floats, cell_m: float) -> tuple[Ints, tuple[int, int]]:
    """Cell of each shot, row by row from the south-west, and the (rows, columns) of the grid."""
    column, row = cells_at(x, cell_m), cells_at(y, cell_m)
    first = int(row.min()), int(column.min())
    shape = grid_of(x, y, cell_m)
    row -= first[0]
    column -= first[1]
    row *= shape[1]
    row += column
    return row, shape


def cells_at(values: Floats, cell_m: float) -> Ints:
    """Row or column of each coordinate, counted from zero."""
    return np.floor(values / cell_m + _ON_EDGE).astype(np.int64)


def grid_of(x: Floats, y: Floats, cell_m: float) -> tuple[int, int]:
    """(rows, columns) of the cells that coordinates reach over.

    Raises
    ------
    SurfaceError
        They are too many to be numbered.
    """
    rows, columns = (
        int(cells_at(np.array([v.max()]), cell_m)[0])
        - int(cells_at(np.array([v.min()]), cell_m)[0])
        + 1
        for v in (y, x)
    )
    shape = rows, columns
    if shape[0] * shape[1] >= 1 << (63 - _LEAST_HEIGHT_BITS):
        raise SurfaceError(
            "scan",
            f"its points lie over {shape[1] * cell_m:,.0f} m by {shape[0] * cell_m:,.0f} m,"
            f" too far for cells of {cell_m:g} m",
            "take out stray points, or choose a larger cell",
        )
    return shape


def pack(cell: Ints, z: Floats, cells: int, least: float | None = None) -> tuple[Ints, int, float]:
    """Cell and height in one sortable number; bits of the height, and its step [m].

    The step is a micrometre, coarser only where the range of heights needs it. ``least`` is
    the least height of a scan of which these are a part.
    """
    bits = 63 - max(1, (cells - 1).bit_length())
    if not len(z):
        return np.empty(0, dtype=np.int64), bits, _HEIGHT_STEP_M
    low = float(z.min()) if least is None else least
    step = height_step(float(z.max()) - low, cells)
    word = np.rint((z - low) / step).astype(np.int64)
    word |= cell << bits
    return word, bits, step


def height_step(reach: float, cells: int) -> float:
    """Step of heights that reach so far [m] beside the number of one of so many cells."""
    return max(_HEIGHT_STEP_M, reach / ((1 << (63 - max(1, (cells - 1).bit_length()))) - 2))


def _choose(place: tuple[Floats, Floats, Floats], cell_m: float, keep: Keep) -> Ints:
    """Row chosen in each cell in use."""
    x, y, z = place
    if len(x) == 0:
        return np.empty(0, dtype=np.int64)
    cell, shape = cell_numbers(x, y, cell_m)
    cells = shape[0] * shape[1]
    word, bits, _ = pack(cell, z, cells)
    # sorting the words alone is several times faster than sorting rows by them
    ordered = np.sort(word)
    first = np.flatnonzero(np.concatenate(([True], (ordered[1:] ^ ordered[:-1]) >> bits != 0)))
    count = np.diff(np.append(first, len(x)))
    wanted = ordered[first + (count - 1) * PERCENT[keep] // 100]
    return _first_row(word, cell, wanted, wanted >> bits, cells)


def _first_row(word: Ints, cell: Ints, wanted: Ints, used: Ints, cells: int) -> Ints:
    """First row that holds each of the `wanted` words, one for each of the cells `used`."""
    if cells <= _CELLS_PER_SHOT * len(word) + 1024:
        table = np.zeros(cells, dtype=np.int64)
        table[used] = wanted
        rows = np.flatnonzero(table[cell] == word)
    else:
        rows = np.flatnonzero(wanted[np.searchsorted(used, cell)] == word)
    return rows[np.unique(word[rows], return_index=True)[1]]
