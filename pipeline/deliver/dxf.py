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
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.deliver.dxf_bulk import Entities
from pipeline.deliver.dxf_parts import DECIMALS, OURS, define_marks, look_of, rounded
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
_OUTSIDE, _HOLE = 1, 0
_BY_LAYER = 256


def dxf_bytes(drawing: Drawing, *, plain: bool = False) -> bytes:
    """`drawing` as the content of a DXF file.

    Parameters
    ----------
    drawing : Drawing
        Texts and coordinates are written as they are, rounded to 0.1 mm.
    plain : bool
        Version R12, for readers that know no other: index colours, no shaded regions,
        no sheets.

    Returns
    -------
    bytes
        UTF-8. Times and ids in the file are fixed, so equal drawings give equal
        bytes.

    Raises
    ------
    OutputError
        A coordinate or a size that is not finite or lies beyond 1e8, or a layer
        that `LAYERS` does not describe. The format itself would take both. Or a shaded
        region or a sheet for a plain file, which has neither.
    """
    _check(drawing)
    if plain and (drawing.picture.fills or drawing.pages):
        raise OutputError(
            f"drawing {drawing.name}", "shaded regions or sheets", "leave them out of a plain file"
        )
    with _fixed_metadata():
        document = _plain_document() if plain else _empty_document()
        define_marks(document, drawing)
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


def _plain_document() -> Document:
    from ezdxf.document import Drawing as Document

    document = Document.new("R12")
    # this version has no place for the unit; the title block says metres
    document.header["$PDMODE"] = 0
    for name in LAYERS:
        document.layers.add(name, color=PENS[name].index, linetype="CONTINUOUS")
    document.appids.add(OURS)
    return document


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
    document.appids.add(OURS)
    return document


def _draw(layout: BaseLayout, picture: Picture) -> Floats | None:
    """Write `picture` layer by layer; its box (west, south, east, north), None if empty."""
    made = Entities(layout)
    for name in LAYERS:
        for fill in picture.fills:
            if fill.layer == name:
                _add_fill(layout, made, fill)
        for lines in picture.lines:
            if lines.layer == name:
                made.lines(lines)
        for marks in picture.marks:
            if marks.layer == name:
                made.marks(marks)
        for words in picture.words:
            if words.layer == name:
                made.words(words)
    made.put()
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


def _add_fill(layout: BaseLayout, made: Entities, fill: Fill) -> None:
    if len(fill.rings) == 1 and len(fill.rings[0]) == 4:
        # a four-sided fill is a SOLID, which more readers draw
        made.solid(fill)
        return
    made.put()
    at = look_of(fill)
    hatch = layout.add_hatch(color=at.get("color", _BY_LAYER), dxfattribs=at)
    for number, ring in enumerate(fill.rings):
        hatch.paths.add_polyline_path(
            rounded(ring), is_closed=True, flags=_HOLE if number else _OUTSIDE
        )


def _look_at(document: Document, box: Floats | None) -> None:
    """Open on the whole map, and tell readers how far it reaches."""
    if box is None:
        return
    west, south, east, north = rounded(box)
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
    viewport.dxf.view_target_point = (*rounded(np.array([view.easting, view.northing])), 0.0)
    viewport.dxf.view_twist_angle = round(math.degrees(view.turn), DECIMALS)
    viewport.frozen_layers = list(view.hidden)
