"""Which shots are one place: what is to become the vertices of the surface.

Heights are a function of place, so a place has one height. Whoever shot two
there is told which was used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SurfaceError
from pipeline.model import Finding, Findings, Floats, Ints, Linework, Severity, Shots
from pipeline.model.arrays import lock_fields
from pipeline.settings import SurfaceRules
from pipeline.surface.lines import base_code
from pipeline.units import format_length

GRID_M = 1e-6
"""Which triangles there are is decided in whole micrometres, where the sign of an area is exact.

A coarser grid bends lines that a file gives to the micrometre: at 0.1 mm seven faces of a road
terrain of 36 067 came out otherwise than in its file, here none."""

REACH_M = 100_000.0
"""A point farther than this from the first belongs to no street [assumed]."""

_SLACK_M = 1e-9  # 100.015 - 100 is not 0.015 in binary
_MANY = 50  # pairs that are said one by one


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places that become vertices, shifted near zero by ``origin``; all of length n.

    ``gx``, ``gy`` are whole grid units, all different as pairs; ``x``, ``y``
    metres as shot; ``z`` the elevation, NaN where a line gives none; ``point``
    the row in the shots, -1 for a place that only a line has.
    """

    origin: Floats
    gx: Ints
    gy: Ints
    x: Floats
    y: Floats
    z: Floats
    point: Ints

    def __post_init__(self) -> None:
        n = len(self.z)
        whole = dict.fromkeys(("gx", "gy", "point"), (np.int64, (n,)))
        numbers = dict.fromkeys(("x", "y", "z"), (np.float64, (n,)))
        lock_fields(self, {"origin": (np.float64, (2,)), **whole, **numbers})

    def __len__(self) -> int:
        return len(self.z)

    def add(self, gx: Ints, gy: Ints, z: Floats) -> Places:
        """These places and, after them, new ones on the grid that no shot has."""
        return Places(
            origin=self.origin,
            gx=np.concatenate([self.gx, gx]),
            gy=np.concatenate([self.gy, gy]),
            x=np.concatenate([self.x, gx * GRID_M]),
            y=np.concatenate([self.y, gy * GRID_M]),
            z=np.concatenate([self.z, z]),
            point=np.concatenate([self.point, np.full(len(z), -1, dtype=np.int64)]),
        )

    def with_heights(self, z: Floats) -> Places:
        """The same places with other heights."""
        return replace(self, z=z)

    def where(self, k: int) -> str:
        """``E 500123.456 N 6000456.789``."""
        east, north = self.origin[0] + self.x[k], self.origin[1] + self.y[k]
        return f"E {format_length(float(east))} N {format_length(float(north))}"


def settle(shots: Shots, lines: Linework, rules: SurfaceRules) -> tuple[Places, Ints, Findings]:
    """Places of the shots and of the lines' own points, each place once.

    Two shots within `same_place_m` of each other are

    - one shot taken twice, if they also agree within `same_height_m`;
    - a doubt, if they do not and carry the same code (number at its end apart);
    - a near-vertical face, such as a curb's, if their codes differ: both stay,
      unless they stand on the same micrometre, where only one can.

    Of two that are one place the first shot is used.

    Parameters
    ----------
    shots : Shots
        n ground shots.
    lines : Linework
        Lines with r points in all; those with `point` -1 bring places of their own.
    rules : SurfaceRules
        Tolerances.

    Returns
    -------
    places : Places
    line_place : ndarray, shape (r,), int64
        The place of each point of the lines.
    findings : Findings

    Raises
    ------
    SurfaceError
        A shot or line point lies more than 100 km from the first, or a line
        point has no easting or northing.
    """
    origin, easting, northing = _shift(shots, lines)
    n = len(shots)
    gx = np.rint(easting / GRID_M).astype(np.int64)
    gy = np.rint(northing / GRID_M).astype(np.int64)
    used, findings = _one_shot_a_place(shots, gx[:n], gy[:n], rules)
    own = np.flatnonzero(lines.point < 0)
    kept = np.flatnonzero(used == np.arange(n))
    rows = np.concatenate([kept, n + own])
    # shots come first, so a line's own point on a shot becomes that shot
    _, first, place_of = np.unique(
        grid_key(gx[rows], gy[rows]), return_index=True, return_inverse=True
    )
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    place_of = rank[place_of.ravel()]
    chosen = rows[np.sort(first)]
    z = np.concatenate([shots.elevation, lines.elevation])
    places = Places(
        origin=origin, gx=gx[chosen], gy=gy[chosen], x=easting[chosen], y=northing[chosen],
        z=z[chosen], point=np.where(chosen < n, chosen, -1),
    )  # fmt: skip
    shot_place = np.empty(n, dtype=np.int64)
    shot_place[kept] = place_of[: len(kept)]
    shot_place = shot_place[used]
    line_place = np.empty(len(lines.point), dtype=np.int64)
    line_place[own] = place_of[len(kept) :]
    drawn = lines.point >= 0
    line_place[drawn] = shot_place[lines.point[drawn]]
    places, said = _line_heights(places, lines, own, line_place[own], rules)
    return places, line_place, findings + said


