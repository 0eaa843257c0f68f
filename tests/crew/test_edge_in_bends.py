"""Lengths and volumes beside a bend, against circles: what is R beside the line is R less o.

The answers are analytic. A line at offset o (right +) of an arc of radius R to the right is an
arc of R - o about the same centre, so its length is (R - o) times the angle; the volume of a
section that stays the same is its area times the way of its centroid (Pappus of Alexandria).
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.crew.edge.bank import backing_bank
from pipeline.crew.edge.line import edge_lines, edge_spots, seen
from pipeline.crew.edge.machine import Objects, machine_path
from pipeline.crew.edge.straight import straightness
from pipeline.crew.stretches import edge_tape, lay_tape, metre_beside, stations
from pipeline.design import alignment
from pipeline.model import NO_LINES, make_shots, texts
from pipeline.settings import Code, SurfaceRules
from pipeline.settings_crew import BankRules, MachineRules, ShotEdgeRules
from pipeline.surface import tin
from tests.streets import street

CLAY = "clay subgrade"
CODES = {"EC": Code(what="edge of clay", line=True, break_name="edge of clay", max_step_m=15.0)}
EDGE, DROP = 4.85, 0.40
LENGTH, RADIUS = 24.0, 12.0
"""An arc to the right, 2 radians of it."""
SECTIONS = """\
[[section]]
name = "x"
from = 0.0
to = 24.0
[section.layers.finish]
left = "mirror"
right = [
    { to = "lip", width_m = 3.70, fall_pct = 0.0 },
    { to = "top back of curb", width_m = 0.55, step_m = 0.0 },
]
[section.layers."clay subgrade"]
drop_m = 0.40
left = "mirror"
right = [{ to = "edge of clay", width_m = 4.85, fall_pct = 0.0 }]
"""


@pytest.fixture(scope="module")
def arc(tmp_path_factory):
    """A level street of 24 m on R 12 to the right: 1 m of it is 0.596 m on the right edge."""
    elements = "start,,,,,1000.0,2000.0,30.0,0.0\narc,24.0,12.0,,right,,,,\n"
    heights = "0,50,0,0\n24,50,0,0\n"
    return street(tmp_path_factory.mktemp("arc"), elements, heights, SECTIONS, ["finish", CLAY])


def beside(side: int, out: float) -> float:
    """Metres at a distance from the line for a metre along it, by the circle."""
    return (RADIUS - side * out) / RADIUS


def ground(corridor, height, every=0.1):
    """`height(s, o)` above the level clay, shot on a fine net: facets follow the arcs to 1 mm."""
    s = np.arange(0.0, LENGTH + 0.001, every)
    o = np.concatenate([-np.arange(2.5, 7.6, 0.1)[::-1], np.arange(2.5, 7.6, 0.1)])
    s, o = (x.ravel() for x in np.meshgrid(s, o, indexing="ij"))
    east, north, _ = alignment.point_at(corridor.alignment, s, o)
    shots = make_shots(east, north, 50.0 - DROP + height(s, o))
    surface, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=50.0, same_place_m=0.0))
    return surface, (east, north)


def shot_edge(corridor, side, station, stands_in):
    east, north, _ = alignment.point_at(corridor.alignment, station, side * (EDGE - stands_in))
    code = texts([f"EC{1 if side < 0 else 2}"] * len(station))
    return make_shots(east, north, np.full(len(station), 50.0), code=code)


@pytest.mark.parametrize("offset", [-7.0, -EDGE, 0.0, EDGE, 8.0])
def test_a_tape_beside_an_arc_reads_the_length_of_its_circle(arc, offset):
    station = stations(arc, 0.1)
    tape = lay_tape(arc.alignment, station, np.full(len(station), offset))

    assert tape.between(0.0, LENGTH) == pytest.approx((RADIUS - offset) * 2.0, rel=1e-5)
    assert tape.between(6.0, 12.0) == pytest.approx((RADIUS - offset) * 0.5, rel=1e-5)
    metre = metre_beside(arc.alignment, station, np.full(len(station), offset))
    assert metre == pytest.approx((RADIUS - offset) / RADIUS, rel=1e-12)


def test_places_without_an_edge_are_passed_by(arc):
    offset = np.array([4.0, np.nan, 4.0])
    tape = lay_tape(arc.alignment, np.array([0.0, 6.0, 12.0]), offset)
    assert tape.distance == pytest.approx([0.0, 2.0 * 8.0 * np.sin(0.5)])
    assert edge_tape(arc, CLAY, 1, np.array([0.0, LENGTH])).between(0.0, LENGTH) == pytest.approx(
        2.0 * (RADIUS - EDGE), rel=1e-5
    )


@pytest.mark.parametrize("side", [-1, 1], ids=["outside", "inside"])
def test_a_nose_is_as_long_as_it_is_on_the_edge(arc, side):
    # a plateau 0.08 in and 0.5 high over 6 m of the line, ramps of 1 mm
    station = np.arange(0.0, LENGTH + 0.001, 0.05)
    out = np.abs(station - 12.0) - 3.0
    shots = shot_edge(arc, side, station, 0.08 * np.clip(1.0 - out / 0.001, 0.0, 1.0))
    surface, _ = ground(arc, lambda s, o: np.full_like(s, 0.5))
    lines = edge_lines(arc, CLAY, shots, CODES)
    (found,) = edge_spots((arc, CLAY), surface, lines, ShotEdgeRules())

    assert found.length_m == pytest.approx(6.0 * beside(side, EDGE), abs=0.1)
    # over the last step either way the edge slopes back, counted down to the watch limit
    plan = 0.08 * 6.0 + 2.0 * 0.05 * (0.06 * 0.75)
    assert found.volume_m3 == pytest.approx(0.5 * plan * beside(side, EDGE - 0.04), rel=0.005)
    assert found.shot_gap_m == pytest.approx(0.05 * beside(side, EDGE), rel=1e-3)


@pytest.mark.parametrize("side", [-1, 1], ids=["outside", "inside"])
def test_whether_a_nose_is_long_enough_to_paint_is_asked_on_the_edge(arc, side):
    # 60 mm over 0.30 m are painted: 0.30 m of the line are 0.42 m outside and 0.18 m inside
    station = np.arange(0.0, LENGTH + 0.001, 0.01)
    shots = shot_edge(arc, side, station, np.where(np.abs(station - 12.0) < 0.155, 0.06, 0.0))
    surface, _ = ground(arc, lambda s, o: np.zeros_like(s))
    lines = edge_lines(arc, CLAY, shots, CODES)
    (found,) = edge_spots((arc, CLAY), surface, lines, ShotEdgeRules())

    assert found.verdict == ("PAINT" if side < 0 else "WATCH")


@pytest.mark.parametrize("side", [-1, 1], ids=["outside", "inside"])
def test_what_shots_could_see_is_told_along_the_edge(arc, side):
    station = np.arange(0.0, LENGTH + 0.001, 1.0)
    (edge,) = edge_lines(arc, CLAY, shot_edge(arc, side, station, station * 0), CODES)
    (one,) = seen([edge])

    assert one.smallest_nose_m == pytest.approx(beside(side, EDGE), rel=1e-4)
    assert one.usual_gap_m == pytest.approx(beside(side, EDGE), rel=1e-4)
    assert one.length_m == pytest.approx(LENGTH * beside(side, EDGE), rel=1e-5)
    short, _ = straightness(arc, CLAY, [edge], ShotEdgeRules())
    assert short.length_m == pytest.approx(one.length_m)
    # half a chord of 3 m is lost at either end, and two places of 0.1 m there
    assert short.tested_m == pytest.approx(one.length_m - 3.0, abs=0.3)


def test_a_step_too_long_for_the_code_is_long_on_the_edge(arc):
    # 12 m of the line are 16.85 m outside and 7.15 m inside; the code joins up to 15 m
    station = np.array([0.0, 1.0, 13.0, 14.0])
    outside = edge_lines(arc, CLAY, shot_edge(arc, -1, station, station * 0), CODES)
    inside = edge_lines(arc, CLAY, shot_edge(arc, 1, station, station * 0), CODES)
    assert (len(outside), len(inside)) == (2, 1)


@pytest.mark.parametrize("side", [-1, 1], ids=["outside", "inside"])
def test_the_path_and_what_stands_in_it_are_measured_where_they_are(arc, side):
    # room from 3.40 to 5.00; a wall 0.10 high, 0.40 wide, over 8 m of the line about 4.20
    def height(s, o):
        return 0.10 * ((np.abs(s - 12.0) < 4.01) & (np.abs(side * o - 4.2) < 0.21))

    surface, shot = ground(arc, height)
    nothing = Objects(texts([]), np.empty(0), np.empty(0))
    path = machine_path((arc, CLAY), surface, shot, nothing, MachineRules(trim_m=0.05))

    (found,) = path.conflicts
    assert found.length_m == pytest.approx(
        (found.end - found.start) * beside(side, abs(found.offset)), rel=1e-6
    )
    # what is counted stands above 0.05: the wall and half of its slopes of 0.1 m
    assert found.volume_m3 == pytest.approx(
        (0.10 * 0.40 + 2.0 * 0.05 * 0.075) * 8.1 * beside(side, 4.2), rel=0.02
    )
    whole = sum(run.length_m for run in path.runs if run.side == side)
    assert whole == pytest.approx(LENGTH * beside(side, 4.2), rel=1e-5)
    nose = path.smallest_nose_m[0 if side < 0 else 1]
    assert nose == pytest.approx(0.1 * beside(side, 4.2), rel=0.01)


@pytest.mark.parametrize("side", [-1, 1], ids=["outside", "inside"])
def test_a_bank_to_build_is_its_section_times_the_way_of_its_middle(arc, side):
    surface, _ = ground(arc, lambda s, o: np.zeros_like(s))
    rules = BankRules(layer=CLAY)
    bank = backing_bank(arc, CLAY, surface, rules)

    (run,) = [run for run in bank.runs if run.side == side]
    assert run.state == "MISSING"
    assert run.length_m == pytest.approx(LENGTH * beside(side, EDGE), rel=1e-5)
    # 0.25 high, crest 0.30, sides 1.5 to 1: base 1.05, its middle 0.525 behind the edge
    area = 0.25 * (0.30 + 1.5 * 0.25)
    assert run.build_m3 == pytest.approx(area * LENGTH * beside(side, EDGE + 0.525), rel=1e-3)
