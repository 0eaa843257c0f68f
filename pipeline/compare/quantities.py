"""Cubic metres and square metres: cut and fill apart, and what no shot covers.

Cut and fill are never netted before they are added up: a street that balances
still has to be cut and has to be filled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pipeline import compiled
from pipeline.compare.pieces import fan, triangle_areas
from pipeline.errors import SurfaceError
from pipeline.model import Floats, Overlay, Quantity
from pipeline.model.arrays import lock_fields

PIECE_BLOCK = 1 << 16
"""Pieces that are split together; memory goes with this, not with the overlay."""
BREAK_EVEN = 8_000_000
"""From so many pieces on the compiled form is through sooner [measured]."""
COVERED_TWICE = 1e-6
"""Compared area above the design's own by more than this share is triangles lying on others."""


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Cut and fill of every piece of an overlay, each of length k.

    Volumes [m3] and plan areas [m2], none negative. ``area`` also holds what is
    on the design exactly, which is neither cut nor fill.
    """

    cut: Floats
    fill: Floats
    cut_area: Floats
    fill_area: Floats
    area: Floats

    def __post_init__(self) -> None:
        n = len(self.area)
        names = ("cut", "fill", "cut_area", "fill_area", "area")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))


class SectionAreas(NamedTuple):
    """Cut and fill of one cross-section [m2] and the width that was compared [m]."""

    cut: float
    fill: float
    width: float


def parts(overlay: Overlay) -> Parts:
    """Cut and fill of every piece, split exactly along its zero line.

    Notes
    -----
    A piece is fanned into triangles with corner differences a, b, c over the
    plan area A. Where one corner alone has its sign, say a, the zero line cuts
    off the share f = a² / ((a - b)(a - c)) of the area, a pyramid of volume
    f·A·a / 3; the rest of A·(a + b + c) / 3 is the other sign's. Nothing is
    iterated: the error is rounding, below 1e-12 of the volume.

    References
    ----------
    REF-TIN-3 of ``shared/references.toml``; prism, wedge, pyramid and cone.
    """
    pieces = len(overlay.ground_triangle)
    if compiled.worth(pieces, BREAK_EVEN):
        from pipeline.compare import parts_kernel

        return Parts(*parts_kernel.parts(overlay))
    out = [np.zeros(pieces) for _ in range(5)]
    for begin in range(0, pieces, PIECE_BLOCK):
        start = overlay.start[begin : begin + PIECE_BLOCK + 1]
        corners = slice(int(start[0]), int(start[-1]))
        triangles, owner = fan(start - start[0])
        areas = triangle_areas(overlay.x[corners], overlay.y[corners], triangles)
        split = _split(overlay.cut[corners][triangles.T], np.abs(areas))
        for row, values in zip(out, split, strict=True):
            row[begin : begin + len(start) - 1] = np.bincount(owner, values, len(start) - 1)
    for row in out:
        row.setflags(write=False)
    return Parts(*out)


def _split(corner: Floats, area: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Volumes and areas of triangles above and below zero; `corner` is (3, n)."""
    above, below = (corner > 0).sum(axis=0), (corner < 0).sum(axis=0)
    # spelt out: the order in which a reduction adds is numpy's own affair
    volume = area * (corner[0] + corner[1] + corner[2]) / 3
    cut, fill = np.where(below == 0, volume, 0.0), np.where(above == 0, -volume, 0.0)
    cut_area = np.where((below == 0) & (above > 0), area, 0.0)
    fill_area = np.where((above == 0) & (below > 0), area, 0.0)
    mixed = np.flatnonzero((above > 0) & (below > 0))
    values, whole = corner[:, mixed], area[mixed]
    peak = above[mixed] == 1
    alone = np.where(peak, values.argmax(axis=0), values.argmin(axis=0))
    a, b, c = (np.take_along_axis(values, ((alone + k) % 3)[None], 0)[0] for k in range(3))
    tip_area = whole * (a / (a - b)) * (a / (a - c))
    tip = tip_area * np.abs(a) / 3
    rest = tip + np.where(peak, -1.0, 1.0) * volume[mixed]
    # the true remainder is not negative; rounding may make a vanishing one so
    rest, rest_area = np.maximum(rest, 0.0), np.maximum(whole - tip_area, 0.0)
    cut[mixed], fill[mixed] = np.where(peak, (tip, rest), (rest, tip))
    cut_area[mixed], fill_area[mixed] = np.where(peak, (tip_area, rest_area), (rest_area, tip_area))
    return cut, fill, cut_area, fill_area, area


def volumes_per_piece(overlay: Overlay) -> tuple[Floats, Floats, Floats]:
    """Cut [m3], fill [m3] and plan area [m2] of every piece, to be grouped as wanted.

    Examples
    --------
    One triangle of 2 m2, a metre of cut at one corner:

    >>> one = Overlay(
    ...     origin=[0, 0], x=[0, 2, 0], y=[0, 0, 2], cut=[1, 0, 0], start=[0, 3],
    ...     ground_triangle=[0], design_triangle=[0],
    ... )
    >>> [round(float(v[0]), 6) for v in volumes_per_piece(one)]
    [0.666667, 0.0, 2.0]
    """
    each = parts(overlay)
    return each.cut, each.fill, each.area


