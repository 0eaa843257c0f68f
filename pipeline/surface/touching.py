"""Triangles over places and lines, every line led through the places that it touches."""

from __future__ import annotations

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import Bools, Finding, Findings, Floats, Ints
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
        pairs = _on_lines(segments, found)
        if done < _BESIDE_ROUNDS:
            pairs |= _beside_lines(places, segments, found, use)
        if not pairs:
            return places, segments, found, tuple(findings)
        seg, at = np.array(sorted(pairs), dtype=np.int64).T
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


def _on_lines(segments: Segments, found: Triangulation) -> set[tuple[int, int]]:
    """Pieces and the places that lie exactly on them between their ends."""
    pairs = {(s, k) for u, v, s in found.pieces for k in (u, v)}
    return pairs - {(s, int(ends[s])) for s, _ in pairs for ends in (segments.u, segments.v)}


def _beside_lines(
    places: Places, segments: Segments, found: Triangulation, use: Ints
) -> set[tuple[int, int]]:
    """Pieces and the places of `use` that stand nearer to them than rounding can tell."""
    seg, apex = _triangles_on(places, segments, found)
    pairs: set[tuple[int, int]] = set()
    for s in np.unique(seg[_close(places, segments, seg, apex)]).tolist():
        # a triangle without width shows one such place, and there may be a row of them
        u, v = segments.u[s], segments.v[s]
        near = (use != u) & (use != v)
        for g in (places.gx, places.gy):
            near &= np.abs(2 * g[use] - g[u] - g[v]) <= abs(g[u] - g[v]) + 2 * _BESIDE
        row = use[near]
        row = row[_close(places, segments, np.full(len(row), s), row)]
        pairs |= {(s, k) for k in row.tolist()}
    return pairs


def _triangles_on(places: Places, segments: Segments, found: Triangulation) -> tuple[Ints, Ints]:
    """The piece that is an edge of a triangle, and that triangle's third corner, for each such."""
    drawn = np.flatnonzero(segments.line >= 0)
    keys = edge_key(segments.u[drawn], segments.v[drawn])
    order = np.argsort(keys)
    tri = found.triangles.astype(np.int64)
    on_line = np.zeros(len(places), dtype=np.bool_)
    on_line[segments.u[drawn]] = on_line[segments.v[drawn]] = True
    t, k = np.nonzero(on_line[tri] & on_line[tri[:, [1, 2, 0]]])
    edge = edge_key(tri[t, k], tri[t, (k + 1) % 3])
    row = np.minimum(np.searchsorted(keys[order], edge), max(len(keys) - 1, 0))
    real = np.flatnonzero(keys[order[row]] == edge)
    return drawn[order[row[real]]], tri[t[real], (k[real] + 2) % 3]


def _close(places: Places, segments: Segments, seg: Ints, at: Ints) -> Bools:
    """Whether each place stands beside its piece, between its ends."""
    piece = pieces_of(places, segments).take(seg)
    x, y = places.gx[at], places.gy[at]
    along = piece.along(x, y)
    close: Bools = np.abs(piece.side(x, y)) < _BESIDE * piece.length()
    return close & (along > 0) & (along < 1)


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
