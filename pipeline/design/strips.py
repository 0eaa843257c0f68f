"""The design as triangles: strips between neighbouring cross-sections, laid directly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import curvature_on, element_of, point_at
from pipeline.design.equations import station_text
from pipeline.design.knots import knots
from pipeline.design.section import between, filled, pairs_outward, span_of
from pipeline.errors import DesignError
from pipeline.model import Bools, Corridor, Floats, Indices, Ints, Layer, Surface
from pipeline.settings import DesignRules

FACE_M = 0.001
"""A vertical face leans out by this much, and an abrupt change ahead: plan has no overhang."""
_LEVEL_M = 1e-9
_FLAT_M2 = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class _Strips:
    """m strips between neighbouring knots; ``offset`` and ``height`` are (2, m, b): both ends."""

    start: Floats
    end: Floats
    offset: Floats
    height: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Cross-sections in order: r rows of b breaks.

    ``strip``: the row and the next one bound a strip. ``abrupt``: that strip is
    the 1 mm of an abrupt change. ``mouth``: the row stands where the one before does,
    only wider or narrower.
    """

    station: Floats
    offset: Floats
    height: Floats
    strip: Bools
    abrupt: Bools
    mouth: Bools


def triangulate(corridor: Corridor, layer: str, rules: DesignRules) -> Surface:
    """A section layer as triangles.

    Parameters
    ----------
    corridor : Corridor
    layer : str
        Name of a section layer.
    rules : DesignRules
        Chord tolerance and largest step, see `knots`.

    Returns
    -------
    Surface
        Named after the layer, about the alignment's first point, triangles
        counter-clockwise, ``fixed`` along every break and the outside. The
        vertices lie on the design; between them the triangles depart from it by at
        most ``chord_m``, but at faces steeper than 1 in 2, which may stand that
        far from their place in plan.

    Raises
    ------
    DesignError
        The layer is a surface of its own or reaches nowhere; a bend is tighter
        than the section is wide on its inside, so the surface would fold; a kink
        of the line does not leave room for the section. The station is named.

    Notes
    -----
    A vertical face leans outward by 1 mm, the foot in its place; where the
    section changes at once the new one begins 1 mm ahead, but where it only loses or
    gains breaks on its outside: there it ends in a wall of no width. At a kink the
    cross-section lies on the bisector, as far out as keeps each break in line.
    Diagonals mirror about the crown, so a mirrored street has mirrored triangles.
    """
    sections = {one.name: one for one in corridor.layers if one.surface is None}
    if layer not in sections:
        known = ", ".join(repr(name) for name in sections) or "none"
        raise DesignError(
            f"layer {layer!r}", f"it is no layer of the section table; there are {known}",
            "name one of them",
        )  # fmt: skip
    chosen = sections[layer]
    strips = _strips(corridor, chosen, knots(corridor, rules))
    if not len(strips.start):
        raise DesignError(
            f"layer {layer!r}", "the alignment, the profile and its sections meet nowhere",
            "check their stations",
        )  # fmt: skip
    _check_folds(corridor, chosen, strips)
    return _surface(corridor, chosen, _rows(chosen, strips))


def _strips(corridor: Corridor, layer: Layer, stations: Floats) -> _Strips:
    """The strips in which the layer is designed, each end seen from within its strip."""
    start, end = stations[:-1], stations[1:]
    middle = 0.5 * (start + end)
    row, _ = span_of(layer, middle)
    first, length = layer.station[row], layer.station[row + 1] - layer.station[row]
    piece = grade_line.piece_of(corridor.profile, middle)
    offsets, rises = filled(layer)
    offset, height = [], []
    for at in (start, end):
        share = np.clip((at - first) / length, 0.0, 1.0)
        on_line, _ = grade_line.on_piece(corridor.profile, piece, at)
        offset.append(between(offsets, (row, share)))
        height.append(on_line[:, None] + between(rises, (row, share)))
    o, z = np.stack(offset), np.stack(height)
    on = (middle > layer.station[0]) & (middle < layer.station[-1])
    on &= np.isfinite(o).all(axis=(0, 2)) & np.isfinite(z).all(axis=(0, 2))
    return _Strips(start[on], end[on], o[:, on], z[:, on])


