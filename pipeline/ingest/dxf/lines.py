"""Drawn lines as linework in metres: what each is, and which cannot be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.ingest.dxf.chain import chain
from pipeline.ingest.dxf.walk import Gathered, Origin
from pipeline.ingest.limits import no_height, no_place, zero_heights
from pipeline.model import NO_LINES, Bools, Floats, Ints, Linework

Bad = tuple[Origin, str, str]
"""Where, kind of finding, what is wrong."""

RINGS = ("boundary", "hole")


@dataclass(slots=True)
class Judged:
    """Lines that can be used, and what there is to say about the others.

    ``pieces`` loose pieces became ``chains`` lines. ``at_zero`` counts lines by layer
    that lie at height 0 and are taken to have none; ``bare`` rings laid on the ground;
    ``open_rings`` those that do not come back to their first point.
    """

    lines: Linework = NO_LINES
    bad: list[Bad] = field(default_factory=list)
    pieces: int = 0
    chains: int = 0
    short: int = 0
    twice: int = 0
    at_zero: Counter[str] = field(default_factory=Counter)
    bare: Counter[str] = field(default_factory=Counter)
    open_rings: list[Origin] = field(default_factory=list)


@dataclass(slots=True)
class _Line:
    xyz: Floats
    origin: Origin
    role: str
    bare: bool
    """Without heights."""


def judge_lines(found: Gathered, role: Callable[[str], str | None], metres: float) -> Judged:
    """Lines and loose pieces as `Linework`.

    Parameters
    ----------
    found : Gathered
    role : callable
        What lies on a layer: ``ground``, ``break``, ``boundary`` or ``hole``.
    metres : float
        Metres in the drawing's unit.

    Returns
    -------
    Judged
        ``kind`` is ``break``; ``boundary`` or ``hole`` by the layer; ``string`` for
        a line at height 0 that nobody says is meant there, its heights NaN. So are
        the heights of rings drawn flat. ``name`` is the layer, ``point`` -1.
    """
    judged = Judged(pieces=len(found.loose))
    drawn = [
        _line(xyz, origin, str(role(origin.layer)), flat)
        for xyz, origin, flat in zip(found.lines, found.line_of, found.flat, strict=True)
    ]
    loose = [
        _line(xyz, origin, str(role(origin.layer)), False)
        for xyz, origin in zip(found.loose, found.loose_of, strict=True)
    ]
    sound = _sound([*drawn, *loose], metres, judged)
    whole = [line for line, good in zip(drawn, sound[: len(drawn)], strict=True) if good]
    parts = [line for line, good in zip(loose, sound[len(drawn) :], strict=True) if good]
    whole += _chained(parts, judged)
    judged.lines = _linework([line for line in whole if _long(line, judged)], metres, judged)
    return judged


def _line(xyz: Floats, origin: Origin, role: str, flat: bool) -> _Line:
    at_zero = not xyz[:, 2].any()
    bare = (at_zero and role != "break") or (flat and role in RINGS)
    return _Line(xyz, origin, role, bare)


def _sound(lines: Sequence[_Line], metres: float, judged: Judged) -> Bools:
    """Which lines have a place everywhere, and heights where they need them."""
    good = np.ones(len(lines), dtype=np.bool_)
    if not lines:
        return good
    raw = np.concatenate([line.xyz for line in lines])
    of = np.repeat(np.arange(len(lines)), [len(line.xyz) for line in lines])
    lost = no_place(raw[:, 0] * metres, raw[:, 1] * metres)
    bare = np.array([line.bare for line in lines])[of]
    high = ~bare & no_height(raw[:, 2], raw[:, 2] * metres)
    # a layer of breaklines is said to be meant at 0
    free = ~(bare | lost | high) & np.array([line.role != "break" for line in lines])[of]
    zero = np.zeros(len(raw), dtype=np.bool_)
    zero[free] = zero_heights(raw[free, 2] * metres)
    for k, (kind, text) in why_unusable(of, (lost, high, zero)).items():
        judged.bad.append((lines[k].origin, kind, text))
        good[k] = False
    return good


def why_unusable(of: Ints, corners: tuple[Bools, Bools, Bools]) -> dict[int, tuple[str, str]]:
    """Kind of finding and what is wrong, for each line or face with a corner that is no place.

    Parameters
    ----------
    of : ndarray, shape (n,)
        Which line or face each corner belongs to.
    corners : tuple of ndarray, shape (n,)
        Those on no grid, those without a height, those at a zero that stands for none:
        the first that is met is told.
    """
    why: dict[int, tuple[str, str]] = {}
    told = (
        ("bad row", "a corner lies on no grid"),
        ("no height", "a corner has no height"),
        ("no height", "a corner is at exactly 0, while all others are far from it"),
    )
    for reason, wrong in zip(told, corners, strict=True):
        for k in np.unique(of[wrong]).tolist():
            why.setdefault(k, reason)
    return why


def _chained(parts: Sequence[_Line], judged: Judged) -> list[_Line]:
    """Loose pieces joined, each layer for itself, those with heights and those without."""
    groups: dict[tuple[str, bool], list[_Line]] = {}
    for part in parts:
        groups.setdefault((part.origin.layer, part.bare), []).append(part)
    whole = []
    for group in groups.values():
        chained = chain(np.stack([part.xyz for part in group]))
        judged.short += chained.short
        judged.twice += chained.twice
        judged.chains += len(chained.lines)
        for xyz, k in zip(chained.lines, chained.of, strict=True):
            whole.append(_Line(xyz, group[k].origin, group[k].role, group[k].bare))
    return whole


def _long(line: _Line, judged: Judged) -> bool:
    """Drop repeated corners; False for a line that then has no length, or no area if a ring."""
    moved = np.ones(len(line.xyz), dtype=np.bool_)
    moved[1:] = (line.xyz[1:] != line.xyz[:-1]).any(axis=1)
    line.xyz = line.xyz[moved]
    if len(line.xyz) < 2:
        judged.short += 1
        return False
    if line.role in RINGS:
        closed = (line.xyz[0, :2] == line.xyz[-1, :2]).all()
        if len(line.xyz) < 3 + int(closed):
            judged.bad.append((line.origin, "bad row", f"a {line.role} of two corners"))
            return False
        if not closed:
            judged.open_rings.append(line.origin)
    return True


def _linework(lines: Sequence[_Line], metres: float, judged: Judged) -> Linework:
    if not lines:
        return NO_LINES
    kinds = []
    for line in lines:
        if line.bare:
            line.xyz = line.xyz.copy()
            line.xyz[:, 2] = np.nan
            (judged.bare if line.role in RINGS else judged.at_zero)[line.origin.layer] += 1
        ring = line.role if line.role in RINGS else ""
        kinds.append(ring or ("string" if line.bare else "break"))
    xyz = np.concatenate([line.xyz for line in lines]) * metres + 0.0
    start: Ints = np.cumsum([0, *(len(line.xyz) for line in lines)])
    return Linework(
        easting=xyz[:, 0],
        northing=xyz[:, 1],
        elevation=xyz[:, 2],
        point=np.full(len(xyz), -1),
        start=start,
        name=tuple(line.origin.layer for line in lines),
        kind=tuple(kinds),
    )
