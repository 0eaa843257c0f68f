"""Compiled loops against numpy's: the same bits, whatever the triangles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import compiled
from pipeline.compare import overlay as by_overlay
from pipeline.compare import overlay_blocks, parts_kernel, quantities
from tests.forms import NO_NUMBA

pytest.importorskip("numba", reason=NO_NUMBA)

OVERLAY = ("origin", "x", "y", "cut", "start", "ground_triangle", "design_triangle")
PARTS = ("cut", "fill", "cut_area", "fill_area", "area")


def both(ground, design):
    """Overlay and parts of each form."""
    found = []
    for break_even in (1 << 62, 0):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(by_overlay, "BREAK_EVEN", break_even)
            patch.setattr(quantities, "BREAK_EVEN", break_even)
            made = by_overlay.overlay(ground, design)
            found.append((made, quantities.parts(made)))
    return found


def same(ground, design):
    (one, its), (two, others) = both(ground, design)
    for name in OVERLAY:
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes(), name
    for name in PARTS:
        assert getattr(its, name).tobytes() == getattr(others, name).tobytes(), name
    return two


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 90), st.integers(4, 90), st.sampled_from([0, 1, 5]))
def test_every_bit_is_the_same(surface_of, seed, first, second, lattice):
    """Free points, and points on a lattice, of which corners, edges and heights coincide."""
    rng = np.random.default_rng(seed)
    made = []
    for n in (first, second):
        places, z = rng.uniform(0, 30, (n, 2)), rng.normal(100, 0.2, n)
        if lattice:
            places, z = np.round(places * lattice) / lattice, np.round(z, 1)
        places = np.unique(places, axis=0)
        if len(places) < 4 or min(np.ptp(places, axis=0)) == 0:
            return
        made.append(surface_of(*places.T, z[: len(places)]))
    same(*made)


def test_one_triangle_on_thousands_and_room_that_grows(surface_of):
    """The list of one triangle is sorted as a long one, and has no room to begin with."""
    rng = np.random.default_rng(4)
    many = surface_of(*rng.uniform(0, 30, (2, 4000)), rng.normal(0, 0.1, 4000))
    large = surface_of([-40, 80, 10], [-40, -40, 90], [0.0, 0.1, 0.0])

    found = same(large, many)
    assert len(found.ground_triangle) == len(many.triangles)
    same(many, large)
    same(many, many)


def test_a_scan_against_a_design_far_from_zero(surface_of):
    rng = np.random.default_rng(5)
    e, n = rng.uniform(0, 200, 20_000) + 500_000.0, rng.uniform(0, 20, 20_000) + 5_900_000.0
    ground = surface_of(e, n, rng.normal(100, 0.02, 20_000))
    design = surface_of(e[:900], n[:900], rng.normal(100, 0.01, 900))

    same(ground, design)


@pytest.mark.parametrize("threads", [1, 3])
def test_blocks_are_laid_down_in_their_order(surface_of, monkeypatch, threads):
    """Triangles across the street against triangles along it: the first room is far too small."""
    monkeypatch.setattr(overlay_blocks, "BLOCK", 7)
    monkeypatch.setattr(overlay_blocks, "MANY", 5)
    monkeypatch.setattr(parts_kernel, "BLOCK", 5)
    monkeypatch.setattr(compiled, "_MOST_CORES", threads)
    rng = np.random.default_rng(6)
    along, side = np.linspace(0, 30, 40), np.repeat([0.0, 30.0], 20)
    ground, design = (
        surface_of(*at, rng.normal(0, 0.1, 40)) for at in ((along, side), (side, along))
    )

    found = same(ground, design)
    triangles = len(ground.triangles) + len(design.triangles)
    assert len(found.ground_triangle) > 3 * triangles + 16


def test_a_clockwise_triangle_of_a_later_block_is_named(surface_of, monkeypatch):
    monkeypatch.setattr(overlay_blocks, "MANY", 5)
    monkeypatch.setattr(by_overlay, "BREAK_EVEN", 0)
    rng = np.random.default_rng(8)
    good, bad = (surface_of(*rng.uniform(0, 30, (2, 20)), np.zeros(20)) for _ in range(2))
    turned = bad.triangles.copy()
    turned[13] = turned[13, ::-1]
    object.__setattr__(bad, "triangles", turned)

    with pytest.raises(ValueError, match=r"triangle 13 of surface .* runs clockwise"):
        by_overlay.overlay(good, bad)
