"""Where a number is painted on the dirt, and where a dot is: only on ground that is at grade."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.compare.levels import layer_elevation
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.hubs.stakes import column_name
from pipeline.crew.walk import step_words, walk
from pipeline.crew.words import NOT_SHOT, paint
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design.equations import named, station_id
from pipeline.model import Alignment, Corridor, Floats, Stakes, Surface, Table, texts
from pipeline.settings import Rounding, Target
from pipeline.settings_crew import WalkRules
from pipeline.surface import locate
from pipeline.units import format_length, format_side

STEPS_M = (0.05, 0.10, 0.15, 0.20, 0.25)
BESIDE_M = STEPS_M[-1]
"""A row of shots wanders this far from square to the line [assumed]."""


def spots(
    corridor: Corridor, station: Floats, layer_names: Sequence[str]
) -> tuple[Floats, Floats, list[str]]:
    """Station, offset and name of every break of the named layers at each station.

    Two breaks closer than 5 cm get one number; the first layer's name stands.
    """
    found: list[tuple[float, float, str]] = []
    for name in layer_names:
        layer = corridor.layer(name)
        for break_name, side in zip(layer.breaks, layer.side, strict=True):
            offset, _ = sections.break_line(corridor, name, break_name, side, station)
            found += [
                (float(s), float(o), break_name)
                for s, o in zip(station, offset, strict=True)
                if np.isfinite(o)
            ]
    # stable: where two layers share a place, the first layer's name comes first
    found.sort(key=lambda spot: (spot[0], round(spot[1], 3)))
    kept: list[tuple[float, float, str]] = []
    for spot in found:
        same_station = kept and kept[-1][0] == spot[0]
        if not (same_station and spot[1] - kept[-1][1] < 0.05):
            kept.append(spot)
    return (
        np.array([spot[0] for spot in kept]),
        np.array([spot[1] for spot in kept]),
        [spot[2] for spot in kept],
    )


def grade_dots(
    corridor: Corridor, ground: Surface, station: Floats, target: Target, rounding: Rounding
) -> Stakes:
    """Ground against the target layer at every spot, with what is painted there.

    Returns
    -------
    Stakes
        By station, left to right. ``kind`` is ``dot`` where the ground is within
        the on-grade tolerance, ``number`` elsewhere, ``unshot`` where no triangle
        of today's ground lies: that spot has no number and says so.
    """
    layer = corridor.layer(target.layer)
    names = [target.layer] if layer.surface is None else []
    names += [layer.name for layer in corridor.layers[:1] if layer.name not in names]
    at, offset, what = spots(corridor, station, names)
    read_at = where_shot(corridor, ground, at, offset)
    easting, northing, _ = line.point_at(corridor.alignment, read_at, offset)
    design = layer_elevation(corridor, layer, read_at, offset, easting, northing)
    inside = np.isfinite(design)
    at, read_at, offset, easting, northing, design = (
        column[inside] for column in (at, read_at, offset, easting, northing, design)
    )
    what = [name for name, keep in zip(what, inside, strict=True) if keep]
    ground_z = locate.interpolate(ground, easting, northing)
    cut = ground_z - design
    marks = [paint(float(c), rounding) for c in cut]
    kinds = [
        "unshot" if mark == NOT_SHOT else "dot" if mark == "GRADE" else "number" for mark in marks
    ]
    return Stakes(
        layers=(target.layer,),
        id=texts([station_id(corridor.alignment, float(s), after=f"{lath_name(w)}{format_side(o)}")
                   for s, o, w in zip(at, offset, what, strict=True)]),
        kind=texts(kinds),
        what=texts(what),
        station=at,
        offset=offset,
        easting=easting,
        northing=northing,
        ground=ground_z,
        design=design[:, None],
        mark=texts(marks),
        note=texts("" if s == r else f"read {abs(s - r):.2f} m along the line"
                   for s, r in zip(at, read_at, strict=True)),
    )  # fmt: skip


def where_shot(corridor: Corridor, ground: Surface, station: Floats, offset: Floats) -> Floats:
    """Station at which each spot is read: its own, or up to `BESIDE_M` along where the ground ends.

    The last row of shots is never quite square to the line, so a spot on the
    very end would else be called unshot although rods stood beside it. It is
    moved along the line only: across it, the foot of the bank is near.
    """
    read_at = station.copy()
    for along in (*STEPS_M, *(-step for step in STEPS_M)):
        easting, northing, _ = line.point_at(corridor.alignment, read_at, offset)
        missing = np.flatnonzero(locate.find(ground, easting, northing) < 0)
        east, north, _ = line.point_at(
            corridor.alignment, station[missing] + along, offset[missing]
        )
        there = locate.find(ground, east, north) >= 0
        read_at[missing[there]] += along
    return read_at


def table(
    dots: Stakes, rules: WalkRules | None = None, alignment: Alignment | None = None
) -> Table:
    """``dots.csv``: a row a spot in walking order, ground, layer and what is painted, final.

    ``done`` is ticked where the ground is at grade already; stations are named after the
    equations of `alignment`.
    """
    layer = column_name(dots.layers[0])
    columns = (
        "walk", "id", "what", "station", "side", "offset_m", "easting_m", "northing_m",
        "ground_m", f"{layer}_m", "cut_m", "kind", "paint", "done", "next_m", "note",
    )  # fmt: skip
    cut = dots.ground - dots.design[:, 0]
    way = walk((dots.station, dots.offset), (dots.easting, dots.northing), rules)
    rows = [
        (
            str(k + 1),
            dots.id[i],
            dots.what[i],
            named(alignment, float(dots.station[i])),
            format_side(dots.offset[i]),
            format_length(dots.offset[i]),
            format_length(dots.easting[i]),
            format_length(dots.northing[i]),
            format_length(dots.ground[i]),
            format_length(dots.design[i, 0]),
            format_length(cut[i]),
            dots.kind[i],
            dots.mark[i],
            "yes" if dots.kind[i] == "dot" else "",
            step_words(float(way.to_next[k])),
            dots.note[i],
        )
        for k, i in enumerate(way.order)
    ]
    text = frozenset({"walk", "done", "id", "what", "station", "side", "kind", "paint", "note"})
    return Table("dots", columns, tuple(rows), text)
