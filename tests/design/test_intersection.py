"""The invented intersection with a bulb: returns, warp, corner areas and bulb against mathematics.

The fixture's numbers are those of `pipeline.demo.intersection`, written out there.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.interpolate import CubicHermiteSpline

from pipeline import assemble
from pipeline.compare import compose, levels, ponds
from pipeline.demo import intersection as truth
from pipeline.demo import lay_down
from pipeline.design import alignment as line
from pipeline.design import corners, grade_line, returns
from pipeline.design import corridor as sections
from pipeline.design.checks import design_findings
from pipeline.errors import DesignError
from pipeline.ingest.job.designfiles import read_design
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.model import (
    ElementRow,
    ProfileRow,
    SectionLayer,
    SectionRow,
)
from pipeline.settings import DesignRules
from pipeline.settings_design import ReturnRules
from pipeline.surface.locate import interpolate
from pipeline.surface.mesh import area

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "intersection"


@pytest.fixture(scope="module")
def inputs():
    return read_before_shots(FIXTURE)


@pytest.fixture(scope="module")
def built(inputs):
    return assemble.design(inputs.design, inputs.job)


@pytest.fixture(scope="module")
def design(built):
    return built[0]


@pytest.fixture(scope="module")
def finish(design, inputs):
    return compose.layer_surface(design, "finish", inputs.job.design)


def part(design, name):
    return next(one for one in design.parts if one.name == name)


def test_the_fixture_is_what_its_generator_writes(tmp_path):
    lay_down(tmp_path / "new", "intersection")
    written, kept = (
        {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in folder.rglob("*")
            if path.is_file() and path.name != "README.md"
        }
        for folder in (tmp_path / "new", FIXTURE)
    )
    assert written == kept
    assert sum(map(len, kept.values())) < 200_000
    assert all(data.isascii() and b"\r" not in data for data in kept.values())


def test_returns_touch_both_lips_where_the_tangents_do(design):
    """A square corner: both tangent lengths are the radius, 9 m; the arc a quarter circle."""
    south, north = part(design, "south return").corridor, part(design, "north return").corridor
    for curb, ends in (
        (south, ((1004.0, 2052.0), (1013.0, 2061.0))),
        (north, ((1004.0, 2078.0), (1013.0, 2069.0))),
    ):
        length = curb.alignment.station[-1]
        assert length == pytest.approx(9.0 * math.pi / 2.0, abs=1e-6)
        e, n, _ = line.point_at(curb.alignment, [0.0, length])
        np.testing.assert_allclose(np.stack([e, n], axis=1), ends, atol=1e-6)


def test_a_return_takes_its_heights_from_both_edges(design):
    curb = part(design, "south return").corridor
    length = float(curb.alignment.station[-1])
    z = grade_line.elevation(curb.profile, [0.0, 0.25 * length, length])

    # through street's lip at 52; side street's at 13, lifted by 6/15 of what its lip lies low
    first = 50.0 - 0.012 * 52.0 - 0.08
    lift = (50.0 - 0.012 * 61.0 - 0.08) - (truth.side_height(4.0) - 0.08)
    second = truth.side_height(13.0) - 0.08 + lift * (1.0 - 9.0 / 15.0)
    np.testing.assert_allclose(z, [first, first + 0.25 * (second - first), second], atol=1e-9)
    # its curb keeps both streets' shape
    _, top = sections.break_line(curb, "finish", "top back of curb", 1, [0.0, length])
    np.testing.assert_allclose(top - z[[0, 2]], -0.018 + 0.15, atol=1e-9)


def test_every_seam_is_closed_to_a_millimetre_on_every_layer(design, inputs):
    for layer in design.layers:
        whole = compose.layer_surface(design, layer.name, inputs.job.design)
        assert max(abs(seam.step) for seam in whole.seams) < 0.001
        assert len(whole.seams) >= 13
        assert not compose.seam_findings(layer.name, whole.seams, 0.001)


def test_the_area_of_the_whole_is_that_of_its_parts(design, inputs, finish):
    """Against shapely: the union of all triangles, and each part less those before it."""
    surface = finish.surface
    corners = np.stack([surface.x[surface.triangles], surface.y[surface.triangles]], axis=2)
    kept = shapely.polygons(corners)
    parts = [kept[finish.owner == k] for k in range(len(finish.names))]
    total = sum(float(shapely.area(shapely.union_all(one))) for one in parts)

    assert area(surface) == pytest.approx(total, abs=1e-6)
    assert area(surface) == pytest.approx(float(shapely.area(shapely.union_all(kept))), abs=1e-4)
    assert area(surface) == pytest.approx(float(shapely.area(kept).sum()), abs=1e-9)


def test_the_area_agrees_with_the_plan_worked_out_by_hand(finish):
    """Streets, mouths, corners and bulb from circles and rectangles; abrupt ends cost 1 mm each."""
    phi, big, small = truth.bulb_turn(), truth.BULB_M, truth.THROAT_M
    main = 130.0 * 9.0 - 26.0 * 0.5
    side = (42.0 - 4.0) * 8.0 + (42.0 - 13.0) * 1.0
    corner = 2.0 * (81.0 - math.pi * 81.0 / 4.0)
    # a strip 0.5 m wide outside an arc: the curb lies towards the centre of the returns and of
    # the throat's curves, away from that of the bulb
    ring = lambda radius, width, angle: width * angle * (radius + 0.5 * width)  # noqa: E731
    curbs = 2.0 * ring(8.5, 0.5, math.pi / 2.0) + 2.0 * ring(small - 0.5, 0.5, phi)
    curbs += ring(big, 0.5, math.pi + 2.0 * phi)
    # throat: trapezium from the street's edge to the tangent points, less the circles' segments
    tangent_x, tangent_y = small * math.sin(phi), 4.0 + small * (1.0 - math.cos(phi))
    segment = lambda r, a: 0.5 * r * r * (a - math.sin(a))  # noqa: E731
    flare = tangent_x * (4.0 + tangent_y) - 2.0 * segment(small, phi)
    triangle = (14.0 - tangent_x) * tangent_y
    bulb = flare + triangle + 0.5 * big * big * (math.pi + 2.0 * phi)
    # below: chords of 2 mm on the arcs
    assert area(finish.surface) == pytest.approx(main + side + corner + curbs + bulb, abs=0.15)


def test_every_corner_drains_once_the_basin_is_there(finish, inputs):
    things = inputs.utilities
    basins = list(zip(things.easting.tolist(), things.northing.tolist(), strict=True))

    assert ponds.ponds(finish.surface, 0.001, basins) == ()


def test_without_its_basin_the_bulb_fills_to_the_top_of_its_curb(finish):
    (pond,) = ponds.ponds(finish.surface, 0.001)

    # from the flowline at the back to the top back of curb: 0.140 + 0.010
    assert pond.depth == pytest.approx(0.150, abs=1e-9)
    assert (pond.easting, pond.northing) == pytest.approx((1000.0 + 56.0 + 11.3, 2065.0), abs=1e-3)
    (finding,) = ponds.pond_findings("finish", (pond,))
    assert "150 mm deep at E 1067.30, N 2065.00" in finding.text


def test_the_ring_closes_and_says_so(built):
    (closing,) = [finding for finding in built[1] if finding.kind == "ring closure"]

    assert closing.severity == "note"
    assert "closes to 0.0 and 0.0 mm in plan" in closing.text


def test_a_ring_that_misses_in_height_is_told_and_one_that_is_far_off_refused(inputs, tmp_path):
    def moved(by):
        truth.lay_down(tmp_path)
        path = tmp_path / "design" / "bulb_profile.csv"
        lip = truth.side_height(42.0) - 0.08
        text = path.read_text(encoding="utf-8")
        assert f"{lip:.9f}" in text
        path.write_text(text.replace(f"{lip:.9f}", f"{lip + by:.9f}", 1), encoding="utf-8")
        job = replace(inputs.job, folder=tmp_path)
        return assemble.design(read_design(job), job)

    _, found = moved(0.004)
    (told,) = [finding for finding in found if finding.kind == "ring closure"]
    assert told.severity == "person"
    assert "+4.0 and +0.0 mm in height" in told.text
    with pytest.raises(DesignError, match=r"bulb 'bulb': its edge misses the street by 0\.000 m"):
        moved(0.050)


def test_the_bulb_is_ruled_between_its_centre_and_its_edge(design, finish):
    """On a radius from the centre to the back the height goes evenly from one to the other."""
    back = truth.side_height(42.0) - 0.08 - 0.010 * 0.5 * truth.bulb_length()
    share = np.array([0.1, 0.5, 0.9])
    z = interpolate(finish.surface, 1056.0 + 11.0 * share, np.full(3, 2065.0))

    # the vertical curve of 2 + 2 m at the back lifts its low point by 1 % x 2 m / 2
    np.testing.assert_allclose(
        z, truth.side_height(56.0) + share * (back + 0.010 - truth.side_height(56.0)), atol=2e-4
    )


def test_triangles_and_exact_heights_agree_within_the_chord(design, finish, inputs):
    """The composed surface against `levels`, which evaluates every part exactly."""
    rng = np.random.default_rng(11)
    e, n = rng.uniform(995.0, 1068.0, 6000), rng.uniform(2000.0, 2130.0, 6000)
    feet = line.locate(design.alignment, e, n)
    exact = levels.layer_elevation(design, design.layers[0], feet.station, feet.offset, e, n)
    laid = interpolate(finish.surface, e, n)
    both = np.isfinite(exact) & np.isfinite(laid)

    assert both.sum() > 500
    # the two know different outlines within the chord; faces of 1 in 0.36 stand between them
    on_face = np.abs(exact - laid) > inputs.job.design.chord_m
    assert on_face[both].mean() < 0.004
    assert np.sort(np.abs(exact - laid)[both])[: int(0.996 * both.sum())].max() <= 0.002
    assert (np.isfinite(exact) != np.isfinite(laid)).mean() < 1e-3


def test_the_side_street_lies_flush_on_the_lip_it_meets(design):
    side = part(design, "Tarrow Court").corridor
    offset = np.array([-3.999, -2.0, 0.0, 2.0, 3.999])
    _, n, _ = line.point_at(side.alignment, np.full(5, 4.0), offset)
    z = sections.elevation(side, np.full(5, 4.0), offset, "finish")

    # the through street's lip there: stations are northings
    np.testing.assert_allclose(z, 50.0 - 0.012 * (n - 2000.0) - 0.08, atol=1e-9)
    # and 15 m on it has its own section again
    z = sections.elevation(side, np.full(5, 19.0), offset, "finish")
    np.testing.assert_allclose(z, truth.side_height(19.0) - 0.02 * np.abs(offset), atol=1e-9)


@pytest.mark.parametrize("azimuth", [70.0, 80.0, 105.0])
def test_a_skew_side_street_closes_all_its_seams_too(inputs, tmp_path, azimuth):
    """The side street and its bulb turned about the crown that they leave."""
    truth.lay_down(tmp_path)
    turn = math.radians(azimuth)
    for name, along, across in (("tarrow", 0.0, 0.0), ("bulb", 42.0, -4.0)):
        path = tmp_path / "design" / f"{name}_alignment.csv"
        rows = path.read_text(encoding="utf-8").splitlines()
        e = 1000.0 + along * math.sin(turn) + across * math.cos(turn)
        n = 2065.0 + along * math.cos(turn) - across * math.sin(turn)
        rows[1] = f"start,,,,,{e:.9f},{n:.9f},{azimuth},0.0"
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    job = replace(inputs.job, folder=tmp_path)
    skew, found = assemble.design(read_design(job), job)

    assert [one.severity for one in found if one.kind == "ring closure"] == ["note"]
    for layer in skew.layers:
        whole = compose.layer_surface(skew, layer.name, job.design)
        steps = {(s.first, s.second): s.step for s in whole.seams}
        assert max(abs(step) for step in steps.values()) < 0.001, (layer.name, steps)


# --- curb returns: two worked by hand ------------------------------------------------------------


def test_a_straight_return_has_the_fixtures_quarter_points():
    """R 9, 90 degrees, 101.250 to 101.090: L 14.137, -1.132 %, 101.210, 101.170, 101.130."""
    length = 9.0 * math.pi / 2.0
    grade = (101.090 - 101.250) / length
    profile = returns.fitted_profile("straight", length, (101.250, 101.090), (grade, grade))

    assert length == pytest.approx(14.137, abs=5e-4)
    assert 100.0 * grade == pytest.approx(-1.132, abs=5e-4)
    z = grade_line.elevation(profile, length * np.array([0.0, 0.25, 0.5, 0.75, 1.0]))
    np.testing.assert_allclose(z, [101.250, 101.210, 101.170, 101.130, 101.090], atol=1e-9)


def test_a_fitted_return_has_the_fixtures_low_point():
    """101.250 to 101.200, end slopes -1.0 and +0.6 %: low at 10.416, 101.1892."""
    length = 9.0 * math.pi / 2.0
    profile = returns.fitted_profile("fitted", length, (101.250, 101.200), (-0.010, 0.006))
    (low,) = grade_line.turning_points(profile)

    assert low.kind == "low"
    assert low.station == pytest.approx(10.416, abs=1e-3)
    assert low.elevation == pytest.approx(101.1892, abs=5e-5)


def test_the_parabolas_of_a_return_are_its_cubic():
    """Against scipy's Hermite spline."""
    length = 14.0
    profile = returns.fitted_profile("x", length, (3.0, 3.4), (-0.03, 0.05))
    spline = CubicHermiteSpline([0.0, length], [3.0, 3.4], [-0.03, 0.05])
    s = np.linspace(0.0, length, 777)

    np.testing.assert_allclose(grade_line.elevation(profile, s), spline(s), atol=1e-6)
    np.testing.assert_allclose(grade_line.grade(profile, s), spline(s, 1), atol=2e-5)


