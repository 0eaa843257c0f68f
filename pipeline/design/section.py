"""The cross-section: named breaks at their offsets and heights, as it changes along the road."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import DesignError
from pipeline.model import (
    SIDE_WORDS,
    BreakRow,
    Floats,
    Ints,
    Layer,
    SectionLayer,
    SectionRow,
    SectionTable,
)
from pipeline.settings import LayerRule
from pipeline.units import Called, format_station

CROWN = "crown"
PLAIN: Called = partial(format_station, step=0.001)
"""A station as counted, where no alignment says how it reads."""
SLACK_M = 1e-6
"""An offset or a station this far past an end is still on the section: shots come from a grid."""


def layers(
    table: SectionTable, rules: Iterable[LayerRule], called: Called = PLAIN
) -> tuple[Layer, ...]:
    """The section layers of a table, in the order of the rules.

    A rule with a file names a surface of its own and is left out here.

    Parameters
    ----------
    table : SectionTable
        Sections in any order. Between two that do not touch every break moves
        linearly; where two touch they change at once, and the breaks may differ.
    rules : iterable of LayerRule
    called : callable
        What people call a station, for a refusal.

    Returns
    -------
    tuple of Layer
        ``crown`` is the break of side 0. A break that a section does not have is
        NaN there; so is a whole layer that a section does not have.

    Raises
    ------
    DesignError
        Sections overlap; a transition joins sections whose layers or breaks
        differ; breaks come in contradicting order; a rule has no layer in the
        table, or the table a layer without a rule.
    """
    chosen = [rule for rule in rules if not rule.file]
    sections = sorted(table.sections, key=lambda section: section.start)
    _check_order(sections, called)
    names = list(dict.fromkeys(layer.name for row in sections for layer in row.layers))
    unlisted = [name for name in names if name not in {rule.name for rule in chosen}]
    if unlisted:
        raise DesignError(
            f"section table {table.name!r}, layer {unlisted[0]!r}",
            "the job lists no layer of that name; it lists "
            + (", ".join(repr(rule.name) for rule in chosen) or "none without a file"),
            "list it as a layer of the job, or correct the name",
        )
    return tuple(_layer(table, sections, rule, names) for rule in chosen)


def _check_order(sections: Sequence[SectionRow], called: Called) -> None:
    for row in sections:
        if not row.start < row.end:
            raise DesignError(
                _name(row),
                f"it runs from {called(row.start)} to {called(row.end)}",
                "give from before to",
            )
    for before, row in itertools.pairwise(sections):
        if row.start < before.end:
            raise DesignError(
                _name(row),
                f"it begins at station {called(row.start)}, inside {_name(before)},"
                f" which ends at {called(before.end)}",
                "let one section end before the next begins",
            )


def _name(row: SectionRow) -> str:
    return f"{row.where} (section {row.name!r})" if row.where else f"section {row.name!r}"


def _layer(
    table: SectionTable, sections: Sequence[SectionRow], rule: LayerRule, names: list[str]
) -> Layer:
    parts = [_part(row, rule.name) for row in sections]
    if not any(parts):
        raise DesignError(
            f"layer {rule.name!r}",
            f"no section of {table.name!r} has it; there are "
            + (", ".join(repr(name) for name in names) or "none"),
            "correct the name, give the layer to a section or name its file",
        )
    pairs = list(zip(sections, parts, strict=True))
    for (before, one), (row, other) in itertools.pairwise(pairs):
        if row.start > before.end:
            _check_transition(before, one, row, other, rule.name)
    sides = {
        side: _merged_order([(row, _half(part, side)) for row, part in pairs if part], rule.name)
        for side in (-1, 1)
    }
    left = sides[-1][::-1]
    breaks = (*left, CROWN, *sides[1])
    station = [at for row in sections for at in (row.start, row.end)]
    offset = np.full((len(station), len(breaks)), np.nan)
    rise = np.full_like(offset, np.nan)
    for number, part in enumerate(parts):
        if part is not None:
            for break_at, o, z in _walk(part, sides):
                offset[2 * number : 2 * number + 2, len(left) + break_at] = o
                rise[2 * number : 2 * number + 2, len(left) + break_at] = z
    return Layer(
        name=rule.name,
        title=rule.title or rule.name,
        breaks=breaks,
        side=(*(-1 for _ in left), 0, *(1 for _ in sides[1])),
        station=np.array(station),
        offset=offset,
        rise=rise,
    )


def _part(row: SectionRow, name: str) -> SectionLayer | None:
    return next((layer for layer in row.layers if layer.name == name), None)


def _half(part: SectionLayer, side: int) -> tuple[BreakRow, ...]:
    return part.right if side > 0 else part.left


def _walk(part: SectionLayer, sides: dict[int, list[str]]) -> Iterable[tuple[int, float, float]]:
    """Place among the breaks (0: the crown), offset and rise of each break of a section."""
    yield 0, part.crown_offset, -part.drop
    for side in (-1, 1):
        offset, rise = part.crown_offset, -part.drop
        for row in _half(part, side):
            offset += side * row.width
            rise += row.rise
            yield side * (1 + sides[side].index(row.name)), offset, rise


def _check_transition(
    before: SectionRow, one: SectionLayer | None, row: SectionRow, other: SectionLayer | None,
    name: str,
) -> None:  # fmt: skip
    """Refuse a transition between sections that do not have the same breaks."""
    between = f"{_name(before)} and {_name(row)}"
    do = "give both the same, or let one section begin where the other ends"
    if one is None or other is None:
        if one is not other:
            owner = before if other is None else row
            raise DesignError(
                f"layer {name!r} between {between}", f"only section {owner.name!r} has it", do
            )
        return
    for side in (-1, 1):
        halves = [[row.name for row in _half(part, side)] for part in (one, other)]
        if halves[0] == halves[1]:
            continue
        odd = [n for n in halves[0] if n not in halves[1]] or [
            n for n in halves[1] if n not in halves[0]
        ]
        found = (
            f"only one of them has the break {odd[0]!r} on the {SIDE_WORDS[side]}"
            if odd
            else f"their breaks on the {SIDE_WORDS[side]} come in another order:"
            f" {', '.join(halves[0])} and {', '.join(halves[1])}"
        )
        raise DesignError(f"layer {name!r} between {between}", found, do)


def _merged_order(
    halves: Sequence[tuple[SectionRow, tuple[BreakRow, ...]]], layer: str
) -> list[str]:
    """Every break of one side from the crown outward, in an order that suits every section."""
    order: list[str] = []
    for row, half in halves:
        names = [one.name for one in half]
        twice = next((n for n in names if names.count(n) > 1 or n == CROWN), None)
        if twice is not None:
            raise DesignError(
                f"{_name(row)}, layer {layer!r}",
                f"the break {twice!r} is there twice on one side",
                "give each break its own name",
            )
        at = 0
        for name in names:
            if name not in order:
                order.insert(at, name)
            elif order.index(name) < at:
                raise DesignError(
                    f"{_name(row)}, layer {layer!r}",
                    f"the break {name!r} lies farther out than in the sections before it",
                    "keep one order of the breaks, or give it another name",
                )
            at = order.index(name) + 1
    return order


def span_of(layer: Layer, station: ArrayLike) -> tuple[Ints, Floats]:
    """Rows between which stations lie, and how far along (0 to 1; NaN off the layer).

    At an abrupt change the section ahead counts, at the layer's end the one behind.
    """
    s = np.asarray(station, dtype=np.float64)
    rows = np.searchsorted(layer.station, s, side="right") - 1
    i = np.asarray(np.clip(rows, 0, len(layer.station) - 2), dtype=np.int64)
    start, end = layer.station[i], layer.station[i + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (s - start) / (end - start)
    on = (s >= layer.station[0] - SLACK_M) & (s <= layer.station[-1] + SLACK_M)
    return i, np.where(on, np.clip(along, 0.0, 1.0), np.nan)


def between(values: Floats, span: tuple[Ints, Floats]) -> Floats:
    """`values`, (k,) or (k, b), of a layer's rows at the stations of a span."""
    i, along = span
    share = along if values.ndim == 1 else along[..., None]
    return np.asarray(values[i] + share * (values[i + 1] - values[i]))


