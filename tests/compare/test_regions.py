import numpy as np
import pytest
import shapely
from scipy.spatial import Delaunay

from pipeline.compare.regions import in_order, merged, rings_of, weld

ORIGIN = np.array([100.0, 200.0])


def laid_out(polygons):
    """Columns and starts of polygons given as lists of corners."""
    points = np.concatenate([np.asarray(p, dtype=float) for p in polygons])
    return points.T, np.concatenate(([0], np.cumsum([len(p) for p in polygons])))


def square(x, y, side=1.0):
    return [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]


def test_welded_points_are_numbered_alike_and_stand_for_themselves():
    columns = np.array([[0, 1, 1 + 1e-9, 1.001, 0], [0, 5, 5, 5, 1e-9]])
    which, first = weld(columns)
    assert which[1] == which[2] != which[3]
    assert which[0] == which[4]
    assert (columns[0][first[which]] == [0, 1, 1, 1.001, 0]).all()


def test_weld_of_three_long_rows_does_not_run_out_of_numbers():
    """2^32 cells in each of three rows: in 64 bits the first row's would fall off the end."""
    far = 2.0**32 - 1
    columns = np.array([[0, 1, far, 0], [0, 0, far, 0], [0, 0, far, 0]])
    which, first = weld(columns, step=1.0)
    assert len(first) == 3
    assert which[0] == which[3] != which[1]


def test_whole_millimetres_are_welded_whatever_rounding_says():
    x = np.arange(200) * 0.001
    which, first = weld(np.concatenate((x - 1e-13, x + 1e-13))[None])
    assert len(first) == 200
    assert (which[:200] == which[200:]).all()


@pytest.mark.parametrize("seed", range(3))
def test_some_triangles_of_a_tin_merge_as_a_geometry_library_merges_them(seed):
    """Source: shapely's union. Half of the triangles: many holes, many touching corners."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, 40, (250, 2))
    tri = Delaunay(points).simplices
    chosen = tri[rng.random(len(tri)) < 0.5]
    columns, start = laid_out(list(points[chosen]))
    got = merged(columns, start, ORIGIN)
    expected = shapely.union_all(shapely.polygons(points[chosen]))
    assert shapely.is_valid(got.shapes).all()
    assert shapely.area(got.shapes).sum() == pytest.approx(expected.area, rel=1e-12)
    together = shapely.union_all(got.shapes)
    assert together.symmetric_difference(expected).area == pytest.approx(0, abs=1e-9)
    # touching in a point is not being connected, for shapely as for us
    assert len(got.shapes) == len(shapely.get_parts(expected))


@pytest.mark.parametrize("seed", [140, 968, 1076])
def test_points_a_tenth_of_a_millimetre_apart_leave_valid_regions(seed):
    """Source: shapely's union. Welding then turns some triangles over; area to 0.1 mm a side."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, 12, (60, 2))
    points = np.concatenate((points, points[::2] + rng.normal(0, 1e-4, (30, 2))))
    tri = Delaunay(points).simplices
    chosen = tri[rng.random(len(tri)) < 0.6]
    columns, start = laid_out(list(points[chosen]))
    got = merged(columns, start, ORIGIN).shapes
    expected = shapely.union_all(shapely.polygons(points[chosen]))
    assert shapely.is_valid(got).all()
    assert shapely.area(got).sum() == pytest.approx(expected.area, abs=1e-4 * expected.length)


def test_one_square_of_four_has_four_corners_and_the_middle_ones():
    columns, start = laid_out([square(0, 0), square(1, 0), square(0, 1), square(1, 1)])
    (shape,) = merged(columns, start, ORIGIN).shapes
    assert shape.area == 4
    assert len(shape.exterior.coords) - 1 == 8


def test_squares_that_touch_in_a_corner_stay_two():
    columns, start = laid_out([square(0, 0), square(1, 1)])
    shapes = merged(columns, start, ORIGIN).shapes
    assert [s.area for s in shapes] == [1, 1]
    assert shapely.is_valid(shapes).all()


def test_hole_that_touches_the_outside_in_a_corner():
    cells = [(x, y) for x in range(3) for y in range(3) if (x, y) not in ((1, 1), (2, 2))]
    columns, start = laid_out([square(x, y) for x, y in cells])
    shapes = merged(columns, start, ORIGIN).shapes
    assert shapely.is_valid(shapes).all()
    assert shapely.area(shapes).tolist() == [7]
    assert shapely.union_all(shapes).equals(
        shapely.union_all([shapely.box(x, y, x + 1, y + 1) for x, y in cells])
    )


def test_island_in_a_hole_is_a_region_of_its_own():
    ring = [(x, y) for x in range(5) for y in range(5) if x in (0, 4) or y in (0, 4)]
    columns, start = laid_out([square(x, y) for x, y in [*ring, (2, 2)]])
    shapes = sorted(merged(columns, start, ORIGIN).shapes, key=lambda s: s.area)
    assert [s.area for s in shapes] == [1, 16]
    assert [len(s.interiors) for s in shapes] == [0, 1]


@pytest.mark.parametrize("off", [1e-12, -1e-12])
def test_neighbours_that_disagree_by_rounding_still_merge(off):
    """One square's edge has a third point a picometre off the line; its neighbour's has not."""
    left = [(0, 0), (1, 0), (1 + off, 0.5), (1, 1), (0, 1)]
    others = [square(x, y) for x in (0, 1) for y in (-1, 0, 1) if (x, y) != (0, 0)]
    columns, start = laid_out([left, *others])
    (shape,) = merged(columns, start, ORIGIN).shapes
    assert shape.area == pytest.approx(6, abs=1e-9)
    assert len(shape.interiors) == 0


def test_nothing_merges_to_nothing():
    assert len(merged(np.empty((2, 0)), np.zeros(1, dtype=np.int64), ORIGIN).shapes) == 0


def test_rings_are_on_the_job_grid_and_always_start_and_turn_alike():
    shell, hole = square(0, 0, 3), square(1, 1)
    expected = [
        [[100, 200], [103, 200], [103, 203], [100, 203]],
        [[101, 201], [101, 202], [102, 202], [102, 201]],
    ]
    for k in range(4):
        for turn in (1, -1):
            spun = [(ring[k:] + ring[:k])[::turn] for ring in (shell, hole)]
            rings = rings_of(shapely.Polygon(spun[0], [spun[1]]), ORIGIN)
            assert [ring.tolist() for ring in rings] == expected


def test_polygons_are_put_in_order_from_west_to_east():
    a, b = (np.array(square(x, 0)) for x in (5, 1))
    assert [rings[0][0, 0] for rings in in_order([(a,), (b,)])] == [1, 5]
