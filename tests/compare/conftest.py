"""Surfaces made of points here, so that these tests need no other room of the house."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay

from pipeline.model import Surface


def _neighbours(triangles: np.ndarray) -> np.ndarray:
    across = np.full(triangles.shape, -1)
    sides: dict[tuple[int, int], tuple[int, int]] = {}
    for t, corners in enumerate(triangles.tolist()):
        for k in range(3):
            sides[corners[k], corners[(k + 1) % 3]] = (t, k)
    for (a, b), (t, k) in sides.items():
        across[t, k] = sides.get((b, a), (-1, -1))[0]
    return across


def make_surface(
    easting: Any,
    northing: Any,
    elevation: Any,
    triangles: Any = None,
    *,
    origin: Any = None,
    name: str = "made",
) -> Surface:
    """Delaunay triangles (scipy) of the points, or the triangles given, made counter-clockwise."""
    e, n, z = (np.asarray(v, dtype=float).ravel() for v in (easting, northing, elevation))
    at = np.floor([e.min(), n.min()]) if origin is None else np.asarray(origin, dtype=float)
    x, y = e - at[0], n - at[1]
    tri = Delaunay(np.c_[x, y]).simplices if triangles is None else np.asarray(triangles)
    a, b, c = tri.T
    turn = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
    tri = np.where((turn < 0)[:, None], tri[:, [0, 2, 1]], tri)
    return Surface(
        name=name, origin=at, x=x, y=y, z=z, triangles=tri, neighbours=_neighbours(tri),
        fixed=np.zeros(tri.shape, dtype=bool), point=np.arange(len(x)),
    )  # fmt: skip


@pytest.fixture(scope="session")
def surface_of() -> Callable[..., Surface]:
    return make_surface


@pytest.fixture(scope="session")
def rectangle() -> Callable[..., Surface]:
    """A plane ``z = a + b x + c y`` over a rectangle, two triangles."""

    def make(width: float, depth: float, plane: Any = (0.0, 0.0, 0.0), at: Any = (0.0, 0.0)):
        e = at[0] + np.array([0, width, width, 0])
        n = at[1] + np.array([0, 0, depth, depth])
        z = plane[0] + plane[1] * (e - at[0]) + plane[2] * (n - at[1])
        return make_surface(e, n, z, [[0, 1, 2], [0, 2, 3]])

    return make


@pytest.fixture(scope="session")
def pyramid() -> Surface:
    """Base 10 by 10 m at zero, 3 m high: REF-TIN-4 of shared/references.toml."""
    return make_surface(
        [0, 10, 10, 0, 5], [0, 0, 10, 10, 5], [0, 0, 0, 0, 3],
        [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]],
    )  # fmt: skip


@pytest.fixture(scope="session")
def random_pair() -> Callable[..., tuple[Surface, Surface]]:
    """Rough ground and a smoother design over much of the same plan, crossing in height."""

    def make(seed: int = 1, ground: int = 60, design: int = 40) -> tuple[Surface, Surface]:
        rng = np.random.default_rng(seed)
        e, n = rng.uniform(0, 50, (2, ground))
        first = make_surface(e, n, 100 + 0.02 * e + rng.normal(0, 0.3, ground), name="ground")
        e, n = rng.uniform(10, 65, (2, design))
        second = make_surface(e, n, 100 + 0.02 * e + rng.normal(0, 0.2, design), name="design")
        return first, second

    return make


@pytest.fixture(scope="session")
def triangle_polygons() -> Callable[[Surface], np.ndarray]:
    """The triangles as polygons of the geometry library, on the job grid."""

    def make(surface: Surface) -> np.ndarray:
        points = np.c_[surface.x, surface.y] + surface.origin
        return shapely.polygons(points[surface.triangles])

    return make


@pytest.fixture(scope="session")
def height_at() -> Callable[[Surface], Callable[..., np.ndarray]]:
    """Heights of a Delaunay surface by scipy, NaN outside: an independent answer."""

    def make(surface: Surface) -> Callable[..., np.ndarray]:
        points = np.c_[surface.x, surface.y]
        hull = Delaunay(points)
        ours = {frozenset(t) for t in surface.triangles.tolist()}
        assert {frozenset(t) for t in hull.simplices.tolist()} == ours, "not a Delaunay surface"
        found = LinearNDInterpolator(hull, surface.z)
        return lambda e, n: found(e - surface.origin[0], n - surface.origin[1])

    return make
