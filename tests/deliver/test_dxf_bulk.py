"""Entities written as text, against the library's own calls for each of them."""

import io
import itertools
import math
from dataclasses import replace

import ezdxf
import numpy as np
import pytest

from pipeline.deliver import dxf
from pipeline.model import (
    PENS,
    Drawing,
    Fill,
    Lines,
    Marks,
    Page,
    Picture,
    View,
    Words,
    texts,
)


def pairs(content):
    lines = content.decode().split("\n")
    return [(int(code), value) for code, value in zip(lines[:-1:2], lines[1::2], strict=True)]


def rounded(values):
    return (np.round(values, 4) + 0.0).tolist()


def look(part):
    if not getattr(part, "pen", ""):
        return {"layer": part.layer}
    pen = PENS[part.pen]
    red, green, blue = pen.colour
    return {
        "layer": part.layer,
        "color": pen.index,
        "true_color": (red << 16) + (green << 8) + blue,
        "lineweight": pen.width,
    }


class ByLibrary:
    """The same entities by one call of ezdxf each."""

    def __init__(self, layout):
        self.layout = layout

    def put(self):
        """Each was put when it was made."""

    def solid(self, fill):
        a, b, c, d = rounded(fill.rings[0])
        self.layout.add_solid([a, b, d, c], dxfattribs=look(fill))

    def lines(self, lines):
        points = rounded(np.column_stack([lines.x, lines.y]))
        for first, last in itertools.pairwise(lines.start.tolist()):
            if last - first == 2:
                self.layout.add_line(points[first], points[first + 1], dxfattribs=look(lines))
            elif last - first > 2:
                new = self.layout.dxfversion >= "AC1015"
                add = self.layout.add_lwpolyline if new else self.layout.add_polyline2d
                add(points[first:last], close=lines.closed, dxfattribs=look(lines))

    def words(self, words):
        for k, text in enumerate(words.text):
            place = rounded(words.x[k]), rounded(words.y[k])
            if text:
                self.layout.add_text(text, dxfattribs={
                    "layer": words.layer, "style": "Standard", "height": rounded(words.height[k]),
                    "rotation": rounded(math.degrees(words.angle[k])), "insert": place,
                    "align_point": place, "valign": 2,
                    "halign": {"left": 0, "centre": 1, "right": 2}[words.anchor],
                })  # fmt: skip

    def marks(self, marks):
        block = marks.layer if marks.facts else f"mark-{marks.shape}"
        at = look(marks)
        for k, name in enumerate(marks.id):
            place = rounded(marks.x[k]), rounded(marks.y[k])
            told = [(1000, name)] if name else []
            if name and not math.isnan(marks.station[k]):
                told.append((1040, rounded(marks.station[k])))
            size = {"xscale": float(marks.size), "yscale": float(marks.size)}
            made = [self.layout.add_blockref(block, place, dxfattribs={**at, **size})]
            for tag, column in marks.facts:
                own = {**at, "height": float(marks.size), "flags": 1, "style": "Standard"}
                made[0].add_attrib(tag, column[k], place, dxfattribs=own)
            if not math.isnan(marks.z[k]):
                made.append(self.layout.add_point((*place, rounded(marks.z[k])), dxfattribs=at))
            for entity in made if told else []:
                entity.set_xdata("LATH", told)


def everything(rng):
    """Every kind of entity in every form it has: with a pen and without, told and not."""
    square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]])
    n = 40
    x, y, z = rng.uniform(-9e5, 9e5, (3, n))
    z[::3], x[0], y[1] = np.nan, -0.00001, 7.0
    named = texts("" if k % 4 == 0 else f"P{k}" for k in range(n))
    station = np.where(np.arange(n) % 5, x, np.nan)
    plain = Marks("mark-shot", "plus", 0.6, x, y, z)
    facts = (("ID", named), ("ROW", texts(f"r {k} %s" if k % 2 else "" for k in range(n))))
    marks = [plain, replace(plain, size=1.0, pen="legend"), replace(plain, id=named)]
    marks += [Marks("mark-dot", "circle", 2, x, y, z, "key-point", named, station, facts)]
    angle = np.where(np.arange(n) % 3, rng.uniform(-7, 7, n), 0.0)
    said = texts("" if k % 7 == 0 else f"C {k} 50% <x>" for k in range(n))
    words = [
        Words("text-shot", said, x, y, rng.uniform(0.1, 3, n), angle, anchor)
        for anchor in ("left", "centre", "right")
    ]
    start = [0, 0, 1, 3, 6, 20, n]
    lines = [Lines("contour-cut", x, y, start), Lines("edge-outer", x, y, start, closed=True)]
    lines += [Lines("legend", x, y, start, pen="contour-fill")]
    ring = np.stack([x[:9], y[:9]], axis=1)
    fills = [Fill("label-plate", (square,)), Fill("legend", (square + 5,), "band-cut-1")]
    fills += [Fill("band-cut-2", (square,)), Fill("band-cut-2", (ring, ring[::-1]))]
    fills += [Fill("band-cut-2", (square + 9,))]
    return Picture(tuple(fills), tuple(lines), tuple(words), tuple(marks))


def sheets(picture):
    view = View(150.0, 150.0, 200.0, 100.0, 1.0, 2.0, -0.4, 500)
    return tuple(Page(f"sheet {k}", 420.0, 297.0, picture, (view,)) for k in range(3))


@pytest.mark.parametrize("plain", [False, True])
def test_the_file_is_the_one_that_the_library_writes_entity_by_entity(monkeypatch, plain):
    """Independent: ezdxf's own calls; layers, colours, places, texts, facts, ids, handles."""
    picture = everything(np.random.default_rng(5))
    drawing = Drawing("all", picture, sheets(picture))
    if plain:
        drawing = Drawing("all", replace(picture, fills=()))
    ours = dxf.dxf_bytes(drawing, plain=plain)
    monkeypatch.setattr(dxf, "Entities", ByLibrary)
    assert ours == dxf.dxf_bytes(drawing, plain=plain)
    document = ezdxf.read(io.StringIO(ours.decode()))
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    found = pairs(ours)
    handles = [int(value, 16) for code, value in found if code == 5 and value]
    seed = handles.pop(0)  # the header has it first
    assert found[[value for _, value in found].index("$HANDSEED") + 1] == (5, f"{seed:X}")
    assert len(set(handles)) == len(handles)
    assert max(handles) < seed


def test_a_lone_page_and_empty_parts_are_written_as_well(monkeypatch):
    nothing = Words("text-shot", texts([""]), [0.0], [0.0], [1.0], [0.0])
    few = Picture(lines=(Lines("legend", [1.0], [1.0], [0, 1]),), words=(nothing,))
    drawing = Drawing("few", Picture(), sheets(few))
    ours = dxf.dxf_bytes(drawing)
    monkeypatch.setattr(dxf, "Entities", ByLibrary)
    assert ours == dxf.dxf_bytes(drawing)
