"""The shot edge against its line: where clay stands into the path, and where it falls short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from pipeline.compare.streets import edge_name, streets_of
from pipeline.crew.stretches import (
    Tape,
    carried,
    edge_layer,
    edge_tape,
    metre_beside,
    outermost,
    stations,
    true_runs,
)
from pipeline.design import alignment as line
from pipeline.design import feet as feet_of
from pipeline.model import Bools, Corridor, Floats, Shots, Surface
from pipeline.model.arrays import lock_fields
from pipeline.settings import Code
from pipeline.settings_crew import ShotEdgeRules
from pipeline.surface import locate
from pipeline.surface.lines import meaning

STEP_M = 0.02
"""The edge is looked at each so many metres."""
_SAME_M = 0.001  # two shots of one edge closer along the street than this are one
_ACROSS = 5

Verdict = Literal["STOP", "PAINT", "WATCH", "SHORT"]
_WORST_FIRST = {"STOP": 0, "PAINT": 1, "WATCH": 2, "SHORT": 3}


@dataclass(frozen=True, slots=True, eq=False)
class EdgeLine:
    """The edge as shot on one side, n shots in order of station.

    ``outward`` is how far each lies beyond the design's edge [m]: negative is clay in
    the path. Between two shots it is linear in station: there the edge is taken to bend
    as the design does, so a true curve is no fault. ``tape`` lies along the design's edge.
    """

    side: int
    station: Floats
    outward: Floats
    tape: Tape

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "outward"), (np.float64, (n,))))

    def at(self, station: Floats) -> Floats:
        """`outward` at stations; NaN off the ends."""
        return np.interp(station, self.station, self.outward, left=np.nan, right=np.nan)

    def gap(self, station: Floats) -> Floats:
        """Distance along the edge between the shots beside a station [m]; NaN off the ends."""
        k = np.clip(np.searchsorted(self.station, station, side="right"), 1, len(self.station) - 1)
        apart = self.apart[k - 1]
        on = (station >= self.station[0]) & (station <= self.station[-1])
        return np.where(on, apart, np.nan)

    @property
    def apart(self) -> Floats:
        """Distance from each shot to the next along the edge [m], (n - 1,)."""
        return np.diff(self.tape.at(self.station))

    @property
    def length_m(self) -> float:
        """From the first shot to the last along the edge [m]."""
        return float(self.apart.sum())


def edge_lines(
    corridor: Corridor, layer: str, shots: Shots, codes: Mapping[str, Code]
) -> tuple[EdgeLine, ...]:
    """The shot edges of a layer: shots whose code names its outermost break.

    A side is cut where two shots are farther apart than their code allows, for nobody
    knows what lies between. Left first, then right, by station.

    Parameters
    ----------
    corridor : Corridor
    layer : str
        A section layer.
    shots : Shots
        Those in the ground surface.
    codes : mapping of str to Code
    """
    found = []
    for side in (-1, 1):
        of_code = {
            name: code
            for name in sorted(set(shots.code.tolist()))
            if (code := meaning(name, dict(codes))) is not None
            and code.break_name == edge_name(corridor.layer(layer), side)
        }
        rows = np.flatnonzero(np.isin(shots.code, list(of_code)))
        if len(rows) < 2:
            continue
        longest = min(code.max_step_m for code in of_code.values())
        at = feet_of.locate(corridor.alignment, shots.easting[rows], shots.northing[rows])
        here = (np.sign(at.offset) == side) & (at.beyond == 0)
        found += _pieces(corridor, layer, side, (at.station[here], at.offset[here]), longest)
    return tuple(found)


def longest_step(corridor: Corridor, layer: str, codes: Mapping[str, Code]) -> float:
    """The longest step that a code of the layer's edge allows [m]; 0 where there is none."""
    if not layer:
        return 0.0
    names = {edge_name(corridor.layer(layer), side) for side in (-1, 1)}
    steps = [code.max_step_m for code in codes.values() if code.break_name in names]
    return max(steps, default=0.0)


