"""The nouns that travel between the rooms.

Arrays, not lists of objects: a million shots is an ordinary morning with a
scanner. Every array is copied, checked and locked when its noun is made, so
what a room was given cannot change under it.

Conventions, said once: metres on the job grid; easting and northing; offset
right of the alignment +, left -; cut +, fill -; angles radians, azimuth
clockwise from grid north. NaN means not surveyed or not designed, and only that.
"""

from pipeline.model.arrays import Bools, Floats, Indices, Ints, Texts
from pipeline.model.design import (
    Alignment,
    AlignmentRows,
    Corridor,
    ElementRow,
    Feet,
    Layer,
    Profile,
    ProfileRow,
    ProfileRows,
)
from pipeline.model.ground import NO_LINES, Linework, Mesh, Surface
from pipeline.model.reading import Reading
from pipeline.model.results import Differences, Overlay, Quantity, Stakes, Table
from pipeline.model.shots import (
    SHOT_COLUMNS,
    Finding,
    Findings,
    Severity,
    Shots,
    join_shots,
    make_shots,
)

__all__ = [
    "NO_LINES",
    "SHOT_COLUMNS",
    "Alignment",
    "AlignmentRows",
    "Bools",
    "Corridor",
    "Differences",
    "ElementRow",
    "Feet",
    "Finding",
    "Findings",
    "Floats",
    "Indices",
    "Ints",
    "Layer",
    "Linework",
    "Mesh",
    "Overlay",
    "Profile",
    "ProfileRow",
    "ProfileRows",
    "Quantity",
    "Reading",
    "Severity",
    "Shots",
    "Stakes",
    "Surface",
    "Table",
    "Texts",
    "join_shots",
    "make_shots",
]
