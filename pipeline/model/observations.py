"""What instruments observe, and what the control room makes of it.

Angles are radians: horizontal readings clockwise, zenith angles from straight
up, azimuths clockwise from grid north. Lengths are metres. NaN means not
observed or not stated, and only that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model.arrays import Floats, Indices, Ints, Texts, lock_fields
from pipeline.model.shots import Findings, Shots

_TEXTS = ("setup", "occupied", "target", "role", "face", "code", "note", "time")
_NUMBERS = (
    "horizontal", "zenith", "slope_distance", "instrument_height", "target_height",
    "prism_constant", "ppm",
)  # fmt: skip
OBSERVATION_COLUMNS = (*_TEXTS, *_NUMBERS, "file", "line")


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """Total-station sightings, one row a sighting, all columns of length n.

    ``setup`` names the set-up, ``occupied`` the point it stands on (empty: a free
    station). ``role`` is ``backsight``, ``foresight`` or ``check``; ``face`` is
    ``left``, ``right``, ``mean`` of the two, or empty where nobody says.
    ``prism_constant`` [m] and ``ppm`` are still to be added to ``slope_distance``;
    zero where the instrument has done so. ``file`` is an index into ``files``.
    """

    setup: Texts
    occupied: Texts
    target: Texts
    role: Texts
    face: Texts
    code: Texts
    note: Texts
    time: Texts
    horizontal: Floats
    zenith: Floats
    slope_distance: Floats
    instrument_height: Floats
    target_height: Floats
    prism_constant: Floats
    ppm: Floats
    file: Indices
    line: Ints
    files: tuple[str, ...]

    def __post_init__(self) -> None:
        n = len(self.target)
        texts = dict.fromkeys(_TEXTS, (object, (n,)))
        numbers = dict.fromkeys(_NUMBERS, (np.float64, (n,)))
        whole = {"file": (np.int32, (n,)), "line": (np.int64, (n,))}
        lock_fields(self, {**texts, **numbers, **whole})

    def __len__(self) -> int:
        return len(self.target)

    def where(self, row: int) -> str:
        """``book.csv line 12 (S1 to 104)``: the place a person can look up."""
        place = f"{self.files[self.file[row]]} line {self.line[row]}"
        return f"{place} ({self.setup[row]} to {self.target[row]})"

    def take(self, rows: ArrayLike) -> Observations:
        """The sightings at `rows` (indices or a mask), in that order."""
        chosen = np.asarray(rows)
        columns = {name: getattr(self, name)[chosen] for name in OBSERVATION_COLUMNS}
        return Observations(**columns, files=self.files)


def make_observations(
    target: ArrayLike, *, files: tuple[str, ...] = ("",), **columns: ArrayLike
) -> Observations:
    """`Observations` with every column that is not given left blank (text) or NaN (number).

    ``prism_constant`` and ``ppm`` default to 0, ``role`` to ``foresight``,
    ``line`` to the row number.
    """
    n = len(np.asarray(target, dtype=object))
    given: dict[str, Any] = dict(columns)
    for name in _TEXTS:
        if name != "target":
            given.setdefault(name, np.full(n, "foresight" if name == "role" else "", dtype=object))
    for name in _NUMBERS:
        given.setdefault(name, np.full(n, 0.0 if name in ("prism_constant", "ppm") else np.nan))
    given.setdefault("file", np.zeros(n, dtype=np.int32))
    given.setdefault("line", np.arange(1, n + 1))
    return Observations(target=target, files=files, **given)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, eq=False)
class FieldNotes:
    """What one file of sightings gave: observations, the points it calls control, the others."""

    file: str
    format: str
    version: str
    unit: str
    observations: Observations
    control: Shots
    points: Shots
    findings: Findings = ()
    refused: int = 0
    """Rows that could not be used; each is among the findings."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelBook:
    """Rod readings of one level run, one row a point as booked.

    A turning point has a ``foresight`` and then a ``backsight`` on its one row;
    ``intermediate`` is a side shot. ``distance`` is the length levelled since
    the row before, ``booked`` the elevation worked out in the field. NaN: not booked.
    """

    file: str
    point: Texts
    backsight: Floats
    intermediate: Floats
    foresight: Floats
    distance: Floats
    booked: Floats
    line: Ints
    findings: Findings = ()
    refused: int = 0

    def __post_init__(self) -> None:
        n = len(self.point)
        names = ("backsight", "intermediate", "foresight", "distance", "booked")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))
        lock_fields(self, {"point": (object, (n,)), "line": (np.int64, (n,))})

    def __len__(self) -> int:
        return len(self.point)


