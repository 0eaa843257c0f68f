"""Areas between edges, warped ends, layers beneath: against plane geometry worked out here."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from pipeline.design import alignment as line
from pipeline.design import beneath, constants, corners, joining, returns, warp
from pipeline.design import corridor as road
from pipeline.design import profile as heights
from pipeline.design.area import between_lines
from pipeline.errors import DesignError
from pipeline.model import (
    AlignmentRows,
    ElementRow,
    Layer,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
)
from pipeline.settings import DesignRules
from pipeline.settings_design import EdgeLineRules, ReturnRules
from pipeline.surface.locate import interpolate
from pipeline.surface.mesh import area

CUT = DesignRules()


@pytest.fixture(scope="module")
def straight(make_corridor, half):
    """A straight street: start, azimuth in degrees, length, heights at both ends."""

    def make(start, azimuth, length, z, strips=(("lip", 4.0, 2.0), ("back", 0.2, None, 0.15))):
        lips = half(*strips)
        return make_corridor(
            [ElementRow("line", length, start=start)],
            [ProfileRow(0.0, z[0]), ProfileRow(length, z[1])],
            [SectionRow("one", 0.0, length, (SectionLayer("finish", lips, lips),))],
            azimuth=math.radians(azimuth),
        )

    return make


@pytest.fixture(scope="module")
def edge_along(make_corridor, half):
    """The edge of a bay: lines from point to point, a height at each, its curb to the right."""

    def make(points, z):
        lengths = [math.dist(*ends) for ends in itertools.pairwise(points)]
        elements = [
            ElementRow("line", length, start=a, end=b)
            for length, a, b in zip(lengths, points, points[1:], strict=False)
        ]
        at = np.concatenate([[0.0], np.cumsum(lengths)])
        curb = SectionLayer("finish", half(("back", 0.2, None, 0.15)), ())
        made = make_corridor(
            elements,
            [ProfileRow(*row) for row in zip(at.tolist(), z, strict=True)],
            [SectionRow("one", 0.0, float(at[-1]), (curb,))],
        )
        return replace(made, name="bay", on="lip")

    return make


def eyebrow(**more):
    return EdgeLineRules(**{
        "name": "bay", "kind": "eyebrow", "alignment": "a", "profile": "p", "sections": "s",
        "side": "right", "start": 40.0, "end": 60.0, **more,
    })  # fmt: skip


BAY = ((4.0, 40.0), (10.0, 44.0), (10.0, 56.0), (4.0, 60.0))
"""A trapeze outside the lip: 20 m along it, 12 m at its back, 6 m deep: 96 m2."""


@pytest.mark.parametrize("way", [1, -1])
def test_the_bay_of_an_eyebrow_is_what_lies_between_both_edges(straight, edge_along, way):
    # the street falls 1 % northward; its lip is 8 cm under the crown: 49.92 - 0.01 N
    street = straight((0.0, 0.0), 0.0, 100.0, (50.0, 49.0))
    z = [49.92 - 0.01 * n for _, n in BAY]
    edge = edge_along(BAY[::way], z[::way])
    part, told = joining.eyebrow_area(eyebrow(), street, edge, CUT)

    (surface,) = part.surfaces
    assert (part.kind, surface.name) == ("area", "finish")
    assert area(surface) == pytest.approx(96.0, abs=1e-6)
    # lip and bay lie on one plane, so all between them does
    np.testing.assert_allclose(surface.z, 49.92 - 0.01 * (surface.y + surface.origin[1]))
    (note,) = told
    assert note.severity == "note"
    assert "closes to 0.0 and 0.0 mm in plan, +0.0 and +0.0 mm in height" in note.text


def test_the_bay_may_lie_to_the_left_and_misses_in_height_are_told(straight, edge_along):
    street = straight((0.0, 0.0), 0.0, 100.0, (50.0, 50.0))
    points = tuple((-e, n) for e, n in BAY)
    edge = edge_along(points, [49.92 + 0.008, 49.92, 49.92, 49.92 - 0.003])
    part, told = joining.eyebrow_area(eyebrow(side="left"), street, edge, CUT)

    assert area(part.surfaces[0]) == pytest.approx(96.0, abs=1e-6)
    (finding,) = told
    assert finding.severity == "person"
    assert "+8.0 and -3.0 mm in height" in finding.text
    # the street's own height is used, so that nothing gapes
    found = interpolate(part.surfaces[0], np.array([-4.0001]), np.array([40.0002]))
    np.testing.assert_allclose(found, 49.92, atol=1e-4)


def test_a_bay_that_misses_its_street_or_is_not_said_whole_is_refused(straight, edge_along):
    street = straight((0.0, 0.0), 0.0, 100.0, (50.0, 50.0))
    away = edge_along([(e + 0.05, n) for e, n in BAY], [49.92] * 4)
    with pytest.raises(DesignError, match=r"misses the street by 0\.050 m in plan and 0\.000 m"):
        joining.eyebrow_area(eyebrow(), street, away, CUT)
    edge = edge_along(BAY, [49.92] * 4)
    for missing in ("side", "start", "end"):
        with pytest.raises(DesignError, match="its side, start or end is missing"):
            joining.eyebrow_area(eyebrow(**{missing: None}), street, edge, CUT)
    # the section of the street ends before the bay does
    short = straight((0.0, 0.0), 0.0, 50.0, (50.0, 50.0))
    with pytest.raises(DesignError, match="layer 'finish' is not designed all along its edges"):
        joining.eyebrow_area(eyebrow(), short, edge, CUT)


def bulb(**more):
    return eyebrow(name="bulb", kind="bulb", **{"throat": 60.0, "centre": 70.0, **more})


def run_on(street, length, z):
    """The street with its line and profile run on, level, past the end of its sections."""
    rows = AlignmentRows("x", (ElementRow("line", length, start=(0.0, 0.0)),), 0.0, 0.0)
    points = ProfileRows("x", (ProfileRow(0.0, z), ProfileRow(length, z)))
    return replace(street, alignment=line.build(rows)[0], profile=heights.build(points)[0])


def test_a_bulb_is_ruled_from_its_edge_to_the_crown_run_on(straight, edge_along):
    street = run_on(straight((0.0, 0.0), 0.0, 60.0, (50.0, 50.0)), 90.0, 50.0)
    points = ((4.0, 60.0), (10.0, 66.0), (10.0, 74.0), (0.0, 80.0), (-10.0, 74.0), (-10.0, 66.0),
              (-4.0, 60.0))  # fmt: skip
    edge = edge_along(points, [49.92] * 7)
    part, told = joining.bulb_area(bulb(), street, edge, CUT)
    (surface,) = part.surfaces

    east, north = np.array(points).T
    shoelace = 0.5 * abs(np.dot(east, np.roll(north, 1)) - np.dot(north, np.roll(east, 1)))
    assert area(surface) == pytest.approx(shoelace, abs=1e-6)
    # the crown keeps its height as far as the centre
    z = interpolate(surface, np.zeros(3), np.array([60.0, 65.0, 70.0]))
    np.testing.assert_allclose(z, 50.0, atol=1e-9)
    assert told[0].severity == "note"


def test_a_bulb_that_is_not_said_whole_is_refused(straight, edge_along):
    street = straight((0.0, 0.0), 0.0, 60.0, (50.0, 50.0))
    points = ((4.0, 60.0), (10.0, 66.0), (0.0, 80.0), (-10.0, 66.0), (-4.0, 60.0))
    edge = edge_along(points, [49.92] * 5)
    with pytest.raises(DesignError, match="its throat or centre is missing"):
        joining.bulb_area(bulb(centre=None), street, edge, CUT)
    with pytest.raises(DesignError, match=r"end at 0\+060\.000, its throat is at 0\+055\.000"):
        joining.bulb_area(bulb(throat=55.0), street, edge, CUT)
    with pytest.raises(DesignError, match="does not reach its centre"):
        joining.bulb_area(bulb(), street, edge, CUT)


def test_an_outline_that_crosses_itself_or_its_lines_is_refused():
    square = np.array([(0, 0, 1), (10, 0, 1), (10, 10, 1), (0, 10, 1)], dtype=float)
    zero = np.zeros(2)
    with pytest.raises(DesignError, match="its outline crosses itself or has no area"):
        between_lines("x", square[[0, 2, 1, 3]], [], zero, "corner")
    across = [np.array([(1, 1, 1), (9, 9, 1)], float), np.array([(1, 9, 1), (9, 1, 1)], float)]
    with pytest.raises(DesignError, match="two of its lines cross"):
        between_lines("x", square, across, zero, "corner")
    # closed by its first corner once more, the ring is the same ring
    closed = between_lines("x", square[[0, 1, 2, 3, 0]], [], zero, "corner")
    assert area(closed) == pytest.approx(100.0)


@pytest.fixture(scope="module")
def through(straight):
    """1 % up to the north: its lip lies at 49.92 + 0.01 N."""
    return straight((0.0, 0.0), 0.0, 200.0, (50.0, 52.0))


@pytest.fixture(scope="module")
def crossing(straight):
    """From west to east over it at N 100, level at 51.30, 60 m on either side."""
    return straight((-60.0, 100.0), 90.0, 120.0, (51.3, 51.3))


def across(street, station, offset):
    return road.elevation(street, np.asarray(station), np.asarray(offset), "finish")


def test_a_street_that_crosses_is_laid_on_both_edges(through, crossing):
    warped, lift = warp.onto(crossing, through, "lip", 20.0, "through")

    # its crown and lips stand at N 100, 96 and 104; the edge there at 49.92 + 0.01 N
    offset = np.array([-4.0, 0.0, 4.0])
    own = 51.3 - 0.02 * np.abs(offset)
    edge = 49.92 + 0.01 * (100.0 - offset)
    known = lift[[1, 2, 3]]
    np.testing.assert_allclose(known, edge - own, atol=1e-8)
    for station in (56.0, 64.0):
        np.testing.assert_allclose(across(warped, station, offset), edge, atol=1e-8)
    # half the lift 10 m before it, nothing 20 m before it, and the same behind it
    for station in (46.0, 74.0):
        np.testing.assert_allclose(across(warped, station, offset), (edge + own) / 2, atol=1e-8)
    for station in (36.0, 84.0, 5.0):
        np.testing.assert_allclose(across(warped, station, offset), own, atol=1e-9)


@pytest.mark.parametrize(("end", "at", "away"), [("start", 4.0, 1), ("end", 116.0, -1)])
def test_a_street_that_ends_there_is_laid_on_one_edge(straight, through, end, at, away):
    start = -116.0 if end == "end" else 0.0
    street = straight((start, 100.0), 90.0, 120.0 if end == "start" else 116.0, (51.3, 51.3))
    station = at if end == "start" else 112.0
    warped, _ = warp.onto(street, through, "lip", 20.0, end)

    np.testing.assert_allclose(across(warped, station, 0.0), 50.92, atol=1e-8)
    np.testing.assert_allclose(across(warped, station + away * 10.0, 0.0), 51.11, atol=1e-8)
    np.testing.assert_allclose(across(warped, station + away * 20.0, 0.0), 51.3, atol=1e-8)


def test_a_street_that_does_not_cross_is_refused(straight, through, crossing):
    beside = straight((20.0, 100.0), 90.0, 50.0, (51.3, 51.3))
    for end, word in (("start", "start"), ("end", "end"), ("through", "start")):
        with pytest.raises(DesignError, match=f"does not cross the lip of .* near its {word}"):
            warp.onto(beside, through, "lip", 20.0, end)
    half_way = straight((0.0, 100.0), 90.0, 50.0, (51.3, 51.3))
    with pytest.raises(DesignError, match="does not come out again on the other side"):
        warp.onto(half_way, through, "lip", 20.0, "through")


def test_a_layer_that_only_one_street_has_stays_as_it_is(make_corridor, half, through, crossing):
    clay = replace(crossing.layers[0], name="clay")
    both = replace(crossing, layers=(clay, *crossing.layers))
    warped, lift = warp.onto(both, through, "lip", 20.0, "through")

    assert warped.layers[0] is clay
    assert np.isnan(lift).sum() == 0
    assert warped.layers[1].rise.min() < crossing.layers[0].rise.min() - 0.3


def test_a_surface_square_below_a_plane_lies_the_secant_deeper(straight):
    corners_ = np.array([(0, 0), (10, 0), (10, 10), (0, 10)], dtype=float)
    z = 5.0 + 0.3 * corners_[:, 0] - 0.4 * corners_[:, 1]
    plane = between_lines("top", np.c_[corners_, z], [], np.zeros(2), "x")

    vertical = beneath.surface_below(plane, 0.25, "vertical", "clay")
    square = beneath.surface_below(plane, 0.25, "perpendicular", "clay")

    assert vertical.name == square.name == "clay"
    np.testing.assert_allclose(plane.z - vertical.z, 0.25)
    # the slope is 0.5, so its secant is the square root of 1.25
    np.testing.assert_allclose(plane.z - square.z, 0.25 * math.sqrt(1.25))
    top = Layer("top", "top", surface=plane)
    assert beneath.layer_below(top, 0.25, "vertical", ("clay", "Clay")).surface.z[
        0
    ] == pytest.approx(plane.z[0] - 0.25)
    sectioned = straight((0.0, 0.0), 0.0, 10.0, (1.0, 1.0)).layers[0]
    below = beneath.layer_below(sectioned, 0.25, "vertical", ("clay", "Clay"))
    assert (below.name, below.title) == ("clay", "Clay")
    np.testing.assert_allclose(sectioned.rise - below.rise, 0.25)
    with pytest.raises(DesignError, match="is to lie square below 'finish', which comes from sect"):
        beneath.layer_below(sectioned, 0.25, "perpendicular", ("clay", "Clay"))


def test_heights_that_people_mix_up_are_known_by_name(straight):
    street = straight(
        (0.0, 0.0), 0.0, 10.0, (1.0, 1.0),
        (("lip", 4.0, 2.0), ("flowline", 0.3, None, -0.018), ("back", 0.2, None, 0.150)),
    )  # fmt: skip
    top = street.layers[0]
    clay = replace(top, name="clay", rise=top.rise - 0.35)
    thin = replace(top, name="film", rise=top.rise - 0.36)
    found = constants.known_constants(replace(street, layers=(top, clay, thin)))

    # lip to flowline is 18 mm and the film 10 mm: nobody can tell these from noise
    assert found == pytest.approx({
        "finish for clay": 0.35, "back for lip": 0.132, "back for flowline": 0.150,
    })  # fmt: skip
    # a break that the top has only further on hides the step of the layer below
    later = np.where(np.arange(top.rise.shape[1]) == top.rise.shape[1] - 1, np.nan, top.rise)
    found = constants.known_constants(replace(street, layers=(replace(top, rise=later), clay)))
    assert found["back for lip"] == pytest.approx(0.132)


@pytest.mark.parametrize(("z", "words"), [((52.0, 50.0), "falls 1.00 %"), ((50.0, 50.0), "level")])
def test_the_grades_of_two_curbs_are_run_on_to_their_corner(straight, z, words):
    """Both edges have an even grade, so their heights at the corner follow by hand."""
    main = straight((0.0, 0.0), 0.0, 200.0, z)
    side = straight((0.0, 100.0), 90.0, 90.0, (51.0, 52.8))
    rules = ReturnRules(
        name="x", from_side="right", to_street="side", to_side="right", radius_m=9.0,
    )  # fmt: skip
    made = returns.curb_return(rules, main, side)
    grade = (z[1] - z[0]) / 200.0
    # the corner of the lips stands at (4, 96), 4 m along the side street
    first, second = z[0] + grade * 96.0 - 0.08, 51.0 + 0.02 * 4.0 - 0.08

    assert corners.at_intersection(made) == pytest.approx((first, second), abs=1e-6)
    note, person = corners.corner_findings(made, 0.02)
    assert f"the edge before it {'runs ' if words == 'level' else ''}{words}" in note.text
    assert "after it rises 2.00 %" in note.text
    apart = abs(first - second)
    assert f"comes to {first:.3f} and that of" in person.text
    assert f"to {second:.3f}, {apart:.3f} m apart; 0.02 m is allowed" in person.text
    assert (
        len(corners.corner_findings(made, 0.0))
        == len(corners.corner_findings(made, apart + 0.001))
        == 1
    )


def test_a_return_between_streets_that_do_not_fit_is_refused(straight, make_corridor, half):
    main = straight((0.0, 0.0), 0.0, 200.0, (50.0, 50.0))
    rules = ReturnRules(
        name="x", from_side="right", to_street="side", to_side="right", radius_m=9.0,
    )  # fmt: skip
    # the lip of the side street widens from 4 to 5 m between the corner and the tangent point
    rows = [
        SectionRow(str(k), a, b, (SectionLayer("finish", *2 * [half(("lip", w, 2.0))]),))
        for k, (a, b, w) in enumerate([(0.0, 5.0, 4.0), (10.0, 90.0, 5.0)])
    ]
    widening = make_corridor(
        [ElementRow("line", 90.0, start=(0.0, 100.0))],
        [ProfileRow(0.0, 50.0), ProfileRow(90.0, 50.0)], rows, azimuth=math.pi / 2,
    )  # fmt: skip
    with pytest.raises(DesignError, match=r"m out at its tangent point and 4\.000 m at the corner"):
        returns.curb_return(rules, main, widening)
    bare = straight((0.0, 100.0), 90.0, 90.0, (50.0, 50.0), (("lip", 4.0, 2.0),))
    with pytest.raises(DesignError, match="has back on one street and nothing on the other"):
        returns.curb_return(rules, main, bare)
    # there and back again over the main street: two corners on its right, far apart
    loop = make_corridor(
        [ElementRow("line", 60.0, start=(0.0, 60.0)),
         ElementRow("arc", 20.0 * math.pi, 20.0, turn=1), ElementRow("line", 60.0)],
        [ProfileRow(0.0, 50.0), ProfileRow(182.0, 50.0)],
        [SectionRow("a", 0.0, 182.0, (SectionLayer("finish", *2 * [half(
            ("lip", 4.0, 2.0), ("back", 0.2, None, 0.15))]),))], azimuth=math.pi / 2,
    )  # fmt: skip
    left = replace(rules, to_side="left")
    with pytest.raises(DesignError, match=r"it could stand at 0\+.* and 0\+.*near_station"):
        returns.curb_return(left, main, loop)
    ends = [
        returns.curb_return(replace(left, near_station=near), main, loop).legs[0].tangent
        for near in (10.0, 100.0)
    ]
    # 4 m beyond the two lines at N 60 and N 20, and the 9 m of the arc
    assert ends == pytest.approx([20.0 - 13.0, 60.0 + 13.0])


def test_a_return_sets_its_ends_quarters_and_middle(straight):
    main = straight((0.0, 0.0), 0.0, 200.0, (50.0, 50.0))
    side = straight((0.0, 100.0), 90.0, 90.0, (50.0, 50.0))
    rules = ReturnRules(
        name="x", from_side="right", to_street="side", to_side="right", radius_m=8.0,
    )  # fmt: skip
    made = returns.curb_return(rules, main, side)
    at, words = zip(*returns.fractions(made.curb), strict=True)

    np.testing.assert_allclose(at, math.pi * np.arange(5.0))
    assert words == ("PC", "1/4", "1/2", "3/4", "PT")
    # level from end to end: water stands all along, and a basin in the middle takes it
    (told,) = corners.low_points(made.curb)
    assert "its edge is level at 0.000 m of its 12.566 m" in told.text
