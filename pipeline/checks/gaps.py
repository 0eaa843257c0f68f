"""Parts of the street that lie far from every shot: nobody surveyed them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.checks.coverage import Placed
from pipeline.checks.references import Breaks, edges
from pipeline.checks.telling import Called, stretch_text, volume_text
from pipeline.model import Bools, Finding, Findings, Floats
from pipeline.settings import CheckRules
from pipeline.units import format_station

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


def gaps(section: Breaks, shot: Placed, rules: CheckRules) -> tuple[Gap, ...]:
    """Parts of today's layer farther than ``gap_across_m`` or ``gap_along_m`` from every shot.

    Notes
    -----
    A place is asked every metre along and half metre across; it is in a gap if no shot
    lies in the ellipse of those two half axes about it. Areas are by station and offset.
    """
    from scipy.ndimage import label
    from scipy.spatial import cKDTree

    station, offset, inside = _places(section)
    if not inside.any():
        return ()
    reach = np.array([rules.gap_along_m, rules.gap_across_m])
    far = inside.copy()
    if len(shot.station):
        tree = cKDTree(np.column_stack([shot.station, shot.offset]) / reach)
        grid = np.column_stack([station[inside], offset[inside]]) / reach
        far[inside] = tree.query(grid)[0] > 1.0
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
            f"no shot within {rules.gap_across_m:g} m across and {rules.gap_along_m:g} m along of"
            f" {gap.area_m2:.0f} m2 of the street,"
            f" {stretch_text(np.array([gap.start, gap.end]), called)},"
            f" offset {gap.left:+.1f} to {gap.right:+.1f} m; each centimetre there is"
            f" {volume_text(0.01 * gap.area_m2, rules.load_m3)}",
            "shoot there; until then it is not surveyed",
            station=gap.start,
            offset=(gap.left + gap.right) / 2.0,
        )
        for gap in found
    )
