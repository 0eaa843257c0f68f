"""The morning's checks in their order: which shots are set aside, and all that is said.

Each check is a function of its own; this is only their sequence, so that a check
that needs the outcome of another comes after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.checks import (
    constants,
    coverage,
    facets,
    gaps,
    lids,
    names,
    precision,
    references,
    scale,
    spikes,
    throughout,
    times,
    twins,
)
from pipeline.checks.bust import ROD_STEPS, bust_findings, find_busts, untested
from pipeline.checks.case import Case
from pipeline.checks.coverage import Missing, Placed, Street
from pipeline.checks.facets import Facets
from pipeline.checks.gaps import Cells
from pipeline.checks.references import ENDS_M
from pipeline.checks.runs import Profiled
from pipeline.model import (
    Bools,
    BreakLine,
    Findings,
    Floats,
    Ints,
    Linework,
    Shots,
    Texts,
    join_shots,
    make_shots,
    texts,
)
from pipeline.model.arrays import of_each

GROUND = "in the surface"
SPIKE, TWICE, YESTERDAY = "spike, set aside", "in a file given twice", "in yesterday's files"
NO_HEIGHT = "satellite height without bench mark"
"""What becomes of a shot that these checks keep out, as its fate."""
KNOWN_M = 1.0
"""A shot this near to a known point that it is said to be on is compared with it [assumed]."""
OVERLAP_M = 0.10
"""Two set-ups that meet this near on one code shot one spot [assumed]."""
HUB_REACH_M = 3.0
"""A hub stands at most this far behind the break that it is for [assumed]."""


def review_shots(case: Case, fate: Texts) -> tuple[Texts, Findings]:
    """Every check that needs no surface.

    Parameters
    ----------
    case : Case
    fate : Texts, shape (n,)
        What became of each shot so far: ``in the surface``, ``hub``, ``lid``,
        ``object``, ``control``, or why it is only listed.

    Returns
    -------
    fate : Texts, shape (n,)
        With those that these checks keep out; no shot is deleted.
    findings : Findings
    """
    shots, job = case.shots, case.job
    ground = names.ground_rows(case.base, job.codes)
    found = [
        *scale.height_findings(shots, case.design, ground),
        *times.time_findings(shots, case.day, job.checks),
    ]
    fate, about = _files(case, fate, ground)
    refused, more = precision.judge_precision(shots, fate == "hub", case.satellite, job.checks)
    found += [*about, *more]
    fate = np.where(refused, NO_HEIGHT, fate).astype(object)
    found += _places(case, fate)
    found += _references(case, fate)
    found += _overlaps(case, fate)
    if case.utilities is not None:
        found += lids.lid_findings(shots, case.feet, fate == "lid", case.utilities, job.checks)
    fate, about = _spikes(case, fate)
    return fate, (*found, *about, *_whole(case, fate))


def _whole(case: Case, fate: Texts) -> Findings:
    """The ground that is left against today's layer, street by street.

    A return or the edge of a bulb has no crossfall of its own to be held against.
    """
    streets = [one for one in case.views if one.kind == "street"]
    return tuple(finding for one in streets for finding in one.say(_whole_along(one, fate)))


def _whole_along(case: Case, fate: Texts) -> Findings:
    here = fate == GROUND if case.mine is None else (fate == GROUND) & case.mine
    rows = np.flatnonzero(here & ~np.isnan(case.shots.elevation))
    if not len(rows):
        return ()
    layers: dict[str, list[BreakLine]] = {}
    for line in case.breaks:
        layers.setdefault(line.layer, []).append(line)
    ground = throughout.some_ground(case.feet, case.shots.elevation, rows)
    return throughout.whole_findings(ground, layers, case.job.target.layer, case.job.checks)


def _files(case: Case, fate: Texts, ground: Bools) -> tuple[Texts, Findings]:
    again, found = twins.repeated_files(case.shots)
    fate = np.where(again, TWICE, fate).astype(object)
    if case.yesterday is not None:
        old, about = twins.repeated_day(case.shots, case.yesterday, ground & ~again)
        fate = np.where(old & ground & ~again, YESTERDAY, fate).astype(object)
        found += about
    return fate, found


def _places(case: Case, fate: Texts) -> Findings:
    """Shots off the job in another unit, a shift against control, pairs at one place."""
    shots, surface = case.shots, case.job.surface
    found: Findings = ()
    if case.control is not None and len(case.control):
        found += scale.origin_findings(shots.take(fate == "control"), case.control, KNOWN_M)
    # a scan is thinned by other means; every point of it has a twin
    kept = np.isin(fate, (GROUND, "hub", "lid", "object")) & case.by_hand
    named = texts(code or text for code, text in zip(case.base, shots.code, strict=True))
    place, height = surface.same_place_m, surface.same_height_m
    pairs = twins.find_twins(shots, named, kept, place, height)
    found += twins.twin_findings(shots, case.feet, pairs, fate == GROUND)
    stated = np.where(kept, references.stated_breaks(case.base, case.job.codes), "").astype(object)
    return found + _misplaced(case, stated)


def _misplaced(case: Case, stated: Texts) -> Findings:
    """Shots away from the break that their code names, on whichever part that break is."""
    shots, reach = case.shots, case.job.checks.code_reach_m
    held = [
        references.against_breaks(one.feet, shots.elevation, stated, one.breaks, reach)
        for one in case.views
    ]
    nearest = held[0].aside
    for other in held[1:]:
        nearest = np.fmin(nearest, other.aside)
    found: Findings = ()
    for one, along in zip(case.views, held, strict=True):
        best = replace(along, aside=np.where(one.own(stated) == "", np.nan, nearest))
        found += one.say(references.misplaced(shots, one.feet, stated, best, reach))
    return found


def _references(case: Case, fate: Texts) -> Findings:
    """Curb and hubs against the finished surface, ground against today's layer, by part."""
    return tuple(finding for one in case.views for finding in one.say(_references_along(one, fate)))


