"""Where to push the dirt: the cheapest way from cut to fill, with borrow and waste."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.compare.bulking import in_state
from pipeline.compare.intervals import Intervals
from pipeline.crew.measures import METRIC, Measures
from pipeline.design.equations import named
from pipeline.errors import JobError
from pipeline.model import Alignment, Floats, Ints, Table, Texts, texts
from pipeline.model.arrays import lock_fields
from pipeline.settings_earthwork import Bulking, Costs, Hauling

LEAST_M3 = 1e-9
EQUAL = "equal costs"
STATED = "costs of the job"
FAR = 10.0
"""With equal costs, borrow and waste cost this many lengths of the street: only what must be."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Cost of a bank cubic metre: a metre by blade, loading, a metre by truck, borrow, waste."""

    blade_m: float
    truck: float
    truck_m: float
    borrow: float
    waste: float
    origin: str
    currency: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """n moves of earth, bank cubic metres: from stretch to stretch, -1 for outside.

    ``way`` is ``within`` a stretch, ``blade``, ``truck``, ``borrow`` or ``waste``;
    ``start`` and ``end`` are stations, NaN outside; ``cost`` in the rates' currency, or
    in cubic metres times metres where the costs are equal.
    """

    source: Ints
    sink: Ints
    start: Floats
    end: Floats
    bank_m3: Floats
    way: Texts
    cost: Floats

    def __post_init__(self) -> None:
        n = len(self.source)
        numbers = dict.fromkeys(("start", "end", "bank_m3", "cost"), (np.float64, (n,)))
        whole = dict.fromkeys(("source", "sink"), (np.int64, (n,)))
        lock_fields(self, {**numbers, **whole, "way": (object, (n,))})

    def __len__(self) -> int:
        return len(self.source)

    @property
    def distance(self) -> Floats:
        """Along the street [m], NaN for what comes from outside or leaves."""
        return np.asarray(np.abs(self.end - self.start))

    def total(self, way: str) -> float:
        """Bank cubic metres that go this way."""
        return float(self.bank_m3[self.way == way].sum())


@dataclass(frozen=True, slots=True, eq=False)
class MassHaul:
    """Ordinates of the mass diagram [bank m3] at k + 1 stations, from zero at the first.

    Rising where there is more cut than the fill needs. ``balance`` are stations where
    the curve comes back to zero: what lies between them needs nothing from outside.
    """

    station: Floats
    ordinate: Floats
    balance: Floats

    def __post_init__(self) -> None:
        k = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "ordinate"), (np.float64, (k,))))
        lock_fields(self, {"balance": (np.float64, (len(self.balance),))})


@dataclass(frozen=True, slots=True)
class HaulSummary:
    """How far earth is moved along the street, and what a contract's free haul leaves of it.

    ``moment`` is cubic metres times metres; ``overhaul`` the part of it beyond the free
    haul, NaN where no free haul is stated.
    """

    mean_haul_m: float
    farthest_m: float
    moment: float
    free_haul_m: float
    overhaul: float


def rates_of(costs: Costs, *, equal: bool) -> Rates | None:
    """The job's rates, equal ones if asked for, or None: then nothing is planned.

    Raises
    ------
    JobError
        Some of the five are missing, or one is negative.
    """
    if equal:
        return Rates(1.0, 0.0, 1.0, 0.0, 0.0, EQUAL)
    names = ("blade_per_m3_m", "truck_per_m3", "truck_per_m3_m", "borrow_per_m3", "waste_per_m3")
    values = [getattr(costs, name) for name in names]
    if all(value is None for value in values):
        return None
    for name, value in zip(names, values, strict=True):
        if value is None:
            raise JobError(f"costs.{name}", "is not stated, though others are", "state all five")
        if not (np.isfinite(value) and value >= 0):
            raise JobError(f"costs.{name}", f"found {value:g}", "give a cost of zero or more")
    blade, truck, truck_m, borrow, waste = (float(value) for value in values)
    return Rates(blade, truck, truck_m, borrow, waste, STATED, costs.currency)


def demands(stretches: Intervals, bulking: Bulking) -> tuple[Floats, Floats]:
    """Bank cubic metres that each stretch gives and needs: fill is compacted, so it needs more."""
    need = in_state(np.nan_to_num(stretches.fill_m3), "compacted", "bank", bulking)
    return np.nan_to_num(stretches.cut_m3), np.asarray(need)


