"""The lines that a crew walks along, on a crossing of which every place is plane geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pipeline.compare import levels, places, streets
from pipeline.compare.compose import ordered
from pipeline.design import alignment as line
from pipeline.design import profile as heights
from pipeline.design import section
from pipeline.model import (
    AlignmentRows,
    BreakRow,
    Corridor,
    ElementRow,
    Finding,
    Layer,
    Part,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
)
from pipeline.settings import LayerRule

WEST, SOUTH = 1000.0, 2000.0
"""Where the main street starts; it runs north."""
LIP_M, FALL, CURB_M = 4.0, 0.02, 1.5


def corridor(name, element, azimuth, points, halves, **more):
    """A corridor of one element; the clay lies 300 mm below the finish."""
    layers = more.get("layers", ("finish", "clay"))
    alignment, _ = line.build(AlignmentRows(name, (element,), 0.0, azimuth))
    profile, _ = heights.build(ProfileRows(name, points))
    right, left = halves
    row = SectionRow(
        "one", points[0].station, points[-1].station,
        tuple(SectionLayer(x, right, left, drop=0.3 * (x == "clay")) for x in layers),
    )  # fmt: skip
    made = section.layers(SectionTable("s.toml", (row,)), [LayerRule(name=x) for x in layers])
    return Corridor(name, alignment, profile, made, on=more.get("on", "crown"))


@pytest.fixture(scope="module")
def design(request):
    """A main street, a side street from its lip to the east, a return between, a patch."""
    both = (BreakRow("lip", LIP_M, fall=FALL), BreakRow("back", CURB_M, step=0.15))
    rise = (ProfileRow(0.0, 100.0), ProfileRow(200.0, 102.0))
    main = corridor(
        "Long Road", ElementRow("line", 200.0, start=(WEST, SOUTH)), 0.0, rise, (both, both)
    )
    narrow = (BreakRow("lip", 3.0, fall=FALL),)
    lane = corridor(
        "Oak Lane", ElementRow("line", 50.0, start=(WEST + LIP_M, SOUTH + 100.0)), math.pi / 2,
        (ProfileRow(0.0, 101.0), ProfileRow(50.0, 101.0)), (narrow, narrow), layers=("finish",),
    )  # fmt: skip
    # a quarter of 9 m from the main street's lip, southward, to the lane's northern lip; its
    # curb lies on the inside of the corner, to the left
    turn = ElementRow("arc", 4.5 * math.pi, 9.0, 9.0, -1, start=(WEST + LIP_M, SOUTH + 112.0))
    curb = corridor(
        "NE corner", turn, math.pi, (ProfileRow(0.0, 101.0), ProfileRow(4.5 * math.pi, 101.0)),
        ((), (BreakRow("back", CURB_M, step=0.15),)), on="lip",
    )  # fmt: skip
    square = request.getfixturevalue("rectangle")(10.0, 10.0, (103.0, 0, 0), (WEST + 70.0, SOUTH))
    patch = Part("patch", "patch", surfaces=(replace(square, name="finish"),))
    parts = (
        Part("NE corner", "return", corridor=curb), Part("Oak Lane", "street", corridor=lane),
        Part("Ode Loop", "street", corridor=replace(lane, name="Ode Loop")), patch,
    )  # fmt: skip
    return replace(main, parts=parts, rank=1)


@pytest.fixture(scope="module")
def all_streets(design):
    return {one.name: one for one in streets.streets_of(design)}


def test_every_part_with_a_line_is_a_street_of_its_own(design, all_streets):
    told = [(one.prefix, one.kind) for one in all_streets.values()]

    assert [*all_streets] == ["Long Road", "NE corner", "Oak Lane", "Ode Loop"]
    assert told == [("", "street"), ("NC", "return"), ("OL", "street"), ("OL2", "street")]
    assert all_streets["Long Road"].corridor is design
    assert all_streets["Long Road"].id("0100.0L") == "0100.0L"
    assert all_streets["Oak Lane"].id("0100.0L") == "OL-0100.0L"
    # a return is set at its quarters, every 9 m * 90° / 4
    at, what = zip(*all_streets["NE corner"].marks, strict=True)
    np.testing.assert_allclose(at, 1.125 * math.pi * np.arange(5))
    assert what == ("PC", "1/4", "1/2", "3/4", "PT")


def test_a_street_knows_its_layers_and_breaks(all_streets):
    lane, corner = all_streets["Oak Lane"], all_streets["NE corner"]

    assert (lane.has("finish"), lane.has("clay"), corner.has("clay")) == (True, False, True)
    assert (lane.shows("lip"), lane.shows("back")) == (True, False)
    # the line of the return is the lip, and no crown
    assert (corner.shows("lip"), corner.shows("back")) == (True, True)
    words = [streets.side_word(one.corridor, 0.0) for one in (lane, corner)]
    assert words == ["CL", ""]
    assert streets.side_word(corner.corridor, -1.5) == streets.side_word(None, -1.5) == "L"


def test_each_street_sees_the_others_in_the_same_order(design, all_streets):
    names = ["NE corner", "Long Road", "Oak Lane", "Ode Loop", "patch"]
    place = np.array([WEST + 5.0]), np.array([SOUTH + 100.0])
    for one in all_streets.values():
        assert [name for name, _ in ordered(one.corridor)] == names
        along = line.locate(one.corridor.alignment, *place)
        z, owner = levels.ruling(one.corridor, "finish", (along.station, along.offset), place)
        # within the main street's section, which comes before the lane: 1 m up the curb
        assert owner.tolist() == [1]
        assert float(z[0]) == pytest.approx(101.0 - FALL * LIP_M + 0.15 / CURB_M)


def grid(*places):
    east, north = np.array(places).T
    return WEST + east, SOUTH + north


def along(of, at):
    feet = line.locate(of.alignment, *at)
    return feet.station, feet.offset


def test_heights_come_from_the_first_part_that_has_the_layer(design):
    at = grid((2.0, 50.0), (20.0, 101.0), (75.0, 5.0), (30.0, 30.0), (-3.0, 120.0))
    finish, owner = levels.ruling(design, "finish", along(design, at), at)
    clay, below = levels.ruling(design, "clay", along(design, at), at)

    # crown less crossfall: 100.5 - 0.04; 101 - 0.02; the patch; nothing; 101.2 - 0.06
    np.testing.assert_allclose(finish, [100.46, 100.98, 103.0, np.nan, 101.14], atol=1e-9)
    assert owner.tolist() == [1, 2, 4, levels.NOBODY, 1]
    np.testing.assert_allclose(clay, [100.16, np.nan, np.nan, np.nan, 100.84], atol=1e-9)
    assert below.tolist() == [1, -1, -1, -1, 1]
    np.testing.assert_allclose(
        levels.elsewhere(design, "finish", *at), [np.nan, 100.98, 103.0, np.nan, np.nan], atol=1e-9
    )


def test_a_layer_given_as_triangles_is_asked_there(design, rectangle):
    level = Layer("rock", "rock", surface=rectangle(10.0, 10.0, (99.0, 0, 0), (WEST, SOUTH)))
    lane = design.parts[1]
    with_rock = replace(lane.corridor, layers=(*lane.corridor.layers, level))
    whole = replace(design, parts=(replace(lane, corridor=with_rock),), rank=0)
    at = grid((2.0, 5.0), (20.0, 101.0))

    # triangles reach as far as they reach, off the ends of the lane's line too
    z, owner = levels.ruling(whole, "rock", along(whole, at), at)
    np.testing.assert_allclose(z, [99.0, np.nan])
    assert owner.tolist() == [1, levels.NOBODY]


def test_a_place_is_the_streets_own_or_that_of_ground_without_a_line(design, all_streets):
    at = grid((2.0, 50.0), (20.0, 101.0), (75.0, 5.0), (30.0, 30.0))
    lane = all_streets["Oak Lane"].corridor

    def claimed(one):
        return streets.claimed(one, "finish", along(one, at), at).tolist()

    assert claimed(design) == [True, False, True, False]
    assert claimed(lane) == [False, True, True, False]


def test_an_edge_in_a_mouth_ends_nothing(design):
    station = np.array([50.0, 96.9, 97.1, 102.9, 103.1, np.nan])
    edge = station, np.full(6, LIP_M + CURB_M)

    found = streets.inward(design, "finish", 1, edge)

    # the lane is 3 m wide on either side of 100
    assert found.tolist() == [False, False, True, True, False, False]
    assert not streets.inward(design, "finish", -1, (station, -edge[1])).any()
    alone = replace(design, parts=(), rank=0)
    assert not streets.inward(alone, "finish", 1, edge).any()


def test_a_break_is_told_on_its_side_and_not_in_a_mouth(design, all_streets):
    finish, station = design.layer("finish"), np.array([50.0, 100.0])
    offset, z = streets.break_beside(design, finish, "back", 1, station)

    np.testing.assert_allclose(offset, [LIP_M + CURB_M, np.nan])
    np.testing.assert_allclose(z, [100.5 - FALL * LIP_M + 0.15, np.nan])
    left, _ = streets.break_beside(design, finish, "back", -1, station)
    np.testing.assert_allclose(left, [-LIP_M - CURB_M] * 2)
    nothing = streets.break_beside(design, finish, "walk", 1, station)
    assert np.isnan(nothing).all()
    assert [streets.edge_name(finish, side) for side in (-1, 1)] == ["back", "back"]

    corner = all_streets["NE corner"].corridor
    own = corner.layer("finish")
    assert streets.own_name(corner, "lip") == "crown"
    # the line of the return is its lip on the side of its curb only
    has = [streets.has_break(corner, own, *one) for one in (("lip", -1), ("lip", 1), ("back", 1))]
    assert has == [True, False, False]
    offset, z = streets.break_beside(corner, own, "lip", -1, np.array([7.0]))
    np.testing.assert_allclose([offset[0], z[0]], [0.0, 101.0], atol=1e-9)


def test_a_hub_belongs_to_the_street_whose_break_is_nearest(design, all_streets):
    at = grid(
        (5.5, 50.0),  # 1.5 m behind the main street's right lip
        (-5.5, 100.0),
        (30.0, 96.0),  # 1 m behind the lane's southern lip
        (13.0 - 7.5 / math.sqrt(2), 112.0 - 7.5 / math.sqrt(2)),  # 1.5 m inside the return
        (60.0, 103.0),  # 6 m beyond the lane's end, beside its lip
    )
    number, feet = streets.nearest(tuple(all_streets.values()), "lip", at)

    assert number.tolist() == [0, 0, 2, 1, 2]
    lane = feet[2]
    np.testing.assert_allclose(lane.station[[2, 4]], [26.0, 56.0])
    np.testing.assert_allclose(lane.offset[[2, 4]], [4.0, -3.0], atol=1e-9)
    np.testing.assert_allclose(feet[1].offset[3], -1.5, atol=1e-9)
    # a break that no street has: the first street, for want of any
    assert streets.nearest(tuple(all_streets.values()), "walk", at)[0].tolist() == [0] * 5


def test_a_place_is_told_along_the_part_that_rules_or_lies_nearest(design):
    at = grid((2.0, 50.0), (20.0, 101.0), (25.0, 108.0), (-9.0, 150.0))
    found, number, feet = streets.home_of(design, "finish", at)

    assert [found[k].name for k in number] == ["Long Road", "Oak Lane", "Oak Lane", "Long Road"]
    np.testing.assert_allclose(feet.station, [50.0, 16.0, 21.0, 150.0], atol=1e-9)
    np.testing.assert_allclose(feet.offset, [2.0, -1.0, -8.0, -9.0], atol=1e-9)
    alone = replace(design, parts=(), rank=0)
    _, number, feet = streets.home_of(alone, "finish", at)
    assert number.tolist() == [0] * 4
    np.testing.assert_allclose(feet.offset, [2.0, 20.0, 25.0, -9.0], atol=1e-9)


def test_a_finding_of_a_side_street_gets_its_place_on_the_main_one(design, all_streets):
    lane = all_streets["Oak Lane"].corridor
    told = streets.told_from(design, lane, Finding("note", "k", "words", "do", station=10.0))
    beside = Finding("note", "k", "words", "do", station=10.0, offset=2.0)
    nowhere = Finding("note", "k", "words", "do")

    assert told.text == "Oak Lane: words"
    assert (told.station, told.offset) == pytest.approx((100.0, 14.0))
    # 2 m to the right of a line that runs east is 2 m to the south
    moved = streets.told_from(design, lane, beside)
    assert (moved.station, moved.offset) == pytest.approx((98.0, 14.0))
    assert math.isnan(streets.told_from(design, lane, nowhere).station)


def test_a_place_has_every_layer_and_its_cut(design, rectangle):
    ground = rectangle(10.0, 100.0, (100.0, 0.0, 0.0), (WEST, SOUTH))
    by_line = places.at_station(design, ground, 50.0, 2.0)
    by_grid = places.at_grid(design, ground, WEST + 2.0, SOUTH + 50.0)

    assert (by_line.easting, by_line.northing) == pytest.approx((WEST + 2.0, SOUTH + 50.0))
    assert (by_grid.station, by_grid.offset) == pytest.approx((50.0, 2.0))
    assert by_line.called == by_grid.called == "0+050.000"
    for place in (by_line, by_grid):
        assert place.ground == pytest.approx(100.0)
        assert place.layers == pytest.approx({"finish": 100.46, "clay": 100.16})
        assert place.cut == pytest.approx({"finish": -0.46, "clay": -0.16})
        assert place.other_feet == ()

    unshot = places.at_station(design, None, 50.0, 2.0)
    assert all(math.isnan(one) for one in (unshot.ground, *unshot.cut.values()))
    given = places.with_ground(unshot, 100.26)
    assert given.cut == pytest.approx({"finish": -0.20, "clay": 0.10})
    assert places.with_ground(unshot, None) is unshot


def test_inside_a_bend_a_place_has_a_second_foot():
    bend = ElementRow("arc", 10.0 * math.pi, 10.0, 10.0, 1, start=(0.0, 0.0))
    road = corridor(
        "Loop", bend, 0.0, (ProfileRow(0.0, 10.0), ProfileRow(10.0 * math.pi, 10.0)),
        ((BreakRow("lip", 3.0, fall=FALL),), (BreakRow("lip", 3.0, fall=FALL),)),
    )  # fmt: skip
    # half a circle about (10, 0) from west to east, ahead to the north: (16, 0) lies 4 m inside
    # the end and 16 m inside the start
    place = places.at_grid(road, None, 16.0, 0.0)

    assert (place.station, place.offset) == pytest.approx((10.0 * math.pi, 4.0))
    ((station, offset),) = place.other_feet
    assert (station, offset) == pytest.approx((0.0, 16.0))
    assert (place.called, place.others_called) == ("0+031.416", ("0+000.000",))
