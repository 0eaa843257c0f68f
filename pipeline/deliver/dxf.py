"""A drawing as a DXF file: version R2010, metres, plain text, the same bytes every time.

Nothing is computed here. The order of the entities is the order of `LAYERS`:
readers that draw as the file goes put fills first and texts last, and so do
readers that draw by layer name. Entities are the ones that four general-purpose
readers were seen to draw alike: HATCH and SOLID, LWPOLYLINE, LINE, POINT, INSERT,
TEXT; everything has the colour and width of its layer.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import OutputError
from pipeline.model import (
    LAYERS,
    PENS,
    Drawing,
    Fill,
    Floats,
    Lines,
    Marks,
    Page,
    Picture,
    View,
    Words,
)  # fmt: skip

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.layouts.base import BaseLayout
    from ezdxf.layouts.layout import Paperspace

FARTHEST_M = 1e8
"""No grid in use reaches so far; a coordinate beyond is a fault, not a place."""

_METRES = 6
_DECIMALS = 4
_LEFT, _CENTRE, _RIGHT, _MIDDLE = 0, 1, 2, 2
_ANCHORS = {"left": _LEFT, "centre": _CENTRE, "right": _RIGHT}
_OUTSIDE, _HOLE = 1, 0
_BY_LAYER = 256
_UNSEEN = 1
"""Flag of a fact: the map's own labels say what is to be read on it."""
_OURS = "LATH"
"""Name under which extended data stands in the file."""


def dxf_bytes(drawing: Drawing) -> bytes:
    """`drawing` as the content of a DXF file.

    Parameters
    ----------
    drawing : Drawing
        Texts and coordinates are written as they are, rounded to 0.1 mm.

    Returns
    -------
    bytes
        UTF-8. Times and ids in the file are fixed, so equal drawings give equal
        bytes.

    Raises
    ------
    OutputError
        A coordinate or a size that is not finite or lies beyond 1e8, or a layer
        that `LAYERS` does not describe. The format itself would take both.
    """
    _check(drawing)
    with _fixed_metadata():
        document = _empty_document()
        _define_marks(document, drawing)
        box = _draw(document.modelspace(), drawing.picture)
        _look_at(document, box)
        for number, page in enumerate(drawing.pages):
            _draw_page(document, page, first=number == 0)
        _register_classes(document)
        out = io.StringIO(newline="\n")
        document.write(out)
    return out.getvalue().encode("utf-8")


@contextlib.contextmanager
def _fixed_metadata() -> Iterator[None]:
    """Same times, ids and writer's name in every file; the switch is global, so it goes back."""
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _register_classes(document: Document) -> None:
    """The kinds of object in use, in a fixed order.

    Left to itself, ezdxf 1.4 lists them in the order of a set of texts, which
    changes with the hash seed of the process.
    """
    for name in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(name)


def _check(drawing: Drawing) -> None:
    pictures = [(drawing.name, drawing.picture)]
    for page in drawing.pages:
        pictures.append((page.name, page.picture))
        _check_view(page)
    for name, picture in pictures:
        for fill in picture.fills:
            _check_numbers(name, fill.layer, *fill.rings)
        for lines in picture.lines:
            _check_numbers(name, lines.layer, lines.x, lines.y)
        for words in picture.words:
            _check_numbers(name, words.layer, words.x, words.y, words.angle)
            _check_sizes(name, words.layer, words.height)
        for marks in picture.marks:
            _check_numbers(name, marks.layer, marks.x, marks.y, marks.z[~np.isnan(marks.z)])
            _check_sizes(name, marks.layer, np.array([marks.size]))


def _check_view(page: Page) -> None:
    for view in page.views:
        numbers = np.array([view.x, view.y, view.easting, view.northing, view.turn])
        _check_numbers(page.name, "frame", numbers)
        _check_sizes(page.name, "frame", np.array([view.width, view.height, view.scale]))


def _check_numbers(drawing: str, layer: str, *columns: NDArray[Any]) -> None:
    if layer not in LAYERS:
        raise OutputError(
            f"drawing {drawing}", f"found layer {layer!r}", "use one of the layers described"
        )
    for values in columns:
        bad = ~(np.abs(values) <= FARTHEST_M)
        if bad.any():
            raise OutputError(
                f"drawing {drawing}, layer {layer}",
                f"found {values[bad].flat[0]} for a coordinate",
                "look among the shots, the design and the findings for the point it comes from",
            )


