"""The haul plan on the drawing: an arrow along the street for each move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.haul.moves import SHOWN_M3, Moves
from pipeline.design.alignment import point_at
from pipeline.model import Alignment, Floats
from pipeline.model.arrays import lock_fields
from pipeline.units import format_length

STEP_M = 2.0
FIRST_M, APART_M, ROWS = 1.0, 0.6, 5


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


def arrows(moves: Moves, alignment: Alignment, *, least_m3: float = SHOWN_M3) -> tuple[Arrow, ...]:
    """An arrow for each move along the street that is worth drawing.

    Parameters
    ----------
    moves : Moves
    alignment : Alignment
    least_m3 : float
        Smaller moves are not drawn; the list has them.

    Returns
    -------
    tuple of Arrow
        In order of the moves. What stays in its stretch, comes from outside or leaves
        has none.
    """
    drawn = [
        k
        for k in range(len(moves))
        if moves.way[k] in {"blade", "truck"} and moves.bank_m3[k] >= least_m3
    ]
    found = []
    for row, k in enumerate(drawn):
        start, end = float(moves.start[k]), float(moves.end[k])
        points = max(2, round(abs(end - start) / STEP_M) + 1)
        out = (FIRST_M + APART_M * (row % ROWS)) * (1.0 if end > start else -1.0)
        at = np.linspace(start, end, points)
        easting, northing, _ = point_at(alignment, at, np.full(points, out))
        text = f"{format_length(float(moves.bank_m3[k]), step=0.1)} m3 {moves.way[k]}"
        found.append(Arrow(np.stack((easting, northing), axis=1), text, str(moves.way[k])))
    return tuple(found)
