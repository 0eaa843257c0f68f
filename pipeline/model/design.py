"""Alignment, profile and layers: as read, and as computed with."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model.arrays import Floats, Ints, lock_fields
from pipeline.model.ground import Surface
from pipeline.model.sections import Depression

SIDES = {"left": -1, "right": 1}
"""A side as files and settings name it -> the sign of its offsets."""
SIDE_WORDS = {-1: "left", 0: "crown", 1: "right"}
"""And back; 0 is the line itself."""


@dataclass(frozen=True, slots=True, eq=False)
class ElementRow:
    """One piece of an alignment as a file gives it; NaN and None where it does not.

    ``turn`` is +1 to the right, -1 to the left, 0 for a line. Radii are
    positive, infinite where straight or, on an arc given by its points, where the
    file gives none. Points are (easting, northing).
    """

    kind: Literal["line", "arc", "clothoid"]
    length: float = float("nan")
    radius_start: float = float("inf")
    radius_end: float = float("inf")
    turn: int = 0
    start: tuple[float, float] | None = None
    end: tuple[float, float] | None = None
    centre: tuple[float, float] | None = None
    intersection: tuple[float, float] | None = None
    where: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class AlignmentRows:
    """An alignment as read. The first element starts at ``start`` or its own start point.

    ``azimuth`` is needed when the elements carry no points, else NaN.
    ``equations`` are (internal station, station back, station ahead).
    """

    name: str
    elements: tuple[ElementRow, ...]
    start_station: float = 0.0
    azimuth: float = float("nan")
    declared_length: float = float("nan")
    equations: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class ProfileRow:
    """One point of intersection of the profile.

    ``length_in`` and ``length_out`` are the horizontal halves of a parabola
    (equal: symmetric, both 0: a grade break). ``radius`` is not NaN for a
    circular curve, whose ``arc_length`` is measured along the arc; a file may
    give a crest a negative one, the grades decide.
    """

    station: float
    elevation: float
    length_in: float = 0.0
    length_out: float = 0.0
    radius: float = float("nan")
    arc_length: float = float("nan")
    where: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ProfileRows:
    """A profile as read, in order of station."""

    name: str
    points: tuple[ProfileRow, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """A line in plan: m elements, each with curvature linear along it.

    ``station`` has m + 1 entries, all others m. Curvature is 1/R, + where the
    line turns right; equal at both ends for an arc, zero for a line. The start
    of each element is kept as given, so a file's own small gaps stay visible.
    """

    name: str
    station: Floats
    easting: Floats
    northing: Floats
    azimuth: Floats
    curvature_start: Floats
    curvature_end: Floats
    equations: tuple[tuple[float, float, float], ...] = ()

    def __post_init__(self) -> None:
        m = len(self.easting)
        names = ("easting", "northing", "azimuth", "curvature_start", "curvature_end")
        lock_fields(self, dict.fromkeys(names, (np.float64, (m,))))
        lock_fields(self, {"station": (np.float64, (m + 1,))})


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Heights along the alignment: m pieces, tangent, parabola or circular arc.

    Grades are m/m, uphill +. ``radius`` is infinite except on a circular piece,
    where it is + for a sag and - for a crest. ``station`` has m + 1 entries.
    A piece for which two heights are designed has none: NaN.
    """

    name: str
    station: Floats
    elevation: Floats
    grade_start: Floats
    grade_end: Floats
    radius: Floats

    def __post_init__(self) -> None:
        m = len(self.elevation)
        names = ("elevation", "grade_start", "grade_end", "radius")
        lock_fields(self, dict.fromkeys(names, (np.float64, (m,))))
        lock_fields(self, {"station": (np.float64, (m + 1,))})


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One design layer: cross-sections along the alignment, or a surface of its own.

    A section layer has b named breaks from left to right, at k stations that
    never decrease (two equal ones: an abrupt change). Between them offset and
    rise are linear in station, between breaks linear in offset. ``rise`` is
    height above the profile. A surface layer has ``surface`` and no breaks.
    """

    name: str
    title: str
    breaks: tuple[str, ...] = ()
    side: tuple[int, ...] = ()
    station: Floats = field(default_factory=lambda: np.empty(0))
    offset: Floats = field(default_factory=lambda: np.empty((0, 0)))
    rise: Floats = field(default_factory=lambda: np.empty((0, 0)))
    surface: Surface | None = None

    def __post_init__(self) -> None:
        k, b = len(self.station), len(self.breaks)
        lock_fields(
            self,
            {
                "station": (np.float64, (k,)),
                "offset": (np.float64, (k, b)),
                "rise": (np.float64, (k, b)),
            },
        )


@dataclass(frozen=True, slots=True, eq=False)
class BreakLine:
    """A named break of one layer along one side of the street, at n stations.

    What a room that knows no design is given of it. ``side`` is -1 left, +1
    right, 0 the crown; ``station`` never decreases; offset and elevation are
    linear between stations, NaN where there is no such break.
    """

    name: str
    layer: str
    side: int
    station: Floats
    offset: Floats
    elevation: Floats

    def __post_init__(self) -> None:
        n = len(self.station)
        names = ("station", "offset", "elevation")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))
        if (np.diff(self.station) < 0).any():
            raise ValueError(f"stations of the break {self.name!r} decrease")


@dataclass(frozen=True, slots=True, eq=False)
class Corridor:
    """Alignment, profile and layers from the top down, and the other parts of the design.

    ``parts`` are in order of priority; ``rank`` of them come before this street where two
    claim a place, the rest after it. ``on`` is the name of the break that its line is: the
    line of a return or of a bulb's edge is no crown. ``basins`` are where its gutters are
    lowered; the layers have it in them.
    """

    name: str
    alignment: Alignment
    profile: Profile
    layers: tuple[Layer, ...]
    parts: tuple[Part, ...] = ()
    rank: int = 0
    on: str = "crown"
    basins: tuple[Depression, ...] = ()

    def layer(self, name: str) -> Layer:
        """The layer called `name`; KeyError names those there are."""
        for candidate in self.layers:
            if candidate.name == name:
                return candidate
        raise KeyError(f"no layer {name!r}; there are {', '.join(x.name for x in self.layers)}")


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One more part of a design: a street or an edge with sections of its own, or triangles.

    ``kind``: ``street``, ``return``, ``bulb``, ``eyebrow``, or ``area`` between edges, ``patch``.
    ``corridor`` evaluates exactly; else ``surfaces`` holds one for each layer it has.
    """

    name: str
    kind: Literal["street", "return", "bulb", "eyebrow", "area", "patch"]
    corridor: Corridor | None = None
    surfaces: tuple[Surface, ...] = ()

    def surface(self, layer: str) -> Surface | None:
        """The triangles of a layer, None where the part has none."""
        return next((one for one in self.surfaces if one.name == layer), None)


