"""The common refinement of ground and design: exact, piece by piece.

Where a ground triangle and a design triangle overlap, both are planes, so their
difference is linear. Everything that is counted or drawn later (cut, fill,
areas, bands, the zero line) is read from these pieces without another
approximation.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from pipeline import compiled
from pipeline.compare.candidates import candidate_pairs
from pipeline.compare.pieces import clip, fan, starts, take, triangle_areas
from pipeline.model import Bools, Floats, Ints, Overlay, Surface
from pipeline.surface.cells import runs

SLIVER_M2 = 1e-12
"""A piece below this area (a square micrometre) is rounding along a shared edge and left out."""
SAME_HEIGHT_M = 1e-9
"""Heights this close are the same height: float64 cannot tell them apart on a job grid."""

BREAK_EVEN = 300_000
"""From so many triangles of both on the compiled form is through sooner [measured]."""

_Part: TypeAlias = tuple[Floats, Ints, Ints, Ints]
"""Rows x, y, cut of the corners; corners of each piece; ground and design triangle."""


def overlay(ground: Surface, design: Surface) -> Overlay:
    """Every overlap of a ground triangle with a design triangle, and the cut at its corners.

    A third surface on the grid would alias on a strip of curb; the overlap of
    two triangles is a convex polygon of three to six corners on which the
    difference of the two planes is linear, so nothing is lost.

    Parameters
    ----------
    ground, design : Surface
        Counter-clockwise triangles; the origins may differ. Triangles of no
        area are left out.

    Returns
    -------
    Overlay
        Pieces rising by ground triangle, then by design triangle; ``cut`` is
        ground minus design [m], + where earth is to be taken away. Empty where
        the two do not overlap. Plan that one of them does not cover has no piece.

    Raises
    ------
    ValueError
        A triangle runs clockwise.

    Notes
    -----
    The nine values of the design's edge lines at the ground's corners, and the
    nine the other way round, settle a pair: all of one line not positive, apart;
    all not negative, wholly inside, and the piece is the triangle itself;
    otherwise the ground triangle is clipped by the three lines. The line values
    are carried along and are the barycentric weights that give the heights, so
    that a height is a mean of the triangle's own corners even on a sliver.

    A difference under `SAME_HEIGHT_M` is zero, which changes a volume by less
    than 1e-9 m times the area. Left out are pieces under `SLIVER_M2`; a million
    of them are together less than a square millimetre.

    References
    ----------
    Checked against a polygon library pair by pair, and against prism, wedge,
    pyramid and cone.
    """
    origin = _common_origin(ground, design)
    if compiled.worth(len(ground.triangles) + len(design.triangles), BREAK_EVEN):
        return _by_kernel(ground, design, origin)
    above, below = _corners(ground, origin), _corners(design, origin)
    pairs = candidate_pairs(above[:2], below[:2], smallest=SLIVER_M2)
    parts = [_pieces(above, below, g, d) for g, d in pairs]
    columns = np.concatenate([part[0] for part in parts] or [np.empty((3, 0))], axis=1)
    none = np.empty(0, dtype=np.int64)
    count, of_ground, of_design = (
        np.concatenate([part[k] for part in parts] or [none]) for k in (1, 2, 3)
    )
    return Overlay(
        origin=origin,
        x=columns[0],
        y=columns[1],
        cut=columns[2],
        start=starts(count),
        ground_triangle=of_ground,
        design_triangle=of_design,
    )


def _by_kernel(ground: Surface, design: Surface, origin: Floats) -> Overlay:
    """The same by the compiled loops of `overlay_kernel`."""
    from pipeline.compare import overlay_blocks

    faces, spans = [], []
    for surface in (ground, design):
        shift = surface.origin - origin
        made = overlay_blocks.faces(surface.x + shift[0], surface.y + shift[1], surface)
        span, least, which = overlay_blocks.reach(made)
        _refuse_clockwise(surface, which, least)
        faces.append(made)
        spans.append(span)
    columns = overlay_blocks.pieces(faces[0], faces[1], np.array(spans))
    return Overlay(origin, *columns)


def _common_origin(ground: Surface, design: Surface) -> Floats:
    """Whole metres amid the smaller reach of the two, so that coordinates are near zero."""
    spans = [
        (surface.origin[0] + surface.x, surface.origin[1] + surface.y)
        for surface in (design, ground)
        if len(surface.x)
    ]
    if not spans:
        return np.zeros(2)
    middles = [[(v.min() + v.max()) / 2 for v in span] for span in spans]
    sizes = [max(np.ptp(v) for v in span) for span in spans]
    return np.asarray(np.round(middles[int(np.argmin(sizes))]))


def _corners(surface: Surface, origin: Floats) -> Floats:
    """x, y, z of the three corners of every triangle about `origin`, shape (3, 3, n)."""
    shift = surface.origin - origin
    points = np.stack((surface.x + shift[0], surface.y + shift[1], surface.z))
    corners = np.take(points, surface.triangles.T, axis=1)
    x, y, _ = corners
    twice = (x[1] - x[0]) * (y[2] - y[0]) - (y[1] - y[0]) * (x[2] - x[0])
    if len(twice):
        which = int(np.argmin(twice))
        _refuse_clockwise(surface, which, float(twice[which]))
    return corners


def _refuse_clockwise(surface: Surface, which: int, twice_area: float) -> None:
    if twice_area < -2 * SLIVER_M2:
        raise ValueError(f"triangle {which} of surface {surface.name!r} runs clockwise")


def _line_values(of: Floats, at: Floats) -> Floats:
    """Twice the area that each edge of `of` makes with each point of `at`, + on its left.

    `of` (2 or 3, 3, m), `at` (2 or 3, p, m) -> (3 edges, p points, m).
    """
    x, y = of[0], of[1]
    east, north = np.roll(x, -1, axis=0) - x, np.roll(y, -1, axis=0) - y
    left = east[:, None] * (at[1][None] - y[:, None])
    left -= north[:, None] * (at[0][None] - x[:, None])
    return np.asarray(left)


def _pieces(above: Floats, below: Floats, g: Ints, d: Ints) -> _Part:
    """The overlaps of pairs of triangles, in the order of the pairs."""
    a, b = above[:, :, g], below[:, :, d]
    into = _line_values(b, a)
    inner = _within(into)
    ground_in, rest = np.flatnonzero(inner), np.flatnonzero(~inner & ~_apart(into))
    around = _line_values(a[:, :, rest], b[:, :, rest])
    whole = _within(around)
    design_in, mixed = rest[whole], rest[~whole & ~_apart(around)]
    clipped, sides, kept = _clipped(a[:, :, mixed], b[2][:, mixed], into[:, :, mixed])
    count = np.zeros(len(g), dtype=np.int64)
    count[ground_in] = count[design_in] = 3
    count[mixed[kept]] = sides
    start = starts(count)
    columns = np.empty((3, start[-1]))
    of_design = _mean_height(into[:, :, ground_in], b[2][:, None, ground_in])
    of_ground = _mean_height(around[:, :, whole], a[2][:, None, design_in])
    for corner in range(3):
        at = start[ground_in] + corner
        columns[:, at] = a[:, corner, ground_in]
        columns[2, at] -= of_design[corner]
        at = start[design_in] + corner
        columns[:, at] = b[:, corner, design_in]
        columns[2, at] = of_ground[corner] - columns[2, at]
    columns[:, runs(start[mixed[kept]], sides)] = clipped
    columns[2][np.abs(columns[2]) < SAME_HEIGHT_M] = 0.0
    return _without_slivers(columns, count, g, d)


def _of_three(choose: np.ufunc, values: Floats) -> Floats:
    """Greatest or least of three rows; spelt out as a reduction over so short an axis is slow."""
    return np.asarray(choose(choose(values[0], values[1]), values[2]))


def _apart(line_values: Floats) -> Bools:
    """Some edge has all three points on its outer side, or on it."""
    most = _of_three(np.maximum, line_values.swapaxes(0, 1))
    return _of_three(np.minimum, most) <= 0


def _within(line_values: Floats) -> Bools:
    """All three points are on the inner side of all edges, or on them."""
    return _of_three(np.minimum, _of_three(np.minimum, line_values)) >= 0


def _mean_height(line_values: Floats, z: Floats) -> Floats:
    """Height at points inside a triangle from the values of its edge lines there.

    The value of an edge weighs the corner across from it. All are >= 0, so that
    the mean stays between the corners' heights; the nothing that is added makes
    it their plain mean where a sliver's values are all zero.
    """
    first, second, third = line_values + 1e-300
    moment = first * z[2] + second * z[0] + third * z[1]
    return np.asarray(moment / (first + second + third))


def _clipped(a: Floats, design_z: Floats, into: Floats) -> tuple[Floats, Ints, Ints]:
    """Ground triangles cut by their design triangle's lines: x, y, cut; corners of each; rows."""
    m = a.shape[2]
    columns = np.concatenate((a, into)).transpose(0, 2, 1).reshape(6, 3 * m)
    start, kept = np.arange(m + 1) * 3, np.arange(m)
    for row in (3, 4, 5):
        columns, start, left = clip(columns, start, columns[row])
        kept = kept[left]
    sides = np.diff(start)
    columns[2] -= _mean_height(columns[3:], np.repeat(design_z[:, kept], sides, axis=1))
    return columns[:3], sides, kept


def _without_slivers(columns: Floats, count: Ints, g: Ints, d: Ints) -> _Part:
    there = np.flatnonzero(count)
    start = starts(count[there])
    triangles, owner = fan(start)
    areas = triangle_areas(columns[0], columns[1], triangles)
    chosen = np.flatnonzero(np.bincount(owner, areas, len(there)) > SLIVER_M2)
    if len(chosen) < len(there):
        columns, start = take(columns, start, chosen)
    rows = there[chosen]
    return columns, np.diff(start), g[rows], d[rows]