def _shift(shots: Shots, lines: Linework) -> tuple[Floats, Floats, Floats]:
    """Origin and shifted coordinates, the shots first, then the points of the lines."""
    easting = np.concatenate([shots.easting, lines.easting])
    northing = np.concatenate([shots.northing, lines.northing])
    if not len(easting):
        raise SurfaceError("the ground", "there is no ground shot", "shoot the ground first")
    lost = ~(np.isfinite(easting) & np.isfinite(northing))
    lost |= np.hypot(easting - easting[0], northing - northing[0]) > REACH_M
    if lost.any():
        k = int(np.flatnonzero(lost)[0])
        row = k - len(shots)
        which = shots.where(k) if row < 0 else f"line {line_name(lines, row)}"
        raise SurfaceError(
            which,
            f"E {easting[k]}, N {northing[k]} is not within {REACH_M / 1000:.0f} km of"
            f" E {easting[0]}, N {northing[0]}, the first point",
            "correct the point, its unit or its columns, or leave it out",
        )
    # whole metres: the shift itself then rounds nothing away
    origin = np.array([math.floor(easting.min()), math.floor(northing.min())], dtype=np.float64)
    return origin, easting - origin[0], northing - origin[1]


def _one_shot_a_place(
    shots: Shots, gx: Ints, gy: Ints, rules: SurfaceRules
) -> tuple[Ints, Findings]:
    """For each shot the one used in its stead (itself, as a rule), and what is said."""
    used = np.arange(len(shots))
    first, second = near_pairs(gx, gy, round(rules.same_place_m / GRID_M))
    if not len(first):
        return used, ()
    dz = np.abs(shots.elevation[second] - shots.elevation[first])
    twice = dz <= rules.same_height_m + _SLACK_M
    together = (gx[first] == gx[second]) & (gy[first] == gy[second])
    # whatever became of the first is known before the second is looked at, and a shot that
    # is some other shot again is not in doubt
    order = np.lexsort((first, ~twice, second))
    same: list[tuple[int, int]] = []
    doubt: list[tuple[int, int]] = []
    face: list[tuple[int, int]] = []
    for a, b, is_twice, is_together in zip(
        *(column[order].tolist() for column in (first, second, twice, together)), strict=True
    ):
        if used[a] != a or used[b] != b:
            continue
        alike = base_code(shots.code[a]) == base_code(shots.code[b])
        if is_twice or alike or is_together:
            used[b] = a
            (same if is_twice else doubt if alike else face).append((a, b))
    said = _said(shots, same, _TWICE) + _said(shots, doubt, _DOUBT) + _said(shots, face, _FACE)
    return used, said


def grid_key(gx: Ints, gy: Ints) -> NDArray[np.complex128]:
    """One number for each place on the grid; both parts are exact up to 2**53."""
    return gx + 1j * gy