def quantity(layer_name: str, overlay: Overlay, design_area_m2: float) -> Quantity:
    """Cut and fill of one layer, apart, with the area that no shot covers.

    Parameters
    ----------
    layer_name : str
        The design layer, for the list and for a refusal.
    overlay : Overlay
        Ground against that layer.
    design_area_m2 : float
        Plan area of the whole layer, `pipeline.surface.mesh.area` of its surface.

    Returns
    -------
    Quantity
        Cubic and square metres, none negative; the mean cut is (cut - fill) /
        compared [m], + where earth is left over, NaN where nothing is compared.
        Cut area and fill area leave out what lies on the design exactly.

    Raises
    ------
    SurfaceError
        More is compared than the design covers: triangles lie on one another,
        and every volume would count them twice.
    """
    each = parts(overlay)
    cut, fill, cut_area, fill_area, compared = (
        float(values.sum())
        for values in (each.cut, each.fill, each.cut_area, each.fill_area, each.area)
    )
    if compared > design_area_m2 * (1 + COVERED_TWICE):
        raise SurfaceError(
            f"layer {layer_name}",
            f"{compared:.3f} m2 compared where the design covers {design_area_m2:.3f} m2,"
            " so triangles of the ground or of the design lie on one another",
            "look for doubled or folded faces and take them out",
        )
    return Quantity(
        layer=layer_name,
        cut_m3=cut,
        fill_m3=fill,
        cut_area_m2=cut_area,
        fill_area_m2=fill_area,
        compared_area_m2=compared,
        uncovered_area_m2=max(design_area_m2 - compared, 0.0),
        mean_cut_m=(cut - fill) / compared if compared > 0 else float("nan"),
    )


def end_area_volume(areas: ArrayLike, distances: ArrayLike) -> Floats:
    """Volume between neighbouring cross-sections by the average of their areas.

    Parameters
    ----------
    areas : array_like, shape (n,)
        Cut area, or fill area, of each section [m2].
    distances : array_like, shape (n - 1,) or ()
        From each section to the next [m], along the line of their centroids.

    Returns
    -------
    ndarray, shape (n - 1,)
        ``distance * (A1 + A2) / 2`` [m3]; NaN beside a section that is NaN.

    Notes
    -----
    Exact for prisms and wedges only: a pyramid comes out half as large again,
    A·L / 2 for A·L / 3. It is the check on the exact volume, never its stand-in.

    References
    ----------
    REF-EW-1, REF-EW-4 and REF-EW-7 of ``shared/references.toml``.

    Examples
    --------
    >>> end_area_volume([4.0, 6.0, 0.0], 10.0).tolist()
    [50.0, 30.0]
    """
    area = np.asarray(areas, dtype=np.float64)
    return np.asarray(np.asarray(distances, dtype=np.float64) * (area[:-1] + area[1:]) / 2)


def prismoidal_volume(a1: ArrayLike, am: ArrayLike, a2: ArrayLike, length: ArrayLike) -> Floats:
    """Volume of prismoids from both end areas and the area midway [m3].

    Parameters
    ----------
    a1, am, a2 : array_like
        Section area at the start, midway and at the end [m2]. The one midway is
        measured there; it is not the mean of the other two.
    length : array_like
        From end to end [m].

    Notes
    -----
    L (A1 + 4 Am + A2) / 6, exact wherever the section area is at most a cubic
    in the distance: prism, wedge, pyramid, cone, the road between straight edges.

    References
    ----------
    REF-EW-1 of ``shared/references.toml``.

    Examples
    --------
    A pyramid of base 9 and height 4 has 2.25 midway:

    >>> float(prismoidal_volume(9.0, 2.25, 0.0, 4.0))
    12.0
    """
    first, middle, last = (np.asarray(v, dtype=np.float64) for v in (a1, am, a2))
    return np.asarray(np.asarray(length, dtype=np.float64) * (first + 4 * middle + last) / 6)


def section_cut_fill_area(offset: ArrayLike, ground: ArrayLike, design: ArrayLike) -> SectionAreas:
    """Cut and fill area of one cross-section, exact between its points.

    Parameters
    ----------
    offset : array_like, shape (n,)
        Never decreasing [m]; two equal ones are a step.
    ground, design : array_like, shape (n,)
        Elevations at those offsets [m], straight between them, NaN where not
        surveyed or not designed.

    Returns
    -------
    SectionAreas
        Cut and fill [m2], each split where the lines cross, and the width that
        both cover [m]. A stretch with NaN at either end is in none of them.

    Raises
    ------
    ValueError
        Offsets that decrease, or columns of different length.

    Examples
    --------
    Ground level, design 2 m wide falling from 0.5 above to 0.5 below it:

    >>> section_cut_fill_area([0.0, 2.0], [5.0, 5.0], [5.5, 4.5])
    SectionAreas(cut=0.25, fill=0.25, width=2.0)
    """
    at = np.asarray(offset, dtype=np.float64)
    above = np.asarray(ground, dtype=np.float64) - np.asarray(design, dtype=np.float64)
    if at.shape != above.shape or (np.diff(at) < 0).any():
        raise ValueError("offsets of a section rise and have one ground and one design each")
    left, right, width = above[:-1], above[1:], np.diff(at)
    known = ~np.isnan(left + right)
    left, right, width = left[known], right[known], width[known]
    both, apart = left + right, np.abs(left) + np.abs(right)
    crossing = left * right < 0
    # where the lines cross, two triangles of heights |left| and |right| share the width
    share = np.divide(width, apart, out=np.zeros_like(width), where=apart > 0)
    up = np.where(left > 0, left, right)
    down = np.where(left > 0, right, left)
    cut = np.where(crossing, up**2 * share, np.maximum(both, 0.0) * width)
    fill = np.where(crossing, down**2 * share, np.maximum(-both, 0.0) * width)
    return SectionAreas(float(cut.sum() / 2), float(fill.sum() / 2), float(width.sum()))
