"""What changes a section by station: crown shift, widening, crossfall, lowered curb, basin, mouth.

Each takes the layers as the section table gives them and gives new ones: rows are put
in where something begins or ends, then breaks are moved row by row. Between rows the
layer stays linear, so where two things vary at once, or an eased curve is asked for,
rows stand every half metre; the heights between are then within 0.1 mm.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from pipeline.design.basin import lowered
from pipeline.design.rows import columns_of, owner_of, with_rows, within
from pipeline.design.section import PLAIN, SLACK_M, between, column_of, filled, span_of
from pipeline.design.section import layers as section_layers
from pipeline.design.superelevation import crossfall_of
from pipeline.errors import DesignError
from pipeline.model import (
    SIDE_WORDS,
    CrossfallChange,
    CrownShift,
    CurbDrop,
    Depression,
    Floats,
    Ints,
    Layer,
    Opening,
    SectionChange,
    SectionTable,
    Superelevation,
    Widening,
)
from pipeline.settings import LayerRule
from pipeline.units import Called

_STEP_M = 0.5
"""An eased 0.2 m over 20 m leaves its chords of this length by 0.1 mm."""
_SAME_M = 1e-9


def layers(
    table: SectionTable, rules: Iterable[LayerRule], called: Called = PLAIN
) -> tuple[Layer, ...]:
    """The section layers of a table with its changes made: `section.layers`, then `apply`."""
    return apply(section_layers(table, rules, called), table.changes, called)


def apply(
    layers: Sequence[Layer], changes: Sequence[SectionChange], called: Called = PLAIN
) -> tuple[Layer, ...]:
    """The layers with every change made, in order.

    Parameters
    ----------
    layers : sequence of Layer
        Section layers from the top down; a named break is that of the first which has it.
    changes : sequence of SectionChange
    called : callable
        What people call a station, for a refusal.

    Raises
    ------
    DesignError
        No layer has the break a change names; stations out of order; a crown shifted
        past the next break; an opening wider than the curb is high.
    """
    changed = tuple(layers)
    for change in changes:
        if isinstance(change, CrownShift):
            changed = tuple(_crown_shift(layer, change, called) for layer in changed)
        elif isinstance(change, Widening):
            owner = owner_of(changed, change.at, change.side, change.where)
            _check_points(change.points, change.where, called)
            changed = tuple(_widening(layer, change, layer.name == owner) for layer in changed)
        elif isinstance(change, CrossfallChange):
            changed = _crossfall(changed, change, called)
        elif isinstance(change, Superelevation):
            changed = _crossfall(changed, crossfall_of(change), called)
        elif isinstance(change, CurbDrop):
            owner = owner_of(changed, change.top, change.side, change.where)
            _check_stretch(change, called)
            changed = tuple(
                _drop(layer, change) if layer.name == owner else layer for layer in changed
            )
        elif isinstance(change, Depression):
            changed = lowered(changed, change, called)
        else:
            changed = _opening(changed, change)
    return changed


def _rows_for(layer: Layer, at: Sequence[float]) -> Layer:
    """The layer with rows at the stations of a change, two at its ends, and every half metre."""
    stations = np.asarray(at, dtype=np.float64)
    count = max(1, int(np.ceil((stations[-1] - stations[0]) / _STEP_M)))
    dense = np.linspace(stations[0], stations[-1], count + 1)
    layer = with_rows(layer, np.concatenate([stations, dense]))
    return with_rows(layer, (at[0], at[-1]), twice=True)


def _thinned(layer: Layer, before: Layer, at: Sequence[float]) -> Layer:
    """The layer without those new rows that lie in line with their neighbours."""
    kept = [0]
    both = np.concatenate([layer.offset, layer.rise], axis=1)
    station = layer.station
    wanted = np.concatenate([before.station, np.asarray(at)])
    needed = (np.abs(station[:, None] - wanted[None, :]) <= SLACK_M).any(axis=1)
    for i in range(1, len(station) - 1):
        a, b = kept[-1], i + 1
        if not needed[i] and station[a] < station[i] < station[b]:
            share = (station[i] - station[a]) / (station[b] - station[a])
            off = np.abs(both[a] + share * (both[b] - both[a]) - both[i])
            if not (off > _SAME_M).any() and (np.isnan(both[a]) == np.isnan(both[i])).all():
                continue
        kept.append(i)
    kept.append(len(station) - 1)
    return replace(layer, station=station[kept], offset=layer.offset[kept], rise=layer.rise[kept])


def _value(points: Sequence[tuple[float, float]], station: Floats, ease: str) -> Floats:
    """Value at stations, NaN before the first and after the last, and in the outer of two rows."""
    at = np.array([point[0] for point in points])
    value = np.array([point[1] for point in points])
    i = np.clip(np.searchsorted(at, station, side="right") - 1, 0, len(at) - 2)
    u = np.clip((station - at[i]) / (at[i + 1] - at[i]), 0.0, 1.0)
    if ease == "smooth":
        u = u * u * (3.0 - 2.0 * u)
    on = within(station, float(at[0]), float(at[-1]))
    return np.where(on, value[i] + u * (value[i + 1] - value[i]), np.nan)


def _check_points(points: Sequence[tuple[float, ...]], where: str, called: Called) -> None:
    stations = [point[0] for point in points]
    if len(stations) < 2 or any(b <= a for a, b in itertools.pairwise(stations)):
        raise DesignError(
            where,
            "its stations are " + ", ".join(called(s) for s in stations),
            "give at least two, each past the one before",
        )


def _crown_shift(layer: Layer, change: CrownShift, called: Called) -> Layer:
    _check_points(change.points, change.where, called)
    before, at = layer, [at for at, _ in change.points]
    layer = _rows_for(layer, at)
    crown = layer.side.index(0)
    to = _value(change.points, layer.station, change.ease)
    rows = np.flatnonzero(~np.isnan(to) & ~np.isnan(layer.offset[:, crown]))
    offset, rise = layer.offset.copy(), layer.rise.copy()
    shapes_o, shapes_z = filled(layer)
    for side in (-1, 1):
        columns = columns_of(layer, side)
        if not columns:
            continue
        first = _innermost(layer, columns)[rows]
        width = (shapes_o[rows, first] - shapes_o[rows, crown]) * side
        new = (shapes_o[rows, first] - to[rows]) * side
        if ((new < _SAME_M) & (width > _SAME_M)).any():
            bad = float(layer.station[rows[np.argmin(new)]])
            raise DesignError(
                change.where,
                f"at station {called(bad)} the crown of layer {layer.name!r}"
                f" comes {-float(new.min()):.3f} m past the next break on the {SIDE_WORDS[side]}",
                "shift it less, or widen that side",
            )
        if change.keep == "crossfall":
            climb = shapes_z[rows, first] - shapes_z[rows, crown]
            fall = np.divide(climb, width, out=np.zeros_like(climb), where=width > _SAME_M)
            rise[rows[:, None], columns] += (fall * (new - width))[:, None]
    offset[rows, crown] = to[rows]
    return _thinned(replace(layer, offset=offset, rise=rise), before, at)


def _innermost(layer: Layer, columns: list[int]) -> Ints:
    """Of each row the first of the columns that the section has there."""
    there = ~np.isnan(layer.offset[:, columns])
    chosen: Ints = np.asarray(columns, dtype=np.int64)[np.argmax(there, axis=1)]
    return chosen


def _widening(layer: Layer, change: Widening, owns: bool) -> Layer:
    if not columns_of(layer, change.side):
        return layer
    before, at = layer, [at for at, _ in change.points]
    layer = _rows_for(layer, at)
    columns = columns_of(layer, change.side)
    column = column_of(layer, change.at, change.side) if owns else columns[-1]
    outer = columns[columns.index(column) :]
    inner = column - change.side
    more = _value(change.points, layer.station, change.ease)
    rows = np.flatnonzero(~np.isnan(more))
    offset, rise = layer.offset.copy(), layer.rise.copy()
    shapes_o, shapes_z = filled(layer)
    width = np.abs(shapes_o[rows, column] - shapes_o[rows, inner])
    if (width + more[rows] < -_SAME_M).any():
        raise DesignError(
            change.where, f"it narrows layer {layer.name!r} by more than its strip is wide",
            "narrow it less",
        )  # fmt: skip
    offset[rows[:, None], outer] += (change.side * more[rows])[:, None]
    if change.keep == "crossfall":
        climb = shapes_z[rows, column] - shapes_z[rows, inner]
        fall = np.divide(climb, width, out=np.zeros_like(climb), where=width > _SAME_M)
        rise[rows[:, None], outer] += (fall * more[rows])[:, None]
    return _thinned(replace(layer, offset=offset, rise=rise), before, at)


def _crossfall(
    layers: tuple[Layer, ...], change: CrossfallChange, called: Called
) -> tuple[Layer, ...]:
    """Tilt each half of every layer by the same difference, about the pivot."""
    _check_points([(at,) for at, _, _ in change.points], change.where, called)
    at = [point[0] for point in change.points]
    owner = {side: owner_of(layers, change.at, side, change.where) for side in (-1, 1)}
    changed = tuple(_rows_for(layer, at) for layer in layers)
    tops = {side: next(x for x in layers if x.name == owner[side]) for side in (-1, 1)}
    result = []
    for before, layer in zip(layers, changed, strict=True):
        rise = layer.rise.copy()
        shift = np.zeros(len(layer.station))
        for side in (-1, 1):
            points = [(p[0], p[1] if side < 0 else p[2]) for p in change.points]
            tilt, width = _tilt(tops[side], change, (side, points), layer.station)
            rise += _tilted(layer, side, tilt, width if layer.name == owner[side] else None)
            if change.pivot == SIDE_WORDS[side]:
                shift = tilt * width
        result.append(_thinned(replace(layer, rise=rise + shift[:, None]), before, at))
    return tuple(result)


def _tilt(
    top: Layer, change: CrossfallChange, half: tuple[int, list[tuple[float, float]]],
    station: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """How much more a half falls than its section says [m/m], and its width to the break."""
    side, points = half
    column, crown = column_of(top, change.at, side), top.side.index(0)
    span = span_of(top, station)
    offset, rise = (between(values, span) for values in filled(top))
    width = np.abs(offset[:, column] - offset[:, crown])
    climb = rise[:, crown] - rise[:, column]
    own = np.divide(climb, width, out=np.zeros_like(climb), where=width > _SAME_M)
    wanted = _value(points, station, change.ease)
    known = np.isfinite(wanted) & np.isfinite(own)
    return np.where(known, np.nan_to_num(wanted) - np.nan_to_num(own), 0.0), np.nan_to_num(width)


def _tilted(layer: Layer, side: int, tilt: Floats, width: Floats | None) -> Floats:
    """What is added to the rise: falls to `width` from the crown, all the way where None."""
    crown = layer.side.index(0)
    out = np.abs(layer.offset - layer.offset[:, [crown]])
    reach = out if width is None else np.minimum(out, width[:, None])
    on_side = np.array([s == side for s in layer.side])
    return np.where(on_side[None, :], -tilt[:, None] * np.nan_to_num(reach), 0.0)


def _drop(layer: Layer, change: CurbDrop) -> Layer:
    _check_drop(layer, change)
    at = [change.start - change.taper, change.start, change.end, change.end + change.taper]
    layer = with_rows(layer, at)
    top, foot = (column_of(layer, name, change.side) for name in (change.top, change.foot))
    full = layer.rise[:, top] - layer.rise[:, foot]
    share = np.asarray(np.interp(layer.station, at, [0.0, 1.0, 1.0, 0.0]))
    inside = (share > 0.0) & ~np.isnan(full)
    if (change.height > full[inside] + _SAME_M).any():
        raise DesignError(
            change.where,
            f"in the opening the curb is to stand {change.height:.3f} m over the {change.foot},"
            f" more than its own {float(full[inside].min()):.3f} m",
            "give a lower height",
        )
    down = share * np.where(inside, full - change.height, 0.0)
    columns = columns_of(layer, change.side)
    rise = layer.rise.copy()
    for column in columns[columns.index(foot) + 1 :]:
        part = np.ones(len(down))
        if columns.index(column) < columns.index(top):
            own = layer.rise[:, column] - layer.rise[:, foot]
            part = np.divide(own, full, out=np.ones_like(own), where=np.abs(full) > _SAME_M)
        rise[:, column] -= down * part
    return replace(layer, rise=rise)


def _check_drop(layer: Layer, change: CurbDrop) -> None:
    columns = columns_of(layer, change.side)
    top, foot = (column_of(layer, name, change.side) for name in (change.top, change.foot))
    if columns.index(top) <= columns.index(foot):
        raise DesignError(
            change.where, f"{change.top!r} does not lie outside {change.foot!r}", "swap the two"
        )


def _check_stretch(change: CurbDrop, called: Called) -> None:
    if not (change.start < change.end and change.taper >= 0.0):
        raise DesignError(
            change.where,
            f"it runs from {called(change.start)} to {called(change.end)}, taper {change.taper} m",
            "give from before to, and a taper not below zero",
        )


def _opening(layers: tuple[Layer, ...], change: Opening) -> tuple[Layer, ...]:
    """Cut every layer at one break's offset between two stations, at once."""
    owner = next(
        x for x in layers if x.name == owner_of(layers, change.at, change.side, change.where)
    )
    column = column_of(owner, change.at, change.side)
    return tuple(
        _cut(with_rows(layer, (change.start, change.end), twice=True), owner, column, change)
        for layer in layers
    )


