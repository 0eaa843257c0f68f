"""Which triangle, which height, which slope: against scipy, matplotlib and every triangle tried."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import LinearTriInterpolator, Triangulation
from scipy.interpolate import LinearNDInterpolator

from pipeline.model import NO_LINES, Mesh, Surface, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface.locate import find, gradient, interpolate, slope
from pipeline.surface.tin import build, from_mesh
from tests.forms import both_forms

form = both_forms("pipeline.surface.locate.BREAK_EVEN")

WHOLE = SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e6)
STREET = (500_000.0, 6_000_000.0)


def ground(seed=0, n=300, *, size=(60.0, 60.0), shift=STREET, rules=WHOLE):
    rng = np.random.default_rng(seed)
    places = np.round(rng.random((n, 2)) * size, 3) + shift
    z = rng.random(n)
    surface, _ = build(make_shots(places[:, 0], places[:, 1], z), NO_LINES, rules)
    return surface, places, z


def by_trying_all(surface, east, north):
    """Lowest-numbered triangle that holds each point, every triangle tried."""
    x, y = east - surface.origin[0], north - surface.origin[1]
    result = np.full(len(x), -1)
    for t in reversed(range(len(surface.triangles))):
        a, b, c = surface.triangles[t]
        inside = np.ones(len(x), dtype=bool)
        for p, q in ((a, b), (b, c), (c, a)):
            u, v = surface.x[q] - surface.x[p], surface.y[q] - surface.y[p]
            away = (u * (y - surface.y[p]) - v * (x - surface.x[p])) / np.hypot(u, v)
            inside &= away >= -1e-9
        result[inside] = t
    return result


def square(*, hole=False, shift=(0.0, 0.0)):
    """Squares of 10 m, 3 by 3, of two triangles each; the middle one may be missing."""
    north, east = np.mgrid[0:4, 0:4].reshape(2, -1) * 10.0
    faces = []
    for a in (0, 1, 2, 4, 5, 6, 8, 9, 10):
        if not (hole and a == 5):
            faces += [(a, a + 1, a + 5), (a, a + 5, a + 4)]
    ids = np.array([str(k) for k in range(16)], dtype=object)
    surface, _ = from_mesh(Mesh("s", east + shift[0], north + shift[1], 0.1 * east, faces, ids))
    return surface


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("longest", [1e6, 8.0])
def test_the_triangle_found_is_the_one_that_trying_all_finds(seed, longest):
    surface, _, _ = ground(
        seed, rules=SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=longest)
    )
    rng = np.random.default_rng(seed)
    east, north = rng.random((2, 1500)) * 70 - 5
    found = find(surface, east + STREET[0], north + STREET[1])

    assert found.dtype == np.int32
    np.testing.assert_array_equal(
        found, by_trying_all(surface, east + STREET[0], north + STREET[1])
    )


@pytest.mark.parametrize("size", [(1000.0, 5.0), (5.0, 1000.0)])
def test_long_streets_either_way(size):
    surface, _, _ = ground(1, size=size, shift=(0.0, 0.0))
    east, north = np.random.default_rng(1).random((2, 1500)) * np.array(size)[:, None]

    np.testing.assert_array_equal(find(surface, east, north), by_trying_all(surface, east, north))


def test_large_and_small_triangles_together():
    """A bench of shots 1 cm apart in a field of shots 50 m apart."""
    rng = np.random.default_rng(8)
    places = np.concatenate([rng.random((200, 2)) * 0.3 + 200, rng.random((60, 2)) * 400])
    surface, _ = build(make_shots(places[:, 0], places[:, 1], np.ones(260)), NO_LINES, WHOLE)
    points = np.concatenate([rng.random((800, 2)) * 0.4 + 200, rng.random((800, 2)) * 400])

    np.testing.assert_array_equal(find(surface, *points.T), by_trying_all(surface, *points.T))


@pytest.mark.parametrize("seed", range(3))
def test_heights_by_two_other_libraries(seed):
    surface, places, z = ground(seed)
    near = places - STREET
    east, north = np.random.default_rng(seed + 10).random((2, 3000)) * 60
    got = interpolate(surface, east + STREET[0], north + STREET[1])

    # both are asked at the place that float64 holds of it
    east, north = (east + STREET[0]) - STREET[0], (north + STREET[1]) - STREET[1]
    by_scipy = LinearNDInterpolator(near, z)(east, north)
    np.testing.assert_array_equal(np.isnan(got), np.isnan(by_scipy))
    np.testing.assert_allclose(got, by_scipy, rtol=0, atol=1e-9)
    triangulation = Triangulation(surface.x, surface.y, surface.triangles)
    shifted = np.array(STREET) - surface.origin
    by_matplotlib = LinearTriInterpolator(triangulation, surface.z)(
        east + shifted[0], north + shifted[1]
    ).filled(np.nan)
    np.testing.assert_allclose(got, by_matplotlib, rtol=0, atol=1e-9)


def test_at_a_vertex_the_height_is_that_of_the_shot_to_the_bit():
    surface, places, z = ground()

    np.testing.assert_array_equal(interpolate(surface, places[:, 0], places[:, 1]), z)


def test_on_an_edge_both_sides_give_one_height():
    surface, _, _ = ground(2, shift=(0.0, 0.0))
    t, k = np.nonzero(surface.neighbours >= 0)
    a, b = surface.triangles[t, k], surface.triangles[t, (k + 1) % 3]
    share = np.random.default_rng(0).random(len(t))
    east = surface.x[a] + share * (surface.x[b] - surface.x[a]) + surface.origin[0]
    north = surface.y[a] + share * (surface.y[b] - surface.y[a]) + surface.origin[1]

    np.testing.assert_allclose(
        interpolate(surface, east, north),
        surface.z[a] + share * (surface.z[b] - surface.z[a]),
        rtol=0, atol=1e-9,
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(-500, 3000)),
    st.sampled_from([(0.0, 0.0), STREET, (-2_500_000.0, 7_300_000.0)]),
    st.integers(0, 1000),
)
def test_a_plane_is_exact_wherever_the_job_lies(plane, shift, seed):
    p, q, z0 = plane
    rng = np.random.default_rng(seed)
    places = rng.random((40, 2)) * 80
    surface, _ = build(
        make_shots(
            places[:, 0] + shift[0], places[:, 1] + shift[1],
            z0 + p * places[:, 0] + q * places[:, 1],
        ),
        NO_LINES, WHOLE,
    )  # fmt: skip
    east, north = 20 + rng.random((2, 50)) * 40
    got = interpolate(surface, east + shift[0], north + shift[1])
    inside = np.isfinite(got)

    assert inside.any()
    # 1e-9 m is the step of float64 in a northing of 7 300 000; times a slope of 0.3
    np.testing.assert_allclose(got[inside], (z0 + p * east + q * north)[inside], rtol=0, atol=2e-9)
    found = find(surface, east + shift[0], north + shift[1])[inside]
    np.testing.assert_allclose(gradient(surface, found), [[p, q]] * len(found), atol=1e-6)
    np.testing.assert_allclose(slope(surface, found), np.hypot(p, q), atol=1e-6)


def test_a_point_on_a_shared_edge_or_vertex_belongs_to_the_lowest_triangle():
    surface = square()

    # on the diagonal of the first square; on the edge between the first two; where six meet
    assert find(surface, [5, 10, 10], [5, 4, 10]).tolist() == [0, 0, 0]
    assert find(surface, [15, 15], [10, 10]).tolist() == [3, 3]


@pytest.mark.parametrize(("outside", "inside"), [(0.0, True), (0.9e-9, True), (1e-6, False)])
def test_a_point_a_nanometre_beside_the_outside_is_on_it(outside, inside):
    surface = square()
    found = find(surface, [15.0, -outside, 30 + outside], [-outside, 15.0, 15.0])

    assert ((found >= 0) == inside).all()


def test_outside_in_a_hole_and_nowhere_there_is_no_height():
    surface = square(hole=True, shift=STREET)
    east = np.array([15, 35, -5, 15, 15, np.nan, 1, np.inf, 5]) + STREET[0]
    north = np.array([15, 15, 15, 35, -5, 1, np.nan, 5, 5]) + STREET[1]
    z = interpolate(surface, east, north)

    assert np.isnan(z[:-1]).all()
    assert z[-1] == pytest.approx(0.5)
    assert (find(surface, east, north)[:-1] == -1).all()
    # the rim of the hole is ground
    assert interpolate(surface, [STREET[0] + 15], [STREET[1] + 10]).tolist() == [1.5]


def test_two_islands():
    north, east = np.mgrid[0:3, 0:3].reshape(2, -1) * 1.0
    shots = make_shots(
        [*east, *(east + 100)], [*north, *(north + 50)], [*([1.0] * 9), *([2.0] * 9)]
    )
    surface, _ = build(shots, NO_LINES, SurfaceRules(max_edge_m=2.0))

    got = interpolate(surface, [1.5, 101.5, 50.0], [0.5, 50.5, 25.0])
    np.testing.assert_array_equal(got, [1.0, 2.0, np.nan])


def test_no_points_and_one_point():
    surface = square()

    assert find(surface, [], []).shape == (0,)
    assert interpolate(surface, [12.5], [3.0]) == pytest.approx([1.25])


def test_a_surface_without_triangles_holds_no_point():
    none = np.empty((0, 3), dtype=int)
    empty = Surface(
        name="none", origin=np.zeros(2), x=[0.0], y=[0.0], z=[0.0], triangles=none,
        neighbours=none, fixed=none.astype(bool), point=[-1],
    )  # fmt: skip

    assert find(empty, [0.0, 1.0], [0.0, 1.0]).tolist() == [-1, -1]


def test_no_triangle_has_no_slope():
    surface = square()

    assert gradient(surface, [0, -1]).tolist()[1] == pytest.approx([np.nan, np.nan], nan_ok=True)
    assert slope(surface, [0, -1]).tolist() == pytest.approx([0.1, np.nan], nan_ok=True)


def test_many_points_are_found_in_batches(monkeypatch):
    surface, _, _ = ground(5)
    east, north = np.random.default_rng(5).random((2, 4000)) * 60 + np.array(STREET)[:, None]
    at_once = find(surface, east, north)
    monkeypatch.setattr("pipeline.surface.locate._BATCH", 97)

    np.testing.assert_array_equal(find(surface, east, north), at_once)


def test_points_between_two_parts_lie_in_neither():
    """Within the reach of the whole, and no triangle anywhere near."""
    x, y = np.array([0.0, 1, 0, 90, 91, 90]), np.array([0.0, 0, 1, 90, 90, 91])
    corner = np.array([[0, 1, 2], [3, 4, 5]])
    none = np.full(corner.shape, -1)
    parts = Surface("two", [0, 0], x, y, x * 0, corner, none, none == 0, range(6))

    assert find(parts, [40.0, 41.0, 42.0], [40.0, 41.0, 42.0]).tolist() == [-1, -1, -1]
    assert find(parts, [40.0], [40.0]).tolist() == [-1]
    assert np.isnan(interpolate(parts, [40.0, 41.0], [40.0, 41.0])).all()


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 60), st.sampled_from([0, 1, 10]))
def test_both_forms_give_the_same_bits(form, seed, n, lattice):
    """Free triangles that lie over one another, and those of a lattice; points on corners, on
    edges, a hair beside them, outside and missing."""
    if form == "numpy":
        return
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 5, (2, n))
    if lattice:
        x, y = np.round(x * lattice) / lattice, np.round(y * lattice) / lattice
    corner = rng.integers(0, n, (3 * n, 3))
    a, b, c = corner.T
    twice = (x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])
    corner = np.where((twice < 0)[:, None], corner[:, ::-1], corner)[twice != 0]
    if not len(corner):
        return
    none = np.full(corner.shape, -1)
    surface = Surface("any", [0, 0], x, y, rng.normal(9, 1, n), corner, none, none == 0, range(n))
    share = rng.uniform(0, 1, 50)
    ends = corner[rng.integers(0, len(corner), 50)].T
    at = [
        np.concatenate([v, v[ends[0]] + share * (v[ends[1]] - v[ends[0]]), v + hair, [np.nan, 99]])
        for v, hair in ((x, rng.uniform(-2e-9, 2e-9, n)), (y, rng.uniform(-2e-9, 2e-9, n)))
    ]
    with pytest.MonkeyPatch.context() as patch:
        made = [find(surface, *at), interpolate(surface, *at)]
        patch.setattr("pipeline.surface.locate.BREAK_EVEN", 1 << 62)
        plain = [find(surface, *at), interpolate(surface, *at)]
    assert [v.tobytes() for v in made] == [v.tobytes() for v in plain]
