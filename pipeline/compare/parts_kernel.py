"""The loop of `quantities.parts`, to be compiled: piece by piece what numpy does block by block.

Every sum and product stands as there, in the same order, so that both give the same bits.
"""

from __future__ import annotations

import numpy as np

from pipeline.compiled import given, inlined, kernel, on_cores
from pipeline.model import Floats, Ints, Overlay

BLOCK = 1 << 16
"""Pieces that one thread splits at a time."""


@inlined
def _split(a: float, b: float, c: float, area: float, into: Floats) -> None:
    """Add a triangle with corner differences a, b, c: cut, fill, cut area, fill area."""
    above = (a > 0) + (b > 0) + (c > 0)
    below = (a < 0) + (b < 0) + (c < 0)
    volume = area * (a + b + c) / 3
    if not (above and below):
        into[0] += volume if below == 0 else 0.0
        into[1] += -volume if above == 0 else 0.0
        into[2] += area if above else 0.0
        into[3] += area if below else 0.0
        return
    # the corner that has its sign alone comes first
    alone = 1.0 if above == 1 else -1.0
    if alone * b > alone * a and alone * b >= alone * c:
        a, b, c = b, c, a
    elif alone * c > alone * a:
        a, b, c = c, a, b
    tip_area = area * (a / (a - b)) * (a / (a - c))
    tip = tip_area * abs(a) / 3
    rest, rest_area = max(tip - alone * volume, 0.0), max(area - tip_area, 0.0)
    one, two = (0, 1) if above == 1 else (1, 0)
    into[one] += tip
    into[two] += rest
    into[2 + one] += tip_area
    into[2 + two] += rest_area


@kernel
def fill(
    corners: tuple[Floats, Floats, Floats],
    start: Ints,
    out: tuple[Floats, Floats, Floats, Floats, Floats],
) -> None:
    """Cut, fill, cut area, fill area and area of every piece."""
    x, y, cut = corners
    found = np.empty(4)
    for k in range(len(start) - 1):
        found[:] = 0.0
        first, total = start[k], 0.0
        for one in range(first + 1, start[k + 1] - 1):
            two = one + 1
            area = abs(
                0.5
                * (
                    (x[one] - x[first]) * (y[two] - y[first])
                    - (x[two] - x[first]) * (y[one] - y[first])
                )
            )
            _split(cut[first], cut[one], cut[two], area, found)
            total += area
        out[0][k], out[1][k], out[2][k], out[3][k] = found[0], found[1], found[2], found[3]
        out[4][k] = total


def parts(overlay: Overlay) -> tuple[Floats, ...]:
    """The columns of `quantities.Parts`."""
    n = len(overlay.start) - 1
    out = np.empty(n), np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    corners = given(overlay.x), given(overlay.y), given(overlay.cut)

    def block(k: int) -> None:
        cut, filled, cut_area, fill_area, area = (column[k : k + BLOCK] for column in out)
        start = given(overlay.start[k : k + BLOCK + 1])
        fill(corners, start, (cut, filled, cut_area, fill_area, area))

    with on_cores() as threads:
        list(threads.map(block, range(0, n, BLOCK)))
    for column in out:
        column.setflags(write=False)
    return out
