"""Symbols of a drawing as blocks of a DXF file, and how its things look there.

A symbol is a block one unit across. What carries facts has a block with
attributes; what has an id carries it as extended data.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.model import PENS, Drawing, Fill, Floats, Lines, Marks, Words

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

DECIMALS = 4
UNSEEN = 1
"""Flag of a fact: the map's own labels say what is to be read on it."""
OURS = "LATH"
"""Name under which extended data stands in the file."""
_HALF, _LOW = 0.5, math.sqrt(3) / 4
_STROKES: dict[str, list[list[tuple[float, float]]]] = {
    "plus": [[(-_HALF, 0), (_HALF, 0)], [(0, -_HALF), (0, _HALF)]],
    "cross": [[(-_HALF, -_HALF), (_HALF, _HALF)], [(-_HALF, _HALF), (_HALF, -_HALF)]],
    "square": [[(-_HALF, -_HALF), (_HALF, -_HALF), (_HALF, _HALF), (-_HALF, _HALF)]],
    "triangle": [[(-_HALF, -_LOW), (_HALF, -_LOW), (0, _LOW)]],
    "diamond": [[(0, -_HALF), (_HALF, 0), (0, _HALF), (-_HALF, 0)]],
    "circle": [],
}


def define_marks(document: Document, drawing: Drawing) -> None:
    """Symbols one unit across. Their lines lie on layer 0, so they look like where they are put.

    Symbols that carry facts have a block of their own, named as their layer, which says
    which facts there are.
    """
    for shape in _STROKES:
        _define(document, f"mark-{shape}", shape, ())
    pictures = (drawing.picture, *(page.picture for page in drawing.pages))
    with_facts = {m.layer: m for picture in pictures for m in picture.marks if m.facts}
    for layer, marks in sorted(with_facts.items()):
        _define(document, layer, marks.shape, tuple(tag for tag, _ in marks.facts))


def _define(document: Document, name: str, shape: str, tags: tuple[str, ...]) -> None:
    block = document.blocks.new(name)
    for line in _STROKES[shape]:
        closed = len(line) > 2
        if block.dxfversion >= "AC1015":
            block.add_lwpolyline(line, close=closed)
        else:
            block.add_polyline2d(line, close=closed)
    if shape == "circle":
        block.add_circle((0, 0), radius=_HALF)
    for tag in tags:
        block.add_attdef(
            tag, (0, 0), tag, height=1.0,
            dxfattribs={"prompt": tag, "flags": UNSEEN, "style": "Standard"},
        )  # fmt: skip


def rounded(values: Floats) -> list[Any]:
    """Coordinates [m] or degrees to 0.1 mm or 0.0001, as plain numbers."""
    # + 0.0 turns a negative zero into zero
    plain: list[Any] = (np.round(values, DECIMALS) + 0.0).tolist()
    return plain


def look_of(part: Fill | Lines | Marks | Words) -> dict[str, Any]:
    """Its layer; and, where it looks like another layer's things, that layer's pen."""
    if isinstance(part, Words) or not part.pen:
        return {"layer": part.layer}
    pen = PENS[part.pen]
    red, green, blue = pen.colour
    return {
        "layer": part.layer,
        "color": pen.index,
        "true_color": (red << 16) + (green << 8) + blue,
        "lineweight": pen.width,
    }


def block_of(marks: Marks) -> str:
    """The block whose copies the symbols are."""
    return marks.layer if marks.facts else f"mark-{marks.shape}"
