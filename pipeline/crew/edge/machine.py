"""The room that the curb machine needs, and everything that stands in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.compare.streets import break_beside
from pipeline.crew.gaps import NOT_BY_EDGES, ShotSides, guesses
from pipeline.crew.hubs.references import layer_with
from pipeline.crew.stretches import (
    carried,
    lay_tape,
    metre_beside,
    outermost,
    runs,
    stations,
    stood_for,
    true_runs,
)
from pipeline.design import alignment as line
from pipeline.design import feet as feet_of
from pipeline.model import Bools, Corridor, Floats, Surface, Texts
from pipeline.model.arrays import lock_fields
from pipeline.settings_crew import MachineRules
from pipeline.surface import locate

ALONG_M, ACROSS_M = 0.10, 0.05
"""The room is looked at on a net of this step."""
ASIDE_M = 0.50
"""Shots this far beside the room still tell about it [assumed]."""

State = Literal["CLEAR", "CONFLICT", "LOW", "NOT SHOT"]


@dataclass(frozen=True, slots=True, eq=False)
class Objects:
    """Things that stand: name, place on the grid, n of them."""

    name: Texts
    easting: Floats
    northing: Floats

    def __post_init__(self) -> None:
        n = len(self.easting)
        lock_fields(self, {"name": (object, (n,))})
        lock_fields(self, dict.fromkeys(("easting", "northing"), (np.float64, (n,))))


@dataclass(frozen=True, slots=True)
class Conflict:
    """One thing in the machine's room, between two stations.

    ``what`` is ``clay``, ``bank``, ``pad low`` or the name of an object. ``height_m`` is
    the most above the floor, for a low pad the most below it; ``length_m`` is measured along
    the line on which that lies, ``width_m`` is how far it reaches across, ``volume_m3`` what
    is to be taken away, for a low pad the concrete that it costs.
    """

    side: int
    start: float
    end: float
    length_m: float
    station: float
    offset: float
    what: str
    height_m: float
    width_m: float
    volume_m3: float


@dataclass(frozen=True, slots=True)
class PathRun:
    """A length of one side in one state, measured along the middle of the room.

    CLEAR is said only where shots are close enough.
    """

    side: int
    start: float
    end: float
    length_m: float
    state: State


@dataclass(frozen=True, slots=True)
class Path:
    """The machine's path along both sides of the street.

    ``smallest_nose_m`` is the shortest thing the survey was sure to see on the left and
    on the right: the widest gap between shots of the path; infinite where there are none.
    """

    layer: str
    runs: tuple[PathRun, ...]
    conflicts: tuple[Conflict, ...]
    smallest_nose_m: tuple[float, float]

    def length(self, state: str, side: int) -> float:
        """Metres of one side in a state."""
        return sum(run.length_m for run in self.runs if (run.state, run.side) == (state, side))


def pad_concrete_m3(low_m: float, width_m: float, length_m: float) -> float:
    """Concrete that a pad costs which is low by `low_m` over a width and a length [m3].

    Examples
    --------
    >>> round(pad_concrete_m3(0.020, 0.6, 100.0), 3)
    1.2
    """
    return low_m * width_m * length_m


@dataclass(frozen=True, slots=True, eq=False)
class _Net:
    """The room of one side: k stations by c places across, from the road outward.

    ``along`` is the distance along the middle of the room [m]; ``wide`` the width of each
    station's places [m], and ``metre`` how long a metre of the line is beside each of them.
    ``height`` is ground above floor [m], NaN where not shot; ``in_mould`` is True between the
    breaks that the mould lies between; ``beyond`` is True past the edge of the layer.
    """

    side: int
    station: Floats
    along: Floats
    offset: Floats
    wide: Floats
    metre: Floats
    height: Floats
    in_mould: Bools
    beyond: Bools


def machine_path(
    design: tuple[Corridor, str],
    ground: Surface,
    shot: tuple[Floats, Floats],
    objects: Objects,
    rules: MachineRules,
    edges: ShotSides = NOT_BY_EDGES,
) -> Path:
    """Everything that stands in the machine's room, and where the room is known to be free.

    The room reaches from ``inside_m`` on the road side of the inner break to ``outside_m``
    behind the outer one. Its floor is the layer of `design`, carried on past its edge.

    Parameters
    ----------
    design : tuple of Corridor and str
    ground : Surface
    shot : tuple of ndarray, shape (n,)
        Easting and northing of the shots in the surface.
    objects : Objects
        Poles, lids, hubs: whatever stands or lies in the way.
    rules : MachineRules
    edges : ShotSides
        Beside a gap in a shot edge, triangles reach from bank to bank or to the crown: ground
        there is a guess and counts as not shot.

    Raises
    ------
    DesignError
        No layer has the inner or the outer break.

    Notes
    -----
    Clay counts where it stands above the floor by more than the machine trims.
    ``CLEAR`` needs ground at every place of the net and shots in the path, or within
    0.5 m of it, no farther apart along the middle of the room than ``coverage_m``. Lengths
    and widths come from a net of 0.10 m by 0.05 m.
    """
    corridor, layer = design
    found_runs: list[PathRun] = []
    conflicts: list[Conflict] = []
    noses = []
    shots_at = feet_of.locate(corridor.alignment, *shot)
    objects_at = feet_of.locate(corridor.alignment, objects.easting, objects.northing)
    for side in (-1, 1):
        widest = []
        for station in _whole_stretches(corridor, side, rules):
            net = _net((corridor, layer), ground, (side, station), rules, edges)
            covered, nose = _coverage(net, (shots_at.station, shots_at.offset), rules)
            found = _clay(net, rules) + _low(net, rules)
            found += _objects(net, objects.name, (objects_at.station, objects_at.offset))
            found_runs += _states(net, covered, found)
            conflicts += found
            widest.append(nose)
        noses.append(max(widest, default=float("inf")))
    conflicts.sort(key=lambda x: (x.side, x.start, x.what))
    return Path(layer, tuple(found_runs), tuple(conflicts), (noses[0], noses[1]))


def room(
    corridor: Corridor, side: int, station: Floats, rules: MachineRules
) -> tuple[Floats, Floats, Floats, Floats]:
    """Distances from the line at which room, mould, mould and room end, from inside out [m].

    NaN where the section has no such breaks.
    """
    ends = []
    for name in (rules.inner, rules.outer):
        layer = corridor.layer(layer_with(corridor, name))
        offset, _ = break_beside(corridor, layer, name, side, station)
        ends.append(np.abs(offset))
    inner, outer = ends
    return inner - rules.inside_m, inner, outer, outer + rules.outside_m


def _whole_stretches(corridor: Corridor, side: int, rules: MachineRules) -> list[Floats]:
    """Stations of every stretch of a side along which there is a curb: a mouth parts two."""
    station = stations(corridor, ALONG_M)
    inside, _, _, outside = room(corridor, side, station, rules)
    known = true_runs(np.isfinite(inside) & np.isfinite(outside))
    return [station[a:b] for a, b in known if b - a > 1]


def _net(
    design: tuple[Corridor, str],
    ground: Surface,
    along: tuple[int, Floats],
    rules: MachineRules,
    edges: ShotSides,
) -> _Net:
    (corridor, layer), (side, station) = design, along
    inside, inner, outer, outside = room(corridor, side, station, rules)
    widest = float((outside - inside).max(initial=0.0))
    columns = max(2, round(widest / ACROSS_M))
    # cells of one size a station, each looked at in its middle
    share = (np.arange(columns) + 0.5) / columns
    away = inside[:, None] + (outside - inside)[:, None] * share
    offset = side * away
    easting, northing, _ = line.point_at(corridor.alignment, station[:, None], offset)
    floor = carried(corridor, layer, station, offset)
    places = easting.ravel(), northing.ravel()
    on_ground = locate.interpolate(ground, *places)
    on_ground[guesses(ground, edges, (side, station), places)] = np.nan
    edge, _ = outermost(corridor, layer, side, station)
    middle = lay_tape(corridor.alignment, station, side * 0.5 * (inside + outside))
    return _Net(
        side=side,
        station=station,
        along=middle.distance,
        offset=offset,
        wide=(outside - inside) / columns,
        metre=metre_beside(corridor.alignment, station[:, None], offset),
        height=on_ground.reshape(away.shape) - floor,
        in_mould=(away >= inner[:, None]) & (away <= outer[:, None]),
        beyond=away > np.abs(edge)[:, None],
    )


def _coverage(net: _Net, shots: tuple[Floats, Floats], rules: MachineRules) -> tuple[Bools, float]:
    """Stations known well enough to be called clear, and the widest gap between shots."""
    if not len(net.station):
        return np.zeros(0, dtype=bool), float("inf")
    at = np.sort(shots[0][_in_room(net, shots, ASIDE_M)])
    gap = _gaps(np.interp(at, net.station, net.along), net.along)
    widest = float(gap.max())
    whole = np.isfinite(net.height).all(axis=1)
    return np.asarray(whole & (gap <= rules.coverage_m + 1e-9)), widest


def _in_room(net: _Net, at: tuple[Floats, Floats], aside_m: float) -> Bools:
    """Places by station and offset that lie in the room of a side, or so far beside it."""
    station, offset = at
    away = np.abs(net.offset)
    distance = net.side * offset
    nearest, farthest = away[:, 0].min() - aside_m, away[:, -1].max() + aside_m
    within = (distance >= nearest) & (distance <= farthest)
    station, distance = station[within], distance[within]
    low = np.interp(station, net.station, away[:, 0], left=np.inf, right=np.inf)
    high = np.interp(station, net.station, away[:, -1], left=-np.inf, right=-np.inf)
    within[within] = (distance >= low - aside_m) & (distance <= high + aside_m)
    return np.asarray(within)


def _gaps(at: Floats, along: Floats) -> Floats:
    """Distance between the shots that each place lies between [m]; infinite without shots.

    Beyond the first or last shot a place counts as looked at from half a gap away.
    """
    if not len(at):
        return np.full(len(along), np.inf)
    gap = np.where(along < at[0], 2.0 * (at[0] - along[0]), 2.0 * (along[-1] - at[-1]))
    between = (along >= at[0]) & (along <= at[-1])
    if len(at) > 1:
        k = np.clip(np.searchsorted(at, along, side="right"), 1, len(at) - 1)
        gap = np.where(between, at[k] - at[k - 1], gap)
    return np.asarray(gap, dtype=np.float64)


def _clay(net: _Net, rules: MachineRules) -> list[Conflict]:
    with np.errstate(invalid="ignore"):
        high = net.height > rules.trim_m
    found = []
    for a, b in true_runs(np.asarray(high.any(axis=1))):
        cells, height = high[a:b], np.where(high[a:b], net.height[a:b], 0.0)
        what = "bank" if net.beyond[a:b][cells].all() else "clay"
        found.append(_conflict(net, (a, b), cells, height, what))
    return found


def _low(net: _Net, rules: MachineRules) -> list[Conflict]:
    with np.errstate(invalid="ignore"):
        low = (net.height < -rules.low_m) & net.in_mould
    found = []
    for a, b in true_runs(np.asarray(low.any(axis=1))):
        cells, depth = low[a:b], np.where(low[a:b], -net.height[a:b], 0.0)
        found.append(_conflict(net, (a, b), cells, depth, "pad low"))
    return found


def _conflict(
    net: _Net, rows: tuple[int, int], cells: Bools, height: Floats, what: str
) -> Conflict:
    """One run of stations in which cells of the net are in the way."""
    a, b = rows
    wide, metre = net.wide[a:b], net.metre[a:b]
    area = (stood_for(net.station)[a:b] * wide)[:, None] * metre
    row, column = np.unravel_index(int(np.argmax(height)), height.shape)
    return Conflict(
        side=net.side,
        start=float(net.station[a]),
        end=float(net.station[b - 1]),
        length_m=float(np.trapezoid(metre[:, column], net.station[a:b])),
        station=float(net.station[a + row]),
        offset=float(net.offset[a + row, column]),
        what=what,
        height_m=float(height[row, column]),
        width_m=float((cells.sum(axis=1) * wide).max()),
        volume_m3=float((height * area).sum()),
    )


def _objects(net: _Net, names: Texts, at: tuple[Floats, Floats]) -> list[Conflict]:
    if not len(net.station):
        return []
    station, offset = at
    return [
        Conflict(net.side, float(station[k]), float(station[k]), 0.0, float(station[k]),
                 float(offset[k]), str(names[k]), float("nan"), float("nan"), 0.0)
        for k in np.flatnonzero(_in_room(net, at, 0.0))
    ]  # fmt: skip


def _states(net: _Net, covered: Bools, found: list[Conflict]) -> list[PathRun]:
    """The side cut into lengths: in conflict, low, free, or not known."""
    state = np.where(covered, "CLEAR", "NOT SHOT").astype(object)
    for what, word in (("pad low", "LOW"), ("", "CONFLICT")):
        for conflict in found:
            if (conflict.what == "pad low") == (what == "pad low"):
                inside = net.station >= conflict.start - ALONG_M - 1e-9
                inside &= net.station <= conflict.end + ALONG_M + 1e-9
                state[inside] = word
    parts, first = [], 0
    for a, b in runs(state.tolist()):
        # a step of the net between what is clear and what is not is not clear
        last = b - 1 if state[a] == "CLEAR" else min(b, len(state) - 1)
        first = a if state[a] == "CLEAR" else first
        ends = float(net.station[first]), float(net.station[last])
        parts.append(PathRun(net.side, *ends, float(net.along[last] - net.along[first]), state[a]))
        first = last
    return parts
