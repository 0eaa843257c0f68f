"""The backing bank behind the edge: its height, where it is missing, what building it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.crew.gaps import END_M, NOT_BY_EDGES, ShotSides, guesses
from pipeline.crew.stretches import (
    Tape,
    carried,
    lay_tape,
    metre_beside,
    outermost,
    runs,
    stations,
    true_runs,
)
from pipeline.design import alignment as line
from pipeline.model import Corridor, Floats, Surface
from pipeline.settings_crew import BankRules
from pipeline.surface import locate

ALONG_M, ACROSS_M = 0.10, 0.05

State = Literal["OK", "LOW", "MISSING", "HIGH", "HEAVY", "NOT SHOT"]


@dataclass(frozen=True, slots=True)
class BankRun:
    """A length of one side on which the bank is in one state.

    ``length_m`` is along the edge; ``crest_m`` its mean height above the layer, NaN where not
    shot; ``build_m3`` what it takes to build it up to the middle of the band, compacted.
    """

    side: int
    start: float
    end: float
    length_m: float
    state: State
    crest_m: float
    build_m3: float


@dataclass(frozen=True, slots=True)
class Bank:
    """The bank along both sides, measured from one layer."""

    layer: str
    runs: tuple[BankRun, ...]

    def length(self, state: str, side: int) -> float:
        """Metres of one side in a state."""
        return sum(run.length_m for run in self.runs if (run.state, run.side) == (state, side))


def bank_layer(corridor: Corridor, target: str, rules: BankRules) -> str:
    """The layer that the bank is measured from: the one stated, or the one above today's."""
    if rules.layer:
        return rules.layer
    names = [layer.name for layer in corridor.layers if layer.surface is None]
    return names[max(0, names.index(target) - 1)] if target in names else target


def backing_bank(
    corridor: Corridor,
    target: str,
    ground: Surface,
    rules: BankRules,
    edges: ShotSides = NOT_BY_EDGES,
) -> Bank:
    """Height of the bank behind the edge of today's layer, every 0.10 m, in runs of one state.

    The crest is the highest ground within ``reach_m`` behind the edge. MISSING below
    ``missing_m``, LOW below ``least_m``, HIGH above ``most_m``, HEAVY above ``heavy_m``.
    Runs shorter than ``gap_m`` go with the run before them.

    Parameters
    ----------
    corridor : Corridor
    target : str
        Today's layer, which has edges.
    ground : Surface
    rules : BankRules
    edges : ShotSides
        Beside a gap in a shot edge the ground is a guess and counts as not shot.

    Notes
    -----
    The bank to build is a trapezium as high as the middle of the band, with the crest and
    sides of the rules, its foot at the edge; what stands above the layer within reach is
    taken off it. In a bend each is counted by the way of its own middle.
    """
    layer = bank_layer(corridor, target, rules)
    found: list[BankRun] = []
    for side in (-1, 1):
        station = stations(corridor, ALONG_M)
        edge, _ = outermost(corridor, target, side, station)
        # a mouth parts two banks
        for a, b in true_runs(np.isfinite(edge)):
            here = station[a:b]
            along = here, edge[a:b], side
            crest, build = _crest((corridor, layer), ground, along, rules, edges)
            tape = lay_tape(corridor.alignment, here, edge[a:b])
            state = _smoothed(_states(crest, rules), tape.distance, rules.gap_m)
            found += _runs(side, tape, state, (crest, build))
    return Bank(layer, tuple(found))


def _crest(
    design: tuple[Corridor, str],
    ground: Surface,
    along: tuple[Floats, Floats, int],
    rules: BankRules,
    edges: ShotSides,
) -> tuple[Floats, Floats]:
    """Crest above the layer at the edge [m], and bank to build a metre of the line [m3], (n,)."""
    (corridor, layer), (station, edge, side) = design, along
    out = np.arange(0.0, rules.reach_m + 1e-9, ACROSS_M)
    beside = edge[:, None] + side * out
    easting, northing, _ = line.point_at(corridor.alignment, station[:, None], beside)
    plane = carried(corridor, layer, station, edge)
    places = easting.ravel(), northing.ravel()
    z = locate.interpolate(ground, *places)
    z[guesses(ground, edges, (side, station), places)] = np.nan
    above = z.reshape(beside.shape) - plane[:, None]
    unseen = np.isnan(above)
    crest = np.where(unseen, -np.inf, above).max(axis=1)
    # ground that nobody shot could hide a crest, and could hide that there is none
    doubtful = unseen.any(axis=1) & (crest < rules.least_m)
    crest = np.where(doubtful | ~np.isfinite(crest), np.nan, crest)
    height = 0.5 * (rules.least_m + rules.most_m)
    half_base = 0.5 * rules.crest_m + rules.side_slope * height
    middle = metre_beside(corridor.alignment, station, edge + side * half_base)
    wanted = height * (rules.crest_m + rules.side_slope * height) * middle
    stands = np.clip(np.nan_to_num(above), 0.0, height)
    stands *= metre_beside(corridor.alignment, station[:, None], beside)
    there = np.trapezoid(stands, dx=ACROSS_M, axis=1)
    return crest, np.clip(wanted - there, 0.0, None)


def _states(crest: Floats, rules: BankRules) -> list[State]:
    limits = [rules.missing_m, rules.least_m, rules.most_m + 1e-9, rules.heavy_m + 1e-9]
    names: list[State] = ["MISSING", "LOW", "OK", "HIGH", "HEAVY"]
    # a crest at exactly 0.20 or 0.30 m is within the band
    row = np.searchsorted(np.array(limits), crest + 1e-9, side="right")
    return ["NOT SHOT" if np.isnan(z) else names[int(k)] for z, k in zip(crest, row, strict=True)]


def _smoothed(state: list[State], along: Floats, gap_m: float) -> list[State]:
    """Runs no longer than `gap_m` take the state of the run before.

    At the ends of the street the last row of shots is never quite square to the line, so
    a first or last run no longer than `END_M` takes the state of its neighbour.
    """
    kept = list(state)
    parts = runs(state)
    for a, b in parts:
        if a > 0 and b < len(state) and along[b] - along[a] <= gap_m:
            kept[a:b] = [kept[a - 1]] * (b - a)
    if len(parts) > 1:
        (_, first), (last, _) = parts[0], parts[-1]
        if along[first] - along[0] <= END_M:
            kept[:first] = [kept[first]] * first
        if along[-1] - along[last] <= END_M:
            kept[last:] = [kept[last - 1]] * (len(state) - last)
    return kept


def _runs(side: int, tape: Tape, state: list[State], of: tuple[Floats, Floats]) -> list[BankRun]:
    station, (crest, build) = tape.station, of
    found = []
    for a, b in runs(state):
        last = min(b, len(station) - 1)
        shot = crest[a:b][np.isfinite(crest[a:b])]
        volume = 0.0
        if state[a] in {"LOW", "MISSING"}:
            volume = float(np.trapezoid(build[a : last + 1], station[a : last + 1]))
        found.append(
            BankRun(
                side=side,
                start=float(station[a]),
                end=float(station[last]),
                length_m=float(tape.distance[last] - tape.distance[a]),
                state=state[a],
                crest_m=float(shot.mean()) if len(shot) else float("nan"),
                build_m3=volume,
            )
        )
    return found
