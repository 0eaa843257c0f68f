"""Everything drawn in the model space, block by block, in the unit of the drawing.

Blocks are walked, not copied: each entity is read in the block's own coordinates
and carried out by the matrices of the references it stands in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.dxf.load import Loaded
from pipeline.ingest.dxf.shapes import Shape, UnusableError, read_types, shape_of
from pipeline.ingest.source import INVISIBLE, shown
from pipeline.model import Floats

DEEPEST_BLOCK = 16
MOST_VISITS = 1_000_000
MOST_VERTICES = 5_000_000

_UNMADE = "a corner, side or number of it is damaged"


class Origin(NamedTuple):
    """Which entity something comes from."""

    layer: str
    handle: str
    type: str
    line: int


@dataclass(slots=True)
class Gathered:
    """What was drawn. Each list of rows goes with the list of its origins."""

    points: list[Floats] = field(default_factory=list)
    point_of: list[Origin] = field(default_factory=list)
    lines: list[Floats] = field(default_factory=list)
    line_of: list[Origin] = field(default_factory=list)
    flat: list[bool] = field(default_factory=list)
    loose: list[Floats] = field(default_factory=list)
    loose_of: list[Origin] = field(default_factory=list)
    polygons: list[Floats] = field(default_factory=list)
    polygon_of: list[Origin] = field(default_factory=list)
    bad: list[tuple[Origin, str]] = field(default_factory=list)
    left: Counter[tuple[str, str]] = field(default_factory=Counter)
    """(layer, type) of what lies on layers that are not read."""
    unread: Counter[str] = field(default_factory=Counter)
    """Types that are not read."""
    told: Counter[str] = field(default_factory=Counter)
    used_layers: Counter[str] = field(default_factory=Counter)
    missing_blocks: Counter[str] = field(default_factory=Counter)
    references: Counter[str] = field(default_factory=Counter)

    def take(self, shape: Shape, origin: Origin) -> None:
        """One more shape."""
        for what in shape.told:
            self.told[what] += 1
        self.used_layers[origin.layer] += 1
        for part in shape.parts:
            if shape.kind == "point":
                self.points.append(part)
                self.point_of.append(origin)
            elif shape.kind == "polygon":
                self.polygons.append(part)
                self.polygon_of.append(origin)
            elif shape.kind == "loose":
                self.loose.append(part)
                self.loose_of.append(origin)
            else:
                self.lines.append(part)
                self.line_of.append(origin)
                self.flat.append(shape.flat)


@dataclass(slots=True)
class _Frame:
    """Where the walk is: a point p of a block lies at ``p @ turn + shift``.

    ``stretch`` is the most by which a length grows on the way out.
    """

    turn: Floats = field(default_factory=lambda: np.eye(3))
    shift: Floats = field(default_factory=lambda: np.zeros(3))
    layer: str = "0"
    handle: str = ""
    line: int = 0
    depth: int = 0
    stretch: float = 1.0


class Walk:
    """Reads the model space of a document into `Gathered`.

    Parameters
    ----------
    loaded : Loaded
    reads : callable
        Whether something of a kind (``point``, ``line``, ``loose``, ``polygon``)
        on a layer is read.
    sagitta : float
        Largest distance between an arc and its chords, in the drawing's unit.
    """

    def __init__(self, loaded: Loaded, reads: Callable[[str, str], bool], sagitta: float) -> None:
        self.loaded = loaded
        self.reads = reads
        self.sagitta = sagitta
        self.found = Gathered()
        self._visits = 0
        self._vertices = 0

    def run(self) -> Gathered:
        """All of it.

        Raises
        ------
        InputError
            Blocks nested too deep or within themselves, or too many things drawn.
        """
        lines = {kind: iter(rows) for kind, rows in self.loaded.lines.items()}
        none: Iterator[int] = iter(())
        top = _Frame()
        for entity in self.loaded.document.modelspace():
            top.line = next(lines.get(entity.dxftype(), none), 0)
            self._visit(entity, top)
        return self.found

    def _visit(self, entity: Any, frame: _Frame) -> None:
        self._visits += 1
        self._bound(self._visits, MOST_VISITS, "things drawn, blocks opened out")
        kind = entity.dxftype()
        layer = INVISIBLE.sub(" ", str(_attribute(entity, "layer") or "0"))
        if layer == "0":  # in a block: the layer of the reference
            layer = frame.layer
        own = INVISIBLE.sub(" ", str(_attribute(entity, "handle") or ""))
        handle = f"{frame.handle}.{own}" if frame.handle else own
        origin = Origin(layer, handle, kind, frame.line)
        if _attribute(entity, "invisible"):
            self.found.told["things marked invisible, which are read like any other"] += 1
        if kind == "INSERT":
            self._open(entity, origin, frame)
        elif kind not in read_types():
            self.found.unread[kind] += 1
        else:
            self._shape(entity, origin, frame)

    def _shape(self, entity: Any, origin: Origin, frame: _Frame) -> None:
        try:
            shape = shape_of(entity, self.sagitta / frame.stretch)
        except UnusableError as error:
            self._bad(origin, str(error))
            return
        except Exception:  # noqa: BLE001 - the library raises anything on a damaged entity
            self._bad(origin, _UNMADE)
            return
        if shape is None or not self.reads(origin.layer, shape.kind):
            self.found.left[origin.layer, origin.type] += 1
            return
        self._vertices += sum(map(len, shape.parts))
        self._bound(self._vertices, MOST_VERTICES, "corners")
        if frame.depth:
            shape.parts = [part @ frame.turn + frame.shift for part in shape.parts]
        self.found.take(shape, origin)

    def _bad(self, origin: Origin, text: str) -> None:
        if any(self.reads(origin.layer, kind) for kind in ("point", "line", "loose", "polygon")):
            self.found.bad.append((origin, text))
        else:
            self.found.left[origin.layer, origin.type] += 1

    def _bound(self, count: int, most: int, what: str) -> None:
        if count > most:
            raise InputError(
                self.loaded.file, f"more than {most:,} {what}", "draw out the ground's layers"
            )

    def _open(self, insert: Any, origin: Origin, frame: _Frame) -> None:
        """Walk the block that a reference shows."""
        name = INVISIBLE.sub(" ", str(insert.dxf.get("name", "")))
        self.found.unread["ATTRIB"] += len(insert.attribs)
        try:
            block = insert.block()
            outside = block is not None and insert.is_xref()
            places = [] if block is None or outside else list(self._places(insert, frame))
        except InputError:
            raise
        except Exception:  # noqa: BLE001 - the library raises anything on a damaged entity
            self._bad(origin, _UNMADE)
            return
        if block is None or outside:
            (self.found.references if outside else self.found.missing_blocks)[name] += 1
            return
        if frame.depth >= DEEPEST_BLOCK:
            raise InputError(
                self.loaded.file,
                f'block "{shown(name)}" stands {DEEPEST_BLOCK} blocks deep or in itself',
                "take the ground out of its blocks in the drawing",
            )
        self.found.told["block references, opened out"] += 1
        for k, (turn, shift) in enumerate(places):
            self._visits += 1
            self._bound(self._visits, MOST_VISITS, "things drawn, blocks opened out")
            handle = origin.handle if k == 0 else f"{origin.handle}#{k + 1}"
            stretch = max(float(np.linalg.norm(turn, ord=2)), 1e-12)
            inner = _Frame(turn, shift, origin.layer, handle, origin.line, frame.depth + 1, stretch)
            for entity in block:
                self._visit(entity, inner)

    def _places(self, insert: Any, frame: _Frame) -> Iterable[tuple[Floats, Floats]]:
        """Matrix and shift to the model space of each copy that a reference shows."""
        if not insert.dxf.hasattr("insert"):
            raise ValueError("no insertion point")
        count = insert.mcount
        self._bound(count, MOST_VISITS, "copies of one block")
        matrix = np.array(list(insert.matrix44()), dtype=np.float64).reshape(4, 4)
        if not np.isfinite(matrix).all():
            raise ValueError("a number that is none")
        turn, shift = matrix[:3, :3], matrix[3, :3]
        for offset in _grid(insert) if count > 1 else [np.zeros(3)]:
            yield turn @ frame.turn, (shift + offset) @ frame.turn + frame.shift


def _attribute(entity: Any, name: str) -> Any:
    """What the entity says of itself; None where it does not, or is of an unknown type."""
    try:
        return entity.dxf.get(name)
    except Exception:  # noqa: BLE001 - the library raises anything on a damaged entity
        return None


def _grid(insert: Any) -> Iterator[Floats]:
    """Offset of each copy of a reference in rows and columns; the grid is turned, not scaled."""
    dxf = insert.dxf
    system = insert.ocs()
    ux, uy = (np.array([axis.x, axis.y, axis.z]) for axis in (system.ux, system.uy))
    angle = np.radians(dxf.rotation)
    along = ux * np.cos(angle) + uy * np.sin(angle)
    up = uy * np.cos(angle) - ux * np.sin(angle)
    rows = range(max(1, dxf.row_count if dxf.row_spacing else 1))
    columns = range(max(1, dxf.column_count if dxf.column_spacing else 1))
    for row in rows:
        for column in columns:
            yield along * (column * dxf.column_spacing) + up * (row * dxf.row_spacing)
