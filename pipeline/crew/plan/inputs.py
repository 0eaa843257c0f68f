"""What a day's drawing is made from, and the bands it is shaded in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.crew.haul.arrows import Arrow
from pipeline.crew.plan.frame import PlanWords
from pipeline.errors import JobError
from pipeline.model import (
    MOST_BANDS,
    Band,
    Bools,
    Corridor,
    Floats,
    Region,
    Shots,
    Stakes,
    Utilities,
)
from pipeline.model.charts import Chart
from pipeline.settings import Rounding, Sheet
from pipeline.surface.contour import Isolines


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanInputs:
    """What a day's drawing shows. Everything is on the job grid.

    ``cut`` has one value a shot, NaN where there is none to show; ``used`` is
    False for the shots that are listed and not used. ``bands`` lie between
    `band_limits`, ``contours`` at `contour_levels`. ``local_shift`` writes
    coordinates near zero, for readers with 32-bit numbers; the title block then
    says what to add. ``profiles`` and ``sections`` get sheets of their own.
    """

    corridor: Corridor
    layer: str
    shots: Shots
    used: Bools
    cut: Floats
    bands: tuple[Band, ...]
    contours: Isolines
    not_surveyed: tuple[Region, ...]
    stakes: Stakes
    dots: Stakes
    utilities: Utilities
    sheet: Sheet
    rounding: Rounding
    words: PlanWords
    local_shift: bool = False
    profiles: tuple[Chart, ...] = ()
    sections: tuple[Chart, ...] = ()
    haul: tuple[Arrow, ...] = ()


def band_limits(bands_m: Sequence[float]) -> tuple[float, ...]:
    """Limits of all bands from the deepest fill to the deepest cut, ends infinite.

    Raises
    ------
    JobError
        No limit, more than five, or limits that are not above zero and rising.

    Examples
    --------
    >>> band_limits([0.02, 0.05])
    (-inf, -0.05, -0.02, 0.02, 0.05, inf)
    """
    rising = [*bands_m] == sorted(set(bands_m)) and all(limit > 0 for limit in bands_m)
    if not (1 <= len(bands_m) <= MOST_BANDS and rising):
        raise JobError(
            "job.toml, sheet.bands_m",
            f"found {list(bands_m)}",
            f"give one to {MOST_BANDS} limits in metres, above zero and rising",
        )
    return (-np.inf, *(-limit for limit in reversed(bands_m)), *bands_m, np.inf)


def contour_levels(bands_m: Sequence[float]) -> tuple[float, ...]:
    """Cuts at which a contour is drawn: every limit of a band, and zero [m].

    Examples
    --------
    >>> contour_levels([0.02, 0.05])
    (-0.05, -0.02, 0.0, 0.02, 0.05)
    """
    return tuple(sorted((*band_limits(bands_m)[1:-1], 0.0)))


def band_side(band: Band, bands_m: Sequence[float]) -> tuple[str, int]:
    """``("cut", 2)``: side and number of a band, 1 nearest to zero; ("", 0) about zero itself."""
    if band.lower >= 0:
        return "cut", int(np.searchsorted(bands_m, band.lower + 1e-9))
    if band.upper <= 0:
        return "fill", int(np.searchsorted(bands_m, -band.upper + 1e-9))
    return "", 0
