"""Machine path and backing bank: an example worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.compare.streets import streets_of
from pipeline.crew.edge.bank import backing_bank
from pipeline.crew.edge.line import EdgeLine, edge_lines, longest_step
from pipeline.crew.edge.machine import Objects, machine_path, pad_concrete_m3
from pipeline.crew.gaps import ShotSides, shot_sides
from pipeline.crew.stretches import Tape, carried, outermost
from pipeline.model import NO_LINES, make_shots, texts
from pipeline.settings import Code, SurfaceRules
from pipeline.settings_crew import BankRules, MachineRules
from pipeline.surface import tin

CLAY = "clay subgrade"
NOTHING = Objects(texts([]), np.empty(0), np.empty(0))
# lip 3.70, top back of curb 4.25: the room reaches from 3.40 to 5.00
RULES = MachineRules()


def floor(station, offset):
    """Clay by hand: 0.40 below 50 + 2 % of the station, 2.5 % down from the crown, carried on."""
    return 50.0 + 0.02 * station - 0.40 - 0.025 * np.abs(offset)


def ground(height, station, offset):
    """A surface `height(s, o)` above the clay, and its shots as easting and northing."""
    s, o = (x.ravel() for x in np.meshgrid(station, offset, indexing="ij"))
    shots = make_shots(1000.0 + o, 2000.0 + s, floor(s, o) + height(s, o))
    surface, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=100.0))
    return surface, (shots.easting, shots.northing)


STATIONS = np.arange(0.0, 100.1, 1.0)
OFFSETS = np.concatenate([-np.arange(3.0, 6.6, 0.1)[::-1], [0.0], np.arange(3.0, 6.6, 0.1)])


def path_over(corridor, height, objects=NOTHING, rules=RULES, stations=STATIONS):
    surface, shots = ground(height, stations, OFFSETS)
    return machine_path((corridor, CLAY), surface, shots, objects, rules)


def test_the_layer_is_carried_on_past_its_edge_at_its_own_fall(corridor):
    s, o = np.array([30.0, 30.0, 30.0]), np.array([6.0, -6.0, 4.0])
    assert carried(corridor, CLAY, s, o) == pytest.approx(floor(s, o), abs=1e-9)
    assert outermost(corridor, CLAY, -1, 30.0)[0][0] == pytest.approx(-4.85)


def test_a_free_path_that_was_shot_each_metre_is_clear(corridor):
    path = path_over(corridor, lambda s, o: 0.0 * s)

    assert path.conflicts == ()
    assert [(run.side, run.state) for run in path.runs] == [(-1, "CLEAR"), (1, "CLEAR")]
    assert path.smallest_nose_m == pytest.approx((1.0, 1.0))


def test_clear_is_withheld_where_shots_are_too_far_apart(corridor):
    stations = np.concatenate([np.arange(0.0, 40.1, 1.0), np.arange(43.0, 100.1, 1.0)])
    path = path_over(corridor, lambda s, o: 0.0 * s, stations=stations)

    assert path.smallest_nose_m == pytest.approx((3.0, 3.0))
    for side in (-1, 1):
        unseen = [run for run in path.runs if run.state == "NOT SHOT" and run.side == side]
        assert [(round(run.start, 1), round(run.end, 1)) for run in unseen] == [(39.9, 43.0)]


def test_clay_in_the_room_is_named_with_place_width_and_volume(corridor):
    # a block 0.10 high, 1.0 m wide and 2.0 m long stands on the right at 50, ramps of 1 m and 0.1
    def height(s, o):
        along = np.clip(2.0 - np.abs(s - 50.0), 0.0, 1.0)
        across = np.clip((0.6 - np.abs(o - 4.2)) / 0.1, 0.0, 1.0)
        return 0.10 * along * across

    path = path_over(corridor, height)

    (found,) = path.conflicts
    assert (found.side, found.what) == (1, "clay")
    assert found.height_m == pytest.approx(0.10, abs=0.002)
    assert found.station == pytest.approx(50.0, abs=1.1)
    # above 30 mm: 70 % of each ramp
    assert found.start == pytest.approx(50.0 - 1.7, abs=0.11)
    assert found.end == pytest.approx(50.0 + 1.7, abs=0.11)
    assert found.width_m == pytest.approx(1.14, abs=0.06)
    # solid of the whole block: 0.10 * 1.1 * 3.0 = 0.33; what is lower than 30 mm is not counted
    assert 0.28 < found.volume_m3 < 0.33
    states = [run.state for run in path.runs if run.side == 1]
    assert states == ["CLEAR", "CONFLICT", "CLEAR"]


def test_the_toe_of_a_bank_inside_the_room_is_called_bank(corridor):
    # toe at 4.90, outside the edge of clay (4.85) and inside the room (5.00)
    path = path_over(corridor, lambda s, o: 0.5 * np.clip(np.abs(o) - 4.9, 0.0, None) * (o > 0),
                     rules=MachineRules(trim_m=0.01))  # fmt: skip

    assert {(c.side, c.what) for c in path.conflicts} == {(1, "bank")}
    assert path.length("CLEAR", -1) == pytest.approx(100.0, abs=0.2)


def test_what_stands_in_the_room_is_a_conflict_wherever_shots_are(corridor):
    east, north = np.array([1004.5, 995.5, 1005.75]), np.array([2020.0, 2030.0, 2040.0])
    objects = Objects(texts(["pole P1", "hub H1", "hub H2"]), east, north)
    path = path_over(corridor, lambda s, o: 0.0 * s, objects)

    assert [(c.what, c.side, round(c.station)) for c in path.conflicts] == [
        ("hub H1", -1, 30), ("pole P1", 1, 20),
    ]  # fmt: skip


def test_a_pad_20_mm_low_costs_its_concrete(corridor):
    # by hand: 20 mm low, 0.6 m wide, 100 m: 1.2 m3
    assert pad_concrete_m3(0.020, 0.6, 100.0) == pytest.approx(1.2)
    path = path_over(corridor, lambda s, o: -0.020 + 0.0 * s)
    (low,) = [c for c in path.conflicts if c.side == 1]
    assert low.what == "pad low"
    # the mould lies between lip and back of curb, 0.55 m here, on a net of 0.05
    assert low.volume_m3 == pytest.approx(pad_concrete_m3(0.020, 0.55, 100.0), rel=0.06)


def bank_height(s, o, gaps=()):
    """A bank 0.25 above the finish's edge plane: toe at 5.05, crest 5.35 to 5.65, back at 6.0."""
    out = np.abs(o)
    shape = np.interp(out, [5.05, 5.35, 5.65, 6.0], [0.0, 0.25, 0.25, 0.0])
    for side, start, end in gaps:
        missing = (np.sign(o) == side) & (s >= start) & (s <= end)
        shape = np.where(missing, 0.0, shape)
    return shape


