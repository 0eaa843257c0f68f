"""Numbers that today's ground has overtaken: which laths to rewrite."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.words import NOT_SHOT
from pipeline.model import Stakes


@dataclass(frozen=True, slots=True)
class StaleMark:
    """A mark painted before that ground or design has overtaken.

    ``ground_m`` and ``design_m`` are how they moved under it since [m], + up; ``design_m`` is
    NaN where the mark was to another layer than `layer`, that of today.
    """

    id: str
    station: float
    offset: float
    what: str
    was: str
    now: str
    layer: str
    ground_m: float
    design_m: float


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
        ground = float(now.ground[k] - before.ground[j])
        design = float(now.design[k, 0] - before.design[j, 0])
        moved = max(abs(ground), abs(design)) > limit_m + 1e-9
        if (np.isfinite(ground) and moved) or other_layer:
            found.append(
                StaleMark(
                    id=str(name),
                    station=float(now.station[k]),
                    offset=float(now.offset[k]),
                    what=str(now.what[k]),
                    was=str(before.mark[j]),
                    now=str(now.mark[k]),
                    layer=now.layers[0],
                    ground_m=ground,
                    design_m=float("nan") if other_layer else design,
                )
            )
    return tuple(found)


def stale_words(mark: StaleMark, unit: Measures = METRIC) -> str:
    """``was C 7, now C 1``; where the number is the same again, what moved instead.

    Examples
    --------
    >>> at = "60R", 60.0, 4.85, "edge of clay"
    >>> stale_words(StaleMark(*at, "C 7", "C 7", "clay", -0.2, -0.2))
    'still C 7: ground down 20 cm, layer down 20 cm'
    """
    if mark.was != mark.now:
        return f"was {mark.was}, now {mark.now}"
    if np.isnan(mark.design_m):
        return f"still {mark.now}, now to {mark.layer}"
    moved = [
        f"{what} {'up' if metres > 0 else 'down'} {unit.small(abs(metres))} {unit.small_unit}"
        for what, metres in (("ground", mark.ground_m), ("layer", mark.design_m))
        if float(unit.small(metres))
    ]
    return f"still {mark.now}: {', '.join(moved)}"
