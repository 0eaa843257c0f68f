"""What a shot is held against: a design break, a known point, a shot of another group.

Checks know no design. They are given its breaks as `BreakLine` and turn shots
into residuals and groups that `bust` and `constants` judge.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pipeline.checks.telling import at
from pipeline.model import (
    BreakLine,
    Feet,
    Finding,
    Findings,
    Floats,
    Ints,
    Shots,
    Texts,
    Utilities,
    texts,
)
from pipeline.model.arrays import lock_fields, numbered, of_each
from pipeline.model.telling import counted
from pipeline.settings import Code

Breaks: TypeAlias = Sequence[BreakLine]
ENDS_M = 0.5
"""A break reaches this far past its ends [assumed]."""
LEAST_M = 0.02
"""Smaller steps between breaks cannot be told from shot noise [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """n shots held against the breaks that their codes name.

    ``residual`` is shot minus design [m], NaN where there is none; ``aside`` the
    distance across the street to the nearest break of that name [m], NaN where
    there is none; ``line`` which of the breaks that is, -1 for none.
    """

    residual: Floats
    aside: Floats
    line: Ints

    def __post_init__(self) -> None:
        n = len(self.residual)
        lock_fields(self, dict.fromkeys(("residual", "aside"), (np.float64, (n,))))
        lock_fields(self, {"line": (np.int64, (n,))})


def break_at(line: BreakLine, station: ArrayLike) -> tuple[Floats, Floats]:
    """Offset and elevation of a break at stations [m]; NaN off its ends or where there is none.

    Up to `ENDS_M` past an end it is that of the end: the first row of shots does not
    stand on the first station to the centimetre.
    """
    return _column_at(line, line.offset, station), _column_at(line, line.elevation, station)


def offset_at(line: BreakLine, station: ArrayLike) -> Floats:
    """Offset of a break at stations [m], as `break_at` has it."""
    return _column_at(line, line.offset, station)


def _column_at(line: BreakLine, column: Floats, station: ArrayLike) -> Floats:
    s = np.asarray(station, dtype=np.float64)
    if not len(line.station):
        return np.full(s.shape, np.nan)
    inside = np.clip(s, line.station[0], line.station[-1])
    s = np.where(np.abs(s - inside) <= ENDS_M, inside, s)
    return np.asarray(np.interp(s, line.station, column, left=np.nan, right=np.nan))


def section_height(section: Breaks, station: ArrayLike, offset: ArrayLike) -> Floats:
    """Elevation of a layer between its breaks [m], linear across; NaN outside of them.

    Parameters
    ----------
    section : sequence of BreakLine
        All breaks of one layer, from left to right.
    station, offset : array_like, shape (n,)
        Metres.

    Notes
    -----
    Breaks that are missing at a station (NaN) are passed over.
    """
    s, o = np.asarray(station, np.float64), np.asarray(offset, np.float64)
    height = np.full(s.shape, np.nan)
    last_offset, last_height = np.full(s.shape, np.nan), np.full(s.shape, np.nan)
    for line in section:
        out, z = break_at(line, s)
        width = out - last_offset
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(width > 0, (o - last_offset) / width, 1.0)
        here = np.isnan(height) & (o >= last_offset - 1e-6) & (o <= out + 1e-6)
        height = np.where(here, last_height + share * (z - last_height), height)
        there = ~np.isnan(out)
        last_offset = np.where(there, out, last_offset)
        last_height = np.where(there, z, last_height)
    return height


def edges(section: Breaks, station: ArrayLike) -> tuple[Floats, Floats]:
    """Leftmost and rightmost break of a layer at stations [m]; NaN where there is none."""
    s = np.asarray(station, dtype=np.float64)
    if not section:
        return np.full(s.shape, np.nan), np.full(s.shape, np.nan)
    outs = np.stack([offset_at(line, s) for line in section])
    none = np.isnan(outs).all(axis=0)
    left = np.where(none, np.nan, np.min(np.where(np.isnan(outs), np.inf, outs), axis=0))
    right = np.where(none, np.nan, np.max(np.where(np.isnan(outs), -np.inf, outs), axis=0))
    return left, right


def against_breaks(
    feet: Feet, elevation: ArrayLike, stated: Texts, breaks: Breaks, reach_m: float
) -> Held:
    """Each shot against the design break that its code names.

    Parameters
    ----------
    feet : Feet
        Where the n shots lie.
    elevation : array_like, shape (n,)
        Metres.
    stated : Texts, shape (n,)
        Name of the break, as from `stated_breaks`; empty: none.
    breaks : sequence of BreakLine
        Those whose height the shots claim to have: of today's layer for ground,
        of the finished surface for curb and hubs. A name occurs once a side.
    reach_m : float
        A shot farther across the street from the break has no residual [m].
    """
    z = np.asarray(elevation, dtype=np.float64)
    residual, aside = np.full(len(z), np.nan), np.full(len(z), np.nan)
    line_of = np.full(len(z), -1, dtype=np.int64)
    named = np.flatnonzero(stated != "")
    name = stated[named]
    for number, line in enumerate(breaks):
        rows = named[name == line.name]
        offset, height = break_at(line, feet.station[rows])
        gap = np.abs(feet.offset[rows] - offset)
        nearer = ~np.isnan(gap) & ~(gap >= aside[rows])
        aside[rows[nearer]] = gap[nearer]
        residual[rows[nearer]] = (z[rows] - height)[nearer]
        line_of[rows[nearer]] = number
    return Held(np.where(aside <= reach_m, residual, np.nan), aside, line_of)


def stated_breaks(base: Texts, codes: Mapping[str, Code]) -> Texts:
    """The break that each shot's code names; empty where it names none."""
    return of_each(base, lambda code: codes[code].break_name if code in codes else "")


def misplaced(shots: Shots, feet: Feet, stated: Texts, held: Held, reach_m: float) -> Findings:
    """Shots whose code names a break that lies elsewhere: one finding for each break."""
    far = held.aside > reach_m
    found = []
    for name in dict.fromkeys(stated[far].tolist()):
        rows = np.flatnonzero(far & (stated == name))
        text = (
            f"{counted(len(rows), 'shot')} coded as {name}, up to"
            f" {float(held.aside[rows].max()):.1f} m beside it: a line through them runs zigzag"
        )
        do = "correct the code, or shoot the break itself"
        found.append(at(Finding("person", "code away from its break", text, do), shots, rows, feet))
    return tuple(found)


def group_labels(shots: Shots) -> Texts:
    """One label a group: file, set-up and rod, as far as the file gives them.

    Two files are two groups even where neither names a set-up: nothing is known
    of their rods.
    """
    many = len(set(shots.file.tolist())) > 1

    def label(number: int, setup: str, rod: str) -> str:
        words = [f"set-up {setup}" if setup else "", f"rod {rod}" if rod else ""]
        if many or not any(words):
            words.append(f"of {shots.files[number]}")
        return " ".join(word for word in words if word)

    # three columns of few values: each different three is worded once
    setups, setup = numbered(shots.setup)
    rods, rod = np.unique(shots.rod, return_inverse=True)
    code = (shots.file * len(setups) + setup) * len(rods) + rod
    used, number = np.unique(code, return_inverse=True)
    labels = [
        label(one // len(rods) // len(setups), setups[one // len(rods) % len(setups)],
              "" if math.isnan(value) else f"{value:.3f}")
        for one, value in zip(used.tolist(), rods[used % len(rods)].tolist(), strict=True)
    ]  # fmt: skip
    return texts(labels)[number]


def matched(shots: Shots, record: Shots | Utilities, reach_m: float) -> Ints:
    """Row of the record that each shot stands on, -1 for none: by name, else by place.

    A record's id in the shot's own id or in its note counts first, so a slip of
    kilometres is still matched; else the nearest record within `reach_m`.
    """
    from scipy.spatial import cKDTree

    of_name = {str(name): k for k, name in reversed(list(enumerate(record.id))) if name}
    of_note = of_each(
        shots.note,
        lambda note: next((of_name[word] for word in note.split() if word in of_name), -1),
        np.int64,
    )
    rows = np.array([of_name.get(name, -1) for name in shots.id.tolist()], dtype=np.int64)
    rows = np.where(rows >= 0, rows, of_note)
    if len(record) and (rows < 0).any():
        origin = np.array([record.easting[0], record.northing[0]])
        places = np.column_stack([record.easting, record.northing]) - origin
        lost = np.flatnonzero(rows < 0)
        asked = np.column_stack([shots.easting[lost], shots.northing[lost]]) - origin
        distance, index = cKDTree(places).query(asked)
        near = np.asarray(distance) <= reach_m
        rows[lost[near]] = np.asarray(index)[near]
    return rows


def against_known(shots: Shots, record: Shots, reach_m: float) -> Floats:
    """Height of each shot minus that of the known point it stands on [m]; NaN on none.

    ``record`` is control, lids, hubs of yesterday: whatever is known by other means.
    """
    rows = matched(shots, record, reach_m)
    known = record.elevation[rows] if len(record) else np.full(len(shots), np.nan)
    # a match by name over a distance is a slip of place, which says nothing of the rod
    if len(record):
        far = np.hypot(shots.easting - record.easting[rows], shots.northing - record.northing[rows])
        known = np.where((rows >= 0) & (far <= reach_m), known, np.nan)
    return shots.elevation - known


def against_groups(shots: Shots, labels: Texts, codes: Texts, place_m: float) -> Floats:
    """Height of each shot minus the median of other groups' shots of its code there [m].

    Parameters
    ----------
    shots : Shots
        n shots.
    labels, codes : Texts, shape (n,)
        Group, and what was shot: only shots of one code are held against each other.
    place_m : float
        Overlap shots stand this near [m].

    Returns
    -------
    ndarray, shape (n,)
        NaN where no other group shot the same thing there. The two groups see
        each other with opposite sign: which of them is off shows where a third,
        or a known point, stands by.
    """
    from scipy.spatial import cKDTree

    residual = np.full(len(shots), np.nan)
    if len(shots) < 2 or len(set(labels.tolist())) < 2:
        return residual
    places = np.column_stack([shots.easting - shots.easting[0], shots.northing - shots.northing[0]])
    pairs = cKDTree(places).query_pairs(place_m, output_type="ndarray")
    both = np.concatenate([pairs, pairs[:, ::-1]])
    keep = (labels[both[:, 0]] != labels[both[:, 1]]) & (codes[both[:, 0]] == codes[both[:, 1]])
    order = both[keep][np.argsort(both[keep][:, 0], kind="stable")]
    if not len(order):
        return residual
    rows, start = np.unique(order[:, 0], return_index=True)
    for row, others in zip(rows, np.split(order[:, 1], start[1:]), strict=True):
        residual[row] = shots.elevation[row] - np.median(shots.elevation[others])
    return residual


def dictionary(
    breaks: Breaks, stated: tuple[str, str], side: int, station: float
) -> dict[str, float]:
    """Signed heights of other breaks over the stated one, at one station of one side.

    Parameters
    ----------
    breaks : sequence of BreakLine
        Of every layer that could be meant.
    stated : (layer, name)
        The break that the shots are said to be on.
    side : int
        -1 left, +1 right; the crown belongs to both.
    station : float
        Metres.

    Returns
    -------
    dict
        ``top back of curb for flowline`` -> +0.150 [m]: what shots read too high
        if the first was shot where the second is stated. Breaks of the same
        layer, and the same break of other layers: a thickness, ``gravel top for
        stabilised top``. Steps under 20 mm are left out.
    """
    of = {(line.layer, line.name): line for line in breaks if line.side in (0, side)}
    if stated not in of:
        return {}
    zero = float(break_at(of[stated], station)[1])
    found = {}
    for (layer, name), line in of.items():
        if (layer == stated[0]) == (name == stated[1]):
            continue
        step = float(break_at(line, station)[1]) - zero
        said = f"{name} for {stated[1]}" if layer == stated[0] else f"{layer} for {stated[0]}"
        if abs(step) >= LEAST_M:
            found[said] = step
    return found
