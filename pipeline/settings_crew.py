"""Settings of what the grade person carries: walk, sights, edge, machine, bank, hazards, paper.

Widths, tolerances and precisions that no standard gives are marked [assumed]; they
print as assumed until the job file states them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Ge, Interval, Le, Len

from pipeline.strict import (
    Height,
    HeightOrNone,
    Known,
    KnownOrExact,
    Name,
    Ratio,
    Settings,
    Spacing,
    Tolerance,
    ToleranceOrNone,
)

Chord = Annotated[float, Interval(ge=0.5, le=50)]
"""A straight-edge or string line [m]."""
Column = Literal["id", "northing", "easting", "elevation", "code", "note"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkRules(Settings):
    """The order in which laths are walked to."""

    first_side: Literal["left", "right"] = "left"
    """The side that is walked out along, with rising stations."""
    block_m: Annotated[float, Interval(ge=0, le=5000)] = 0.0
    """Out and back within blocks of this length, for two people; 0: the whole street at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SightRules(Settings):
    """Grade dots, boning rods, and how well an eye sights over them."""

    longest_m: Spacing = 30.0
    """A longer sight is not offered [assumed]."""
    rod_m: Height = 1.2
    """Length of the two equal rods on the dots [assumed]."""
    dot_sigma_m: Known = 0.005
    """How well a dot is set to its height [assumed]."""
    eye_arcmin: Annotated[float, Interval(ge=0.1, le=10)] = 1.0
    """What an eye tells apart over a sight [assumed]."""
    most_sagitta_m: Tolerance = 0.005
    """Where the design leaves the sight by more between two dots, a dot is added [assumed]."""
    clear_m: HeightOrNone = 0.10
    """The sight passes this far above the ground [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotEdgeRules(Settings):
    """The shot edge against its line."""

    clearance_m: HeightOrNone = 0.30
    """From the edge of today's layer out to the painted offset line [assumed]."""
    watch_m: Tolerance = 0.020
    """An edge off its line by more is listed to be watched [assumed]."""
    paint_m: Annotated[float, Interval(ge=0.005, le=0.5)] = 0.050
    """Clay that stands in by more than this is painted [assumed]."""
    paint_length_m: Height = 0.30
    """Clay that stands in by ``paint_m`` over this length is painted [assumed]."""
    stop_m: Annotated[float, Interval(ge=0.005, le=1)] = 0.100
    """Clay that stands in by this much anywhere stops the machine [assumed]."""
    chords_m: Annotated[list[Chord], Len(1)] = field(default_factory=lambda: [3.0, 10.0])
    """Lengths of the straight-edges that the edge is held against [assumed]."""
    chord_limits_m: Annotated[list[Tolerance], Len(1)] = field(
        default_factory=lambda: [0.020, 0.040]
    )
    """How far the edge may leave a straight-edge of each length [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineRules(Settings):
    """The room that the curb machine needs. No width holds for every mould: all assumed."""

    inner: Name = "lip"
    """Inner of the two breaks between which the mould lies."""
    outer: Name = "top back of curb"
    """Outer of the two."""
    inside_m: HeightOrNone = 0.30
    """Room on the road side of the inner break [assumed]."""
    outside_m: HeightOrNone = 0.75
    """Room behind the outer break: track and outside wheel [assumed]."""
    trim_m: Annotated[float, Interval(ge=0, le=0.3)] = 0.030
    """What the machine trims by itself [assumed]."""
    low_m: ToleranceOrNone = 0.010
    """A pad lower than this costs concrete [assumed]."""
    coverage_m: Annotated[float, Interval(ge=0.1, le=20)] = 2.0
    """Shots farther apart than this along the path say nothing about it [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankRules(Settings):
    """The backing bank behind the edge."""

    layer: str = ""
    """Layer that its height is measured from; empty: the one above today's layer."""
    least_m: Height = 0.20
    """Least crest above that layer. Common practice, no source."""
    most_m: Height = 0.30
    """Most crest above it. Common practice, no source."""
    heavy_m: Height = 0.40
    """Higher than this, it falls into the path [assumed]."""
    missing_m: Height = 0.10
    """Lower than this there is no bank [assumed]."""
    gap_m: Annotated[float, Interval(ge=0.1, le=20)] = 1.0
    """A shorter gap is not told [assumed]."""
    reach_m: Annotated[float, Interval(ge=0.2, le=10)] = 1.2
    """The crest is looked for this far behind the edge [assumed]."""
    crest_m: Height = 0.30
    """Width of the crest of a bank to build [assumed]."""
    side_slope: Ratio = 1.5
    """Its sides, horizontal to one vertical [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardRules(Settings):
    """Buried and standing things against blade and rotor."""

    mixing_depth_m: Annotated[float, Interval(ge=0, le=1)] = 0.30
    """How deep the mixer works below the clay; 0: nothing is mixed [assumed]."""
    overcut_m: Annotated[float, Interval(ge=0, le=0.3)] = 0.030
    """How much deeper its teeth may reach [assumed]."""
    sigma_lid_m: Known = 0.010
    """Height of a lid shot this morning [assumed]."""
    sigma_record_m: Known = 0.030
    """Height of a lid that is only on the list [assumed]."""
    sigma_ground_m: KnownOrExact = 0.010
    """How well the ground is shot [assumed]."""
    sigma_blade_m: KnownOrExact = 0.015
    """How well a blade is held [assumed]."""
    sigma_rotor_m: KnownOrExact = 0.0
    """How well a rotor is held [assumed]."""
    worst_k: Annotated[float, Interval(ge=1, le=5)] = 1.645
    """Standard deviations from the margin to its worst case: one in twenty lies beyond."""
    hand_m: Height = 0.15
    """Worst-case margin below which work is by hand [assumed]."""
    slow_m: Height = 0.30
    """Worst-case margin below which it is slow [assumed]."""
    zone_m: Height | None = None
    """Tolerance zone each side, by the law of the place: never assumed."""
    match_m: Height = 0.50
    """A shot this near to a thing on the list is that thing [assumed]."""
    buried_m: HeightOrNone = 0.10
    """A lid under more ground than this is buried [assumed]."""
    inlet_kinds: Annotated[list[str], Len(1)] = field(
        default_factory=lambda: ["catch basin", "inlet"]
    )
    """Kinds of things on the list that take water."""
    inlet_near_m: Annotated[float, Interval(ge=0.1, le=20)] = 2.0
    """A low point has its inlet if one stands this near along the curb [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopeRules(Settings):
    """Slope stakes, where a slope runs from the section to the ground."""

    hinge: str = ""
    """Break that the slope starts from; empty: no slope stakes."""
    cut_slope: Ratio = 2.0
    """Slope up from the hinge in cut, horizontal to one vertical [assumed]."""
    fill_slope: Ratio = 2.0
    """Slope down from the hinge in fill, horizontal to one vertical [assumed]."""
    reach_m: Spacing = 20.0
    """No catch point is looked for farther out [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRules(Settings):
    """The printed pages."""

    revision: str = ""
    """Revision of the design that the crew works to."""
    paint_at: list[str] = field(default_factory=list)
    """Breaks with a number on paper, from outside in, four at most; empty: edge of today's
    layer, hub reference, lip, crown. The CSV has every break."""
    rows_a_page: Annotated[int, Ge(5), Le(25)] = 16
    """Laths on one printed page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentRules(Settings):
    """The list for the instrument."""

    columns: Annotated[list[Column], Len(1)] = field(
        default_factory=lambda: ["id", "northing", "easting", "elevation", "code", "note"]
    )
    """Columns of the list, in the order that the instrument reads."""
    files: list[Literal["geojson", "geopackage"]] = field(default_factory=lambda: ["geojson"])
    """What the points are written as besides CSV: longitude and latitude where the grid is known
    (``geojson``), or the grid itself (``geopackage``, which needs ``pip install fudgeo``)."""
    header: bool = True
    """A first row with the names of the columns."""
    id_limit: Annotated[int, Ge(4), Le(80)] = 80
    """Longer ids are shortened and stay different from each other."""
    layer: str = ""
    """Layer of the elevations; empty: the topmost that has the hub reference."""
