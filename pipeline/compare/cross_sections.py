"""Volumes by cross-sections, as the pay sheet has them, beside the exact ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compare.crosslines import reach
from pipeline.compare.intervals import Intervals, summed
from pipeline.compare.pieces import following, take
from pipeline.compare.quantities import end_area_volume, prismoidal_volume
from pipeline.design.alignment import curvature_on, element_of, point_at
from pipeline.model import Alignment, Floats, Ints, Overlay, Surface
from pipeline.model.arrays import lock_fields

WITHIN_M = 1e-5
"""A section at the end of a stretch is taken this far inside it, clear of corners on the line."""


@dataclass(frozen=True, slots=True, eq=False)
class Sections:
    """Cut and fill areas at k cross-sections, with where they lie across the street.

    ``cut_offset`` and ``fill_offset`` are the offsets of the centroids [m], right
    +, NaN where there is no area; ``width`` is what was compared [m].
    """

    station: Floats
    cut_m2: Floats
    fill_m2: Floats
    cut_offset: Floats
    fill_offset: Floats
    width: Floats

    def __post_init__(self) -> None:
        k = len(self.station)
        names = ("station", "cut_m2", "fill_m2", "cut_offset", "fill_offset", "width")
        lock_fields(self, dict.fromkeys(names, (np.float64, (k,))))


@dataclass(frozen=True, slots=True, eq=False)
class SectionVolumes:
    """Cut and fill of k stretches by cross-sections [m3], two methods beside the exact.

    ``curve_cut_m3`` and ``curve_fill_m3`` are what the curve correction added to
    the end areas. ``unseen_m`` is the widest part of the layer across the street that no
    shot covers at the sections of a stretch [m]: areas count nothing there, so that both
    methods and the exact volume say too little. NaN where the design was not given.
    """

    layer: str
    start: Floats
    end: Floats
    end_area_cut_m3: Floats
    end_area_fill_m3: Floats
    prismoidal_cut_m3: Floats
    prismoidal_fill_m3: Floats
    curve_cut_m3: Floats
    curve_fill_m3: Floats
    exact_cut_m3: Floats
    exact_fill_m3: Floats
    unseen_m: Floats

    def __post_init__(self) -> None:
        k = len(self.start)
        names = tuple(name for name in self.__slots__ if name != "layer")
        lock_fields(self, dict.fromkeys(names, (np.float64, (k,))))

    def off_by(self, method: str, what: str) -> float:
        """Share by which a method's total differs from the exact: +0.03 is 3 % too much.

        Parameters
        ----------
        method : str
            ``end_area`` or ``prismoidal``.
        what : str
            ``cut`` or ``fill``.

        Returns
        -------
        float
            NaN where the exact volume is zero.
        """
        total = float(getattr(self, f"{method}_{what}_m3").sum())
        exact = float(getattr(self, f"exact_{what}_m3").sum())
        return (total - exact) / exact if exact > 0 else float("nan")


def sections(
    overlay: Overlay, alignment: Alignment, stations: Floats, design: Overlay | None = None
) -> Sections:
    """Cut and fill area of the cross-section at each station, exact.

    Parameters
    ----------
    overlay : Overlay
        Ground against a design layer.
    alignment : Alignment
    stations : ndarray, shape (k,)
        Metres, any order. A section along the edges of triangles is that of one
        side of them; ask a little inside.
    design : Overlay, optional
        The layer's own triangles: a piece is looked at where its triangle is met, so that
        stations are found for some thousand triangles and not for a million pieces.

    Notes
    -----
    The section's line meets a convex piece in one stretch on which the difference
    is linear, so areas and moments have a closed form.
    """
    least, most, _ = reach(alignment, overlay if design is None else design)
    columns = np.stack((overlay.x, overlay.y, overlay.cut))
    at = np.asarray(stations, dtype=np.float64)
    easting, northing, azimuth = point_at(alignment, at)
    rows = np.empty((5, len(at)))
    for k, (e, n, turn) in enumerate(zip(easting, northing, azimuth, strict=True)):
        met = (least - WITHIN_M <= at[k]) & (most + WITHIN_M >= at[k])
        near = np.flatnonzero(met if design is None else met[overlay.design_triangle])
        (x, y, cut), start = take(columns, overlay.start, near)
        x, y = x - (e - overlay.origin[0]), y - (n - overlay.origin[1])
        ahead, right = x * np.sin(turn) + y * np.cos(turn), x * np.cos(turn) - y * np.sin(turn)
        rows[:, k] = _areas(*_stretches(ahead, np.stack((right, cut)), following(start)))
    return Sections(at, *rows)


def _stretches(ahead: Floats, values: Floats, after: Ints) -> tuple[Floats, Floats]:
    """Offset and difference where the line enters and where it leaves each piece it meets.

    The corners of a piece lie side by side, so the k-th way in and the k-th way
    out are the same piece's.
    """
    up = ahead >= 0
    ends = []
    for edge in (np.flatnonzero(~up & up[after]), np.flatnonzero(up & ~up[after])):
        far = after[edge]
        share = ahead[edge] / (ahead[edge] - ahead[far])
        ends.append(values[:, edge] + share * (values[:, far] - values[:, edge]))
    return ends[0], ends[1]


def _areas(near: Floats, far: Floats) -> Floats:
    """Cut, fill, their centroids and the width, of stretches given by offset and difference."""
    (o0, d0), (o1, d1) = near, far
    share = np.divide(d0, d0 - d1, out=np.ones_like(d0), where=d0 * d1 < 0)
    # up to the zero line, and on from it: nothing, where there is none
    zero = o0 + share * (o1 - o0)
    at_zero = np.where(share < 1, 0.0, d1)
    out = np.zeros((2, 2))
    for a, da, b, db in ((o0, d0, zero, at_zero), (zero, at_zero, o1, d1)):
        width = np.abs(b - a)
        area = width * (da + db) / 2
        moment = width * (da * (2 * a + b) + db * (a + 2 * b)) / 6
        for side, part in enumerate((area > 0, area < 0)):
            out[side] += np.abs(area[part].sum()), np.sign(0.5 - side) * moment[part].sum()
    area, moment = out.T
    centre = np.divide(moment, area, out=np.full(2, np.nan), where=area > 0)
    return np.concatenate((area, centre, [np.abs(o1 - o0).sum()]))


def _whole(design: Surface, overlay: Overlay) -> Overlay:
    """The design's own triangles as pieces without a difference, about the overlay's origin."""
    shift = design.origin - overlay.origin
    corner = design.triangles.ravel()
    rows = np.arange(len(design.triangles), dtype=np.int64)
    return Overlay(
        origin=overlay.origin,
        x=design.x[corner] + shift[0],
        y=design.y[corner] + shift[1],
        cut=np.zeros(len(corner)),
        start=np.arange(0, len(corner) + 1, 3, dtype=np.int64),
        ground_triangle=rows,
        design_triangle=rows,
    )


def _unseen(
    found: list[Sections], of: tuple[Overlay | None, Alignment], owner: Ints, count: int
) -> Floats:
    """The widest part of the design that no shot covers at the sections of each stretch [m]."""
    whole, alignment = of
    if whole is None:
        return np.full(count, np.nan)
    widest = np.zeros(count)
    for each in found:
        missing = sections(whole, alignment, each.station).width - each.width
        np.maximum.at(widest, owner, missing)
    # rounding of corners is no width
    return np.where(widest < 1e-3, 0.0, widest)


def by_sections(
    exact: Intervals, overlay: Overlay, alignment: Alignment, design: Surface | None = None
) -> SectionVolumes:
    r"""Average-end-area and prismoidal volumes of the stretches, with the curve correction.

    Parameters
    ----------
    exact : Intervals
        The stretches, whole width, with their exact volumes; open ones are left out.
    overlay : Overlay
        What they were made of.
    alignment : Alignment
    design : Surface, optional
        The layer itself, for the width that no shot covers.

    Notes
    -----
    A section at each end of a stretch, seen from inside it, at every joint of two
    elements of the line, and midway for the prismoid. By Pappus' theorem an area
    whose centroid lies e to the right of the line travels :math:`1 - \kappa e` times
    as far as the line, with the curvature :math:`\kappa = 1/R`, + to the right: the
    centroid correction :math:`1 \mp e/R`. End areas are exact for prisms and wedges;
    where cut begins or ends inside a stretch they count half of the end's area
    where the pyramid holds a third.

    References
    ----------
    REF-EW-1, REF-EW-4 and REF-EW-7 of ``shared/references.toml``; the theorem of
    Pappus and Guldin, from memory.
    """
    inside = np.isfinite(exact.start) & np.isfinite(exact.end)
    start, end = exact.start[inside], exact.end[inside]
    joints = alignment.station[(alignment.station > start[0]) & (alignment.station < end[-1])]
    edges = np.unique(np.concatenate((start, end, joints)))
    edges = edges[np.concatenate(([True], np.diff(edges) > 4 * WITHIN_M))]
    first, last = edges[:-1], edges[1:]
    length, middle = last - first, (first + last) / 2
    owner = np.clip(np.searchsorted(end, middle), 0, len(end) - 1)
    at = (first + WITHIN_M, middle, last - WITHIN_M)
    whole = None if design is None else _whole(design, overlay)
    found = [sections(overlay, alignment, each, whole) for each in at]
    bends = [curvature_on(alignment, element_of(alignment, middle), each) for each in at]
    cut, fill = (
        summed(owner, _volumes(found, bends, length, what), len(start)) for what in ("cut", "fill")
    )
    return SectionVolumes(
        layer=exact.layer,
        start=start,
        end=end,
        end_area_cut_m3=cut[0],
        end_area_fill_m3=fill[0],
        prismoidal_cut_m3=cut[1],
        prismoidal_fill_m3=fill[1],
        curve_cut_m3=cut[2],
        curve_fill_m3=fill[2],
        exact_cut_m3=exact.cut_m3[inside],
        exact_fill_m3=exact.fill_m3[inside],
        unseen_m=_unseen(found, (whole, alignment), owner, len(start)),
    )


def _volumes(found: list[Sections], bends: list[Floats], length: Floats, what: str) -> Floats:
    """By end areas, by the prismoid, and the curve's part of the end areas, (3, stretches)."""
    flat = [getattr(each, f"{what}_m2") for each in found]
    out = [np.nan_to_num(getattr(each, f"{what}_offset")) for each in found]
    bent = [a * (1 - k * e) for a, k, e in zip(flat, bends, out, strict=True)]
    straight = end_area_volume(np.stack((flat[0], flat[2])), length)[0]
    curved = end_area_volume(np.stack((bent[0], bent[2])), length)[0]
    prism = prismoidal_volume(bent[0], bent[1], bent[2], length)
    return np.stack((curved, prism, curved - straight))
