"""A day of sightings: each set-up placed and oriented, its shots reduced, control checked.

Set-ups are worked through in the order of the book. One that stands on a known
point takes its orientation from its backsights; one that stands on a point shot
earlier that day is an open leg; any other is a free station.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from pipeline.control.reduction import Corrections, Precision, mean_faces, sights, turn
from pipeline.control.resection import resect
from pipeline.errors import InputError, LathError
from pipeline.model import (
    ControlChecks,
    Finding,
    Floats,
    Ints,
    Observations,
    Reduced,
    Resection,
    Setup,
    Severity,
    Shots,
    join_shots,
    make_shots,
    texts,
)

CHECK_M = 0.005
CHECK_PPM = 20.0
"""What a re-sighted known point may be off, CHECK_M + CHECK_PPM of the distance [assumed]."""
INSTRUMENT_HEIGHT_M = 0.0005
"""Two heights of instrument in one set-up that differ by more are a slip."""


@dataclass(frozen=True, slots=True)
class _Check:
    """A row of `ControlChecks`; ``row`` is that of the sightings after the faces were meaned."""

    setup: str
    target: str
    role: str
    distance: float
    along: float
    across: float
    rise: float
    limit: float
    independent: bool
    row: int


@dataclass(slots=True)
class _Day:
    """What is known so far, and what has been found."""

    corrections: Corrections
    precision: Precision
    known: dict[str, tuple[float, float, float]]
    sigma: dict[str, tuple[float, float]]
    control: Shots
    setups: list[Setup] = field(default_factory=list)
    resections: list[Resection] = field(default_factory=list)
    shots: list[Shots] = field(default_factory=list)
    rows: list[Ints] = field(default_factory=list)
    checks: list[_Check] = field(default_factory=list)
    unused: list[int] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def say(self, severity: Severity, kind: str, text: str, do: str) -> None:
        """One more finding."""
        self.findings.append(Finding(severity, kind, text, do))


def reduce_observations(
    observations: Observations,
    control: Shots,
    corrections: Corrections | None = None,
    precision: Precision | None = None,
) -> Reduced:
    """Shots on the job grid from a day's sightings, with every check that they allow.

    Parameters
    ----------
    observations : Observations
        In the order taken; faces as stated, pairs are meaned here.
    control : Shots
        Known points, each id once. A sighting of one is a check, never a shot.
    corrections : Corrections, optional
        Default: curvature and refraction with k 0.14, no grid factor.
    precision : Precision, optional
        What a sighting is worth; gives each shot its sigmas.

    Returns
    -------
    Reduced
        Foresights with a distance as shots. Sightings = shots + checks + unused
        + second faces, and each unused one is among the findings. A known point off
        by more than 5 mm + 20 ppm [assumed], or a set-up that cannot be placed, is
        a ``stop``; a set-up checked on its backsight only is for a ``person``.

    Raises
    ------
    InputError
        A control id that stands there twice with different coordinates.

    Notes
    -----
    E = E0 + d sin(a), N = N0 + d cos(a), a = orientation + horizontal reading, d the
    grid distance. Measured on the open survey of tests/data/survey.
    """
    fixes, worth = corrections or Corrections(), precision or Precision()
    whole, faces, doubts = mean_faces(observations)
    second = np.maximum(faces.left, faces.right)
    original = np.setdiff1d(np.arange(len(observations)), second)
    day = _Day(fixes, worth, _known(control), _known_sigma(control), control)
    day.findings.extend(doubts)
    for name in dict.fromkeys(whole.setup):
        rows = np.flatnonzero(whole.setup == name)
        try:
            setup, placing = _place(whole.take(rows), day)
        except LathError as why:
            day.say("stop", "set-up", f"{why.which}: {why.found}; its shots are left out", why.do)
            day.unused.extend(rows.tolist())
            continue
        day.setups.append(setup)
        _reduce_setup(whole, rows, setup, placing, day)
    return Reduced(
        shots=join_shots(day.shots) if day.shots else make_shots([], [], []),
        row=original[np.concatenate(day.rows)] if day.rows else np.empty(0, dtype=np.int64),
        setups=tuple(day.setups),
        resections=tuple(day.resections),
        checks=_checks(day.checks, original),
        faces=faces,
        unused=original[np.array(sorted(day.unused), dtype=np.int64)],
        findings=tuple(day.findings),
    )


def _known(control: Shots) -> dict[str, tuple[float, float, float]]:
    known: dict[str, tuple[float, float, float]] = {}
    for row, name in enumerate(control.id):
        place = (control.easting[row], control.northing[row], control.elevation[row])
        if name in known and not np.allclose(known[name], place, rtol=0, atol=5e-4):
            found = "stands there twice with different coordinates"
            raise InputError(control.where(row), found, "keep the one that holds")
        known.setdefault(str(name), (float(place[0]), float(place[1]), float(place[2])))
    return known


def _known_sigma(control: Shots) -> dict[str, tuple[float, float]]:
    pairs = zip(np.nan_to_num(control.sigma_h), np.nan_to_num(control.sigma_v), strict=True)
    return {str(name): (float(h), float(v)) for name, (h, v) in zip(control.id, pairs, strict=True)}


def _place(rows: Observations, day: _Day) -> tuple[Setup, set[str]]:
    """The set-up, and the names of the points that placed it."""
    name = str(rows.setup[0])
    heights = rows.instrument_height[~np.isnan(rows.instrument_height)]
    if heights.size and np.ptp(heights) > INSTRUMENT_HEIGHT_M:
        found = f"heights of instrument from {heights.min():.3f} to {heights.max():.3f} m"
        raise InputError(f"set-up {name}", found, "give the second one a set-up of its own")
    points = sorted({str(point) for point in rows.occupied if point})
    if len(points) > 1:
        found = f"stands on {' and on '.join(points)}"
        raise InputError(f"set-up {name}", found, "give each its own set-up name")
    sighted = rows.take(rows.role == "backsight")
    if points and points[0] in day.known:
        return _occupied(name, points[0], sighted, day)
    targets = {str(target) for target in sighted.target if target in day.known}
    try:
        result = resect(sighted, _sighted_control(targets, day), day.corrections, day.precision)
    except InputError as why:
        unknown = f"stands on {points[0]}, which nobody knows; " if points else ""
        raise InputError(why.which, unknown + why.found, why.do) from None
    day.resections.append(result)
    day.findings.extend(result.findings)
    setup = result.setup
    if setup.point:
        day.known[setup.point] = (setup.easting, setup.northing, setup.elevation)
        day.sigma[setup.point] = (setup.sigma_h, setup.sigma_v)
    return setup, targets


def _sighted_control(targets: set[str], day: _Day) -> Shots:
    names = sorted(targets)
    places = np.array([day.known[name] for name in names]).reshape(-1, 3)
    sigmas = np.array([day.sigma[name] for name in names]).reshape(-1, 2)
    return make_shots(
        *places.T, id=texts(names), sigma_h=sigmas[:, 0], sigma_v=sigmas[:, 1], files=("control",)
    )


def _occupied(name: str, point: str, sighted: Observations, day: _Day) -> tuple[Setup, set[str]]:
    east, north, up = day.known[point]
    open_leg = point not in set(day.control.id)
    if open_leg:
        text = f"set-up {name} stands on {point}, shot earlier today and not checked (open leg)"
        day.say("person", "open leg", text, "close on a known point")
    usable = [r for r in range(len(sighted)) if sighted.target[r] in day.known]
    usable = [r for r in usable if sighted.target[r] != point]
    if not usable:
        do = "sight a known point as backsight, and have it in the control"
        raise InputError(f"set-up {name}", f"on {point} has no backsight to a known point", do)
    backsights = sighted.take(np.array(usable, dtype=np.int64))
    places = np.array([day.known[target] for target in backsights.target])
    dx, dy = places[:, 0] - east, places[:, 1] - north
    reach = np.hypot(dx, dy)
    shares = np.array([day.sigma[target][0] for target in backsights.target]) / math.sqrt(2.0)
    sigma = np.hypot(day.precision.direction(reach), shares / np.maximum(reach, 1e-3))
    said = np.arctan2(dx, dy) - backsights.horizontal
    # turned about the first, so that 359.9999 and 0.0001 mean 0 and not 180 degrees
    weights = 1.0 / sigma**2
    orientation = said[0] + float(np.average(turn(said - said[0]), weights=weights))
    sigma_h, sigma_v = day.sigma[point]
    setup = Setup(
        id=name,
        point=point,
        easting=east,
        northing=north,
        elevation=up,
        orientation=float(np.mod(orientation, 2.0 * np.pi)),
        sigma_h=sigma_h,
        sigma_v=sigma_v,
        sigma_orientation=float(1.0 / np.sqrt(weights.sum())),
        method="open leg" if open_leg else "occupied",
    )
    return setup, {str(target) for target in backsights.target}


def _reduce_setup(
    whole: Observations, rows: Ints, setup: Setup, placing: set[str], day: _Day
) -> None:
    part = whole.take(rows)
    distance, rise = sights(part, day.corrections)
    azimuth = part.horizontal + setup.orientation
    measured = ~np.isnan(distance)
    fixed = set(day.control.id)
    foresight = part.role == "foresight"
    # a foresight of a point shot earlier is another shot of it; of control, a check
    held = np.array(
        [
            t in fixed or (t in day.known and not f)
            for t, f in zip(part.target, foresight, strict=True)
        ],
        dtype=np.bool_,
    )
    shot = measured & ~held & foresight
    for k in np.flatnonzero(measured & held):
        sight = (float(distance[k]), float(azimuth[k]), float(rise[k]))
        _check(part, int(k), sight, (setup, placing, int(rows[k])), day)
    for k in np.flatnonzero(~shot & ~(measured & held)):
        day.unused.append(int(rows[k]))
        if measured[k] or part.target[k] not in placing:
            _set_aside(part, int(k), bool(measured[k]), day)
    _independent(setup, placing, part, day)
    _shoot(part.take(shot), (distance[shot], azimuth[shot], rise[shot]), setup, day)
    day.rows.append(rows[shot].astype(np.int64))


def _shoot(
    chosen: Observations, polar: tuple[Floats, Floats, Floats], setup: Setup, day: _Day
) -> None:
    """Shots of one set-up from distance, azimuth and rise; a new name is known from now on."""
    d, a, rise = polar
    east = setup.easting + d * np.sin(a)
    north = setup.northing + d * np.cos(a)
    up = setup.elevation + rise
    sigma_h, sigma_v = _sigmas(d, setup, day.precision)
    shots = make_shots(
        east, north, up, id=chosen.target, code=chosen.code, note=chosen.note,
        sigma_h=sigma_h, sigma_v=sigma_v, setup=chosen.setup, rod=chosen.target_height,
        time=chosen.time, file=chosen.file, line=chosen.line, files=chosen.files,
    )  # fmt: skip
    day.shots.append(shots)
    for name, *place, flat, lift in zip(shots.id, east, north, up, sigma_h, sigma_v, strict=True):
        # a later set-up may stand on it; the first shot of a name holds
        if name not in day.known:
            day.known[name] = (float(place[0]), float(place[1]), float(place[2]))
            day.sigma[name] = (float(flat), float(lift))


def _sigmas(distance: Floats, setup: Setup, precision: Precision) -> tuple[Floats, Floats]:
    across = np.hypot(precision.direction(distance), setup.sigma_orientation) * distance
    along = precision.length(distance)
    sigma_h = np.sqrt(across**2 + along**2 + setup.sigma_h**2)
    return sigma_h, np.hypot(precision.rise(distance), setup.sigma_v)


def _check(
    part: Observations,
    k: int,
    measured: tuple[float, float, float],
    owner: tuple[Setup, set[str], int],
    day: _Day,
) -> None:
    setup, placing, row = owner
    distance, azimuth, rise = measured
    target = str(part.target[k])
    east, north, up = day.known[target]
    dx, dy = east - setup.easting, north - setup.northing
    known = math.hypot(dx, dy)
    across = distance * math.sin(azimuth - math.atan2(dx, dy))
    along = distance * math.cos(azimuth - math.atan2(dx, dy)) - known
    lift = rise - (up - setup.elevation)
    limit = CHECK_M + CHECK_PPM * 1e-6 * known
    day.checks.append(
        _Check(
            setup.id, target, str(part.role[k]), known, along, across, lift, limit,
            target not in placing, row,
        )
    )  # fmt: skip
    flat = math.hypot(along, across)
    if flat > limit or abs(lift) > limit:
        text = (
            f"{part.where(k)}: {flat:.3f} m off in plan and {lift:+.3f} m in height over"
            f" {known:.1f} m, {limit:.3f} m allowed"
        )
        do = "check the name of the point, the heights of instrument and target, the set-up"
        finding = Finding("stop", "control check", text, do, (target,), line=int(part.line[k]))
        day.findings.append(finding)


def _set_aside(part: Observations, k: int, measured: bool, day: _Day) -> None:
    found = "a point that nobody knows" if measured else "a direction without a distance"
    text = f"{part.where(k)}: {part.role[k]} to {part.target[k]}, {found}; not used"
    day.say("note", "sighting not used", text, "measure it again if it is needed")


def _independent(setup: Setup, placing: set[str], part: Observations, day: _Day) -> None:
    checked = [check for check in day.checks if check.setup == setup.id]
    if not any(check.independent for check in checked):
        text = f"set-up {setup.id}: no known point checked besides {', '.join(sorted(placing))}"
        do = "check a third point: a check on the backsight alone is no check"
        day.say("person", "set-up unchecked", text, do)
    for target in sorted(placing - {check.target for check in checked}):
        if not np.isnan(part.slope_distance[part.target == target]).all():
            continue
        text = f"set-up {setup.id}: no distance to the backsight {target}"
        day.say("person", "backsight distance", text, "measure it: a wrong point shows there")


def _checks(checks: list[_Check], original: Ints) -> ControlChecks:
    rows = np.array([check.row for check in checks], dtype=np.int64)
    return ControlChecks(
        setup=texts(check.setup for check in checks),
        target=texts(check.target for check in checks),
        role=texts(check.role for check in checks),
        distance=np.array([check.distance for check in checks]),
        along=np.array([check.along for check in checks]),
        across=np.array([check.across for check in checks]),
        rise=np.array([check.rise for check in checks]),
        limit=np.array([check.limit for check in checks]),
        independent=np.array([check.independent for check in checks], dtype=np.int64),
        row=original[rows],
    )