def bank_over(corridor, gaps=(), stations=None, rules=None):
    fine = np.arange(0.0, 100.1, 1.0)
    around = [x + d for _, a, b in gaps for x in (a, b) for d in (-0.06, 0.0, 0.06)]
    stations = np.unique(np.concatenate([fine, around])) if stations is None else stations
    surface, _ = ground(lambda s, o: bank_height(s, o, gaps), stations, OFFSETS)
    return backing_bank(corridor, CLAY, surface, rules or BankRules(layer=CLAY))


def test_a_gap_of_a_metre_and_a_half_in_the_bank_is_found(corridor):
    bank = bank_over(corridor, gaps=[(1, 40.0, 41.5)])

    missing = [run for run in bank.runs if run.state == "MISSING"]
    assert [(run.side, round(run.start, 1)) for run in missing] == [(1, 40.0)]
    assert missing[0].length_m == pytest.approx(1.5, abs=0.11)
    # 0.25 high, 0.30 crest, sides 1.5 to 1: (0.30 + 1.5 * 0.25) * 0.25 = 0.169 m2
    assert missing[0].build_m3 == pytest.approx(0.169 * 1.5, rel=0.08)
    assert bank.length("OK", -1) == pytest.approx(100.0)


def test_a_gap_shorter_than_the_rule_is_not_told(corridor):
    bank = bank_over(corridor, gaps=[(1, 40.0, 40.8)])
    assert {run.state for run in bank.runs} == {"OK"}


def test_crest_is_measured_above_the_layer_carried_to_the_edge(corridor):
    bank = bank_over(corridor)
    # the bank is 0.25 above the clay's plane carried on; at the edge that plane is 2.5 % of
    # half a metre higher than under the crest's front
    for run in bank.runs:
        assert run.crest_m == pytest.approx(0.25 - 0.025 * 0.5, abs=0.003)