@pytest.fixture(scope="module")
def street_of(make_corridor, half):
    """A straight street with lips at 4.0 m: start, azimuth, length, heights at its ends."""
    lips = half(("lip", 4.0, 2.0), ("back", 0.2, None, 0.15))

    def street(start, azimuth, length, z):
        return make_corridor(
            [ElementRow("line", length, start=start)],
            [ProfileRow(0.0, z[0]), ProfileRow(length, z[1])],
            [SectionRow("one", 0.0, length, (SectionLayer("finish", lips, lips),))],
            azimuth=math.radians(azimuth),
        )

    return street


def test_a_low_point_inside_a_return_is_flagged(street_of):
    """The through edge falls into the corner, the side street's rises out of it."""
    main = street_of((0.0, 0.0), 0.0, 200.0, (52.0, 50.0))
    side = street_of((0.0, 100.0), 90.0, 90.0, (51.0, 52.8))
    rules = ReturnRules(
        name="x", from_side="right", to_street="side", to_side="right", radius_m=9.0,
        grade="fitted",
    )  # fmt: skip
    found = returns.curb_return(rules, main, side)
    straight = returns.curb_return(replace(rules, grade="straight"), main, side)

    # end heights and slopes by hand; the lowest place of scipy's cubic
    length = 9.0 * math.pi / 2.0
    ends = 52.0 - 0.01 * 87.0 - 0.08, 51.0 + 0.02 * 13.0 - 0.08
    spline = CubicHermiteSpline([0.0, length], ends, [-0.010, 0.020])
    lowest = next(s for s in spline.derivative().roots() if 0.0 < s < length)
    (finding,) = corners.low_points(found.curb)
    assert finding.severity == "person"
    assert f"lowest at {lowest:.3f} m of its 14.137 m" in finding.text
    assert f"elevation {float(spline(lowest)):.4f}" in finding.text
    assert corners.low_points(straight.curb) == ()
    assert found.legs[0].tangent == pytest.approx(87.0)
    # a basin in the gutter there takes the water; one 3 m along the curb does not
    for away, quiet in ((0.0, True), (1.9, True), (3.0, False)):
        east, north, _ = line.point_at(found.curb.alignment, np.array([lowest + away]), 0.3)
        assert (corners.low_points(found.curb, (east, north), 2.0) == ()) is quiet


