"""Several parts as one surface: who has a place, what the seam steps, how much ground there is."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.compare import compose
from pipeline.model import Mesh
from pipeline.surface import tin
from pipeline.surface.locate import interpolate
from pipeline.surface.mesh import area


def grid(west, south, width, height, plane, cells=3):
    """A rectangle of triangles on a plane (a, b, c): z = a + b (e - 500000) + c (n - 6000000)."""
    x, y = np.meshgrid(np.linspace(0, width, cells + 1), np.linspace(0, height, cells + 1))
    e, n = 500_000.0 + west + x.ravel(), 6_000_000.0 + south + y.ravel()
    z = plane[0] + plane[1] * (e - 500_000.0) + plane[2] * (n - 6_000_000.0)
    corner = np.arange(len(e)).reshape(cells + 1, cells + 1)
    a, b, c, d = (corner[:-1, :-1], corner[:-1, 1:], corner[1:, 1:], corner[1:, :-1])
    faces = np.concatenate([
        np.stack([a, b, c], axis=2).reshape(-1, 3), np.stack([a, c, d], axis=2).reshape(-1, 3),
    ])  # fmt: skip
    ids = np.array([str(k) for k in range(len(e))], dtype=object)
    return tin.from_mesh(Mesh("x", e, n, z, faces.astype(np.int32), ids))[0]


def test_the_first_part_has_the_place_and_the_seam_says_the_step():
    over = grid(4.0, 2.0, 3.0, 4.0, (10.25, 0.0, 0.01))
    under = grid(0.0, 0.0, 10.0, 10.0, (10.0, 0.0, 0.01))
    whole = compose.compose("finish", [("patch", over), ("street", under)])

    z = interpolate(whole.surface, 500_000.0 + np.array([5.0, 1.0]), 6_000_000.0 + np.array([3, 3]))
    np.testing.assert_allclose(z, [10.28, 10.03], atol=1e-9)
    (seam,) = whole.seams
    assert (seam.first, seam.second) == ("patch", "street")
    assert seam.step == pytest.approx(0.25, abs=1e-6)
    assert seam.length == pytest.approx(14.0, abs=1e-6)
    assert area(whole.surface) == pytest.approx(100.0, abs=1e-9)
    (finding,) = compose.seam_findings("finish", whole.seams, 0.001)
    assert "patch lies +0.2500 m over street" in finding.text
    assert finding.kind == "design step"
    assert not compose.seam_findings("finish", whole.seams, 0.26)


def test_planes_that_agree_leave_no_step():
    parts = [
        ("a", grid(3.0, 3.0, 4.0, 4.0, (1.0, 0.02, -0.01), 5)),
        ("b", grid(0.0, 0.0, 10.0, 10.0, (1.0, 0.02, -0.01), 4)),
    ]
    whole = compose.compose("finish", parts)

    assert max(abs(seam.step) for seam in whole.seams) < 1e-9
    assert not compose.outside(whole.surface)[whole.surface.triangles[whole.owner == 0]].any()


rectangles = st.tuples(
    st.floats(0.0, 6.0), st.floats(0.0, 6.0), st.floats(0.5, 5.0), st.floats(0.5, 5.0)
)


@settings(max_examples=30, deadline=None)
@given(first=rectangles, second=rectangles, third=rectangles)
def test_no_ground_is_lost_and_none_is_there_twice(first, second, third):
    """Against shapely's union of the rectangles."""
    parts = [
        (name, grid(*rectangle, (1.0, 0.0, 0.0), 2))
        for name, rectangle in zip("abc", (first, second, third), strict=True)
    ]
    whole = compose.compose("finish", parts)
    boxes = [shapely.box(w, s, w + x, s + y) for w, s, x, y in (first, second, third)]

    assert area(whole.surface) == pytest.approx(shapely.union_all(boxes).area, abs=1e-6)


def test_a_part_wholly_covered_is_gone():
    parts = [
        ("a", grid(0.0, 0.0, 9.0, 9.0, (1.0, 0.0, 0.0))),
        ("b", grid(2.0, 2.0, 3.0, 3.0, (2.0, 0.0, 0.0))),
    ]
    whole = compose.compose("finish", parts)

    assert set(whole.owner.tolist()) == {0}
    assert whole.seams == ()
