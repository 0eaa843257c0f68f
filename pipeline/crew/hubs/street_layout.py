"""The points to set of a whole design: the main street's, then those of every other part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compare.levels import layer_elevation
from pipeline.crew.hubs.hub_places import Marks, on_side
from pipeline.crew.hubs.layout import points_to_set, table
from pipeline.crew.hubs.stakes import FIRST, LAST, column_name
from pipeline.design import alignment as line
from pipeline.design.returns import fractions
from pipeline.model import (
    Corridor,
    Finding,
    Findings,
    Floats,
    Ints,
    Stakes,
    Table,
    Utilities,
    texts,
)
from pipeline.settings import LayoutRules, StakeRules


@dataclass(frozen=True, slots=True, eq=False)
class StreetPoints:
    """The points of one street, return or edge, with the short name its ids begin with."""

    name: str
    prefix: str
    corridor: Corridor
    points: Stakes


def whole_layout(
    corridor: Corridor, stakes: StakeRules, rules: LayoutRules, things: Utilities | None
) -> tuple[tuple[StreetPoints, ...], Findings]:
    """The points of a design and of every part of it that has sections.

    Each as `points_to_set`; the main street first, then in order of priority. A point
    nearer than ``apart_m`` to an earlier one is that one again and is left away; a hub
    that would stand on the design of another part is left out and told.
    """
    found: list[Finding] = []
    made: list[StreetPoints] = []
    taken = np.empty((0, 2))
    for name, prefix, street, marks in _streets(corridor):
        if not any(on_side(street, stakes.reference, side) for side in (-1, 1)) and made:
            continue
        points, told = points_to_set(street, stakes, rules, things, marks)
        found += told
        rows, left = _own_rows(corridor, points, (name, taken), rules.apart_m)
        found += left
        points = _rows_of(points, rows, prefix)
        taken = np.concatenate([taken, np.stack([points.easting, points.northing], axis=1)])
        made.append(StreetPoints(name, prefix, street, points))
    return tuple(made), tuple(found)


def _streets(corridor: Corridor) -> list[tuple[str, str, Corridor, Marks]]:
    """Name, short name, corridor and named points of every part with sections."""
    made: list[tuple[str, str, Corridor, Marks]] = [(corridor.name, "", corridor, ())]
    for part in corridor.parts:
        if part.corridor is None:
            continue
        short = "".join(word[0] for word in part.name.upper().split() if word[0].isalnum()) or "P"
        same = sum(prefix.rstrip("0123456789") == short for _, prefix, _, _ in made)
        prefix = short if not same else f"{short}{same + 1}"
        marks = fractions(part.corridor) if part.kind == "return" else ()
        made.append((part.name, prefix, part.corridor, marks))
    return made


def _own_rows(
    corridor: Corridor, points: Stakes, before: tuple[str, Floats], apart: float
) -> tuple[Ints, list[Finding]]:
    """Points that no earlier street has, hubs that stand on no other part of the design."""
    name, taken = before
    feet = line.locate(corridor.alignment, points.easting, points.northing)
    level = layer_elevation(
        corridor, corridor.layers[0], feet.station, feet.offset, points.easting, points.northing
    )
    rows, told = [], []
    for i in range(len(points)):
        away = np.hypot(taken[:, 0] - points.easting[i], taken[:, 1] - points.northing[i])
        if len(taken) and away.min() < apart:
            continue
        if points.kind[i] == "stake" and np.isfinite(level[i]):
            told.append(
                Finding(
                    "note", "point left out",
                    f"hub {points.id[i]} of {name}: it would stand on another part of the design",
                    "nothing to do", station=float(points.station[i]),
                )
            )  # fmt: skip
            continue
        rows.append(i)
    return np.array(rows, dtype=np.int64), told


def _rows_of(points: Stakes, rows: Ints, prefix: str) -> Stakes:
    """Some of the points, their ids beginning with the short name of their street."""
    columns = {
        name: getattr(points, name)[rows]
        for name in Stakes.__dataclass_fields__
        if name != "layers"
    }
    ids = [f"{prefix}-{one}" if prefix else str(one) for one in columns["id"]]
    return Stakes(layers=points.layers, **{**columns, "id": texts(ids)})


def whole_table(streets: tuple[StreetPoints, ...], rules: StakeRules) -> Table:
    """``layout.csv`` of all streets: as `table`, with the street's name."""
    layers = tuple(dict.fromkeys(name for one in streets for name in one.points.layers))
    parts = [table(one.corridor, one.points, rules) for one in streets]
    columns = ("street", *FIRST, *(f"{column_name(name)}_elevation_m" for name in layers), *LAST)
    rows = []
    for one, part in zip(streets, parts, strict=True):
        at = {name: k for k, name in enumerate(part.columns)}
        rows += [
            (one.name, *(row[at[name]] if name in at else "" for name in columns[1:]))
            for row in part.rows
        ]
    return Table("layout", columns, tuple(rows), parts[0].text_columns | {"street"})