@dataclass(frozen=True, slots=True, eq=False)
class Feet:
    """Where points lie along an alignment: the nearest foot of the perpendicular.

    ``feet`` counts the perpendiculars that could be meant: more than one inside
    a tight curve, none where the corner of a kink is nearest. ``beyond`` is -1
    before the start, +1 after the end (the station is then measured on along the
    end tangent), else 0.
    """

    station: Floats
    offset: Floats
    feet: Ints
    beyond: Ints

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(
            self,
            {
                "station": (np.float64, (n,)),
                "offset": (np.float64, (n,)),
                "feet": (np.int64, (n,)),
                "beyond": (np.int64, (n,)),
            },
        )

    def take(self, rows: ArrayLike) -> Feet:
        """The feet at `rows` (indices or a mask), in that order."""
        chosen = np.asarray(rows)
        return Feet(
            self.station[chosen], self.offset[chosen], self.feet[chosen], self.beyond[chosen]
        )


@dataclass(frozen=True, slots=True)
class Extreme:
    """A high or low point of the profile or of an edge, or a level stretch that is neither.

    ``station_to`` lies ahead of ``station`` where the height is level over a stretch, else equal.
    ``offset`` is the edge's offset at ``station``, 0 on the profile.
    """

    kind: Literal["high", "low", "flat"]
    station: float
    station_to: float
    elevation: float
    offset: float = 0.0
