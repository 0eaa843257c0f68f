"""Design checks, each with a design that is just inside its limit and one just outside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.design import changes, checks, thickness
from pipeline.design.alignment import point_at
from pipeline.model import (
    CrossfallChange,
    ElementRow,
    Part,
    ProfileRow,
    SectionLayer,
    SectionRow,
)
from pipeline.settings_design import DesignLimits, LayerRule

LIMITS = DesignLimits()


@pytest.fixture(scope="module")
def street(make_corridor, half):
    """A straight street of given PVIs; lips at 4.0, gutter, clay 0.4 below."""

    def make(points, fall=2.0, clay_drop=0.4):
        finish = half(
            ("lip", 4.0, fall), ("flowline", 0.3, None, -0.018), ("back", 0.2, None, 0.15)
        )
        clay = half(("edge of clay", 5.0, 2.0))
        end = points[-1].station
        return make_corridor(
            [ElementRow("line", end, start=(5240.0, 3110.0))], points,
            [SectionRow("one", 0.0, end, (
                SectionLayer("finish", finish, finish),
                SectionLayer("clay", clay, clay, drop=clay_drop),
            ))],
            names=("finish", "clay"),
        )  # fmt: skip

    return make


def straight(*grades, length=100.0):
    points, z = [ProfileRow(0.0, 50.0)], 50.0
    for k, grade in enumerate(grades, start=1):
        z += grade * length
        points.append(ProfileRow(k * length, z))
    return points


def test_a_sound_street_has_nothing_to_tell(street):
    rules = [LayerRule(name="finish"), LayerRule(name="clay", least_m=0.25)]
    assert checks.design_findings(street(straight(0.01)), LIMITS, rules) == ()


@pytest.mark.parametrize(("second", "told"), [(0.019, 0), (0.0201, 1), (-0.011, 1)])
def test_a_grade_break_over_its_limit_is_told(street, second, told):
    found = checks.grade_breaks(street(straight(0.01, second)), LIMITS)

    assert len(found) == told
    assert all(f"{100 * (second - 0.01):+.2f} %" in one.text for one in found)
    assert all(one.station == pytest.approx(100.0) for one in found)


def test_k_values_are_held_against_the_published_table(published):
    ref = published("REF-VC-11")
    crest = [checks.K_FEET_PER_PERCENT[v][0] for v in ref.inputs["V_mph"]]
    sag = [checks.K_FEET_PER_PERCENT[v][1] for v in ref.inputs["V_mph"]]

    ref.check("K_crest", crest)
    ref.check("K_sag", sag)


@pytest.mark.parametrize(("length", "told"), [(23.2, 0), (23.1, 1)])
def test_a_crest_shorter_than_the_table_asks_is_told(street, length, told):
    """2 % to -2 % at 30 mph: K 19 ft/% is 5.791 m/%, so 4 x 5.791 = 23.165 m."""
    points = [ProfileRow(0.0, 50.0), ProfileRow(100.0, 52.0, length / 2, length / 2),
              ProfileRow(200.0, 50.0)]  # fmt: skip
    found = checks.short_curves(street(points), replace(LIMITS, speed_mph=30))

    assert len(found) == told
    assert not checks.short_curves(street(points), LIMITS)
    assert all("crest curve of 23.1 m has K 5.8" in one.text for one in found)


@pytest.mark.parametrize(("fall", "told"), [(2.0, 0), (0.9, 2), (6.5, 2)])
def test_crossfall_outside_its_range_is_told_side_by_side(street, fall, told):
    found = checks.crossfalls(street(straight(0.01), fall=fall), LIMITS)

    assert len(found) == told
    assert all(f"{fall:+.2f} %" in one.text and "100.0 m" in one.text for one in found)


def test_of_a_crossfall_too_steep_the_steepest_is_told(street):
    """The left half goes from 2 % to 8 % over 60 m, where it ends: 6 % is passed at 120."""
    plain = street(straight(0.01, length=200.0))
    turn = CrossfallChange("lip", ((80.0, 0.02, 0.02), (140.0, 0.08, 0.02)))
    (finding,) = checks.crossfalls(
        replace(plain, layers=changes.apply(plain.layers, (turn,))), LIMITS
    )

    assert finding.station == pytest.approx(120.0, abs=0.002)
    assert "is +8.00 % to 0+140.0, 20.0 m" in finding.text


def test_a_flat_spot_of_a_turning_crossfall_has_its_length(street):
    """Left from 2 % down to 2 % up over 40 m along 0.3 %; flat where the fall is small.

    Along the crown the grade is 0.3 %, at the lip 0.3 % + 4 m x 0.1 %/m = 0.7 %. The
    steepest slope is least at the crown: flat while the fall is under sqrt(0.5² - 0.3²) =
    0.4 %, which is 2 x 0.4 / 0.1 = 8 m about 100.
    """
    points = [ProfileRow(0.0, 50.0), ProfileRow(200.0, 50.6)]
    turn = CrossfallChange("lip", ((80.0, 0.02, 0.02), (120.0, -0.02, 0.02)))
    plain = street(points)
    turned = replace(plain, layers=changes.apply(plain.layers, (turn,)))

    left = [one for one in checks.flat_spots(turned, LIMITS) if "left" in one.text]
    (finding,) = left
    assert finding.station == pytest.approx(96.0, abs=0.002)
    assert "over 8.00 m, to 0+104.0" in finding.text
    assert "the steepest slope there is 0.30 %" in finding.text
    assert not checks.flat_spots(plain, LIMITS)


@pytest.mark.parametrize(("grade", "told"), [(0.0041, 0), (0.0039, 2)])
def test_a_gutter_flatter_than_its_least_is_told(street, grade, told):
    found = checks.gutters(street(straight(grade)), LIMITS)

    assert len(found) == told
    assert all(one.severity == "person" for one in found)


def test_about_a_low_point_a_gutter_is_flat_by_design(street):
    """K 10 m/%: within 0.4 % of the low point lie 2 x 0.4 x 10 = 8 m."""
    points = [ProfileRow(0.0, 52.0), ProfileRow(100.0, 50.0, 20.0, 20.0), ProfileRow(200.0, 52.0)]
    found = checks.gutters(street(points), LIMITS)

    assert [one.severity for one in found] == ["note", "note"]
    assert all("over 8.0 m, to 0+104.0" in one.text for one in found)


def test_the_gutter_of_a_bend_is_measured_along_itself(make_corridor, half):
    """0.45 % along the line is 0.41 % along a gutter 10 % longer, and 0.38 % along one 18 %."""
    finish = half(("lip", 4.0, 2.0), ("flowline", 0.3, None, -0.018))
    bend = make_corridor(
        [ElementRow("arc", 60.0, 24.0, turn=+1, start=(0.0, 0.0))],
        [ProfileRow(0.0, 50.0), ProfileRow(60.0, 50.27)],
        [SectionRow("one", 0.0, 60.0, (SectionLayer("finish", finish, finish),))],
    )
    (finding,) = checks.gutters(bend, LIMITS)

    # the left gutter lies on R 28.3: 0.45 x 24 / 28.3 = 0.38 %
    assert "flowline left" in finding.text


@pytest.mark.parametrize(("least", "told"), [(0.29, 0), (0.31, 1)])
def test_a_thin_layer_is_told_with_its_least_thickness(street, least, told):
    """Clay 0.4 under the crown at the same 2 %, so 0.4 less the pan's 18 mm and 6 mm of fall."""
    rules = [LayerRule(name="finish"), LayerRule(name="clay", least_m=least + 0.09)]
    found = thickness.thin_layers(street(straight(0.01)), rules)

    assert len(found) == told
    # at the flowline: 0.400 - 0.018 + 0.3 m of 2 %
    assert all("only 0.388 m" in one.text for one in found)


