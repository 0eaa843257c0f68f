"""Lines, arcs and clothoids against integrals that others computed."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from pipeline.design.element import fresnel_keeps_its_digits, in_frame


def by_quad(length, curvature, rate):
    """The integral of the tangent by scipy.integrate.quad, an independent answer."""

    def along(s, part):
        return part(curvature * s + 0.5 * rate * s * s)

    breaks = np.linspace(0.0, length, 9)
    return tuple(
        math.fsum(
            quad(along, a, b, args=(part,), epsabs=1e-12, epsrel=1e-12)[0]
            for a, b in pairwise(breaks)
        )
        for part in (math.cos, math.sin)
    )


def test_the_spiral_that_begins_straight_is_the_published_fresnel_integral(published):
    ref = published("REF-SP-5")
    # curvature pi * s: x and y are C and S themselves
    x, y, _ = in_frame(np.array(ref.inputs["x"]), 0.0, math.pi)

    ref.check("C", x)
    ref.check("S", y)


def test_a_spiral_turns_with_the_square_of_its_length(published):
    ref = published("REF-SP-7")
    _, _, turned = in_frame(np.array([ref.inputs["ratio_L"] * 60.0, 60.0]), 0.0, 1 / (200 * 60))

    ref.check("theta_ratio", turned[0] / turned[1])


@settings(max_examples=60, deadline=None)
@given(
    length=st.floats(1.0, 400.0),
    turn=st.floats(-6.2, 6.2),
    change=st.floats(-9.0, 0.6),
    falls=st.booleans(),
)
def test_a_spiral_is_the_integral_of_its_tangent(length, turn, change, falls):
    mean = turn / length
    difference = max(abs(mean), 1e-4) * 10.0**change * (-1 if falls else 1)
    curvature, rate = mean - 0.5 * difference, difference / length
    if abs(curvature) * length + abs(difference) * length > 12.0:
        curvature, rate = 0.3 * curvature, 0.3 * rate

    x, y, turned = in_frame(length, curvature, rate)

    # the bound that in_frame states, plus what quad leaves
    np.testing.assert_allclose((x, y), by_quad(length, curvature, rate), rtol=0, atol=2.5e-11)
    assert turned == pytest.approx(curvature * length + 0.5 * rate * length**2, abs=1e-12)


@pytest.mark.parametrize(
    ("length", "curvature", "end", "fresnel"),
    [
        (80.0, 0.0, 1 / 400, True),
        (25.0, 1 / 14, 1 / 30, True),
        (60.0, -1 / 50, 1 / 80, True),
        # a radius that changes by 0.2 mm: the Fresnel form would lose six digits
        (80.0, 1 / 200, 1 / 200.0002, False),
        (300.0, 1 / 50, 1 / 50.00001, False),
        (100.0, 0.0, 1e-9, False),
    ],
)
def test_both_ways_to_integrate_are_used_and_agree_with_quad(length, curvature, end, fresnel):
    rate = (end - curvature) / length

    x, y, _ = in_frame(length, curvature, rate)

    assert bool(fresnel_keeps_its_digits(curvature, rate)) is fresnel
    np.testing.assert_allclose((x, y), by_quad(length, curvature, rate), rtol=0, atol=2e-11)


@pytest.mark.parametrize("radius", [9.0, 250.0, -1e6, 1e12, math.inf])
def test_an_arc_of_any_flatness_keeps_its_digits(radius):
    k = 1.0 / radius
    x, y, turned = in_frame(50.0, k, 0.0)

    # the circle itself: y = s²/2R - ... by its series where flat, closed form where not
    if abs(k) * 50 > 1e-3:
        want = math.sin(50 * k) / k, (1 - math.cos(50 * k)) / k
    else:
        want = 50 - 50**3 * k**2 / 6, 50**2 * k / 2 - 50**4 * k**3 / 24
    np.testing.assert_allclose((x, y), want, rtol=1e-12, atol=1e-15)
    assert turned == 50.0 * k


def test_lines_arcs_and_spirals_mix_in_one_call():
    # the last two are for the quadrature: the Fresnel form would lose six digits, or all
    s = np.array([30.0, 20.0, 40.0, 80.0, 100.0])
    k = np.array([0.0, 0.01, 0.0, 1 / 200, 0.0])
    c = np.array([0.0, 0.0, 1e-4, (1 / 200.0002 - 1 / 200) / 80.0, 1e-11])

    together = np.stack(in_frame(s, k, c))

    exact = [
        (*by_quad(*row), row[0] * (row[1] + 0.5 * row[2] * row[0]))
        for row in zip(s, k, c, strict=True)
    ]
    np.testing.assert_allclose(together, np.transpose(exact), rtol=0, atol=2e-11)
    one_by_one = np.stack([in_frame(*row) for row in zip(s, k, c, strict=True)], axis=1)
    np.testing.assert_allclose(together, one_by_one, rtol=0, atol=1e-13)


def test_one_curvature_meets_many_rates_and_the_other_way_round():
    many = np.array([0.0, 1e-4, -1e-3])
    for curvature, rate in ((0.01, many), (many, 1e-4), (many, 0.0)):
        together = np.stack(in_frame(30.0, curvature, rate))
        rows = np.broadcast(curvature, rate)
        one_by_one = np.stack([in_frame(30.0, *row) for row in rows], axis=1)
        np.testing.assert_allclose(together, one_by_one, rtol=0, atol=1e-13)
