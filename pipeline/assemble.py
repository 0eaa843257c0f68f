"""The design of a job put together: streets, ties, warps, returns, bulbs, eyebrows, patches.

Each step takes streets and gives streets, in the order in which one depends on another:
what is built is met first, then a side street is laid onto the one that goes through,
then returns are found between their edges and the curb is opened for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from pipeline.compare import compose, ponds
from pipeline.compare.layer_order import order_findings
from pipeline.design import alignment as line
from pipeline.design import basin, beneath, changes, checks, corners, joining, profile, returns
from pipeline.design.equations import station_text
from pipeline.design.strips import triangulate
from pipeline.design.tie import tie
from pipeline.design.warp import onto
from pipeline.errors import DesignError
from pipeline.ingest.job.designfiles import DesignFiles, LineFiles
from pipeline.model import (
    SIDES,
    Corridor,
    Depression,
    Finding,
    Findings,
    Layer,
    Linework,
    Mesh,
    Opening,
    Part,
    Surface,
    Utilities,
    make_shots,
)
from pipeline.settings import Job, LayerRule, SurfaceRules
from pipeline.settings_design import EdgeLineRules
from pipeline.surface import tin

MAIN = "main"


@dataclass(slots=True)
class _Site:
    """What stands so far: streets by name as the job names them, and what was found."""

    job: Job
    streets: dict[str, Corridor]
    things: Utilities | None
    findings: list[Finding] = field(default_factory=list)

    def take(self, found: tuple[Corridor, Findings]) -> Corridor:
        self.findings.extend(found[1])
        return found[0]


def design(
    files: DesignFiles, job: Job, things: Utilities | None = None
) -> tuple[Corridor, Findings]:
    """The whole design of a job: the main street, and every other part in order of priority.

    Parameters
    ----------
    files : DesignFiles
    job : Job
    things : Utilities, optional
        The recorded things, for basins that the sections name by their id.

    Raises
    ------
    DesignError
        A part cannot be used; it is named.
    """
    site = _Site(job, {}, things)
    site.streets[MAIN] = site.take(_main(files, site))
    for street in job.design.streets:
        site.streets[street.name] = site.take(_line(files.lines[street.name], street.name, site))
    edges = [
        replace(site.take(_line(files.lines[e.name], e.name, site)), on=e.at)
        for e in job.design.edges
    ]
    _tied(site, files)
    _warped(site)
    parts = _joined(site, edges)
    parts = [*_patches(site, files), *parts]
    main = site.streets.pop(MAIN)
    parts += [Part(name, "street", corridor=street) for name, street in site.streets.items()]
    placed, rank = _in_order(parts, job)
    return replace(main, parts=placed, rank=rank), (*files.findings, *site.findings)


def checked(corridor: Corridor, job: Job, things: Utilities | None) -> Findings:
    """What a person should see of the design before dirt moves.

    The streets against the job's limits; where there are several parts the steps at
    their seams, layer by layer; water standing on the top layer, and in returns without a basin.
    """
    limits = job.design.limits
    found = list(checks.design_findings(corridor, limits, job.layers))
    basins = _basins(things, job.hazards.inlet_kinds)
    streets = [corridor, *(part.corridor for part in corridor.parts if part.corridor is not None)]
    basins += [spot for street in streets for spot in basin.spots(street)]
    places = np.array(basins).reshape(-1, 2).T
    for part in corridor.parts:
        if part.kind == "return" and part.corridor is not None:
            inlets = places[0], places[1]
            found += corners.low_points(part.corridor, inlets, job.hazards.inlet_near_m)
    laid = []
    for number, layer in enumerate(corridor.layers):
        surface = layer.surface
        if corridor.parts:
            whole = compose.layer_surface(corridor, layer.name, job.design)
            found += compose.seam_findings(layer.name, whole.seams, limits.seam_m)
            surface = whole.surface
        elif surface is None and (number == 0 or _has_surfaces(corridor)):
            surface = triangulate(corridor, layer.name, job.design)
        if surface is not None:
            laid.append((layer.name, surface))
        if number == 0 and surface is not None:
            hollows = ponds.ponds(surface, limits.pond_m, basins)
            found += ponds.pond_findings(layer.name, hollows)
    # layers of sections alone are told of stretch by stretch, by the checks above
    if _has_surfaces(corridor):
        found += order_findings(corridor.alignment, laid)
    return tuple(found)


def _has_surfaces(corridor: Corridor) -> bool:
    """True where a layer is given as triangles, on the street itself or in a patch."""
    patched = any(part.kind == "patch" for part in corridor.parts)
    return patched or any(layer.surface is not None for layer in corridor.layers)


def _basins(things: Utilities | None, kinds: Sequence[str]) -> list[tuple[float, float]]:
    """Where recorded catch basins and inlets take the water."""
    if things is None:
        return []
    known = {kind.casefold() for kind in kinds}
    rows = [
        k
        for k, kind in enumerate(things.kind)
        if "basin" in str(kind).casefold() or str(kind).casefold() in known
    ]
    return [(float(things.easting[k]), float(things.northing[k])) for k in rows]


def _main(files: DesignFiles, site: _Site) -> tuple[Corridor, Findings]:
    job = site.job
    alignment, found = line.build(files.alignment)
    called = partial(station_text, alignment, step=0.001)
    heights, more = profile.build(files.profile, called)
    basins: tuple[Depression, ...] = ()
    in_table = [rule for rule in job.layers if not rule.below]
    tabled: tuple[Layer, ...] = ()
    if files.sections is not None:
        sections = basin.placed(files.sections, alignment, site.things)
        tabled, basins = changes.layers(sections, in_table, called), basin.those_of(sections)
    have = {layer.name: layer for layer in tabled}
    layers: list[Layer] = []
    told: list[Finding] = []
    for rule in job.layers:
        named = rule.name, rule.title or rule.name
        if rule.name in files.meshes:
            surface, about = surface_from(files.meshes[rule.name], rule.name, job.surface)
            told += about
            layers.append(Layer(name=named[0], title=named[1], surface=surface))
        elif rule.below:
            over = _above(layers, rule)
            layers.append(beneath.layer_below(over, rule.by_m, rule.measured, named))
        else:
            layers.append(have[rule.name])
    name = job.design.name or alignment.name
    corridor = Corridor(name, alignment, heights, tuple(layers), basins=basins)
    return corridor, (*found, *more, *told)


def _above(layers: Sequence[Layer], rule: LayerRule) -> Layer:
    for layer in layers:
        if layer.name == rule.below:
            return layer
    raise DesignError(
        f"layer {rule.name!r} of the job file",
        f"it lies below {rule.below!r}, which is no layer above it",
        "list the layers from the top down",
    )


def surface_from(
    faces: Mesh | Linework, name: str, rules: SurfaceRules
) -> tuple[Surface, Findings]:
    """The surface of a file's faces, or of its strings as breaklines of a triangulation."""
    if isinstance(faces, Mesh):
        surface, found = tin.from_mesh(faces)
    else:
        surface, found = tin.build(make_shots([], [], []), faces, rules)
    return replace(surface, name=name), found


