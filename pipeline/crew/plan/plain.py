r"""The map for readers that know no shaded regions: strokes in their stead, no plates, no sheets.

Cut leans like ``/``, fill like ``\\``, closer the more there is; so it reads in
black and white as well. What nobody shot is crossed both ways.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.crew.plan.inputs import PlanInputs
from pipeline.crew.plan.lines import polygons_of, ring_lines, strokes
from pipeline.model import Drawing, Fill, Lines

_APART_MM = (4.0, 3.0, 2.2, 1.6, 1.1)
"""Between the strokes of the first, second, ... band on each side of zero, on paper."""
_GAP_APART_MM = 2.5
_LEANS = {"cut": np.pi / 4, "fill": 3 * np.pi / 4}


def plain_drawing(drawing: Drawing, inputs: PlanInputs) -> Drawing:
    """`drawing` without shaded regions and without its sheets.

    Parameters
    ----------
    drawing : Drawing
        The map of `inputs`.
    inputs : PlanInputs
        For the ground that nobody shot, and the scale.
    """
    mm = inputs.sheet.scale / 1000.0
    shaded = [fill for fill in drawing.picture.fills if _look(fill).startswith("band-")]
    # what was taken from the job grid for the map is taken from the regions as well
    rings = [region.rings for region in inputs.not_surveyed]
    crossed = polygons_of(rings, np.array(drawing.shift)) if rings else []
    across = strokes(crossed, _GAP_APART_MM * mm, 3 * np.pi / 4)
    lines = [one for fill in shaded for one in _strokes(fill, mm)]
    lines += [*drawing.picture.lines, *([across] if rings else [])]
    picture = replace(drawing.picture, fills=(), lines=tuple(lines))
    return replace(drawing, picture=picture, pages=())


def _look(fill: Fill) -> str:
    return fill.pen or fill.layer


def _strokes(fill: Fill, mm: float) -> list[Lines]:
    """Outline of a shaded region and the strokes over it."""
    _, side, number = _look(fill).split("-")
    shape = polygons_of([fill.rings], np.zeros(2))
    over = strokes(shape, _APART_MM[int(number) - 1] * mm, _LEANS[side])
    outline = ring_lines(list(fill.rings), fill.layer)
    # the shades of near bands are too light for a line; the distance says which band it is
    pen = f"contour-{side}"
    return [replace(part, layer=fill.layer, pen=pen) for part in (outline, over)]