def plan(
    middle: ArrayLike, gives: ArrayLike, needs: ArrayLike, rates: Rates, hauling: Hauling
) -> Moves:
    r"""The moves that cost least in all.

    Parameters
    ----------
    middle : array_like, shape (k,)
        Rising stations of the middles of the stretches [m].
    gives, needs : array_like, shape (k,)
        Bank cubic metres, see `demands`.
    rates : Rates
    hauling : Hauling
        How far the blade carries.

    Returns
    -------
    Moves
        In order of station of the source, then of the sink, borrow and waste last.

    Raises
    ------
    JobError
        A negative amount, or the programme could not be solved.

    Notes
    -----
    A linear programme: :math:`\min \sum c_{ij} x_{ij}` with
    :math:`\sum_j x_{ij} + w_i = gives_i`, :math:`\sum_i x_{ij} + b_j = needs_j`, all at
    least zero, solved by the HiGHS solver of scipy. Up to the blade's limit the
    cheaper of blade and truck is taken, beyond it the truck. Within a stretch the
    earth moves no distance. With equal costs only distance counts, and borrow and
    waste cost more than any haul, so they take what is over or lacks.
    """
    at, have, want = (np.asarray(v, dtype=np.float64) for v in (middle, gives, needs))
    for name, values in (("cut", have), ("fill", want)):
        if not (np.isfinite(values).all() and (values >= 0).all()):
            raise JobError(f"haul, {name}", f"found {values.min():g} m3", "give zero or more")
    sources, sinks = np.flatnonzero(have > LEAST_M3), np.flatnonzero(want > LEAST_M3)
    apart = np.abs(at[sources][:, None] - at[sinks])
    blade = np.where(apart <= hauling.blade_limit_m + 1e-9, rates.blade_m * apart, np.inf)
    truck = rates.truck + rates.truck_m * apart
    cost = np.minimum(blade, truck)
    outside = FAR * float(np.ptp(at)) + 1.0 if rates.origin == EQUAL and len(at) else 0.0
    borrow, waste = rates.borrow + outside, rates.waste + outside
    amounts = _solved(cost, have[sources], want[sinks], (borrow, waste))
    moved, over, lacking = amounts
    i, j = np.nonzero(moved > LEAST_M3)
    out, into = np.flatnonzero(over > LEAST_M3), np.flatnonzero(lacking > LEAST_M3)
    ways = ["blade" if by_blade else "truck" for by_blade in blade[i, j] <= truck[i, j]]
    same = sources[i] == sinks[j]
    ways = ["within" if here else way for here, way in zip(same, ways, strict=True)]
    nowhere = -np.ones(1, dtype=np.int64)
    source = np.concatenate((sources[i], sources[out], np.repeat(nowhere, len(into))))
    sink = np.concatenate((sinks[j], np.repeat(nowhere, len(out)), sinks[into]))
    bank = np.concatenate((moved[i, j], over[out], lacking[into]))
    each = np.concatenate(
        (cost[i, j], np.full(len(out), rates.waste), np.full(len(into), rates.borrow))
    )
    stations = np.append(at, np.nan)
    way = texts([*ways, *["waste"] * len(out), *["borrow"] * len(into)])
    return Moves(source, sink, stations[source], stations[sink], bank, way, bank * each)


