"""Triangles that run flat over a crown lose what a sampled surface loses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay

from pipeline.checks.coverage import Missing
from pipeline.checks.facets import (
    Facets,
    facet_findings,
    flat_facets,
    long_facets,
    long_findings,
)
from pipeline.settings import CheckRules


@pytest.fixture
def section(break_line):
    return (
        break_line("edge", "clay", -1, -4.0, -0.08),
        break_line("crown", "clay", 0, 0.0, 0.0),
        break_line("edge", "clay", +1, 4.0, -0.08),
    )


def net(seed=1, offsets=(-4.0, 4.0), jitter=1.5):
    rng = np.random.default_rng(seed)
    station = np.repeat(np.arange(0.0, 101.0, 10.0), len(offsets))
    inner = (station > 0) & (station < 100)
    station = station + inner * rng.uniform(-jitter, jitter, len(station))
    offset = np.tile(offsets, 11) * np.where(inner, rng.uniform(0.9, 1.0, len(station)), 1.0)
    return Facets(station, offset, Delaunay(np.column_stack([station, offset])).simplices)


@pytest.mark.parametrize("seed", range(4))
def test_the_loss_is_that_of_the_surface(section, seed):
    facets = net(seed)
    flat, lost = flat_facets(section, facets, 0.5)

    # scipy's interpolation over its own Delaunay triangles, sampled every 2 dm by 2 cm
    s, o = np.meshgrid(np.arange(0.1, 100, 0.2), np.arange(-3.99, 4.0, 0.02))
    places = np.column_stack([facets.station, facets.offset])
    made = LinearNDInterpolator(places, -0.02 * np.abs(facets.offset))(s, o)
    assert flat.sum() >= 20
    assert (lost[flat] > 0).all()
    assert lost.sum() == pytest.approx(np.nansum(-0.02 * np.abs(o) - made) * 0.2 * 0.02, rel=2e-3)


def straight():
    """Rows of two shots on the edges, two triangles between rows."""
    first = 2 * np.arange(10)[:, None]
    triangles = np.concatenate([first + np.array([0, 2, 1]), first + np.array([1, 2, 3])])
    return Facets(np.repeat(np.arange(0.0, 101.0, 10.0), 2), np.tile([-4.0, 4.0], 11), triangles)


def test_a_street_without_crown_loses_32_cubic_metres_in_100_m(section):
    # 0.5 W (e W / 2) = 0.32 m2 of section, by hand
    _, lost = flat_facets(section, straight(), 0.5)

    assert lost.sum() == pytest.approx(32.0, abs=1e-9)


def test_the_grade_of_the_street_is_no_loss(section):
    uphill = tuple(
        replace(line, elevation=line.elevation + np.array([0.0, 4.0])) for line in section
    )

    np.testing.assert_allclose(
        flat_facets(uphill, straight(), 0.5)[1], flat_facets(section, straight(), 0.5)[1], atol=1e-9
    )


def test_triangles_with_a_corner_on_the_crown_are_good(section):
    flat, lost = flat_facets(section, net(offsets=(-4.0, 0.0, 4.0)), 0.5)

    assert not flat.any()
    assert lost.sum() == 0.0


def test_a_finding_leaves_out_what_the_coverage_has_told(section):
    facets = net()
    flat, lost = flat_facets(section, facets, 0.5)
    (finding,) = facet_findings(facets, flat, lost, (), CheckRules())
    told = (Missing(("crown",), 0, 0.0, 100.0, 32.0, 0.08, low=True),)

    assert "without a corner on it" in finding.text
    assert f"{lost.sum():.1f} m3" in finding.text
    assert facet_findings(facets, flat, lost, told, CheckRules()) == ()


def test_long_triangles_on_the_street_are_not_surveyed(section):
    station = np.array([0.0, 0.0, 10.0, 10.0, 30.0, 30.0])
    offset = np.array([-4.0, 4.0, -4.0, 4.0, -4.0, 4.0])
    facets = Facets(station, offset, np.array([[0, 2, 1], [1, 2, 3], [2, 4, 3], [3, 4, 5]]))
    long = long_facets(section, facets, 15.0)
    (finding,) = long_findings(facets, long, 15.0, CheckRules())

    assert long.tolist() == [False, False, True, True]
    # 20 m by 8 m
    assert "160 m2 of the street" in finding.text
    assert "0+010.0 to 0+030.0" in finding.text
    assert "1.6 m3" in finding.text
    assert long_findings(facets, np.zeros(4, dtype=bool), 15.0, CheckRules()) == ()


def test_a_layer_without_section_has_no_break_to_miss():
    flat, lost = flat_facets((), net(), 0.5)

    assert not flat.any()
    assert lost.sum() == 0.0