def _check_sizes(drawing: str, layer: str, sizes: Floats) -> None:
    _check_numbers(drawing, layer, sizes)
    if (sizes <= 0).any():
        raise OutputError(
            f"drawing {drawing}, layer {layer}",
            f"found a height or size of {sizes.min()}",
            "give every text and mark a height above zero",
        )


def _empty_document() -> Document:
    from ezdxf.filemanagement import new

    document = new("R2010", setup=False, units=_METRES)
    header = document.header
    header["$INSUNITS"] = _METRES
    header["$MEASUREMENT"] = 1
    header["$LUNITS"] = 2
    header["$LUPREC"] = 3
    header["$PDMODE"] = 0
    header["$LWDISPLAY"] = 1
    for name in LAYERS:
        pen = PENS[name]
        layer = document.layers.add(
            name, color=pen.index, linetype="CONTINUOUS", lineweight=pen.width
        )
        layer.rgb = pen.colour
    document.appids.add(_OURS)
    return document


_HALF, _LOW = 0.5, math.sqrt(3) / 4
_STROKES: dict[str, list[list[tuple[float, float]]]] = {
    "plus": [[(-_HALF, 0), (_HALF, 0)], [(0, -_HALF), (0, _HALF)]],
    "cross": [[(-_HALF, -_HALF), (_HALF, _HALF)], [(-_HALF, _HALF), (_HALF, -_HALF)]],
    "square": [[(-_HALF, -_HALF), (_HALF, -_HALF), (_HALF, _HALF), (-_HALF, _HALF)]],
    "triangle": [[(-_HALF, -_LOW), (_HALF, -_LOW), (0, _LOW)]],
    "diamond": [[(0, -_HALF), (_HALF, 0), (0, _HALF), (-_HALF, 0)]],
    "circle": [],
}


def _define_marks(document: Document, drawing: Drawing) -> None:
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
        _add_polyline(block, line, len(line) > 2, {})
    if shape == "circle":
        block.add_circle((0, 0), radius=_HALF)
    for tag in tags:
        block.add_attdef(
            tag, (0, 0), tag, height=1.0,
            dxfattribs={"prompt": tag, "flags": _UNSEEN, "style": "Standard"},
        )  # fmt: skip


def _draw(layout: BaseLayout, picture: Picture) -> Floats | None:
    """Write `picture` layer by layer; its box (west, south, east, north), None if empty."""
    for name in LAYERS:
        for fill in picture.fills:
            if fill.layer == name:
                _add_fill(layout, fill)
        for lines in picture.lines:
            if lines.layer == name:
                _add_lines(layout, lines)
        for marks in picture.marks:
            if marks.layer == name:
                _add_marks(layout, marks)
        for words in picture.words:
            if words.layer == name:
                _add_words(layout, words)
    return _box(picture)


def _box(picture: Picture) -> Floats | None:
    spots = [ring for fill in picture.fills for ring in fill.rings]
    columns: list[Lines | Marks | Words] = [*picture.lines, *picture.marks, *picture.words]
    spots += [np.column_stack([part.x, part.y]) for part in columns]
    spots = [part for part in spots if len(part)]
    if not spots:
        return None
    every = np.concatenate(spots)
    return np.concatenate([every.min(axis=0), every.max(axis=0)])


def _rounded(values: Floats) -> list[Any]:
    # + 0.0 turns a negative zero into zero
    rounded: list[Any] = (np.round(values, _DECIMALS) + 0.0).tolist()
    return rounded


def _look(part: Fill | Lines | Marks) -> dict[str, Any]:
    """Its layer; and, where it looks like another layer's things, that layer's pen."""
    if not part.pen:
        return {"layer": part.layer}
    pen = PENS[part.pen]
    red, green, blue = pen.colour
    return {
        "layer": part.layer,
        "color": pen.index,
        "true_color": (red << 16) + (green << 8) + blue,
        "lineweight": pen.width,
    }


def _add_fill(layout: BaseLayout, fill: Fill) -> None:
    at = _look(fill)
    if len(fill.rings) == 1 and len(fill.rings[0]) == 4:
        # a four-sided fill is a SOLID, which more readers draw; its last two corners change places
        a, b, c, d = _rounded(fill.rings[0])
        layout.add_solid([a, b, d, c], dxfattribs=at)
        return
    hatch = layout.add_hatch(color=at.get("color", _BY_LAYER), dxfattribs=at)
    for number, ring in enumerate(fill.rings):
        hatch.paths.add_polyline_path(
            _rounded(ring), is_closed=True, flags=_HOLE if number else _OUTSIDE
        )


