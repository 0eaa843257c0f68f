"""Settings of the morning's files: how each kind is written, and how it becomes shots."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Interval, Len

from pipeline.strict import (
    Across,
    Height,
    Known,
    Name,
    Settings,
)
from pipeline.units import Unit

Degrees = Annotated[float, Interval(ge=-180, le=180)]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFormat(Settings):
    """How one kind of the morning's files is written. Units are declared, never guessed."""

    files: Name = "*"
    """Pattern of file names inside the day's folder."""
    kind: Literal["points", "sightings", "positions", "scan"] = "points"
    """``sightings``: readings of a total station, reduced here. ``positions``: satellite
    positions, put onto the grid here. ``scan``: a point cloud, cleared of what stands on the
    ground and thinned."""
    unit: Unit = "m"
    """Unit of the file's lengths."""
    columns: dict[str, str] | list[str] | None = None
    """Our column -> the header's word; or, without a header, our columns in order."""
    header: bool | None = None
    """None: a first row in which no coordinate reads as a number is the header."""
    delimiter: str | None = None
    """None: found from the file, and said."""
    decimal: Literal[".", ","] = "."
    """Decimal sign of the file."""
    encoding: str | None = None
    """None: UTF-8, else what the byte order mark says."""
    code: str = ""
    """Code of points that carry none, such as those of a terrain file."""
    surface: str | None = None
    """Which surface of the file is ground, where it holds several."""
    faces: Literal["keep", "rebuild"] = "rebuild"
    """Triangles that the file brings: use them as they are, or triangulate its points."""
    layers: dict[Name, Literal["ground", "break", "boundary", "hole"]] = field(default_factory=dict)
    """Of a drawing (DXF): pattern of layer names -> what lies there; the first that fits decides.
    ``ground``: points, faces, and lines with heights as breaklines. ``break``: the same, and
    lines at height 0 are meant to be at 0. ``boundary``, ``hole``: rings around the ground or a
    gap in it. Other layers are listed and not read. Empty: every layer is ``ground``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sightings(Settings):
    """How a total station's readings become coordinates, and what one reading is worth."""

    curvature_refraction: bool = True
    """Correct heights for the earth's curvature and refraction."""
    refraction: Annotated[float, Interval(ge=-5, le=5)] = 0.14
    """Coefficient k [assumed]; near hot ground at noon it is often zero or negative."""
    grid_scale: Annotated[float, Interval(ge=0.99, le=1.01)] = 1.0
    """Scale of the projection at the street [assumed 1: a local grid]."""
    elevation_factor: Annotated[float, Interval(ge=0.99, le=1.01)] = 1.0
    """From the street's height down to the ellipsoid [assumed 1]."""
    angle_arcsec: Annotated[float, Interval(ge=0.1, le=120)] = 5.0
    """Standard error of a direction in one face [assumed]."""
    distance_m: Known = 0.002
    """Standard error of a distance, the fixed part [assumed]."""
    distance_ppm: Annotated[float, Interval(ge=0, le=100)] = 2.0
    """The part that grows with the distance [assumed]."""
    centring_m: Known = 0.002
    """Standard error of centring, instrument and target [assumed]."""
    height_m: Known = 0.002
    """Standard error of a height of instrument or target [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Positions(Settings):
    """How satellite positions get onto the job grid; nothing of it is guessed."""

    source_crs: str = ""
    """Geographic system that the receiver worked in, such as ``EPSG:4258``."""
    local_origin_deg: Annotated[list[Degrees], Len(2, 2)] | None = None
    """Latitude and longitude near the street, where the job grid is local."""
    separation_m: Annotated[float, Interval(ge=-120, le=120)] | None = None
    """Geoid above ellipsoid, + upward, where the file does not say; nowhere 110 m (memory)."""
    antenna_height_m: Annotated[float, Interval(ge=0.01, le=10)] | None = None
    """Antenna above the mark, where the file tells of the antenna."""
    accuracy_m: Annotated[float, Interval(ge=0.001, le=10)] = 0.05
    """Worst datum operation that is taken [assumed]."""
    epoch: Annotated[float, Interval(ge=1980, le=2100)] | None = None
    """Year of the positions, such as 2026.37, where the datums move apart."""
    localise: bool = False
    """Fit the positions of control points to the job's control and move all shots with them."""
    scale: bool = False
    """Fit a scale in plan, or hold it at 1."""
    vertical: Literal["shift", "plane", "none"] = "shift"
    """How heights are fitted to the control: one shift, a plane, or not."""
    beyond_control_m: Annotated[float, Interval(ge=0, le=5000)] = 25.0
    """Shots farther outside the control's hull than this are named [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scans(Settings):
    """How a point cloud becomes shots of the ground."""

    cell_m: Annotated[float, Interval(ge=0.01, le=2)] = 0.10
    """Side of the cells that keep one point each [assumed]."""
    keep: Literal["median", "lowest"] = "median"
    """Which point of a cell is kept."""
    take_out_objects: bool = True
    """Take out machines, people and laths that stand on the ground."""
    step_m: Height = 0.30
    """A vertical side lower than this is ground: curb faces and banks [assumed]."""
    widest_m: Across = 6.0
    """An object is narrower than this, its scan shadow included [assumed]."""
    code: str = "GR"
    """Code of the shots that are kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotRules(Settings):
    """Where the morning's files are and how they are read."""

    folder: str = "shots"
    """Folder that holds a folder for each day."""
    formats: list[FileFormat] = field(default_factory=list)
    sightings: Sightings = field(default_factory=Sightings)
    positions: Positions = field(default_factory=Positions)
    scans: Scans = field(default_factory=Scans)
