"""The job as the crew states it: every setting, its unit, its default.

`ingest.job` reads ``job.toml`` into these. A default that the trade knows but no
standard gives is an assumption and is printed as one: `Job.given` holds the keys
that the job file states, everything else is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, ClassVar, Literal

from annotated_types import Ge, Gt, Le, Len

from pipeline.units import Unit


class Settings:
    """What every table of settings shares: nothing unknown, nothing coerced, nothing infinite."""

    __slots__ = ()
    __pydantic_config__: ClassVar[dict[str, object]] = {
        "strict": True,
        "extra": "forbid",
        "allow_inf_nan": False,
    }


Name = Annotated[str, Len(1, 80)]
Positive = Annotated[float, Gt(0)]
NotNegative = Annotated[float, Ge(0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid(Settings):
    """The job grid: what easting, northing and elevation mean here."""

    crs: str = "local"
    """``local`` or an authority code such as ``EPSG:3875``."""
    vertical_datum: str = "site bench marks"
    unit: Literal["m"] = "m"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFormat(Settings):
    """How one kind of the morning's files is written. Units are declared, never guessed."""

    files: Name = "*"
    """Pattern of file names inside the day's folder."""
    unit: Unit = "m"
    columns: dict[str, str] | list[str] | None = None
    """Our column -> the header's word; or, without a header, our columns in order."""
    header: bool | None = None
    """None: a first row in which no coordinate reads as a number is the header."""
    delimiter: str | None = None
    """None: found from the file, and said."""
    decimal: Literal[".", ","] = "."
    encoding: str | None = None
    """None: UTF-8, else what the byte order mark says."""
    code: str = ""
    """Code of points that carry none, such as those of a terrain file."""
    surface: str | None = None
    """Which surface of the file is ground, where it holds several."""
    faces: Literal["keep", "rebuild"] = "rebuild"
    """Triangles that the file brings: use them as they are, or triangulate its points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotRules(Settings):
    """Where the morning's files are and how they are read."""

    folder: str = "shots"
    formats: list[FileFormat] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Code(Settings):
    """What a field code means."""

    what: Name
    ground: bool = True
    """Part of the ground surface (hubs, lids and poles are not)."""
    line: bool = False
    """Shots of this code, in the order shot, make a breakline; a number after the code
    tells lines apart (``EC1``, ``EC2``)."""
    kind: Literal["ground", "hub", "lid", "control", "object"] = "ground"
    break_name: str = ""
    """The design break it is shot on, if any: ``crown``, ``edge of clay``."""
    max_step_m: Positive = 30.0
    """A longer gap between two shots of a line is not joined [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRule(Settings):
    """One design layer, from the top down."""

    name: Name
    title: str = ""
    file: str = ""
    """LandXML file of a surface layer; empty for a layer of the section table."""
    surface: str = ""
    """Which surface of that file, where it holds several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignRules(Settings):
    """Where the design is, and how finely its curves are cut into triangles."""

    alignment: Name = "design/alignment.csv"
    profile: Name = "design/profile.csv"
    sections: str = "design/sections.toml"
    alignment_name: str = ""
    profile_name: str = ""
    chord_m: Positive = 0.002
    """Largest sagitta, in plan and in height, of the triangles that stand for the design."""
    max_step_m: Positive = 5.0
    """Largest station step of those triangles."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceRules(Settings):
    """How the ground surface is made of the shots."""

    max_edge_m: Positive = 15.0
    """A longer triangle edge on the outside spans ground that nobody shot."""
    boundary: str = ""
    """Code of a drawn boundary line; empty: the longest edge decides."""
    crossing_tolerance_m: NotNegative = 0.02
    """Two breaklines that cross may differ this much in height."""
    same_place_m: NotNegative = 0.05
    same_height_m: NotNegative = 0.015
    """Two shots closer than both are one shot taken twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRules(Settings):
    """When a shot or a re-shot control point needs a person."""

    control_warn_h_m: Positive = 0.010
    control_warn_v_m: Positive = 0.005
    control_stop_h_m: Positive = 0.020
    control_stop_v_m: Positive = 0.010
    off_job_m: Positive = 50.0
    """A shot farther than this from the corridor's edge is off the job."""
    off_design_m: Positive = 2.0
    """A ground shot farther than this above or below the design is doubted."""
    bust_m: Positive = 0.05
    """A run of shots that stands off its neighbours by more than this is a bust."""
    set_bust_aside: bool = True
    """A suspected bust is kept out of the surface until a person has looked at it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StakeRules(Settings):
    """Which points are set, and how far from the work."""

    interval_m: Positive = 10.0
    interval_curve_m: Positive = 5.0
    hub_behind_m: Positive = 1.5
    """Hub offset behind the reference break."""
    reference: Name = "top back of curb"
    """The break that a hub's cut is measured to; on a section without it, a hub is refused."""
    hub_tolerance_m: NotNegative = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounding(Settings):
    """Steps of what is written, and what counts as on grade."""

    lath_m: Positive = 0.005
    curb_m: Positive = 0.001
    dirt_m: Positive = 0.01
    on_grade_m: NotNegative = 0.010
    """Dirt within this of the layer is on grade."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target(Settings):
    """The layer that today's ground is graded to, and the crew's other choices for the day."""

    layer: Name = "clay subgrade"
    withhold: bool = True
    """A stop finding withholds the lists; False writes them marked HOLD."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(Settings):
    """The drawing: its scale, and who answers for it."""

    scale: Annotated[int, Ge(50), Le(5000)] = 500
    prepared_by: str = ""
    bands_m: list[float] = field(default_factory=lambda: [0.02, 0.05, 0.10, 0.20])
    """Limits of the cut and fill bands, the same on both sides of zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job(Settings):
    """A street, its files and its rules. Paths are relative to ``folder``."""

    name: Name
    folder: Path = Path()
    grid: Grid = field(default_factory=Grid)
    control: str = "control.csv"
    utilities: str = ""
    shots: ShotRules = field(default_factory=ShotRules)
    design: DesignRules = field(default_factory=DesignRules)
    layers: Annotated[list[LayerRule], Len(1)]
    codes: dict[str, Code] = field(default_factory=dict)
    surface: SurfaceRules = field(default_factory=SurfaceRules)
    checks: CheckRules = field(default_factory=CheckRules)
    stakes: StakeRules = field(default_factory=StakeRules)
    rounding: Rounding = field(default_factory=Rounding)
    target: Target = field(default_factory=Target)
    sheet: Sheet = field(default_factory=Sheet)
    outside: bool = False
    """True: files of this job may lie outside its folder."""
    given: frozenset[str] = frozenset()
    """Dotted keys that the job file states; every other setting is assumed."""
