"""Breaklines that cross or touch, cut where they do, so that no two share more than an end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import SurfaceError
from pipeline.model import Bools, Finding, Findings, Floats, Ints, Linework, Shots
from pipeline.model.arrays import lock_fields
from pipeline.model.telling import counted
from pipeline.settings import SurfaceRules
from pipeline.surface.grid import Cuts, Pieces, find_cuts
from pipeline.surface.places import Places, grid_key
from pipeline.units import format_length

_ROUNDS = 20  # two or three as a rule: a bent line may come near another point
_SLACK_M = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Segments:
    """Straight pieces of lines between places; all of length s.

    ``line`` is the number of the line, -1 for an edge that is only to be kept;
    ``first`` and ``last`` the places between which the piece was drawn before
    it was cut.
    """

    u: Ints
    v: Ints
    line: Ints
    first: Ints
    last: Ints

    def __post_init__(self) -> None:
        n = len(self.u)
        names = ("u", "v", "line", "first", "last")
        lock_fields(self, dict.fromkeys(names, (np.int64, (n,))))

    def __len__(self) -> int:
        return len(self.u)


def segments_of(lines: Linework, place: Ints, chosen: Bools) -> Segments:
    """Pieces of the `chosen` lines, shape (lines,); `place` holds the place of each point.

    Pieces of no length, and a piece that an earlier line has already, are left out.
    """
    line = np.repeat(np.arange(len(lines)), np.diff(lines.start))
    u, v, of = place[:-1], place[1:], line[:-1]
    real = (of == line[1:]) & (u != v) & chosen[of]
    u, v, of = u[real], v[real], of[real]
    keep = _first_of_each(u, v)
    return Segments(u[keep], v[keep], of[keep], u[keep], v[keep])


def edge_key(u: Ints, v: Ints) -> Ints:
    """One number for the edge between places `u` and `v`, whichever way round."""
    key: Ints = np.minimum(u, v) * 2**32 + np.maximum(u, v)
    return key


def _first_of_each(u: Ints, v: Ints) -> Ints:
    """Rows of the pieces u-v without those that an earlier row has already."""
    _, first = np.unique(edge_key(u, v), return_index=True)
    return np.sort(first)


def join_segments(a: Segments, b: Segments) -> Segments:
    """The pieces of `a`, then those of `b`."""
    names = ("u", "v", "line", "first", "last")
    return Segments(*(np.concatenate([getattr(a, name), getattr(b, name)]) for name in names))


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The lines as drawn through the shots, and the rules: what a crossing is told by."""

    shots: Shots
    lines: Linework
    rules: SurfaceRules

    def name(self, line: int) -> str:
        """``line EC1``; a line without a name is told by its number."""
        return f"line {self.lines.name[line] or line + 1}"

    def point(self, places: Places, k: int) -> str:
        """``12``: the id of the shot at place `k`, or where it is."""
        row = int(places.point[k])
        return str(self.shots.id[row]) if row >= 0 else places.where(k)

    def ids(self, places: Places, *chosen: int) -> tuple[str, ...]:
        """Ids of those of the places that are shots."""
        rows = (int(places.point[k]) for k in chosen)
        return tuple(str(self.shots.id[row]) for row in rows if row >= 0)

    def piece(self, places: Places, segments: Segments, s: int) -> str:
        """``line EC1 from 12 to 13``."""
        name = self.name(int(segments.line[s]))
        a, b = int(segments.first[s]), int(segments.last[s])
        return f"{name} from {self.point(places, a)} to {self.point(places, b)}"


def cut_crossings(
    places: Places, segments: Segments, drawn: Drawn
) -> tuple[Places, Segments, Findings]:
    """Lines cut where they cross, touch or lie on each other.

    A new place stands where two lines cross, rounded to the grid (0.7 µm). It
    gets the mean of the heights that the lines have there if these agree with
    the first within the tolerance, else the height of the first, and a person is
    told. Where a line passes through a place that has a height, that height stays.

    Parameters
    ----------
    places : Places
        n places.
    segments : Segments
        Pieces to be cut.
    drawn : Drawn
        The lines and shots they come from, and the rules.

    Returns
    -------
    places : Places
        The n given ones, then those where lines cross.
    segments : Segments
        Pieces in order along each line that share nothing but their ends.
    findings : Findings
        ``person`` for each crossing whose heights do not agree, one ``note``
        that counts the others.

    Raises
    ------
    SurfaceError
        The lines cannot be brought apart on the grid.

    Notes
    -----
    What meets is decided exactly on the grid, see `grid`. A line is bent by
    0.7 µm at most, also where it passes another line's point that closely.
    """
    findings: list[Finding] = []
    agreed = 0
    fresh = np.ones(len(segments), dtype=np.bool_)
    for _ in range(_ROUNDS):
        cuts = find_cuts(pieces_of(places, segments), fresh)
        if not len(cuts):
            break
        places, at, said, fine = _place_cuts(places, segments, cuts, drawn)
        findings.extend(said)
        agreed += fine
        segments, fresh = split(segments, cuts, at)
    else:
        raise SurfaceError(
            "the breaklines",
            f"they still cross after being cut {_ROUNDS} times, last at"
            f" {places.where(len(places) - 1)}",
            "look for lines that lie on each other there and leave one of them out",
        )
    if agreed:
        what = counted(agreed, "crossing of breaklines has", "crossings of breaklines have")
        findings.append(
            Finding(
                severity="note",
                kind="crossing",
                text=f"{what} the mean height of both lines, which agree within"
                f" {format_length(drawn.rules.crossing_tolerance_m)} m",
                do="nothing",
            )
        )
    return places, segments, tuple(findings)


