"""How high to leave the clay before it is stabilised: a recommendation, its range, its price.

The crew decides. Every figure that is assumed says so, and without costs there is
no target.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from pipeline.crew.measures import measures
from pipeline.crew.pregrade.loads import Loads, clay_loads, gravel_tonnes
from pipeline.crew.pregrade.model import (
    Effect,
    Inputs,
    draws,
    effects,
    inputs_of,
    per_kg,
    rise_of,
    water_l_m2,
)
from pipeline.crew.pregrade.strip import Belief, Update, update
from pipeline.crew.pregrade.target import CostCurve, Prices, Target, curve, prices_of, target
from pipeline.errors import JobError
from pipeline.model import Floats
from pipeline.model.arrays import lock_fields
from pipeline.settings import Job
from pipeline.settings_earthwork import Stabilising

WRONG_M = 0.010
"""What a centimetre too high or too low costs is said beside every target."""
MIXED, MIXED_DEPTH_M = 0.2, 0.05
"""A lot with more than this share of its area in cut and in fill, both deeper than this on
average, holds two clays [assumed]."""


@dataclass(frozen=True, slots=True)
class Lot:
    """One decision: one soil, one moisture, one spread rate.

    ``mean_error_m`` is the standard error of the surface's mean height; areas and
    volumes are those still to be cut and filled to today's layer; ``lids`` is how many
    buried things are on the utilities list, None where there is no list.
    """

    name: str
    start: float
    end: float
    area_m2: float
    mean_error_m: float = 0.0
    cut_m2: float = 0.0
    fill_m2: float = 0.0
    cut_m3: float = 0.0
    fill_m3: float = 0.0
    lids: int | None = None

    @property
    def mixed(self) -> bool:
        """Much of it in cut and much in fill, both deep: wet cut and dry fill rise differently."""
        parts = ((self.cut_m2, self.cut_m3), (self.fill_m2, self.fill_m3))
        return all(
            area > MIXED * self.area_m2 and volume > MIXED_DEPTH_M * area for area, volume in parts
        )


@dataclass(frozen=True, slots=True)
class Thickness:
    """Stabilised thickness after trimming to the plane [m].

    ``over`` where the clay rises past the plane, ``short`` where it rises only as in one
    case of ten; ``least`` from the job, None where it is not stated.
    """

    over: float
    short: float
    least: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Decision:
    """Everything the sheet is made of. Metres and per square metre unless named otherwise.

    ``lowering`` is how far below the plane the clay is left, + low, - high, None
    without costs; ``rises`` are possible values of the lot's mean over the plane it is
    measured from, survey and spots included as the job asks.
    """

    lot: Lot
    rules: Stabilising
    inputs: Inputs
    belief: Update
    rises: Floats
    lowering: float | None
    target: Target | None
    curve: CostCurve | None
    effects: tuple[Effect, ...]
    thickness: Thickness | None
    percent: float
    field_mm: float
    more_mm: float
    mismatch_m: float
    water_l_m2: float
    wrong_loads: Loads
    wrong_tonnes: float
    limits: tuple[str, ...]
    given: frozenset[str]

    def __post_init__(self) -> None:
        lock_fields(self, {"rises": (np.float64, (len(self.rises),))})

    @property
    def range_m(self) -> tuple[float, float]:
        """Rises that one case in ten stays below, and one in ten exceeds."""
        low, high = np.quantile(self.rises, [0.1, 0.9]).tolist()
        return low, high

    @property
    def within_tolerance(self) -> float:
        """Chance that the untrimmed top's mean is within the tolerance; NaN without a target."""
        if self.lowering is None:
            return float("nan")
        off = np.abs(self.rises - self.lowering)
        return float((off <= self.rules.top_tolerance_m).mean())


