"""Numbers that today's ground has overtaken: which laths to rewrite."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.words import NOT_SHOT
from pipeline.model import Stakes


@dataclass(frozen=True, slots=True)
class StaleMark:
    """A mark painted before that is wrong now; ``change_m`` is how the ground moved, + up."""

    id: str
    station: float
    offset: float
    what: str
    was: str
    now: str
    change_m: float


def stale_marks(before: Stakes, now: Stakes, limit_m: float) -> tuple[StaleMark, ...]:
    """Marks of an earlier morning whose ground has changed by more than `limit_m` since.

    Parameters
    ----------
    before, now : Stakes
        Spots of two mornings. A spot keeps its id from day to day; one that is only in
        one of them, or was not shot in both, is not told.
    limit_m : float

    Returns
    -------
    tuple of StaleMark
        In the order of `now`. Where the two mornings went by different layers every
        mark is stale, whatever the ground did.
    """
    rows = {str(name): k for k, name in enumerate(before.id)}
    other_layer = before.layers[:1] != now.layers[:1]
    found = []
    for k, name in enumerate(now.id):
        j = rows.get(str(name))
        if j is None or before.mark[j] == NOT_SHOT:
            continue
        change = float(now.ground[k] - before.ground[j])
        moved = abs(change) > limit_m + 1e-9
        redesigned = abs(float(now.design[k, 0] - before.design[j, 0])) > limit_m + 1e-9
        if (np.isfinite(change) and (moved or redesigned)) or other_layer:
            found.append(
                StaleMark(
                    id=str(name),
                    station=float(now.station[k]),
                    offset=float(now.offset[k]),
                    what=str(now.what[k]),
                    was=str(before.mark[j]),
                    now=str(now.mark[k]),
                    change_m=change,
                )
            )
    return tuple(found)


def stale_words(mark: StaleMark) -> str:
    """``was C 7, now C 1``."""
    return f"was {mark.was}, now {mark.now}"
