"""The morning's checks in their order: which shots are set aside, and all that is said.

Each check is a function of its own; this is only their sequence, so that a check
that needs the outcome of another comes after it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.checks import (
    constants,
    coverage,
    days,
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
from pipeline.checks.coverage import Missing, Placed, Street
from pipeline.checks.facets import Facets
from pipeline.checks.runs import Profiled
from pipeline.checks.telling import Called
from pipeline.model import (
    Bools,
    BreakLine,
    Feet,
    Findings,
    Floats,
    Linework,
    Shots,
    Texts,
    Utilities,
    join_shots,
    make_shots,
    texts,
)
from pipeline.model.arrays import of_each
from pipeline.settings import Job
from pipeline.units import format_station

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


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A morning as the checks see it: n shots with where they lie and what they should be.

    ``base`` is the job's code of each; ``by_hand`` True where a person took it,
    ``satellite`` where a receiver did, as far as the file's format says. ``height``
    is above the profile and ``design`` today's layer at the shot [m], NaN where
    there is none. ``breaks`` are those of every section layer from the top down,
    each from left to right; ``bends`` stretches (from, to) that are curved.
    ``mixed_up`` are heights that people take for each other, by name [m]. ``called``
    is what people call a station.
    """

    job: Job
    day: str
    shots: Shots
    feet: Feet
    base: Texts
    by_hand: Bools
    satellite: Bools
    height: Floats
    design: Floats
    breaks: tuple[BreakLine, ...]
    bends: tuple[tuple[float, float], ...]
    mixed_up: Mapping[str, float]
    control: Shots | None = None
    utilities: Utilities | None = None
    yesterday: Shots | None = None
    called: Called = format_station

    @property
    def section(self) -> tuple[BreakLine, ...]:
        """Breaks of today's layer from left to right; none where it is a surface."""
        return tuple(line for line in self.breaks if line.layer == self.job.target.layer)

    @property
    def top(self) -> tuple[BreakLine, ...]:
        """Each break once a side, in the topmost layer that has it: what hubs are for."""
        first: dict[tuple[str, int], BreakLine] = {}
        for line in self.breaks:
            first.setdefault((line.name, line.side), line)
        return tuple(first.values())

    @property
    def line(self) -> Bools:
        """True where the shot's code makes a line."""
        codes = self.job.codes
        return of_each(self.base, lambda code: code in codes and codes[code].line, bool)


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
    judged, more = precision.judge_precision(shots, fate == "hub", case.satellite, job.checks)
    found += [*about, *more]
    fate = np.where(judged.refused, NO_HEIGHT, fate).astype(object)
    found += _places(case, fate)
    found += _references(case, fate)
    found += _overlaps(case, fate)
    if case.utilities is not None:
        found += lids.lid_findings(shots, case.feet, fate == "lid", case.utilities, job.checks)
    fate, about = _spikes(case, fate)
    return fate, (*found, *about, *_whole(case, fate))


def _whole(case: Case, fate: Texts) -> Findings:
    """The ground that is left against today's layer, as a whole."""
    rows = np.flatnonzero((fate == GROUND) & ~np.isnan(case.shots.elevation))
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
    shots, rules, surface = case.shots, case.job.checks, case.job.surface
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
    held = references.against_breaks(
        case.feet, shots.elevation, stated, case.breaks, rules.code_reach_m
    )
    return found + references.misplaced(shots, case.feet, stated, held, rules.code_reach_m)


def _references(case: Case, fate: Texts) -> Findings:
    """Curb and hubs against the finished surface, ground against today's layer."""
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
        held = references.against_breaks(feet, shots.elevation, names_, breaks, reach)
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
        residual[on] = references.against_known(shots, known, KNOWN_M)[on]
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
    # the others are neither judged nor anybody's like: a million points of a scan are left alone
    rows = np.flatnonzero(usable)
    shots, feet, line = shots.take(rows), case.feet.take(rows), case.line[rows]
    profiled = Profiled(
        case.height[rows], feet.station, feet.offset, of_each(shots.code, names.first_word)
    )
    cell = spikes.cells(profiled, line, case.section)
    judged = spikes.find_spikes(profiled, np.ones(len(rows), dtype=bool), line, cell, rules)
    known = {**ROD_STEPS, **case.mixed_up}
    found = spikes.spike_findings(shots, feet, judged, known, rules, case.called)
    if rules.set_spikes_aside:
        fate = fate.copy()
        fate[rows[judged.suspect]] = SPIKE
    return fate, found


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
    if not case.section:
        return (), ()
    rules = case.job.checks
    rows = np.flatnonzero(fate == GROUND)
    placed = Placed(case.feet.station[rows], case.feet.offset[rows], coverage.joined_rows(lines))
    missing = coverage.missing_breaks(_street(case), placed, rules)
    found = gaps.gaps(case.section, placed, rules)
    return missing, (
        *coverage.missing_findings(missing, rules, case.called),
        *gaps.gap_findings(found, rules, case.called),
    )


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
    required = [(line,) for line in case.section] + [choices for choices in gutter if choices]
    return Street(tuple(required), case.section, case.bends)


def review_surface(
    case: Case, fate: Texts, net: Facets, ground: Floats, missing: tuple[Missing, ...]
) -> Findings:
    """Triangles that miss a break or span unshot ground, and rims above the ground.

    Parameters
    ----------
    case : Case
    fate : Texts, shape (n,)
    net : Facets
        Today's triangles by station and offset.
    ground : ndarray, shape (n,)
        The surface at each shot [m], NaN where it does not reach.
    missing : tuple of Missing
        What `review_coverage` has told already.
    """
    rules, longest = case.job.checks, case.job.surface.max_edge_m
    flat, lost = facets.flat_facets(case.section, net, rules.break_reach_m)
    long = facets.long_facets(case.section, net, longest)
    return (
        *facets.facet_findings(net, flat, lost, missing, rules, case.called),
        *facets.long_findings(net, long, longest, rules, case.called),
        *lids.rim_findings(case.shots, case.feet, fate == "lid", ground, rules),
    )


def review_days(case: Case, fate: Texts, area_m2: float) -> Findings:
    """Hubs, lids and control of today against yesterday's; nothing without a day before.

    ``area_m2`` is the street that a common shift would stand over.
    """
    if case.yesterday is None:
        return ()
    kinds = case.job.codes
    base = names.base_codes(case.yesterday, kinds)
    fixed = np.isin(fate, ("hub", "lid", "control"))
    old = np.zeros(len(base), dtype=bool)
    for kind in ("hub", "lid", "control"):
        old |= names.kind_rows(base, kinds, kind)
    rows = np.flatnonzero(fixed)
    feet = case.feet
    here = feet.take(rows)
    today = case.shots.take(rows)
    moves = days.compare_fixed(today, case.yesterday.take(old), case.job.checks)
    return days.day_findings(today, here, moves, area_m2, case.job.checks)
