"""The lines that a crew walks along: the main street, and every other part with sections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.compose import ordered
from pipeline.compare.levels import elsewhere, ruling
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design import feet as feet_of
from pipeline.design.returns import fractions
from pipeline.design.section import CROWN
from pipeline.model import Bools, Corridor, Feet, Finding, Floats, Ints, Layer, Part
from pipeline.units import format_side

BESIDE_M = 0.02
"""Design this far outside an edge is another part's, and the edge no end of the work."""
SAME_M = 1e-3
"""A place as near to two streets as this belongs to the first of them."""


@dataclass(frozen=True, slots=True, eq=False)
class Street:
    """One line of a design: a street, a curb return, the edge of a bulb or an eyebrow.

    ``corridor`` is the whole design seen from this line: station, offset, breaks and profile
    are its own, and the other parts rule where they come before it. ``prefix`` begins its
    ids, empty for the main street. ``marks`` are places of its own that are set, such as the
    quarters of a return, as (station, what).
    """

    name: str
    prefix: str
    kind: str
    corridor: Corridor
    marks: tuple[tuple[float, str], ...] = ()

    def id(self, own: str) -> str:
        """An id of the street's own list, as it is called among those of all streets."""
        return f"{self.prefix}-{own}" if self.prefix else own

    def has(self, layer: str) -> bool:
        """True where the street has sections of the layer."""
        return any(one.name == layer and one.surface is None for one in self.corridor.layers)

    def shows(self, break_name: str) -> bool:
        """True where some layer has a break of this name, or the line itself is that break."""
        name = own_name(self.corridor, break_name)
        return any(name in layer.breaks for layer in self.corridor.layers)


def streets_of(corridor: Corridor) -> tuple[Street, ...]:
    """The main street first, then every part with sections in order of priority."""
    made = [Street(corridor.name, "", "street", corridor)]
    for number, (name, part) in enumerate(ordered(corridor)):
        if not isinstance(part, Part) or part.corridor is None:
            continue
        short = "".join(word[0] for word in name.upper().split() if word[0].isalnum()) or "P"
        same = sum(one.prefix.rstrip("0123456789") == short for one in made)
        prefix = short if not same else f"{short}{same + 1}"
        marks = fractions(part.corridor) if part.kind == "return" else ()
        made.append(Street(name, prefix, part.kind, _seen_from(corridor, number), marks))
    return tuple(made)


def _seen_from(corridor: Corridor, number: int) -> Corridor:
    """The design with its part of this number in the place of the main street."""
    parts = [part if isinstance(part, Part) else _as_part(part) for _, part in ordered(corridor)]
    own = parts.pop(number).corridor
    if own is None:
        raise ValueError(f"part {number} of the design has no line: a fault in the caller")
    return replace(own, parts=tuple(parts), rank=number)


def _as_part(street: Corridor) -> Part:
    return Part(street.name, "street", corridor=replace(street, parts=(), rank=0))


def claimed(
    corridor: Corridor, layer: str, along: tuple[Floats, Floats], grid: tuple[Floats, Floats]
) -> Bools:
    """True where a place is this street's to tell of, shape (n,).

    Its own section rules there, or ground that has no line of its own: the corner inside a
    return, the ground of a bulb, a patch.
    """
    parts = [part for _, part in ordered(corridor)]
    _, owner = ruling(corridor, layer, along, grid)
    own = [
        isinstance(part, Corridor) or (isinstance(part, Part) and part.corridor is None)
        for part in parts
    ]
    found: Bools = (owner >= 0) & np.array(own, dtype=bool)[owner]
    return found


def inward(corridor: Corridor, layer: str, side: int, edge: tuple[Floats, Floats]) -> Bools:
    """True where another part of the design goes on outside an edge of the layer, (n,).

    Such an edge lies in a mouth, along a corner or a bulb: it ends nothing.

    Parameters
    ----------
    corridor : Corridor
    layer : str
    side : int
        -1 left, +1 right.
    edge : tuple of ndarray, shape (n,)
        Station and offset; NaN is no edge.
    """
    station, offset = edge
    found = np.zeros(len(station), dtype=bool)
    rows = np.flatnonzero(np.isfinite(station + offset))
    if corridor.parts and len(rows):
        out = offset[rows] + side * BESIDE_M
        east, north, _ = line.point_at(corridor.alignment, station[rows], out)
        found[rows] = np.isfinite(elsewhere(corridor, layer, east, north))
    return found


def nearest(
    streets: Sequence[Street], break_name: str, grid: tuple[Floats, Floats]
) -> tuple[Ints, tuple[Feet, ...]]:
    """The street to whose named break each place is nearest, and its feet on every street.

    Parameters
    ----------
    streets : sequence of Street
    break_name : str
        Followed where the street has it; else its outermost break on the place's side.
    grid : tuple of ndarray, shape (n,)
        Easting and northing.

    Returns
    -------
    street : ndarray of int, shape (n,)
        Its number; the first where two are equally near, and where none has such a break.
    feet : tuple of Feet
        One for each street.
    """
    feet = tuple(feet_of.locate(street.corridor.alignment, *grid) for street in streets)
    best = np.full(len(grid[0]), np.inf)
    chosen = np.zeros(len(grid[0]), dtype=np.int64)
    for number, (street, at) in enumerate(zip(streets, feet, strict=True)):
        away = _away(street.corridor, break_name, at)
        closer = away < best - SAME_M
        best, chosen = np.where(closer, away, best), np.where(closer, number, chosen)
    return chosen, feet


