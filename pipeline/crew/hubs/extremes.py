"""High and low points along a street: of the line itself, and of a named break on one side."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.compare.streets import own_name
from pipeline.crew.hubs.references import layer_with, on_side
from pipeline.design import corridor as sections
from pipeline.design import grade_line
from pipeline.model import Corridor

_MARKS = {"high": "HP", "low": "LP"}


@dataclass(frozen=True, slots=True)
class HighLow:
    """A high (``HP``) or low (``LP``) point; ``what`` is the break that turns there."""

    mark: str
    what: str
    station: float
    offset: float


def along_line(corridor: Corridor) -> list[HighLow]:
    """Those of the crown, or of the edge that the street's line is, by station."""
    return [
        HighLow(_MARKS[point.kind], corridor.on, point.station, 0.0)
        for point in grade_line.turning_points(corridor.profile)
        if point.kind in _MARKS
    ]


def along_break(corridor: Corridor, name: str, side: int) -> list[HighLow]:
    """Those of a break on one side (-1 left, +1 right), by station; none where it is not there."""
    if not on_side(corridor, name, side):
        return []
    layer, own = layer_with(corridor, name), own_name(corridor, name)
    return [
        HighLow(_MARKS[point.kind], name, point.station, point.offset)
        for point in sections.edge_extremes(corridor, layer, own, side)
        if point.kind in _MARKS
    ]
