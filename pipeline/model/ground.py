"""Lines, meshes and the triangulated surface."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pipeline.model.arrays import Bools, Floats, Indices, Ints, Texts, lock_fields


@dataclass(frozen=True, slots=True, eq=False)
class Linework:
    """Drawn lines: line k is rows ``start[k]:start[k + 1]`` of the points.

    ``kind`` of each line: ``break``, ``boundary``, ``hole`` or ``string``.
    ``point`` is the row in the shots it was drawn through, -1 where there is none.
    """

    easting: Floats
    northing: Floats
    elevation: Floats
    point: Ints
    start: Ints
    name: tuple[str, ...]
    kind: tuple[str, ...]

    def __post_init__(self) -> None:
        n = len(self.easting)
        lines = len(self.name)
        lock_fields(
            self,
            {
                "easting": (np.float64, (n,)),
                "northing": (np.float64, (n,)),
                "elevation": (np.float64, (n,)),
                "point": (np.int64, (n,)),
                "start": (np.int64, (lines + 1,)),
            },
        )
        if len(self.kind) != lines or self.start[0] != 0 or self.start[-1] != n:
            raise ValueError("start, name and kind of the linework do not belong together")

    def __len__(self) -> int:
        return len(self.name)


NO_LINES = Linework(
    easting=np.empty(0), northing=np.empty(0), elevation=np.empty(0),
    point=np.empty(0, dtype=np.int64), start=np.zeros(1, dtype=np.int64), name=(), kind=(),
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Points and triangles as a file gives them; visible triangles only.

    ``hidden`` counts the faces that the file marks invisible and that are left out.
    """

    name: str
    easting: Floats
    northing: Floats
    elevation: Floats
    triangles: Indices
    id: Texts
    hidden: int = 0

    def __post_init__(self) -> None:
        n = len(self.easting)
        lock_fields(
            self,
            {
                "easting": (np.float64, (n,)),
                "northing": (np.float64, (n,)),
                "elevation": (np.float64, (n,)),
                "triangles": (np.int32, (None, 3)),
                "id": (object, (n,)),
            },
        )


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Surface:
    """A triangulated surface, shifted near zero.

    ``x = easting - origin[0]``, ``y = northing - origin[1]``; ``z`` is the
    elevation. Triangles are counter-clockwise; ``neighbours[t, k]`` lies across
    the edge from vertex k to vertex k + 1 (-1: the outside); ``fixed[t, k]``
    says that this edge is part of a breakline or boundary. ``point`` is the
    vertex's row in the shots, -1 for a vertex made where lines cross.
    """

    name: str
    origin: Floats
    x: Floats
    y: Floats
    z: Floats
    triangles: Indices
    neighbours: Indices
    fixed: Bools
    point: Ints

    def __post_init__(self) -> None:
        n, m = len(self.x), len(self.triangles)
        lock_fields(
            self,
            {
                "origin": (np.float64, (2,)),
                "x": (np.float64, (n,)),
                "y": (np.float64, (n,)),
                "z": (np.float64, (n,)),
                "triangles": (np.int32, (m, 3)),
                "neighbours": (np.int32, (m, 3)),
                "fixed": (np.bool_, (m, 3)),
                "point": (np.int64, (n,)),
            },
        )


def join_lines(parts: Iterable[Linework]) -> Linework:
    """One `Linework` of several, in order. Their ``point`` rows must mean the same shots."""
    chosen = [part for part in parts if len(part)]
    if not chosen:
        return NO_LINES
    ends = np.cumsum([0] + [len(part.easting) for part in chosen])
    starts = [part.start[:-1] + shift for part, shift in zip(chosen, ends, strict=False)]
    return Linework(
        easting=np.concatenate([part.easting for part in chosen]),
        northing=np.concatenate([part.northing for part in chosen]),
        elevation=np.concatenate([part.elevation for part in chosen]),
        point=np.concatenate([part.point for part in chosen]),
        start=np.concatenate([*starts, ends[-1:]]),
        name=tuple(name for part in chosen for name in part.name),
        kind=tuple(kind for part in chosen for kind in part.kind),
    )
