"""What a drawing has thousands of, as text of a DXF file: solids, lines, symbols, texts.

The library makes the document, its layers, blocks, sheets and hatches, and numbers what
is in it. Entity by entity it writes 5 000 marks a second; here they are written as one
text each, to the byte as the library would write them, which a test holds.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.deliver.dxf_parts import OURS, UNSEEN, block_of, look_of, rounded
from pipeline.model import Fill, Lines, Marks, Words

if TYPE_CHECKING:
    from ezdxf.entities.dxfgfx import DXFGraphic
    from ezdxf.layouts.base import BaseLayout

_ANCHORS = {"left": 0, "centre": 1, "right": 2}
_MIDDLE = 2
_PARTS = frozenset({"VERTEX", "SEQEND"})
"""Parts of an entity, which has the colour."""
_FLAT = " 10\n%s\n 20\n%s\n 30\n0.0\n"
_IN_PLAN = " 10\n%s\n 20\n%s\n"


class Entities:
    """Entities of one layout, in the order in which they are added; `put` lays them into it.

    Parameters
    ----------
    layout : BaseLayout
        Of a document of version R12 or R2010. What is added by the library's own calls
        comes before or after, as `put` was called after it or before.
    """

    def __init__(self, layout: BaseLayout) -> None:
        self._layout = layout
        self._database = layout.doc.entitydb
        self._plain = layout.dxfversion < "AC1015"
        self._paper = " 67\n1\n" if layout.is_any_paperspace else ""
        self._first = ""
        self._text: list[str] = []

    def put(self) -> None:
        """Lay what was added into the layout, as one entity that writes itself as all of them."""
        if not self._text:
            return
        entity = _written("".join(self._text))
        entity.doc = self._layout.doc
        entity.dxf.handle = self._first
        self._database[self._first] = entity
        self._layout.add_entity(entity)
        self._text = []

    def solid(self, fill: Fill) -> None:
        """A shaded region of four corners; the format has its last two change places."""
        handles = self._handles()
        (a, b, c, d) = rounded(fill.rings[0])
        corners = "".join(f" 1{k}\n%s\n 2{k}\n%s\n 3{k}\n0.0\n" for k in range(4))
        form = self._head("SOLID", fill, "AcDbTrace") + corners
        self._add(form % (next(handles), *a, *b, *d, *c), handles)

    def lines(self, lines: Lines) -> None:
        """Lines of two points and of more."""
        handles = self._handles()
        form = self._head("LINE", lines, "AcDbLine") + _FLAT + " 11\n%s\n 21\n%s\n 31\n0.0\n"
        points = rounded(np.column_stack([lines.x, lines.y]))
        made = []
        for first, last in itertools.pairwise(lines.start.tolist()):
            if last - first == 2:
                made.append(form % (next(handles), *points[first], *points[first + 1]))
            elif last - first > 2:
                made.append(self._polyline(lines, points[first:last], handles))
        self._add("".join(made), handles)

    def _polyline(self, lines: Lines, points: list[list[float]], handles: Iterator[int]) -> str:
        closed = int(lines.closed)
        if not self._plain:
            head = self._head("LWPOLYLINE", lines, "AcDbPolyline") % next(handles)
            corners = (_IN_PLAN * len(points)) % tuple(itertools.chain.from_iterable(points))
            return f"{head} 90\n{len(points)}\n 70\n{closed}\n{corners}"
        head, last = self._head("POLYLINE", lines, ""), self._head("SEQEND", lines, "")
        form = self._head("VERTEX", lines, "") + _FLAT + " 70\n0\n"
        first = head % next(handles) + f" 66\n1\n{_FLAT % (0.0, 0.0)} 70\n{closed}\n"
        end = last % next(handles)
        return first + "".join([form % (next(handles), x, y) for x, y in points]) + end

    def words(self, words: Words) -> None:
        """Texts, each placed by the middle of its height."""
        handles = self._handles()
        sideways = _ANCHORS[words.anchor]
        anchor = f" 72\n{sideways}\n" if sideways else ""
        head = self._head("TEXT", words, "AcDbText") + _FLAT + " 40\n%s\n  1\n%s\n"
        tail = f"{anchor} 11\n%s\n 21\n%s\n 31\n0.0\n{self._marker('AcDbText')} 73\n{_MIDDLE}\n"
        level, turned = head + tail, f"{head} 50\n%s\n{tail}"
        columns = (
            words.text.tolist(), rounded(words.x), rounded(words.y), rounded(words.height),
            rounded(np.degrees(words.angle)),
        )  # fmt: skip
        self._add("".join([
            turned % (next(handles), x, y, height, text, angle, x, y) if angle
            else level % (next(handles), x, y, height, text, x, y)
            for text, x, y, height, angle in zip(*columns, strict=True) if text
        ]), handles)  # fmt: skip

    def marks(self, marks: Marks) -> None:
        """Symbols where they lie, each with what it tells; and a point where there is a height."""
        handles = self._handles()
        symbol, facts = self._symbol(marks), [texts.tolist() for _, texts in marks.facts]
        fact = [self._fact(marks, tag) for tag, _ in marks.facts]
        # the symbol lies flat on the map, the point has its height
        point = self._head("POINT", marks, "AcDbPoint") + _IN_PLAN + " 30\n%s\n"
        columns = (rounded(marks.x), rounded(marks.y), rounded(marks.z), _told(marks))
        made = []
        for k, (x, y, z, told) in enumerate(zip(*columns, strict=True)):
            own, end = next(handles), next(handles)
            made.append(symbol % (own, x, y) + told)
            if facts:
                made += [
                    form % (next(handles), x, y, text[k])
                    for form, text in zip(fact, facts, strict=True)
                ]
                made.append(self._head("SEQEND", marks, "", f"{own:X}") % end)
            if not math.isnan(z):
                made.append(point % (next(handles), x, y, z) + told)
        self._add("".join(made), handles)

    def _symbol(self, marks: Marks) -> str:
        size = float(marks.size)
        follow = " 66\n1\n" if marks.facts else ""
        scale = f" 41\n{size}\n 42\n{size}\n" if size != 1.0 else ""
        head = self._head("INSERT", marks, "AcDbBlockReference")
        return f"{head}{follow}  2\n{block_of(marks)}\n{_FLAT}{scale}"

    def _fact(self, marks: Marks, tag: str) -> str:
        head = self._head("ATTRIB", marks, "AcDbText") + _FLAT
        marker = self._marker("AcDbAttribute")
        return f"{head} 40\n{float(marks.size)}\n  1\n%s\n{marker}  2\n{tag}\n 70\n{UNSEEN}\n"

    def _head(
        self, kind: str, part: Fill | Lines | Marks | Words, data: str, owner: str = ""
    ) -> str:
        """An entity up to its own `data`; its handle goes where ``%X`` is."""
        look = look_of(part)
        own = "color" in look and kind not in _PARTS
        colour = f" 62\n{look['color']}\n" if own else ""
        if self._plain:
            return f"  0\n{kind}\n  5\n%X\n  8\n{part.layer}\n{colour}"
        if colour:
            colour += f"370\n{look['lineweight']}\n420\n{look['true_color']}\n"
        return (
            f"  0\n{kind}\n  5\n%X\n330\n{owner or self._layout.layout_key}\n100\nAcDbEntity\n"
            f"{self._paper}  8\n{part.layer}\n{colour}{self._marker(data)}"
        )

    def _marker(self, data: str) -> str:
        """What begins a part of an entity; the old version has no such parts."""
        return f"100\n{data}\n" if data and not self._plain else ""

    def _handles(self) -> Iterator[int]:
        """Numbers for entities, from the document's next one."""
        return itertools.count(int(str(self._database.handles), 16))

    def _add(self, text: str, handles: Iterator[int]) -> None:
        if not text:
            return
        if not self._text:
            self._first = str(self._database.handles)
        self._text.append(text)
        self._database.handles.reset(f"{next(handles):X}")


def _told(marks: Marks) -> list[str]:
    """Extended data of each mark: its id as text, its station as a number; none without an id."""
    named = [f"1001\n{OURS}\n1000\n{name}\n" if name else "" for name in marks.id.tolist()]
    return [
        f"{told}1040\n{station}\n" if told and not math.isnan(station) else told
        for told, station in zip(named, rounded(marks.station), strict=True)
    ]


def _written(text: str) -> DXFGraphic:
    """An entity that is written as `text`."""
    from ezdxf.entities.dxfgfx import DXFGraphic

    class Written(DXFGraphic):
        DXFTYPE = "WRITTEN"

        def export_dxf(self, tagwriter: Any) -> None:
            tagwriter.write_str(text)

    return Written.new()