def _references_along(case: Case, fate: Texts) -> Findings:
    shots, feet, rules = case.shots, case.feet, case.job.checks
    labels = references.group_labels(shots)
    stated = references.stated_breaks(case.base, case.job.codes)
    hubs = np.where(fate == "hub", case.job.stakes.reference, "").astype(object)
    curb = np.where(fate == "object", stated, "").astype(object)
    clay = np.where(fate == GROUND, stated, "").astype(object)
    found: Findings = ()
    for names_, breaks, reach in (
        (hubs, case.top, HUB_REACH_M),
        (curb, case.top, rules.code_reach_m),
        (clay, case.section, rules.code_reach_m),
    ):
        held = references.against_breaks(feet, shots.elevation, case.own(names_), breaks, reach)
        constant = constants.find_constants(labels, held, feet, (breaks, case.breaks), rules)
        # a hub stands where the ground is, and clay is still being graded
        constant = constant if names_ is curb else constants.of_layers(constant)
        found += constants.constant_findings(shots, feet, constant, rules, case.called)
    return found


def _overlaps(case: Case, fate: Texts) -> Findings:
    """Set-ups and rods against what is known otherwise, and against each other."""
    shots = case.shots
    labels = references.group_labels(shots)
    residual = np.full(len(shots), np.nan)
    known = _known(case)
    if known is not None:
        on = np.isin(fate, ("control", "lid"))
        residual[on] = references.against_known(shots.take(on), known, KNOWN_M)
    among = np.flatnonzero(np.isin(fate, (GROUND, "hub", "object")) & case.by_hand)
    other = references.against_groups(shots.take(among), labels[among], case.base[among], OVERLAP_M)
    residual[among] = other
    rows = np.isin(fate, (GROUND, "hub", "lid", "object", "control")) & case.by_hand
    busts = find_busts(labels[rows], residual[rows], {**ROD_STEPS, **case.mixed_up})
    return bust_findings(busts) + untested(labels[rows], residual[rows])


def _known(case: Case) -> Shots | None:
    """Control, and the lids whose height is on record."""
    parts = [] if case.control is None else [case.control]
    if case.utilities is not None:
        there = ~np.isnan(case.utilities.lid)
        record = case.utilities
        parts.append(
            make_shots(
                record.easting[there], record.northing[there], record.lid[there],
                id=record.id[there],
            )
        )  # fmt: skip
    return join_shots(parts) if parts else None


def _spikes(case: Case, fate: Texts) -> tuple[Texts, Findings]:
    shots, rules = case.shots, case.job.checks
    usable = case.by_hand & (fate == GROUND) & ~np.isnan(case.height)
    if case.utilities is not None:
        usable &= ~lids.near_record(
            shots.easting, shots.northing, case.utilities, rules.lids_apart_m
        )
    fate = fate.copy()
    found: Findings = ()
    for one in case.views:
        suspect, about = _spikes_along(one, usable if one.mine is None else usable & one.mine)
        found += one.say(about)
        if rules.set_spikes_aside:
            fate[suspect] = SPIKE
    return fate, found


def _spikes_along(case: Case, usable: Bools) -> tuple[Ints, Findings]:
    """Rows of the shots of one part that stand off their like, and what is said of them."""
    rules = case.job.checks
    # the others are neither judged nor anybody's like: a million points of a scan are left alone
    rows = np.flatnonzero(usable)
    shots, feet, line = case.shots.take(rows), case.feet.take(rows), case.line[rows]
    profiled = Profiled(
        case.height[rows], feet.station, feet.offset, of_each(shots.code, names.first_word)
    )
    cell = spikes.cells(profiled, line, case.section)
    judged = spikes.find_spikes(profiled, np.ones(len(rows), dtype=bool), line, cell, rules)
    known = {**ROD_STEPS, **case.mixed_up}
    return rows[judged.suspect], spikes.spike_findings(
        shots, feet, judged, known, rules, case.called
    )