def _solved(
    cost: Floats, have: Floats, want: Floats, outside: tuple[float, float]
) -> tuple[Floats, Floats, Floats]:
    """Moved (sources, sinks), wasted (sources) and borrowed (sinks) amounts of least cost."""
    n, m = cost.shape
    if n * m == 0:
        return np.zeros((n, m)), have.copy(), want.copy()
    from scipy.optimize import linprog
    from scipy.sparse import block_array, csr_array, eye_array, kron

    gives: Any = [kron(eye_array(n), np.ones((1, m))), eye_array(n), csr_array((n, m))]
    takes: Any = [kron(np.ones((1, n)), eye_array(m)), csr_array((m, n)), eye_array(m)]
    balances: Any = block_array([gives, takes], format="csr")
    # cubic metres of a street are small numbers: scaled so that tolerances are relative
    scale = float(max(have.max(), want.max()))
    prices = np.concatenate((cost.ravel(), np.full(n, outside[1]), np.full(m, outside[0])))
    found = linprog(
        prices,
        A_eq=balances,
        b_eq=np.concatenate((have, want)) / scale,
        method="highs-ds",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if found.status != 0:
        raise JobError("haul", f"no plan was found: {found.message}", "check the costs")
    moved = np.maximum(np.asarray(found.x)[: n * m] * scale, 0.0).reshape(n, m)
    # what is left of a stretch leaves, what it lacks comes: to the last drop, not to a tolerance
    over, lacking = have - moved.sum(axis=1), want - moved.sum(axis=0)
    return moved, np.maximum(over, 0.0), np.maximum(lacking, 0.0)


def mass_haul(stretches: Intervals, bulking: Bulking) -> MassHaul:
    """The mass diagram: cut less what the fill needs, added up along the street [bank m3].

    Notes
    -----
    Straight within a stretch. For a street that balances and earth that costs what it
    is carried, the least haul moment is the area between this curve and zero: the
    classic rule, which checks the linear programme.
    """
    known = np.isfinite(stretches.start) & np.isfinite(stretches.end)
    gives, needs = demands(stretches, bulking)
    station = np.append(stretches.start[known], stretches.end[known][-1:])
    ordinate = np.concatenate(([0.0], np.cumsum((gives - needs)[known])))
    a, b = ordinate[:-1], ordinate[1:]
    crosses = np.flatnonzero(a * b < 0)
    share = a[crosses] / (a[crosses] - b[crosses])
    at = station[crosses] + share * (station[crosses + 1] - station[crosses])
    return MassHaul(station, ordinate, at)


def summary(moves: Moves, hauling: Hauling) -> HaulSummary:
    """Haul moment, mean and farthest haul, and what lies beyond the free haul."""
    inside = (moves.source >= 0) & (moves.sink >= 0)
    volume, distance = moves.bank_m3[inside], moves.distance[inside]
    moment, total = float(volume @ distance), float(volume.sum())
    free = hauling.free_haul_m
    beyond = float("nan") if free is None else float(volume @ np.maximum(distance - free, 0.0))
    return HaulSummary(
        mean_haul_m=moment / total if total > 0 else 0.0,
        farthest_m=float(distance.max()) if len(distance) else 0.0,
        moment=moment,
        free_haul_m=float("nan") if free is None else free,
        overhaul=beyond,
    )


def table(moves: Moves, line: Alignment | None = None, unit: Measures = METRIC) -> Table:
    """``haul``: a row a move, in driving order; stations as `line` names them.

    Metric for software; a page has the crew's unit.
    """
    rows = tuple(
        (
            named(line, moves.start[k]) or "outside",
            named(line, moves.end[k]) or "outside",
            str(moves.way[k]),
            unit.volume(moves.bank_m3[k]),
            unit.long(moves.distance[k], 1.0),
        )
        for k in range(len(moves))
        if moves.bank_m3[k] >= SHOWN_M3
    )
    columns = (
        "from_station",
        "to_station",
        "way",
        f"bank_{unit.volume_unit}",
        f"distance_{unit.unit}",
    )
    return Table("haul", columns, rows, frozenset({"from_station", "to_station", "way"}))


SHOWN_M3 = 0.05
"""Less than half a wheelbarrow is not written; the totals hold it."""


def words(
    moves: Moves, found: HaulSummary, rates: Rates, unit: Measures = METRIC
) -> tuple[str, ...]:
    """The plan in a few lines."""

    def by(way: str) -> str:
        return f"{unit.volume(moves.total(way))} {unit.volume_unit}"

    moment = unit.volume(unit.of_long(found.moment), 1.0)
    per = f"{unit.volume_unit} {unit.unit}"
    said = [
        (
            f"{by('within')} evened out within its stretch, {by('blade')} by blade,"
            f" {by('truck')} by truck, {by('borrow')} borrow, {by('waste')} waste (bank)"
        ),
        (
            f"mean haul {unit.long(found.mean_haul_m, 1.0)} {unit.unit}, farthest"
            f" {unit.long(found.farthest_m, 1.0)} {unit.unit}, haul moment {moment} {per}"
        ),
    ]
    if np.isnan(found.free_haul_m):
        said.append("free haul not stated in the job: no overhaul worked out")
    else:
        over = unit.volume(unit.of_long(found.overhaul), 1.0)
        free = f"{unit.long(found.free_haul_m, 1.0)} {unit.unit}"
        said.append(f"beyond the free haul of {free}: {over} {per} overhaul")
    if rates.origin == EQUAL:
        said.append("equal costs, as asked for: the least metres, blade within its reach")
    else:
        cost = f"{moves.cost.sum():.0f} {rates.currency}".rstrip()
        said.append(f"costs of the job: {cost} in all")
    said.append("raw clay only: never carry stabilised clay after its window")
    return tuple(said)