def _away(corridor: Corridor, break_name: str, at: Feet) -> Floats:
    """Distance from the break on the place's side; infinite where there is none beside it."""
    away = np.full(len(at.station), np.inf)
    station = np.clip(at.station, *reach_of(corridor))
    for layer in corridor.layers:
        for side in (-1, 1):
            rows = np.flatnonzero(side * at.offset >= 0)
            offset, _ = break_beside(corridor, layer, break_name, side, station[rows])
            # off an end the street begins there
            there = np.hypot(at.offset[rows] - offset, at.station[rows] - station[rows])
            away[rows] = np.fmin(away[rows], there)
    return away


def own_name(corridor: Corridor, break_name: str) -> str:
    """A break as the street's own sections call it: the line of a return is its lip."""
    return CROWN if break_name == corridor.on else break_name


def has_break(corridor: Corridor, layer: Layer, break_name: str, side: int) -> bool:
    """True where a layer has the break on this side; the line itself on each side with a curb."""
    name = own_name(corridor, break_name)
    if name == CROWN:
        return corridor.on == CROWN or any(side in one.side for one in corridor.layers)
    return (name, side) in zip(layer.breaks, layer.side, strict=True)


def break_beside(
    corridor: Corridor, layer: Layer, break_name: str, side: int, station: Floats
) -> tuple[Floats, Floats]:
    """Offset and elevation of a break on one side of a layer; NaN where the street has none.

    Nor has it one where another part of the design goes on outside it: in a mouth, or under a
    street that comes before it.
    """
    if layer.surface is not None or not has_break(corridor, layer, break_name, side):
        return np.full(len(station), np.nan), np.full(len(station), np.nan)
    name = own_name(corridor, break_name)
    offset, z = sections.break_line(corridor, layer.name, name, side, station)
    gone = np.isnan(z) | inward(corridor, layer.name, side, (station, offset))
    return np.where(gone, np.nan, offset), np.where(gone, np.nan, z)


def edge_name(layer: Layer, side: int) -> str:
    """Name of the outermost break on one side (-1 left, +1 right)."""
    return layer.breaks[-1 if side > 0 else 0]


def side_word(corridor: Corridor | None, offset: float) -> str:
    """``L``, ``R``, ``CL``; empty on the line of a return or a bulb, which is no centreline."""
    word = format_side(offset)
    return "" if word == "CL" and corridor is not None and corridor.on != CROWN else word


def home_of(
    corridor: Corridor, layer: str, grid: tuple[Floats, Floats]
) -> tuple[tuple[Street, ...], Ints, Feet]:
    """The part of a design that each place is told along, and its station and offset there.

    The part that rules there; where none with a line of its own does, the one whose
    sections are nearest.

    Returns
    -------
    streets : tuple of Street
    number : ndarray of int, shape (n,)
        Which of them.
    feet : Feet
        Along that one.
    """
    streets = streets_of(corridor)
    feet = [feet_of.locate(street.corridor.alignment, *grid) for street in streets]
    number = np.zeros(len(grid[0]), dtype=np.int64)
    if len(streets) > 1 and len(number):
        out = [_outside(street.corridor, at) for street, at in zip(streets, feet, strict=True)]
        number = np.argmin(np.stack(out), axis=0)
        main = feet[0]
        _, owner = ruling(corridor, layer, (main.station, main.offset), grid)
        names = [name for name, _ in ordered(corridor)]
        for k, street in enumerate(streets):
            number[owner == names.index(street.name)] = k
    columns = ("station", "offset", "feet", "beyond")
    rows = np.arange(len(number))
    own = {name: np.stack([getattr(at, name) for at in feet])[number, rows] for name in columns}
    return streets, number, Feet(**own)


def _outside(corridor: Corridor, at: Feet) -> Floats:
    """How far places lie outside a street's sections, or off its line where those have ended."""
    station = np.clip(at.station, *reach_of(corridor))
    widest = np.zeros(len(station))
    for layer in corridor.layers:
        for name, side in zip(layer.breaks, layer.side, strict=True):
            offset, z = sections.break_line(corridor, layer.name, name, side, station)
            here = np.isfinite(z) & (offset * at.offset > 0)
            widest = np.where(here, np.fmax(widest, np.abs(offset)), widest)
    across = np.clip(np.abs(at.offset) - widest, 0.0, None)
    # of two streets that hold a place the one whose line is nearer
    return np.hypot(across, at.station - station) + 1e-6 * np.abs(at.offset)


def told_from(main: Corridor, street: Corridor, finding: Finding) -> Finding:
    """A finding of another street: named in its words, its place along the main street."""
    named = replace(finding, text=f"{street.name}: {finding.text}")
    if np.isnan(finding.station):
        return named
    offset = 0.0 if np.isnan(finding.offset) else finding.offset
    east, north, _ = line.point_at(street.alignment, np.array([finding.station]), offset)
    at = feet_of.locate(main.alignment, east, north)
    return replace(named, station=float(at.station[0]), offset=float(at.offset[0]))


def reach_of(corridor: Corridor) -> tuple[float, float]:
    """First and last station that alignment and profile both cover."""
    alignment, profile = corridor.alignment, corridor.profile
    return (
        float(max(alignment.station[0], profile.station[0])),
        float(min(alignment.station[-1], profile.station[-1])),
    )