def _add_lines(layout: BaseLayout, lines: Lines) -> None:
    at = _look(lines)
    points = _rounded(np.column_stack([lines.x, lines.y]))
    ends = lines.start.tolist()
    for first, last in itertools.pairwise(ends):
        if last - first == 2:
            layout.add_line(points[first], points[first + 1], dxfattribs=at)
        elif last - first > 2:
            _add_polyline(layout, points[first:last], lines.closed, at)


def _add_polyline(
    layout: BaseLayout, points: list[Any], closed: bool, look: dict[str, Any]
) -> None:
    if layout.dxfversion >= "AC1015":
        layout.add_lwpolyline(points, close=closed, dxfattribs=look)
    else:
        layout.add_polyline2d(points, close=closed, dxfattribs=look)


def _add_marks(layout: BaseLayout, marks: Marks) -> None:
    look = _look(marks)
    scale = {**look, "xscale": marks.size, "yscale": marks.size}
    block = marks.layer if marks.facts else f"mark-{marks.shape}"
    columns = (_rounded(marks.x), _rounded(marks.y), _rounded(marks.z), _told(marks))
    for k, (x, y, z, told) in enumerate(zip(*columns, strict=True)):
        mark = layout.add_blockref(block, (x, y), dxfattribs=scale)
        if told:
            mark.set_xdata(_OURS, told)
        for tag, texts in marks.facts:
            at = {**look, "height": marks.size, "flags": _UNSEEN, "style": "Standard"}
            mark.add_attrib(tag, texts[k], (x, y), dxfattribs=at)
        if not math.isnan(z):
            # the symbol lies flat on the map, the point has its height
            point = layout.add_point((x, y, z), dxfattribs=look)
            if told:
                point.set_xdata(_OURS, told)


def _told(marks: Marks) -> list[list[tuple[int, Any]]]:
    """Extended data of each mark: its id as text, its station as a number; none without an id."""
    stations = _rounded(marks.station)
    return [
        [(1000, name), *([] if math.isnan(station) else [(1040, station)])] if name else []
        for name, station in zip(marks.id.tolist(), stations, strict=True)
    ]


def _add_words(layout: BaseLayout, words: Words) -> None:
    sideways = _ANCHORS[words.anchor]
    columns = (
        words.text.tolist(),
        _rounded(np.column_stack([words.x, words.y])),
        _rounded(words.height),
        _rounded(np.degrees(words.angle)),
    )
    for text, place, height, angle in zip(*columns, strict=True):
        if text:
            layout.add_text(
                text,
                dxfattribs={
                    "layer": words.layer,
                    "style": "Standard",
                    "height": height,
                    "rotation": angle,
                    "insert": place,
                    "align_point": place,
                    "halign": sideways,
                    "valign": _MIDDLE,
                },
            )


def _look_at(document: Document, box: Floats | None) -> None:
    """Open on the whole map, and tell readers how far it reaches."""
    if box is None:
        return
    west, south, east, north = _rounded(box)
    # the layout's own box goes into the header as well when the file is written
    document.modelspace().reset_extents((west, south, 0.0), (east, north, 0.0))
    document.set_modelspace_vport(
        height=max(north - south, (east - west) / 2, 1.0) * 1.05,
        center=((west + east) / 2, (south + north) / 2),
    )


def _draw_page(document: Document, page: Page, *, first: bool) -> None:
    layout: Paperspace
    if first:
        document.layouts.rename("Layout1", page.name)
        layout = document.layouts.get(page.name)  # type: ignore[assignment]
    else:
        layout = document.layouts.new(page.name)
    # no printer is named: the sheet knows its size, the reader knows its printer
    layout.page_setup(
        size=(page.width, page.height), margins=(0, 0, 0, 0), units="mm", name="", device=""
    )
    for viewport in layout.viewports():
        viewport.dxf.layer = "frame"
    for view in page.views:
        _add_view(layout, view)
    _draw(layout, page.picture)


def _add_view(layout: Paperspace, view: View) -> None:
    # 1 mm on the sheet is scale / 1000 m on the ground
    viewport = layout.add_viewport(
        center=(view.x, view.y),
        size=(view.width, view.height),
        view_center_point=(0, 0),
        view_height=view.height * view.scale / 1000.0,
        dxfattribs={"layer": "frame"},
    )
    # turned about a target on the map: the middle of the view then is (0, 0) at any angle
    viewport.dxf.view_target_point = (*_rounded(np.array([view.easting, view.northing])), 0.0)
    viewport.dxf.view_twist_angle = round(math.degrees(view.turn), _DECIMALS)
    viewport.frozen_layers = list(view.hidden)
