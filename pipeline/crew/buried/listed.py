"""The list of buried and standing things, and the shots of them, as one."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.crew.match import match
from pipeline.model import Shots, Utilities, texts
from pipeline.settings_crew import HazardRules
from pipeline.units import format_length

NOTHING = Utilities(
    id=texts([]), kind=texts([]), easting=np.empty(0), northing=np.empty(0),
    lid=np.empty(0), depth_to_top=np.empty(0), note=texts([]),
)  # fmt: skip
"""An empty list."""
DIFFERS_M = 0.02
"""A shot that differs from the list by more is told [assumed]."""


class _Row(NamedTuple):
    """One thing as list and shots have it."""

    id: str
    kind: str
    easting: float
    northing: float
    top: float
    part: float
    listed: str
    shot: str
    note: str


def joined(listed: Utilities, shot: Shots, rules: HazardRules) -> dict[str, NDArray[Any]]:
    """List and shots as one: what is on both is one row."""
    of_shot = match((listed.easting, listed.northing), (shot.easting, shot.northing), rules.match_m)
    rows = []
    for i in range(len(listed)):
        hit = np.flatnonzero(of_shot == i)
        rows.append(_one(listed, i, shot, int(hit[0]) if len(hit) else -1))
    for k in np.flatnonzero(of_shot < 0):
        z = float(shot.elevation[k])
        place = float(shot.easting[k]), float(shot.northing[k])
        name = str(shot.id[k])
        rows.append(_Row(name, str(shot.code[k]), *place, z, z, "", name, "not on the list"))
    columns = {name: [getattr(row, name) for row in rows] for name in _Row._fields}
    numbers = {"easting", "northing", "top", "part"}
    return {
        name: np.array(cells, dtype=np.float64) if name in numbers else texts(cells)
        for name, cells in columns.items()
    }


def with_shots(listed: Utilities, shot: Shots, rules: HazardRules) -> Utilities:
    """The list as the morning found it, and after it what was shot and is on no list.

    Each thing stands where it was shot, its lid at the higher of list and shot; the depth of
    its part that breaks is that of the list, NaN where nobody knows.
    """
    rows = joined(listed, shot, rules)
    unlisted = np.full(len(rows["id"]) - len(listed), np.nan)
    return Utilities(
        id=rows["id"], kind=rows["kind"], easting=rows["easting"], northing=rows["northing"],
        lid=rows["top"], depth_to_top=np.concatenate([listed.depth_to_top, unlisted]),
        note=rows["note"],
    )  # fmt: skip


def _one(listed: Utilities, i: int, shot: Shots, k: int) -> _Row:
    """One row of the list with its shot, if any."""
    recorded = float(listed.lid[i])
    measured = float(shot.elevation[k]) if k >= 0 else float("nan")
    top = float(np.fmax(recorded, measured))
    depth = float(listed.depth_to_top[i])
    part = top if np.isnan(depth) else top - depth
    notes = [str(listed.note[i])] if listed.note[i] else []
    if np.isnan(depth):
        notes.append("depth to the part that breaks not on record: taken at the top")
    if k < 0:
        notes.append("not shot this morning")
    elif abs(measured - recorded) > DIFFERS_M:
        notes.append(f"shot {format_length(measured)} but list {format_length(recorded)}")
    # where it was shot is where it is
    east = float(shot.easting[k]) if k >= 0 else float(listed.easting[i])
    north = float(shot.northing[k]) if k >= 0 else float(listed.northing[i])
    shot_id = str(shot.id[k]) if k >= 0 else ""
    name, kind = str(listed.id[i]), str(listed.kind[i])
    return _Row(name, kind, east, north, top, part, "list", shot_id, "; ".join(notes))
