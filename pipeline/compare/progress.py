"""How far the work has come towards a layer, in per cent, from the days' own quantities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.model import Quantity


@dataclass(frozen=True, slots=True)
class Progress:
    """One layer on one day.

    ``left_m`` is the work that is left, cut and fill added, over the area compared
    [m3/m2]. ``per_cent`` is how much of the first day's is done: negative where
    there is more than on the first day, NaN where there was none or nothing is compared.
    """

    day: str
    layer: str
    cut_m3: float
    fill_m3: float
    left_m: float
    per_cent: float


def trend(days: Sequence[tuple[str, Sequence[Quantity]]]) -> tuple[Progress, ...]:
    """Every layer of every day against the first day on which that layer was compared.

    Parameters
    ----------
    days : sequence of (day, quantities)
        In the order of the days.

    Notes
    -----
    Per square metre, for two mornings never shoot quite the same ground: half a street
    shot is not half of the work done. Cut and fill are added, not netted, for a
    heap beside a hole is work to do.

    Examples
    --------
    >>> first = Quantity("clay", 90.0, 10.0, 0, 0, 1000.0, 0, 0.08)
    >>> later = Quantity("clay", 15.0, 10.0, 0, 0, 500.0, 0, 0.01)
    >>> [round(row.per_cent, 6) for row in trend([("1", [first]), ("2", [later])])]
    [0.0, 50.0]
    """
    first: dict[str, float] = {}
    rows = []
    for day, quantities in days:
        for one in quantities:
            left = math.nan
            if one.compared_area_m2 > 0:
                left = (one.cut_m3 + one.fill_m3) / one.compared_area_m2
                first.setdefault(one.layer, left)
            begun = first.get(one.layer, math.nan)
            done = 100.0 * (1.0 - left / begun) if begun > 0 else math.nan
            rows.append(Progress(day, one.layer, one.cut_m3, one.fill_m3, left, done))
    return tuple(rows)
