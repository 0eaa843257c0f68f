"""Settings of the design: its files, its streets, its limits, and the points set from it.

A limit that no standard gives is marked [assumed] and prints as assumed until the job
file states it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Interval

from pipeline.strict import (
    HeightOrNone,
    Name,
    Percent,
    Settings,
    Spacing,
    Tolerance,
    ToleranceOrNone,
)

Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRule(Settings):
    """One design layer, from the top down."""

    name: Name
    """As the section table, the lists and the map call it."""
    title: str = ""
    """In words, for legends."""
    file: str = ""
    """File of a surface layer: LandXML or DXF; empty for a layer of the section table."""
    surface: str = ""
    """Which surface of that file, where it holds several."""
    below: str = ""
    """Name of a layer above, from which this one is offset down by ``by_m``."""
    by_m: HeightOrNone = 0.0
    """Thickness of what lies between, where ``below`` is given."""
    measured: Literal["vertical", "perpendicular"] = "vertical"
    """How that thickness is measured."""
    least_m: HeightOrNone = 0.0
    """Least thickness under the layer above; less is told. 0: not checked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WarpRules(Settings):
    """One end of a street laid onto the edge of a street that goes through.

    Or both approaches of a street that crosses it.
    """

    end: Literal["start", "end", "through"] = "start"
    """Which end of the street is laid on; ``through``: it goes on beyond the other, and both of its
    approaches are laid on."""
    onto: str = "main"
    """Name of the street that goes through; ``main`` is the first."""
    at: Name = "lip"
    """The break of that street at which the two meet."""
    length_m: Spacing = 15.0
    """Over this the crown warps from its own section to flush [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StreetRules(Settings):
    """One more street of the job, with files of its own."""

    name: Name
    """Of the street; other settings call it so."""
    alignment: Name
    """File of its alignment."""
    profile: Name
    """File of its profile."""
    sections: Name
    """File of its sections."""
    alignment_name: str = ""
    """Which alignment of that file, where it holds several."""
    profile_name: str = ""
    """Which profile of that file, where it holds several."""
    warps: list[WarpRules] = field(default_factory=list)
    """Ends of it that are laid onto another street."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnRules(Settings):
    """A curb return: the arc that joins the same break of two streets."""

    name: Name
    """Of the return; lists and priority call it so."""
    from_street: str = "main"
    """The street it starts from."""
    from_side: Side
    """The side of that street."""
    to_street: Name
    """The street it ends on."""
    to_side: Side
    """The side of that street."""
    at: Name = "lip"
    """The break that the radius is measured to; roadway inside, curb outside."""
    radius_m: Annotated[float, Interval(ge=0.5, le=500)]
    """Radius to the break named under ``at``."""
    grade: Literal["straight", "fitted"] = "straight"
    """``fitted``: a cubic that begins and ends with the grades of the two streets' edges."""
    near_station: float | None = None
    """On the first street, where the two meet more than once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeLineRules(Settings):
    """The edge of a bulb or an eyebrow: a line with its own profile and curb."""

    name: Name
    """Of the edge; lists and priority call it so."""
    kind: Literal["bulb", "eyebrow"]
    """A bulb ends its street; an eyebrow stands on one side of it."""
    street: str = "main"
    """The street it belongs to."""
    alignment: Name
    """File of the edge's own alignment."""
    profile: Name
    """File of its profile."""
    sections: Name
    """File of its sections: the curb, outside of the edge."""
    at: Name = "lip"
    """The break of the street that the edge starts from and comes back to."""
    throat: float | None = None
    """Of a bulb: the street's station at which it begins, and its sections end."""
    centre: float | None = None
    """Of a bulb: the station to which the crown runs on."""
    side: Side | None = None
    """Of an eyebrow."""
    start: float | None = None
    """Of an eyebrow: the street's station at which its edge leaves."""
    end: float | None = None
    """The station at which it comes back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchRules(Settings):
    """A surface that overrides the streets inside its boundary."""

    name: Name
    """Of the patch; lists and priority call it so."""
    file: Name
    """LandXML or DXF file that holds the surface."""
    surface: str = ""
    """Which surface of that file, where it holds several."""
    layers: dict[str, float]
    """Layer -> how far it lies below the patch [m]."""
    measured: Literal["vertical", "perpendicular"] = "vertical"
    """How that is measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TieRules(Settings):
    """Where a street meets what is built: its edge as shot, and how fast the two may be joined."""

    street: str = "main"
    """The street that meets what is built."""
    end: Literal["start", "end"]
    """Which end of it."""
    file: Name
    """Points of the existing edge, as a table of points."""
    rate_pct: Annotated[float, Interval(ge=0.05, le=20)] = 0.5
    """The step is blended at this rate [assumed]."""
    breakover_pct: Annotated[float, Interval(ge=0.05, le=20)] = 3.0
    """Largest change of grade at the joint, where the points give a grade [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignLimits(Settings):
    """What a design is told of before dirt moves."""

    grade_break_pct: Annotated[float, Interval(ge=0.01, le=20)] = 1.0
    """Largest change of grade without a vertical curve [assumed]."""
    speed_mph: Literal[0, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70] = 0
    """Speed for which vertical curves are looked up in the K table; 0: not checked."""
    crossfall_least_pct: Percent = 1.0
    """Least crossfall of the roadway [assumed]."""
    crossfall_most_pct: Percent = 6.0
    """Most crossfall of the roadway [assumed]."""
    roadway: Name = "lip"
    """The break that ends the roadway."""
    gutter: str = "flowline"
    """The break along which water runs; empty: not checked."""
    gutter_least_pct: Percent = 0.4
    """Flatter, and water stands [assumed; municipal standards ask for 0.3 to 0.5]."""
    curb_pi_m: HeightOrNone = 0.0
    """How far the grades of two curbs, run on to where the curbs would meet behind a return,
    may differ there; 0: not checked."""
    flat_pct: Percent = 0.5
    """A place whose steepest slope is less is flat [assumed]."""
    seam_m: ToleranceOrNone = 0.001
    """Step between two parts of the design that is told."""
    pond_m: HeightOrNone = 0.010
    """Water deeper than this is told [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignRules(Settings):
    """Where the design is, and how finely its curves are cut into triangles."""

    name: str = ""
    """What the first street is called on lists and pages; empty: the name of its alignment."""
    alignment: Name = "design/alignment.csv"
    """File of the alignment: a table of ours, or LandXML."""
    profile: Name = "design/profile.csv"
    """File of the profile: a table of ours, or LandXML."""
    sections: str = "design/sections.toml"
    """File of the sections; empty where every layer is a surface."""
    alignment_name: str = ""
    """Which alignment of the file, where it holds several."""
    profile_name: str = ""
    """Which profile of the file, where it holds several."""
    chord_m: Annotated[float, Interval(ge=0.0001, le=0.05)] = 0.002
    """Largest sagitta, in plan and in height, of the triangles that stand for the design."""
    max_step_m: Annotated[float, Interval(ge=0.1, le=50)] = 5.0
    """Largest station step of those triangles."""
    streets: list[StreetRules] = field(default_factory=list)
    """Other streets of the job, in order of priority after the one above."""
    returns: list[ReturnRules] = field(default_factory=list)
    """Curb returns between two streets."""
    edges: list[EdgeLineRules] = field(default_factory=list)
    """Edge lines of bulbs and eyebrows."""
    patches: list[PatchRules] = field(default_factory=list)
    """Surfaces that override everything inside their boundary."""
    ties: list[TieRules] = field(default_factory=list)
    """Ends of streets that meet what is built."""
    priority: list[str] = field(default_factory=list)
    """Names in order where two claim a place; ``main`` is the street above. Empty: patches,
    returns, edges, main, the other streets, each in the order of the job file."""
    limits: DesignLimits = field(default_factory=DesignLimits)


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutRules(Settings):
    """Which points are set before anybody shoots; hub offset and reference are those of stakes."""

    interval_m: Annotated[float, Interval(ge=1, le=100)] = 10.0
    """Hubs on straight, even grade; elsewhere this over 2, 4, 5, 10 and so on."""
    sagitta_m: Annotated[float, Interval(ge=0.001, le=0.5)] = 0.020
    """The curve may leave the chord between two hubs by this, in plan [assumed]."""
    sagitta_height_m: Tolerance = 0.005
    """The same in height, on vertical curves [assumed]."""
    machine_behind_m: Annotated[float, Interval(ge=0, le=10)] = 1.0
    """The machine's path reaches this far behind the reference break [assumed]."""
    utility_clear_m: Annotated[float, Interval(ge=0, le=10)] = 0.60
    """No point is driven nearer than this to a recorded thing [assumed; the law of the place
    and the locate decide, not this number]."""
    apart_m: Annotated[float, Interval(ge=0.01, le=10)] = 0.30
    """Two hubs nearer than this are one [assumed]."""
    gutter: str = "flowline"
    """The break whose high and low points are set; empty: none."""