@dataclass(frozen=True, slots=True)
class Setup:
    """Where an instrument stands and which way its circle points.

    ``orientation`` is the azimuth of circle zero [rad]; azimuth of a sighting is
    orientation plus horizontal reading. ``sigma_h`` is radial, as in `Shots`.
    ``method`` is ``occupied``, ``open leg`` or ``resection``.
    """

    id: str
    point: str
    easting: float
    northing: float
    elevation: float
    orientation: float
    sigma_h: float
    sigma_v: float
    sigma_orientation: float
    method: str


@dataclass(frozen=True, slots=True, eq=False)
class FacePairs:
    """Sightings taken on both faces, and what the two faces say about the instrument.

    ``collimation`` and ``index`` [rad] are the corrections that face left alone
    would need taken off; ``distance_split`` [m] is left minus right. ``left`` and
    ``right`` are the rows of the two sightings.
    """

    setup: Texts
    target: Texts
    left: Ints
    right: Ints
    collimation: Floats
    index: Floats
    distance_split: Floats

    def __post_init__(self) -> None:
        n = len(self.setup)
        names = ("collimation", "index", "distance_split")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("setup", "target"), (object, (n,))))
        lock_fields(self, dict.fromkeys(("left", "right"), (np.int64, (n,))))

    def __len__(self) -> int:
        return len(self.setup)


