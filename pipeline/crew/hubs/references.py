"""The curb references of a section: which break a hub's cut is measured to, and its short name.

A number on a lath without a named reference is the most expensive silent error
of the trade, so nothing here has a default reference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.streets import break_beside, has_break, own_name
from pipeline.design import alignment as line
from pipeline.errors import DesignError
from pipeline.model import Corridor, Floats, Ints
from pipeline.model.arrays import lock_fields

LATH_NAMES = {
    "crown": "CL",
    "centreline": "CL",
    "lane edge": "LE",
    "lip": "LIP",
    "flowline": "FL",
    "top of face": "TF",
    "top back of curb": "TBC",
    "back of walk": "BW",
    "edge of clay": "EOC",
    "edge of stabilised": "EOS",
    "edge of gravel": "EOG",
    "edge of pavement": "EP",
    "edge of shoulder": "ES",
}
"""Names short enough for a lath; any other break is written out. Common practice, no source."""


def lath_name(break_name: str) -> str:
    """``TBC`` for top back of curb; a break without a short name is written in capitals."""
    return LATH_NAMES.get(break_name, break_name.upper())


@dataclass(frozen=True, slots=True, eq=False)
class ReferenceLine:
    """A named break at n stations on given sides: where it is and how high."""

    name: str
    layer: str
    offset: Floats
    elevation: Floats
    easting: Floats
    northing: Floats

    def __post_init__(self) -> None:
        n = len(self.offset)
        lock_fields(
            self,
            dict.fromkeys(("offset", "elevation", "easting", "northing"), (np.float64, (n,))),
        )

    def take(self, rows: Ints) -> ReferenceLine:
        """Some of the places."""
        names = ("offset", "elevation", "easting", "northing")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})


def layer_with(corridor: Corridor, break_name: str) -> str:
    """Name of the topmost layer that has this break.

    Raises
    ------
    DesignError
        No layer has it; the message lists the breaks there are.
    """
    wanted = own_name(corridor, break_name)
    for layer in corridor.layers:
        if wanted in layer.breaks:
            return layer.name
    known = sorted({name for layer in corridor.layers for name in layer.breaks})
    raise DesignError(
        f"reference {break_name!r}",
        f"no section has a break of that name; there are {', '.join(known) or 'none'}",
        "name one of them as stakes.reference in the job file",
    )


def on_side(corridor: Corridor, name: str, side: int) -> bool:
    """True where the topmost layer that has the break has it on this side."""
    for layer in corridor.layers:
        if own_name(corridor, name) in layer.breaks:
            return has_break(corridor, layer, name, side)
    return False


def reference_line(
    corridor: Corridor, break_name: str, station: Floats, side: Ints
) -> ReferenceLine:
    """The break at each station on each side (-1 left, +1 right); NaN where it is not designed.

    Raises
    ------
    DesignError
        No layer has a break of this name.
    """
    layer = layer_with(corridor, break_name)
    chosen = corridor.layer(layer)
    offset = np.full(len(station), np.nan)
    elevation = np.full(len(station), np.nan)
    for one_side in (-1, 1):
        rows = side == one_side
        # a return or the edge of a bulb has its curb on one side
        offset[rows], elevation[rows] = break_beside(
            corridor, chosen, break_name, one_side, station[rows]
        )
    easting, northing, _ = line.point_at(corridor.alignment, station, np.nan_to_num(offset))
    missing = np.isnan(offset)
    return ReferenceLine(
        name=break_name,
        layer=layer,
        offset=offset,
        elevation=elevation,
        easting=np.where(missing, np.nan, easting),
        northing=np.where(missing, np.nan, northing),
    )