def _line(files: LineFiles, name: str, site: _Site) -> tuple[Corridor, Findings]:
    """A street or an edge of its own files, with those layers of the job that its table has."""
    job = site.job
    alignment, found = line.build(files.alignment)
    called = partial(station_text, alignment, step=0.001)
    heights, more = profile.build(files.profile, called)
    sections = basin.placed(files.sections, alignment, site.things)
    have = {layer.name for row in sections.sections for layer in row.layers}
    rules = [rule for rule in job.layers if rule.name in have]
    own = {layer.name: layer for layer in changes.layers(sections, _bare(rules), called)}
    layers: list[Layer] = []
    for rule in job.layers:
        if rule.name in own:
            layers.append(own[rule.name])
        elif rule.below and any(layer.name == rule.below for layer in layers):
            named = rule.name, rule.title or rule.name
            over = _above(layers, rule)
            layers.append(beneath.layer_below(over, rule.by_m, rule.measured, named))
    basins = basin.those_of(sections)
    return Corridor(name, alignment, heights, tuple(layers), basins=basins), (*found, *more)


def _bare(rules: Sequence[LayerRule]) -> list[LayerRule]:
    """A side street's sections count even where the main street's layer is a file."""
    return [replace(rule, file="", below="") for rule in rules]


def _tied(site: _Site, files: DesignFiles) -> None:
    for rules, existing in zip(site.job.design.ties, files.ties, strict=True):
        street, _, found = tie(site.streets[rules.street], existing, rules)
        site.streets[rules.street] = site.take((street, found))


def _warped(site: _Site) -> None:
    for street in site.job.design.streets:
        for warp in street.warps:
            site.streets[street.name], _ = onto(
                site.streets[street.name], site.streets[warp.onto], warp.at, warp.length_m, warp.end
            )