def decision(
    job: Job, lot: Lot, *, spread_kg_m2: float | None = None, equal_costs: bool = False
) -> Decision:
    """The height at which to leave the clay of one lot.

    Parameters
    ----------
    job : Job
        Its ``stabilising``, ``costs``, ``hauling`` and ``bulking``.
    lot : Lot
    spread_kg_m2 : float, optional
        Another spread rate than the job's, as after a strip test.
    equal_costs : bool
        Take surplus and shortage as equally dear, said so on the sheet.

    Returns
    -------
    Decision

    Raises
    ------
    JobError
        A setting that makes no sense, or half of the costs.

    Notes
    -----
    The rise is drawn from the mass balance with the errors of its inputs; strip tests,
    where there are any, are weighed against it. To each rise an error of the
    surface's mean is drawn, and of single spots where the window is closed: the joint
    distribution whose critical quantile is the target.
    """
    rules = job.stabilising
    if spread_kg_m2 is not None:
        rules = replace(rules, spread_kg_m2=spread_kg_m2)
    given = inputs_of(rules)
    check_lot(lot)
    rise = rise_of(given)
    field_mm, more_mm = per_kg(given)
    belief, rises = _believed(rules, given, lot, more_mm)
    prices = prices_of(job.costs, equal=equal_costs)
    lowering, chosen, limits = _chosen(job, rules, rises, belief.after, prices)
    thickness = _thickness(rules, rises, lowering)
    loads = clay_loads(WRONG_M * lot.area_m2, 0.0, job.hauling, job.bulking)
    return Decision(
        lot=lot,
        rules=rules,
        inputs=given,
        belief=belief,
        rises=rises,
        lowering=lowering,
        target=chosen,
        curve=None if prices is None else curve(rises, prices),
        effects=effects(given, rules),
        thickness=thickness,
        percent=float(rise.percent),
        field_mm=field_mm,
        more_mm=more_mm,
        mismatch_m=float(rise.mismatch_part),
        water_l_m2=water_l_m2(given),
        wrong_loads=loads,
        wrong_tonnes=gravel_tonnes(WRONG_M * lot.area_m2, job.hauling),
        limits=limits,
        given=job.given,
    )


def check_lot(lot: Lot) -> None:
    """Refuse a lot without area, or a surface that nobody knows.

    Raises
    ------
    JobError
    """
    if not (math.isfinite(lot.area_m2) and lot.area_m2 > 0):
        raise JobError(f"lot {lot.name}", f"has {lot.area_m2:g} m2", "shoot the surface first")
    if not (math.isfinite(lot.mean_error_m) and lot.mean_error_m >= 0):
        raise JobError(
            f"lot {lot.name}", f"its mean is known to +-{lot.mean_error_m:g} m", "shoot more of it"
        )


def _believed(rules: Stabilising, given: Inputs, lot: Lot, more_mm: float) -> tuple[Update, Floats]:
    """What is believed of the rise, and draws of it with the survey and the spots."""
    drawn = draws(given, rules)
    prior = Belief(float(np.median(drawn)), float(drawn.std()))
    belief = update(
        prior,
        rules.strips,
        spread_kg_m2=rules.spread_kg_m2,
        per_kg_m=more_mm / 1000,
        limit_m=rules.strip_limit_m,
        lot_error_m=rules.lot_error_m,
    )
    if belief.used:
        # the shape of the mass balance's doubt, narrowed to what the strip leaves
        drawn = belief.after.mean + (drawn - prior.mean) * (belief.after.sd / prior.sd)
    spots = rules.spot_error_m if rules.window == "closed" else 0.0
    random = np.random.default_rng(SURFACE_SEED)
    return belief, drawn + math.hypot(lot.mean_error_m, spots) * random.standard_normal(len(drawn))


SURFACE_SEED = 11


def _chosen(
    job: Job, rules: Stabilising, rises: Floats, belief: Belief, prices: Prices | None
) -> tuple[float | None, Target | None, tuple[str, ...]]:
    """How far to leave the clay low, the target it comes from, and limits that moved it."""
    step = rules.round_m
    chosen = None if prices is None else target(rises, prices, step)
    if rules.mode == "leave high and trim":
        lowering = step * math.floor((belief.mean - rules.trim_m) / step + 1e-9)
    elif chosen is None:
        return None, None, ()
    else:
        lowering = chosen.lowering
    limits: list[str] = []
    unit = measures(job.rounding)
    least = rules.least_thickness_m
    if least is not None and rules.mixing_depth_m + lowering < least - 1e-9:
        needed = step * math.ceil((least - rules.mixing_depth_m) / step - 1e-9)
        limits.append(
            f"left {unit.fine(needed - lowering)} {unit.fine_unit} lower than it would be: the"
            f" layer must be {unit.fine(least)} {unit.fine_unit} thick after trimming"
        )
        lowering = needed
    if least is not None and rules.mixing_depth_m + float(np.quantile(rises, 0.1)) < least - 1e-9:
        limits.append(
            f"where the clay rises least the layer is thinner than {unit.fine(least)}"
            f" {unit.fine_unit}: mix deeper"
        )
    return round(lowering, 9), chosen, tuple(limits)


def _thickness(rules: Stabilising, rises: Floats, lowering: float | None) -> Thickness | None:
    """Of the finished layer: ``t + p`` where it is trimmed, ``t + dh`` where it falls short."""
    if lowering is None:
        return None
    depth = rules.mixing_depth_m
    short = depth + min(lowering, float(np.quantile(rises, 0.1)))
    return Thickness(depth + lowering, short, rules.least_thickness_m)