def filled(layer: Layer) -> tuple[Floats, Floats]:
    """Offset and rise with each break that a section lacks at the place of its inner neighbour.

    The shape of the section is unchanged; a layer that a section lacks stays NaN.
    """
    offset, rise = layer.offset.copy(), layer.rise.copy()
    for inner, outer in pairs_outward(layer):
        missing = np.isnan(offset[:, outer])
        offset[missing, outer] = offset[missing, inner]
        rise[missing, outer] = rise[missing, inner]
    return offset, rise


def pairs_outward(layer: Layer) -> list[tuple[int, int]]:
    """Neighbouring breaks, inner and outer, from the crown out: the right side, then the left."""
    crown = layer.side.index(0)
    right = [(j, j + 1) for j in range(crown, len(layer.breaks) - 1)]
    left = [(j, j - 1) for j in range(crown, 0, -1)]
    return right + left


def column_of(layer: Layer, name: str, side: int) -> int:
    """Column of a named break on one side (-1 left, 0 crown, +1 right).

    Raises
    ------
    DesignError
        No name, or no such break; the message lists those there are.
    """
    for column, (have, at) in enumerate(zip(layer.breaks, layer.side, strict=True)):
        if have == name and at in (side, 0):
            return column
    if layer.surface is not None:
        known = "none: it is a surface of its own"
    else:
        known = ", ".join(
            n for n, at in zip(layer.breaks, layer.side, strict=True) if at in (side, 0)
        )
    asked = f"break {name!r}" if name else "a break without a name"
    raise DesignError(
        f"layer {layer.name!r}, {SIDE_WORDS.get(side, side)}",
        f"{asked} is asked for; there are {known}",
        "name the break that the height is measured to",
    )
