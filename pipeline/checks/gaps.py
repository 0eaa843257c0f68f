"""Parts of the street that lie far from every shot: nobody surveyed them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.checks.coverage import Placed
from pipeline.checks.references import Breaks, edges
from pipeline.checks.telling import stretch_text, volume_text
from pipeline.model import Bools, Finding, Findings, Floats, Ints
from pipeline.model.arrays import lock_fields
from pipeline.settings import CheckRules
from pipeline.units import Called, format_station

_CELL_M = (1.0, 0.5)
"""Along and across: places on the street that are asked how far the next shot is."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A part of the street far from every shot; metres and square metres."""

    start: float
    end: float
    left: float
    right: float
    area_m2: float
    part: int = 0
    """Number of the part of the design that it is told along."""
    around: bool = False
    """True where no street rules: far from every shot in all directions alike."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Places of a design of several parts on one square grid, (i, j) each.

    ``part`` is the part that a place is told along, ``station`` and ``offset`` are on its
    line; ``inside`` is True where today's layer is designed, ``ruled`` where the sections of
    a street rule: along it shots may lie farther apart. ``step`` is the grid's [m].
    """

    easting: Floats
    northing: Floats
    station: Floats
    offset: Floats
    part: Ints
    inside: Bools
    ruled: Bools
    step: float

    def __post_init__(self) -> None:
        shape = (self.inside.shape[0], None)
        columns = ("easting", "northing", "station", "offset")
        lock_fields(self, dict.fromkeys(columns, (np.float64, shape)))
        lock_fields(self, {"part": (np.int64, shape)})
        lock_fields(self, dict.fromkeys(("inside", "ruled"), (np.bool_, shape)))


def far_from(places: Floats, shots: Floats, reach: Floats) -> Bools:
    """True for each of n places without a shot in the ellipse of these half axes about it.

    Parameters
    ----------
    places, shots : ndarray, shapes (n, 2) and (m, 2)
        In the directions of the two half axes [m].
    reach : ndarray, shape (2,)
        Half axes [m].
    """
    from scipy.spatial import cKDTree

    if not len(shots) or not len(places):
        return np.ones(len(places), dtype=bool)
    return np.asarray(cKDTree(shots / reach).query(places / reach)[0] > 1.0)


def gaps_in_cells(cells: Cells, far: Bools) -> tuple[Gap, ...]:
    """Connected places that are far from every shot, each told along the part of most of it.

    Parameters
    ----------
    cells : Cells
    far : bool (i, j)
        Designed, and far from every shot.
    """
    from scipy.ndimage import label

    number, count = label(far)
    found = []
    for one in range(1, count + 1):
        here = number == one
        part = int(np.argmax(np.bincount(cells.part[here])))
        along = here & (cells.part == part)
        s, o = cells.station[along], cells.offset[along]
        area = float(here.sum()) * cells.step**2
        ends = float(s.min()), float(s.max()), float(o.min()), float(o.max())
        around = bool(cells.ruled[here].mean() < 0.5)
        found.append(Gap(*ends, area, part, around))
    return tuple(found)


def gaps(section: Breaks, shot: Placed, rules: CheckRules) -> tuple[Gap, ...]:
    """Parts of today's layer farther than ``gap_across_m`` or ``gap_along_m`` from every shot.

    Notes
    -----
    A place is asked every metre along and half metre across; it is in a gap if no shot
    lies in the ellipse of those two half axes about it. Areas are by station and offset.
    """
    from scipy.ndimage import label

    station, offset, inside = _places(section)
    if not inside.any():
        return ()
    reach = np.array([rules.gap_along_m, rules.gap_across_m])
    far = inside.copy()
    places = np.column_stack([station[inside], offset[inside]])
    far[inside] = far_from(places, np.column_stack([shot.station, shot.offset]), reach)
    part, count = label(far)
    found = []
    for number in range(1, count + 1):
        here = part == number
        s, o = station[here], offset[here]
        area = float(here.sum()) * _CELL_M[0] * _CELL_M[1]
        found.append(Gap(float(s.min()), float(s.max()), float(o.min()), float(o.max()), area))
    return tuple(found)


def _places(section: Breaks) -> tuple[Floats, Floats, Bools]:
    """Cells of the street by station and offset, and whether today's layer covers them."""
    ends = np.concatenate([line.station for line in section] or [np.zeros(1)])
    along = np.arange(ends.min() + _CELL_M[0] / 2, ends.max(), _CELL_M[0])
    left, right = edges(section, along)
    if not np.isfinite(left).any():
        return np.empty((0, 0)), np.empty((0, 0)), np.zeros((0, 0), dtype=bool)
    across = np.arange(np.nanmin(left), np.nanmax(right), _CELL_M[1]) + _CELL_M[1] / 2
    station, offset = np.meshgrid(along, across, indexing="ij")
    return station, offset, (offset >= left[:, None]) & (offset <= right[:, None])


def gap_findings(
    found: tuple[Gap, ...], rules: CheckRules, called: Called = format_station
) -> Findings:
    """One finding a gap: where, how much of the street, what a centimetre there is worth."""
    return tuple(
        Finding(
            "person",
            "gap in the shots",
            f"no shot within {_reach_text(gap, rules)} of {gap.area_m2:.0f} m2 of the street,"
            f" {stretch_text(np.array([gap.start, gap.end]), called)},"
            f" offset {_across_text(gap)} m; each centimetre there is"
            f" {volume_text(0.01 * gap.area_m2, rules.load_m3)}",
            "shoot there; until then it is not surveyed",
            station=gap.start,
            offset=(gap.left + gap.right) / 2.0,
        )
        for gap in found
    )


def _across_text(gap: Gap) -> str:
    left, right = f"{gap.left:+.1f}", f"{gap.right:+.1f}"
    return left if left == right else f"{left} to {right}"


def _reach_text(gap: Gap, rules: CheckRules) -> str:
    if gap.around:
        return f"{rules.gap_across_m:g} m"
    return f"{rules.gap_across_m:g} m across and {rules.gap_along_m:g} m along"
