"""The cut and fill map of a day as a drawing: every text and coordinate final.

Nothing is turned: north is up, and the texts run along the street. Sizes are
paper millimetres times the scale. A text that finds no free place is left out,
never shrunk; its number is in the lists.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.crew.hubs.references import lath_name
from pipeline.crew.plan.branches import Branch
from pipeline.crew.plan.frame import PlanWords, corners, frame, placed
from pipeline.crew.plan.haul import haul_lines, haul_shown, haul_words
from pipeline.crew.plan.inputs import PlanInputs, band_limits
from pipeline.crew.plan.map import (
    Base,
    band_fills,
    base_of,
    design_lines,
    gap_lines,
    level_lines,
    map_marks,
)
from pipeline.crew.plan.sheets import Shown, pages
from pipeline.crew.plan.sides import side_pages
from pipeline.crew.plan.texts import map_texts
from pipeline.design import feet as feet_of
from pipeline.design.equations import station_text
from pipeline.model import Drawing, Fill, Floats, Picture

_MARGIN_MM = 10.0
_MOUTH_M, _ASIDE_M = 10.0, 40.0
"""What lies nearer to a side street's start, or farther aside, is no bulb of its own [assumed]."""


def drawing(inputs: PlanInputs) -> Drawing:
    """The day's map and its A3 sheets.

    Returns
    -------
    Drawing
        The map, north up, with its title block beside it; and sheets at the
        stated scale with windows along the street. No two texts of the map
        overlap.

    Raises
    ------
    JobError
        Bands that cannot be drawn (`band_limits`).
    """
    band_limits(inputs.sheet.bands_m)
    base = base_of(inputs)
    words = _told(base)
    origin = (float(base.street.origin[0]), float(base.street.origin[1]))
    taken, added = (origin, (0.0, 0.0)) if inputs.local_shift else ((0.0, 0.0), origin)
    block = frame(words, inputs.sheet, taken, north=True)
    drawn = _map(base)
    ground = with_block(drawn, block, base.mm)
    unturned = frame(words, inputs.sheet, taken, north=False)
    line = inputs.corridor.alignment

    def name_of(station: float) -> str:
        return station_text(line, station)

    windows = unturned, Shown(base.reach_m), inputs.sheet.scale, added
    sheets = pages(base.street, line, *windows)
    for one in base.branches:
        if one.kind == "street":
            windows = unturned, Shown(_branch_reach(base, one)), inputs.sheet.scale, added
            sheets += pages(one.street, one.corridor.alignment, *windows)
    hauled = haul_shown(base, drawn)
    if hauled is not None:
        sheets += pages(base.street, line, unturned, hauled, inputs.sheet.scale, added)
    rules = inputs.sheet, inputs.rounding
    sides = side_pages(inputs.profiles, inputs.sections, unturned, rules, name_of)
    return Drawing(words.job, placed(ground, 1.0, *added), (*sheets, *sides), taken)


def _branch_reach(base: Base, branch: Branch) -> float:
    """How far the marks beside a side street's own stretch lie from its line [m]."""
    stakes, ends = base.inputs.stakes, branch.corridor.alignment.station[[0, -1]]
    at = feet_of.locate(branch.corridor.alignment, stakes.easting, stakes.northing)
    # a bulb around its end counts, the street that it leaves does not
    near = (at.station > ends[0] + _MOUTH_M) & (np.abs(at.offset) < _ASIDE_M)
    return float(np.max(np.abs(at.offset[near]), initial=base.reach_m))


def _told(base: Base) -> PlanWords:
    """The title block's words, with the breaks' short names, and what is too much to draw."""
    words = base.inputs.words
    names = dict.fromkeys(edge.name for edge in base.edges)
    short = [f"{lath_name(name)} {name}" for name in names if lath_name(name) != name.upper()]
    more: tuple[str, ...] = (f"breaks: {', '.join(short)}",) if short else ()
    drawn, n = len(base.shot_rows), len(base.inputs.shots)
    if drawn < n:
        more += (
            f"shots drawn: {drawn} of {n}, the deepest in each {base.shot_cell_mm:g} mm of paper",
        )
    drawn, n = len(base.dot_rows), len(base.inputs.dots)
    if drawn < n:
        more += (f"numbers to paint drawn: {drawn} of {n}, all in the lists",)
    return replace(words, numbers=(*words.numbers, *more))


def _map(base: Base) -> Picture:
    marks = map_marks(base)
    words, plates = map_texts(base, marks)
    return Picture(
        fills=(*band_fills(base), *plates),
        lines=(*design_lines(base), *level_lines(base), *gap_lines(base), *haul_lines(base)),
        words=(*words, *haul_words(base)),
        marks=marks,
    )


def with_block(ground: Picture, block: Picture, mm: float) -> Picture:
    """The map, its title block beside it, and white paper under both.

    Parameters
    ----------
    ground : Picture
        The map [m].
    block : Picture
        Title block, its top left corner at (0, 0) [mm].
    mm : float
        A millimetre of paper on the ground [m].

    Notes
    -----
    The block stands right of a map that is taller than wide, else below it: the
    whole is then the less stretched.
    """
    west, south, east, north = _reach(ground)
    gap = _MARGIN_MM * mm
    at = (east + gap, north) if north - south > east - west else (west, south - gap)
    beside = placed(block, mm, *at)
    box = corners(beside)
    low = np.minimum([west, south], box[:2]) - gap
    high = np.maximum([east, north], box[2:]) + gap
    sheet = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    return Picture(fills=(Fill("back-paper", (sheet,)),)) + ground + beside


def _reach(ground: Picture) -> Floats:
    """West, south, east and north of everything on the map, its plates included."""
    rings = [ring for fill in ground.fills for ring in fill.rings]
    lines = [np.column_stack([part.x, part.y]) for part in ground.lines]
    marks = [np.column_stack([part.x, part.y]) for part in ground.marks]
    every = np.concatenate([*rings, *lines, *marks])
    return np.concatenate([every.min(axis=0), every.max(axis=0)])
