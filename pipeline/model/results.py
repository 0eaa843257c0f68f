"""What comparing gives, and the rows that a person acts on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model.arrays import Floats, Ints, Texts, lock, lock_fields, texts


@dataclass(frozen=True, slots=True, eq=False)
class Overlay:
    """The common refinement of two surfaces: convex pieces with a linear difference.

    Piece k has corners ``start[k]:start[k + 1]``, counter-clockwise, near zero
    about ``origin``; ``cut`` is ground less design at each corner [m], + to take away.
    """

    origin: Floats
    x: Floats
    y: Floats
    cut: Floats
    start: Ints
    ground_triangle: Ints
    design_triangle: Ints

    def __post_init__(self) -> None:
        n, k = len(self.x), len(self.ground_triangle)
        lock_fields(
            self,
            {
                "origin": (np.float64, (2,)),
                "x": (np.float64, (n,)),
                "y": (np.float64, (n,)),
                "cut": (np.float64, (n,)),
                "start": (np.int64, (k + 1,)),
                "ground_triangle": (np.int64, (k,)),
                "design_triangle": (np.int64, (k,)),
            },
        )


@dataclass(frozen=True, slots=True)
class Quantity:
    """Cut and fill of one layer, apart, with the area that no shot covers."""

    layer: str
    cut_m3: float
    fill_m3: float
    cut_area_m2: float
    fill_area_m2: float
    compared_area_m2: float
    uncovered_area_m2: float
    mean_cut_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Differences:
    """Ground against one layer at places: cut +, fill -, NaN where either is missing."""

    layer: str
    easting: Floats
    northing: Floats
    station: Floats
    offset: Floats
    ground: Floats
    design: Floats
    cut: Floats

    def __post_init__(self) -> None:
        n = len(self.easting)
        names = ("easting", "northing", "station", "offset", "ground", "design", "cut")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """One connected area of the plan, with its holes, to be drawn.

    Each ring is (n, 2) easting and northing without its first corner again at
    the end: the outer ring first, counter-clockwise, then the holes, clockwise.
    Within the region ``lower <= cut < upper`` [m]; both are NaN where the region
    says something else, such as not surveyed.
    """

    lower: float
    upper: float
    rings: tuple[Floats, ...]

    def __post_init__(self) -> None:
        rings = tuple(lock(ring, np.float64, (None, 2), "ring") for ring in self.rings)
        object.__setattr__(self, "rings", rings)


@dataclass(frozen=True, slots=True)
class Band:
    """All places with ``lower <= cut < upper`` [m], merged into few regions.

    ``area_m2`` is exact. The regions cover that less ``dropped_m2``, specks too
    small to draw, plus ``closed_m2``, holes too small to draw.
    """

    lower: float
    upper: float
    regions: tuple[Region, ...]
    area_m2: float
    dropped_m2: float
    closed_m2: float


@dataclass(frozen=True, slots=True, eq=False)
class Stakes:
    """Places that a person sets, measures or paints, with the words for each.

    ``design`` is (n, layers): elevation of each layer, NaN where it does not
    reach. ``ground`` is the hub top or the dirt; ``mark`` the text that is
    written, final. ``kind`` is ``stake``, ``hub``, ``dot`` or ``point``. ``street`` is the part
    of the design that station and offset belong to, empty where nobody asked.
    """

    layers: tuple[str, ...]
    id: Texts
    kind: Texts
    what: Texts
    station: Floats
    offset: Floats
    easting: Floats
    northing: Floats
    ground: Floats
    design: Floats
    mark: Texts
    note: Texts
    street: Texts = field(default_factory=lambda: texts([]))

    def __post_init__(self) -> None:
        n = len(self.station)
        if not len(self.street):
            object.__setattr__(self, "street", texts([""] * n))
        names = ("id", "kind", "what", "mark", "note", "street")
        words = dict.fromkeys(names, (object, (n,)))
        numbers = dict.fromkeys(
            ("station", "offset", "easting", "northing", "ground"), (np.float64, (n,))
        )
        lock_fields(self, {**words, **numbers, "design": (np.float64, (n, len(self.layers)))})

    def __len__(self) -> int:
        return len(self.station)

    def take(self, rows: ArrayLike) -> Stakes:
        """Some of the places, by row number or by a mask."""
        names = [one.name for one in fields(self) if one.name != "layers"]
        chosen = np.asarray(rows)
        return Stakes(self.layers, **{name: getattr(self, name)[chosen] for name in names})


def join_stakes(parts: Sequence[Stakes]) -> Stakes:
    """Places of several lists with the same layers, one list after the other."""
    names = [one.name for one in fields(Stakes) if one.name != "layers"]
    columns = {name: np.concatenate([getattr(one, name) for one in parts]) for name in names}
    return Stakes(parts[0].layers, **columns)


@dataclass(frozen=True, slots=True)
class Table:
    """Rows as they are printed: text, final. Numeric columns carry their unit in the name."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    text_columns: frozenset[str] = frozenset()
    """Columns that hold free text, which a spreadsheet could take for a formula."""