def _rows(layer: Layer, strips: _Strips) -> _Rows:
    """Both ends of every strip; one row where a strip goes on from the one before."""
    m, b = strips.offset.shape[1:]
    touches = np.append(strips.end[:-1] == strips.start[1:], False)
    jump = np.zeros(m)
    for both in (strips.offset, strips.height):
        jump[:-1] = np.maximum(jump[:-1], np.abs(both[1, :-1] - both[0, 1:]).max(axis=1))
    same = touches & (jump < _LEVEL_M)
    mouth = touches & ~same & _mouths(layer, strips)
    touches &= ~mouth
    begin = strips.start.copy()
    begin[1:][(touches & ~same)[:-1]] += FACE_M
    yes = np.ones(m, dtype=bool)
    keep = np.stack([yes, ~same], axis=1).ravel()
    return _Rows(
        station=np.stack([begin, strips.end], axis=1).ravel()[keep],
        offset=strips.offset.swapaxes(0, 1).reshape(2 * m, b)[keep],
        height=strips.height.swapaxes(0, 1).reshape(2 * m, b)[keep],
        strip=np.stack([yes, touches], axis=1).ravel()[keep],
        abrupt=np.stack([~yes, touches], axis=1).ravel()[keep],
        mouth=np.stack([np.append(False, mouth[:-1]), ~yes], axis=1).ravel()[keep],
    )


def _mouths(layer: Layer, strips: _Strips) -> Bools:
    """Strips behind which the section only loses or gains breaks on its outside."""
    ends = [(strips.offset[k], strips.height[k]) for k in (1, 0)]
    collapsed = []
    for offset, height in ends:
        gone = np.zeros(offset.shape, dtype=bool)
        for inner, outer in pairs_outward(layer):
            gone[:, outer] = (np.abs(offset[:, outer] - offset[:, inner]) < _LEVEL_M) & (
                np.abs(height[:, outer] - height[:, inner]) < _LEVEL_M
            )
        collapsed.append(gone)
    found = np.zeros(len(strips.start), dtype=bool)
    apart = np.maximum(*(np.abs(ends[0][k][:-1] - ends[1][k][1:]) for k in (0, 1)))
    free = (apart < _LEVEL_M) | collapsed[0][:-1] | collapsed[1][1:]
    found[:-1] = free.all(axis=1)
    return found