@dataclass(frozen=True, slots=True, eq=False)
class ControlChecks:
    """Known points sighted again: measured minus known.

    ``along`` is the error in distance, ``across`` the error to the right of the
    line, ``rise`` the error in height, all [m]; ``limit`` is what each may reach.
    ``independent`` is 1 where the point did not itself place the set-up.
    """

    setup: Texts
    target: Texts
    role: Texts
    distance: Floats
    along: Floats
    across: Floats
    rise: Floats
    limit: Floats
    independent: Ints
    row: Ints

    def __post_init__(self) -> None:
        n = len(self.setup)
        numbers = ("distance", "along", "across", "rise", "limit")
        lock_fields(self, dict.fromkeys(("setup", "target", "role"), (object, (n,))))
        lock_fields(self, dict.fromkeys(numbers, (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("independent", "row"), (np.int64, (n,))))

    def __len__(self) -> int:
        return len(self.setup)


@dataclass(frozen=True, slots=True, eq=False)
class Resection:
    """A free station found from sightings of known points.

    Residuals are measured minus adjusted, NaN where that part was not measured:
    ``direction`` [rad], ``distance`` and ``rise`` [m]. ``sigma0`` and ``redundancy``
    are those of the plan; ``sigma0`` is NaN where nothing is left to check.
    """

    setup: Setup
    target: Texts
    direction: Floats
    distance: Floats
    rise: Floats
    sigma0: float
    redundancy: int
    findings: Findings = ()

    def __post_init__(self) -> None:
        n = len(self.target)
        lock_fields(self, dict.fromkeys(("direction", "distance", "rise"), (np.float64, (n,))))
        lock_fields(self, {"target": (object, (n,))})


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """A day's sightings as points on the job grid, with everything that was checked.

    ``row`` tells for each shot which sighting it came from (the earlier of two
    faces); ``unused`` are the sightings that gave no point and are no check: those
    that gave a set-up its direction, and others, each of which is a finding.
    """

    shots: Shots
    row: Ints
    setups: tuple[Setup, ...]
    resections: tuple[Resection, ...]
    checks: ControlChecks
    faces: FacePairs
    unused: Ints
    findings: Findings = ()

    def __post_init__(self) -> None:
        lock_fields(self, dict.fromkeys(("row", "unused"), (np.int64, (None,))))


@dataclass(frozen=True, slots=True, eq=False)
class Traverse:
    """Legs between m + 1 stations, as measured and balanced by the compass rule.

    ``latitude`` and ``departure`` are the balanced northing and easting of each
    of the m legs; ``ratio`` is perimeter over closure (15000 is written
    1/15 000), infinite where it closes exactly. ``angular_misclosure`` [rad] is
    NaN where azimuths were given. ``point`` has m + 1 entries.
    """

    point: Texts
    azimuth: Floats
    length: Floats
    latitude: Floats
    departure: Floats
    easting: Floats
    northing: Floats
    elevation: Floats
    angular_misclosure: float
    misclosure_e: float
    misclosure_n: float
    misclosure_z: float
    perimeter: float
    ratio: float
    findings: Findings = ()

    def __post_init__(self) -> None:
        m = len(self.length)
        legs = ("azimuth", "length", "latitude", "departure")
        stations = ("easting", "northing", "elevation")
        lock_fields(self, dict.fromkeys(legs, (np.float64, (m,))))
        lock_fields(self, dict.fromkeys(stations, (np.float64, (m + 1,))))
        lock_fields(self, {"point": (object, (m + 1,))})


@dataclass(frozen=True, slots=True, eq=False)
class LevelRun:
    """A level run worked out: n rows as booked.

    ``instrument`` is the height of instrument from which the row was read,
    ``elevation`` as read, ``adjusted`` with the misclosure spread along the run.
    ``misclosure`` and ``limit`` are NaN where no end elevation is known.
    """

    point: Texts
    instrument: Floats
    elevation: Floats
    adjusted: Floats
    sum_backsight: float
    sum_foresight: float
    page_check: float
    """(sum of backsights - sum of foresights) - (last - first elevation as booked)."""
    misclosure: float
    limit: float
    findings: Findings = ()

    def __post_init__(self) -> None:
        n = len(self.point)
        names = ("instrument", "elevation", "adjusted")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))
        lock_fields(self, {"point": (object, (n,))})


@dataclass(frozen=True, slots=True, eq=False)
class Localisation:
    """How measured coordinates go onto the job grid, and how well they fit control.

    Plan: turn clockwise by ``rotation`` and stretch by ``scale`` about
    ``origin_measured``, then move that point to ``origin_grid`` (E, N). Height:
    add ``shift_z`` plus ``tilt_e`` and ``tilt_n`` [m/m] times the grid distance from
    ``origin_grid``. ``d_*`` is fitted minus known at the n control points.
    ``test_h`` and ``test_v`` are the outlier tests (`control.localisation`).
    """

    id: Texts
    easting: Floats
    northing: Floats
    elevation: Floats
    d_easting: Floats
    d_northing: Floats
    d_elevation: Floats
    test_h: Floats
    test_v: Floats
    origin_measured: Floats
    origin_grid: Floats
    rotation: float
    scale: float
    shift_z: float
    tilt_e: float
    tilt_n: float
    standard_errors: dict[str, float]
    sigma0_h: float
    sigma0_v: float
    redundancy_h: int
    redundancy_v: int
    findings: Findings = ()

    def __post_init__(self) -> None:
        n = len(self.id)
        names = (
            "easting", "northing", "elevation", "d_easting", "d_northing", "d_elevation",
            "test_h", "test_v",
        )  # fmt: skip
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("origin_measured", "origin_grid"), (np.float64, (2,))))
        lock_fields(self, {"id": (object, (n,))})
