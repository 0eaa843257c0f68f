"""How sure cut and fill of each stretch of the street are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.compare.intervals import Intervals
from pipeline.compare.roughness import Roughness
from pipeline.compare.sampling import Sample
from pipeline.compare.uncertainty import (
    StandardError,
    Uncertainty,
    region_errors,
    uncertainty_of,
    whole_regions,
)
from pipeline.model import Bools, Floats, Quantity
from pipeline.model.arrays import lock_fields
from pipeline.settings_earthwork import Volumes


@dataclass(frozen=True, slots=True, eq=False)
class StretchErrors:
    """Standard errors by stretch (k) [m3]; NaN where the shots are too few to tell.

    Neighbouring stretches share the bench and the ground between their shots, so these
    do not add up like independent errors: the whole street's stands in `Uncertainty`.
    """

    cut_m3: Floats
    fill_m3: Floats
    net_m3: Floats
    mean_m: Floats

    def __post_init__(self) -> None:
        k = len(self.cut_m3)
        names = ("cut_m3", "fill_m3", "net_m3", "mean_m")
        lock_fields(self, dict.fromkeys(names, (np.float64, (k,))))


def by_stretch(
    spread: Sample, stretches: Intervals, roughness: Roughness, rules: Volumes
) -> StretchErrors:
    """Standard errors of every stretch, from the cells of the sample that lie in it.

    Parameters
    ----------
    spread : Sample
        Made along the alignment, so that its places are stations and offsets.
    stretches : Intervals
        Whole widths; their exact areas count.
    roughness : Roughness
        That of the whole street: a stretch alone has too few shots to learn from.
    rules : Volumes
    """
    found = region_errors(spread, *_regions(spread, stretches), roughness, rules)
    return _of_stretches(found)


def layer_errors(
    quantity: Quantity,
    spread: Sample,
    stretches: Intervals,
    roughness: Roughness,
    rules: Volumes,
) -> tuple[Uncertainty, StretchErrors]:
    """`standard_errors` and `by_stretch` of one layer, its covariances worked out once."""
    wanted, areas = whole_regions(quantity, spread)
    more, others = _regions(spread, stretches)
    every = np.concatenate((wanted, more))
    found = region_errors(spread, every, (*areas, *others), roughness, rules)
    whole = uncertainty_of(quantity, spread, roughness, found[: len(areas)])
    return whole, _of_stretches(found[len(areas) :])


def _regions(spread: Sample, stretches: Intervals) -> tuple[Bools, list[float]]:
    """Cells and areas of what is cut, what is filled and all, each by stretch."""
    station = spread.grid[0]
    inside = (station >= stretches.start[:, None]) & (station < stretches.end[:, None])
    wanted = np.concatenate((inside & (spread.cut > 0), inside & (spread.cut < 0), inside))
    areas = np.concatenate(
        (stretches.cut_area_m2, stretches.fill_area_m2, stretches.compared_area_m2)
    )
    return wanted, areas.tolist()


def _of_stretches(found: Sequence[StandardError]) -> StretchErrors:
    total = np.array([one.total for one in found]).reshape(3, -1)
    mean = np.array([one.mean_m for one in found]).reshape(3, -1)[2]
    return StretchErrors(total[0], total[1], total[2], mean)
