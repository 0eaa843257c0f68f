"""The points to set as an instrument takes them: any order of columns, ids of any length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.crew.hubs.references import layer_with
from pipeline.errors import JobError
from pipeline.model import Corridor, Floats, Stakes, Table, Texts, texts
from pipeline.model.arrays import lock_fields
from pipeline.settings import StakeRules
from pipeline.settings_crew import InstrumentRules
from pipeline.units import format_length


@dataclass(frozen=True, slots=True, eq=False)
class SetOut:
    """n points to set: where, how high, and what they are. ``elevation`` is NaN where none is."""

    id: Texts
    easting: Floats
    northing: Floats
    elevation: Floats
    code: Texts
    note: Texts

    def __post_init__(self) -> None:
        n = len(self.easting)
        lock_fields(self, dict.fromkeys(("id", "code", "note"), (object, (n,))))
        numbers = ("easting", "northing", "elevation")
        lock_fields(self, dict.fromkeys(numbers, (np.float64, (n,))))

    def __len__(self) -> int:
        return len(self.easting)


def short_ids(ids: Sequence[str], limit: int) -> list[str]:
    """Ids of at most `limit` characters that stay different from each other.

    One that is short enough is kept as it is. A longer one keeps its head and gets a
    number where the head is taken already.

    Examples
    --------
    >>> short_ids(["0120.0L", "left lath 0120", "left lath 0130"], 9)
    ['0120.0L', 'left lath', 'left la~1']
    """
    kept = {name for name in ids if len(name) <= limit}
    short = []
    for name in ids:
        if len(name) <= limit:
            short.append(name)
            continue
        candidate, number = name[:limit].rstrip(), 0
        while candidate in kept:
            number += 1
            tail = f"~{number}"
            candidate = f"{name[: limit - len(tail)]}{tail}"
        kept.add(candidate)
        short.append(candidate)
    return short


def set_out(
    corridor: Corridor, stakes: Stakes, rules: InstrumentRules, stake_rules: StakeRules
) -> SetOut:
    """The points to set with one elevation each, that of a layer which the note names.

    Raises
    ------
    JobError
        ``instrument.layer`` is no layer.
    DesignError
        The rules name no layer and none has the hub reference.
    """
    layer = rules.layer or layer_with(corridor, stake_rules.reference)
    if layer not in stakes.layers:
        raise JobError(
            "instrument.layer",
            f"found {layer!r}, but the layers are {', '.join(stakes.layers)}",
            "name one of them",
        )
    column = stakes.layers.index(layer)
    notes = []
    for k in range(len(stakes)):
        on = f"{layer} at {stake_rules.reference}" if stakes.kind[k] == "stake" else layer
        notes.append(f"{stakes.what[k]}; height of {on}")
    return SetOut(
        id=texts(short_ids([str(name) for name in stakes.id], rules.id_limit)),
        easting=stakes.easting,
        northing=stakes.northing,
        elevation=stakes.design[:, column],
        code=texts(["STK" if kind == "stake" else str(mark) for kind, mark in
                    zip(stakes.kind, stakes.mark, strict=True)]),
        note=texts(notes),
    )  # fmt: skip


def held(points: SetOut, rules: InstrumentRules) -> SetOut:
    """The points of a day that a finding stops: HOLD in every note, code and, failing both, id.

    An instrument shows what the job's columns carry, so the word goes where it is seen.
    """
    ids = [str(name) for name in points.id]
    if not {"note", "code"} & set(rules.columns):
        ids = short_ids([f"HOLD {name}" for name in ids], rules.id_limit)
    return replace(
        points,
        id=texts(ids),
        code=texts([f"HOLD {word}" for word in points.code]),
        note=texts([f"HOLD {word}" for word in points.note]),
    )


def table(points: SetOut, rules: InstrumentRules) -> Table:
    """``instrument.csv`` in the job's order of columns; coordinates to the millimetre."""
    numbers = {"northing", "easting", "elevation"}
    rows = [
        tuple(
            format_length(float(getattr(points, name)[k]))
            if name in numbers
            else str(getattr(points, name)[k])
            for name in rules.columns
        )
        for k in range(len(points))
    ]
    return Table("instrument", tuple(rules.columns), tuple(rows), frozenset({"id", "code", "note"}))
