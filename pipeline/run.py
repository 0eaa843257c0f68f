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

from pipeline import assemble
from pipeline.along import facets_of
from pipeline.checks import review
from pipeline.compare import chords, compose, differences, overlay, quantities
from pipeline.compare import map as difference_map
from pipeline.compare.days import DayChange, Shift
from pipeline.compare.layer_sums import LayerSums, layer_sums
from pipeline.compare.levels import layer_elevation
from pipeline.compare.progress import Progress
from pipeline.compare.streets import streets_of
from pipeline.crew import dots
from pipeline.crew.earth import Earthworks
from pipeline.crew.edge.line import edges_by_street
from pipeline.crew.gaps import without_guesses
from pipeline.crew.hubs import cutsheet, street_layout
from pipeline.crew.measures import measures
from pipeline.crew.plan.inputs import band_limits
from pipeline.crew.work import CrewWork
from pipeline.design import strips
from pipeline.errors import DesignError, InputError, SurfaceError
from pipeline.ingest.job.inputs import Inputs, read_inputs
from pipeline.judging import Morning, judge
from pipeline.kept.calls import keep
from pipeline.model import (
    NO_LINES,
    Band,
    Corridor,
    Differences,
    Finding,
    Findings,
    Layer,
    Linework,
    Mesh,
    Overlay,
    Quantity,
    Region,
    Stakes,
    Surface,
    Texts,
    join_lines,
    make_shots,
)
from pipeline.model.telling import counted
from pipeline.ongrid import on_grid
from pipeline.settings import DesignRules, SurfaceRules
from pipeline.surface import lines as drawn
from pipeline.surface import locate, tin
from pipeline.surface.thin import thin

Tell = Callable[[str], None]


SAME_PLACE = "same place as another shot"
TWICE = frozenset({"shot twice", "same place"})
"""Findings of the surface on shots of which it uses one."""
DRAWN_PIECES = 150_000
"""A map of more pieces than this is drawn from a thinned ground."""
DRAWN_CELL_M = 0.5
"""One shot in each cell of this side is kept for the map then, 1 mm on paper at 1:500."""


