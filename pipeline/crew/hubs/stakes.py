"""Points to set before the work: hubs behind the curb, curve points, high and low points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.compare.streets import Street, reach_of, side_word
from pipeline.crew.hubs.basins import basins_beside
from pipeline.crew.hubs.extremes import along_break, along_line
from pipeline.crew.hubs.references import lath_name, on_side, reference_line
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.stretches import multiples
from pipeline.design import alignment as line
from pipeline.design.equations import named, station_id
from pipeline.model import (
    Alignment,
    Bools,
    Corridor,
    Floats,
    Stakes,
    Table,
    join_stakes,
    texts,
)
from pipeline.settings import StakeRules
from pipeline.units import format_length, format_side

NO_LINES: Mapping[str, Corridor] = {}
"""Streets of a list whose stations are printed as they are counted."""
_SAME_HUB_M = 0.30
"""A hub at an interval nearer than this to that of a basin is not set [assumed]."""
Marks: TypeAlias = tuple[tuple[float, str], ...]
"""Station and name of points that are set."""


def interval_stations(corridor: Corridor, rules: StakeRules) -> Floats:
    """Stations at the tangent interval, tighter where the line curves, with both ends.

    Stations are whole multiples of the interval, so tomorrow's list has the same
    ones. The range is what both the alignment and the profile cover.
    """
    first, last = reach_of(corridor)
    alignment = corridor.alignment
    tangent = multiples(first, last, rules.interval_m)
    close = multiples(first, last, rules.interval_curve_m)
    element = line.element_of(alignment, close)
    curved = (alignment.curvature_start[element] != 0) | (alignment.curvature_end[element] != 0)
    stations: Floats = np.concatenate([[first], tangent, close[curved], [last]])
    found = np.unique(np.round(stations, 6))
    # an end a few millimetres from a whole station would be the same lath twice
    apart: Bools = np.concatenate([[True], np.diff(found) > 0.05])
    return np.asarray(found[apart], dtype=np.float64)


def street_stations(street: Street, rules: StakeRules) -> Floats:
    """Where laths stand along one part of a design: at its own marks, else at intervals."""
    if street.marks:
        return np.array([station for station, _ in street.marks])
    return interval_stations(street.corridor, rules)


def points_to_set(
    corridor: Corridor,
    rules: StakeRules,
    marks: Marks = (),
    layers: Sequence[str] = (),
    unit: Measures = METRIC,
) -> Stakes:
    """Hubs on both sides at every interval station, then the points of the line itself.

    Parameters
    ----------
    corridor : Corridor
    rules : StakeRules
        Intervals, hub offset behind the reference break, the break's name.
    marks : tuple of (station, what)
        Points that have names of their own, such as the quarters of a curb return: hubs
        stand there, instead of at intervals.
    layers : sequence of str
        Whose elevations are given; empty: those of the corridor.
    unit : Measures
        What the words for the lath are in.

    Returns
    -------
    Stakes
        Up the left side, back down the right, then the line's own points by
        station. ``design`` of a hub is each layer at the reference break, not at
        the hub, which stands outside the section.

    Raises
    ------
    DesignError
        No layer has the reference break.
    """
    names = tuple(layers) or tuple(layer.name for layer in corridor.layers)
    up = np.array([at for at, _ in marks]) if marks else interval_stations(corridor, rules)
    points = _line_points(corridor, rules, marks)
    hubs = _hubs(corridor, rules, up, names, unit)
    return join_stakes([hubs, _as_stakes(corridor, points, names)])


def behind_words(rules: StakeRules, unit: Measures) -> str:
    """How far behind its reference a hub is set: ``1.50``, or feet and tenths."""
    return unit.long(rules.hub_behind_m, 0.01 if unit.unit == "m" else 0.1)


def _hubs(
    corridor: Corridor, rules: StakeRules, up: Floats, names: tuple[str, ...], unit: Measures
) -> Stakes:
    left, right = (_with_basins(corridor, rules, up, side, unit) for side in (-1, 1))
    stood = [*left, *right[::-1]]
    station = np.array([at for at, _ in stood])
    side = np.concatenate([np.full(len(left), -1), np.full(len(right), 1)])
    told = texts([words for _, words in stood])
    reference = reference_line(corridor, rules.reference, station, side)
    designed = ~np.isnan(reference.offset)
    station, side, at = station[designed], side[designed], reference.offset[designed]
    told = told[designed]
    offset = at + side * rules.hub_behind_m
    easting, northing, _ = line.point_at(corridor.alignment, station, offset)
    behind = behind_words(rules, unit)
    what = f"hub {behind} behind {rules.reference}"
    words = texts([f"{behind} {lath_name(rules.reference)}"] * len(station))
    return Stakes(
        layers=names,
        id=texts(
            [
                station_id(corridor.alignment, float(s), after=format_side(k))
                for s, k in zip(station, side, strict=True)
            ]
        ),
        kind=texts(["stake"] * len(station)),
        what=texts([f"{what}: {words}" if words else what for words in told]),
        station=station,
        offset=offset,
        easting=easting,
        northing=northing,
        ground=np.full(len(station), np.nan),
        design=elevations(
            corridor, station, at, reference.easting[designed], reference.northing[designed], names
        ),
        mark=words,
        note=texts([""] * len(station)),
    )


def _with_basins(
    corridor: Corridor, rules: StakeRules, up: Floats, side: int, unit: Measures
) -> list[tuple[float, str]]:
    """Stations of one side with its basins among them; one that is near gives way."""
    there = on_side(corridor, rules.reference, side)
    basins = basins_beside(corridor, rules.reference, side, unit) if there else ()
    free = [float(s) for s in up if all(abs(s - at) > _SAME_HUB_M for at, _ in basins)]
    return sorted([*((at, "") for at in free), *basins])


def _line_points(
    corridor: Corridor, rules: StakeRules, marks: Marks
) -> list[tuple[float, float, str, str]]:
    """PC, PT and their like, and the high and low points of the line and of each curb line.

    Station, offset, what it is, and the break that a high or low point belongs to.
    """
    named = marks or line.key_points(corridor.alignment)
    found = [(s, 0.0, what, "") for s, what in named]
    turning = along_line(corridor)
    for side in (-1, 1):
        turning += along_break(corridor, rules.reference, side)
    found += [(point.station, point.offset, point.mark, point.what) for point in turning]
    return sorted(found, key=lambda row: (row[0], row[1]))


def _as_stakes(
    corridor: Corridor, found: list[tuple[float, float, str, str]], names: tuple[str, ...]
) -> Stakes:
    station = np.array([row[0] for row in found])
    offset = np.array([row[1] for row in found])
    easting, northing, _ = line.point_at(corridor.alignment, station, offset)
    return Stakes(
        layers=names,
        id=texts([_point_id(corridor, row[2], row[0], row[1]) for row in found]),
        kind=texts(["point"] * len(found)),
        what=texts([_point_words(row[2], row[3]) for row in found]),
        station=station,
        offset=offset,
        easting=easting,
        northing=northing,
        ground=np.full(len(found), np.nan),
        design=elevations(corridor, station, offset, easting, northing, names),
        mark=texts([row[2] for row in found]),
        note=texts([""] * len(found)),
    )


def _point_words(what: str, reference: str) -> str:
    words = {
        "HP": "high point", "LP": "low point", "PC": "point of curvature",
        "PT": "point of tangency", "PCC": "point of compound curve",
        "PRC": "point of reverse curve", "TS": "tangent to spiral", "SC": "spiral to curve",
        "CS": "curve to spiral", "ST": "spiral to tangent",
    }.get(what, what)  # fmt: skip
    return f"{words} of {reference}" if reference else words


def _point_id(corridor: Corridor, what: str, station: float, offset: float) -> str:
    side = side_word(corridor, offset)
    return point_id(corridor.alignment, station, what, "" if side == "CL" else side)


def point_id(alignment: Alignment, station: float, short: str, side: str) -> str:
    """``PC0085.0``; a quarter of a return is ``1of4-0003.5``: its digits stay apart."""
    if "/" in short:
        short = f"{short.replace('/', 'of')}-"
    return station_id(alignment, station, short, side)


FIRST = (
    "street", "id", "what", "station", "side", "offset_m", "easting_m", "northing_m", "reference",
)  # fmt: skip
LAST = ("lath", "note")
"""Columns of a list of points before and after those of the layers."""


def table(
    stakes: Stakes,
    rules: StakeRules,
    lines: Mapping[str, Corridor] = NO_LINES,
    name: str = "stakes",
) -> Table:
    """``stakes.csv``: a row a point, elevations of every layer, final text.

    With the streets by name stations are named after the equations of their lines.
    ``layout.csv`` is the same list under its own `name`.
    """
    layers = tuple(f"{column_name(layer)}_elevation_m" for layer in stakes.layers)
    rows = [
        (
            stakes.street[i],
            stakes.id[i],
            stakes.what[i],
            named(line_of(lines, str(stakes.street[i])), float(stakes.station[i]), step=0.001),
            side_word(lines.get(str(stakes.street[i])), stakes.offset[i]),
            format_length(stakes.offset[i]),
            format_length(stakes.easting[i]),
            format_length(stakes.northing[i]),
            rules.reference if stakes.kind[i] == "stake" else "",
            *(format_length(z) for z in stakes.design[i]),
            stakes.mark[i],
            stakes.note[i],
        )
        for i in range(len(stakes))
    ]
    text = frozenset({"street", "id", "what", "station", "side", "reference", "lath", "note"})
    return Table(name, (*FIRST, *layers, *LAST), tuple(rows), text)


def line_of(lines: Mapping[str, Corridor], street: str) -> Alignment | None:
    """The line that a row's station counts along; None where nobody knows."""
    return lines[street].alignment if street in lines else None


def column_name(layer: str) -> str:
    """A layer's name as part of a column name: ``clay subgrade`` -> ``clay_subgrade``."""
    return "_".join(layer.split())
