"""The haul plan on the drawing: an arrow along the street for each move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.haul.moves import SHOWN_M3, Moves
from pipeline.crew.measures import METRIC, Measures
from pipeline.design.alignment import point_at
from pipeline.model import Alignment, Floats
from pipeline.model.arrays import lock_fields

STEP_M = 2.0
FIRST_M, APART_M = 1.0, 0.6
CLEAR_M = 10.0
"""Two arrows of a row end and begin this far apart, for their words."""


@dataclass(frozen=True, slots=True, eq=False)
class Arrow:
    """One move: ``path`` (n, 2) easting and northing from cut to fill [m], its words, its way.

    Moves up the street run right of the line, moves back left of it, in rows so that
    neighbouring arrows do not cover one another.
    """

    path: Floats
    text: str
    way: str

    def __post_init__(self) -> None:
        lock_fields(self, {"path": (np.float64, (len(self.path), 2))})


def arrows(
    moves: Moves,
    alignment: Alignment,
    *,
    least_m3: float = SHOWN_M3,
    rows_m: tuple[float, float] = (FIRST_M, APART_M),
    unit: Measures = METRIC,
) -> tuple[Arrow, ...]:
    """An arrow for each move along the street that is worth drawing.

    Parameters
    ----------
    moves : Moves
    alignment : Alignment
    least_m3 : float
        Smaller moves are not drawn; the list has them.
    rows_m : (float, float)
        How far from the line the first row of arrows runs, and how far apart the rows are.
    unit : Measures
        The crew's unit of volume.

    Returns
    -------
    tuple of Arrow
        In order of the moves. What stays in its stretch, comes from outside or leaves
        has none. Inside a curve tighter than an arrow is away from the line, the arrow
        goes the shorter way that stays clear of the line.
    """
    drawn = [
        k
        for k in range(len(moves))
        if moves.way[k] in {"blade", "truck"} and moves.bank_m3[k] >= least_m3
    ]
    found = []
    taken: dict[tuple[float, int], list[tuple[float, float]]] = {}
    for k in drawn:
        start, end = float(moves.start[k]), float(moves.end[k])
        points = max(2, round(abs(end - start) / STEP_M) + 1)
        side = 1.0 if end > start else -1.0
        row = _free_row(taken, side, (min(start, end), max(start, end)))
        out = (rows_m[0] + rows_m[1] * row) * side
        at = np.linspace(start, end, points)
        text = f"{unit.volume(float(moves.bank_m3[k]))} {unit.volume_unit} {moves.way[k]}"
        found.append(Arrow(_beside(alignment, at, out), text, str(moves.way[k])))
    return tuple(found)


def _beside(alignment: Alignment, station: Floats, offset: float) -> Floats:
    """Places beside the line (n, 2), without the loop that a tight inside curve would give."""
    import shapely

    east, north, azimuth = point_at(alignment, station, offset)
    path: Floats = np.stack((east, north), axis=1)
    middle = (azimuth[:-1] + np.diff(np.unwrap(azimuth)) / 2) % (2 * np.pi)
    onward = np.sign(station[-1] - station[0])
    ahead = (np.diff(path, axis=0) * np.stack((np.sin(middle), np.cos(middle)), axis=1)).sum(axis=1)
    if bool((onward * ahead > 0).all()) and shapely.is_simple(shapely.linestrings(path)):
        return path
    on_line = np.stack(point_at(alignment, station, 0.0)[:2], axis=1)
    # the arrow's own left is the line's right on the way back
    left = -offset * onward
    clear = shapely.offset_curve(shapely.linestrings(on_line), left)
    parts = [part for part in shapely.get_parts(clear) if part.length > STEP_M]
    if not parts:
        # nothing is that far from the line on this side: across, from end to end
        ends: Floats = path[[0, 0, -1]] + np.outer([0.0, 0.5, 0.0], path[-1] - path[0])
        return ends
    longest: Floats = shapely.get_coordinates(max(parts, key=lambda part: part.length))
    return longest


def _free_row(
    taken: dict[tuple[float, int], list[tuple[float, float]]],
    side: float,
    reach: tuple[float, float],
) -> int:
    """The nearest row of a side in which nothing lies along `reach` yet; it is taken then."""
    row = 0
    while any(
        reach[0] < last + CLEAR_M and first < reach[1] + CLEAR_M
        for first, last in taken.get((side, row), [])
    ):
        row += 1
    taken.setdefault((side, row), []).append(reach)
    return row