def review_coverage(
    case: Case, fate: Texts, lines: Linework
) -> tuple[tuple[Missing, ...], Findings]:
    """Breaks that were not met and gaps, from the shots that go into the surface.

    Parameters
    ----------
    case : Case
    fate : Texts, shape (n,)
        After `review_shots`.
    lines : Linework
        Lines through the shots whose fate is ``in the surface``, numbered among those.
    """
    missing: tuple[Missing, ...] = ()
    found: Findings = ()
    for one in case.views:
        if one.section:
            lacking, about = _coverage_along(one, fate, coverage.joined_rows(lines))
            missing, found = missing + lacking, found + one.say(about)
    if case.cells is not None:
        return missing, found + _gaps_in_cells(case, case.cells, fate == GROUND)
    return missing, found


def _coverage_along(case: Case, fate: Texts, joined: Ints) -> tuple[tuple[Missing, ...], Findings]:
    """Breaks of one part that were not met, and gaps where there is one street."""
    rules, rows = case.job.checks, np.flatnonzero(fate == GROUND)
    station, offset = case.feet.station[rows], case.feet.offset[rows]
    if case.mine is None:
        placed = Placed(station, offset, joined)
    else:
        ends = np.concatenate([line.station for line in case.section])
        near = (station >= ends.min() - ENDS_M) & (station <= ends.max() + ENDS_M)
        kept = case.mine[rows] | near
        number = np.cumsum(kept) - 1
        pairs = joined[kept[joined].all(axis=1)] if len(joined) else joined
        placed = Placed(station[kept], offset[kept], number[pairs])
    missing = tuple(
        replace(one, part=case.part)
        for one in coverage.missing_breaks(_street(case), placed, rules)
    )
    found = coverage.missing_findings(missing, rules, case.called)
    if case.mine is not None:
        return missing, found
    gap = gaps.gaps(case.section, placed, rules)
    return missing, found + gaps.gap_findings(gap, rules, case.called)


def _gaps_in_cells(case: Case, cells: Cells, ground: Bools) -> Findings:
    """Gaps of a design of several parts: along its streets by ellipses, else by circles."""
    rules, shots = case.job.checks, case.shots
    far = cells.inside & ~cells.ruled
    places = np.column_stack([cells.easting[far], cells.northing[far]])
    known = np.column_stack([shots.easting[ground], shots.northing[ground]])
    far[far] = gaps.far_from(places, known, np.full(2, rules.gap_across_m))
    for number, one in enumerate(case.parts):
        here = cells.inside & cells.ruled & (cells.part == number)
        places = np.column_stack([cells.station[here], cells.offset[here]])
        known = np.column_stack([one.feet.station[ground], one.feet.offset[ground]])
        reach = np.array([rules.gap_along_m, rules.gap_across_m])
        far[here] = gaps.far_from(places, known, reach)
    found: Findings = ()
    for gap in gaps.gaps_in_cells(cells, far):
        one = case.parts[gap.part]
        found += one.say(gaps.gap_findings((gap,), rules, one.called))
    return found


def _street(case: Case) -> Street:
    """Crown and edges of today's layer, and the lip or the flow line on each side."""
    gutter = [
        tuple(
            line
            for name in ("lip", "flowline")
            for line in case.top
            if (line.name, line.side) == (name, side)
        )
        for side in (-1, 1)
    ]
    section = case.section
    if case.kind != "street":
        # the line of a return or a bulb is a seam: other ground goes on inside of it
        section = tuple(line for line in section if line.side)
    required = [(line,) for line in section] + [choices for choices in gutter if choices]
    return Street(tuple(required), case.section, case.bends)


def review_surface(
    case: Case, fate: Texts, nets: Sequence[Facets], ground: Floats, missing: tuple[Missing, ...]
) -> Findings:
    """Triangles that miss a break or span unshot ground, and rims above the ground.

    Parameters
    ----------
    case : Case
    fate : Texts, shape (n,)
    nets : sequence of Facets
        Today's triangles by station and offset, those of each part.
    ground : ndarray, shape (n,)
        The surface at each lid [m], NaN where it does not reach; of other shots nobody asks.
    missing : tuple of Missing
        What `review_coverage` has told already.
    """
    rules, longest = case.job.checks, case.job.surface.max_edge_m
    found: Findings = ()
    for one, net in zip(case.views, nets, strict=True):
        flat, lost = facets.flat_facets(one.section, net, rules.break_reach_m)
        long = facets.long_facets(one.section, net, longest)
        told = tuple(lack for lack in missing if lack.part == one.part)
        found += one.say(facets.facet_findings(net, flat, lost, told, rules, one.called))
        found += one.say(facets.long_findings(net, long, longest, rules, one.called))
    return found + lids.rim_findings(case.shots, case.feet, fate == "lid", ground, rules)
