"""The gutter lowered at a catch basin: where the basin stands, and the layers lowered there.

Along the street the lowering is full over a length and runs out over a taper at each end,
across it runs out towards the crown. Both are linear, so a row at each of the four stations
and a break where it runs out give it exactly.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeAlias

import numpy as np

from pipeline.design.alignment import point_at
from pipeline.design.corridor import break_line
from pipeline.design.feet import locate
from pipeline.design.rows import columns_of, owner_of, with_rows, within
from pipeline.design.section import PLAIN, SLACK_M, column_of, filled
from pipeline.errors import DesignError
from pipeline.model import (
    SIDE_WORDS,
    Alignment,
    Corridor,
    Depression,
    Floats,
    Ints,
    Layer,
    SectionTable,
    Utilities,
)
from pipeline.units import Called

EDGE = "edge of basin"
"""The break at which the lowering runs out towards the crown."""
_Line: TypeAlias = tuple[Floats, Floats]
"""Stations on the stretch, each there once, and the offsets of something that runs along."""
BENEATH = "beneath {}"
"""The break of a lower layer under the foot of the curb."""


def placed(table: SectionTable, alignment: Alignment, things: Utilities | None) -> SectionTable:
    """The table with a station for every basin that is named by its id.

    Raises
    ------
    DesignError
        No recorded thing has the id, or it lies off the street or on its other side.
    """
    changes = tuple(
        replace(one, station=_station_of(one, alignment, things))
        if isinstance(one, Depression) and one.basin
        else one
        for one in table.changes
    )
    return replace(table, changes=changes)


def those_of(table: SectionTable) -> tuple[Depression, ...]:
    """The basins of a section table, in its order."""
    return tuple(one for one in table.changes if isinstance(one, Depression))


def spots(corridor: Corridor) -> list[tuple[float, float]]:
    """Easting and northing of the foot of the curb at each basin: where the water goes."""
    found = []
    for one in corridor.basins:
        for layer in corridor.layers:
            if one.foot in layer.breaks:
                offset, _ = break_line(corridor, layer.name, one.foot, one.side, one.station)
                east, north, _ = point_at(corridor.alignment, one.station, float(offset))
                found.append((float(east), float(north)))
                break
    return found


def _station_of(change: Depression, alignment: Alignment, things: Utilities | None) -> float:
    ids = [] if things is None else [str(name) for name in things.id]
    if things is None or ids.count(change.basin) != 1:
        found = f"{ids.count(change.basin)} recorded things are called {change.basin!r}"
        raise DesignError(
            change.where, found if ids else "the job has no list of recorded things",
            "name a basin of the list of recorded things, or give its station under at",
        )  # fmt: skip
    row = [ids.index(change.basin)]
    feet = locate(alignment, things.easting[row], things.northing[row])
    offset = float(feet.offset[0])
    if feet.beyond[0] or not np.isfinite(feet.station[0]):
        raise DesignError(
            change.where, f"{change.basin} lies beyond the end of the street",
            "correct its coordinates, or put this into the sections of the street that it is in",
        )  # fmt: skip
    if offset * change.side < 0.0:
        raise DesignError(
            change.where,
            f"{change.basin} lies {abs(offset):.2f} m to the"
            f" {SIDE_WORDS[-change.side]} of the line",
            "correct its side or its coordinates",
        )
    return float(feet.station[0])


def lowered(
    layers: tuple[Layer, ...], change: Depression, called: Called = PLAIN
) -> tuple[Layer, ...]:
    """The layers with the gutter lowered at one basin.

    Parameters
    ----------
    layers : tuple of Layer
        Section layers from the top down; the first that has the foot is lowered.
    change : Depression
        With its station.
    called : callable
        What people call a station, for a refusal.

    Raises
    ------
    DesignError
        No layer has the foot; the section ends, changes at once or lacks the foot within the
        stretch; it runs out past the crown, or over a break that does not run along it.
    """
    owner = owner_of(layers, change.foot, change.side, change.where)
    at = [layer.name for layer in layers].index(owner)
    top = with_rows(layers[at], change.corners)
    foot = _foot(top, change, called)
    beneath = [
        _follows(layer, change, foot, called) if change.follow else layer
        for layer in layers[at + 1 :]
    ]
    return (*layers[:at], _lowered_top(top, change, foot, called), *beneath)


def _foot(top: Layer, change: Depression, called: Called) -> _Line:
    """The foot at the rows of the top layer, which has it on all of the stretch."""
    start, _, _, end = change.corners
    column = column_of(top, change.foot, change.side)
    rows = within(top.station, start, end)
    whole = top.station[0] - SLACK_M <= start and end <= top.station[-1] + SLACK_M
    stretch = f"from {called(start)} to {called(end)}"
    if not whole or np.isnan(top.offset[rows, column]).any():
        raise DesignError(
            change.where, f"the {change.foot} is not there all the way {stretch}",
            "move the basin, shorten its taper, or give the section a foot there",
        )  # fmt: skip
    if (np.diff(top.station[rows]) <= SLACK_M).any():
        raise DesignError(
            change.where, f"the section changes at once {stretch}",
            "move the basin, or let the section change elsewhere",
        )  # fmt: skip
    crown = top.side.index(0)
    half = np.abs(top.offset[rows, column] - top.offset[rows, crown])
    if (half < change.width - SLACK_M).any():
        raise DesignError(
            change.where, f"it is {change.width} m wide, the half {half.min():.3f} m",
            "give a width that ends before the crown",
        )  # fmt: skip
    return top.station[rows], top.offset[rows, column]


def _lowered_top(top: Layer, change: Depression, foot: _Line, called: Called) -> Layer:
    """Down to the foot by how near it lies, outside the foot as the curb is stated."""
    layer = _with_break(top, change, (EDGE, _run_out(foot, change)), called)
    share, across = _shares(layer, change, foot)
    columns = columns_of(layer, change.side)
    last = columns.index(column_of(layer, change.foot, change.side))
    down = change.depth * share[:, None] * across
    rise = layer.rise.copy()
    rise[:, columns[: last + 1]] -= down[:, columns[: last + 1]]
    rise[:, columns[last + 1 :]] -= (change.curb_down * share)[:, None]
    return replace(layer, rise=rise)


def _follows(layer: Layer, change: Depression, foot: _Line, called: Called) -> Layer:
    """A layer beneath, lowered by as much; all the way out from under the foot."""
    layer = with_rows(layer, foot[0])
    layer = _with_break(layer, change, (EDGE, _run_out(foot, change)), called)
    layer = _with_break(layer, change, (BENEATH.format(change.foot), foot), called)
    share, across = _shares(layer, change, foot)
    columns = columns_of(layer, change.side)
    rise = layer.rise.copy()
    rise[:, columns] -= (change.depth * share[:, None] * across)[:, columns]
    return replace(layer, rise=rise)


def _run_out(foot: _Line, change: Depression) -> _Line:
    return foot[0], foot[1] - change.side * change.width


def _shares(layer: Layer, change: Depression, foot: _Line) -> tuple[Floats, Floats]:
    """Share of the depth along the street (k,) and across it (k, b), 0 to 1."""
    share = np.interp(layer.station, change.corners, [0.0, 1.0, 1.0, 0.0])
    offset, _ = filled(layer)
    outward = (offset - np.interp(layer.station, *foot)[:, None]) * change.side
    across = np.nan_to_num(np.clip(1.0 + outward / change.width, 0.0, 1.0))
    return share, across


def _with_break(layer: Layer, change: Depression, new: tuple[str, _Line], called: Called) -> Layer:
    """The layer with a break more on the stretch, in line with what is there.

    `new` is its name and where it runs. Nothing is added where a break stands there
    already, or where the layer does not reach as far.
    """
    name, runs = new
    start, _, _, end = change.corners
    put = with_rows(with_rows(layer, change.corners), (start, end), twice=True)
    rows = np.flatnonzero(within(put.station, start, end))
    fill_o, _ = filled(put)
    rows = rows[np.isfinite(fill_o[rows, put.side.index(0)])]
    if not len(rows):
        return layer
    columns = columns_of(put, change.side)
    target = np.interp(put.station, *runs)
    past = (fill_o[np.ix_(rows, columns)] - target[rows, None]) * change.side
    if (np.abs(past) <= SLACK_M).all(axis=0).any():
        return layer
    before = (past < -SLACK_M).sum(axis=1)
    if (before != before[0]).any():
        raise DesignError(
            change.where,
            f"in layer {layer.name!r} a break runs across its side {change.width} m from the"
            f" {change.foot}, from {called(start)} to {called(end)}",
            "give another width, or let it end at that break",
        )
    count = int(before[0])
    if count == len(columns):
        return layer
    inner = columns[count - 1] if count else put.side.index(0)
    return _put(put, (name, change.side), (inner, columns[count]), (rows, target[rows]))


def _put(
    layer: Layer, named: tuple[str, int], pair: tuple[int, int], at: tuple[Ints, Floats]
) -> Layer:
    """A break between two columns, on some rows; into a column that stands there already."""
    rows, target = at
    inner, outer = pair
    fill_o, fill_z = filled(layer)
    width = fill_o[rows, outer] - fill_o[rows, inner]
    share = np.divide(target - fill_o[rows, inner], width, out=np.zeros_like(width),
                      where=width != 0.0)  # fmt: skip
    height = fill_z[rows, inner] + share * (fill_z[rows, outer] - fill_z[rows, inner])
    name, side = named
    taken = layer.breaks[inner] if layer.side[inner] == side else ""
    offset, rise = layer.offset.copy(), layer.rise.copy()
    if taken.startswith(name) and np.isnan(offset[rows, inner]).all():
        offset[rows, inner], rise[rows, inner] = target, height
        return replace(layer, offset=offset, rise=rise)
    here = [one for one, on in zip(layer.breaks, layer.side, strict=True) if on == side]
    while name in here:
        name = f"{named[0]} {int(name.removeprefix(named[0]) or 1) + 1}"
    column = max(inner, outer)
    offset = np.insert(offset, column, np.nan, axis=1)
    rise = np.insert(rise, column, np.nan, axis=1)
    offset[rows, column], rise[rows, column] = target, height
    return replace(
        layer,
        breaks=(*layer.breaks[:column], name, *layer.breaks[column:]),
        side=(*layer.side[:column], side, *layer.side[column:]),
        offset=offset,
        rise=rise,
    )
