"""The checks in their order on the invented street: what it hides is found, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.checks import names
from pipeline.checks.facets import Facets
from pipeline.checks.gaps import Cells
from pipeline.checks.review import (
    GROUND,
    NO_HEIGHT,
    SPIKE,
    YESTERDAY,
    Case,
    review_coverage,
    review_shots,
    review_surface,
)
from pipeline.demo import truth
from pipeline.design import alignment, corridor, feet, grade_line, profile, section
from pipeline.ingest.files import read
from pipeline.ingest.job.control import read_control
from pipeline.ingest.job.designfiles import read_design
from pipeline.ingest.job.job import read_job
from pipeline.ingest.job.morning import morning_files
from pipeline.ingest.job.utilities import read_utilities
from pipeline.model import BreakLine, Corridor, join_shots
from pipeline.surface import lines as drawn
from pipeline.surface import locate, tin

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "demo"


def break_lines(road):
    """Every break of every section layer, each metre."""
    ends = road.alignment.station
    station = np.arange(ends[0], ends[-1] + 0.5)
    return tuple(
        BreakLine(name, layer.name, side, station,
                  *corridor.break_line(road, layer.name, name, side, station))
        for layer in road.layers
        for name, side in zip(layer.breaks, layer.side, strict=True)
    )  # fmt: skip


@pytest.fixture(scope="module")
def demo():
    """The morning as it stands in the fixture, and the fate of each shot before the review."""
    job, day = read_job(FIXTURE), "2026-05-14"
    files, design = morning_files(job, day), read_design(job)
    shots = join_shots(read(file.path, file.format).shots for file in files)
    line, _ = alignment.build(design.alignment)
    heights, _ = profile.build(design.profile)
    road = Corridor(line.name, line, heights, section.layers(design.sections, job.layers))
    places = feet.locate(line, shots.easting, shots.northing)
    base = names.base_codes(shots, job.codes)
    bent = (line.curvature_start != 0) | (line.curvature_end != 0)
    bends = zip(line.station[:-1][bent].tolist(), line.station[1:][bent].tolist(), strict=True)
    target = job.target.layer
    case = Case(
        job=job, day=day, shots=shots, feet=places, base=base,
        by_hand=np.ones(len(shots), dtype=bool), satellite=np.zeros(len(shots), dtype=bool),
        height=shots.elevation - grade_line.elevation(heights, places.station),
        design=corridor.elevation(road, places.station, places.offset, target),
        breaks=break_lines(road), bends=tuple(bends), mixed_up={},
        control=read_control(FIXTURE / job.control),
        utilities=read_utilities(FIXTURE / job.utilities),
    )  # fmt: skip
    fate = np.full(len(shots), "unknown code", dtype=object)
    fate[names.ground_rows(base, job.codes)] = GROUND
    for kind in ("hub", "lid", "control"):
        fate[names.kind_rows(base, job.codes, kind)] = kind
    # what earlier checks set aside, here by the truth
    slips = {name for flaw in truth.flaws() if flaw.kind in ("rod", "off job far", "off job near")
             for name in flaw.ids}  # fmt: skip
    fate[[name in slips for name in shots.id]] = "set aside"
    return case, fate, road


def with_heights(case, rows, by):
    height = case.shots.elevation.copy()
    height[rows] += by
    shots = replace(case.shots, elevation=height)
    return replace(case, shots=shots, height=case.height + (height - case.shots.elevation))


def kinds(found, severity):
    return sorted(finding.kind for finding in found if finding.severity == severity)


def coded(case, fate):
    ground = case.shots.take(np.flatnonzero(fate == GROUND))
    return drawn.breaklines(ground, case.job.codes)[0]


def test_the_shots_of_the_invented_street_raise_no_false_doubt(demo):
    case, fate, _ = demo
    after, found = review_shots(case, fate)

    assert (after == fate).all()
    assert kinds(found, "stop") == []
    assert kinds(found, "person") == []
    # nobody checked the rod of the hubs; the spot shot twice is told by the surface
    assert kinds(found, "note") == ["few overlaps", "no times", "precision assumed"]


def test_the_one_stretch_that_nobody_shot_is_found(demo):
    case, fate, _ = demo
    missing, found = review_coverage(case, fate, coded(case, fate))
    side, start, end = truth.NOT_SHOT.side, truth.NOT_SHOT.start, truth.NOT_SHOT.end
    at = [(one.side, round(one.start), round(one.end)) for one in missing if "clay" in one.names[0]]

    assert at == [(side, start, end)]
    assert kinds(found, "person") == ["break not shot", "gap in the shots"]
    gap = next(f for f in found if f.kind == "gap in the shots")
    assert start < gap.station < end
    assert gap.offset * side > 0
    # the rest are lips: one row refused, one under the bust, the stretch itself
    assert all("lip" in f.text for f in found if f.severity == "note")


def test_twenty_spikes_are_set_aside_and_listed(demo):
    case, fate, _ = demo
    rng = np.random.default_rng(20)
    clay = np.flatnonzero((fate == GROUND) & ~np.isnan(case.design))
    rows = rng.choice(clay, 20, replace=False)
    spiked = with_heights(case, rows, rng.choice([-1, 1], 20) * rng.uniform(0.2, 0.8, 20))
    after, found = review_shots(spiked, fate)

    set_aside = np.flatnonzero(after == SPIKE)
    # a bar of our own: at least 18 of 20, and no bank
    assert len(set(set_aside) & set(rows)) >= 18
    assert len(set(set_aside) - set(rows)) <= 1
    assert not {code[:2] for code in case.shots.code[set_aside]} & {"BB", "TB"}
    assert sum(f.kind == "spike" for f in found) == len(set_aside)
    kept = replace(case.job, checks=replace(case.job.checks, set_spikes_aside=False))
    assert (review_shots(replace(spiked, job=kept), fate)[0] == fate).all()


def test_a_street_without_crown_shots_is_costed(demo):
    case, fate, _ = demo
    before = (fate == GROUND) & (case.base == "CL") & (case.feet.station < 85)
    quarter = (case.base == "GR") & (np.abs(case.feet.offset) < 4) & (case.feet.station < 85)
    fate = np.where(before | quarter, "set aside", fate).astype(object)
    missing, found = review_coverage(case, fate, coded(case, fate))
    (crown,) = (one for one in missing if one.names == ("crown",))

    # lips at 3.7 m on clay of 2.5 %: 0.5 x 7.4 x 0.0925 m2
    assert (crown.start, round(crown.end)) == (0.0, 85)
    assert crown.sag_m == pytest.approx(0.0925, abs=0.003)
    whole = 0.5 * 7.4 * 0.0925 * (85 - 10 + 10 / 3)
    assert crown.lost_m3 == pytest.approx(whole, rel=0.05)
    assert any("crown" in f.text and "too low" in f.text for f in found)


def test_after_the_surface_nothing_is_left_to_say(demo):
    case, fate, road = demo
    lines = coded(case, fate)
    ground, _ = tin.build(case.shots.take(np.flatnonzero(fate == GROUND)), lines, case.job.surface)
    corners = feet.locate(road.alignment, ground.x + ground.origin[0], ground.y + ground.origin[1])
    net = Facets(corners.station, corners.offset, ground.triangles)
    below = locate.interpolate(ground, case.shots.easting, case.shots.northing)
    missing, _ = review_coverage(case, fate, lines)

    assert review_surface(case, fate, (net,), below, missing) == ()
    raised = with_heights(case, np.flatnonzero(fate == "lid"), 1.0)
    rims = review_surface(raised, fate, (net,), below, missing)
    assert {finding.kind for finding in rims} == {"rim above ground"}
    assert len(rims) == int((fate == "lid").sum())


def test_satellite_hubs_give_no_cut_and_yesterdays_ground_is_kept_out(demo):
    case, fate, _ = demo
    by_satellite = replace(case, satellite=fate == "hub", yesterday=case.shots)
    after, found = review_shots(by_satellite, fate)

    # no hub by satellite alone; and a whole morning given again
    assert (after[fate == "hub"] == NO_HEIGHT).all()
    assert (after[fate == GROUND] == YESTERDAY).all()
    assert kinds(found, "stop") == ["yesterday again"]


def test_hubs_on_the_wrong_reference_are_named(demo):
    case, fate, _ = demo
    hubs = np.flatnonzero((fate == "hub") & (case.feet.station < 260))
    side = np.sign(case.feet.offset[hubs])
    # set to the flow line of the section instead of the back of the curb, by the truth
    flow = [
        float(truth.break_at(s, int(d), truth.FINISH, "flowline")[1])
        for s, d in zip(np.clip(case.feet.station[hubs], 0, 420), side, strict=True)
    ]
    moved = with_heights(case, hubs, np.array(flow) - case.shots.elevation[hubs])
    only = np.where((fate == "hub") & (case.feet.station >= 260), "set aside", fate).astype(object)
    _, found = review_shots(moved, only)
    named = [finding for finding in found if finding.kind == "suspected reference"]

    # roll-face: 0.100 + 0.010 above the flow line
    assert len(named) == 2
    assert all("reads 0.110 m LOW" in finding.text for finding in named)
    assert all("flowline for top back of curb" in finding.text for finding in named)


def test_without_control_and_records_nothing_is_held_against_them(demo):
    case, fate, _ = demo
    after, found = review_shots(replace(case, control=None, utilities=None), fate)

    assert (after == fate).all()
    assert {"lid against record", "bust"}.isdisjoint(finding.kind for finding in found)
    higher = replace(case.utilities, lid=case.utilities.lid + 1.0)
    only = replace(case, control=None, utilities=higher)
    assert "lid against record" in {finding.kind for finding in review_shots(only, fate)[1]}


def in_two_parts(case, road):
    """The street told along two parts: what lies left of its line and what lies right of it."""
    left = case.feet.offset < 0
    parts = tuple(
        replace(case, part=name, mine=mine,
                told=lambda finding, name=name: replace(finding, text=f"{name}: {finding.text}"))
        for name, mine in (("west", left), ("east", ~left))
    )  # fmt: skip
    ends = road.alignment.station
    station, offset = np.meshgrid(
        np.arange(ends[0] + 0.5, ends[-1]), np.arange(-4.25, 4.5, 0.5), indexing="ij"
    )
    east, north, _ = alignment.point_at(road.alignment, station.ravel(), offset.ravel())
    cells = Cells(
        easting=east.reshape(station.shape), northing=north.reshape(station.shape),
        station=station, offset=offset, part=(offset > 0).astype(int),
        inside=np.ones(station.shape, bool), ruled=np.ones(station.shape, bool), step=0.5**0.5,
    )  # fmt: skip
    return replace(case, parts=parts, cells=cells)


def test_along_several_parts_the_same_stretch_is_found_and_named(demo):
    case, fate, road = demo
    split = in_two_parts(case, road)
    side, start, end = truth.NOT_SHOT.side, truth.NOT_SHOT.start, truth.NOT_SHOT.end
    own = ("west", "east")[side > 0]

    after, about = review_shots(split, fate)
    assert (after == fate).all()
    assert kinds(about, "stop") == []
    missing, found = review_coverage(split, fate, coded(case, fate))
    clay = [one for one in missing if "clay" in one.names[0] and one.part == own]
    assert (clay[0].side, round(clay[0].start), round(clay[0].end)) == (side, start, end)
    gap = next(f for f in found if f.kind == "gap in the shots" and f.offset * side > 0)
    assert gap.text.startswith(f"{own}: no shot within")
    assert start < gap.station < end


def test_a_return_is_no_street_and_ground_without_one_is_asked_in_circles(demo):
    case, fate, road = demo
    split = in_two_parts(case, road)
    bare = replace(split.cells, ruled=np.zeros(split.cells.ruled.shape, bool))
    split = replace(
        split, cells=bare, parts=tuple(replace(part, kind="return") for part in split.parts)
    )
    missing, found = review_coverage(split, fate, coded(case, fate))

    # the line of a return is a seam, no crown that somebody has to shoot
    assert not [one for one in missing if one.names == ("crown",)]
    texts = [f.text for f in found if f.kind == "gap in the shots"]
    assert texts
    assert all("no shot within 4 m of" in text for text in texts)
