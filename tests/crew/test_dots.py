"""Spots on the dirt: which, in what order, read where, and what is written of them; by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.crew import dots
from pipeline.design import alignment as line
from pipeline.design import profile, section
from pipeline.model import (
    NO_LINES,
    AlignmentRows,
    BreakRow,
    Corridor,
    ElementRow,
    Layer,
    Part,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
    make_shots,
)
from pipeline.settings import LayerRule, Rounding, StakeRules, SurfaceRules, Target
from pipeline.surface import tin

CLAY = Target(layer="clay subgrade")


def test_spots_go_from_left_to_right_station_by_station(corridor):
    """Lip 3.70, flowline 4.00, top back 4.25, edge of clay 4.85; one number for both crowns."""
    at, offset, what = dots.spots(corridor, np.array([50.0, 20.0]), ["clay subgrade", "finish"])

    half = [3.70, 4.00, 4.25, 4.85]
    assert at.tolist() == [20.0] * 9 + [50.0] * 9
    np.testing.assert_allclose(offset[:9], [*(-o for o in half[::-1]), 0.0, *half])
    assert what[4:9] == ["crown", "lip", "flowline", "top back of curb", "edge of clay"]
    assert what[:4] == what[8:4:-1]
    # off the section there is none
    assert len(dots.spots(corridor, np.array([150.0]), ["finish"])[0]) == 0


@pytest.mark.parametrize("width", [3.64, 3.66, 3.74, 3.76])
def test_of_two_breaks_within_5_cm_only_the_inner_one_is_a_spot(corridor, width):
    """The edge of clay beside the lip at 3.70, up to 60 mm away on either side of it."""
    clay = corridor.layer("clay subgrade")
    moved = replace(clay, offset=clay.offset * (width / 4.85))
    street = replace(corridor, layers=(corridor.layers[0], moved))
    _, offset, what = dots.spots(street, np.array([50.0]), ["clay subgrade", "finish"])

    right = [name for name, o in zip(what, offset, strict=True) if 3.0 < o < 3.9]
    inner, outer = ("edge of clay", "lip")[:: 1 if width < 3.70 else -1]
    assert right == ([inner] if abs(width - 3.70) < 0.05 else [inner, outer])


def test_of_two_breaks_at_one_place_the_first_layers_name_stands(corridor):
    clay = corridor.layer("clay subgrade")
    moved = replace(clay, offset=clay.offset * (3.70 / 4.85))
    street = replace(corridor, layers=(corridor.layers[0], moved))
    for names, kept in (
        (["clay subgrade", "finish"], "edge of clay"), (["finish", "clay subgrade"], "lip"),
    ):  # fmt: skip
        _, offset, what = dots.spots(street, np.array([50.0]), names)
        assert what[int(np.argmin(np.abs(offset - 3.70)))] == kept


def test_places_alike_to_the_millimetre_are_one_place(corridor):
    """0.3 mm farther out, the edge of clay is still named where its layer comes first."""
    clay = corridor.layer("clay subgrade")
    street = replace(
        corridor, layers=(corridor.layers[0], replace(clay, offset=clay.offset * (3.7003 / 4.85)))
    )
    _, offset, what = dots.spots(street, np.array([50.0]), ["clay subgrade", "finish"])
    assert what[int(np.argmin(np.abs(offset - 3.70)))] == "edge of clay"
    assert "lip" not in what


def test_the_first_triangle_of_the_ground_is_ground_as_well(corridor):
    """Two triangles, of which each holds one end of the line: either may be number 0."""
    east, north = np.array([994.0, 1006.0, 1006.0, 994.0]), np.array([2020.0, 2020, 2080, 2080])
    ground, _ = tin.build(
        make_shots(east, north, np.full(4, 51.0)), NO_LINES, SurfaceRules(max_edge_m=100.0)
    )
    assert len(ground.triangles) == 2
    read_at = dots.where_shot(corridor, ground, np.array([19.93, 80.12]), np.array([1.0, -1.0]))
    np.testing.assert_allclose(read_at, [20.03, 79.97], atol=1e-9)


def test_a_spot_just_off_the_last_row_is_read_along_the_line(corridor, flat_ground):
    """The ground reaches from 0+020 to 0+080: looked for every 50 mm, 250 mm at most."""
    station = np.array([19.93, 80.12, 19.70, 80.30, 50.0])
    read_at = dots.where_shot(corridor, flat_ground, station, np.zeros(5))

    np.testing.assert_allclose(read_at, [20.03, 79.97, 19.70, 80.30, 50.0], atol=1e-9)
    found = dots.grade_dots(corridor, flat_ground, station[:1], CLAY, Rounding())
    crown = found.what.tolist().index("crown")
    # the number is that of the place where it was read: 51.000 - (50 + 0.02 x 20.03 - 0.40)
    assert found.station[crown] == 19.93
    assert found.note[crown] == "read 0.10 m along the line"
    feet = dots.grade_dots(corridor, flat_ground, station[:1], CLAY, Rounding(marks_unit="ft"))
    assert feet.note[crown] == "read 0.33 ft along the line"
    assert found.ground[crown] - found.design[crown, 0] == pytest.approx(0.9994)
    assert found.northing[crown] == pytest.approx(2020.03)
    inside = dots.grade_dots(corridor, flat_ground, np.array([50.0]), CLAY, Rounding())
    assert set(inside.note) == {""}


def test_spots_of_a_list_stand_5_cm_or_more_apart():
    taken = np.array([[0.0, 0.0]])
    places = np.array([[0.049, 0.0], [0.051, 0.0], [0.09, 0.0], [0.101, 0.0], [5.0, 5.0]])

    assert dots.apart(places, taken).tolist() == [1, 3, 4]
    assert dots.apart(places, np.empty((0, 2))).tolist() == [0, 3, 4]
    assert dots.apart(np.empty((0, 2)), taken).tolist() == []
    # a row of spots every 4 cm keeps every second
    row = np.column_stack([0.04 * np.arange(60), np.zeros(60)])
    assert dots.apart(row, np.empty((0, 2))).tolist() == list(range(0, 60, 2))
    # exactly as far apart as that is far enough
    assert dots.apart(np.array([[0.0, 0.0], [0.05, 0.0]]), np.empty((0, 2))).tolist() == [0, 1]


def test_where_the_sections_have_ended_the_line_itself_is_a_spot(corridor, flat_ground):
    found = np.array([20.0, 60.0]), np.array([-1.0, 1.0]), ["a", "b"]
    station = np.array([20.0, 40.0, 60.0, 80.0])
    assert dots.with_bare_line(corridor, station, found) is found

    whole = replace(corridor, parts=(Part("patch", "patch", surfaces=(flat_ground,)),))
    at, offset, what = dots.with_bare_line(whole, station, found)
    assert at.tolist() == [20.0, 40.0, 60.0, 80.0]
    assert offset.tolist() == [-1.0, 0.0, 1.0, 0.0]
    assert what == ["a", "crown", "b", "crown"]
    assert dots.with_bare_line(whole, station[[0, 2]], found) is found
    # the spots of one station keep their order, however many there are
    many = np.repeat([20.0, 60.0], 100), np.tile(np.arange(100.0), 2), [str(k) for k in range(200)]
    _, offset, what = dots.with_bare_line(whole, station, many)
    assert [w for w in what if w != "crown"] == many[2]
    assert offset[:101].tolist() == [*range(100), 0.0]


def test_the_list_is_in_walking_order_and_ticks_what_is_at_grade(corridor, flat_ground):
    stakes = StakeRules(interval_m=20.0, interval_curve_m=20.0)
    found = dots.whole_dots(corridor, flat_ground, stakes, CLAY, Rounding())
    table = dots.table(found)
    rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]

    assert [row["walk"] for row in rows] == [str(k + 1) for k in range(len(rows))]
    assert len(rows) == 6 * 9
    for row in rows:
        # level ground at 51.000 from 0+020 to 0+080; clay 0.40 below the crown, 2.5 % across
        s, o = float(row["station"].replace("+", "")), float(row["offset_m"])
        clay = 50.0 + 0.02 * s - 0.40 - 0.025 * abs(o)
        assert float(row["clay_subgrade_m"]) == pytest.approx(clay, abs=6e-4)
        assert (float(row["easting_m"]), float(row["northing_m"])) == (1000.0 + o, 2000.0 + s)
        assert row["side"] == ("CL" if o == 0 else "R" if o > 0 else "L")
        if 20.0 <= s <= 80.0:
            assert float(row["cut_m"]) == pytest.approx(51.0 - clay, abs=6e-4)
            at_grade = abs(51.0 - clay) <= 0.010
            assert row["done"] == ("yes" if at_grade else "")
            assert row["kind"] == ("dot" if at_grade else "number")
        else:
            assert (row["cut_m"], row["kind"], row["done"]) == ("", "unshot", "")


def lane_at(name, north, layers):
    """A level lane at 50.60 from easting 1002 to the east, clay 3.0 m wide on either side."""
    rows = AlignmentRows(name, (ElementRow("line", 40.0, start=(1002.0, north)),), 0.0, np.pi / 2)
    points = ProfileRows(name, (ProfileRow(0.0, 50.6), ProfileRow(40.0, 50.6)))
    halves = {
        "finish": (BreakRow("lip", 2.5, fall=0.02),),
        "clay subgrade": (BreakRow("edge of clay", 3.0, fall=0.025),),
    }
    section_row = SectionRow(
        "one", 0.0, 40.0, tuple(SectionLayer(n, halves[n], halves[n], drop=0.1) for n in layers)
    )
    made = section.layers(SectionTable("s", (section_row,)), [LayerRule(name=n) for n in layers])
    lane = Corridor(name, line.build(rows)[0], profile.build(points)[0], made)
    return Part(name, "street", corridor=lane)


@pytest.fixture
def whole(corridor):
    """Oak Lane comes before the street where both claim a place; Ash Lane has no clay."""
    oak = lane_at("Oak Lane", 2050.0, ("finish", "clay subgrade"))
    ash = lane_at("Ash Lane", 2030.0, ("finish",))
    elm = lane_at("Elm Lane", 2070.0, ("finish", "clay subgrade"))
    return replace(corridor, parts=(oak, ash, elm), rank=1)


def test_spots_of_another_street_are_not_painted_twice(whole, corridor, flat_ground):
    station = np.array([40.0, 50.0, 70.0])
    found = dots.grade_dots(whole, flat_ground, station, CLAY, Rounding())
    rows = [(float(s), float(o), w) for s, o, w in
            zip(found.station, found.offset, found.what, strict=True)]  # fmt: skip
    alone = dots.grade_dots(corridor, flat_ground, station, CLAY, Rounding())

    assert len(alone) == 27
    assert len([1 for s, _, _ in rows if s == 40.0]) == 9
    # at 0+050 the lane rules from 2 m on the right; at 0+070 the street does, but its edge of
    # clay there ends nothing: Elm Lane goes on outside it
    at_50 = [o for s, o, _ in rows if s == 50.0]
    assert at_50 == pytest.approx([-4.85, -4.25, -4.0, -3.7, 0.0])
    assert [w for s, o, w in rows if s == 70.0 and o > 0] == ["lip", "flowline", "top back of curb"]
    assert len(found.mark) == len(found.kind) == len(found.id) == len(rows)
    ids = dict(zip(rows, found.id, strict=True))
    assert ids[40.0, 3.7, "lip"] == "0040.0LIPR"


def test_the_spots_of_all_streets_are_named_after_them(whole, flat_ground):
    stakes = StakeRules(interval_m=10.0, interval_curve_m=10.0)
    found = dots.whole_dots(whole, flat_ground, stakes, CLAY, Rounding())
    streets = dict(zip(found.id, found.street, strict=True))

    # Ash Lane has no clay, so nobody paints there
    assert set(found.street) == {"straight street", "Oak Lane", "Elm Lane"}
    assert streets["0040.0LIPR"] == "straight street"
    assert streets["OL-0010.0EOCR"] == "Oak Lane"
    assert streets["EL-0010.0EOCL"] == "Elm Lane"
    assert all(name.startswith("OL-") == (of == "Oak Lane") for name, of in streets.items())
    places = np.stack([found.easting, found.northing], axis=1)
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) + np.eye(len(places))
    assert apart.min() >= dots.SAME_SPOT_M - 1e-9
    # the main street's spots come first
    assert found.street[: (found.street == "straight street").sum()].tolist() == [
        "straight street"
    ] * int((found.street == "straight street").sum())


def test_only_the_target_and_the_first_layer_have_spots(corridor, flat_ground, whole):
    """A third layer between them is not painted; a first layer of triangles has no breaks."""
    finish, clay = corridor.layers
    gravel = replace(
        finish, name="gravel", offset=finish.offset * 0.5, breaks=tuple("abcdefg"),
    )  # fmt: skip
    three = replace(corridor, layers=(finish, gravel, clay))
    found = dots.grade_dots(three, flat_ground, np.array([50.0]), CLAY, Rounding())
    assert len(found) == 9
    assert set(found.what).isdisjoint("abcdefg")

    rock = Layer("rock", "rock", surface=flat_ground)
    first = dots.grade_dots(replace(corridor, layers=(rock, clay)), flat_ground,
                            np.array([50.0]), CLAY, Rounding())  # fmt: skip
    assert first.what.tolist() == ["edge of clay", "crown", "edge of clay"]
    to_rock = dots.grade_dots(replace(corridor, layers=(finish, rock)), flat_ground,
                              np.array([50.0]), Target(layer="rock"), Rounding())  # fmt: skip
    assert len(to_rock) == 7