@pytest.mark.parametrize(("turn", "to"), [(1, "right"), (1, "left"), (-1, "right"), (-1, "left")])
def test_a_return_on_a_bend_is_tangent_to_its_lip(make_corridor, half, street_of, turn, to):
    """Through street on R 80: the centre lies 9 m outside its lip's circle and the side's line."""
    lips = half(("lip", 4.0, 2.0), ("back", 0.2, None, 0.15))
    main = make_corridor(
        [ElementRow("arc", 120.0, 80.0, turn=turn, start=(0.0, 0.0))],
        [ProfileRow(0.0, 50.0), ProfileRow(120.0, 51.2)],
        [SectionRow("one", 0.0, 120.0, (SectionLayer("finish", lips, lips),))],
        azimuth=0.0,
    )
    e, n, azimuth = line.point_at(main.alignment, 60.0)
    square = math.degrees(float(azimuth)) + 90.0
    side = street_of((float(e), float(n)), square, 60.0, (50.6, 51.0))
    rules = ReturnRules(name="x", from_side="right", to_street="s", to_side=to, radius_m=9.0)
    found = returns.curb_return(rules, main, side)

    arc = found.curb.alignment
    length = float(arc.station[-1])
    k = float(arc.curvature_start[0])
    at, north, heading = line.point_at(arc, 0.0)
    centre = (
        float(at) + math.cos(float(heading)) / k, float(north) - math.sin(float(heading)) / k
    )  # fmt: skip
    # the bend's centre lies 80 m to its side of the start; lip and return lie on the right
    bend = math.hypot(centre[0] - turn * 80.0, centre[1])
    assert bend == pytest.approx(80.0 - 13.0 if turn > 0 else 80.0 + 13.0, abs=1e-6)
    feet = line.locate(side.alignment, [centre[0]], [centre[1]])
    assert abs(feet.offset[0]) == pytest.approx(13.0, abs=1e-6)
    # and it leaves and arrives along both edges
    for station, leg in ((0.0, found.legs[0]), (length, found.legs[1])):
        _, _, along = line.point_at(arc, station)
        _, _, own = line.point_at(leg.street.alignment, leg.tangent)
        assert abs(math.sin(float(along - own))) < 1e-6


