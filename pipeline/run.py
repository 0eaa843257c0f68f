"""The day, from the morning's shots to the package, as one road downhill.

This is the only place where the stages meet. Read `run_day` first: it is the
job's paragraph in code.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from pipeline.checks import control, names, place, runs
from pipeline.checks.bust import ROD_STEPS
from pipeline.compare import differences, overlay, places, quantities
from pipeline.compare.levels import layer_elevation
from pipeline.compare.places import Place
from pipeline.crew import cutsheet, dots, stakes
from pipeline.design import alignment as line
from pipeline.design import feet as feet_of
from pipeline.design import profile, section, strips
from pipeline.design.constants import known_constants
from pipeline.errors import InputError
from pipeline.ingest.inputs import Inputs, read_inputs
from pipeline.model import (
    Bools,
    Corridor,
    Differences,
    Feet,
    Findings,
    Ints,
    Layer,
    Linework,
    Mesh,
    Overlay,
    Quantity,
    Shots,
    Stakes,
    Surface,
    Texts,
    join_lines,
)
from pipeline.ongrid import OnGrid, on_grid
from pipeline.settings import Job
from pipeline.surface import lines as drawn
from pipeline.surface import tin

Progress = Callable[[str], None]

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

    def rows(self, fate: str) -> Bools:
        """True where the shots have this fate."""
        return np.asarray(self.fate == fate, dtype=bool)


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """What a day's run found out, ready to be delivered."""

    morning: Morning
    ground: Surface
    design: Surface
    difference: Overlay
    at_shots: Differences
    quantities: tuple[Quantity, ...]
    stakes: Stakes
    sheet: cutsheet.CutSheet
    dots: Stakes
    findings: Findings

    @property
    def held(self) -> bool:
        """True where a finding stops the day until a person has settled it."""
        return any(finding.severity == "stop" for finding in self.findings)