def edges_by_street(
    corridor: Corridor, target: str, shots: Shots, codes: Mapping[str, Code]
) -> dict[str, tuple[EdgeLine, ...]]:
    """`edge_lines` of every part of a design, by name; a shot belongs to the nearest edge.

    Parameters
    ----------
    corridor : Corridor
    target : str
        Today's layer; a part without edges of it goes by its lowest layer that has some.
    shots, codes
        As for `edge_lines`.
    """
    streets = streets_of(corridor)
    layers = {street.name: edge_layer(street.corridor, target) for street in streets}
    if not corridor.parts:
        (layer,) = layers.values()
        return {corridor.name: edge_lines(corridor, layer, shots, codes) if layer else ()}
    ends = [_outer_offset(street.corridor, layers[street.name], shots) for street in streets]
    owner = np.argmin(np.stack(ends), axis=0)
    return {
        street.name: edge_lines(street.corridor, layers[street.name], shots.take(owner == k), codes)
        if layers[street.name]
        else ()
        for k, street in enumerate(streets)
    }


def _outer_offset(corridor: Corridor, layer: str, shots: Shots) -> Floats:
    """Distance of every shot from the edge on its side; infinite where there is none."""
    away = np.full(len(shots.easting), np.inf)
    if not layer:
        return away
    at = feet_of.locate(corridor.alignment, shots.easting, shots.northing)
    for side in (-1, 1):
        rows = np.flatnonzero((side * at.offset >= 0) & (at.beyond == 0))
        edge, _ = outermost(corridor, layer, side, at.station[rows])
        away[rows] = np.where(np.isfinite(edge), np.abs(at.offset[rows] - edge), np.inf)
    return away


def _pieces(
    corridor: Corridor, layer: str, side: int, shot: tuple[Floats, Floats], longest: float
) -> list[EdgeLine]:
    order = np.argsort(shot[0], kind="stable")
    station, offset = shot[0][order], shot[1][order]
    apart = np.flatnonzero(np.diff(station, prepend=-np.inf) > _SAME_M)
    station, offset = station[apart], offset[apart]
    limit, _ = outermost(corridor, layer, side, station)
    outward = side * (offset - limit)
    known = np.isfinite(outward)
    station, outward = station[known], outward[known]
    if len(station) < 2:
        return []
    tape = edge_tape(corridor, layer, side, station)
    parted = np.diff(tape.at(station)) > longest
    if corridor.parts:
        parted |= _mouth_between(corridor, layer, side, station)
    cuts = np.flatnonzero(parted) + 1
    parts = zip(np.split(station, cuts), np.split(outward, cuts), strict=True)
    return [EdgeLine(side, s, o, tape) for s, o in parts if len(s) > 1]


def _mouth_between(corridor: Corridor, layer: str, side: int, station: Floats) -> Bools:
    """True for each two neighbouring shots between which the street's edge is interrupted."""
    every = stations(corridor, 0.5)
    edge, _ = outermost(corridor, layer, side, every)
    mouth = every[np.isnan(edge)]
    k = np.searchsorted(mouth, station)
    return np.asarray(k[1:] > k[:-1])


@dataclass(frozen=True, slots=True)
class EdgeSpot:
    """One place where the edge leaves its line.

    ``amount_m`` is the most that stands in (+) or is short (-), at ``station``;
    ``length_m`` is over how much of the edge it is past the watch limit; ``volume_m3`` what
    stands in. ``shot_gap_m`` is the distance along the edge between the shots there.
    """

    side: int
    start: float
    end: float
    station: float
    amount_m: float
    length_m: float
    volume_m3: float
    verdict: Verdict
    shot_gap_m: float


def edge_spots(
    design: tuple[Corridor, str],
    ground: Surface,
    lines: Sequence[EdgeLine],
    rules: ShotEdgeRules,
) -> tuple[EdgeSpot, ...]:
    """Every place where a shot edge leaves its line by more than the watch limit.

    STOP: stands in by ``stop_m`` or more anywhere. PAINT: by ``paint_m`` over
    ``paint_length_m``. WATCH: less. SHORT: the clay does not reach the line. The worst
    first, then by amount.
    """
    found = []
    for edge in lines:
        station = np.unique(
            np.concatenate([np.arange(edge.station[0], edge.station[-1], STEP_M), edge.station])
        )
        stands_in = -edge.at(station)
        for flags, sign in ((stands_in > rules.watch_m, 1), (stands_in < -rules.watch_m, -1)):
            found += [_Run(edge, station[a:b], stands_in[a:b], sign) for a, b in true_runs(flags)]
    volumes = _volumes(design, ground, found)
    spots = [_spot(run, volume, rules) for run, volume in zip(found, volumes, strict=True)]
    return tuple(sorted(spots, key=worst_first))