def test_the_curb_is_open_between_facing_returns_of_one_street_only(street_of):
    main = street_of((0.0, 0.0), 0.0, 200.0, (50.0, 50.0))

    def leg(tangent, corner, other):
        return returns.Leg(main, 1, tangent, corner, 4.0, other)

    # south and north return of one side street, then one return each of two more
    legs = [leg(40.0, 49.0, "a"), leg(66.0, 57.0, "a"), leg(100.0, 109.0, "b"),
            leg(150.0, 141.0, "c")]  # fmt: skip
    found = returns.merged_openings(legs, "lip", "x")

    assert [(one.start, one.end) for one in found] == [(40.0, 66.0), (100.0, 109.0), (141.0, 150.0)]


@pytest.mark.parametrize("skew", [60.0, 75.0, 115.0])
def test_a_skew_corner_is_tangent_to_both_lips(street_of, skew):
    """T = R tan(D/2) from the corner of the lips on both, D the angle that the arc turns."""
    main = street_of((0.0, 0.0), 0.0, 200.0, (50.0, 50.0))
    side = street_of((0.0, 100.0), skew, 90.0, (50.0, 50.0))
    for to, turned in (("right", skew), ("left", 180.0 - skew)):
        rules = ReturnRules(name="x", from_side="right", to_street="side", to_side=to, radius_m=9.0)
        found = returns.curb_return(rules, main, side)
        tangent = 9.0 * math.tan(math.radians(turned) / 2.0)
        assert found.curb.alignment.station[-1] == pytest.approx(9.0 * math.radians(turned))
        for leg in found.legs:
            assert abs(leg.tangent - leg.corner) == pytest.approx(tangent, abs=1e-6)


