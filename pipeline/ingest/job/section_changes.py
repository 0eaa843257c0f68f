"""What changes the sections of ``sections.toml`` by station, table by table."""

from __future__ import annotations

import math
from typing import Any, Literal, cast

from pipeline.ingest.job.design_keys import Keys
from pipeline.model import (
    SIDES,
    CrossfallChange,
    CrownShift,
    CurbDrop,
    Depression,
    Opening,
    SectionChange,
    Superelevation,
    Widening,
)

_Keep = Literal["crossfall", "elevation"]
_Ease = Literal["linear", "smooth"]
_Pivot = Literal["crown", "left", "right"]


def read_changes(top: Keys) -> tuple[SectionChange, ...]:
    """The changes of a section table, in the order in which they are made.

    ``[[widening]]``, ``[[crown_shift]]``, ``[[crossfall]]``, ``[[superelevation]]``,
    ``[[curb_drop]]``, ``[[basin]]``, ``[[mouth]]``; of one kind in the order of the file.

    Raises
    ------
    DesignError
        An unknown key, or a value that does not belong there.
    """
    found: list[SectionChange] = []
    for kind, reader in _READERS.items():
        if kind in top.values:
            found += [reader(keys) for keys in top.tables(kind)]
    return tuple(found)


def _choice(keys: Keys, key: str, known: tuple[str, ...], default: str | None = None) -> str:
    if key not in keys.values and default is not None:
        return default
    value = keys.values.get(key)
    if value not in known:
        keys.refuse(key, " or ".join(f'"{one}"' for one in known))
    return str(value)


def _side(keys: Keys) -> int:
    return SIDES[_choice(keys, "side", ("left", "right"))]


def _ease(keys: Keys) -> _Ease:
    return cast("_Ease", _choice(keys, "ease", ("linear", "smooth"), "linear"))


def _keep(keys: Keys) -> _Keep:
    # never assumed: the two give different edges
    return cast("_Keep", _choice(keys, "keep", ("crossfall", "elevation")))


def _pivot(keys: Keys) -> _Pivot:
    return cast("_Pivot", _choice(keys, "pivot", ("crown", "left", "right"), "crown"))


def _points(keys: Keys, name: str) -> tuple[tuple[float, float], ...]:
    rows = keys.tables("at")
    for row in rows:
        row.only("station", name)
    return tuple((row.station("station"), row.number(name)) for row in rows)


def _crown_shift(keys: Keys) -> CrownShift:
    keys.only("keep", "ease", "at")
    return CrownShift(_points(keys, "offset_m"), _keep(keys), _ease(keys), keys.where)


def _widening(keys: Keys) -> Widening:
    keys.only("side", "inside", "keep", "ease", "at")
    return Widening(
        _side(keys), keys.text("inside"), _points(keys, "width_m"), _keep(keys), _ease(keys),
        keys.where,
    )  # fmt: skip


def _crossfall(keys: Keys) -> CrossfallChange:
    keys.only("to", "pivot", "ease", "at")
    rows = keys.tables("at")
    given = [row.values.keys() & {"left_pct", "right_pct"} for row in rows]
    for row, names in zip(rows, given, strict=True):
        row.only("station", "left_pct", "right_pct")
        if names != given[0] or not names:
            row.refuse("left_pct", "the same sides at every station, at least one of them")
    points = tuple(
        (row.station("station"), _percent(row, "left_pct"), _percent(row, "right_pct"))
        for row in rows
    )
    return CrossfallChange(keys.text("to"), points, _pivot(keys), _ease(keys), keys.where)


def _percent(keys: Keys, name: str) -> float:
    return keys.number(name) / 100.0 if name in keys.values else math.nan


def _superelevation(keys: Keys) -> Superelevation:
    keys.only(
        "to", "turn", "curve_from", "curve_to", "full_pct", "normal_pct", "runoff_m",
        "share_on_tangent", "pivot",
    )  # fmt: skip
    return Superelevation(
        at=keys.text("to"),
        turn=SIDES[_choice(keys, "turn", ("left", "right"))],
        start=keys.station("curve_from"),
        end=keys.station("curve_to"),
        full=keys.number("full_pct") / 100.0,
        normal=keys.number("normal_pct") / 100.0,
        length=keys.number("runoff_m"),
        share=keys.number("share_on_tangent"),
        pivot=_pivot(keys),
        where=keys.where,
    )


def _curb_drop(keys: Keys) -> CurbDrop:
    keys.only("side", "from", "to", "taper_m", "height_m", "top", "foot")
    return CurbDrop(
        _side(keys), keys.station("from"), keys.station("to"), keys.number("taper_m"),
        keys.number("height_m"), keys.text("top"), keys.text("foot"), keys.where,
    )  # fmt: skip


def _basin(keys: Keys) -> Depression:
    keys.only(
        "side", "at", "basin", "foot", "depth_m", "length_m", "taper_m", "width_m", "below",
        "curb_down_m",
    )  # fmt: skip
    if len(keys.values.keys() & {"at", "basin"}) != 1:
        keys.refuse("at", "a station, or under basin an id of the list of recorded things: one")
    return Depression(
        side=_side(keys),
        foot=keys.text("foot"),
        depth=_at_least(keys, "depth_m", above=True),
        length=_at_least(keys, "length_m"),
        taper=_at_least(keys, "taper_m", above=True),
        width=_at_least(keys, "width_m", above=True),
        # never assumed: a pad that does not follow leaves the curb too thin
        follow=_choice(keys, "below", ("follow", "stay")) == "follow",
        station=keys.station("at") if "at" in keys.values else math.nan,
        basin=keys.text("basin") if "basin" in keys.values else "",
        curb_down=_at_least(keys, "curb_down_m") if "curb_down_m" in keys.values else 0.0,
        where=keys.where,
    )


def _at_least(keys: Keys, key: str, *, above: bool = False) -> float:
    value = keys.number(key)
    if value < 0.0 or (above and value == 0.0):
        keys.refuse(key, "metres, above zero" if above else "metres, not below zero")
    return value


def _mouth(keys: Keys) -> Opening:
    keys.only("side", "from", "to", "at")
    return Opening(
        _side(keys), keys.station("from"), keys.station("to"), keys.text("at"), keys.where
    )


_READERS: dict[str, Any] = {
    "widening": _widening,
    "crown_shift": _crown_shift,
    "crossfall": _crossfall,
    "superelevation": _superelevation,
    "curb_drop": _curb_drop,
    "basin": _basin,
    "mouth": _mouth,
}
KINDS = tuple(_READERS)
