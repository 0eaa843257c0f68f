"""Measured coordinates onto the job grid: similarity in plan, shift or tilt in height.

Each is fitted by least squares to points known in both. What the fit cannot say
(too few points, points in line) is refused; what it says about the points (outlier,
wrong unit, axes swapped) is told by name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipeline.control.adjustment import POINT_LIMIT, W_LIMIT, Solution, point_tests, solve
from pipeline.control.slips import find_slips
from pipeline.errors import InputError
from pipeline.model import Finding, Findings, Floats, Localisation, Shots, make_shots

WHAT = "localisation"


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalisationRules:
    """What is fitted, and how good it must be."""

    scale: bool = False
    """Fit a scale (four parameters in plan) or hold it at 1 (three)."""
    vertical: Literal["shift", "plane", "none"] = "shift"
    sigma_h_m: float = 0.010
    """Radial standard deviation of a point pair that states none [assumed]."""
    sigma_v_m: float = 0.010
    """The same in height [assumed]."""
    warn_h_m: float = 0.010
    warn_v_m: float = 0.005
    stop_h_m: float = 0.020
    stop_v_m: float = 0.010
    """Residuals beyond these need a person, or stop the day [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """The plan fit; ``fitted`` (n, 2) are the measured points on the grid."""

    origin_measured: Floats
    origin_grid: Floats
    rotation: float
    scale: float
    fitted: Floats
    solution: Solution


@dataclass(frozen=True, slots=True, eq=False)
class _Rise:
    """The height fit: shift, tilt east, tilt north; ``off`` fitted minus known."""

    terms: tuple[float, float, float]
    off: Floats
    test: Floats
    errors: dict[str, float]
    sigma0: float
    redundancy: int


def localise(
    measured: Shots, control: Shots, rules: LocalisationRules | None = None
) -> Localisation:
    """The transformation from `measured` to the job grid, fitted to `control`.

    Parameters
    ----------
    measured : Shots
        Points as measured; those whose id is in `control` make the fit. One
        measured several times is averaged.
    control : Shots
        The same points on the job grid, each id once.
    rules : LocalisationRules, optional
        Default: no scale, a vertical shift.

    Returns
    -------
    Localisation
        Parameters with standard errors (keys ``easting``, ``northing`` [m] of the
        fitted centre, ``rotation`` [rad], ``scale``, ``shift_z`` [m], ``tilt_e``,
        ``tilt_n`` [m/m]; only those fitted), residuals, tests and findings.

    Raises
    ------
    InputError
        Fewer points than needed (plan 2, shift 1, plane 3), points in one place or,
        for a plane, in one line; a control id twice; coordinates in another unit or
        with easting and northing swapped.

    Notes
    -----
    E = E0 + s (x cos r + y sin r), N = N0 + s (y cos r - x sin r), x and y from the
    weighted mean of the measured points, r clockwise; the form of EPSG method 9621.
    Centre, rotation and scale come in closed form: exact least squares, since easting
    and northing of a point weigh alike. Standard errors follow from the stated
    sigmas, times sigma0 where that is over 1. Outliers: `adjustment.point_tests` in
    plan, w-test in height (Baarda 1968). Checked against scipy's least_squares,
    REF-CO-6 and REF-CO-7.
    """
    chosen = rules or LocalisationRules()
    taken, known, repeated = _pair(measured, control)
    slips = find_slips(taken, known)
    sigma_h, sigma_v = _sigmas(taken, known, chosen)
    plan = _fit_plan(taken, known, sigma_h / math.sqrt(2.0), chosen.scale)
    rise = _fit_rise(plan, taken, known, sigma_v, chosen.vertical)
    names = ("easting", "northing", "rotation", "scale")
    errors = dict(zip(names, plan.solution.standard_error.tolist(), strict=False))
    if chosen.scale:
        errors["scale"] *= plan.scale  # it was fitted as a logarithm
    off = plan.fitted - np.column_stack([known.easting, known.northing])
    tests = point_tests(plan.solution)
    found = _judged(known.id, off, rise.off, chosen)
    found += _outliers(known.id, tests, rise.test, off, rise.off)
    found += _unchecked(plan.solution.redundancy, rise, chosen)
    return Localisation(
        id=known.id,
        easting=known.easting,
        northing=known.northing,
        elevation=known.elevation,
        d_easting=off[:, 0],
        d_northing=off[:, 1],
        d_elevation=rise.off,
        test_h=tests,
        test_v=rise.test,
        origin_measured=plan.origin_measured,
        origin_grid=plan.origin_grid,
        rotation=plan.rotation,
        scale=plan.scale,
        shift_z=rise.terms[0],
        tilt_e=rise.terms[1],
        tilt_n=rise.terms[2],
        standard_errors={**errors, **rise.errors},
        sigma0_h=plan.solution.sigma0,
        sigma0_v=rise.sigma0,
        redundancy_h=plan.solution.redundancy,
        redundancy_v=rise.redundancy,
        findings=repeated + slips + found,
    )


def _pair(measured: Shots, control: Shots) -> tuple[Shots, Shots, Findings]:
    """The points known in both, in control's order, repeats averaged and told."""
    if len(set(control.id)) < len(control):
        name = next(name for name in control.id if np.count_nonzero(control.id == name) > 1)
        raise InputError(f"control point {name}", "stands there twice", "keep the one that holds")
    rows = {name: np.flatnonzero(measured.id == name) for name in control.id}
    both = [k for k, name in enumerate(control.id) if rows[name].size]
    if len(both) < 2:
        names = ", ".join(str(control.id[k]) for k in both) or "none"
        found = f"{len(both)} points known in both ({names})"
        raise InputError(WHAT, found, "measure two control points or more, under their own names")
    known = control.take(np.array(both))
    found_rows: list[Finding] = []
    columns: list[list[float]] = []
    for name in known.id:
        at = rows[name]
        place = np.column_stack([measured.easting, measured.northing, measured.elevation])[at]
        sigmas = measured.sigma_h[at].mean(), measured.sigma_v[at].mean()
        columns.append([*place.mean(axis=0), *(float(s) / math.sqrt(at.size) for s in sigmas)])
        if at.size > 1:
            spread = np.ptp(place, axis=0)
            text = (
                f"{name} measured {at.size} times and averaged; spread"
                f" {np.hypot(*spread[:2]):.3f} m in plan, {spread[2]:.3f} m in height"
            )
            found_rows.append(Finding("note", "control averaged", text, "look at the spread"))
    values = np.array(columns).T
    taken = make_shots(*values[:3], id=known.id, sigma_h=values[3], sigma_v=values[4])
    return taken, known, tuple(found_rows)


def _sigmas(taken: Shots, known: Shots, rules: LocalisationRules) -> tuple[Floats, Floats]:
    """Standard deviation of each pair, radial and in height: measured and known together."""
    pair_h = np.hypot(np.nan_to_num(taken.sigma_h), np.nan_to_num(known.sigma_h))
    pair_v = np.hypot(np.nan_to_num(taken.sigma_v), np.nan_to_num(known.sigma_v))
    return (
        np.where(pair_h > 0, pair_h, rules.sigma_h_m),
        np.where(pair_v > 0, pair_v, rules.sigma_v_m),
    )


def _turned(x: Floats, y: Floats, rotation: float, scale: float) -> Floats:
    """Clockwise turn and stretch, shape (n, 2)."""
    cos, sin = math.cos(rotation), math.sin(rotation)
    return scale * np.column_stack([x * cos + y * sin, y * cos - x * sin])


def _fit_plan(taken: Shots, known: Shots, sigma: Floats, scaled: bool) -> _Plan:
    weight = 1.0 / sigma**2
    source = np.column_stack([taken.easting, taken.northing])
    target = np.column_stack([known.easting, known.northing])
    # about the first point, so that large coordinates lose nothing in the mean
    centre = source[0] + np.average(source - source[0], axis=0, weights=weight)
    grid = target[0] + np.average(target - target[0], axis=0, weights=weight)
    (x, y), (u, v) = (source - centre).T, (target - grid).T
    along, across = weight @ (u * x + v * y), weight @ (u * y - v * x)
    rotation = math.atan2(across, along)
    size = weight @ (x * x + y * y)
    scale = float(np.hypot(along, across) / size) if scaled and size > 0 else 1.0
    p = _turned(x, y, rotation, scale)
    zero, one = np.zeros(len(x)), np.ones(len(x))
    columns = [[one, zero], [zero, one], [p[:, 1], -p[:, 0]], [p[:, 0], p[:, 1]]]
    names = ("easting", "northing", "rotation", "scale")[: 4 if scaled else 3]
    design = np.column_stack([np.column_stack(pair).ravel() for pair in columns[: len(names)]])
    left = (target - grid - p).ravel()
    solution = solve(design, left, np.repeat(sigma, 2), names, WHAT)
    return _Plan(centre, grid, rotation, scale, p + grid, solution)


def _fit_rise(plan: _Plan, taken: Shots, known: Shots, sigma: Floats, kind: str) -> _Rise:
    nothing = np.full(len(known), np.nan)
    if kind == "none":
        return _Rise((0.0, 0.0, 0.0), nothing, nothing, {}, math.nan, 0)
    names = ("shift_z", "tilt_e", "tilt_n")[: 3 if kind == "plane" else 1]
    away = plan.fitted - plan.origin_grid
    design = np.column_stack([np.ones(len(away)), away])[:, : len(names)]
    apart = known.elevation - taken.elevation
    solution = solve(design, apart - apart[0], sigma, names, f"{WHAT} in height")
    terms = np.zeros(3)
    terms[: len(names)] = solution.x
    terms[0] += apart[0]
    errors = dict(zip(names, solution.standard_error.tolist(), strict=True))
    shift, tilt_e, tilt_n = terms.tolist()
    # residuals are known minus fitted; here fitted minus known is told
    return _Rise(
        (shift, tilt_e, tilt_n),
        -solution.residual,
        -solution.w,
        errors,
        solution.sigma0,
        solution.redundancy,
    )


def _judged(names: ArrayLike, off: Floats, lift: Floats, rules: LocalisationRules) -> Findings:
    """Control points that the fit leaves farther off than allowed."""
    found: list[Finding] = []
    flat = np.hypot(off[:, 0], off[:, 1])
    up = np.nan_to_num(np.abs(lift))
    for k, name in enumerate(np.asarray(names, dtype=object)):
        stop = flat[k] > rules.stop_h_m or up[k] > rules.stop_v_m
        if not stop and flat[k] <= rules.warn_h_m and up[k] <= rules.warn_v_m:
            continue
        text = f"control point {name} fits to {flat[k]:.3f} m in plan"
        text += "" if np.isnan(lift[k]) else f", {lift[k]:+.3f} m in height"
        do = "check the point and its coordinates before anybody works by this fit"
        found.append(Finding("stop" if stop else "person", "control fit", text, do, (str(name),)))
    return tuple(found)


def _outliers(names: ArrayLike, flat: Floats, up: Floats, off: Floats, lift: Floats) -> Findings:
    """The point that fits worst, where its test says it is no chance."""
    found: list[Finding] = []
    ids = np.asarray(names, dtype=object)
    plan, rise = np.nan_to_num(flat), np.nan_to_num(np.abs(up))
    if plan.max() > POINT_LIMIT:
        k = int(plan.argmax())
        # another point explains the misfit nearly as well: then both are named
        alike = [str(ids[j]) for j in np.flatnonzero(plan > 0.9 * plan[k])]
        size = float(np.hypot(off[k, 0], off[k, 1]))
        text = (
            f"{' or '.join(alike)} does not belong to the others in plan"
            f" ({size:.3f} m off a fit that it pulls; test {plan[k]:.0f}, limit {POINT_LIMIT:.1f})"
        )
        do = "measure it again, or take it out of the control by name"
        found.append(Finding("stop", "control outlier", text, do, tuple(alike)))
    if rise.max() > W_LIMIT:
        k = int(rise.argmax())
        alike = [str(ids[j]) for j in np.flatnonzero(rise > 0.95 * rise[k])]
        text = (
            f"{' or '.join(alike)} does not belong to the others in height"
            f" ({lift[k]:+.3f} m off a fit that it pulls; test {rise[k]:.1f}, limit {W_LIMIT})"
        )
        do = "measure it again, or take it out of the control by name"
        found.append(Finding("stop", "control outlier", text, do, tuple(alike)))
    return tuple(found)


def _unchecked(redundancy: int, rise: _Rise, rules: LocalisationRules) -> Findings:
    found: list[Finding] = []
    for what, spare in (("plan", redundancy), ("height", rise.redundancy)):
        if spare == 0 and (what == "plan" or rules.vertical != "none"):
            text = f"{WHAT}: no point is left over to check the fit in {what}"
            found.append(Finding("person", "fit unchecked", text, "measure one more control point"))
    return tuple(found)


def apply_localisation(fit: Localisation, shots: Shots) -> Shots:
    """`shots` on the job grid; every other column as it was.

    ``sigma_h`` and ``sigma_v`` stay those of the shot: the fit moves all shots
    together, so its own error is no scatter between them.
    """
    x = shots.easting - fit.origin_measured[0]
    y = shots.northing - fit.origin_measured[1]
    p = _turned(x, y, fit.rotation, fit.scale)
    up = shots.elevation + fit.shift_z + fit.tilt_e * p[:, 0] + fit.tilt_n * p[:, 1]
    kept = ("id", "code", "note", "sigma_h", "sigma_v", "setup", "rod", "time", "file", "line")
    return make_shots(
        p[:, 0] + fit.origin_grid[0],
        p[:, 1] + fit.origin_grid[1],
        up,
        files=shots.files,
        **{name: getattr(shots, name) for name in kept},
    )


def beyond_control(
    fit: Localisation, shots: Shots, *, allowed_m: float = 0.0
) -> tuple[Floats, Findings]:
    """How far each shot on the job grid lies outside the hull of the control.

    Parameters
    ----------
    fit : Localisation
        Whose control points make the hull (two make a line).
    shots : Shots
        On the job grid already.
    allowed_m : float
        Distance outside that is not worth a finding [m].

    Returns
    -------
    distance : ndarray, shape (n,)
        Metres outside, 0 inside.
    findings
        One, with the farthest shot and what the fit's own errors come to there
        (one standard deviation, plan and height).
    """
    from shapely import MultiPoint, distance, points

    at = np.column_stack([shots.easting, shots.northing]) - fit.origin_grid
    corners = np.column_stack([fit.easting, fit.northing]) - fit.origin_grid
    hull = MultiPoint(corners).convex_hull
    outside = np.asarray(distance(points(at), hull), dtype=np.float64)
    far = outside > allowed_m + 1e-9
    if not far.any():
        return outside, ()
    k = int(outside.argmax())
    reach = float(np.hypot(*at[k]))
    errors = fit.standard_errors
    turn = math.hypot(errors["rotation"], errors.get("scale", 0.0))
    flat = math.hypot(errors["easting"], errors["northing"], turn * reach)
    tilt = math.hypot(errors.get("tilt_e", 0.0) * at[k, 0], errors.get("tilt_n", 0.0) * at[k, 1])
    up = math.hypot(errors.get("shift_z", math.nan), tilt)
    text = (
        f"{int(far.sum())} shots lie outside the control, the farthest {shots.where(k)} by"
        f" {outside[k]:.1f} m; there the fit alone is worth {flat:.3f} m in plan"
    )
    text += "" if math.isnan(up) else f" and {up:.3f} m in height"
    do = "measure a control point beyond them"
    return outside, (Finding("person", "beyond control", text, do, (str(shots.id[k]),)),)
