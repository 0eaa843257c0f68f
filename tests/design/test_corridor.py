"""Heights, slopes, edges and references of a road, against closed forms and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from pipeline.design import alignment as line
from pipeline.design import corridor as road
from pipeline.errors import DesignError
from pipeline.model import (
    Corridor,
    ElementRow,
    Layer,
    ProfileRow,
    SectionLayer,
    SectionRow,
    Surface,
)

STRAIGHT = (ElementRow("line", 400.0, start=(5240.0, 3110.0)),)


def level(z=100.0):
    return ProfileRow(0.0, z), ProfileRow(400.0, z)


def test_the_gutter_low_point_of_a_sag(make_corridor, half):
    """A 60 m sag, -2.0 to +1.5 %; crossfall 2 to 3 % from 0+190 to 0+220, half width 4.0."""
    sag = (ProfileRow(50.0, 53.0), ProfileRow(200.0, 50.0, 30.0, 30.0), ProfileRow(350.0, 52.25))
    sections = [
        SectionRow(
            str(fall), start, end, (SectionLayer("finish", *2 * [half(("gutter", 4.0, fall))]),)
        )
        for fall, start, end in ((2.0, 50.0, 190.0), (3.0, 220.0, 350.0))
    ]
    corridor = make_corridor(STRAIGHT, sag, sections)

    for side in (-1, 1):
        (low,) = road.edge_extremes(corridor, "finish", "gutter", side)
        assert low.kind == "low"
        assert low.station == pytest.approx(206.571, abs=5e-4)
        assert low.elevation == pytest.approx(50.1566, abs=5e-5)
        assert low.offset == side * 4.0
        # 2.29 m past the low point of the centreline
        assert low.station - 204.286 == pytest.approx(2.29, abs=5e-3)


def test_curb_references_of_the_job_analysis(make_corridor, half):
    """Worked by hand: hub 100.512, TBC 100.277, straight curb 150 high, pan 0.30 at 6 %."""
    curb = half(("lip", 4.0, 2.0), ("flowline", 0.30, 6.0), ("top back of curb", 0.0, None, 0.150))
    # the profile so high that the top back of curb is at 100.277
    z = 100.277 - 0.150 + 0.30 * 0.06 + 4.0 * 0.02
    corridor = make_corridor(
        STRAIGHT, level(z), [SectionRow("A", 0.0, 400.0, (SectionLayer("finish", curb, curb),))]
    )
    hub = 100.512
    _, tbc = road.break_line(corridor, "finish", "top back of curb", 1, 20.0)
    to_lip = road.convert_reference(corridor, "finish", "top back of curb", "lip", 1, 20.0)

    assert hub - tbc == pytest.approx(0.235, abs=1e-9)
    assert hub - (tbc + to_lip) == pytest.approx(0.367, abs=1e-9)
    assert -to_lip == pytest.approx(0.132, abs=1e-9)


def test_reference_conversions_form_a_consistent_table(make_corridor, half):
    """TBC-FL is the curb height, FL-lip the pan, BW-TBC the walk; every pair adds up."""
    curb = half(
        ("lip", 4.0, 2.0), ("flowline", 0.30, 6.0), ("top back of curb", 0.0, None, 0.150),
        ("back of walk", 1.5, -2.0),
    )  # fmt: skip
    corridor = make_corridor(
        STRAIGHT, level(), [SectionRow("A", 0.0, 400.0, (SectionLayer("finish", curb, curb),))]
    )
    # heights above the lip by hand
    above = {"lip": 0.0, "flowline": -0.018, "top back of curb": 0.132, "back of walk": 0.162}

    for start, z0 in above.items():
        for end, z1 in above.items():
            dz = road.convert_reference(corridor, "finish", start, end, -1, [0.0, 200.0, 400.0])
            np.testing.assert_allclose(dz, z1 - z0, rtol=0, atol=1e-12)


@pytest.mark.parametrize("name", ["", "curb", "lip "])
def test_a_height_without_a_known_reference_is_refused(street, name):
    message = "a break without a name is asked for" if not name else f"break '{name}' is asked for"

    with pytest.raises(
        DesignError, match=f"layer 'finish', right: {message}; there are crown, lip"
    ):
        road.convert_reference(street, "finish", "back", name, 1, 20.0)
    with pytest.raises(DesignError, match=message):
        road.break_line(street, "finish", name, 1, 20.0)


def test_a_reference_that_a_section_lacks_is_nan_there(street):
    dz = road.convert_reference(street, "finish", "lip", "back", 1, [50.0, 109.9, 110.0, 150.0])
    offset, z = road.break_line(street, "finish", "back", 1, [50.0, 109.9, 110.0, 150.0])

    for values in (dz, offset, z):
        assert np.isnan(values).tolist() == [False, False, True, True]


def test_planes_of_the_job_analysis(make_corridor, half):
    """Worked by hand: FS 100.500, asphalt 0.09, gravel 0.20, p 0.015, t 0.30."""
    drops = {"finish": 0.0, "gravel": 0.09, "stabilised": 0.29, "clay": 0.305, "rotor": 0.605}
    edge = half(("edge", 4.0, 2.0))
    layers = tuple(SectionLayer(name, edge, edge, drop) for name, drop in drops.items())
    corridor = make_corridor(
        STRAIGHT, level(100.5), [SectionRow("A", 0.0, 400.0, layers)], tuple(drops)
    )

    z = [float(road.elevation(corridor, 100.0, 0.0, name)) for name in drops]

    np.testing.assert_allclose(z, [100.500, 100.410, 100.210, 100.195, 99.895], atol=1e-9)
    # thickness identity at 100 places to 0.1 mm (a bar of our own)
    s, o = np.linspace(0.0, 400.0, 100), np.linspace(-4.0, 4.0, 100)
    thick = road.elevation(corridor, s, o, "finish") - road.elevation(corridor, s, o, "gravel")
    np.testing.assert_allclose(thick, 0.09, rtol=0, atol=1e-4)


def test_each_layer_has_its_own_crossfall_and_width(make_corridor, half):
    """The clay runs straight under curb and gutter, with its own fall, wider than the top."""
    top, clay = half(("lip", 4.0, 2.0)), half(("edge", 4.9, 2.5))
    corridor = make_corridor(
        STRAIGHT,
        level(),
        [
            SectionRow(
                "A",
                0.0,
                400.0,
                (SectionLayer("finish", top, top), SectionLayer("clay", clay, clay, 0.4)),
            )
        ],
        ("finish", "clay"),
    )
    offset = np.array([-4.9, -4.0, 0.0, 2.0, 4.0, 4.5, 4.91])

    finish = road.elevation(corridor, 10.0, offset, "finish")
    low = road.elevation(corridor, 10.0, offset, "clay")

    np.testing.assert_allclose(finish, [np.nan, 99.92, 100, 99.96, 99.92, np.nan, np.nan])
    np.testing.assert_allclose(
        low, [99.4775, 99.5, 99.6, 99.55, 99.5, 99.4875, np.nan], rtol=0, atol=1e-9
    )


def shape(half):
    right = half(("lip", 3.5, 2.0), ("flowline", 0.3, None, -0.024), ("back", 0.0, None, 0.15))
    return SectionRow("A", 0.0, 400.0, (SectionLayer("finish", right, half(("edge", 5.0, -3.0))),))


def test_crossfall_is_plus_where_it_rises_to_the_right(make_corridor, half):
    corridor = make_corridor(STRAIGHT, level(), [shape(half)])

    slope = road.crossfall(corridor, 10.0, [-5.1, -4.0, 0.0, 2.0, 3.5, 3.7, 3.8, 3.9], "finish")

    # at a break the crown's side counts, at the crown the right half
    np.testing.assert_allclose(
        slope, [np.nan, -0.03, -0.02, -0.02, -0.02, -0.08, -0.08, np.nan], atol=1e-12
    )


def test_on_a_vertical_face_the_foot_counts_and_the_break_has_its_own_height(make_corridor, half):
    corridor = make_corridor(STRAIGHT, level(), [shape(half)])

    # a micrometre of rounding past the edge is still on it, ten are not
    z = road.elevation(corridor, 10.0, [3.8, 3.8 + 5e-7, 3.8 + 1e-5], "finish")
    _, back = road.break_line(corridor, "finish", "back", 1, 10.0)

    np.testing.assert_allclose(z, [99.906, 99.906, np.nan], atol=1e-6)
    assert float(back) == pytest.approx(100.056)


def test_a_shifted_crown_keeps_its_break_lines(make_corridor, half):
    """The crown moves by 0.6 m over a transition; crossfall kept, so the lips move too."""
    lip = half(("lip", 4.0, 2.0))
    sections = [
        SectionRow("A", 0.0, 100.0, (SectionLayer("finish", lip, lip),)),
        SectionRow("B", 140.0, 400.0, (SectionLayer("finish", lip, lip, crown_offset=0.6),)),
    ]
    corridor = make_corridor(STRAIGHT, level(), sections)
    s = np.array([50.0, 110.0, 140.0])

    offset, z = road.break_line(corridor, "finish", "crown", 1, s)

    np.testing.assert_allclose(offset, [0.0, 0.15, 0.6])
    np.testing.assert_allclose(z, 100.0)
    np.testing.assert_allclose(
        road.elevation(corridor, s, 0.0, "finish"), [100.0, 99.997, 99.988], atol=1e-12
    )


def test_a_crossfall_that_passes_through_level_is_linear_in_station(make_corridor, half):
    """-2 % to +2 % over 40 m about the crown."""
    sections = [
        SectionRow("A", 0.0, 100.0, (SectionLayer("finish", *2 * [half(("lip", 4.0, 2.0))]),)),
        SectionRow("B", 140.0, 400.0, (SectionLayer("finish", *2 * [half(("lip", 4.0, -2.0))]),)),
    ]
    corridor = make_corridor(STRAIGHT, level(), sections)
    s = np.linspace(100.0, 140.0, 40)

    slope = road.crossfall(corridor, s, 2.0, "finish")

    np.testing.assert_allclose(slope, -0.02 + 0.04 * (s - 100.0) / 40.0, rtol=0, atol=1e-12)


@settings(max_examples=25, deadline=None)
@given(
    fall=st.tuples(st.floats(-4.0, 6.0), st.floats(-4.0, 6.0)),
    width=st.tuples(st.floats(3.0, 6.0), st.floats(3.0, 6.0)),
    where=st.tuples(st.floats(60.0, 150.0), st.floats(10.0, 100.0)),
    circular=st.booleans(),
)
def test_edge_extremes_are_the_ones_a_minimiser_finds(
    make_corridor, half, fall, width, where, circular
):
    curve = {"radius": 1700.0} if circular else {"length_in": 35.0, "length_out": 20.0}
    points = (ProfileRow(0.0, 103.0), ProfileRow(150.0, 100.0, **curve), ProfileRow(400.0, 103.0))
    sections = [
        SectionRow(name, start, end, (SectionLayer("finish", *2 * [half(("lip", w, f))]),))
        for name, start, end, w, f in (
            ("A", 0.0, where[0], width[0], fall[0]),
            ("B", where[0] + where[1], 400.0, width[1], fall[1]),
        )
    ]
    corridor = make_corridor(STRAIGHT, points, sections)

    def height(s):
        return float(road.break_line(corridor, "finish", "lip", 1, s)[1])

    found = road.edge_extremes(corridor, "finish", "lip", 1)

    lows = [point for point in found if point.kind == "low"]
    # a bracket of a decimetre about the lowest of a fine row: a wide one can hold two dips
    row = np.linspace(0.0, 400.0, 8001)
    about = row[np.argmin(road.break_line(corridor, "finish", "lip", 1, row)[1])]
    bracket = max(about - 0.1, 0.0), min(about + 0.1, 400.0)
    lowest = minimize_scalar(height, bounds=bracket, method="bounded", options={"xatol": 1e-9})
    # a bounded minimiser stops some 1e-6 m short of a corner
    assert min(point.elevation for point in lows) == pytest.approx(lowest.fun, abs=1e-6)
    # a minimiser knows a station of a parabola to the square root of that
    best = min(lows, key=lambda point: point.elevation)
    assert abs(best.station - lowest.x) < 0.05 or best.station_to > best.station
    for point in found:
        assert height(point.station) == pytest.approx(point.elevation, abs=1e-9)


def test_an_abrupt_change_is_no_extreme(street):
    found = road.edge_extremes(street, "finish", "lip", 1)

    assert [point.kind for point in found] == ["low", "high", "low"]
    assert all(abs(point.station - 110.0) > 1e-6 for point in found)


def test_heights_by_grid_are_those_by_station(street):
    rng = np.random.default_rng(2)
    s, o = rng.uniform(0.0, 206.0, 500), rng.uniform(-5.0, 5.0, 500)
    easting, northing, _ = line.point_at(street.alignment, s, o)

    by_grid = road.elevation_at(street, easting, northing, "finish")
    by_station = road.elevation(street, s, o, "finish")

    same = ~np.isnan(by_station) & ~np.isnan(by_grid)
    assert same.mean() > 0.5
    # a place on a face could fall on either side of it
    differs = np.abs(by_grid - by_station)[same] > 1e-6
    assert differs.mean() < 0.01


def test_off_the_ends_of_the_alignment_nothing_is_designed(make_corridor, half):
    lip = half(("lip", 4.0, 2.0))
    section = SectionRow("A", -50.0, 500.0, (SectionLayer("finish", lip, lip),))
    points = (ProfileRow(-50.0, 99.0), ProfileRow(500.0, 104.5))
    corridor = make_corridor(STRAIGHT, points, [section])

    z = road.elevation(corridor, [-0.001, 0.0, 400.0, 400.001], 1.0, "finish")

    assert np.isnan(z).tolist() == [True, False, False, True]
    start = corridor.alignment.easting[0], corridor.alignment.northing[0]
    behind = road.elevation_at(
        corridor, start[0] - math.sin(0.7), start[1] - math.cos(0.7), "finish"
    )
    assert np.isnan(behind).all()


def surface_corridor(street):
    triangle = Surface(
        name="rock", origin=np.array([5240.0, 3110.0]), x=np.array([0.0, 9.0, 0.0]),
        y=np.array([0.0, 0.0, 9.0]), z=np.array([90.0, 91.0, 92.0]),
        triangles=np.array([[0, 1, 2]], dtype=np.int32), neighbours=np.full((1, 3), -1),
        fixed=np.ones((1, 3), dtype=bool), point=np.full(3, -1),
    )  # fmt: skip
    layer = Layer(name="rock", title="rock", surface=triangle)
    return Corridor("both", street.alignment, street.profile, (*street.layers, layer))


def test_a_surface_layer_is_read_by_the_function_that_is_passed_in(street):
    corridor = surface_corridor(street)

    z = road.elevation_at(
        corridor, [1.0, 2.0], [3.0, 4.0], "rock",
        interpolate=lambda surface, easting, northing: surface.z[0] + easting + 10 * northing,
    )  # fmt: skip

    assert z.tolist() == [121.0, 132.0]
    with pytest.raises(TypeError, match="layer 'rock' is a surface: pass interpolate"):
        road.elevation_at(corridor, [1.0], [3.0], "rock")


def test_a_surface_layer_has_no_section(street):
    with pytest.raises(DesignError, match="layer 'rock': it is a surface of its own"):
        road.elevation(surface_corridor(street), 10.0, 0.0, "rock")
    with pytest.raises(DesignError, match="layer 'rock': it is a surface of its own"):
        road.break_line(surface_corridor(street), "rock", "lip", 1, 10.0)


def test_an_unknown_layer_is_refused_with_those_there_are(street):
    with pytest.raises(DesignError, match="layer 'clay': no layer 'clay'; there are finish"):
        road.elevation(street, 10.0, 0.0, "clay")
