"""What is still to be stabilised: stretch by stretch, before mixing and after."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.compare.intervals import Intervals
from pipeline.crew.pregrade.loads import Loads, clay_loads, gravel_tonnes, loads_per_m3
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.model import Floats
from pipeline.model.arrays import lock_fields
from pipeline.settings import Job

SHOWN_M3 = 0.05
"""Less than half a wheelbarrow in a stretch is nothing to do."""


@dataclass(frozen=True, slots=True)
class Reshaping:
    """Raw clay to take off and to put on before mixing, over the whole lot, and its loads.

    Volumes are compacted; ``stretches`` are how many there are of each.
    """

    off_m3: float
    on_m3: float
    stretches: tuple[int, int]
    loads_out: Loads
    loads_in: Loads


@dataclass(frozen=True, slots=True, eq=False)
class Remaining:
    """What is still to be stabilised, stretch by stretch (k).

    ``area_m2`` is surveyed, ``whole_m2`` all of the design there. ``low_m`` is how far
    the surface is left below the plane today, NaN where it is not surveyed;
    ``reshape_m3`` what to take off (+) or put on (-) before mixing to reach the target,
    ``reshape_loads`` the same in loads; ``surplus_m3`` what will stand over the plane
    (+) or lack (-) if nothing is done, compacted, ``surplus_loads`` the same in loads
    of clay out (+) or gravel in (-). NaN where there is no target, 0 where nothing is
    surveyed. ``before`` are the totals before mixing, None without a target; those after
    it are net, as in an open window.
    """

    start: Floats
    end: Floats
    area_m2: Floats
    whole_m2: Floats
    low_m: Floats
    reshape_m3: Floats
    reshape_loads: Floats
    surplus_m3: Floats
    surplus_loads: Floats
    before: Reshaping | None
    net_m3: float
    sd_m3: float
    loads_out: Loads
    gravel_t: float

    def __post_init__(self) -> None:
        k = len(self.start)
        names = (
            "start", "end", "area_m2", "whole_m2", "low_m", "reshape_m3", "reshape_loads",
            "surplus_m3", "surplus_loads",
        )  # fmt: skip
        lock_fields(self, dict.fromkeys(names, (np.float64, (k,))))


def remaining(job: Job, found: Decision, above_plane: Intervals) -> Remaining:
    """Surplus and shortage of the clay as it lies now, by stretch.

    Parameters
    ----------
    job : Job
        Trucks and bulking.
    found : Decision
    above_plane : Intervals
        Ground against the stabilised plane of the stretches that are not mixed yet: the
        mean cut is minus what the clay is left low by.

    Notes
    -----
    Surplus is area times (rise - low), with the rise that is believed in. Before
    mixing the same centimetres are cheaper: there is no cement in them yet.
    """
    low = -above_plane.mean_cut_m
    area = np.where(np.isnan(low), 0.0, above_plane.compared_area_m2)
    rise = found.belief.after.mean
    surplus = np.nan_to_num(area * (rise - low))
    reshape = np.full(len(area), np.nan)
    if found.lowering is not None:
        reshape = np.nan_to_num(area * (found.lowering - low))
    each = loads_per_m3(job.hauling, job.bulking)
    gravel = job.hauling.gravel_t_m3 / job.hauling.payload_t
    net = float(surplus.sum())
    sd = float(area.sum()) * math.hypot(found.belief.after.sd, found.lot.mean_error_m)
    return Remaining(
        start=above_plane.start,
        end=above_plane.end,
        area_m2=above_plane.compared_area_m2,
        whole_m2=above_plane.compared_area_m2 + above_plane.uncovered_area_m2,
        low_m=low,
        reshape_m3=reshape,
        reshape_loads=reshape * each,
        surplus_m3=surplus,
        surplus_loads=surplus * np.where(surplus > 0, each, gravel),
        before=None if found.lowering is None else _reshaping(job, found, reshape, area),
        net_m3=net,
        sd_m3=sd,
        loads_out=clay_loads(max(net, 0.0), sd, job.hauling, job.bulking),
        gravel_t=gravel_tonnes(max(-net, 0.0), job.hauling),
    )


def _reshaping(job: Job, found: Decision, reshape: Floats, area: Floats) -> Reshaping:
    """Totals of what is taken off and put on; their error is that of the surface alone."""
    over, under = reshape >= SHOWN_M3, reshape <= -SHOWN_M3
    off, on = float(reshape[over].sum()), abs(float(reshape[under].sum()))
    error = found.lot.mean_error_m
    loads_out, loads_in = (
        clay_loads(volume, float(area[rows].sum()) * error, job.hauling, job.bulking)
        for volume, rows in ((off, over), (on, under))
    )
    return Reshaping(off, on, (int(over.sum()), int(under.sum())), loads_out, loads_in)
