"""The corner of two streets: where its curb is high, low or level, and whether the grades agree."""

from __future__ import annotations

import math

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import point_at
from pipeline.design.feet import locate
from pipeline.design.returns import CurbReturn, Leg, edge_grades, edge_height, grade_along
from pipeline.model import Corridor, Finding, Findings, Floats


def corner_findings(made: CurbReturn, most_m: float) -> Findings:
    """What is said of the quadrant of one return.

    Parameters
    ----------
    made : CurbReturn
    most_m : float
        Largest difference of the two curb grades at their hypothetical intersection [m];
        0: not asked.

    Returns
    -------
    Findings
        ``note``: its high and low points from tangent point to tangent point, with the
        grades that lead to it and from it. ``person``: the grades of the two curbs, each
        run on to the point where the curbs would meet, come to other heights there.
    """
    where = f"curb return {made.name!r}"
    into, out = edge_grades(made.legs)
    listed = ", ".join(f"{word} {z:.3f} at {place}" for word, place, z in quadrant(made))
    text = (
        f"{where}: {listed or 'neither a high nor a low point'}; PC {_end(made, 0):.3f}, PT"
        f" {_end(made, -1):.3f}; the edge before it {_runs(into)}, after it {_runs(out)}"
    )
    found = [Finding("note", "corner", text, "nothing to do")]
    first, second = at_intersection(made)
    if most_m and abs(first - second) > most_m + 1e-9:
        names = [leg.street.name for leg in made.legs]
        text = (
            f"{where}: where the two curbs would meet, the grade of {names[0]} comes to"
            f" {first:.3f} and that of {names[1]} to {second:.3f}, {abs(first - second):.3f} m"
            f" apart; {most_m:g} m is allowed"
        )
        do = "ask the designer which of the two curb grades is meant"
        found.append(Finding("person", "curb grades at a corner", text, do))
    return tuple(found)


def at_intersection(made: CurbReturn) -> tuple[float, float]:
    """Height of each street's edge, its grade at the tangent point run on to the corner [m]."""
    return _run_on(made.legs[0]), _run_on(made.legs[1])


def _run_on(leg: Leg) -> float:
    ends = [point_at(leg.street.alignment, s, leg.offset) for s in (leg.tangent, leg.corner)]
    away = math.hypot(*(float(b) - float(a) for a, b in zip(ends[0][:2], ends[1][:2], strict=True)))
    return edge_height(leg) + grade_along(leg) * math.copysign(away, leg.corner - leg.tangent)


def quadrant(made: CurbReturn) -> tuple[tuple[str, str, float], ...]:
    """High and low points of a corner's edge, both ends included: word, place, height [m]."""
    profile = made.curb.profile
    into, out = edge_grades(made.legs)
    found = []
    for word, place, before, after, z in (
        ("", "PC", into, float(profile.grade_start[0]), _end(made, 0)),
        *(
            (point.kind, f"{point.station:.2f} m", 0.0, 0.0, point.elevation)
            for point in grade_line.turning_points(profile)
            if point.kind in ("high", "low")
        ),
        ("", "PT", float(profile.grade_end[-1]), out, _end(made, -1)),
    ):
        turn = word or ("low" if before < 0.0 < after else "high" if before > 0.0 > after else "")
        if turn:
            found.append((turn, place, z))
    return tuple(found)


def _end(made: CurbReturn, which: int) -> float:
    profile = made.curb.profile
    return float(grade_line.elevation(profile, float(profile.station[which])))


def _runs(grade: float) -> str:
    if abs(grade) < 5e-5:
        return "runs level"
    return f"{'rises' if grade > 0.0 else 'falls'} {100.0 * abs(grade):.2f} %"


def low_points(
    curb: Corridor, basins: tuple[Floats, Floats] | None = None, near_m: float = 2.0
) -> Findings:
    """Where the edge of a return is lowest or level, so that water stands but for a basin.

    ``basins`` are the easting and northing of everything that takes water: one within
    ``near_m`` along the curb, and across from the return's line, takes it here.
    """
    found = []
    at = locate(curb.alignment, *basins) if basins is not None else None
    for point in grade_line.turning_points(curb.profile):
        if at is not None:
            low, high = point.station - near_m, point.station_to + near_m
            here = (at.station >= low) & (at.station <= high) & (np.abs(at.offset) <= near_m)
            if here.any():
                continue
        if point.kind != "high":
            level = "lowest" if point.kind == "low" else "level"
            text = (
                f"curb return {curb.name!r}: its edge is {level} at"
                f" {point.station:.3f} m of its {curb.alignment.station[-1]:.3f} m, elevation"
                f" {point.elevation:.4f}: water stands there"
            )
            do = "set a basin there or ask the designer for other grades"
            found.append(Finding("person", "low point inside a return", text, do))
    return tuple(found)
