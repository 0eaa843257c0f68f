"""All that is known about the demo street, for tests: geometry, ground, volumes, flaws.

Examples
--------
>>> from pipeline.demo import truth
>>> station, height = truth.high_point()
>>> round(station, 3), round(height, 3)
(116.667, 103.55)
"""

from pipeline.demo.ground import (
    BANK_MISSING,
    HALF_WIDTH_M,
    NOSE_M,
    NOSE_SIDE,
    NOSE_STATION,
    PLANAR_TO,
    Stretch,
    Volumes,
    bank_height,
    bank_share,
    difference,
    ground,
    toe,
    volumes,
)
from pipeline.demo.known import Buried, ControlPoint, buried, control
from pipeline.demo.line import (
    ELEMENTS,
    LENGTH,
    PROFILE,
    START_AZIMUTH_DEG,
    START_EASTING,
    START_NORTHING,
    azimuth,
    curvature,
    high_point,
    low_point,
    point,
    profile,
)
from pipeline.demo.plan import NOT_SHOT, RODS
from pipeline.demo.section import (
    CLAY,
    FINISH,
    GRAVEL,
    LAYERS,
    SECTIONS,
    STABILISED,
    break_at,
    break_names,
    edge,
    elevation,
    flowline_low_point,
)
from pipeline.demo.shots import HUB_BEHIND_M, Shot, hubs
from pipeline.demo.slips import BUST_M, Flaw, flaws, morning

__all__ = [
    "BANK_MISSING",
    "BUST_M",
    "CLAY",
    "ELEMENTS",
    "FINISH",
    "GRAVEL",
    "HALF_WIDTH_M",
    "HUB_BEHIND_M",
    "LAYERS",
    "LENGTH",
    "NOSE_M",
    "NOSE_SIDE",
    "NOSE_STATION",
    "NOT_SHOT",
    "PLANAR_TO",
    "PROFILE",
    "RODS",
    "SECTIONS",
    "STABILISED",
    "START_AZIMUTH_DEG",
    "START_EASTING",
    "START_NORTHING",
    "Buried",
    "ControlPoint",
    "Flaw",
    "Shot",
    "Stretch",
    "Volumes",
    "azimuth",
    "bank_height",
    "bank_share",
    "break_at",
    "break_names",
    "buried",
    "control",
    "curvature",
    "difference",
    "edge",
    "elevation",
    "flaws",
    "flowline_low_point",
    "ground",
    "high_point",
    "hubs",
    "low_point",
    "morning",
    "point",
    "profile",
    "toe",
    "volumes",
]
