"""No number where it would be a guess across ground that nobody shot.

Where the edge of today's layer was not shot, triangles reach from the crown to the next
bank: ground there has a height, and a number painted by it would be decimetres off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.crew.edge.line import EdgeLine
from pipeline.crew.words import NOT_SHOT
from pipeline.model import Bools, Floats, Stakes, Surface, texts
from pipeline.surface import locate

NEAR_M = 1.0
"""A spot this near to a shot keeps its number [assumed]."""
END_M = 0.30
"""How far the last row of shots wanders from square to the line [assumed]."""
_CROWN_M = 0.05
WHY = "the edge was not shot here: a number would be a guess"


def without_guesses(painted: Stakes, ground: Surface, edges: Sequence[EdgeLine]) -> Stakes:
    """The spots, those without a number that lie beside a stretch of edge that nobody shot.

    Parameters
    ----------
    painted : Stakes
        Spots with their marks, as `pipeline.crew.dots.grade_dots` gives them.
    ground : Surface
    edges : sequence of EdgeLine
        The edges as shot. A side of which none was shot is left as it is: such a job
        does not go by edges.

    Returns
    -------
    Stakes
        ``NOT SHOT``, without ground, where the spot lies off the crown, beside a gap in
        its side's edge, and farther than 1 m from every corner of its triangle.
    """
    doubtful = np.zeros(len(painted), dtype=bool)
    for side in (-1, 1):
        pieces = [edge for edge in edges if edge.side == side]
        if pieces:
            covered = _covered(painted.station, pieces)
            doubtful |= ~covered & (side * painted.offset > _CROWN_M)
    doubtful &= painted.kind != "unshot"
    rows = np.flatnonzero(doubtful)
    rows = rows[_away(ground, painted.easting[rows], painted.northing[rows]) > NEAR_M]
    mark, kind, note = (list(column) for column in (painted.mark, painted.kind, painted.note))
    height = painted.ground.copy()
    for k in rows:
        mark[k], kind[k], note[k] = NOT_SHOT, "unshot", WHY
    height[rows] = np.nan
    return replace(painted, mark=texts(mark), kind=texts(kind), note=texts(note), ground=height)


def _covered(station: Floats, pieces: Sequence[EdgeLine]) -> Bools:
    """Stations along which the edge was shot."""
    found = np.zeros(len(station), dtype=bool)
    for edge in pieces:
        first, last = edge.station[0] - END_M, edge.station[-1] + END_M
        found |= (station >= first) & (station <= last)
    return found


def _away(ground: Surface, easting: Floats, northing: Floats) -> Floats:
    """Distance from each place to the nearest corner of its triangle [m]; 0 off the surface."""
    triangle = locate.find(ground, easting, northing)
    corner = ground.triangles[np.maximum(triangle, 0)]
    x = ground.x[corner] - (easting - ground.origin[0])[:, None]
    y = ground.y[corner] - (northing - ground.origin[1])[:, None]
    nearest = np.hypot(x, y).min(axis=1) if len(easting) else np.empty(0)
    return np.where(triangle >= 0, nearest, 0.0)