def test_thickness_is_measured_at_every_break_of_both_layers(street):
    made = street(straight(0.01))
    upper, lower = made.layers
    found = thickness.least_thickness(upper, lower, np.array([50.0]))

    assert found[0] == pytest.approx(0.388, abs=1e-9)


def test_layers_in_the_right_order_are_not_told(street):
    assert thickness.crossed_layers(street(straight(0.01))) == []


def test_a_layer_under_a_lower_one_is_told_by_name_and_place(street):
    """Clay 0.05 under the crown at the same 2 %: the flowline, 0.0182 lower, stays over it."""
    assert thickness.crossed_layers(street(straight(0.01), clay_drop=0.05)) == []
    (told,) = thickness.crossed_layers(street(straight(0.01), clay_drop=-0.03))

    # at the flowline the finish is 0.018 - 0.3 m of 2 % = 0.012 lower than the clay's plane
    assert "finish lies 0.042 m under clay, which is listed below it, at 0+0" in told.text
    assert " 4.30 " in told.text
    assert told.severity == "person"
    assert (told.kind, told.station) == ("layers out of order", 0.0)


@pytest.fixture
def coming_up(make_corridor, half):
    """A line with a finish of 2 %, and its clay at a drop under the crown on two stretches."""
    flat = half(("lip", 4.0, 2.0))

    def make(length, profile, stretches):
        rows = [
            SectionRow(name, start, end, (
                SectionLayer("finish", flat, flat), SectionLayer("clay", flat, flat, drop=drop),
            ))
            for name, start, end, drop in stretches
        ]  # fmt: skip
        line = [ElementRow("line", length, start=(5240.0, 3110.0))]
        return make_corridor(line, profile, rows, names=("finish", "clay"))

    return make


