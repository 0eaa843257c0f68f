"""The points to set of a whole design: the main street's, then those of every other part."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.compare.levels import elsewhere
from pipeline.compare.streets import Street, streets_of, told_from
from pipeline.crew.hubs import stakes as interval_points
from pipeline.crew.hubs.layout import points_to_set, table
from pipeline.crew.hubs.patch_corners import patch_corners
from pipeline.crew.hubs.stakes import FIRST, LAST, column_name
from pipeline.crew.measures import METRIC, Measures
from pipeline.model import (
    Corridor,
    Finding,
    Findings,
    Floats,
    Stakes,
    Table,
    Utilities,
    join_stakes,
    texts,
)
from pipeline.settings import LayoutRules, StakeRules


@dataclass(frozen=True, slots=True, eq=False)
class StreetPoints:
    """The points of one street, return, edge or patch; their ids begin with its short name."""

    name: str
    corridor: Corridor
    points: Stakes


@dataclass(slots=True)
class _Taken:
    """Places that earlier streets have taken."""

    apart_m: float
    places: Floats = field(default_factory=lambda: np.empty((0, 2)))

    def own(self, street: Street, points: Stakes) -> tuple[Stakes, Findings]:
        """Points that no earlier street has, by whole ids; hubs on another part are left out."""
        level = elsewhere(
            street.corridor, street.corridor.layers[0].name, points.easting, points.northing
        )
        rows, told = [], []
        for i in range(len(points)):
            away = np.hypot(
                self.places[:, 0] - points.easting[i], self.places[:, 1] - points.northing[i]
            )
            if len(away) and away.min() < self.apart_m:
                continue
            if points.kind[i] == "stake" and np.isfinite(level[i]):
                told.append(_on_another(points, i))
                continue
            rows.append(i)
        kept = points.take(np.array(rows, dtype=np.int64))
        here = np.stack([kept.easting, kept.northing], axis=1)
        self.places = np.concatenate([self.places, here])
        ids = texts([street.id(str(one)) for one in kept.id])
        return replace(kept, id=ids, street=texts([street.name] * len(kept))), tuple(told)


def _on_another(points: Stakes, i: int) -> Finding:
    return Finding(
        "note", "point left out",
        f"hub {points.id[i]}: it would stand on another part of the design",
        "nothing to do", station=float(points.station[i]),
    )  # fmt: skip


def _along_main(corridor: Corridor, street: Street, told: Findings) -> Findings:
    """Findings of one street; of another than the main one by its name, placed along the main."""
    if not street.prefix:
        return told
    return tuple(told_from(corridor, street.corridor, finding) for finding in told)


def whole_layout(
    corridor: Corridor,
    stakes: StakeRules,
    rules: LayoutRules,
    things: Utilities | None,
    unit: Measures = METRIC,
) -> tuple[tuple[StreetPoints, ...], Findings]:
    """The points of a design and of every part of it that has sections.

    Each as `points_to_set`; the main street first, then in order of priority. A point
    nearer than ``apart_m`` to an earlier one is that one again and is left away; a hub
    that would stand on the design of another part is left out and told. The corners of
    patches come last.
    """
    found: list[Finding] = []
    made: list[StreetPoints] = []
    taken = _Taken(rules.apart_m)
    for street in _with_reference(corridor, stakes):
        points, told = points_to_set(street.corridor, stakes, rules, things, street.marks, unit)
        points, left_out = taken.own(street, points)
        found += _along_main(corridor, street, (*told, *left_out))
        made.append(StreetPoints(street.name, street.corridor, points))
    patches = [part for part in corridor.parts if part.kind == "patch"]
    for number, part in enumerate(patches, 1):
        points, told = patch_corners(corridor, part, number, (things, rules))
        found += told
        made.append(StreetPoints(part.name, corridor, points))
    return tuple(made), tuple(found)


def whole_stakes(
    corridor: Corridor, stakes: StakeRules, apart_m: float, unit: Measures = METRIC
) -> tuple[Stakes, Findings]:
    """``stakes.csv`` of a design: hubs at intervals, curve points, high and low points of each.

    Returns are set at their quarters. Of points nearer than `apart_m` the first counts; see
    `whole_layout`.
    """
    layers = [layer.name for layer in corridor.layers]
    taken = _Taken(apart_m)
    lists: list[Stakes] = []
    found: list[Finding] = []
    for street in _with_reference(corridor, stakes):
        points = interval_points.points_to_set(street.corridor, stakes, street.marks, layers, unit)
        points, left_out = taken.own(street, points)
        lists.append(points)
        found += _along_main(corridor, street, left_out)
    return join_stakes(lists), tuple(found)


def _with_reference(corridor: Corridor, stakes: StakeRules) -> Iterator[Street]:
    """The main street, and the others on which the hubs' reference is to be found."""
    for number, street in enumerate(streets_of(corridor)):
        if number == 0 or street.shows(stakes.reference):
            yield street


def whole_table(streets: tuple[StreetPoints, ...], rules: StakeRules) -> Table:
    """``layout.csv`` of all streets: as `table`, with the street's name."""
    layers = tuple(dict.fromkeys(name for one in streets for name in one.points.layers))
    parts = [table(one.corridor, one.points, rules) for one in streets]
    columns = (*FIRST, *(f"{column_name(name)}_elevation_m" for name in layers), *LAST)
    rows = []
    for part in parts:
        at = {name: k for k, name in enumerate(part.columns)}
        rows += [
            tuple(row[at[name]] if name in at else "" for name in columns) for row in part.rows
        ]
    return Table("layout", columns, tuple(rows), parts[0].text_columns)