def _joined(site: _Site, edges: Sequence[Corridor]) -> list[Part]:
    """Returns, bulbs and eyebrows with the ground inside them, the streets' curbs opened."""
    rules = site.job.design
    found = []
    for one in rules.returns:
        # its low points are told in `checked`, where it is known who takes the water
        made = returns.curb_return(one, site.streets[one.from_street], site.streets[one.to_street])
        found.append(made)
        site.findings.extend(corners.corner_findings(made, rules.limits.curb_pi_m))
    for name, street in site.streets.items():
        site.streets[name] = _opened(site, name, street, found)
    parts: list[Part] = []
    for one, made in zip(rules.returns, found, strict=True):
        legs = tuple(
            replace(leg, street=site.streets[name])
            for leg, name in zip(made.legs, (one.from_street, one.to_street), strict=True)
        )
        parts.append(Part(one.name, "return", corridor=made.curb))
        parts.append(joining.corner_area(made, (legs[0], legs[1]), rules))
    for edge_rules, edge in zip(rules.edges, edges, strict=True):
        parts.append(Part(edge_rules.name, edge_rules.kind, corridor=edge))
        make = joining.bulb_area if edge_rules.kind == "bulb" else joining.eyebrow_area
        area, about = make(edge_rules, site.streets[edge_rules.street], edge, rules)
        site.findings.extend(about)
        parts.append(area)
    return parts


def _opened(
    site: _Site, name: str, street: Corridor, found: Sequence[returns.CurbReturn]
) -> Corridor:
    """A street with its curb taken away where returns and eyebrows leave it."""
    rules = site.job.design
    mouths: list[Opening] = []
    for at in dict.fromkeys(one.at for one in rules.returns):
        legs = [
            leg
            for one, made in zip(rules.returns, found, strict=True)
            if one.at == at
            for leg, owner in zip(made.legs, (one.from_street, one.to_street), strict=True)
            if owner == name
        ]
        mouths += returns.merged_openings(legs, at, f"mouth of {name!r}")
    mouths += [_bay(edge) for edge in rules.edges if edge.kind == "eyebrow" and edge.street == name]
    sectioned = [layer for layer in street.layers if layer.surface is None]
    opened = {layer.name: layer for layer in changes.apply(sectioned, mouths)}
    layers = tuple(opened.get(layer.name, layer) for layer in street.layers)
    return replace(street, layers=layers)


def _bay(edge: EdgeLineRules) -> Opening:
    if edge.side is None or edge.start is None or edge.end is None:
        raise DesignError(
            f"eyebrow {edge.name!r}", "its side, start or end is missing", "give all three"
        )
    return Opening(
        SIDES[edge.side], min(edge.start, edge.end), max(edge.start, edge.end), edge.at,
        f"eyebrow {edge.name!r}",
    )  # fmt: skip


def _patches(site: _Site, files: DesignFiles) -> list[Part]:
    parts = []
    for rules in site.job.design.patches:
        where = f"patch {rules.name!r}"
        known = {layer.name for layer in site.job.layers}
        if not rules.layers or not set(rules.layers) <= known:
            raise DesignError(
                where,
                f"its layers are {', '.join(rules.layers) or 'none'}, those of the job"
                f" {', '.join(sorted(known))}",
                "name layers of the job",
            )
        top, about = surface_from(files.patches[rules.name], rules.name, site.job.surface)
        site.findings.extend(about)
        surfaces = tuple(
            beneath.surface_below(top, down, rules.measured, name)
            for name, down in rules.layers.items()
        )
        parts.append(Part(rules.name, "patch", surfaces=surfaces))
    return parts


def _in_order(parts: list[Part], job: Job) -> tuple[tuple[Part, ...], int]:
    """The parts in order of priority, and how many come before the main street.

    Named ones as the job says; the ground inside a return, bulb or eyebrow with its edge.
    """
    wanted = job.design.priority
    if not wanted:
        before = [part for part in parts if part.kind != "street"]
        return (*before, *(part for part in parts if part.kind == "street")), len(before)
    groups: dict[str, list[Part]] = {}
    for part in parts:
        owner = next((n for n in groups if part.name in (f"{n} corner", f"{n} surface")), part.name)
        groups.setdefault(owner, []).append(part)
    rest = [name for name in (MAIN, *groups) if name not in wanted]
    order = [*wanted, *rest]
    placed = [part for name in order for part in groups.get(name, [])]
    rank = sum(len(groups.get(name, [])) for name in order[: order.index(MAIN)])
    return tuple(placed), rank