def pieces_of(places: Places, segments: Segments) -> Pieces:
    """The segments as straight pieces on the grid."""
    u, v = segments.u, segments.v
    return Pieces(places.gx[u], places.gy[u], places.gx[v], places.gy[v])


def first_meeting(places: Places, segments: Segments) -> str | None:
    """Where pieces first meet other than end to end; None if they do not."""
    cuts = find_cuts(pieces_of(places, segments), np.ones(len(segments), dtype=np.bool_))
    if not len(cuts):
        return None
    return places.add(cuts.x[:1], cuts.y[:1], np.zeros(1)).where(len(places))


def _place_cuts(
    places: Places, segments: Segments, cuts: Cuts, drawn: Drawn
) -> tuple[Places, Ints, list[Finding], int]:
    """The place of each cut, made where there is none; what is said; how many agree."""
    key = grid_key(np.concatenate([places.gx, cuts.x]), np.concatenate([places.gy, cuts.y]))
    _, first, at = np.unique(key, return_index=True, return_inverse=True)
    n = len(places)
    new = np.sort(first[first >= n])
    number = np.where(first < n, first, 0)
    number[first >= n] = n + np.argsort(np.argsort(first[first >= n]))
    at = number[at.ravel()[n:]]
    u, v = segments.u[cuts.seg], segments.v[cuts.seg]
    height = places.z[u] + cuts.t * (places.z[v] - places.z[u])
    z = np.concatenate([places.z, np.full(len(new), np.nan)])
    grown = places.add(cuts.x[new - n], cuts.y[new - n], z[n:])
    findings: list[Finding] = []
    agreed = 0
    order = np.lexsort((cuts.seg, at))
    for group in np.split(order, np.flatnonzero(np.diff(at[order])) + 1):
        rows = group[np.isfinite(height[group])]
        if len(rows):
            k = int(at[rows[0]])
            z[k], said = _settle_height(grown, segments, k, (cuts.seg[rows], height[rows]), drawn)
            findings.extend(said)
            agreed += k >= n and len(rows) > 1 and not said
    return grown.with_heights(z), at, findings, agreed


def _settle_height(
    places: Places, segments: Segments, k: int, lines: tuple[Ints, Floats], drawn: Drawn
) -> tuple[float, list[Finding]]:
    """The height of place `k`, and what is said if the lines through it do not agree."""
    seg, height = lines
    given = float(places.z[k])
    limit = drawn.rules.crossing_tolerance_m + _SLACK_M
    real = segments.line[seg] >= 0
    if np.isfinite(given):
        off = np.flatnonzero(real & (np.abs(height - given) > limit))
        return given, [
            passes(places, segments, (k, int(seg[o])), float(height[o]), drawn) for o in off
        ]
    if not real.all():
        # an edge of the ground that is kept: a line without heights is laid on it
        return float(height[~real][0]), []
    off = np.flatnonzero(np.abs(height - height[0]) > limit)
    if not len(off):
        return float(height.mean()), []
    return float(height[0]), [
        _crossing(places, segments, (k, int(seg[0]), int(seg[o])), (height[0], height[o]), drawn)
        for o in off
    ]


def split(segments: Segments, cuts: Cuts, at: Ints) -> tuple[Segments, Bools]:
    """The pieces, cut, in order along each line, and which of them are fresh."""
    n = len(segments)
    seg = np.concatenate([np.arange(n), cuts.seg, np.arange(n)])
    t = np.concatenate([np.zeros(n), cuts.t, np.ones(n)])
    place = np.concatenate([segments.u, at, segments.v])
    order = np.lexsort((t, seg))
    seg, place = seg[order], place[order]
    same = seg[1:] == seg[:-1]
    u, v, of = place[:-1][same], place[1:][same], seg[:-1][same]
    was_cut = np.zeros(n, dtype=np.bool_)
    was_cut[cuts.seg] = True
    keep = _first_of_each(u, v)
    of = of[keep]
    pieces = Segments(u[keep], v[keep], segments.line[of], segments.first[of], segments.last[of])
    return pieces, was_cut[of]


def passes(
    places: Places, segments: Segments, which: tuple[int, int], height: float, drawn: Drawn
) -> Finding:
    """A piece (second of `which`) that passes a place (first) at another height."""
    k, s = which
    given = float(places.z[k])
    ends = int(segments.first[s]), int(segments.last[s])
    return Finding(
        severity="person",
        kind="crossing",
        text=f"{drawn.piece(places, segments, s)} passes through {drawn.point(places, k)} at"
        f" {places.where(k)}: {format_length(height)} on the line, {format_length(given)} there,"
        f" {format_length(abs(height - given))} m apart; {format_length(given)} used",
        do="find out which height is the ground there",
        points=drawn.ids(places, k, *ends),
    )


def _crossing(
    places: Places,
    segments: Segments,
    which: tuple[int, int, int],
    heights: tuple[float, float],
    drawn: Drawn,
) -> Finding:
    k, s, other = which
    ends = [int(column[x]) for x in (s, other) for column in (segments.first, segments.last)]
    return Finding(
        severity="person",
        kind="crossing",
        text=f"{drawn.piece(places, segments, s)} and"
        f" {drawn.piece(places, segments, other)} cross at {places.where(k)}:"
        f" {format_length(heights[0])} and {format_length(heights[1])},"
        f" {format_length(abs(heights[0] - heights[1]))} m apart;"
        f" {format_length(heights[0])} of {drawn.name(int(segments.line[s]))} used",
        do="find out which height is the ground there, or which line is not on it",
        points=drawn.ids(places, *ends),
    )