def worst_first(spot: EdgeSpot) -> tuple[int, float, float, int]:
    """What spots are sorted by: their verdict, how far they stand in, then where they are."""
    return _WORST_FIRST[spot.verdict], -abs(spot.amount_m), spot.station, spot.side


class _Run(NamedTuple):
    """Places of one edge that are past the watch limit: in (sign + 1) or short (- 1)."""

    edge: EdgeLine
    station: Floats
    stands_in: Floats
    sign: int


def _spot(run: _Run, volume: float, rules: ShotEdgeRules) -> EdgeSpot:
    worst = int(np.argmax(np.abs(run.stands_in)))
    amount = float(run.stands_in[worst])
    verdict: Verdict = "WATCH"
    steps = np.diff(run.edge.tape.at(run.station))
    painted = float(steps[_both(run.stands_in > rules.paint_m)].sum())
    if run.sign < 0:
        verdict = "SHORT"
    elif amount >= rules.stop_m - 1e-9:
        verdict = "STOP"
    elif amount > rules.paint_m and painted >= rules.paint_length_m:
        verdict = "PAINT"
    return EdgeSpot(
        side=run.edge.side,
        start=float(run.station[0]),
        end=float(run.station[-1]),
        station=float(run.station[worst]),
        amount_m=amount,
        length_m=float(steps.sum()),
        volume_m3=volume,
        verdict=verdict,
        shot_gap_m=float(run.edge.gap(run.station[worst : worst + 1])[0]),
    )


def _both(flags: Bools) -> Bools:
    """True for each step whose two ends are both flagged."""
    return np.asarray(flags[:-1] & flags[1:])


def _volumes(design: tuple[Corridor, str], ground: Surface, found: list[_Run]) -> list[float]:
    """Clay above the layer between edge and line of each run [m3], all looked up at once.

    Places that nobody shot count nothing, and so does a run that is short.
    """
    if not found:
        return []
    corridor, layer = design
    share = (np.arange(_ACROSS) + 0.5) / _ACROSS
    s, o = [], []
    for run in found:
        limit, _ = outermost(corridor, layer, run.edge.side, run.station)
        s.append(np.repeat(run.station, _ACROSS))
        o.append((limit[:, None] - run.edge.side * run.stands_in[:, None] * share).ravel())
    station, offset = np.concatenate(s), np.concatenate(o)
    easting, northing, _ = line.point_at(corridor.alignment, station, offset)
    floor = carried(corridor, layer, station, offset)
    height = np.nan_to_num(locate.interpolate(ground, easting, northing) - floor)
    solid = np.clip(height, 0.0, None) * metre_beside(corridor.alignment, station, offset)
    mean = solid.reshape(-1, _ACROSS).mean(axis=1)
    bounds = np.cumsum([len(run.station) for run in found])[:-1]
    return [
        float(np.trapezoid(part * np.clip(run.stands_in, 0.0, None), run.station))
        for run, part in zip(found, np.split(mean, bounds), strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Seen:
    """What the shots of one edge line could see: a nose shorter than this may hide."""

    side: int
    start: float
    end: float
    length_m: float
    shots: int
    smallest_nose_m: float
    """The widest gap between two neighbouring shots."""
    usual_gap_m: float


def seen(lines: Sequence[EdgeLine]) -> tuple[Seen, ...]:
    """For each edge line the smallest nose that the survey was sure to see."""
    return tuple(
        Seen(
            side=edge.side,
            start=float(edge.station[0]),
            end=float(edge.station[-1]),
            length_m=edge.length_m,
            shots=len(edge.station),
            smallest_nose_m=float(edge.apart.max()),
            usual_gap_m=float(np.median(edge.apart)),
        )
        for edge in lines
    )