def _cut(layer: Layer, owner: Layer, column: int, change: Opening) -> Layer:
    inside = within(layer.station, change.start, change.end)
    limit = between(owner.offset[:, column], span_of(owner, layer.station))
    offset, rise = layer.offset.copy(), layer.rise.copy()
    shapes_o, shapes_z = filled(layer)
    closed = np.isnan(limit) | ~inside
    inner = layer.side.index(0)
    for j in columns_of(layer, change.side):
        past = (shapes_o[:, j] - limit) * change.side
        beyond = ~closed & (past > SLACK_M)
        before = (shapes_o[:, inner] - limit) * change.side
        # the break that crosses the limit ends on it; where one stands there already, none does
        ends = beyond & (before < -SLACK_M)
        width = shapes_o[:, j] - shapes_o[:, inner]
        share = np.divide(
            limit - shapes_o[:, inner], width, out=np.zeros_like(width), where=width != 0.0
        )
        at = shapes_z[:, inner] + share * (shapes_z[:, j] - shapes_z[:, inner])
        offset[:, j] = np.where(ends, limit, np.where(beyond, np.nan, offset[:, j]))
        rise[:, j] = np.where(ends, at, np.where(beyond, np.nan, rise[:, j]))
        inner = j
    return replace(layer, offset=offset, rise=rise)