@pytest.mark.parametrize(
    ("scale", "state"), [(0.3, "MISSING"), (0.7, "LOW"), (1.0, "OK"), (1.5, "HIGH"), (2.0, "HEAVY")]
)
def test_the_state_of_a_bank_follows_its_height(corridor, scale, state):
    surface, _ = ground(lambda s, o: scale * bank_height(s, o), STATIONS, OFFSETS)
    bank = backing_bank(corridor, CLAY, surface, BankRules(layer=CLAY))

    assert {run.state for run in bank.runs} == {state}


def test_ground_that_nobody_shot_is_no_missing_bank(corridor):
    surface, _ = ground(lambda s, o: 0.0 * s, STATIONS, np.array([-4.9, 0.0, 4.9]))
    bank = backing_bank(corridor, CLAY, surface, BankRules(layer=CLAY))

    assert {run.state for run in bank.runs} == {"NOT SHOT"}


def test_the_bank_is_measured_from_the_layer_above_todays(corridor):
    surface, _ = ground(bank_height, STATIONS, OFFSETS)
    assert backing_bank(corridor, CLAY, surface, BankRules()).layer == "finish"


def beside_a_truck(corridor):
    """Rows each metre with a bank on both sides; on the right nobody shot from 40 to 60."""
    section = {0.0: 0.0, 3.9: 0.0, 4.85: 0.0, 5.15: 0.0, 5.45: 0.25, 5.80: 0.25}
    rows = [
        (s, side * out, above)
        for s in STATIONS
        for side in (-1, 1)
        for out, above in section.items()
        if (out > 0 or side > 0) and not (side > 0 and out > 0 and 40.0 < s < 60.0)
    ]
    s, o, above = np.array(rows).T
    code = texts(["EC" if abs(x) == 4.85 else "GR" for x in o])
    shots = make_shots(1000.0 + o, 2000.0 + s, floor(s, o) + above, code=code)
    surface, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=100.0))
    codes = {"EC": Code(what="edge", line=True, break_name="edge of clay", max_step_m=12.0)}
    edges = {corridor.name: edge_lines(corridor, CLAY, shots, codes)}
    longest = longest_step(corridor, CLAY, codes)
    return surface, shots, shot_sides(streets_of(corridor)[0], edges, longest)


def test_triangles_across_a_gap_in_the_edge_are_no_clay_and_no_bank(corridor):
    surface, shots, sides = beside_a_truck(corridor)
    at = shots.easting, shots.northing
    alone = machine_path((corridor, CLAY), surface, at, NOTHING, RULES)
    path = machine_path((corridor, CLAY), surface, at, NOTHING, RULES, sides)

    # bank to bank over 20 m the triangles stand in the room as clay that nobody saw
    assert max(c.height_m for c in alone.conflicts if c.side == 1) > 0.1
    # within 0.3 m of a row its own triangles are believed
    assert all(c.end < 40.3 or c.start > 59.6 for c in path.conflicts if c.side == 1)
    assert all(c.length_m < 0.3 and c.volume_m3 < 0.002 for c in path.conflicts)
    assert path.length("NOT SHOT", 1) == pytest.approx(20.0, abs=0.7)
    assert path.length("CLEAR", -1) == pytest.approx(100.0)
    bank = backing_bank(corridor, CLAY, surface, BankRules(layer=CLAY), sides)
    runs = [(run.side, run.state) for run in bank.runs]
    assert runs == [(-1, "OK"), (1, "OK"), (1, "NOT SHOT"), (1, "OK")]
    assert bank.length("NOT SHOT", 1) == pytest.approx(20.0, abs=0.8)


def test_a_short_way_to_the_end_of_an_edge_is_known(corridor):
    # 12 m between two shots of this edge would be joined: 10 m to the street's end are no gap
    line = EdgeLine(1, np.array([10.0, 30.0, 90.0]), np.zeros(3), Tape(STATIONS, STATIONS))
    sides = ShotSides((1,), (line,), 12.0)
    assert not sides.unknown(1, STATIONS).any()
    assert sides.unshot(1, STATIONS).sum() == 20
    assert ShotSides((1,), (), 12.0).unknown(1, STATIONS).all()
    assert not ShotSides().unknown(1, STATIONS).any()
