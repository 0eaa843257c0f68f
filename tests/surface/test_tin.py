"""The triangulated ground: its shape against scipy, shapely and whole-number arithmetic, and what
becomes of shots and lines that contradict each other."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull, Delaunay

from pipeline.errors import SurfaceError
from pipeline.model import NO_LINES, Linework, make_shots
from pipeline.settings import Code, SurfaceRules
from pipeline.surface.lines import breaklines
from pipeline.surface.locate import interpolate, slope
from pipeline.surface.tin import area, build

WHOLE = SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e6)
"""Rules that merge, peel and drop nothing: the plain constrained triangulation."""

CODES = {
    "EC": Code(what="edge of clay", line=True),
    "CL": Code(what="crown", line=True),
    "BD": Code(what="boundary", line=True),
}


def scattered(seed, n=60, size=100.0):
    """n places on a grid of 0.1 mm, in general position."""
    return np.round(np.random.default_rng(seed).random((n, 2)) * size, 4)


def shots_at(places, z=0.0, **columns):
    places = np.asarray(places, dtype=float)
    return make_shots(places[:, 0], places[:, 1], np.zeros(len(places)) + z, **columns)


def through(shots, *ways, kind="break"):
    """Lines through rows of the shots, called A, B, C ..."""
    point = np.concatenate([np.empty(0, dtype=int), *ways])
    return Linework(
        easting=shots.easting[point], northing=shots.northing[point],
        elevation=shots.elevation[point], point=point,
        start=np.cumsum([0, *map(len, ways)]),
        name=tuple("ABCDEFGHIJKLMNOPQRSTUVWXYZ"[: len(ways)]), kind=(kind,) * len(ways),
    )  # fmt: skip


def freehand(*ways, kind="break", name="string"):
    """Lines with points of their own: (easting, northing, elevation) each."""
    points = np.concatenate([np.asarray(way, dtype=float) for way in ways])
    return Linework(
        easting=points[:, 0], northing=points[:, 1], elevation=points[:, 2],
        point=np.full(len(points), -1), start=np.cumsum([0, *map(len, ways)]),
        name=(name,) * len(ways), kind=(kind,) * len(ways),
    )  # fmt: skip


def shoot(*rows, rules=WHOLE):
    """Ground of (easting, northing, elevation, code), with the lines its codes draw."""
    easting, northing, elevation, code = zip(*rows, strict=True)
    shots = make_shots(easting, northing, elevation, code=code)
    lines, _ = breaklines(shots, CODES)
    return build(shots, lines, rules)


def corners(surface):
    return surface.x[surface.triangles], surface.y[surface.triangles]


def areas(surface):
    x, y = corners(surface)
    return (
        (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (y[:, 1] - y[:, 0]) * (x[:, 2] - x[:, 0])
    ) / 2


def by_shot(surface):
    """Triangles as sets of shots."""
    return {frozenset(t) for t in surface.point[surface.triangles].tolist()}


def edge_set(surface, which=None):
    tri = surface.triangles
    chosen = np.ones(tri.shape, dtype=bool) if which is None else which
    t, k = np.nonzero(chosen)
    return {
        frozenset(e) for e in zip(tri[t, k].tolist(), tri[t, (k + 1) % 3].tolist(), strict=True)
    }


def as_polygons(surface):
    return shapely.polygons(np.stack(corners(surface), axis=-1))


def fixed_lines(surface):
    t, k = np.nonzero(surface.fixed)
    ends = np.stack([surface.triangles[t, k], surface.triangles[t, (k + 1) % 3]], axis=1)
    return shapely.union_all(
        shapely.linestrings(np.stack([surface.x[ends], surface.y[ends]], axis=-1))
    )


def euler(surface):
    """V - E + F, the outside not counted: 1 for a disc, one less for every hole (Euler)."""
    return len(surface.x) - len(edge_set(surface)) + len(surface.triangles)


def check_sound(surface):
    """Counter-clockwise, neighbours mutual and across the right edge, every vertex used."""
    assert (areas(surface) > 0).all()
    directed = {}
    for row, (p, q, r) in enumerate(surface.triangles.tolist()):
        directed |= {(p, q): row, (q, r): row, (r, p): row}
    assert len(directed) == surface.triangles.size
    across = [
        [directed.get(edge, -1) for edge in ((q, p), (r, q), (p, r))]
        for p, q, r in surface.triangles.tolist()
    ]
    assert surface.neighbours.tolist() == across
    assert set(surface.triangles.ravel().tolist()) == set(range(len(surface.x)))


def kinds(findings):
    return Counter((finding.severity, finding.kind) for finding in findings)


# --- the plain triangulation


@pytest.mark.parametrize("seed", range(8))
def test_without_lines_it_is_the_delaunay_triangulation(seed):
    places = scattered(seed)
    surface, findings = build(shots_at(places), NO_LINES, WHOLE)

    assert by_shot(surface) == {frozenset(t) for t in Delaunay(places).simplices.tolist()}
    assert findings == ()
    check_sound(surface)


@pytest.mark.parametrize("seed", range(4))
def test_triangles_fill_the_convex_hull_and_obey_euler(seed):
    places = scattered(seed, n=200)
    surface, _ = build(shots_at(places), NO_LINES, WHOLE)

    hull = shapely.MultiPoint(places).convex_hull
    assert area(surface) == pytest.approx(hull.area, rel=1e-12)
    assert areas(surface).sum() == pytest.approx(hull.area, rel=1e-12)
    assert euler(surface) == 1
    # a triangulation of n points of which h are on the hull has 2n - 2 - h triangles (Euler)
    assert len(surface.triangles) == 2 * 200 - 2 - len(ConvexHull(places).vertices)


@pytest.mark.parametrize("seed", range(6))
def test_no_vertex_lies_in_a_circle_but_across_a_line(seed):
    """Edge by edge, in fractions: an inner edge off the lines is locally Delaunay."""
    rng = np.random.default_rng(seed)
    places = scattered(seed)
    shots = shots_at(places)
    lines = through(shots, *(rng.choice(60, 3, replace=False) for _ in range(4)))
    surface, _ = build(shots, lines, WHOLE)
    check_sound(surface)

    x = [Fraction(round(v * 1e6)) for v in surface.x]
    y = [Fraction(round(v * 1e6)) for v in surface.y]
    t, k = np.nonzero((surface.neighbours >= 0) & ~surface.fixed)
    for row, edge in zip(t.tolist(), k.tolist(), strict=True):
        tri = surface.triangles[row].tolist()
        (d,) = set(surface.triangles[surface.neighbours[row, edge]].tolist()) - set(tri)
        rows = [(x[v] - x[d], y[v] - y[d], (x[v] - x[d]) ** 2 + (y[v] - y[d]) ** 2) for v in tri]
        (a, b, c), (e, f, g), (h, i, j) = rows
        inside = a * (f * j - g * i) - b * (e * j - g * h) + c * (e * i - f * h)
        assert inside <= 0


def test_a_plane_is_reproduced_by_any_triangulation(published):
    reference = published("REF-TIN-1")
    places = np.random.default_rng(1).random((60, 2)) * 100
    surface, _ = build(
        shots_at(places, 2 + 0.03 * places[:, 0] - 0.02 * places[:, 1]), NO_LINES, WHOLE
    )
    rng = np.random.default_rng(2)
    east, north = rng.random(2000) * 100, rng.random(2000) * 100
    error = interpolate(surface, east, north) - (2 + 0.03 * east - 0.02 * north)

    reference.check("max_abs_error", np.nanmax(np.abs(error)))
    inside = shapely.contains_xy(shapely.MultiPoint(places).convex_hull, east, north)
    np.testing.assert_array_equal(np.isfinite(error), inside)


def test_area_and_prism_volume_of_a_plane(published):
    reference = published("REF-TIN-2")
    places = np.random.default_rng(1).random((60, 2)) * 100
    surface, _ = build(
        shots_at(places, 2 + 0.03 * places[:, 0] - 0.02 * places[:, 1]), NO_LINES, WHOLE
    )

    reference.check("area", area(surface))
    reference.check("V", (areas(surface) * surface.z[surface.triangles].mean(axis=1)).sum())


@pytest.mark.parametrize(
    ("ends", "key"), [((0, 2), "V_other"), ((1, 3), "V_diagonal_through_raised")]
)
def test_a_breakline_decides_the_diagonal(published, ends, key):
    reference = published("REF-TIN-5")
    side, z = reference.inputs["side"], reference.inputs["z"]
    shots = shots_at([(0, 0), (side, 0), (side, side), (0, side)], np.array(z))
    surface, _ = build(shots, through(shots, ends), WHOLE)

    volume = (areas(surface) * surface.z[surface.triangles].mean(axis=1)).sum()
    reference.check(key, volume)
    assert edge_set(surface, surface.fixed) == {frozenset(ends)}


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 10**6), st.sampled_from([(500_000, 6_000_000), (-80_000, 12), (0, 9_999_999)])
)
def test_shifting_the_job_changes_nothing(seed, shift):
    places = scattered(seed, n=25)
    z = np.round(np.random.default_rng(seed).random(25), 3)
    here, _ = build(shots_at(places, z), NO_LINES, WHOLE)
    there, _ = build(shots_at(places + shift, z), NO_LINES, WHOLE)

    assert by_shot(here) == by_shot(there)
    middle = places[here.point[here.triangles]].mean(axis=1)
    difference = interpolate(there, *(middle + shift).T) - interpolate(here, *middle.T)
    # a step of float64 at N 10 000 000 is 2e-9 m; times the slope
    assert (np.abs(difference) <= 1e-9 + 4e-9 * slope(here, np.arange(len(middle)))).all()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.0, 360.0))
def test_turning_the_job_changes_nothing(seed, degrees):
    """Turned coordinates are rounded to the micrometre, which only matters to four shots that
    lie on one circle to a ten-millionth: none of 25 scattered ones do."""
    places = scattered(seed, n=25)
    angle = np.radians(degrees)
    turned = places @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    surface, _ = build(shots_at(turned + 1000.0), NO_LINES, WHOLE)

    assert area(surface) == pytest.approx(shapely.MultiPoint(places).convex_hull.area, rel=1e-9)
    assert by_shot(surface) == {frozenset(t) for t in Delaunay(places).simplices.tolist()}


@pytest.mark.parametrize("shuffle", range(3))
def test_the_order_of_the_shots_decides_nothing(shuffle):
    places = scattered(3)
    order = np.random.default_rng(shuffle).permutation(60)
    surface, _ = build(shots_at(places[order]), NO_LINES, WHOLE)

    got = {frozenset(order[list(t)].tolist()) for t in by_shot(surface)}
    assert got == {frozenset(t) for t in Delaunay(places).simplices.tolist()}


def test_the_same_shots_give_the_same_bytes():
    shots = shots_at(scattered(5), np.arange(60.0))
    lines = through(shots, [0, 1, 2, 3], [4, 5, 6])
    first, said = build(shots, lines, WHOLE)
    again, said_again = build(shots, lines, WHOLE)

    for name in ("x", "y", "z", "triangles", "neighbours", "fixed", "point", "origin"):
        assert getattr(first, name).tobytes() == getattr(again, name).tobytes()
    assert said == said_again


# --- lines


@pytest.mark.parametrize("seed", range(6))
def test_every_piece_of_every_line_is_made_of_edges(seed):
    rng = np.random.default_rng(seed)
    places = scattered(seed)
    shots = shots_at(places, rng.random(60))
    ways = [rng.choice(60, 4, replace=False) for _ in range(5)]
    surface, _ = build(shots, through(shots, *ways), WHOLE)
    check_sound(surface)

    edges = fixed_lines(surface)
    drawn = shapely.union_all([shapely.LineString(places[way] - surface.origin) for way in ways])
    # a crossing is rounded to the micrometre and bends the line by as much
    assert shapely.hausdorff_distance(edges, drawn) < 1e-6
    assert shapely.length(edges) == pytest.approx(shapely.length(drawn), abs=1e-5)
    assert area(surface) == pytest.approx(shapely.MultiPoint(places).convex_hull.area, rel=1e-12)
    assert euler(surface) == 1


def test_lines_that_cross_get_the_mean_height_if_they_agree():
    # 16 m in 1 m: at the crossing A is 1.00 and B 1.02
    surface, (note,) = shoot(
        (0, 10, 1.0, "EC1"), (20, 10, 1.0, "EC1"), (10, 0, 1.01, "CL"), (10, 20, 1.03, "CL")
    )

    assert kinds([note]) == {("note", "crossing"): 1}
    assert "1 crossing of breaklines has the mean height of both" in note.text
    assert surface.point.tolist() == [0, 1, 2, 3, -1]
    assert (surface.x[4], surface.y[4]) == (10.0, 10.0)
    assert surface.z[4] == pytest.approx(1.01)
    assert edge_set(surface, surface.fixed) == {frozenset((k, 4)) for k in range(4)}


def test_lines_that_cross_at_two_heights_are_a_persons_business():
    surface, (finding,) = shoot(
        (0, 10, 1.0, "EC1"), (20, 10, 1.0, "EC1"), (10, 0, 1.3, "CL"), (10, 20, 1.3, "CL")
    )

    assert (finding.severity, finding.kind) == ("person", "crossing")
    assert finding.text == (
        "line EC1 from 1 to 2 and line CL from 3 to 4 cross at E 10.000 N 10.000:"
        " 1.000 and 1.300, 0.300 m apart; 1.000 of line EC1 used"
    )
    assert finding.points == ("1", "2", "3", "4")
    assert surface.z[4] == 1.0


def test_three_lines_through_one_point_are_one_crossing():
    surface, (note,) = shoot(
        (0, 10, 1.0, "EC1"), (20, 10, 1.0, "EC1"), (10, 0, 1.0, "EC2"), (10, 20, 1.0, "EC2"),
        (0, 0, 1.01, "CL"), (20, 20, 1.01, "CL"),
    )  # fmt: skip

    assert note.kind == "crossing"
    assert surface.point.tolist() == [0, 1, 2, 3, 4, 5, -1]
    # the mean of all three, whatever the order
    assert surface.z[6] == pytest.approx((1.0 + 1.0 + 1.01) / 3)


def test_of_three_lines_through_one_point_those_off_the_first_are_said():
    surface, findings = shoot(
        (0, 10, 1.0, "EC1"), (20, 10, 1.0, "EC1"), (10, 0, 1.02, "EC2"), (10, 20, 1.02, "EC2"),
        (0, 0, 1.5, "CL"), (20, 20, 1.5, "CL"),
    )  # fmt: skip

    assert [finding.points for finding in findings] == [("1", "2", "5", "6")]
    assert surface.z[6] == 1.0


def test_a_line_that_crosses_itself_is_cut_there():
    surface, findings = shoot(
        (0, 0, 1, "EC"), (20, 20, 1, "EC"), (20, 0, 1, "EC"), (0, 20, 1, "EC")
    )

    assert kinds(findings) == {("note", "crossing"): 1}
    assert (surface.x[4], surface.y[4]) == (10, 10)


def test_lines_that_do_not_come_apart_are_refused(monkeypatch):
    monkeypatch.setattr("pipeline.surface.crossings._ROUNDS", 1)

    with pytest.raises(
        SurfaceError, match=r"still cross after being cut 1 times, last at E 10\.000"
    ):
        shoot((0, 10, 1, "EC1"), (20, 10, 1, "EC1"), (10, 0, 1, "CL"), (10, 20, 1, "CL"))


def test_lines_that_shots_keep_touching_are_refused(monkeypatch):
    monkeypatch.setattr("pipeline.surface.touching._ROUNDS", 1)

    with pytest.raises(
        SurfaceError, match="still touch shots after being led through them 1 times"
    ):
        shoot((0, 10, 1, "EC1"), (20, 10, 1, "EC1"), (10, 10, 1, "GR"), (10, 20, 1, "GR"))


@pytest.mark.parametrize(("height", "said"), [(1.01, 0), (1.25, 1)])
@pytest.mark.parametrize("code", ["GR", "CL"])
def test_a_line_through_a_shot_keeps_the_shots_height(height, said, code):
    surface, findings = shoot(
        (0, 10, 1.0, "EC"), (20, 10, 1.0, "EC"), (10, 10, height, code), (10, 20, 1.0, code),
        (10, 0, 1.0, "GR"),
    )  # fmt: skip

    assert kinds(findings) == ({("person", "crossing"): 1} if said else {})
    assert surface.z[surface.point == 2].tolist() == [height]
    assert {frozenset((0, 2)), frozenset((1, 2))} <= edge_set(surface, surface.fixed)
    if said:
        assert "line EC from 1 to 2 passes through 3 at E 10.000 N 10.000" in findings[0].text
        assert "1.000 on the line, 1.250 there, 0.250 m apart; 1.250 used" in findings[0].text
        assert findings[0].points == ("3", "1", "2")


def test_lines_that_lie_on_each_other_share_their_edges():
    surface, findings = shoot(
        (0, 0, 1, "EC1"), (30, 0, 1, "EC1"), (10, 0, 1, "CL"), (40, 0, 1, "CL"), (20, 9, 1, "GR")
    )

    assert findings == ()
    assert edge_set(surface, surface.fixed) == {
        frozenset(pair) for pair in ((0, 2), (2, 1), (1, 3))
    }


def test_lines_of_a_file_add_vertices_of_their_own():
    shots = shots_at([(0, 0), (20, 0), (20, 20), (0, 20)], 1.0)
    string = freehand([(5, 5, 2.0), (15, 5, 2.0), (15, 15, 2.0)], kind="string")
    surface, findings = build(shots, string, WHOLE)

    assert findings == ()
    assert surface.point.tolist() == [0, 1, 2, 3, -1, -1, -1]
    assert interpolate(surface, [10, 15], [5, 10]).tolist() == [2.0, 2.0]
    assert edge_set(surface, surface.fixed) == {frozenset((4, 5)), frozenset((5, 6))}


@pytest.mark.parametrize(("height", "said"), [(1.015, 0), (1.1, 1)])
def test_a_files_line_on_a_shot_takes_the_shots_height(height, said):
    shots = shots_at([(0, 0), (20, 0), (20, 20), (0, 20)], 1.0)
    string = freehand([(0, 0, height), (10, 10, 1.0)])
    surface, findings = build(shots, string, WHOLE)

    assert surface.point.tolist() == [0, 1, 2, 3, -1]
    assert surface.z[0] == 1.0
    assert kinds(findings) == ({("person", "same place"): 1} if said else {})


def test_a_corner_of_a_bare_ring_takes_the_height_of_a_line_that_ends_there():
    shots = shots_at([(0, 0), (20, 0), (20, 20), (0, 20), (10, 1)], 1.0)
    drawn = Linework(
        easting=[5, 15, 15, 5, 5, 10], northing=[5, 5, 15, 15, 5, 10],
        elevation=[np.nan] * 4 + [3.0, 3.0], point=np.full(6, -1), start=[0, 4, 6],
        name=("rim", "wall"), kind=("boundary", "break"),
    )  # fmt: skip
    surface, findings = build(shots, drawn, WHOLE)

    assert {finding.kind for finding in findings} == {"shot without triangle"}
    assert area(surface) == pytest.approx(100.0, abs=1e-4)
    assert interpolate(surface, [5.0, 7.5], [5.0, 7.5]) == pytest.approx([3.0, 3.0])


def test_a_breakline_without_heights_is_not_used_and_is_said():
    shots = shots_at([(0, 0), (20, 0), (20, 20), (0, 20)], 1.0)
    string = freehand([(5, 5, np.nan), (15, 5, 1.0)], name="kerb string")
    surface, (finding,) = build(shots, string, WHOLE)

    assert (finding.severity, finding.kind) == ("person", "line without height")
    assert "kerb string" in finding.text
    assert len(surface.x) == 4
    assert not surface.fixed.any()


# --- shots at one place


def test_a_shot_taken_twice_is_used_once_and_lines_go_through_the_first():
    surface, (note,) = shoot(
        (0, 0, 1, "EC"), (10, 0, 1, "EC"), (10.03, 0.03, 1.014, "CL"), (10, 10, 1, "CL"),
        (20, 5, 1, "GR"),
        rules=SurfaceRules(max_edge_m=1e6),
    )  # fmt: skip

    assert (note.severity, note.kind, note.points) == ("note", "shot twice", ("2", "3"))
    assert note.text == (
        "points 2 and 3 are 0.042 m apart and 0.014 m in height: one shot taken twice; 2 used"
    )
    assert surface.point.tolist() == [0, 1, 3, 4]
    assert {frozenset((0, 1)), frozenset((1, 2))} == edge_set(surface, surface.fixed)


@pytest.mark.parametrize(("apart", "merged"), [(0.05, True), (0.0501, False)])
def test_the_limit_of_one_place_counts_as_within(apart, merged):
    surface, findings = shoot(
        (500_000, 6_000_000, 100, "GR"), (500_000 + apart, 6_000_000, 100.015, "GR"),
        (500_010, 6_000_000, 100, "GR"), (500_000, 6_000_010, 100, "GR"),
        rules=SurfaceRules(max_edge_m=1e6),
    )  # fmt: skip

    assert len(surface.x) == (3 if merged else 4)
    assert len(findings) == merged


def test_one_place_at_two_heights_is_a_persons_business():
    surface, (finding,) = shoot(
        (0, 0, 1, "GR"), (10, 0, 1, "EC1"), (10.02, 0, 1.15, "EC2"), (10, 10, 1, "GR"),
        rules=SurfaceRules(max_edge_m=1e6),
    )  # fmt: skip

    assert (finding.severity, finding.kind, finding.points) == ("person", "same place", ("2", "3"))
    assert "0.020 m apart and 0.150 m in height" in finding.text
    assert surface.point.tolist() == [0, 1, 3]
    assert surface.z.tolist() == [1, 1, 1]


def test_a_curb_face_is_two_places():
    """Foot and top of a curb 15 cm high, 2 cm apart in plan: both are real (job of the crew)."""
    surface, findings = shoot(
        (0, 0.00, 1.00, "EC"), (10, 0.00, 1.00, "EC"),
        (10, 0.02, 1.15, "CL"), (0, 0.02, 1.15, "CL"),
        (5, -5, 1.0, "GR"), (5, 5, 1.15, "GR"),
        rules=SurfaceRules(max_edge_m=1e6),
    )  # fmt: skip

    assert findings == ()
    assert len(surface.x) == 6
    assert interpolate(surface, [5, 5, 5], [0.0, 0.01, 0.02]) == pytest.approx([1.0, 1.075, 1.15])
    check_sound(surface)


def test_a_face_that_stands_straight_up_cannot_be_modelled_and_is_said():
    surface, (finding,) = shoot(
        (0, 0, 1.0, "EC"), (0, 0, 1.15, "CL"), (10, 0, 1, "GR"), (0, 10, 1, "GR"),
        rules=SurfaceRules(max_edge_m=1e6),
    )  # fmt: skip

    assert (finding.severity, finding.kind, finding.points) == (
        "person",
        "vertical face",
        ("1", "2"),
    )
    assert surface.z[0] == 1.0


def test_a_shot_that_is_another_again_is_not_in_doubt():
    # 1 and 2 are foot and top of a face; 3 has the code of 1 but is 2 shot again
    _, (note,) = shoot(
        (0, 0, 1.0, "EC"), (0.03, 0, 1.15, "CL"), (0.02, 0.01, 1.15, "EC"),
        (10, 0, 1, "GR"), (0, 10, 1, "GR"),
        rules=SurfaceRules(row_wander_m=0, max_edge_m=1e6),
    )  # fmt: skip

    assert (note.kind, note.points) == ("shot twice", ("2", "3"))


def test_a_third_shot_is_judged_against_those_that_are_used():
    # 2 is 1 again and not used; 3 is 4 cm from 2 but 8 cm from 1: a place of its own
    surface, (note,) = shoot(
        (0, 0, 1, "GR"), (0.04, 0, 1, "GR"), (0.08, 0, 1, "GR"), (10, 0, 1, "GR"), (0, 10, 1, "GR"),
        rules=SurfaceRules(max_edge_m=1e6),
    )  # fmt: skip

    assert note.points == ("1", "2")
    assert surface.point.tolist() == [0, 2, 3, 4]


def test_many_shots_twice_are_said_shortly_and_none_is_lost():
    places = scattered(1, n=80, size=500.0)
    shots = shots_at(np.concatenate([places, places]))
    surface, findings = build(shots, NO_LINES, SurfaceRules(max_edge_m=1e6))

    assert len(surface.x) == 80
    assert len(findings) == 51
    assert findings[-1].text.startswith("30 more pairs of shots")
    named = [name for finding in findings for name in finding.points]
    assert sorted(map(int, named)) == list(range(1, 161))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_pairs_within_reach_are_those_that_a_search_of_all_finds(seed):
    from pipeline.surface.places import near_pairs

    rng = np.random.default_rng(seed)
    reach = int(rng.integers(0, 60_000))
    gx, gy = rng.integers(0, 400_000, (2, 50))
    a, b = near_pairs(gx, gy, reach)

    i, j = np.triu_indices(50, 1)
    near = (gx[i] - gx[j]) ** 2 + (gy[i] - gy[j]) ** 2 <= reach**2
    expected = set(zip(i[near].tolist(), j[near].tolist(), strict=True))
    assert sorted(zip(a.tolist(), b.tolist(), strict=True)) == sorted(expected)