@dataclass(slots=True)
class Stopwatch:
    """Seconds of each stage, and a word to the terminal as each begins."""

    tell: Progress = lambda _: None
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time one stage."""
        self.tell(name)
        begun = time.perf_counter()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - begun


def run_day(folder: Path, day: str | None, watch: Stopwatch) -> Day:
    """Shots -> checks -> surface -> design -> compare -> what the crew carries.

    Nothing is written here; `pipeline.package.deliver` does that, all or nothing.

    Parameters
    ----------
    folder : Path
        The job folder.
    day : str or None
        The day's folder of shots; None: the latest.
    watch : Stopwatch

    Raises
    ------
    LathError
        An input or the design cannot be used.
    """
    with watch.stage("read"):
        inputs = read_inputs(folder, day)
    with watch.stage("grid"):
        placed = on_grid(inputs)
    with watch.stage("design"):
        corridor, found = build_corridor(inputs)
    with watch.stage("checks"):
        morning = check_morning(inputs, placed, (corridor, found))
    with watch.stage("surface"):
        morning, ground = build_ground(morning)
    with watch.stage("compare"):
        design, difference, volumes = compare_layers(morning, ground)
        at_shots = compare_shots(morning)
    with watch.stage("crew"):
        return crew_rows(morning, ground, (design, difference, volumes, at_shots))


def build_corridor(inputs: Inputs) -> tuple[Corridor, Findings]:
    """Alignment, profile and layers of the job, from the top down."""
    files, rules = inputs.design, inputs.job.layers
    alignment, found = line.build(files.alignment)
    heights, more = profile.build(files.profile)
    from_sections = (
        {layer.name: layer for layer in section.layers(files.sections, rules)}
        if files.sections is not None
        else {}
    )
    layers = []
    for rule in rules:
        if rule.name in files.meshes:
            surface, about = tin.from_mesh(files.meshes[rule.name])
            more += about
            layers.append(Layer(name=rule.name, title=rule.title or rule.name, surface=surface))
        else:
            layers.append(from_sections[rule.name])
    corridor = Corridor(
        name=alignment.name, alignment=alignment, profile=heights, layers=tuple(layers)
    )
    return corridor, (*files.findings, *found, *more)


def reach(corridor: Corridor) -> place.Reach:
    """How far the design reaches along and across its alignment."""
    widest = [np.nanmax(np.abs(layer.offset)) for layer in corridor.layers if layer.offset.size]
    return place.Reach(
        first_station=float(corridor.alignment.station[0]),
        last_station=float(corridor.alignment.station[-1]),
        half_width_m=float(max(widest, default=0.0)),
    )


def check_morning(inputs: Inputs, placed: OnGrid, design: tuple[Corridor, Findings]) -> Morning:
    """Judge every shot; each ends with one fate, and every doubt is a finding."""
    job, shots = inputs.job, placed.shots
    corridor, found = design
    findings = [*found, *placed.findings]
    base = names.base_codes(shots, job.codes)
    feet = feet_of.locate(corridor.alignment, shots.easting, shots.northing)
    swapped = feet_of.locate(corridor.alignment, shots.northing, shots.easting)
    off, about = place.off_job(shots, feet, swapped, reach(corridor), job.checks.off_job_m)
    findings += about
    findings += names.unknown_codes(shots, base, job.codes)
    findings += names.repeated_ids(shots, job.surface.same_place_m)
    target = corridor.layer(job.target.layer)
    level = layer_elevation(
        corridor, target, feet.station, feet.offset, shots.easting, shots.northing
    )
    is_ground = names.ground_rows(base, job.codes)
    far, about = place.off_design(
        shots, feet, np.where(is_ground & ~off, level, np.nan), job.checks.off_design_m
    )
    findings += about
    fate = np.full(len(shots), "unknown code", dtype=object)
    for kind in ("hub", "lid", "object", "control"):
        fate[names.kind_rows(base, job.codes, kind)] = kind
    fate[is_ground] = "in the surface"
    fate[far] = "far off the design"
    fate[off] = "off the job"
    usable = placed.by_hand & (fate == "in the surface")
    about, doubted = suspected_busts(job, shots, feet, (corridor, usable))
    findings += about
    if job.checks.set_bust_aside:
        fate[doubted] = "suspected bust, set aside"
    if inputs.control is not None:
        findings += control.control_shots(shots.take(fate == "control"), inputs.control, job.checks)
    return Morning(inputs, placed, corridor, feet, fate, tuple(findings))


def suspected_busts(
    job: Job, shots: Shots, feet: Feet, against: tuple[Corridor, Bools]
) -> tuple[Findings, Ints]:
    """Runs of ground shots that stand off their neighbours, and the rows of those shots."""
    corridor, usable = against
    heights = shots.elevation - profile.elevation(corridor.profile, feet.station)
    usable = usable & ~np.isnan(heights)
    profiled = runs.Profiled(np.nan_to_num(heights), feet.station, feet.offset, shots.code)
    found = runs.find_runs(shots, usable, profiled, job.checks.bust_m)
    rows = np.array([row for run in found for row in run.rows], dtype=np.int64)
    constants = {**ROD_STEPS, **known_constants(corridor)}
    aside = job.checks.set_bust_aside
    return runs.findings(shots, feet, found, constants, set_aside=aside), rows


def build_ground(morning: Morning) -> tuple[Morning, Surface]:
    """The ground surface, and the morning with the shots that it did not use named."""
    kept = _kept_mesh(morning)
    if kept is not None:
        surface, about = tin.from_mesh(kept)
        return replace(morning, findings=(*morning.findings, *about)), surface
    job = morning.inputs.job
    rows = np.flatnonzero(morning.rows("in the surface"))
    ground = morning.shots.take(rows)
    coded, about = drawn.breaklines(ground, job.codes)
    from_files = [_own_points(reading.lines) for reading in morning.placed.readings]
    surface, more = tin.build(ground, join_lines([coded, *from_files]), job.surface)
    fate = morning.fate.copy()
    unused = np.setdiff1d(np.arange(len(rows)), surface.point)
    fate[rows[unused]] = "same place as another shot"
    return replace(morning, fate=fate, findings=(*morning.findings, *about, *more)), surface


def _kept_mesh(morning: Morning) -> Mesh | None:
    """The one mesh whose own faces are the ground, if the job keeps one."""
    pairs = zip(morning.placed.readings, morning.placed.keeps_faces, strict=True)
    meshes = [mesh for reading, keep in pairs if keep for mesh in reading.meshes]
    if len(meshes) > 1:
        raise InputError(
            "the day's files",
            f"{len(meshes)} surfaces with faces to keep: {', '.join(m.name for m in meshes)}",
            "name one with surface, or state faces = 'rebuild'",
        )
    return meshes[0] if meshes else None


def _own_points(lines: Linework) -> Linework:
    """Lines of a file, which bring vertices of their own."""
    return replace(lines, point=np.full(len(lines.point), -1))


def compare_layers(
    morning: Morning, ground: Surface
) -> tuple[Surface, Overlay, tuple[Quantity, ...]]:
    """Cut and fill of every layer; design surface and difference of today's layer."""
    job, corridor = morning.inputs.job, morning.corridor
    volumes = []
    compared: dict[str, tuple[Surface, Overlay]] = {}
    for layer in corridor.layers:
        design = layer.surface or strips.triangulate(corridor, layer.name, job.design)
        difference = overlay.overlay(ground, design)
        volumes.append(quantities.quantity(layer.name, difference, tin.area(design)))
        compared[layer.name] = design, difference
    return (*compared[job.target.layer], tuple(volumes))


