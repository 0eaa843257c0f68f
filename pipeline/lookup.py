"""Design and ground at one place of a job: what ``lath at`` asks.

A road beside the day's: it goes as far as the ground, and needs no shots at all where the
height is given.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Literal

from pipeline.compare import places
from pipeline.compare.places import Place
from pipeline.design import equations
from pipeline.ingest.job.inputs import read_before_shots, read_inputs
from pipeline.judging import judge
from pipeline.model import Corridor, Surface
from pipeline.ongrid import on_grid
from pipeline.run import build_corridor, build_ground


def place_on_line(
    folder: Path, day: str | None, along: tuple[str, float], elevation: float | None
) -> Place:
    """Design and ground at (station, offset); `elevation`, if given, stands for the ground."""
    corridor, ground, held, unit = _design_and_ground(folder, day, elevation)
    chain = equations.chain_of(corridor.alignment, along[0])
    place = places.at_station(corridor, ground, chain, along[1])
    return replace(places.with_ground(place, elevation), held=held, marks_unit=unit)


def place_on_grid(
    folder: Path, day: str | None, grid: tuple[float, float], elevation: float | None
) -> Place:
    """Design and ground at (easting, northing); `elevation`, if given, stands for the ground."""
    corridor, ground, held, unit = _design_and_ground(folder, day, elevation)
    place = places.at_grid(corridor, ground, *grid)
    return replace(places.with_ground(place, elevation), held=held, marks_unit=unit)


def _design_and_ground(
    folder: Path, day: str | None, elevation: float | None
) -> tuple[Corridor, Surface | None, bool, Literal["m", "ft"]]:
    """The corridor, today's ground unless an elevation is given, a stop, and the marks' unit."""
    if elevation is not None and day is None:
        # the design answers alone, so it can be asked before anybody has shot
        early = read_before_shots(folder)
        return build_corridor(early)[0], None, False, early.job.rounding.marks_unit
    inputs = read_inputs(folder, day)
    corridor, found = build_corridor(inputs)
    unit = inputs.job.rounding.marks_unit
    if elevation is not None:
        return corridor, None, False, unit
    morning, ground = build_ground(judge(inputs, on_grid(inputs), (corridor, found)))
    held = any(finding.severity == "stop" for finding in morning.findings)
    return corridor, ground, held, unit