def test_a_return_that_fits_nowhere_is_refused(design):
    rules = ReturnRules(name="x", from_side="left", to_street="side", to_side="left", radius_m=9.0)
    with pytest.raises(DesignError, match=r"no arc of 9\.0 m touches the lip of both"):
        returns.curb_return(rules, design, part(design, "Tarrow Court").corridor)


def test_a_priority_that_names_nothing_is_refused(inputs):
    job = replace(inputs.job, design=replace(inputs.job.design, priority=["main", "alley"]))
    with pytest.raises(DesignError, match=r"names 'alley'; there are main, Tarrow Court"):
        read_design(job)


def test_a_stated_order_decides_who_has_the_place(inputs, design, finish):
    """With the side street first it runs on to the through street's crown: 8 m by 4 m more."""
    job = replace(inputs.job, design=replace(inputs.job.design, priority=["Tarrow Court", "main"]))
    turned, _ = assemble.design(inputs.design, job)
    whole = compose.layer_surface(turned, "finish", job.design)

    def owned(of):
        surface, number = of.surface, of.names.index("Tarrow Court")
        t = surface.triangles[of.owner == number]
        corners = np.stack([surface.x[t], surface.y[t]], axis=2)
        return float(shapely.area(shapely.polygons(corners)).sum())

    assert owned(whole) - owned(finish) == pytest.approx(32.0 + 4.0, abs=1e-3)
    assert area(whole.surface) == pytest.approx(area(finish.surface), abs=1e-6)


def test_the_design_checks_tell_what_the_warp_does(design, inputs):
    found = design_findings(design, inputs.job.design.limits, inputs.job.layers)

    (cross,) = [one for one in found if one.kind == "crossfall"]
    # right half at the lip: lifted by 0.128, so 2 % less 3.2 % of it; 1 % again where 0.64 is left
    assert cross.text.startswith("Tarrow Court at 0+00")
    assert not [one for one in found if one.kind in ("thin layer", "flat spot", "grade break")]


def test_chords_of_the_default_rules_are_two_millimetres():
    assert DesignRules().chord_m == 0.002
