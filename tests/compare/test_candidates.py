import numpy as np
import pytest
import shapely

from pipeline.compare import candidates
from pipeline.compare.candidates import candidate_pairs


def corners_of(surface, origin=(0.0, 0.0)):
    points = np.stack(
        (surface.x + surface.origin[0] - origin[0], surface.y + surface.origin[1] - origin[1])
    )
    return points[:, surface.triangles.T]


def pairs_of(ground, design):
    found = list(candidate_pairs(corners_of(ground), corners_of(design)))
    return [(int(g), int(d)) for block in found for g, d in zip(*block, strict=True)]


@pytest.fixture
def strips(surface_of):
    """Slanting strips 60 m long and 0.15 to 4 m wide, as beside a curb."""
    along = np.linspace(0, 60, 4)
    across = np.array([-4.0, -0.3, -0.15, 0.0, 4.0])
    s, o = np.meshgrid(along, across, indexing="ij")
    k = (np.arange(3)[:, None] * 5 + np.arange(4)).ravel()
    triangles = np.r_[np.c_[k, k + 5, k + 6], np.c_[k, k + 6, k + 1]]
    return surface_of(0.8 * s - 0.6 * o, 0.6 * s + 0.8 * o, 0 * s, triangles)


def overlapping(ground, design, triangle_polygons):
    """Every pair that overlaps in area, by shapely."""
    a, b = triangle_polygons(ground), triangle_polygons(design)
    at, of = shapely.STRtree(b).query(a, predicate="intersects")
    wide = shapely.area(shapely.intersection(a[at], b[of])) > 1e-9
    return set(zip(at[wide].tolist(), of[wide].tolist(), strict=True))


@pytest.mark.parametrize("seed", [1, 2])
def test_no_overlapping_pair_is_missed(seed, random_pair, triangle_polygons):
    ground, design = random_pair(seed, 150, 90)
    pairs = pairs_of(ground, design)
    assert pairs == sorted(set(pairs))
    assert overlapping(ground, design, triangle_polygons) <= set(pairs)


@pytest.mark.parametrize("swap", [False, True])
def test_long_thin_strips_are_met_where_they_are(swap, strips, surface_of, triangle_polygons):
    rng = np.random.default_rng(4)
    e, n = rng.uniform(-10, 60, (2, 4000))
    dense = surface_of(e, n, 0 * e)
    ground, design = (strips, dense) if swap else (dense, strips)
    pairs = pairs_of(ground, design)
    real = overlapping(ground, design, triangle_polygons)
    assert real <= set(pairs)
    # the bounding boxes alone give 5.6 times the pairs that overlap
    assert len(pairs) < 4 * len(real)


def test_block_sizes_do_not_change_the_pairs(random_pair, monkeypatch):
    ground, design = random_pair(3, 80, 60)
    whole = pairs_of(ground, design)
    monkeypatch.setattr(candidates, "GROUND_BLOCK", 7)
    monkeypatch.setattr(candidates, "PAIR_BLOCK", 5)
    assert pairs_of(ground, design) == whole


def test_far_apart_there_are_no_pairs(rectangle):
    assert pairs_of(rectangle(1, 1), rectangle(1, 1, at=(5, 0))) == []


def test_triangles_of_no_area_are_left_out(surface_of, rectangle):
    flat = surface_of([0, 1, 2, 0], [0, 0, 0, 2], [0, 0, 0, 0], [[0, 1, 2], [0, 2, 3]])
    assert {g for g, _ in pairs_of(flat, rectangle(2, 2))} == {1}
