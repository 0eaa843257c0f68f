"""Triangles over places and lines, every line led through the places that it touches."""

from __future__ import annotations

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import Finding, Findings, Floats, Ints
from pipeline.surface.crossings import (
    Drawn,
    Segments,
    cut_crossings,
    edge_key,
    passes,
    pieces_of,
    split,
)
from pipeline.surface.delaunay import Triangulation, triangulate
from pipeline.surface.grid import Cuts
from pipeline.surface.places import Places

_BESIDE = 2.0  # grid units: three places in one line are no farther off it once rounded
_ROUNDS = 20  # two as a rule
_BESIDE_ROUNDS = 3  # shots closer together than that would pass a line to and fro
_SLACK_M = 1e-9


def triangulate_with_lines(
    places: Places, segments: Segments, drawn: Drawn, *, bare: bool = False
) -> tuple[Places, Segments, Triangulation, Findings]:
    """Triangles, and the pieces of lines as edges of them.

    A shot that stands on a line, but for the rounding to the grid (2 µm), is
    part of it: left beside it, it would be joined to the ground by a triangle
    without width. It keeps its height; a person is told if the line has another.

    Parameters
    ----------
    places : Places
    segments : Segments
        Pieces that meet only end to end.
    drawn : Drawn
        The lines and shots they come from, and the rules.
    bare : bool
        Whether places without height take part.

    Returns
    -------
    places : Places
    segments : Segments
        Each of them an edge of a triangle.
    found : Triangulation
    findings : Findings
    """
    findings: list[Finding] = []
    for done in range(_ROUNDS):
        use = np.flatnonzero(np.isfinite(places.z) | bare)
        found = triangulate(places, segments, use)
        beside = _BESIDE if done < _BESIDE_ROUNDS else 0.0
        seg, at = _on_lines(places, segments, found, beside)
        if not len(seg):
            return places, segments, found, tuple(findings)
        t = pieces_of(places, segments).take(seg).along(places.gx[at], places.gy[at])
        findings.extend(_off_height(places, segments, (seg, at, t), drawn))
        segments, _ = split(segments, Cuts(seg, t, places.gx[at], places.gy[at]), at)
        places, segments, said = cut_crossings(places, segments, drawn)
        findings.extend(said)
    raise SurfaceError(
        "the breaklines",
        f"lines still touch shots after being led through them {_ROUNDS} times",
        "look for lines that lie on each other and leave one of them out",
    )


def _on_lines(
    places: Places, segments: Segments, found: Triangulation, beside: float
) -> tuple[Ints, Ints]:
    """Pieces and the places between their ends that lie on them or `beside` [grid units] them."""
    pairs = {(s, k) for u, v, s in found.pieces for k in (u, v)}
    pairs -= {(s, int(ends[s])) for s, _ in pairs for ends in (segments.u, segments.v)}
    drawn = np.flatnonzero(segments.line >= 0)
    keys = edge_key(segments.u[drawn], segments.v[drawn])
    order = np.argsort(keys)
    tri = found.triangles.astype(np.int64)
    on_line = np.zeros(len(places), dtype=np.bool_)
    on_line[segments.u] = on_line[segments.v] = True
    t, k = np.nonzero(on_line[tri] & on_line[tri[:, [1, 2, 0]]])
    edge = edge_key(tri[t, k], tri[t, (k + 1) % 3])
    row = np.searchsorted(keys[order], edge)
    row[row == len(keys)] = 0
    real = np.flatnonzero(keys[order][row] == edge) if len(keys) else row[:0]
    seg, apex = drawn[order[row[real]]], tri[t[real], (k[real] + 2) % 3]
    piece = pieces_of(places, segments).take(seg)
    off = np.abs(piece.side(places.gx[apex], places.gy[apex]))
    along = piece.along(places.gx[apex], places.gy[apex])
    near = (off < beside * piece.length()) & (along > 0) & (along < 1)
    pairs |= set(zip(seg[near].tolist(), apex[near].tolist(), strict=True))
    table = np.array(sorted(pairs), dtype=np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _off_height(
    places: Places, segments: Segments, on: tuple[Ints, Ints, Floats], drawn: Drawn
) -> list[Finding]:
    """What is said of places whose line has another height there."""
    seg, at, t = on
    u, v = segments.u[seg], segments.v[seg]
    height = places.z[u] + t * (places.z[v] - places.z[u])
    # a difference from a line without height is no difference
    apart = np.abs(places.z[at] - height) > drawn.rules.crossing_tolerance_m + _SLACK_M
    return [
        passes(places, segments, (int(at[row]), int(seg[row])), float(height[row]), drawn)
        for row in np.flatnonzero(apart & (segments.line[seg] >= 0))
    ]