def near_pairs(gx: Ints, gy: Ints, reach: int) -> tuple[Ints, Ints]:
    """Pairs (i, j), i < j, at most `reach` grid units apart; exact, in no special order.

    Notes
    -----
    Points are sorted into square cells of side `reach` (1 mm at least). A partner lies in the
    same cell or one of eight around it; half of those are looked at, the other
    half is the same pairs again.
    """
    # not finer than 1 mm: the number of a cell has to fit in 64 bits
    side = max(reach, round(0.001 / GRID_M))
    column, row = gx // side, gy // side
    column, row = column - column.min(initial=0), row - row.min(initial=0)
    width = int(row.max(initial=0)) + 3
    cell = column * width + row
    order = np.argsort(cell, kind="stable")
    cell = cell[order]
    here = np.arange(len(cell))
    # the rest of this cell and the next one up; then three cells of the next column
    spans = (
        (here + 1, np.searchsorted(cell, cell + 1, side="right")),
        (
            np.searchsorted(cell, cell + (width - 1), side="left"),
            np.searchsorted(cell, cell + (width + 1), side="right"),
        ),
    )
    found_a, found_b = [], []
    for start, end in spans:
        count = end - start
        some = np.flatnonzero(count > 0)
        a = np.repeat(some, count[some])
        offset = np.cumsum(count[some]) - count[some]
        b = np.arange(len(a)) - np.repeat(offset - start[some], count[some])
        a, b = order[a], order[b]
        near = (gx[a] - gx[b]) ** 2 + (gy[a] - gy[b]) ** 2 <= reach**2
        found_a.append(a[near])
        found_b.append(b[near])
    a, b = np.concatenate(found_a), np.concatenate(found_b)
    return np.minimum(a, b), np.maximum(a, b)


def _line_heights(
    places: Places, lines: Linework, own: Ints, place: Ints, rules: SurfaceRules
) -> tuple[Places, Findings]:
    """Heights of places that several lines give, and what does not agree."""
    z = places.z.copy()
    findings = []
    height = lines.elevation[own]
    # most points are the only ones at their place
    for k in np.flatnonzero(np.isfinite(height) & (z[place] != height)).tolist():
        p = int(place[k])
        if math.isnan(z[p]):
            z[p] = height[k]
        elif abs(z[p] - height[k]) > rules.crossing_tolerance_m + _SLACK_M:
            findings.append(
                Finding(
                    severity="person",
                    kind="same place",
                    text=f"line {line_name(lines, int(own[k]))} has {format_length(height[k])}"
                    f" at {places.where(p)}, where {format_length(float(z[p]))} is already"
                    f" given, {format_length(abs(z[p] - height[k]))} m apart:"
                    f" {format_length(float(z[p]))} used",
                    do="find out which height is the ground",
                )
            )
    return places.with_heights(z), tuple(findings)


def line_name(lines: Linework, row: int) -> str:
    """Name of the line that point `row` belongs to."""
    return lines.name[int(np.searchsorted(lines.start, row, side="right")) - 1]


@dataclass(frozen=True, slots=True)
class _Saying:
    severity: Severity
    kind: str
    what: str
    do: str


_TWICE = _Saying("note", "shot twice", "one shot taken twice", "nothing")
_DOUBT = _Saying(
    "person",
    "same place",
    "same place, other height",
    "shoot the place again; check the rod height of both shots",
)
_FACE = _Saying(
    "person",
    "vertical face",
    "a face that stands straight up, of which only one height can be used",
    "shoot its foot 1 cm or more in front of its top",
)


def _said(shots: Shots, pairs: list[tuple[int, int]], saying: _Saying) -> Findings:
    """One finding a pair, and one for all that are more than anybody reads."""
    findings = []
    for a, b in pairs[:_MANY]:
        apart = math.hypot(
            shots.easting[b] - shots.easting[a], shots.northing[b] - shots.northing[a]
        )
        dz = abs(shots.elevation[b] - shots.elevation[a])
        findings.append(
            Finding(
                severity=saying.severity,
                kind=saying.kind,
                text=f"points {shots.id[a]} and {shots.id[b]} are {format_length(apart)} m apart"
                f" and {format_length(dz)} m in height: {saying.what}; {shots.id[a]} used",
                do=saying.do,
                points=(str(shots.id[a]), str(shots.id[b])),
                file=shots.files[shots.file[b]],
                line=int(shots.line[b]),
            )
        )
    rest = pairs[_MANY:]
    if rest:
        findings.append(
            Finding(
                severity=saying.severity,
                kind=saying.kind,
                text=f"{len(rest)} more pairs of shots: {saying.what}; the first of each used",
                do=saying.do,
                points=tuple(str(shots.id[k]) for pair in rest for k in pair),
            )
        )
    return tuple(findings)
