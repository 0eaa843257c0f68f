"""The five columns of a LAS point that are used, from its raw record."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

POINT = np.dtype([("x", "<i4"), ("y", "<i4"), ("z", "<i4"), ("class", "u1"), ("flags", "u1")])
"""A point as read: whole numbers of the file's scale, class, flags (bit 2: withheld)."""

SYNTHETIC, WITHHELD = 1, 4

_FRAME_BYTES = 64 << 20

# ASPRS LAS Specification 1.4-R15, classification values of formats 6-10 (from memory)
CLASS_NAMES = {
    0: "never classified", 1: "unclassified", 2: "ground", 3: "low vegetation",
    4: "medium vegetation", 5: "high vegetation", 6: "building", 7: "low noise",
    8: "model key point", 9: "water", 10: "rail", 11: "road surface", 12: "overlap",
    13: "wire guard", 14: "wire conductor", 15: "transmission tower", 16: "wire connector",
    17: "bridge deck", 18: "high noise",
}  # fmt: skip


def class_name(number: int) -> str:
    """``ground`` for 2; ``class 65`` where the specification has no name.

    Examples
    --------
    >>> class_name(2), class_name(65)
    ('ground', 'class 65')
    """
    return CLASS_NAMES.get(number, f"class {number}")


def frame_rows(record_length: int, chunk_points: int) -> int:
    """Points read at once: `chunk_points`, fewer where records are long (64 MiB at most)."""
    return max(1, min(chunk_points, _FRAME_BYTES // record_length))


def record_dtype(point_format: int, record_length: int) -> np.dtype[Any]:
    """View of one point record that shows only the fields used here.

    Formats 0-5 keep class (bits 0-4) and flags (bits 5-7) in byte 15, formats
    6-10 keep flags in byte 15 and class in byte 16 (ASPRS LAS 1.4-R15, from
    memory; checked against what laspy writes).
    """
    names, offsets = ["x", "y", "z", "byte15"], [0, 4, 8, 15]
    formats = ["<i4", "<i4", "<i4", "u1"]
    if point_format >= 6:
        names, offsets, formats = [*names, "byte16"], [*offsets, 16], [*formats, "u1"]
    return np.dtype(
        {"names": names, "formats": formats, "offsets": offsets, "itemsize": record_length}
    )


def points_of(records: NDArray[Any], point_format: int) -> NDArray[Any]:
    """`records` (of `record_dtype`) as an array of `POINT`."""
    points = np.empty(len(records), dtype=POINT)
    for axis in "xyz":
        points[axis] = records[axis]
    if point_format >= 6:
        points["class"] = records["byte16"]
        points["flags"] = records["byte15"] & 0x0F
    else:
        points["class"] = records["byte15"] & 0x1F
        points["flags"] = records["byte15"] >> 5
    return points
