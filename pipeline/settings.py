"""The job as the crew states it: every setting, its unit, its default.

`ingest.job` reads ``job.toml`` into these. A default that the trade knows but no
standard gives is an assumption and is printed as one: `Job.given` holds the keys
that the job file states, everything else is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal

from annotated_types import Ge, Interval, Le, Len

from pipeline.settings_crew import (
    BankRules,
    CardRules,
    HazardRules,
    InstrumentRules,
    MachineRules,
    ShotEdgeRules,
    SightRules,
    SlopeRules,
    WalkRules,
)
from pipeline.settings_design import DesignRules as DesignRules  # noqa: PLC0414
from pipeline.settings_design import LayerRule as LayerRule  # noqa: PLC0414
from pipeline.settings_design import LayoutRules as LayoutRules  # noqa: PLC0414
from pipeline.settings_earthwork import Bulking, Costs, Hauling, Stabilising, Volumes
from pipeline.settings_shots import FileFormat as FileFormat  # noqa: PLC0414
from pipeline.settings_shots import Positions as Positions  # noqa: PLC0414
from pipeline.settings_shots import Scans as Scans  # noqa: PLC0414
from pipeline.settings_shots import ShotRules as ShotRules  # noqa: PLC0414
from pipeline.settings_shots import Sightings as Sightings  # noqa: PLC0414
from pipeline.strict import (
    Across,
    Height,
    HeightOrNone,
    Known,
    KnownOrExact,
    Name,
    Settings,
    Spacing,
    Tolerance,
    ToleranceOrNone,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid(Settings):
    """The job grid: what easting, northing and elevation mean here."""

    crs: str = "local"
    """``local`` or an authority code such as ``EPSG:3875``."""
    vertical_datum: str = "site bench marks"
    """What the elevations refer to, in words; printed on the drawing."""
    unit: Literal["m"] = "m"
    """The job grid is metric; the morning's files may be in feet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Code(Settings):
    """What a field code means."""

    what: Name
    """In words; printed where the code is told."""
    ground: bool = True
    """Part of the ground surface (hubs, lids and poles are not)."""
    line: bool = False
    """Shots of this code, in the order shot, make a breakline; a number after the code
    tells lines apart (``EC1``, ``EC2``)."""
    kind: Literal["ground", "hub", "lid", "control", "object"] = "ground"
    """What a shot of this code is; hubs, lids, control and objects are no ground."""
    break_name: str = ""
    """The design break it is shot on, if any: ``crown``, ``edge of clay``."""
    max_step_m: Spacing = 30.0
    """A longer gap between two shots of a line is not joined [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceRules(Settings):
    """How the ground surface is made of the shots."""

    max_edge_m: Spacing = 15.0
    """A longer triangle edge on the outside spans ground that nobody shot."""
    boundary: str = ""
    """Code of a drawn boundary line; empty: the longest edge decides."""
    row_wander_m: HeightOrNone = 0.25
    """A row of shots wanders this far from straight; a flatter triangle at the very end of the
    work lies between shots of one row and says nothing about the ground [assumed]."""
    crossing_tolerance_m: KnownOrExact = 0.02
    """Two breaklines that cross may differ this much in height."""
    same_place_m: KnownOrExact = 0.05
    """Two shots this near in plan, and near in height too, are one taken twice [assumed]."""
    same_height_m: ToleranceOrNone = 0.015
    """How near in height [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRules(Settings):
    """When a shot or a re-shot control point needs a person."""

    control_warn_h_m: Tolerance = 0.010
    """A control point shot again, off by more in plan: told [assumed]."""
    control_warn_v_m: Tolerance = 0.005
    """The same in height [assumed]."""
    control_stop_h_m: Tolerance = 0.020
    """Off by more in plan: the day stops [assumed]."""
    control_stop_v_m: Tolerance = 0.010
    """The same in height [assumed]."""
    off_job_m: Annotated[float, Interval(ge=1, le=5000)] = 50.0
    """A shot farther than this from the corridor's edge is off the job."""
    off_design_m: Annotated[float, Interval(ge=0.1, le=50)] = 2.0
    """A ground shot farther than this above or below the design is doubted."""
    bust_m: Known = 0.05
    """A run of shots that stands off its neighbours by more than this is a bust."""
    hub_off_m: Annotated[float, Interval(ge=0.1, le=20)] = 1.5
    """A hub farther than this above or below the profile gets no number [assumed]."""
    set_bust_aside: bool = True
    """A suspected bust is kept out of the surface until a person has looked at it."""
    spike_m: Known = 0.05
    """A shot alone that stands off its like by less than this is no spike [assumed]."""
    spike_mads: Annotated[float, Interval(ge=1, le=20)] = 4.0
    """Nor is one within this many robust spreads (1.4826 MAD) of its class [assumed]."""
    set_spikes_aside: bool = True
    """A spike is kept out of the surface until a person has looked at it."""
    break_reach_m: Across = 0.5
    """A shot this near to a break of the design has met it [assumed]."""
    coverage_step_m: Spacing = 10.0
    """Every required break is met at least this often along the street [assumed]."""
    coverage_step_curve_m: Spacing = 5.0
    """The same on bends [assumed]."""
    gap_across_m: Across = 4.0
    """A place on the street farther than this across it from every shot is a gap [assumed]."""
    gap_along_m: Spacing = 8.0
    """The same along the street [assumed]."""
    load_m3: Annotated[float, Interval(ge=0.5, le=100)] = 7.2
    """Compacted clay that one truck takes away: 12 m3 box, 0.95 full, 1.59 loose for
    compacted [assumed]."""
    map_sigma_h_m: Known = 0.05
    """Plan precision that a map of the clay needs of a shot [assumed]."""
    map_sigma_v_m: Known = 0.025
    """Height precision that a map of the clay needs of a shot [assumed]."""
    map_pdop: Annotated[float, Interval(ge=1, le=50)] = 4.0
    """Largest dilution of precision of a satellite shot, where its note states one [assumed]."""
    strict_sigma_v_m: Tolerance = 0.010
    """Height precision that hubs, curb and test strips need of a shot [assumed]."""
    default_sigma_v_m: Known = 0.017
    """Height precision of a shot whose file states none: satellite, the poorer of the two
    usual methods; an instrument gives 0.009 [assumed]."""
    bench_shifted: bool = False
    """The day's satellite heights were shifted to a bench mark that was shot the same day."""
    time_gap_min: Annotated[float, Interval(ge=1, le=1440)] = 30.0
    """A longer pause within a file is told [assumed]."""
    rim_above_m: Height = 0.3
    """A rim higher above the ground than this is doubted [assumed]."""
    lids_apart_m: Across = 0.5
    """Two lids nearer than this are one, or one is wrong [assumed]."""
    fixed_moved_m: Tolerance = 0.010
    """A hub, lid or control point that changed height by more than this has moved, or the
    datum has [assumed]."""
    constant_spread_m: Tolerance = 0.02
    """A group whose residuals spread more than this (robust standard deviation) is unfinished
    ground, not a mixed-up reference [assumed]."""
    throughout_m: Tolerance = 0.05
    """Ground off today's layer by one amount everywhere is told from this on [assumed]."""
    code_reach_m: Across = 1.0
    """A shot farther than this across the street from the break that its code names is
    doubted [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StakeRules(Settings):
    """Which points are set, and how far from the work."""

    interval_m: Annotated[float, Interval(ge=1, le=100)] = 10.0
    """Hubs and painted rows on straight, even grade. Common practice, no source."""
    interval_curve_m: Annotated[float, Interval(ge=1, le=100)] = 5.0
    """The same on curves. Common practice, no source."""
    hub_behind_m: Annotated[float, Interval(ge=0.05, le=20)] = 1.5
    """Hub offset behind the reference break."""
    reference: Name = "top back of curb"
    """The break that a hub's cut is measured to; on a section without it, a hub is refused."""
    hub_tolerance_m: ToleranceOrNone = 0.003
    """How well a hub's top is held; printed on the cut sheet [assumed]."""
    moved_h_m: Known = 0.020
    """A hub off its line, or moved since it was shot before, by more is disturbed [assumed]."""
    moved_v_m: Tolerance = 0.010
    """The same in height [assumed]."""
    faces: Literal["crew", "manual"] = "crew"
    """What stands on which side of a lath. ``crew``: the work on the front, the place on the
    back. ``manual``: the same, but a stake on the centreline has its station on the front and
    its cut or fill on the back, as a published grade-stake manual has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounding(Settings):
    """Steps of what is written, and what counts as on grade."""

    lath_m: Annotated[float, Interval(ge=0.0005, le=0.02)] = 0.005
    """Step of what is written on a lath. Common practice, no source."""
    curb_m: Annotated[float, Interval(ge=0.0005, le=0.02)] = 0.001
    """Step of elevations that a curb is set by. Common practice, no source."""
    dirt_m: Annotated[float, Interval(ge=0.001, le=0.05)] = 0.01
    """Step of what is painted on dirt. Common practice, no source."""
    on_grade_m: Annotated[float, Interval(ge=0, le=0.06)] = 0.010
    """Dirt within this of the layer is on grade; with more than a published course's 0.2 ft for
    blue tops everything would be GRADE."""
    marks_unit: Literal["m", "ft"] = "m"
    """What is painted and written: centimetres on dirt and metres on lath, or feet and tenths
    on dirt and feet and hundredths on lath."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target(Settings):
    """Today's layer, the one that the ground is graded to, and the crew's choices for the day."""

    layer: Name = "clay subgrade"
    """Name of that layer."""
    withhold: bool = True
    """A stop finding withholds the lists; False writes them marked HOLD."""
    pass_m: Annotated[float, Interval(ge=0.01, le=1)] = 0.100
    """What one pass of the blade takes off [assumed]."""
    stale_m: Tolerance = 0.020
    """A number is rewritten where the ground changed by more than this since [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(Settings):
    """The drawing: its scale, and who answers for it."""

    scale: Annotated[int, Ge(50), Le(5000)] = 500
    """Of the plan sheets: 500 is 1 to 500."""
    prepared_by: str = ""
    """Stands in the title block."""
    bands_m: list[Height] = field(default_factory=lambda: [0.02, 0.05, 0.10, 0.20])
    """Limits of the cut and fill bands, the same on both sides of zero."""
    plain_map: bool = False
    """Write ``cutfill-plain.dxf`` as well, for viewers that know only version R12: strokes instead
    of shaded regions, no sheets."""
    local_shift: bool = False
    """Write the map's coordinates near zero, for viewers with 32-bit numbers; the title block
    says what to add."""


AROUND = frozenset({"folder", "given"})
"""Fields of `Job` that are no settings: where it lies, and which keys its file states."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job(Settings):
    """A street, its files and its rules. Paths are relative to ``folder``."""

    name: Name
    """Of the street; stands on everything that is made."""
    folder: Path = Path()
    grid: Grid = field(default_factory=Grid)
    control: str = "control.csv"
    """File of known points; empty: none."""
    utilities: str = ""
    """List of buried and standing things; empty: none."""
    shots: ShotRules = field(default_factory=ShotRules)
    design: DesignRules = field(default_factory=DesignRules)
    layers: Annotated[list[LayerRule], Len(1)]
    codes: dict[str, Code] = field(default_factory=dict)
    surface: SurfaceRules = field(default_factory=SurfaceRules)
    checks: CheckRules = field(default_factory=CheckRules)
    stakes: StakeRules = field(default_factory=StakeRules)
    layout: LayoutRules = field(default_factory=LayoutRules)
    rounding: Rounding = field(default_factory=Rounding)
    target: Target = field(default_factory=Target)
    sheet: Sheet = field(default_factory=Sheet)
    walk: WalkRules = field(default_factory=WalkRules)
    sights: SightRules = field(default_factory=SightRules)
    edge: ShotEdgeRules = field(default_factory=ShotEdgeRules)
    machine: MachineRules = field(default_factory=MachineRules)
    bank: BankRules = field(default_factory=BankRules)
    hazards: HazardRules = field(default_factory=HazardRules)
    slope: SlopeRules = field(default_factory=SlopeRules)
    card: CardRules = field(default_factory=CardRules)
    instrument: InstrumentRules = field(default_factory=InstrumentRules)
    volumes: Volumes = field(default_factory=Volumes)
    bulking: Bulking = field(default_factory=Bulking)
    hauling: Hauling = field(default_factory=Hauling)
    costs: Costs = field(default_factory=Costs)
    stabilising: Stabilising = field(default_factory=Stabilising)
    outside: bool = False
    """True: files of this job may lie outside its folder."""
    given: frozenset[str] = frozenset()
    """Dotted keys that the job file states; every other setting is assumed."""
