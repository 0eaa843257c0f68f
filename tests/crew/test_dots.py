"""Spots on the dirt: which, in what order, read where, and what is written of them; by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.crew import dots
from pipeline.model import Part
from pipeline.settings import Rounding, StakeRules, Target

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
