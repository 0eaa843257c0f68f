"""No number where it would be a guess across ground that nobody shot.

Where the edge of today's layer was not shot, triangles reach from the crown to the next
bank: ground there has a height, and a number painted by it would be decimetres off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.streets import Street
from pipeline.crew.edge.line import EdgeLine
from pipeline.crew.stretches import edge_layer, outermost, true_runs
from pipeline.crew.words import NOT_SHOT
from pipeline.design import feet as feet_of
from pipeline.design.section import CROWN
from pipeline.model import Bools, Floats, Stakes, Surface, texts
from pipeline.surface import locate

NEAR_M = 1.0
"""A spot this near to a shot keeps its number [assumed]."""
END_M = 0.30
"""How far the last row of shots wanders from square to the line [assumed]."""
_CROWN_M = 0.05
WHY = "the edge was not shot here: a number would be a guess"


@dataclass(frozen=True, slots=True)
class ShotSides:
    """The edges of one street as shot, and the sides that go by them (-1 left, +1 right)."""

    sides: tuple[int, ...] = ()
    edges: tuple[EdgeLine, ...] = ()
    longest_m: float = 0.0
    """Two shots of an edge farther apart than this say nothing about what lies between."""

    def unshot(self, side: int, station: Floats) -> Bools:
        """True beside a gap in the edge of a side that goes by its edge, (n,)."""
        if side not in self.sides:
            return np.zeros(len(station), dtype=bool)
        return ~_covered(station, self._of(side))

    def unknown(self, side: int, station: Floats) -> Bools:
        """The same along one whole stretch of edge, where a short way to its ends is known.

        Parameters
        ----------
        side : int
        station : ndarray, shape (n,)
            Increasing, from one end of the stretch to the other: the street's end or a mouth.
        """
        found = self.unshot(side, station)
        first, last = station[0] - END_M, station[-1] + END_M
        pieces = [x for x in self._of(side) if x.station[-1] >= first and x.station[0] <= last]
        for a, b in true_runs(found) if pieces else ():
            found[a:b] = station[min(b, len(station) - 1)] - station[max(a - 1, 0)] > self.longest_m
        return found

    def _of(self, side: int) -> list[EdgeLine]:
        return [edge for edge in self.edges if edge.side == side]


NOT_BY_EDGES = ShotSides()
"""For a street that does not go by its shot edges."""


def shot_sides(
    street: Street, edges: Mapping[str, Sequence[EdgeLine]], longest_m: float = 0.0
) -> ShotSides:
    """The sides of a street that go by their shot edge.

    A side of the main street of which none was shot does not; once any edge of the job was
    shot, every side of the other parts does.
    """
    own = tuple(edges[street.name])
    all_of_them = bool(street.prefix) and any(len(lines) for lines in edges.values())
    shot = {edge.side for edge in own}
    sides = tuple(side for side in (-1, 1) if all_of_them or side in shot)
    return ShotSides(sides, own, longest_m)


def guesses(
    ground: Surface,
    shot: ShotSides,
    along: tuple[int, Floats],
    grid: tuple[Floats, Floats],
) -> Bools:
    """Places beside a stretch of edge where the ground is a guess across a gap in its shots.

    Parameters
    ----------
    ground : Surface
    shot : ShotSides
    along : tuple of int and ndarray, shape (k,)
        The side, and the stations of one whole stretch, increasing.
    grid : tuple of ndarray, shape (k * m,)
        Easting and northing of m places at each station, station by station.

    Returns
    -------
    ndarray of bool, shape (k * m,)
        True farther than 0.3 m from a corner of the triangle there: on a row of shots the
        ground is known, past it triangles reach from bank to bank or to the crown.
    """
    side, station = along
    found = np.repeat(shot.unknown(side, station), len(grid[0]) // max(len(station), 1))
    rows = np.flatnonzero(found)
    found[rows] = _away(ground, grid[0][rows], grid[1][rows]) > END_M
    return found


def without_guesses(
    painted: Stakes,
    ground: Surface,
    streets: Sequence[Street],
    edges: Mapping[str, Sequence[EdgeLine]],
) -> Stakes:
    """The spots, those without a number that lie beside a stretch of edge that nobody shot.

    Parameters
    ----------
    painted : Stakes
        Spots with their marks, as `pipeline.crew.dots.whole_dots` gives them.
    ground : Surface
    streets : sequence of Street
        The parts of the design, the main street first.
    edges : mapping of str to sequence of EdgeLine
        The edges as shot, of each street by name. A side of the main street of which none
        was shot is left as it is: such a job does not go by edges. Once any edge was shot,
        the other parts go by theirs.

    Returns
    -------
    Stakes
        ``NOT SHOT``, without ground, where the spot lies off the crown, beside a gap in
        its side's edge, and farther than 1 m from every corner of its triangle. In a mouth
        the nearest edge of any part is that of the spot.
    """
    doubtful = np.zeros(len(painted), dtype=bool)
    for street in streets:
        rows = np.flatnonzero(painted.street == street.name)
        doubtful[rows] = _uncovered(street, painted.take(rows), edges)
    if len(streets) > 1:
        rows = np.flatnonzero(_without_edge(streets, painted))
        doubtful[rows] = _uncovered_near(streets, edges, painted.take(rows))
    doubtful &= painted.kind != "unshot"
    rows = np.flatnonzero(doubtful)
    rows = rows[_away(ground, painted.easting[rows], painted.northing[rows]) > NEAR_M]
    mark, kind, note = (list(column) for column in (painted.mark, painted.kind, painted.note))
    height = painted.ground.copy()
    for k in rows:
        mark[k], kind[k], note[k] = NOT_SHOT, "unshot", WHY
    height[rows] = np.nan
    return replace(painted, mark=texts(mark), kind=texts(kind), note=texts(note), ground=height)


def _uncovered(street: Street, painted: Stakes, edges: Mapping[str, Sequence[EdgeLine]]) -> Bools:
    """Spots of one street off its crown, beside a gap in the edge of their side."""
    doubtful = np.zeros(len(painted), dtype=bool)
    shot = shot_sides(street, edges)
    for side in (-1, 1):
        doubtful |= shot.unshot(side, painted.station) & _on(street, side, painted.offset)
    return doubtful


def _on(street: Street, side: int, offset: Floats) -> Bools:
    """Spots off the crown on one side; the line of a return or a bulb is its lip, no crown."""
    if street.corridor.on == CROWN:
        return side * offset > _CROWN_M
    outward = any(side in layer.side for layer in street.corridor.layers)
    return (side * offset > -_CROWN_M) & outward


def _without_edge(streets: Sequence[Street], painted: Stakes) -> Bools:
    """Spots off the crown whose own street has no edge beside them: they stand in a mouth."""
    found = np.zeros(len(painted), dtype=bool)
    for street in streets:
        layer = edge_layer(street.corridor, painted.layers[0])
        for side in (-1, 1) if layer else ():
            rows = np.flatnonzero(painted.street == street.name)
            rows = rows[_on(street, side, painted.offset[rows])]
            edge, _ = outermost(street.corridor, layer, side, painted.station[rows])
            found[rows] = np.isnan(edge)
    return found


def _uncovered_near(
    streets: Sequence[Street], edges: Mapping[str, Sequence[EdgeLine]], painted: Stakes
) -> Bools:
    """Spots whose nearest edge, of any part that was shot or should be, has a gap there."""
    nearest = np.full(len(painted), np.inf)
    doubtful = np.zeros(len(painted), dtype=bool)
    shot = any(len(lines) for lines in edges.values())
    for street in streets:
        layer = edge_layer(street.corridor, painted.layers[0])
        at = feet_of.locate(street.corridor.alignment, painted.easting, painted.northing)
        for side in (-1, 1) if layer else ():
            pieces = [edge for edge in edges[street.name] if edge.side == side]
            edge, _ = outermost(street.corridor, layer, side, at.station)
            there = (at.beyond == 0) & np.isfinite(edge)
            away = np.where(there, np.abs(at.offset - edge), np.inf)
            gap = ~_covered(at.station, pieces) & bool(pieces or (street.prefix and shot))
            doubtful = np.where(away < nearest, gap, doubtful)
            nearest = np.fmin(nearest, away)
    return doubtful


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