def compare_shots(morning: Morning) -> Differences:
    """Cut or fill of every ground shot against today's layer; NaN for what is no ground."""
    shots, feet, corridor = morning.shots, morning.feet, morning.corridor
    target = corridor.layer(morning.inputs.job.target.layer)
    ground = np.where(morning.rows("in the surface"), shots.elevation, np.nan)
    design = layer_elevation(
        corridor, target, feet.station, feet.offset, shots.easting, shots.northing
    )
    return differences.at_points(target.name, shots.easting, shots.northing, feet, ground, design)


def crew_rows(
    morning: Morning,
    ground: Surface,
    compared: tuple[Surface, Overlay, tuple[Quantity, ...], Differences],
) -> Day:
    """Stakes to set, hubs as shot, numbers to paint."""
    job, corridor = morning.inputs.job, morning.corridor
    design, difference, volumes, at_shots = compared
    hubs = np.flatnonzero(morning.rows("hub"))
    feet = morning.feet
    hub_feet = Feet(feet.station[hubs], feet.offset[hubs], feet.feet[hubs], feet.beyond[hubs])
    spots = stakes.interval_stations(corridor, job.stakes)
    return Day(
        morning=morning,
        ground=ground,
        design=design,
        difference=difference,
        at_shots=at_shots,
        quantities=volumes,
        stakes=stakes.points_to_set(corridor, job.stakes),
        sheet=cutsheet.cut_sheet(corridor, morning.shots.take(hubs), hub_feet, job.stakes),
        dots=dots.grade_dots(corridor, ground, spots, job.target, job.rounding),
        findings=_sorted(morning.findings),
    )


def _sorted(findings: Findings) -> Findings:
    """Stops first, then what a person has to look at, then notes; else in the order found."""
    rank = {"stop": 0, "person": 1, "note": 2}
    return tuple(sorted(findings, key=lambda finding: rank[finding.severity]))


def place_on_line(
    folder: Path, day: str | None, along: tuple[float, float], elevation: float | None
) -> Place:
    """Design and ground at (station, offset); `elevation`, if given, stands for the ground."""
    corridor, ground = _design_and_ground(folder, day, elevation)
    return places.with_ground(places.at_station(corridor, ground, *along), elevation)


def place_on_grid(
    folder: Path, day: str | None, grid: tuple[float, float], elevation: float | None
) -> Place:
    """Design and ground at (easting, northing); `elevation`, if given, stands for the ground."""
    corridor, ground = _design_and_ground(folder, day, elevation)
    return places.with_ground(places.at_grid(corridor, ground, *grid), elevation)


def _design_and_ground(
    folder: Path, day: str | None, elevation: float | None
) -> tuple[Corridor, Surface | None]:
    """The corridor, and today's ground unless an elevation is given in its stead."""
    inputs = read_inputs(folder, day)
    corridor, found = build_corridor(inputs)
    if elevation is not None:
        return corridor, None
    morning = check_morning(inputs, on_grid(inputs), (corridor, found))
    _, ground = build_ground(morning)
    return corridor, ground
