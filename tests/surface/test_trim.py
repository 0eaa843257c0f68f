"""Where the surface ends, against areas by shapely and against the same peeling done naively."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.errors import SurfaceError
from pipeline.model import NO_LINES, Linework, make_shots
from pipeline.settings import Code, SurfaceRules
from pipeline.surface.lines import breaklines
from pipeline.surface.locate import interpolate
from pipeline.surface.tin import area, build, outline

BOUNDARY = {"BD": Code(what="boundary", line=True, max_step_m=100.0)}


def ground(seed=0, n=80, size=40.0):
    """Uneven ground: shots, and the places as an array."""
    rng = np.random.default_rng(seed)
    places = np.round(rng.random((n, 2)) * size, 3)
    z = 50 + 0.05 * places[:, 0] + rng.normal(0, 0.3, n)
    return make_shots(places[:, 0], places[:, 1], z), places


def ring(*points, kind="boundary", height=np.nan, name=""):
    return rings((kind, points), height=height, name=name)


def rings(*parts, height=np.nan, name=""):
    """Linework of (kind, points in plan), all at one height."""
    points = np.concatenate([np.asarray(part[1], dtype=float) for part in parts])
    return Linework(
        easting=points[:, 0], northing=points[:, 1], elevation=np.full(len(points), height),
        point=np.full(len(points), -1), start=np.cumsum([0, *(len(part[1]) for part in parts)]),
        name=(name,) * len(parts), kind=tuple(part[0] for part in parts),
    )  # fmt: skip


def covered(surface):
    """The surface as one shapely geometry."""
    x = surface.x[surface.triangles] + surface.origin[0]
    y = surface.y[surface.triangles] + surface.origin[1]
    return shapely.union_all(shapely.polygons(np.stack([x, y], axis=-1)))


def outside_edges(surface):
    """(length, fixed) of each edge on the outside."""
    t, k = np.nonzero(surface.neighbours < 0)
    a, b = surface.triangles[t, k], surface.triangles[t, (k + 1) % 3]
    length = np.hypot(surface.x[b] - surface.x[a], surface.y[b] - surface.y[a])
    return length, surface.fixed[t, k]


# --- the longest outside edge


def peeled_naively(triangles, places, longest):
    """The triangles left when one with a long outside edge is taken away at a time."""
    left = {tuple(t) for t in triangles}
    while True:
        edges = {}
        for t in left:
            for k in range(3):
                edges.setdefault(frozenset((t[k], t[(k + 1) % 3])), []).append(t)
        out = {
            found[0]
            for edge, found in edges.items()
            if len(found) == 1 and np.hypot(*np.subtract(*places[list(edge)])) > longest
        }
        if not out:
            return left
        left -= out


@pytest.mark.parametrize("seed", range(6))
def test_peeling_leaves_what_the_naive_way_leaves(seed):
    shots, places = ground(seed)
    whole, _ = build(shots, NO_LINES, SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e6))
    surface, findings = build(
        shots, NO_LINES, SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=6.0)
    )

    expected = peeled_naively(whole.point[whole.triangles].tolist(), places, 6.0)
    assert {tuple(t) for t in surface.point[surface.triangles].tolist()} == expected
    assert outside_edges(surface)[0].max() <= 6.0
    (note,) = [finding for finding in findings if finding.kind == "outer triangles"]
    count = len(whole.triangles) - len(surface.triangles)
    assert note.text.startswith(f"{count} outer triangle")


def test_a_bay_wider_than_the_longest_edge_is_not_ground():
    # a U of 1 m squares: 10 x 10 m with a bay of 4 x 8 m open to the north
    north, east = np.mgrid[0:11, 0:11].reshape(2, -1)
    u = ~((east > 3) & (east < 7) & (north > 2))
    shots = make_shots(east[u], north[u], np.ones(u.sum()))
    surface, _ = build(shots, NO_LINES, SurfaceRules(max_edge_m=1.2))

    assert area(surface) == pytest.approx(100 - 4 * 8)
    assert np.isnan(interpolate(surface, [5.0], [6.0])).all()


def test_a_shot_that_peeling_leaves_alone_is_a_persons_business():
    north, east = np.mgrid[0:4, 0:4].reshape(2, -1)
    shots = make_shots([*east, 30.0], [*north, 1.0], np.ones(17))
    surface, findings = build(shots, NO_LINES, SurfaceRules(max_edge_m=5.0))

    (finding,) = [f for f in findings if f.kind == "shot without triangle"]
    assert (finding.severity, finding.points) == ("person", ("17",))
    assert finding.text == "1 shot has no triangle and no part in the surface: 17"
    assert area(surface) == pytest.approx(9.0)


def test_a_line_along_the_outside_is_never_too_long():
    """Sections every 20 m with lines along: the crew says that it is straight from shot to shot."""
    codes = {"EC": Code(what="edge of clay", line=True)}
    rows = [(20.0 * k, 8.0 * side, f"EC{side + 1}") for k in range(4) for side in (0, 1)]
    east, north, code = zip(*rows, strict=True)
    shots = make_shots(east, north, np.ones(8), code=code)
    lines, _ = breaklines(shots, codes)
    surface, findings = build(shots, lines, SurfaceRules(max_edge_m=15.0))

    assert area(surface) == pytest.approx(60 * 8)
    assert findings == ()
    length, fixed = outside_edges(surface)
    assert length[~fixed].max() <= 15.0 < length[fixed].max()
    with pytest.raises(SurfaceError, match="longer than 15 m"):
        build(shots, NO_LINES, SurfaceRules(max_edge_m=15.0))


# --- slivers


def almost_straight(bend):
    """A strip 8 m wide whose south edge is shot 5 m apart and bends in by `bend` at one shot."""
    east = [0, 5, 10, 10, 5, 0]
    return make_shots(east, [0, bend, 0, 8, 8, 8], [1, 1.02, 1, 1, 1, 1])


@pytest.mark.parametrize(("bend", "gone"), [(0.01, True), (0.2, True), (0.4, False)])
def test_a_sliver_along_the_outside_is_dropped_and_no_shot_lost(bend, gone):
    surface, findings = build(almost_straight(bend), NO_LINES, SurfaceRules())

    assert sorted(surface.point.tolist()) == [0, 1, 2, 3, 4, 5]
    assert area(surface) == pytest.approx(80 - (10 * bend / 2 if gone else 0))
    assert findings == ()


def test_slivers_go_only_as_long_as_no_shot_loses_its_last_triangle():
    """Two flat triangles along the south meet in shots 2 and 6: without both, 2 had none."""
    shots = make_shots([0, 10, 20, 20, 0, 10.1], [0, 0, 0, 9, 9, 0.03], [1, 1, 1, 1, 1, 1.02])
    surface, findings = build(shots, NO_LINES, SurfaceRules(max_edge_m=25.0))

    assert sorted(surface.point.tolist()) == [0, 1, 2, 3, 4, 5]
    assert findings == ()
    assert 180 - 10 * 0.03 <= area(surface) < 180


def test_a_strip_as_thin_as_a_sliver_stays_whole():
    """Three flat triangles in a row; without the middle one the others would hang by one shot."""
    shots = make_shots([0, 10, 20, 5, 15], [0, 0, 0, 0.03, 0.03], [1, 1, 1, 1.02, 1.02])
    surface, _ = build(shots, NO_LINES, SurfaceRules(max_edge_m=25.0))

    assert area(surface) == pytest.approx(0.03 * (20 + 10) / 2)
    assert outline(surface).kind == ("boundary",)


def test_a_flat_triangle_on_a_line_is_no_sliver():
    shots = almost_straight(0.01)
    lines = Linework(
        easting=[0, 10], northing=[0, 0], elevation=[1, 1], point=[0, 2], start=[0, 2],
        name=("EC",), kind=("break",),
    )  # fmt: skip
    surface, _ = build(shots, lines, SurfaceRules())

    assert area(surface) == pytest.approx(80)


# --- drawn boundaries and holes


def test_a_boundary_shot_by_its_code_decides_and_the_longest_edge_does_not():
    code = ["GR"] * 5 + ["BD"] * 4
    shots = make_shots(
        [0, 50, 50, 0, 25, 10, 40, 40, 10],
        [0, 0, 50, 50, 25, 10, 10, 40, 40],
        np.ones(9),
        code=code,
    )
    lines, _ = breaklines(shots, BOUNDARY)
    surface, findings = build(shots, lines, SurfaceRules(boundary="BD"))

    assert area(surface) == pytest.approx(30 * 30)
    by_kind = {finding.kind: finding for finding in findings}
    assert by_kind["open boundary"].severity == "person"
    assert "closed straight from 9 to 6, 30.00 m" in by_kind["open boundary"].text
    assert by_kind["shot without triangle"].severity == "note"
    assert by_kind["shot without triangle"].points == ("1", "2", "3", "4")
    assert outside_edges(surface)[1].all()


@pytest.mark.parametrize("way", [1, -1])
def test_a_closed_boundary_may_run_either_way_and_says_nothing(way):
    shots, _ = ground()
    square = [(5, 5), (35, 5), (35, 35), (5, 35), (5, 5)][::way]
    surface, findings = build(shots, ring(*square, height=52.0), SurfaceRules())

    assert area(surface) == pytest.approx(30 * 30)
    assert shapely.symmetric_difference(covered(surface), shapely.box(5, 5, 35, 35)).area < 1e-6
    assert {finding.kind for finding in findings} == {"shot without triangle"}


@pytest.mark.parametrize("seed", range(4))
def test_a_boundary_without_heights_is_laid_on_the_ground(seed):
    """The ground inside keeps its shape; outside there is none. Areas by shapely."""
    shots, places = ground(seed)
    hull = shapely.MultiPoint(places).convex_hull
    outer = shapely.Polygon([(-5, 8), (30, -3), (33, 30), (20, 45), (12, 20)])
    hole = shapely.Polygon([(14, 10), (20, 9.5), (21, 16), (15, 15)])
    drawn = rings(
        ("boundary", list(outer.exterior.coords)[:-1]), ("hole", list(hole.exterior.coords))
    )
    whole, _ = build(shots, NO_LINES, SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e6))
    surface, findings = build(shots, drawn, SurfaceRules(same_place_m=0, row_wander_m=0))

    expected = outer.intersection(hull) - hole
    assert area(surface) == pytest.approx(expected.area, abs=1e-4)
    assert shapely.symmetric_difference(covered(surface), expected).area < 1e-3
    rng = np.random.default_rng(seed)
    east, north = rng.random((2, 3000)) * 40
    inside = shapely.contains_xy(expected.buffer(-1e-5), east, north)
    got = interpolate(surface, east, north)
    np.testing.assert_allclose(
        got[inside], interpolate(whole, east[inside], north[inside]), rtol=0, atol=1e-4
    )
    assert np.isnan(got[~shapely.contains_xy(expected.buffer(1e-5), east, north)]).all()
    assert {(f.severity, f.kind) for f in findings} <= {("note", "shot without triangle")}


def test_two_boundaries_are_two_islands():
    shots, _ = ground()
    islands = rings(
        ("boundary", [(8, 8), (16, 8), (16, 16), (8, 16)]),
        ("boundary", [(20, 20), (30, 20), (30, 32), (20, 32)]),
    )
    surface, _ = build(shots, islands, SurfaceRules())

    assert area(surface) == pytest.approx(8 * 8 + 10 * 12, abs=1e-4)
    assert outline(surface).kind == ("boundary", "boundary")


def test_a_hole_in_a_hole_adds_nothing_and_a_hole_outside_is_said():
    shots, _ = ground()
    holes = rings(
        ("boundary", [(8, 8), (32, 8), (32, 32), (8, 32)]),
        ("hole", [(10, 10), (20, 10), (20, 20), (10, 20)]),
        ("hole", [(12, 12), (14, 12), (14, 14), (12, 14)]),
        ("hole", [(33, 33), (36, 33), (36, 36), (33, 36)]),
    )
    surface, findings = build(shots, holes, SurfaceRules())

    assert area(surface) == pytest.approx(24 * 24 - 10 * 10, abs=1e-4)
    assert [f.text[:6] for f in findings if f.kind == "hole"] == ["line 3", "line 4"]


def test_a_breakline_that_leaves_the_boundary_is_cut_there():
    shots, _ = ground()
    square = ("boundary", [(8, 8), (32, 8), (32, 32), (8, 32)])
    across = Linework(
        easting=[*(x for x, _ in square[1]), 2, 38], northing=[*(y for _, y in square[1]), 20, 20],
        elevation=[np.nan] * 4 + [52.0, 52.0], point=np.full(6, -1), start=[0, 4, 6],
        name=("", "wall"), kind=("boundary", "break"),
    )  # fmt: skip
    surface, _ = build(shots, across, SurfaceRules())

    assert area(surface) == pytest.approx(24 * 24, abs=1e-4)
    np.testing.assert_allclose(interpolate(surface, [8.1, 20, 31.9], [20] * 3), 52.0, atol=1e-6)
    assert np.isnan(interpolate(surface, [7.9], [20.0])).all()


@pytest.mark.parametrize(
    ("points", "found"),
    [
        ([(5, 5), (30, 30), (30, 5), (5, 30)], "crosses itself at E 17.500 N 17.500"),
        ([(5, 5), (30, 5), (5, 5)], "encloses nothing: it has 2 points"),
        (
            [(5, 5), (30, 5), (17, 17), (30, 30), (5, 30), (17, 17)],
            "passes twice through point E 17.000 N 17.000",
        ),
        ([(5, 5), (30, 5), (30, 30), (17, 5)], "crosses itself at E 17.000 N 5.000"),
    ],
)
def test_a_ring_that_does_not_enclose_one_piece_is_refused(points, found):
    shots, _ = ground()

    with pytest.raises(SurfaceError, match=found):
        build(shots, ring(*points, name="limit"), SurfaceRules())


def test_a_boundary_beside_the_shots_is_refused():
    shots, _ = ground()

    with pytest.raises(SurfaceError, match="no triangle lies within the drawn boundary"):
        build(shots, ring((100, 100), (120, 100), (120, 120)), SurfaceRules())


def test_a_boundary_that_was_not_shot_is_said():
    shots, _ = ground()
    _, findings = build(shots, NO_LINES, SurfaceRules(boundary="BD"))

    assert [f.severity for f in findings if f.kind == "boundary"] == ["person"]


def test_the_parts_of_a_boundary_with_a_gap_are_one_ring():
    codes = {"BD": Code(what="boundary", line=True, max_step_m=20.0)}
    shots = make_shots([0, 15, 30, 30, 15, 0], [0, 0, 0, 25, 25, 25], np.ones(6), code=["BD"] * 6)
    lines, (gap,) = breaklines(shots, codes)
    surface, findings = build(shots, lines, SurfaceRules(boundary="BD"))

    assert gap.kind == "line gap"
    assert area(surface) == pytest.approx(30 * 25)
    assert [f.kind for f in findings] == ["open boundary"]
