"""What the drawing shows of the comparison: bands, lines of equal cut, ground nobody shot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.compare.crosslines import ranges
from pipeline.compare.overlay import SAME_HEIGHT_M
from pipeline.compare.pieces import clip, fan, take, triangle_areas
from pipeline.compare.regions import (
    Polygons,
    in_order,
    merged,
    polygons_only,
    rings_of,
    weld,
    within,
)
from pipeline.model import Band, Floats, Ints, Overlay, Region, Surface
from pipeline.surface.contour import Isolines, isolines

SPECK_M2 = 0.05
"""A region or hole below this is not drawn: 0.2 mm2 on paper at 1:500 [assumed]."""


def contours(overlay: Overlay, levels: ArrayLike) -> Isolines:
    """Lines of equal cut, chained from piece to piece.

    Parameters
    ----------
    overlay : Overlay
        Ground against a design layer.
    levels : array_like
        Cuts to draw [m]; fill is negative.

    Returns
    -------
    Isolines
        Easting and northing on the job grid [m]. A line ends only where one of
        the surfaces ends, or closes.

    Notes
    -----
    Exact: within a piece the difference is linear. Corners closer than 0.1 mm
    in plan and height are welded, which moves a line by no more than that.
    """
    wanted = np.unique(np.asarray(levels, dtype=np.float64))
    columns, start = _columns(overlay, wanted)
    least, most = ranges(columns[2], start)
    crossed = np.searchsorted(wanted, least, "left") < np.searchsorted(wanted, most, "right")
    columns, start = take(columns, start, np.flatnonzero(crossed))
    which, first = weld(columns)
    triangles = which[fan(start)[0]]
    a, b, c = triangles.T
    x, y, z = columns[:, first]
    lines = isolines(x, y, z, triangles[(a != b) & (b != c) & (c != a)], wanted)
    return replace(lines, x=lines.x + overlay.origin[0], y=lines.y + overlay.origin[1])


def zero_line(overlay: Overlay) -> Isolines:
    """Where cut turns into fill, on the job grid [m]."""
    return contours(overlay, [0.0])


def bands(
    overlay: Overlay, limits: Sequence[float], *, smallest_m2: float = SPECK_M2
) -> tuple[Band, ...]:
    """Regions of like cut or fill between neighbouring limits.

    Parameters
    ----------
    overlay : Overlay
        Ground against a design layer.
    limits : sequence of float, k + 1 of them
        Rising cuts [m]; the outer ones may be infinite.
    smallest_m2 : float
        Regions and holes smaller than this are not drawn. A hole that holds
        ground nobody shot is kept whatever its size.

    Returns
    -------
    tuple of k Band
        ``lower <= cut < upper`` each, with its exact area and what was left out
        of the drawing.

    Raises
    ------
    ValueError
        Fewer than two limits, or limits that do not rise.
    """
    edges = np.asarray(limits, dtype=np.float64)
    if len(edges) < 2 or not (edges[1:] > edges[:-1]).all():
        raise ValueError(f"limits of bands rise, at least two of them; got {list(limits)}")
    columns, start = _columns(overlay, edges)
    covered = merged(columns, start, overlay.origin)
    return tuple(
        _band(_between(columns, start, low, high), (low, high), covered, smallest_m2)
        for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    )


def not_surveyed(
    ground: Surface, design: Surface, *, smallest_m2: float = SPECK_M2
) -> tuple[Region, ...]:
    """Design area that no ground triangle covers; it is shown, never interpolated.

    Parameters
    ----------
    ground, design : Surface
        Origins may differ.
    smallest_m2 : float
        Smaller regions are not drawn; `Quantity.uncovered_area_m2` counts them.

    Returns
    -------
    tuple of Region
        On the job grid, ``lower`` and ``upper`` NaN.
    """
    import shapely

    wanted, known = _plan(design, design.origin), _plan(ground, design.origin)
    tree = shapely.STRtree(known.shapes)
    left: list[Any] = []
    for shape in wanted.shapes:
        near = known.shapes[np.sort(tree.query(shape))]
        left.append(shapely.difference(shape, shapely.union_all(near)))
    shapes = polygons_only(np.array(left, dtype=object))
    shapes = shapes[shapely.area(shapes) >= smallest_m2]
    rings = in_order([rings_of(shape, wanted.origin) for shape in shapes])
    return tuple(Region(lower=np.nan, upper=np.nan, rings=each) for each in rings)


def _columns(overlay: Overlay, levels: Floats) -> tuple[Floats, Ints]:
    """x, y, cut of the corners; a cut that is a level to within `SAME_HEIGHT_M` is on it.

    Else ground that is level there would cross the level to and fro by rounding.
    """
    cut = overlay.cut
    finite = levels[np.isfinite(levels)]
    if len(finite):
        above = np.searchsorted(finite, cut)
        for near in (finite[np.maximum(above - 1, 0)], finite[np.minimum(above, len(finite) - 1)]):
            cut = np.where(np.abs(cut - near) < SAME_HEIGHT_M, near, cut)
    return np.stack((overlay.x, overlay.y, cut)), overlay.start


def _between(columns: Floats, start: Ints, low: float, high: float) -> tuple[Floats, Ints]:
    """The parts of all pieces with low <= cut < high; a level piece on `high` is not in it."""
    least, most = ranges(columns[2], start)
    chosen = np.flatnonzero((least < high) & (most >= low))
    columns, start = take(columns, start, chosen)
    if np.isfinite(low):
        columns, start, _ = clip(columns, start, columns[2] - low)
    if np.isfinite(high):
        columns, start, _ = clip(columns, start, high - columns[2])
    return columns, start


def _band(
    parts: tuple[Floats, Ints], limits: tuple[float, float], covered: Polygons, smallest: float
) -> Band:
    import shapely

    columns, start = parts
    exact = float(triangle_areas(columns[0], columns[1], fan(start)[0]).sum())
    shapes = merged(columns, start, covered.origin).shapes
    closed_shapes, closed = _without_specks(shapes, covered.shapes, smallest)
    areas = shapely.area(closed_shapes)
    large = areas >= smallest
    rings = in_order([rings_of(shape, covered.origin) for shape in closed_shapes[large]])
    regions = tuple(Region(lower=limits[0], upper=limits[1], rings=each) for each in rings)
    return Band(
        lower=limits[0],
        upper=limits[1],
        regions=regions,
        area_m2=exact,
        dropped_m2=float(areas[~large].sum()),
        closed_m2=closed,
    )


def _without_specks(shapes: Any, covered: Any, smallest: float) -> tuple[Any, float]:
    """Polygons without their small holes, and the area so closed [m2]."""
    import shapely

    unknown = [shapely.Polygon(hole) for shape in covered for hole in shape.interiors]
    tree = shapely.STRtree(unknown)
    out: list[Any] = []
    closed = 0.0
    for shape in shapes:
        holes = [shapely.Polygon(hole) for hole in shape.interiors]
        kept = [h for h in holes if h.area >= smallest or len(tree.query(h, "intersects"))]
        closed += sum(hole.area for hole in holes) - sum(hole.area for hole in kept)
        less = shapely.Polygon(shape.exterior, [hole.exterior for hole in kept])
        out.append(less if len(kept) < len(holes) else shape)
    return np.array(out, dtype=object), float(closed)


def _plan(surface: Surface, origin: Floats) -> Polygons:
    """Outline of a surface about an origin: of the edges that have nothing across them."""
    shift = surface.origin - origin
    row, k = np.nonzero(surface.neighbours < 0)
    corners = np.stack((surface.triangles[row, k], surface.triangles[row, (k + 1) % 3]), axis=1)
    columns = np.stack((surface.x[corners] + shift[0], surface.y[corners] + shift[1]))
    ends = np.arange(corners.size).reshape(-1, 2)
    return within(columns.reshape(2, -1), ends, origin)
