"""The survey part of LandXML 1.0 to 2.0: set-ups, backsights, raw observations, points.

Elements are known by local name, whatever the namespace. Coordinates stand as
northing, easting, elevation. Reduced observations are counted and not read: they
have lost the heights of instrument and target.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

from pipeline.errors import InputError
from pipeline.ingest.field.angles import parse_packed
from pipeline.ingest.field.observations import REACH
from pipeline.ingest.landxml.survey import Point, Sight, Survey, read_survey
from pipeline.model import (
    FieldNotes,
    Finding,
    Findings,
    Observations,
    Shots,
    make_observations,
    make_shots,
    texts,
)
from pipeline.units import Unit, metres_per

_DOUBLE = re.compile(r"[+-]?(?:\d{1,20}\.?\d{0,30}|\.\d{1,30})(?:[eE][+-]?\d{1,2})?", re.ASCII)
FARTHEST = 1e9
"""No grid has a larger coordinate, in any unit."""
_LINEAR = {
    "meter": 1.0,
    "metre": 1.0,
    "centimeter": 0.01,
    "millimeter": 0.001,
    "foot": metres_per("ft"),
    "ussurveyfoot": metres_per("ftUS"),
}


def _double(text: str) -> float:
    cell = text.strip()
    if not _DOUBLE.fullmatch(cell):
        raise ValueError(f"{cell[:40]!r} is not a plain number")
    return float(cell)


_ANGULAR: dict[str, Callable[[str], float]] = {
    "radians": _double,
    "grads": lambda text: _double(text) * math.pi / 200.0,
    "decimal degrees": lambda text: math.radians(_double(text)),
    "decimal dd.mm.ss": parse_packed,
}


def _scale(survey: Survey, unit: Unit | None) -> float:
    stated = survey.linear.lower()
    if not stated and unit is None:
        raise InputError(survey.file, "states no linear unit", "declare the unit in the job file")
    if stated and stated not in _LINEAR:
        do = f"export it in one of {', '.join(sorted(_LINEAR))}"
        raise InputError(survey.file, f'states the linear unit "{survey.linear}"', do)
    if stated and unit is not None and not math.isclose(_LINEAR[stated], metres_per(unit)):
        found = f'states "{survey.linear}", the job says "{unit}"'
        raise InputError(survey.file, found, "correct the job file, or take the unit out of it")
    return _LINEAR[stated] if stated else metres_per(unit or "m")


def _bad(faults: list[Finding], survey: Survey, line: int, found: str, do: str) -> None:
    text = f"{survey.file} line {line}: {found}"
    faults.append(Finding("person", "unreadable row", text, do, file=survey.file, line=line))


def _shots(survey: Survey, scale: float, faults: list[Finding], *, control: bool) -> Shots:
    rows: list[tuple[float, float, float]] = []
    kept: list[Point] = []
    for point in survey.points:
        if (point.kind == "control") != control:
            continue
        try:
            numbers = [_double(cell) for cell in point.text.split()]
        except ValueError as why:
            _bad(faults, survey, point.line, f"point {point.name}: {why}", "correct the point")
            continue
        if len(numbers) != 3 or not point.name or max(map(abs, numbers)) > FARTHEST:
            found = f'point "{point.name}" with {len(numbers)} coordinates'
            _bad(
                faults, survey, point.line, found, "give it a name, northing, easting and elevation"
            )
            continue
        northing, easting, elevation = numbers
        rows.append((easting * scale, northing * scale, elevation * scale))
        kept.append(point)
    columns = list(zip(*rows, strict=True)) or [(), (), ()]
    return make_shots(
        *columns,
        id=texts(point.name for point in kept),
        code=texts(point.code for point in kept),
        line=[point.line for point in kept],
        files=(survey.file,),
    )


def _value(sight: Sight, name: str, read: Callable[[str], float], scale: float = 1.0) -> float:
    text = sight.attributes.get(name, "")
    try:
        return read(text) * scale if text.strip() else math.nan
    except ValueError as why:
        raise ValueError(f"{name}: {why}") from None


def _row(
    survey: Survey, sight: Sight, scale: float, angle: Callable[[str], float]
) -> tuple[float, ...]:
    """horizontal, zenith, distance, instrument and target height; ValueError says what is wrong."""
    if sight.setup not in survey.setups:
        raise ValueError(f'no InstrumentSetup with the id "{sight.setup}"')
    if not sight.target:
        raise ValueError("names no target point")
    horizontal = _value(sight, "horizAngle", angle)
    zenith = _value(sight, "zenithAngle", angle)
    distance = _value(sight, "slopeDistance", _double, scale)
    target = _value(sight, "targetHeight", _double, scale)
    text = survey.setups[sight.setup][1]
    instrument = _double(text) * scale if text.strip() else math.nan
    if math.isnan(horizontal):
        raise ValueError("no horizontal angle")
    if not math.isnan(distance) and math.isnan(zenith + target + instrument):
        raise ValueError("a distance without zenith angle, target height or instrument height")
    if distance <= 0 or abs(math.sin(zenith)) < 1e-3:
        raise ValueError("a distance that is not positive, or a zenith angle straight up or down")
    sizes = {"slope_distance": distance, "instrument_height": instrument, "target_height": target}
    for name, size in sizes.items():
        if abs(size) > REACH[name]:
            raise ValueError(f"{name.replace('_', ' ')} {size:g} m, beyond {REACH[name]:g}")
    return horizontal, zenith % (2 * math.pi), distance, instrument, target


def _observations(survey: Survey, scale: float, faults: list[Finding]) -> Observations:
    angle = _ANGULAR.get(survey.angular.lower())
    if survey.sights and angle is None:
        do = f"export it in one of {', '.join(sorted(_ANGULAR))}"
        raise InputError(survey.file, f'states the angular unit "{survey.angular}"', do)
    rows: list[tuple[float, ...]] = []
    kept: list[Sight] = []
    for sight in survey.sights:
        try:
            rows.append(_row(survey, sight, scale, angle or _double))
        except ValueError as why:
            found = f'{sight.setup} to "{sight.target}": {why}'
            _bad(faults, survey, sight.line, found, "correct the observation")
            continue
        kept.append(sight)
    names = ("horizontal", "zenith", "slope_distance", "instrument_height", "target_height")
    columns = list(zip(*rows, strict=True)) or [()] * len(names)
    faces = [_face(sight, row[1]) for sight, row in zip(kept, rows, strict=True)]
    return make_observations(
        texts(sight.target for sight in kept),
        setup=texts(sight.setup for sight in kept),
        occupied=texts(survey.setups[sight.setup][0] for sight in kept),
        role=texts(sight.role for sight in kept),
        face=texts(faces),
        time=texts(sight.attributes.get("timeStamp", "") for sight in kept),
        line=[sight.line for sight in kept],
        files=(survey.file,),
        **dict(zip(names, columns, strict=True)),
    )


def _face(sight: Sight, zenith: float) -> str:
    stated = {"true": "left", "1": "left", "false": "right", "0": "right"}
    if math.isnan(zenith):
        return stated.get(sight.attributes.get("directFace", ""), "")
    # over 180 degrees the telescope is turned over: that is what face right means
    return "right" if zenith > math.pi else "left"


def _notes(survey: Survey, observations: Observations) -> Findings:
    notes: list[Finding] = []
    if survey.reduced:
        text = f"{survey.file}: {survey.reduced} reduced observations are not read"
        do = "export the raw observations"
        notes.append(Finding("note", "not read", text, do, file=survey.file))
    if len(observations):
        text = f"{survey.file}: distances taken as corrected for prism and atmosphere"
        do = "state the correction if the instrument did not apply it"
        notes.append(Finding("note", "distance correction", text, do, file=survey.file))
    return tuple(notes)


def read_landxml_observations(path: Path, *, unit: Unit | None = None) -> FieldNotes:
    """Sightings and points of a LandXML survey, in metres and radians.

    Parameters
    ----------
    path : Path
        LandXML of any version and namespace.
    unit : {"m", "ft", "ftUS"}, optional
        For a file that states no linear unit. A contradiction is refused.

    Returns
    -------
    FieldNotes
        ``observations`` in file order, each group led by its backsight reading
        where the file states the circle; ``control`` are the points marked so,
        ``points`` all others. A sighting of the backsight point is a check.

    Raises
    ------
    InputError
        Not well-formed, a document type declaration, a unit that is missing,
        unknown or contradicted, or a file without points and observations.

    Notes
    -----
    Measured on an open LandXML 1.1 file of 2 931 distances (tests/data/survey).
    """
    survey = read_survey(path)
    scale = _scale(survey, unit)
    faults: list[Finding] = []
    control, points = (_shots(survey, scale, faults, control=known) for known in (True, False))
    observations = _observations(survey, scale, faults)
    if not len(observations) + len(control) + len(points):
        raise InputError(survey.file, "holds no survey", "export points and observations")
    return FieldNotes(
        file=survey.file,
        format="LandXML",
        version=survey.version,
        unit=survey.linear or str(unit),
        observations=observations,
        control=control,
        points=points,
        findings=(*faults, *_notes(survey, observations)),
        refused=len(faults),
    )
