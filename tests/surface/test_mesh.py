"""Triangles from a file, and the measures of a surface, against shapely and closed formulas."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.errors import SurfaceError
from pipeline.model import NO_LINES, Mesh, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface.locate import interpolate
from pipeline.surface.tin import area, build, from_mesh, outline, slope_area


def grid_mesh(columns=4, rows=3, *, left_out=(), size=10.0, z=0.0, shift=(0.0, 0.0)):
    """Squares of two triangles each; `left_out` holds squares (column, row) that are missing."""
    north, east = np.mgrid[0 : rows + 1, 0 : columns + 1].reshape(2, -1) * size
    faces = []
    for r in range(rows):
        for c in range(columns):
            if (c, r) not in left_out:
                a = r * (columns + 1) + c
                b, d = a + 1, a + columns + 1
                faces += [(a, b, d + 1), (a, d + 1, d)]
    ids = np.array([f"p{k}" for k in range(len(east))], dtype=object)
    return Mesh("terrain", east + shift[0], north + shift[1], np.zeros(len(east)) + z, faces, ids)


def mesh_of(points, faces):
    x, y, z = np.array(points, dtype=float).T
    return Mesh("terrain", x, y, z, faces, np.array([str(k) for k in range(len(x))], dtype=object))


def as_geometry(surface):
    x, y = surface.x[surface.triangles], surface.y[surface.triangles]
    return shapely.union_all(shapely.polygons(np.stack([x, y], axis=-1)))


def as_rings(surface):
    """(kind, ring) of the outline, near zero as the surface is."""
    lines = outline(surface)
    x, y = lines.easting - surface.origin[0], lines.northing - surface.origin[1]
    return [
        (kind, np.column_stack([x, y])[lines.start[k] : lines.start[k + 1]])
        for k, kind in enumerate(lines.kind)
    ]


# --- from_mesh


def test_faces_keep_their_points_and_become_counter_clockwise():
    mesh = grid_mesh(shift=(500_000.0, 6_000_000.0))
    turned = Mesh(mesh.name, mesh.easting, mesh.northing, mesh.elevation,
                  mesh.triangles[:, ::-1], mesh.id)  # fmt: skip
    surface, findings = from_mesh(turned)

    assert findings == ()
    assert {frozenset(t) for t in surface.triangles.tolist()} == {
        frozenset(t) for t in mesh.triangles.tolist()
    }
    x, y = surface.x[surface.triangles], surface.y[surface.triangles]
    assert all(shapely.LinearRing(ring).is_ccw for ring in np.stack([x, y], axis=-1))
    np.testing.assert_array_equal(surface.x + surface.origin[0], mesh.easting)
    assert surface.point.tolist() == [-1] * len(mesh.easting)
    assert not surface.fixed.any()


def test_neighbours_lie_across_the_edge():
    surface, _ = from_mesh(grid_mesh())

    for t, (corners, beyond) in enumerate(zip(surface.triangles, surface.neighbours, strict=True)):
        for k in range(3):
            edge = {corners[k], corners[(k + 1) % 3]}
            sharing = [
                s for s, other in enumerate(surface.triangles) if s != t and edge <= set(other)
            ]
            assert sharing == ([] if beyond[k] < 0 else [beyond[k]])


def test_the_triangles_of_a_built_surface_come_back_the_same():
    places = np.random.default_rng(3).random((50, 2)) * 60
    shots = make_shots(places[:, 0], places[:, 1], places[:, 0] * 0.1)
    built, _ = build(shots, NO_LINES, SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=9.0))
    mesh = Mesh("again", built.x, built.y, built.z, built.triangles, shots.id[built.point])
    surface, findings = from_mesh(mesh)

    assert findings == ()
    np.testing.assert_array_equal(surface.triangles, built.triangles)
    np.testing.assert_array_equal(surface.neighbours, built.neighbours)


def test_faces_without_area_or_seen_before_are_left_out_and_counted():
    points = [(0, 0, 1), (10, 0, 1), (10, 10, 1), (0, 10, 1), (20, 20, 1), (10, 0, 5)]
    faces = [(0, 1, 2), (0, 2, 3), (2, 0, 1), (0, 2, 4), (1, 1, 2), (1, 5, 2)]
    surface, findings = from_mesh(mesh_of(points, faces))

    assert area(surface) == 100.0
    texts = {finding.text for finding in findings}
    assert texts == {
        "surface terrain: 3 faces left out, each has no area in plan: 0-2-4, 1-1-2, 1-5-2",
        "surface terrain: 1 face left out, each repeats another face: 2-0-1",
    }
    assert {finding.severity for finding in findings} == {"note"}


def test_points_that_repeat_another_hold_the_faces_together():
    # every face brings its own three points, as drawings do
    whole = grid_mesh()
    corner = whole.triangles.ravel()
    soup = Mesh("soup", whole.easting[corner], whole.northing[corner], whole.elevation[corner],
                np.arange(len(corner)).reshape(-1, 3), whole.id[corner])  # fmt: skip
    surface, (note,) = from_mesh(soup)

    assert (note.severity, note.kind) == ("note", "shot twice")
    assert f"{len(corner) - 20} points repeat another exactly" in note.text
    assert outline(surface).kind == ("boundary",)
    assert area(surface) == 1200.0


def test_a_face_with_a_corner_that_has_no_height_is_a_persons_business():
    mesh = grid_mesh(2, 1)
    height = mesh.elevation.copy()
    height[0] = np.nan
    lame = Mesh("terrain", mesh.easting, mesh.northing, height, mesh.triangles, mesh.id)
    surface, (finding,) = from_mesh(lame)

    assert (finding.severity, finding.kind) == ("person", "face left out")
    assert area(surface) == 100.0
    assert np.isfinite(surface.z[surface.triangles]).all()


def test_edges_where_more_than_two_faces_meet_are_reported():
    # a fin stands out of the middle of a square of two faces, over one of them
    points = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (3, 9, 5)]
    surface, (finding,) = from_mesh(mesh_of(points, [(0, 1, 2), (0, 2, 3), (0, 2, 4)]))

    assert (finding.severity, finding.kind) == ("person", "folded surface")
    assert "at 1 edge more than two faces meet or two lie over each other: 0-2" in finding.text
    assert finding.points == ("0", "2")
    assert (surface.neighbours == -1).all()
    # of two that lie over each other the first in the file is used
    assert interpolate(surface, [3.0], [8.0]).tolist() == [0.0]


def test_an_overhang_is_reported():
    points = [(0, 0, 0), (10, 0, 0), (5, 8, 0), (6, 9, 2)]
    _, (finding,) = from_mesh(mesh_of(points, [(0, 1, 2), (0, 1, 3)]))

    assert finding.kind == "folded surface"


@pytest.mark.parametrize(
    ("points", "faces", "found"),
    [
        ([(0, 0, 0)] * 3, [], "no visible face"),
        ([(0, 0, 0), (5, 5, 0), (9, 9, 0)], [(0, 1, 2)], "none of its 1 faces has an area"),
        ([(0, 0, 0), (5, 5, 0), (9, 0, 0)], [(0, 1, 3)], "face 1: it names point number 3 of 3"),
        ([(0, 0, 0), (5, 5, 0), (9, 0, np.nan)], [(0, 1, 2)], "none of its 1 faces"),
    ],
)
def test_a_mesh_that_is_no_surface_is_refused_by_name(points, faces, found):
    mesh = mesh_of(points, np.array(faces, dtype=int).reshape(-1, 3))

    with pytest.raises(SurfaceError, match=found):
        from_mesh(mesh)


# --- outline


def check_outline(surface):
    """Rings by shapely: simple, the right way round, and with the area of the triangles."""
    total = 0.0
    for kind, ring in as_rings(surface):
        assert shapely.LinearRing(ring).is_simple
        assert shapely.LinearRing(ring).is_ccw == (kind == "boundary")
        total += shapely.Polygon(ring).area * (1 if kind == "boundary" else -1)
    assert total == pytest.approx(area(surface), rel=1e-12)
    assert total == pytest.approx(as_geometry(surface).area, rel=1e-9)


@pytest.mark.parametrize(
    ("left_out", "kinds"),
    [
        ((), ("boundary",)),
        (((1, 1),), ("boundary", "hole")),
        (((1, 1), (3, 1)), ("boundary", "hole", "hole")),
        # two holes that touch in a corner, and a hole that touches the outside in one
        (((1, 1), (2, 2)), ("boundary", "hole", "hole")),
        (((0, 0), (1, 1)), ("boundary", "hole")),
        # parts that touch in a corner, and parts that do not touch
        (((2, 0), (2, 1), (2, 2), (2, 3), (2, 4)), ("boundary", "boundary")),
        (tuple((c, r) for c in range(5) for r in range(5) if (c, r) not in ((0, 0), (1, 1))),
         ("boundary", "boundary")),
    ],
)  # fmt: skip
def test_rings_run_round_every_part_and_every_hole(left_out, kinds):
    surface, _ = from_mesh(grid_mesh(5, 5, left_out=left_out))

    assert sorted(outline(surface).kind) == sorted(kinds)
    assert area(surface) == 100.0 * (25 - len(left_out))
    check_outline(surface)


@pytest.mark.parametrize("seed", range(10))
def test_rings_of_ragged_surfaces(seed):
    rng = np.random.default_rng(seed)
    gone = [(c, r) for c in range(8) for r in range(8) if rng.random() < 0.4]
    surface, _ = from_mesh(grid_mesh(8, 8, left_out=gone, shift=(3e5, 5e6)))

    check_outline(surface)
    lines = outline(surface)
    for k in range(len(lines)):
        first, last = lines.start[k], lines.start[k + 1] - 1
        assert lines.easting[first] == lines.easting[last]
        assert lines.northing[first] == lines.northing[last]
    # every outside edge once: a ring of n edges holds n + 1 points
    assert (surface.neighbours < 0).sum() == len(lines.easting) - len(lines)


def test_the_outline_carries_heights_and_shots():
    shots = make_shots([0, 10, 10, 0], [0, 0, 10, 10], [1, 2, 3, 4])
    surface, _ = build(shots, NO_LINES, SurfaceRules())
    ring = outline(surface)

    assert ring.point.tolist() == [0, 1, 2, 3, 0]
    assert ring.elevation.tolist() == [1, 2, 3, 4, 1]
    assert ring.name == ("boundary 1",)


# --- areas


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.0), (0.02, -0.03), (3.0, 4.0)])
def test_area_along_the_slope_of_a_plane(east, north):
    """A plane that rises by (p, q) has sqrt(1 + p² + q²) times its plan area (geometry)."""
    mesh = grid_mesh()
    z = 100 + east * mesh.easting + north * mesh.northing
    surface, _ = from_mesh(Mesh("p", mesh.easting, mesh.northing, z, mesh.triangles, mesh.id))

    assert area(surface) == pytest.approx(1200.0, rel=1e-14)
    assert slope_area(surface) == pytest.approx(1200.0 * np.sqrt(1 + east**2 + north**2), rel=1e-12)


def test_area_along_the_slopes_of_a_pyramid():
    """Four faces of base 10 and slant height sqrt(5² + 3²) (geometry)."""
    points = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (5, 5, 3)]
    faces = [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)]
    surface, _ = from_mesh(mesh_of(points, faces))

    assert slope_area(surface) == pytest.approx(4 * 10 * np.sqrt(34) / 2, rel=1e-14)