def test_layers_that_cross_on_a_stretch_are_told_where_it_ends(coming_up):
    """The clay rises from 0.10 under the crown to 0.10 over it: from the middle on it is wrong."""
    made = coming_up(100.0, straight(0.01), [("one", 0.0, 1.0, 0.1), ("two", 99.0, 100.0, -0.1)])
    (told,) = thickness.crossed_layers(made)

    # 0.2 m over the 98 m between: 1 mm under from 0.49 m past the middle
    assert told.station == pytest.approx(50.0 + 0.49, abs=0.02)
    assert "lies 0.100 m under" in told.text
    assert "ends at 0+100.0" in told.text


def test_layers_are_compared_to_the_end_of_the_grade_line_and_no_farther(coming_up):
    """Sections to 200, the grade line to 100.7; from 50 to 150 the clay comes up by 0.8 m."""
    made = coming_up(
        200.0, [ProfileRow(0.0, 50.0), ProfileRow(100.7, 51.0)],
        [("one", 0.0, 50.0, 0.4), ("two", 150.0, 200.0, -0.4)],
    )  # fmt: skip
    (told,) = thickness.crossed_layers(made)

    # 8 mm a metre: 1 mm under from 0.125 m past the middle
    assert told.station == pytest.approx(100.125, abs=0.002)
    assert "lies 0.006 m under" in told.text
    assert "ends at 0+100.7" in told.text
    away = replace(made, profile=replace(made.profile, station=made.profile.station + 300.0))
    assert thickness.crossed_layers(away) == []


def test_what_is_told_of_a_side_street_has_its_place_on_the_main_one(street):
    main = street(straight(0.01))
    side = replace(street(straight(0.001)), name="side")
    turned = replace(
        side.alignment, easting=main.alignment.easting + 7.0, northing=main.alignment.northing + 5.0
    )
    side = replace(side, alignment=turned)
    found = checks.design_findings(
        replace(main, parts=(Part("side", "street", corridor=side),)), LIMITS, []
    )
    gutters = [one for one in found if one.kind == "flat gutter"]

    assert gutters
    east, north, _ = point_at(main.alignment, gutters[0].station, gutters[0].offset)
    assert float(east) == pytest.approx(float(turned.easting[0]), abs=1e-6)
    assert float(north) == pytest.approx(float(turned.northing[0]), abs=1e-6)
