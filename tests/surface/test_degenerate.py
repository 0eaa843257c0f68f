"""Shots and lines as bad as they come: no crash, no triangle upside down, a refusal by name."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.errors import SurfaceError
from pipeline.model import NO_LINES, Linework, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface.locate import interpolate
from pipeline.surface.tin import area, build

WHOLE = SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e7)


def check_fills_the_hull(surface, places, atol=1e-4):
    """Every area positive, and together that of the convex hull by shapely."""
    x, y = surface.x[surface.triangles], surface.y[surface.triangles]
    twice = (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (y[:, 1] - y[:, 0]) * (x[:, 2] - x[:, 0])
    assert (twice > 0).all()
    near = places - surface.origin
    assert area(surface) == pytest.approx(shapely.MultiPoint(near).convex_hull.area, abs=atol)
    # V - E + F = 1: a disc (Euler); each inner edge belongs to two triangles
    edges = (surface.neighbours < 0).sum() + (surface.neighbours >= 0).sum() // 2
    assert len(surface.x) - edges + len(surface.triangles) == 1


def lines_between(places, pairs, z):
    point = np.asarray(pairs).ravel()
    return Linework(
        easting=places[point, 0], northing=places[point, 1], elevation=z[point], point=point,
        start=np.arange(0, len(point) + 1, 2), name=("L",) * len(pairs),
        kind=("break",) * len(pairs),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("places", "found"),
    [
        ([], "there is no ground shot"),
        ([(0, 0)], "it was shot at 1 different places"),
        ([(0, 0), (5, 5)], "it was shot at 2 different places"),
        ([(3, 3)] * 5, "it was shot at 1 different places"),
        ([(k, 2 * k) for k in range(9)], "all 9 places shot lie within 1 mm of one line"),
        ([(k, 1e-4 * (k % 2)) for k in range(9)], "all 9 places shot lie within 1 mm of one line"),
        ([(0, 0), (5, 0), (0, 5), (200_000, 0)], "is not within 100 km of E 0.0, N 0.0"),
        ([(0, 0), (90, 0), (0, 90)], "every triangle has an outside edge longer than 15 m"),
    ],
)
def test_what_no_surface_can_be_made_of_is_refused_by_name(places, found):
    places = np.array(places, dtype=float).reshape(-1, 2)
    shots = make_shots(places[:, 0], places[:, 1], np.ones(len(places)), files=("a.csv",))

    with pytest.raises(SurfaceError, match=found):
        build(shots, NO_LINES, SurfaceRules())


def test_a_stray_shot_is_named():
    # one shot in feet among metres, or its columns swapped
    shots = make_shots([500_000, 500_010, 6_000_000], [6_000_000, 6_000_000, 500_005], [1, 1, 1],
                       id=["7", "8", "9"], files=("a.csv",))  # fmt: skip

    with pytest.raises(SurfaceError, match=r"a\.csv line 3 \(point 9\): E 6000000\.0, N 500005\.0"):
        build(shots, NO_LINES, SurfaceRules())


def test_a_line_point_without_place_is_named():
    shots = make_shots([0, 9, 0], [0, 0, 9], [1, 1, 1])
    lost = Linework([0, np.nan], [0, 1], [1, 1], [-1, -1], [0, 2], ("wall",), ("break",))

    with pytest.raises(SurfaceError, match="line wall"):
        build(shots, lost, SurfaceRules())


@pytest.mark.parametrize("shift", [(0, 0), (2_500_000, 7_300_000)])
@pytest.mark.parametrize("degrees", [0.0, 17.0])
def test_a_regular_grid_on_which_every_four_shots_share_a_circle(shift, degrees):
    north, east = np.mgrid[0:12, 0:15].reshape(2, -1) * 5.0
    angle = np.radians(degrees)
    places = np.column_stack([east, north]) @ np.array(
        [[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]
    )
    places += shift
    surface, findings = build(make_shots(places[:, 0], places[:, 1], east), NO_LINES, WHOLE)

    check_fills_the_hull(surface, places)
    assert findings == ()
    # at the vertices the heights are those that were shot, to the bit
    np.testing.assert_array_equal(interpolate(surface, places[:, 0], places[:, 1]), east)


@pytest.mark.parametrize("seed", range(12))
def test_long_lines_that_cross_over_a_grid(seed):
    """The set on which a triangulation that resolves crossings itself failed four times in five."""
    rng = np.random.default_rng(seed)
    north, east = np.mgrid[0:8, 0:8].reshape(2, -1) * 1.0
    angle = rng.random() * 6
    places = np.column_stack([east, north]) @ np.array(
        [[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]
    )
    places = places * 10 + (2_500_000, 7_300_000)
    z = np.full(64, 30.0)
    pairs = [rng.choice(64, 2, replace=False) for _ in range(20)]
    surface, findings = build(
        make_shots(places[:, 0], places[:, 1], z), lines_between(places, pairs, z), WHOLE
    )

    check_fills_the_hull(surface, places)
    assert {finding.severity for finding in findings} <= {"note"}
    assert (surface.z == 30.0).all()
    # every line is there, bent by no more than a few micrometres where it is cut
    t, k = np.nonzero(surface.fixed)
    ends = np.stack([surface.triangles[t, k], surface.triangles[t, (k + 1) % 3]], axis=1)
    edges = shapely.union_all(
        shapely.linestrings(np.stack([surface.x[ends], surface.y[ends]], axis=-1))
    )
    drawn = shapely.linestrings([places[pair] - surface.origin for pair in pairs])
    assert shapely.hausdorff_distance(edges, shapely.union_all(drawn)) < 1e-5


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("apart", [1e-9, 1e-7, 1e-5])
def test_near_duplicates_whatever_the_rules(seed, apart):
    rng = np.random.default_rng(seed)
    places = np.repeat(rng.random((15, 2)) * 50, 2, axis=0)
    places[1::2] += rng.choice([-apart, apart], (15, 2))
    shots = make_shots(places[:, 0], places[:, 1], np.ones(30))
    kept, _ = build(shots, NO_LINES, WHOLE)
    merged, findings = build(shots, NO_LINES, SurfaceRules(max_edge_m=1e7))

    check_fills_the_hull(kept, places)
    assert len(merged.x) == 15
    assert [finding.kind for finding in findings] == ["shot twice"] * 15


@pytest.mark.parametrize("apart", [1e-9, 1e-7, 1e-6, 1e-4])
def test_parallel_lines_next_to_each_other(apart):
    east = np.arange(0, 50, 5.0)
    places = np.concatenate([
        np.column_stack([east, np.zeros(10)]), np.column_stack([east + 2, np.full(10, apart)]),
        [(0, -9), (50, -9), (25, 12)],
    ])  # fmt: skip
    z = np.ones(len(places))
    pairs = [(k, k + 1) for k in range(9)] + [(k, k + 1) for k in range(10, 19)]
    surface, _ = build(
        make_shots(places[:, 0], places[:, 1], z), lines_between(places, pairs, z), WHOLE
    )

    check_fills_the_hull(surface, places)


def test_lines_within_a_micrometre_over_fifty_metres():
    """Lines that all but lie on each other meet again and again; they are led apart in the end."""
    rng = np.random.default_rng(7)
    places = rng.random((120, 2)) * (50, 1e-5)
    places = np.concatenate([places, [(0, -9), (50, -9), (25, 12)]])
    z = np.ones(len(places))
    pairs = [rng.choice(120, 2, replace=False) for _ in range(15)]
    surface, _ = build(
        make_shots(places[:, 0], places[:, 1], z), lines_between(places, pairs, z), WHOLE
    )

    check_fills_the_hull(surface, places)


def test_a_steep_bank_is_ground_like_any_other():
    # 3 m up within 10 cm: 3000 %
    east = np.tile([0.0, 5.0, 5.1, 10.0], 3)
    north = np.repeat([0.0, 5.0, 10.0], 4)
    z = np.tile([0.0, 0.0, 3.0, 3.0], 3)
    surface, findings = build(make_shots(east, north, z), NO_LINES, SurfaceRules())

    assert findings == ()
    assert interpolate(surface, [5.05], [5.0])[0] == pytest.approx(1.5)


@pytest.mark.parametrize("where", [(0, 0), (500_000, 6_000_000), (-3_000_000, 9_900_000)])
def test_vertices_stand_where_they_were_shot(where):
    places = np.random.default_rng(4).random((200, 2)) * 80 + where
    z = np.random.default_rng(5).random(200)
    surface, _ = build(make_shots(places[:, 0], places[:, 1], z), NO_LINES, WHOLE)

    np.testing.assert_array_equal(surface.x, places[surface.point, 0] - surface.origin[0])
    np.testing.assert_array_equal(surface.y, places[surface.point, 1] - surface.origin[1])
    np.testing.assert_array_equal(interpolate(surface, places[:, 0], places[:, 1]), z)


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 63.4])
@pytest.mark.parametrize("seed", range(3))
def test_shots_along_a_drawn_line_are_part_of_it_however_the_job_is_turned(degrees, seed):
    """Turned, no shot is on the line to the micrometre any more; what is built stays the same."""
    rng = np.random.default_rng(seed)
    along = np.sort(rng.random(12)) * 60
    rim = [(0, 0), (60, 0), (60, 12), (0, 12)]
    places = np.array([*rim, *((s, 0) for s in along), *((s, 12) for s in along), (30, 5)])
    z = 10 + 0.02 * places[:, 0] + 0.3 * np.sin(places[:, 0])
    angle = np.radians(degrees)
    turned = places @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    turned += (500_000.123, 6_000_000.456)
    shots = make_shots(turned[:, 0], turned[:, 1], z)
    boundary = Linework(
        easting=turned[:4, 0], northing=turned[:4, 1], elevation=z[:4], point=range(4),
        start=[0, 4], name=("rim",), kind=("boundary",),
    )  # fmt: skip
    surface, findings = build(
        shots, boundary, SurfaceRules(same_place_m=0, row_wander_m=0, crossing_tolerance_m=9)
    )

    assert area(surface) == pytest.approx(60 * 12, abs=1e-3)
    assert findings == ()
    assert sorted(surface.point.tolist()) == list(range(29))
    # a centimetre inside every shot of the rim the ground is still what was shot there
    inward = np.array([-np.sin(angle), np.cos(angle)]) * 0.01
    south, north = turned[4:16], turned[16:28]
    assert interpolate(surface, *(south + inward).T) == pytest.approx(z[4:16], abs=0.01)
    assert interpolate(surface, *(north - inward).T) == pytest.approx(z[16:28], abs=0.01)


@pytest.mark.parametrize("off", [1e-4, -1e-4, 1e-3])
def test_a_shot_a_tenth_of_a_millimetre_beside_a_line_is_not_on_it(off):
    places = np.array([(0, 0), (300, 0), (150, 200), (100, 50), (102, 50), (101, 50 + off)])
    z = np.array([1, 1, 1, 1, 1, 1.3])
    surface, findings = build(
        make_shots(places[:, 0], places[:, 1], z), lines_between(places, [(3, 4)], z), WHOLE
    )

    assert findings == ()
    assert surface.fixed.sum() == 2


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 63.4])
def test_a_line_that_passes_a_shot_at_another_height_is_said_however_the_job_is_turned(degrees):
    places = np.array([(0, 0), (20, 0), (7, 0), (10, 9), (10, -9)], dtype=float)
    angle = np.radians(degrees)
    turned = places @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    z = np.array([1, 1, 1.3, 1, 1])
    surface, (finding,) = build(
        make_shots(turned[:, 0], turned[:, 1], z), lines_between(turned, [(0, 1)], z), WHOLE
    )

    assert (finding.severity, finding.kind, finding.points) == (
        "person",
        "crossing",
        ("3", "1", "2"),
    )
    assert "1.000 on the line, 1.300 there, 0.300 m apart; 1.300 used" in finding.text
    assert surface.fixed.sum() == 4
