"""Where a number is painted on the dirt, and where a dot is: only on ground that is at grade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipeline.compare.levels import ruling
from pipeline.compare.streets import claimed, edge_name, inward, side_word, streets_of
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.hubs.stakes import NO_LINES, column_name, line_of, street_stations
from pipeline.crew.measures import Measures, measures
from pipeline.crew.walk import step_words, walk
from pipeline.crew.words import NOT_SHOT, paint
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design.equations import named, station_id
from pipeline.model import (
    Bools,
    Corridor,
    Floats,
    Ints,
    Stakes,
    Surface,
    Table,
    join_stakes,
    texts,
)
from pipeline.settings import Rounding, StakeRules, Target
from pipeline.settings_crew import WalkRules
from pipeline.surface import locate
from pipeline.units import format_length

STEPS_M = (0.05, 0.10, 0.15, 0.20, 0.25)
SAME_SPOT_M = 0.05
"""Two spots closer than this get one number [assumed]."""
BESIDE_M = STEPS_M[-1]
"""A row of shots wanders this far from square to the line [assumed]."""


def spots(
    corridor: Corridor, station: Floats, layer_names: Sequence[str]
) -> tuple[Floats, Floats, list[str]]:
    """Station, offset and name of every break of the named layers at each station.

    Two breaks closer than 5 cm get one number; the first layer's name stands. An edge of
    the first layer is none where another part of the design goes on outside it.
    """
    found: list[tuple[float, float, str]] = []
    for number, name in enumerate(layer_names):
        layer = corridor.layer(name)
        for break_name, side in zip(layer.breaks, layer.side, strict=True):
            offset, _ = sections.break_line(corridor, name, break_name, side, station)
            if number == 0 and side and break_name == edge_name(layer, side):
                offset = np.where(inward(corridor, name, side, (station, offset)), np.nan, offset)
            found += [
                (float(s), float(o), break_name if side else corridor.on)
                for s, o in zip(station, offset, strict=True)
                if np.isfinite(o)
            ]
    # stable: where two layers share a place, the first layer's name comes first
    found.sort(key=lambda spot: (spot[0], round(spot[1], 3)))
    kept: list[tuple[float, float, str]] = []
    for spot in found:
        same_station = kept and kept[-1][0] == spot[0]
        if not (same_station and spot[1] - kept[-1][1] < SAME_SPOT_M):
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
    names = [x.name for x in corridor.layers if x.name == target.layer and x.surface is None]
    names += [x.name for x in corridor.layers[:1] if x.surface is None and x.name not in names]
    at, offset, what = spots(corridor, station, names)
    at, offset, what = with_bare_line(corridor, station, (at, offset, what))
    read_at = where_shot(corridor, ground, at, offset)
    easting, northing, _ = line.point_at(corridor.alignment, read_at, offset)
    here = read_at, offset
    design, _ = ruling(corridor, target.layer, here, (easting, northing))
    inside = np.isfinite(design)
    if corridor.parts:
        inside &= claimed(corridor, target.layer, here, (easting, northing))
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
        id=texts([_id(corridor, float(s), float(o), w)
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
        note=texts(_along_words(float(away), measures(rounding)) for away in np.abs(at - read_at)),
    )  # fmt: skip


def _along_words(away: float, unit: Measures) -> str:
    return f"read {unit.long(away, 0.01)} {unit.unit} along the line" if away else ""


def _id(corridor: Corridor, station: float, offset: float, what: str) -> str:
    """``0120.0EOCR``; ``0007.1LIP`` on the line of a return."""
    after = f"{lath_name(what)}{side_word(corridor, offset)}"
    return station_id(corridor.alignment, station, after=after)


def with_bare_line(
    corridor: Corridor, station: Floats, found: tuple[Floats, Floats, list[str]]
) -> tuple[Floats, Floats, list[str]]:
    """The spots, and the line itself where the street's sections have ended and its parts go on.

    The crown of a bulb lies on the street's line, beyond the throat where its sections end.
    """
    at, offset, what = found
    bare = np.setdiff1d(station, at) if corridor.parts else np.empty(0)
    if not len(bare):
        return found
    order = np.argsort(np.concatenate([at, bare]), kind="stable")
    names = [*what, *([corridor.on] * len(bare))]
    return (
        np.concatenate([at, bare])[order],
        np.concatenate([offset, np.zeros(len(bare))])[order],
        [names[k] for k in order],
    )


def whole_dots(
    corridor: Corridor, ground: Surface, stakes: StakeRules, target: Target, rounding: Rounding
) -> Stakes:
    """`grade_dots` of every part of a design, each along its own line, none there twice.

    The main street first, then in order of priority; of two spots closer than 5 cm the
    first counts. Returns have theirs at the quarters.
    """
    lists: list[Stakes] = []
    taken = np.empty((0, 2))
    for street in streets_of(corridor):
        if street.prefix and not street.has(target.layer):
            continue
        station = street_stations(street, stakes)
        found = grade_dots(street.corridor, ground, station, target, rounding)
        here = np.stack([found.easting, found.northing], axis=1)
        if corridor.parts:
            rows = apart(here, taken)
            found, here = found.take(rows), here[rows]
            taken = np.concatenate([taken, here])
        ids = texts(street.id(str(one)) for one in found.id)
        lists.append(replace(found, id=ids, street=texts([street.name] * len(found))))
    return join_stakes(lists)


def apart(places: Floats, taken: Floats) -> Ints:
    """Rows of places that lie 5 cm or more from all that are taken, and from each other."""
    from scipy.spatial import cKDTree

    free: Bools = np.ones(len(places), dtype=bool)
    if len(taken) and len(places):
        free = np.asarray(cKDTree(taken).query(places)[0] >= SAME_SPOT_M)
    pairs = cKDTree(places).query_pairs(SAME_SPOT_M - 1e-9) if len(places) else set()
    for i, j in sorted(pairs):
        free[j] = bool(free[j]) and not free[i]
    return np.flatnonzero(free)


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
    dots: Stakes,
    rules: WalkRules | None = None,
    lines: Mapping[str, Corridor] = NO_LINES,
) -> Table:
    """``dots.csv``: a row a spot in walking order, ground, layer and what is painted, final.

    ``done`` is ticked where the ground is at grade already; stations are named after the
    equations of the line that their street follows.
    """
    layer = column_name(dots.layers[0])
    columns = (
        "walk", "street", "id", "what", "station", "side", "offset_m", "easting_m", "northing_m",
        "ground_m", f"{layer}_m", "cut_m", "kind", "paint", "done", "next_m", "note",
    )  # fmt: skip
    cut = dots.ground - dots.design[:, 0]
    way = walk((dots.station, dots.offset), (dots.easting, dots.northing), rules, dots.street)
    rows = [
        (
            str(k + 1),
            dots.street[i],
            dots.id[i],
            dots.what[i],
            named(line_of(lines, str(dots.street[i])), float(dots.station[i])),
            side_word(lines.get(str(dots.street[i])), dots.offset[i]),
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
    text = frozenset(
        {"walk", "street", "done", "id", "what", "station", "side", "kind", "paint", "note"}
    )
    return Table("dots", columns, tuple(rows), text)