def _surface(corridor: Corridor, layer: Layer, rows: _Rows) -> Surface:
    offset, vertex = _welded(layer, rows)
    x, y = _places(corridor, rows.station, offset)
    triangles, along = _triangles(layer, rows, vertex)
    # numbered anew: welded breaks leave vertices that nothing uses
    used, flat = np.unique(triangles, return_inverse=True)
    triangles = flat.reshape(-1, 3)
    x, y, z = x.ravel()[used], y.ravel()[used], rows.height.ravel()[used]
    area = double_area(x, y, triangles)
    if (area < -_FLAT_M2).any():
        row = used[triangles[np.argmin(area), 0]] // offset.shape[1]
        station = station_text(corridor.alignment, float(rows.station[row]), step=0.001)
        raise DesignError(
            f"layer {layer.name!r} at station {station}",
            "its cross-sections cross: the line bends or kinks too sharply for its width",
            "ask the designer for this place, or narrow the section there",
        )
    whole = area > _FLAT_M2
    kept: Indices = triangles[whole].astype(np.int32)
    twin = twins(kept)
    line = along[whole].ravel()
    # where two breaks run into one, a diagonal of one strip is a break of the next
    fixed = line | (twin < 0) | line[twin]
    return Surface(
        name=layer.name,
        origin=np.array([corridor.alignment.easting[0], corridor.alignment.northing[0]]),
        x=x,
        y=y,
        z=z,
        triangles=kept,
        neighbours=np.where(twin < 0, -1, twin // 3).reshape(-1, 3),
        fixed=fixed.reshape(-1, 3),
        point=np.full(len(x), -1),
    )


def _welded(layer: Layer, rows: _Rows) -> tuple[Floats, Ints]:
    """Offsets with faces leaning out, and the vertex of each break of each row.

    Two breaks at one place and height are one vertex: one that the section does
    not have, or a strip that has not yet begun.
    """
    offset = rows.offset.copy()
    vertex = np.arange(offset.size).reshape(offset.shape)
    for inner, outer in pairs_outward(layer):
        side = np.sign(outer - inner)
        width = (offset[:, outer] - offset[:, inner]) * side
        level = np.abs(rows.height[:, outer] - rows.height[:, inner]) < _LEVEL_M
        same = (width < _LEVEL_M) & level
        vertex[same, outer] = vertex[same, inner]
        offset[same, outer] = offset[same, inner]
        face = (width < FACE_M) & ~same & ~level
        offset[face, outer] = offset[face, inner] + side * FACE_M
        behind = (width < 0.0) & ~face & ~same
        offset[behind, outer] = offset[behind, inner]
    for row in np.flatnonzero(rows.mouth):
        both = np.abs(offset[row] - offset[row - 1]) < _LEVEL_M
        both &= np.abs(rows.height[row] - rows.height[row - 1]) < _LEVEL_M
        vertex[row, both] = vertex[row - 1, both]
    return offset, vertex


def _places(corridor: Corridor, station: Floats, offset: Floats) -> tuple[Floats, Floats]:
    """Coordinates near zero of rows of offsets; on the bisector where the line kinks."""
    line = corridor.alignment
    easting, northing, azimuth = point_at(line, station)
    joint = np.searchsorted(line.station, station)
    inner = (joint > 0) & (joint < len(line.easting))
    inner[inner] = line.station[joint[inner]] == station[inner]
    kink = np.zeros(len(station))
    before = joint[inner] - 1
    length = np.diff(line.station)
    turned = 0.5 * (line.curvature_start + line.curvature_end) * length
    arrives = line.azimuth[before] + turned[before]
    kink[inner] = (azimuth[inner] - arrives + np.pi) % (2.0 * np.pi) - np.pi
    direction = azimuth - 0.5 * kink
    out = offset / np.cos(0.5 * kink)[:, None]
    x = (easting - line.easting[0])[:, None] + out * np.cos(direction)[:, None]
    y = (northing - line.northing[0])[:, None] - out * np.sin(direction)[:, None]
    return x, y


def _triangles(layer: Layer, rows: _Rows, vertex: Ints) -> tuple[Ints, Bools]:
    """Two triangles for each strip and pair of breaks, and which edges run along breaks."""
    crown = layer.side.index(0)
    near = np.flatnonzero(rows.strip)
    # both rows of an abrupt change are lines that the surface breaks along
    change = rows.abrupt | np.concatenate([[False], rows.abrupt[:-1]])
    begins, ends = change[near], change[near + 1]
    no, yes = np.zeros(len(near), dtype=bool), np.ones(len(near), dtype=bool)
    triangles, along = [], []
    for j in range(vertex.shape[1] - 1):
        a, b = vertex[near, j], vertex[near, j + 1]
        c, d = vertex[near + 1, j + 1], vertex[near + 1, j]
        # the diagonal runs outward and ahead on both sides
        if j >= crown:
            pairs = [((a, b, c), (begins, yes, no)), ((a, c, d), (no, ends, yes))]
        else:
            pairs = [((a, b, d), (begins, no, yes)), ((b, c, d), (yes, ends, no))]
        for corners, edges in pairs:
            triangles.append(np.stack(corners, axis=1))
            along.append(np.stack(edges, axis=1))
    # strip by strip, left to right
    order = np.arange(len(triangles) * len(near)).reshape(len(triangles), -1).T.ravel()
    flat, fixed = np.concatenate(triangles)[order], np.concatenate(along)[order]
    whole = (flat[:, 0] != flat[:, 1]) & (flat[:, 1] != flat[:, 2]) & (flat[:, 2] != flat[:, 0])
    return flat[whole], fixed[whole]


def double_area(x: Floats, y: Floats, triangles: Ints) -> Floats:
    """Twice the plan area of each triangle [m2], counter-clockwise +."""
    (ax, bx, cx), (ay, by, cy) = x[triangles].T, y[triangles].T
    return np.asarray((bx - ax) * (cy - ay) - (cx - ax) * (by - ay))


def twins(triangles: Indices) -> Ints:
    """The same edge in the triangle across it, edges numbered 3 t + k; -1 outside."""
    start = triangles.ravel().astype(np.int64)
    end = np.roll(triangles, -1, axis=1).ravel().astype(np.int64)
    key = np.minimum(start, end) * (int(triangles.max(initial=0)) + 1) + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    pair = np.flatnonzero(key[order][:-1] == key[order][1:])
    twin = np.full(len(key), -1, dtype=np.int64)
    twin[order[pair]], twin[order[pair + 1]] = order[pair + 1], order[pair]
    return twin


def _check_folds(corridor: Corridor, layer: Layer, strips: _Strips) -> None:
    """Refuse where the section reaches past the centre of a bend, on its inside."""
    line = corridor.alignment
    element = element_of(line, 0.5 * (strips.start + strips.end))
    for at, offset in zip((strips.start, strips.end), strips.offset, strict=True):
        curvature = curvature_on(line, element, at)
        reach = (np.where(curvature > 0.0, 1.0, -1.0)[:, None] * offset).max(axis=1)
        folds = np.flatnonzero(np.abs(curvature) * reach >= 1.0)
        if len(folds):
            k = int(folds[0])
            raise DesignError(
                f"layer {layer.name!r} at station {station_text(line, float(at[k]), step=0.001)}",
                f"the line bends with a radius of {1.0 / abs(curvature[k]):.3f} m and the section"
                f" reaches {reach[k]:.3f} m to the inside, so it would fold over itself",
                "narrow the section there, or have the place designed as a surface of its own",
            )
