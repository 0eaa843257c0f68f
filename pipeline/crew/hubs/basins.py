"""Where the gutter is lowered at a basin: the hub that stands beside it, and what it says."""

from __future__ import annotations

import numpy as np

from pipeline.compare.streets import own_name
from pipeline.crew.hubs.references import reference_line
from pipeline.crew.measures import Measures
from pipeline.design import corridor as sections
from pipeline.model import Corridor
from pipeline.units import format_length

Basins = tuple[tuple[float, str], ...]
"""Station and words of each basin of one side."""


def basins_beside(corridor: Corridor, reference: str, side: int, unit: Measures) -> Basins:
    """The basins along one side, by station: how high the lowered gutter is there.

    The reference of a hub keeps its height at a basin, so a hub that only names it would
    have the gutter formed through. ``basin CB3: flowline 50.110, 0.200 below top back of curb``.
    """
    found = []
    for one in corridor.basins:
        if one.side != side:
            continue
        named = f"basin {one.basin}".rstrip()
        layer = next(layer.name for layer in corridor.layers if one.foot in layer.breaks)
        foot = float(sections.break_line(corridor, layer, one.foot, side, one.station)[1])
        beside = reference_line(corridor, reference, np.array([one.station]), np.array([side]))
        # an elevation is metric everywhere, and says so beside what is in feet
        told = f"{named}: {one.foot} {format_length(foot)}{' m' if unit.unit == 'ft' else ''}"
        over = float(beside.elevation[0]) - foot
        if np.isfinite(over) and own_name(corridor, reference) != one.foot:
            feet = " ft" if unit.unit == "ft" else ""
            told += f", {unit.long(over, 0.001)}{feet} below {reference}"
        found.append((one.station, told))
    return tuple(sorted(found))
