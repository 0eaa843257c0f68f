"""Free station: where the instrument stands, from sightings of known points.

Plan first (easting, northing, orientation), from directions and whatever
distances there are; then height, as the mean of what each target says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.control.adjustment import W_LIMIT, Solution, solve
from pipeline.control.reduction import (
    ARCSECOND,
    Corrections,
    Precision,
    curvature_and_refraction,
    sights,
    turn,
)
from pipeline.errors import InputError
from pipeline.model import Bools, Finding, Findings, Floats, Observations, Resection, Setup, Shots

_NAMES = ("easting", "northing", "orientation")
_STEPS = 30
_STILL = 1e-9
WEAK_M = 0.010
"""A free station known no better than this in plan is doubted [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class _Targets:
    """Known points as sighted, near zero about the first: n rows."""

    x: Floats
    y: Floats
    z: Floats
    direction: Floats
    distance: Floats
    rise: Floats
    sigma_xy: Floats
    sigma_z: Floats


def resect(
    observations: Observations,
    control: Shots,
    corrections: Corrections | None = None,
    precision: Precision | None = None,
) -> Resection:
    """Position, orientation and height of one set-up by least squares.

    Parameters
    ----------
    observations : Observations
        Sightings of one set-up, face means; those of points not in `control` are
        left aside. A row without distance is a direction only.
    control : Shots
        Known points; where they state sigmas, these weigh too.
    corrections : Corrections, optional
        Default: curvature and refraction with k 0.14, no grid factor.
    precision : Precision, optional
        Standard deviations that weigh the sightings.

    Returns
    -------
    Resection
        The set-up, residuals (measured minus adjusted) and their tests; a residual
        over 3.29 of its standard deviations, and a station without redundancy, is a
        finding.

    Raises
    ------
    InputError
        Neither two known points with distances nor three directions, points in one
        place, instrument and points on one circle, or no height to be had.

    Notes
    -----
    Start: rigid fit of the local polar points where two distances are there, else
    the homogeneous linear form of the direction equations, which has its solution in
    closed form; then Gauss-Newton on the exact equations to 1e-9 m. Directions to
    points on one circle through the instrument leave its position open: a zero
    singular value, refused.
    """
    fixes = corrections or Corrections()
    worth = precision or Precision()
    known = {str(name): row for row, name in enumerate(control.id)}
    rows = [r for r in range(len(observations)) if observations.target[r] in known]
    used = observations.take(np.array(rows, dtype=np.int64))
    name = str(observations.setup[0]) if len(observations) else "?"
    what = f"set-up {name}"
    at = np.array([known[target] for target in used.target], dtype=np.int64)
    targets, origin = _gather(used, control.take(at), fixes)
    start = _start(targets, what)
    plan, solution = _plan(start, targets, worth, what)
    height = _height(plan, used, targets, (fixes, worth), what)
    return _result(used, (plan, origin), solution, height, targets)


def _gather(
    used: Observations, control: Shots, corrections: Corrections
) -> tuple[_Targets, Floats]:
    distance, rise = sights(used, corrections)
    origin = np.array([0.0, 0.0])
    if len(control):
        origin = np.array([control.easting[0], control.northing[0]])
    # sigma_h is radial: its share on one axis
    share = np.nan_to_num(control.sigma_h, nan=0.0) / math.sqrt(2.0)
    targets = _Targets(
        x=control.easting - origin[0],
        y=control.northing - origin[1],
        z=np.array(control.elevation),
        direction=np.array(used.horizontal),
        distance=distance,
        rise=rise,
        sigma_xy=share,
        sigma_z=np.nan_to_num(control.sigma_v, nan=0.0),
    )
    return targets, origin


def _start(targets: _Targets, what: str) -> Floats:
    """Easting and northing near zero and orientation, close enough to iterate from."""
    measured = ~np.isnan(targets.distance)
    places = {(x, y) for x, y in zip(targets.x, targets.y, strict=True)}
    ranged = {(x, y) for x, y in zip(targets.x[measured], targets.y[measured], strict=True)}
    if len(ranged) >= 2:
        return _from_distances(targets, measured)
    if len(places) >= 3:
        return _from_directions(targets, what)
    found = f"{len(places)} known points sighted, {len(ranged)} of them with a distance"
    raise InputError(what, found, "sight two known points with distances, or three directions")


def _from_distances(targets: _Targets, measured: Bools) -> Floats:
    """Rigid fit of the polar points to their known places (Procrustes in the plane)."""
    local = targets.distance * np.exp(1j * (np.pi / 2.0 - targets.direction))
    known = targets.x + 1j * targets.y
    p, q = local[measured], known[measured]
    spin = np.vdot(p - p.mean(), q - q.mean())
    turned = spin / abs(spin) if abs(spin) > 0 else 1.0 + 0j
    station = q.mean() - turned * p.mean()
    return np.array([station.real, station.imag, -np.angle(turned)])


def _from_directions(targets: _Targets, what: str) -> Floats:
    """Null vector of (X - E) cos(o + H) - (Y - N) sin(o + H) = 0, linear in four terms."""
    cos, sin = np.cos(targets.direction), np.sin(targets.direction)
    size = max(float(np.hypot(targets.x, targets.y).max()), 1.0)
    x, y = targets.x / size, targets.y / size
    rows = np.column_stack([x * cos - y * sin, -x * sin - y * cos, -cos, sin])
    _, values, right = np.linalg.svd(rows)
    if len(values) < 3 or values[2] < 1e-7 * values[0]:
        raise InputError(
            what,
            "the points and the instrument lie on one circle or one line",
            "sight a known point inside or well outside that circle, or measure a distance",
        )
    a, b, u, v = right[-1]
    norm = a * a + b * b
    east, north = (u * a + v * b) / norm, (v * a - u * b) / norm
    orientation = math.atan2(b, a)
    ahead = (x - east) * np.sin(orientation + targets.direction)
    ahead = ahead + (y - north) * np.cos(orientation + targets.direction)
    if np.sum(ahead) < 0:  # the null vector has two signs: the points stand in front
        orientation += math.pi
    return np.array([east * size, north * size, orientation])


def _plan(
    start: Floats, targets: _Targets, precision: Precision, what: str
) -> tuple[Floats, Solution]:
    """Gauss-Newton to the adjusted plan position; rows: directions, then distances."""
    measured = ~np.isnan(targets.distance)
    at = np.array(start)
    for _ in range(_STEPS):
        dx, dy = targets.x - at[0], targets.y - at[1]
        reach = np.hypot(dx, dy)
        if reach.min() < 0.05:
            do = "take that point out of the resection or name it as occupied"
            raise InputError(what, "stands on one of the points it sights", do)
        sin, cos = dx / reach, dy / reach
        ones = np.ones_like(reach)
        directions = np.column_stack([-cos / reach, sin / reach, -ones])
        distances = np.column_stack([-sin, -cos, 0.0 * ones])[measured]
        # in directions the unknown orientation counts against the azimuth
        off = turn(targets.direction - (np.arctan2(dx, dy) - at[2]))
        short = (targets.distance - reach)[measured]
        solution = solve(
            np.vstack([directions, distances]),
            np.concatenate([off, short]),
            np.concatenate(
                [
                    np.hypot(precision.direction(reach), targets.sigma_xy / reach),
                    np.hypot(precision.length(reach), targets.sigma_xy)[measured],
                ]
            ),
            _NAMES,
            what,
        )
        at = at + solution.x
        if np.hypot(*solution.x[:2]) < _STILL and abs(solution.x[2]) < 1e-12:
            return at, solution
    raise InputError(what, "the resection does not settle", "check the names of the sighted points")


def _height(
    plan: Floats,
    used: Observations,
    targets: _Targets,
    means: tuple[Corrections, Precision],
    what: str,
) -> tuple[float, Solution, Bools]:
    """Elevation of the mark under the instrument, from every target with a zenith angle."""
    corrections, precision = means
    reach = np.hypot(targets.x - plan[0], targets.y - plan[1])
    # a direction with a zenith angle has a rise too, over the adjusted distance
    level = reach / corrections.combined_factor
    computed = level / np.tan(used.zenith) + used.instrument_height - used.target_height
    if corrections.curvature_refraction:
        k, radius = corrections.refraction, corrections.earth_radius_m
        computed += curvature_and_refraction(level, refraction=k, earth_radius=radius)
    rise = np.where(np.isnan(targets.rise), computed, targets.rise)
    seen = ~np.isnan(rise)
    if not seen.any():
        do = "measure a zenith angle, with the heights of instrument and target"
        raise InputError(what, "no target gives a height", do)
    heights = (targets.z - rise)[seen]
    sigma = np.hypot(precision.rise(reach), targets.sigma_z)[seen]
    base = float(heights[0])
    solution = solve(np.ones((len(heights), 1)), heights - base, sigma, ("elevation",), what)
    return base + float(solution.x[0]), solution, seen


def _spread(n: int, rows: Bools, values: Floats) -> Floats:
    full = np.full(n, np.nan)
    full[rows] = values
    return full


def _result(
    used: Observations,
    place: tuple[Floats, Floats],
    solution: Solution,
    height: tuple[float, Solution, Bools],
    targets: _Targets,
) -> Resection:
    plan, origin = place
    elevation, rises, seen = height
    n = len(used)
    measured = ~np.isnan(targets.distance)
    errors = solution.standard_error
    setup = Setup(
        id=str(used.setup[0]),
        point=str(used.occupied[0]),
        easting=float(plan[0] + origin[0]),
        northing=float(plan[1] + origin[1]),
        elevation=elevation,
        orientation=float(np.mod(plan[2], 2.0 * np.pi)),
        sigma_h=float(np.hypot(errors[0], errors[1])),
        sigma_v=float(rises.standard_error[0]),
        sigma_orientation=float(errors[2]),
        method="resection",
    )
    every = np.ones(n, dtype=np.bool_)
    return Resection(
        setup=setup,
        target=used.target,
        direction=_spread(n, every, solution.residual[:n]),
        distance=_spread(n, measured, solution.residual[n:]),
        # heights say target minus rise, so the residual of the rise has the other sign
        rise=_spread(n, seen, -rises.residual),
        sigma0=solution.sigma0,
        redundancy=solution.redundancy,
        findings=_findings(used, solution, rises, (measured, seen)),
    )


def _findings(
    used: Observations, solution: Solution, rises: Solution, rows: tuple[Bools, Bools]
) -> Findings:
    name, n = str(used.setup[0]), len(used)
    measured, seen = (np.flatnonzero(mask) for mask in rows)
    found: list[Finding] = []
    for what, spare in (("plan", solution.redundancy), ("height", rises.redundancy)):
        if spare == 0:
            text = f"set-up {name}: nothing checks the {what} of this free station"
            found.append(
                Finding("person", "resection unchecked", text, "sight one more known point")
            )
    radial = float(np.hypot(solution.standard_error[0], solution.standard_error[1]))
    if radial > WEAK_M:
        text = f"set-up {name}: free station known to {radial:.3f} m only"
        found.append(Finding("person", "resection weak", text, "sight points on other sides"))
    plan = np.nan_to_num(np.abs(solution.w))
    if plan.max(initial=0.0) > W_LIMIT:
        k = int(plan.argmax())
        row = k if k < n else int(measured[k - n])
        size = solution.residual[k]
        size_text = f"{size / ARCSECOND:+.0f} seconds of arc" if k < n else f"{size:+.4f} m"
        part = "direction" if k < n else "distance"
        found.append(_outlier(used, row, f"{part} off by {size_text}", float(solution.w[k])))
    lift = np.nan_to_num(np.abs(rises.w))
    if lift.max(initial=0.0) > W_LIMIT:
        k = int(lift.argmax())
        text = f"height difference off by {-rises.residual[k]:+.4f} m"
        found.append(_outlier(used, int(seen[k]), text, float(rises.w[k])))
    return tuple(found)


def _outlier(used: Observations, row: int, what: str, w: float) -> Finding:
    text = f"{used.where(row)}: {what}, {abs(w):.1f} times its standard deviation"
    do = "sight the point again; check its name, its coordinates and the target height"
    target = str(used.target[row])
    return Finding("person", "resection outlier", text, do, (target,), line=int(used.line[row]))
