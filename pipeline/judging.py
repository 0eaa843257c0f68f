"""Every shot of the morning judged: where it lies, what it is, what becomes of it.

A room under the roof, for the checks are told of the design by arrays that are
made here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from pipeline.along import along_each, bends, break_lines, every_metre, half_width_m
from pipeline.checks import control, known_points, names, place, review, runs, scale
from pipeline.checks.bust import ROD_STEPS
from pipeline.checks.case import Case
from pipeline.compare.levels import layer_elevation
from pipeline.compare.streets import nearest, streets_of
from pipeline.design import alignment as line
from pipeline.design import feet as feet_of
from pipeline.design import grade_line
from pipeline.design.constants import known_constants
from pipeline.design.equations import station_text
from pipeline.errors import InputError
from pipeline.ingest.job.inputs import Inputs
from pipeline.model import (
    Bools,
    Corridor,
    Feet,
    Finding,
    Findings,
    Floats,
    Ints,
    Part,
    Shots,
    Texts,
)
from pipeline.ongrid import OnGrid

ENDS_M = 0.5
"""A design may end this far before its line without a word [assumed]."""
MOST_UNUSED = 0.25
"""Share of the ground shots that may go unused before the day stops [assumed]."""
USED_FATES = ("in the surface", "hub", "lid", "object", "control")
"""What becomes of a shot that is used; every other fate is the reason why it is not."""


@dataclass(frozen=True, slots=True, eq=False)
class Morning:
    """The shots, judged: where each lies, what it is, and what becomes of it.

    ``fate`` is ``in the surface``, ``hub``, ``lid``, ``object`` or ``control``,
    or the reason why the shot is only listed.
    """

    inputs: Inputs
    placed: OnGrid
    corridor: Corridor
    feet: Feet
    case: Case
    fate: Texts
    findings: Findings

    @property
    def shots(self) -> Shots:
        """All shots of the morning, on the job grid."""
        return self.placed.shots

    @property
    def used(self) -> Bools:
        """True where the shot is used for what its code says."""
        return np.isin(self.fate, USED_FATES)

    @property
    def things(self) -> Shots:
        """Shots of what is buried or stands there, and is no ground: lids, valves, poles."""
        return self.shots.take(np.isin(self.fate, ("lid", "object")))

    def rows(self, fate: str) -> Bools:
        """True where the shots have this fate."""
        return np.asarray(self.fate == fate, dtype=bool)


def judge(inputs: Inputs, placed: OnGrid, design: tuple[Corridor, Findings]) -> Morning:
    """Judge every shot; each ends with one fate, and every doubt is a finding.

    Raises
    ------
    InputError
        A whole file is off the job, swapped, or in another unit.
    """
    corridor, found = design
    feet = feet_of.locate(corridor.alignment, placed.shots.easting, placed.shots.northing)
    case = case_of(inputs, placed, corridor, feet)
    off, about = on_the_job(case, corridor)
    fate, more = first_fates(case, corridor, off)
    busts, doubted = suspected_busts(case, fate)
    if case.job.checks.set_bust_aside:
        fate[doubted] = "suspected bust, set aside"
    fate, rest = review.review_shots(case, fate)
    findings = (
        *found, *inputs.aside, *placed.findings, *about, *more, *busts, *rest,
        *mostly_unused(case, fate), *off_the_street(inputs, corridor), *short_design(corridor),
    )  # fmt: skip
    return Morning(inputs, placed, corridor, feet, case, fate, findings)


def reach(corridor: Corridor) -> place.Reach:
    """How far the design reaches along and across its alignment, side streets and bulbs too."""
    widest = [half_width_m(corridor)]
    along = [float(end) for end in corridor.alignment.station[[0, -1]]]
    for part in corridor.parts:
        feet = feet_of.locate(corridor.alignment, *_corners(part))
        widest.append(float(np.max(np.abs(feet.offset))))
        along += [float(feet.station.min()), float(feet.station.max())]
    return place.Reach(
        first_station=min(along),
        last_station=max(along),
        half_width_m=max(widest),
    )


def _corners(part: Part) -> tuple[Floats, Floats]:
    """Places out to which a part of the design reaches: its corners, or its edges every metre."""
    if part.corridor is None:
        easting = [surface.x + surface.origin[0] for surface in part.surfaces]
        northing = [surface.y + surface.origin[1] for surface in part.surfaces]
        return np.concatenate(easting), np.concatenate(northing)
    station = every_metre(part.corridor)
    sides = np.repeat([-1.0, 1.0], len(station)) * half_width_m(part.corridor)
    east, north, _ = line.point_at(part.corridor.alignment, np.tile(station, 2), sides)
    return east, north


def case_of(inputs: Inputs, placed: OnGrid, corridor: Corridor, feet: Feet) -> Case:
    """The morning and its design as the checks see them."""
    shots, job = placed.shots, inputs.job
    target = corridor.layer(job.target.layer)
    design = layer_elevation(
        corridor, target, feet.station, feet.offset, shots.easting, shots.northing
    )
    # where several streets meet the height over one's profile says nothing of the others
    on_line = grade_line.elevation(corridor.profile, feet.station)
    case = Case(
        job=job,
        day=inputs.day,
        shots=shots,
        feet=feet,
        base=names.base_codes(shots, job.codes),
        by_hand=placed.by_hand,
        satellite=placed.satellite,
        height=shots.elevation - (design if corridor.parts else on_line),
        design=design,
        breaks=break_lines(corridor),
        bends=bends(corridor),
        mixed_up=known_constants(corridor),
        control=inputs.control,
        utilities=inputs.utilities,
        yesterday=inputs.yesterday,
        called=partial(station_text, corridor.alignment),
    )
    return along_each(case, corridor)


def on_the_job(case: Case, corridor: Corridor) -> tuple[Bools, Findings]:
    """Which shots are off the job, and what a file that is off altogether looks like."""
    shots, limit = case.shots, case.job.checks.off_job_m
    extent = reach(corridor)
    station = np.append(
        np.arange(extent.first_station, extent.last_station, 10.0), extent.last_station
    )
    east, north, _ = line.point_at(corridor.alignment, station, 0.0)
    if case.control is not None:
        _check_control_file(case, scale.box_around(east, north, limit + extent.half_width_m))
        east = np.append(east, case.control.easting)
        north = np.append(north, case.control.northing)
    box = scale.box_around(east, north, limit + extent.half_width_m)
    scale.refuse_slipped_files(shots, box)
    swapped = feet_of.locate(corridor.alignment, shots.northing, shots.easting)
    off, found = place.off_job(shots, case.feet, swapped, extent, limit)
    return off, (*found, *scale.slipped_shots(shots, off, box))


def _check_control_file(case: Case, street: scale.Box) -> None:
    """Refuse a control file with its columns exchanged or in feet, before anything leans on it."""
    shots, codes = case.shots, case.job.codes
    checked = shots.take(names.kind_rows(case.base, codes, "control"))
    above = np.where(names.ground_rows(case.base, codes), case.height, np.nan)
    if case.control is not None and street.holds(shots.easting, shots.northing).mean() > 0.5:
        known_points.refuse_slipped_control(checked, case.control, street, above, case.job.control)


def first_fates(case: Case, corridor: Corridor, off: Bools) -> tuple[Texts, Findings]:
    """What the codes say, less what is off the job or far off the design."""
    job, shots = case.job, case.shots
    ground = names.ground_rows(case.base, job.codes)
    level = np.where(ground & ~off, case.design, np.nan)
    far, found = place.off_design(shots, case.feet, level, job.checks.off_design_m)
    fate = np.full(len(shots), "unknown code", dtype=object)
    fate[case.base != ""] = "not ground by its code"
    for kind in ("hub", "lid", "object", "control"):
        fate[names.kind_rows(case.base, job.codes, kind)] = kind
    fate[ground] = review.GROUND
    hubs, about = hubs_off(case, corridor, (fate == "hub") & ~off)
    fate[far | hubs] = "far off the design"
    fate[off] = "off the job"
    found += about
    found += names.unknown_codes(shots, case.base, job.codes)
    found += names.repeated_ids(shots, job.surface.same_place_m)
    checked = shots.take(fate == "control")
    if case.control is not None:
        found += control.control_shots(checked, case.control, job.checks)
    elif len(checked):
        text = f"{len(checked)} control shots, and the job names no control: nothing is checked"
        found += (Finding("person", "control not checked", text, "name it as control = ..."),)
    return fate, found


def hubs_off(case: Case, corridor: Corridor, hubs: Bools) -> tuple[Bools, Findings]:
    """Hubs that stand far above or below the profile of their street: feet, a slip, another job.

    A number from such a hub would be cut or filled by metres, so it gets none; when
    half of a file's hubs are off, nothing is marked before somebody has looked.
    """
    shots, limit = case.shots, case.job.checks.hub_off_m
    level = _profile_beside(case, corridor)
    off, found = place.off_design(shots, case.feet, np.where(hubs, level, np.nan), limit)
    for number, name in enumerate(shots.files):
        here = hubs & (shots.file == number)
        if here.sum() > 2 and (off & here).sum() > here.sum() / 2:
            text = f"{int((off & here).sum())} of {int(here.sum())} hubs stand over {limit:g} m off"
            do = "check the unit, the bench mark and the street that the file is of"
            found += (Finding("stop", "hubs off the design", text, do, file=name),)
    return off, found


def _profile_beside(case: Case, corridor: Corridor) -> Floats:
    """Height of the profile at every shot; of several streets that whose curb is nearest."""
    streets, number = streets_of(corridor), np.zeros(len(case.shots), dtype=np.int64)
    feet: tuple[Feet, ...] = (case.feet,)
    if corridor.parts:
        grid = case.shots.easting, case.shots.northing
        number, feet = nearest(streets, case.job.stakes.reference, grid)
    level = np.full(len(case.shots), np.nan)
    for k, (street, at) in enumerate(zip(streets, feet, strict=False)):
        heights, rows = street.corridor.profile, number == k
        station = np.clip(at.station[rows], heights.station[0], heights.station[-1])
        level[rows] = grade_line.elevation(heights, station)
    return level


def short_design(corridor: Corridor) -> Findings:
    """Profile and sections that cover less than the line, or another stretch of it."""
    line_from, line_to = corridor.alignment.station[0], corridor.alignment.station[-1]
    called = partial(station_text, corridor.alignment)
    reaches = [("the profile", corridor.profile.station)]
    reaches += [(f"sections of {x.name}", x.station) for x in corridor.layers if len(x.station)]
    found = []
    for what, station in reaches:
        first, last = float(station[0]), float(station[-1])
        if first > line_from + ENDS_M or last < line_to - ENDS_M:
            text = (
                f"{what} reach from {called(first)} to {called(last)},"
                f" the line from {called(line_from)} to {called(line_to)};"
                " nothing is designed on the rest, and nothing is marked there"
            )
            found.append(Finding("person", "design shorter than its line", text, "complete it"))
    return tuple(found)


def mostly_unused(case: Case, fate: Texts) -> Findings:
    """A stop where more than a quarter of the ground shots is not used."""
    ground = names.ground_rows(case.base, case.job.codes)
    unused = ground & (fate != review.GROUND)
    if ground.sum() < 20 or unused.sum() <= MOST_UNUSED * ground.sum():
        return ()
    text = f"{int(unused.sum())} of {int(ground.sum())} ground shots are not used"
    do = "check the profile, the direction and the start station of the line, and the files"
    return (Finding("stop", "most of the ground not used", text, do),)


def things_off(inputs: Inputs, corridor: Corridor) -> Bools:
    """True where a recorded thing lies off the job, (n,); none where nothing is recorded."""
    listed = inputs.utilities
    if listed is None:
        return np.zeros(0, dtype=bool)
    at = feet_of.locate(corridor.alignment, listed.easting, listed.northing)
    return place.distance_outside(at, reach(corridor)) > inputs.job.checks.off_job_m


def off_the_street(inputs: Inputs, corridor: Corridor) -> Findings:
    """Recorded things that lie off the job, each named.

    Raises
    ------
    InputError
        Most of the list lies on the job only with northing and easting exchanged.
    """
    listed = inputs.utilities
    if listed is None or not len(listed):
        return ()
    off = things_off(inputs, corridor)
    swapped = feet_of.locate(corridor.alignment, listed.northing, listed.easting)
    limit = inputs.job.checks.off_job_m
    mirrored = off & (place.distance_outside(swapped, reach(corridor)) <= limit)
    if mirrored.sum() > len(listed) / 2:
        raise InputError(
            inputs.job.utilities,
            "its things lie on the job only with northing and easting exchanged",
            "write its two columns the other way round",
        )
    return tuple(
        Finding(
            "person", "recorded thing off the job",
            f"{listed.kind[k]} {listed.id[k]} is recorded far off the street",
            "check its coordinates; it is not on the map", points=(str(listed.id[k]),),
            file=inputs.job.utilities,
        )
        for k in np.flatnonzero(off)
    )  # fmt: skip


def suspected_busts(case: Case, fate: Texts) -> tuple[Findings, Ints]:
    """Runs of ground shots that stand off their neighbours, and the rows of those shots."""
    shots, rules = case.shots, case.job.checks
    usable = case.by_hand & (fate == review.GROUND) & ~np.isnan(case.height)
    station, offset = case.feet.station.copy(), case.feet.offset.copy()
    for number, part in enumerate(case.parts):
        # each along its own line, and so far apart that none is another part's neighbour
        station[part.mine] = part.feet.station[part.mine] + number * 1e5
        offset[part.mine] = part.feet.offset[part.mine]
    profiled = runs.Profiled(np.nan_to_num(case.height), station, offset, shots.code)
    found = runs.find_runs(shots, usable, profiled, rules.bust_m)
    rows = np.array([row for run in found for row in run.rows], dtype=np.int64)
    constants = {**ROD_STEPS, **case.mixed_up}
    aside = rules.set_bust_aside
    return runs.findings(
        shots, case.feet, found, constants, set_aside=aside, called=case.called
    ), rows
