import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.compare.pieces import clip, fan, following, runs, starts, take, triangle_areas


def convex(rng, how_many):
    """Random convex polygons, counter-clockwise: the hulls of random points, by shapely."""
    hulls = [shapely.MultiPoint(rng.uniform(-5, 5, (9, 2))).convex_hull for _ in range(how_many)]
    rings = [np.array(shapely.Polygon(h).reverse().exterior.coords)[:-1] for h in hulls]
    rings = [r if shapely.LinearRing(r).is_ccw else r[::-1] for r in rings]
    return hulls, np.concatenate(rings).T, starts(np.array([len(r) for r in rings]))


def areas(columns, start):
    triangles, owner = fan(start)
    values = triangle_areas(columns[0], columns[1], triangles)
    return np.bincount(owner, values, len(start) - 1)


@pytest.mark.parametrize("seed", range(4))
def test_clip_leaves_what_a_geometry_library_leaves(seed):
    """Source: shapely, intersection with a half-plane, polygon by polygon."""
    rng = np.random.default_rng(seed)
    hulls, columns, start = convex(rng, 40)
    a, b, c = rng.normal(0, 1, 3)
    inside = a * columns[0] + b * columns[1] + c
    out, out_start, kept = clip(columns, start, inside)

    along, across = np.array([-b, a]) / np.hypot(a, b), np.array([a, b]) / np.hypot(a, b)
    foot = -c / np.hypot(a, b) * across
    corners = [foot - 99 * along, foot + 99 * along]
    half = shapely.Polygon([*corners, corners[1] + 99 * across, corners[0] + 99 * across])
    expected = np.array([hull.intersection(half).area for hull in hulls])

    got = np.zeros(len(hulls))
    got[kept] = areas(out, out_start)
    np.testing.assert_allclose(got, expected, rtol=0, atol=1e-11)
    assert (kept == np.flatnonzero(expected > 0)).all()


def test_clip_carries_every_linear_value_along():
    rng = np.random.default_rng(5)
    _, columns, start = convex(rng, 30)
    height = 3 + 0.2 * columns[0] - 0.7 * columns[1]
    out, _, _ = clip(np.vstack((columns, height)), start, columns[0] + columns[1])
    np.testing.assert_allclose(out[2], 3 + 0.2 * out[0] - 0.7 * out[1], atol=1e-13)


def test_clip_of_a_shared_edge_gives_both_sides_the_same_point():
    """Two triangles on either side of one edge: its crossing is equal to the last bit."""
    x = np.array([0, 1, -1, 1, 0, 2.0]) / 3
    y = np.array([0, 3, 2, 3, 0, 0.1]) / 7
    out, start, _ = clip(np.stack((x, y)), np.array([0, 3, 6]), 0.2 - y)
    first = {tuple(p) for p in out[:, : start[1]].T.tolist()}
    second = {tuple(p) for p in out[:, start[1] :].T.tolist()}
    assert len(first & second) == 2


def test_polygon_that_only_touches_the_line_is_gone():
    square = np.array([[0.0, 1, 1, 0], [0, 0, 1, 1]])
    _, start, kept = clip(square, np.array([0, 4]), -square[0])
    assert start.tolist() == [0]
    assert kept.tolist() == []


def test_clip_of_nothing_is_nothing():
    out, start, kept = clip(np.empty((3, 0)), np.zeros(1, dtype=np.int64), np.empty(0))
    assert (out.shape, start.tolist(), kept.tolist()) == ((3, 0), [0], [])


@given(st.lists(st.tuples(st.integers(0, 99), st.integers(0, 5)), max_size=12))
def test_runs_are_the_ranges_one_after_the_other(pairs):
    first = np.array([a for a, _ in pairs], dtype=np.int64)
    count = np.array([b for _, b in pairs], dtype=np.int64)
    assert runs(first, count).tolist() == [a + k for a, b in pairs for k in range(b)]


def test_following_goes_round_each_polygon():
    assert following(np.array([0, 3, 7])).tolist() == [1, 2, 0, 4, 5, 6, 3]


def test_take_keeps_the_order_asked_for():
    columns = np.arange(7.0)[None]
    out, start = take(columns, np.array([0, 3, 7]), np.array([1, 0]))
    assert out.tolist() == [[3, 4, 5, 6, 0, 1, 2]]
    assert start.tolist() == [0, 4, 7]