@dataclass(frozen=True, slots=True, eq=False)
class Shading:
    """Bands of cut and fill of the drawn ground, and design that nobody shot."""

    bands: tuple[Band, ...]
    unshot: tuple[Region, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Ground against the design, by the layer's name.

    Differences are large: only those of today's layer and of the stabilised one are here.
    """

    designs: dict[str, Surface]
    differences: dict[str, Overlay]
    sums: dict[str, LayerSums]
    quantities: tuple[Quantity, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """What a day's run found out, ready to be delivered."""

    morning: Morning
    ground: Surface
    compared: Compared
    drawn: Overlay
    at_shots: Differences
    stakes: Stakes
    sheet: cutsheet.CutSheet
    dots: Stakes
    findings: Findings
    work: CrewWork | None = None
    """What the crew carries besides, once it has been worked out."""
    earth: Earthworks | None = None
    """Volumes by stretch, haul and the height to leave the clay at, once worked out."""
    before: Day | None = None
    """The morning before this one, once it has been run for comparing."""
    since: tuple[Shift, DayChange] | None = None
    """What moved since then: the datum's shift, and what else."""
    trend: tuple[Progress, ...] = ()
    """Progress of every layer since the history's first day."""
    shading: Shading | None = None
    """What map and page shade, once it has been worked out."""

    @property
    def design(self) -> Surface:
        """Today's layer in triangles."""
        return self.compared.designs[self.morning.inputs.job.target.layer]

    @property
    def difference(self) -> Overlay:
        """Ground against today's layer."""
        return self.compared.differences[self.morning.inputs.job.target.layer]

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Cut and fill of every layer."""
        return self.compared.quantities

    @property
    def quantity(self) -> Quantity:
        """Cut and fill of today's layer."""
        today = self.morning.inputs.job.target.layer
        return next(row for row in self.quantities if row.layer == today)

    @property
    def held(self) -> bool:
        """True where a finding stops the day until a person has settled it."""
        return any(finding.severity == "stop" for finding in self.findings)

    @property
    def withheld(self) -> bool:
        """True where the job withholds the lists until then."""
        return self.held and self.morning.inputs.job.target.withhold


@dataclass(slots=True)
class Stopwatch:
    """Seconds of each stage, and a word to the terminal as each begins."""

    tell: Tell = lambda _: None
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time one stage."""
        self.tell(name)
        begun = time.perf_counter()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - begun


def run_day(folder: Path, day: str | None, watch: Stopwatch) -> Day:
    """Shots read and put on the grid, checked beside the design, ground, cut and fill, lists.

    Nothing is written here; `pipeline.publish.deliver` does that, all or nothing.

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
        morning = judge(inputs, placed, (corridor, found))
    with watch.stage("surface"):
        morning, ground = build_ground(morning)
    with watch.stage("compare"):
        compared = compare_layers(morning, ground)
        at_shots = compare_shots(morning)
    with watch.stage("crew"):
        return crew_rows(morning, ground, compared, at_shots)


def build_corridor(inputs: Inputs) -> tuple[Corridor, Findings]:
    """The whole design of the job, and what of it a person should see before dirt moves."""
    corridor, found = keep(assemble.design, inputs.design, inputs.job, inputs.utilities)
    return corridor, (*found, *keep(assemble.checked, corridor, inputs.job, inputs.utilities))


def build_ground(morning: Morning) -> tuple[Morning, Surface]:
    """The ground surface, and the morning with the shots that it did not use named."""
    kept = _kept_mesh(morning)
    if kept is not None:
        surface, about = tin.from_mesh(kept)
        beside, fate = _beside_kept(morning)
        findings = (*morning.findings, *about, *beside)
        return replace(morning, fate=fate, findings=findings), surface
    job = morning.inputs.job
    rows = np.flatnonzero(morning.rows("in the surface"))
    if not len(rows):
        _refuse_no_ground(morning)
    ground = morning.shots.take(rows)
    coded, about = drawn.breaklines(ground, job.codes)
    missing, doubts = review.review_coverage(morning.case, morning.fate, coded)
    from_files = [_own_points(reading.lines) for reading in morning.placed.readings]
    # the points of a scan were thinned already: two neighbours are not one shot taken twice
    crew = bool(morning.placed.by_hand[rows].any())
    rules = job.surface if crew else replace(job.surface, same_place_m=0.0)
    surface, more = keep(tin.build, ground, join_lines([coded, *from_files]), rules)
    fate = morning.fate.copy()
    used = np.zeros(len(rows), dtype=bool)
    used[surface.point[surface.point >= 0]] = True
    twice = {name for one in more if one.kind in TWICE for name in one.points}
    for row in rows[~used]:
        fate[row] = SAME_PLACE if morning.shots.id[row] in twice else "no triangle"
    lid, below = fate == "lid", np.full(len(fate), np.nan)
    at = morning.shots.easting[lid], morning.shots.northing[lid]
    below[lid] = locate.interpolate(surface, *at)
    nets = facets_of(morning.case, morning.corridor, surface)
    doubts += review.review_surface(morning.case, fate, nets, below, missing)
    return replace(
        morning, fate=fate, findings=(*morning.findings, *about, *more, *doubts)
    ), surface


def _beside_kept(morning: Morning) -> tuple[Findings, Texts]:
    """Ground that people shot beside a surface whose faces are kept: listed, not used."""
    rows = morning.rows("in the surface") & morning.placed.by_hand
    fate = morning.fate.copy()
    if not rows.any():
        return (), fate
    fate[rows] = "beside the kept surface"
    shots = counted(int(rows.sum()), "ground shot is", "ground shots are")
    text = f"{shots} not used: a file's own faces are kept as ground"
    do = "state faces = 'rebuild' for that file, or take it out of the day"
    return (Finding("stop", "two grounds", text, do),), fate


def _refuse_no_ground(morning: Morning) -> None:
    """No shot is left for the ground: say what became of them all, and why."""
    fates, counts = np.unique(morning.fate.astype(str), return_counts=True)
    became = ", ".join(f"{count} {fate}" for fate, count in zip(fates, counts, strict=True))
    doubts = [one for one in morning.findings if one.severity != "note"]
    why = f"; first doubt: {doubts[0].text}" if doubts else ""
    raise SurfaceError(
        "the ground", f"no shot is left for it ({became or 'none was read'}){why}",
        "settle that, or shoot the ground first",
    )  # fmt: skip


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


def compare_layers(morning: Morning, ground: Surface) -> Compared:
    """Cut and fill of every layer, added up; the pieces only of layers that are asked again."""
    job, corridor = morning.inputs.job, morning.corridor
    again = {job.target.layer, job.stabilising.layer}
    designs: dict[str, Surface] = {}
    differences: dict[str, Overlay] = {}
    sums: dict[str, LayerSums] = {}
    volumes = []
    for layer in corridor.layers:
        design = layer_surface(corridor, layer, job.design)
        difference = keep(overlay.overlay, ground, design)
        volumes.append(quantities.quantity(layer.name, difference, tin.area(design)))
        both, step = (design, difference), job.volumes.interval_m
        sums[layer.name] = keep(layer_sums, corridor, layer, both, step, job.design)
        designs[layer.name] = design
        if layer.name in again:
            differences[layer.name] = difference
    (target,) = (row for row in volumes if row.layer == job.target.layer)
    if target.compared_area_m2 == 0:
        raise DesignError(
            f"layer {target.layer!r}", "today's ground and this layer have no place in common",
            "look for another street's design, another grid, or swapped axes",
        )  # fmt: skip
    return Compared(designs, differences, sums, tuple(volumes))


def layer_surface(corridor: Corridor, layer: Layer, rules: DesignRules) -> Surface:
    """A layer in triangles: of its file, of its sections, or of all parts of the design."""
    if corridor.parts:
        return keep(compose.layer_surface, corridor, layer.name, rules).surface
    return layer.surface or keep(strips.triangulate, corridor, layer.name, rules)


def difference_to_draw(ground: Surface, design: Surface, difference: Overlay) -> Overlay:
    """The difference that the map shows: that of a thinned ground where a scan has millions.

    Quantities, numbers and lists always come from all of the ground.
    """
    if len(difference.ground_triangle) <= DRAWN_PIECES:
        return difference
    rows = thin(ground.x, ground.y, ground.z, DRAWN_CELL_M)
    few = make_shots(
        ground.x[rows] + ground.origin[0], ground.y[rows] + ground.origin[1], ground.z[rows]
    )
    thinned, _ = tin.build(few, NO_LINES, SurfaceRules(max_edge_m=15.0, same_place_m=0.0))
    return overlay.overlay(thinned, design)


def shading(day: Day) -> Shading:
    """What map and page shade; worked out here unless the day has it already."""
    if day.shading is not None:
        return day.shading
    limits = band_limits(day.morning.inputs.job.sheet.bands_m)
    return Shading(
        keep(difference_map.bands, day.drawn, limits),
        keep(difference_map.not_surveyed, day.ground, day.design),
    )


def compare_shots(morning: Morning) -> Differences:
    """Cut or fill of every ground shot against today's layer; NaN for what is no ground."""
    shots, feet, corridor = morning.shots, morning.feet, morning.corridor
    target = corridor.layer(morning.inputs.job.target.layer)
    ground = np.where(morning.rows("in the surface"), shots.elevation, np.nan)
    design = layer_elevation(
        corridor, target, feet.station, feet.offset, shots.easting, shots.northing
    )
    return differences.at_points(target.name, shots.easting, shots.northing, feet, ground, design)


def crew_rows(morning: Morning, ground: Surface, compared: Compared, at_shots: Differences) -> Day:
    """Stakes to set, hubs as shot, numbers to paint."""
    job, corridor = morning.inputs.job, morning.corridor
    today = job.target.layer
    design, difference = compared.designs[today], compared.differences[today]
    unit = measures(job.rounding)
    hubs = np.flatnonzero(morning.rows("hub"))
    feet = morning.feet
    to_set, left_out = street_layout.whole_stakes(corridor, job.stakes, job.layout.apart_m, unit)
    shot = morning.shots.take(morning.rows("in the surface"))
    edges = edges_by_street(corridor, job.target.layer, shot, job.codes)
    painted = dots.whole_dots(corridor, ground, job.stakes, job.target, job.rounding)
    about = chords.told(corridor, design, job.target.layer, job.design)
    return Day(
        morning=morning,
        ground=ground,
        compared=compared,
        drawn=keep(difference_to_draw, ground, design, difference),
        at_shots=at_shots,
        stakes=to_set,
        sheet=cutsheet.cut_sheet(
            corridor, morning.shots.take(hubs), feet.take(hubs), job.stakes, job.walk, unit
        ),
        dots=without_guesses(painted, ground, streets_of(corridor), edges),
        findings=sorted_findings((*morning.findings, *left_out, *about)),
    )


def sorted_findings(findings: Findings) -> Findings:
    """Stops first, then what a person has to look at, then notes; else in the order found."""
    rank = {"stop": 0, "person": 1, "note": 2}
    return tuple(sorted(findings, key=lambda finding: rank[finding.severity]))
