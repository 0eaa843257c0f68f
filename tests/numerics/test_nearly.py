"""What is nearly nothing: lines that are all but parallel, curves that all but do not turn, gaps.

Each answer is worked out with 60 digits (mpmath) or without rounding (fractions).
"""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import mpmath
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.compare.overlay import SAME_HEIGHT_M, overlay
from pipeline.compare.quantities import quantity
from pipeline.design import alignment as line
from pipeline.design import feet, grade_line, section, strips
from pipeline.design import profile as heights
from pipeline.design.curve import circular_curve, spiral_curve
from pipeline.design.knots import APART_M
from pipeline.design.placing import SAME_DIRECTION
from pipeline.model import (
    NO_LINES,
    AlignmentRows,
    BreakRow,
    Corridor,
    ElementRow,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
    make_shots,
)
from pipeline.settings import DesignRules, LayerRule, SurfaceRules
from pipeline.surface.tin import area, build

FAR = 10_000_000.0
LITTLE = st.one_of(
    st.sampled_from([1e-12, 1e-9, 1e-6, 1e-4, 1e-2]),
    st.floats(-12.0, -1.5).map(lambda power: 10.0**power),
)
"""Angles [rad] and slopes: from nothing that a file could state to a bend that one sees."""


@pytest.fixture(autouse=True)
def _sixty_digits():
    with mpmath.workdps(60):
        yield


@settings(max_examples=60, deadline=None)
@given(st.floats(3.0, 1e6), LITTLE)
def test_a_curve_that_hardly_turns_keeps_its_digits(radius, angle):
    r, half = mpmath.mpf(radius), mpmath.mpf(angle) / 2
    found = circular_curve(radius, angle)

    for got, exact in (
        (found.tangent, r * mpmath.tan(half)),
        (found.length, r * 2 * half),
        (found.chord, 2 * r * mpmath.sin(half)),
        (found.middle_ordinate, r * (1 - mpmath.cos(half))),
        (found.external, r * (mpmath.sec(half) - 1)),
    ):
        assert abs(got - exact) <= 4e-15 * exact


@settings(max_examples=25, deadline=None)
@given(st.floats(30.0, 1e6), st.floats(1.0, 60.0), LITTLE)
@example(1e6, 1.0, 1e-12)
def test_a_spiral_curve_that_hardly_turns_is_that_of_the_integral(radius, length, more):
    theta = length / radius
    found = spiral_curve(radius, length, theta + more)
    r, ls = mpmath.mpf(radius), mpmath.mpf(length)
    turned = ls / (2 * r)
    x = mpmath.quad(lambda s: mpmath.cos(s * s / (2 * r * ls)), [0, ls])
    y = mpmath.quad(lambda s: mpmath.sin(s * s / (2 * r * ls)), [0, ls])
    shift, lead = y - r * (1 - mpmath.cos(turned)), x - r * mpmath.sin(turned)
    half = (mpmath.mpf(theta + more)) / 2

    # a hundredth of a micrometre; Es takes the radius off (R + p) sec, so it has R's digits
    assert abs(found.shift - shift) < 1e-11
    assert abs(found.lead - lead) < 1e-8
    assert abs(found.tangent - ((r + shift) * mpmath.tan(half) + lead)) < 1e-8
    assert abs(found.external - ((r + shift) * mpmath.sec(half) - r)) < 1e-8


def bent(kink, turn):
    """Two lines of 50 m, the second turned by next to nothing, ten million metres out."""
    rows = (
        ElementRow("line", 50.0, start=(FAR, FAR)),
        ElementRow("line", 50.0, start=(FAR + 50.0 * math.sin(0.3), FAR + 50.0 * math.cos(0.3)),
                   end=(FAR + 50.0 * math.sin(0.3) + 50.0 * math.sin(0.3 + turn * kink),
                        FAR + 50.0 * math.cos(0.3) + 50.0 * math.cos(0.3 + turn * kink))),
    )  # fmt: skip
    return line.build(AlignmentRows("bent", rows, 0.0, 0.3))


@settings(max_examples=60, deadline=None)
@given(LITTLE, st.sampled_from([-1, 1]), st.floats(-5.0, 5.0), st.floats(-20.0, 20.0))
@example(1e-9, 1, 0.0, 15.0)
def test_beside_a_joint_that_hardly_bends_a_foot_is_the_nearest(kink, turn, along, offset):
    """Distance to both lines by 60 digits: the foot found is as near as the nearer of them."""
    alignment, found = bent(kink, turn)
    where = 50.0 + along
    east, north, _ = line.point_at(alignment, where, offset)
    got = feet.locate(alignment, np.array([float(east)]), np.array([float(north)]))

    distances = []
    ends = (line.point_at(alignment, s) for s in (0.0, 50.0, 100.0))
    corners = [(mpmath.mpf(float(e)), mpmath.mpf(float(n))) for e, n, _ in ends]
    for a, b in itertools.pairwise(corners):
        de, dn = b[0] - a[0], b[1] - a[1]
        share = ((float(east) - a[0]) * de + (float(north) - a[1]) * dn) / (de * de + dn * dn)
        share = min(max(share, mpmath.mpf(0)), mpmath.mpf(1))
        distances.append(
            mpmath.hypot(float(east) - a[0] - share * de, float(north) - a[1] - share * dn)
        )
    assert abs(abs(float(got.offset[0])) - min(distances)) < 2e-8
    e, n, _ = line.point_at(alignment, float(got.station[0]), float(got.offset[0]))
    # at the very joint the last digit of the station decides which of the two directions is meant,
    # and about a bend that is none (SAME_DIRECTION) either line may be taken on past its end
    near = 1e-6 + (25.0 * kink if kink <= 2.0 * SAME_DIRECTION else 0.0)
    if int(got.feet[0]) and abs(float(got.station[0]) - 50.0) > near:
        assert math.hypot(float(e - east), float(n - north)) < 2e-8
    # a kink is told from 1e-6 rad on, and needs a person past 10 mm at 10 m
    told = [one.severity for one in found if one.kind == "alignment kink"]
    if kink < 0.9e-6:
        assert told == []
    elif kink > 1.1e-3:
        assert told == ["person"]


def turned(corners, slope):
    """Corners of a square turned and sheared by next to nothing, as floats."""
    return [(x - slope * y, y + slope * x) for x, y in corners]


def clipped(polygon, value):
    """What of a convex polygon lies where a linear value is not negative, without rounding."""
    kept = []
    for a, b in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
        va, vb = value(*a), value(*b)
        if va >= 0:
            kept.append(a)
        if va * vb < 0:
            share = va / (va - vb)
            kept.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
    return kept


def volume_of(polygon, value):
    """Integral of a linear value over a convex polygon, by a fan of triangles."""
    total = Fraction(0)
    for b, c in itertools.pairwise(polygon[1:]):
        a = polygon[0]
        double = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
        total += abs(double) / 2 * (value(*a) + value(*b) + value(*c)) / 3
    return total


SQUARE = ((-20.0, -20.0), (20.0, -20.0), (20.0, 20.0), (-20.0, 20.0))
WHOLE = SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e7)


@settings(max_examples=60, deadline=None)
@given(LITTLE, st.sampled_from([-1, 1]), LITTLE, st.sampled_from([0.0, 1e-9, -0.25]))
@example(1e-12, 1, 1e-12, 0.0)
def test_volumes_of_planes_that_all_but_agree_are_exact(angle, turn, slope, apart):
    """Edges a hair from parallel, and heights too: the crossing line lies anywhere."""
    lower = turned(SQUARE, turn * angle)
    east, north = (np.array(axis) for axis in zip(*SQUARE, strict=True))
    level = 100.0 + 0.25 * east
    ground, _ = build(make_shots(east, north, level), NO_LINES, WHOLE)
    de, dn = (np.array(axis) for axis in zip(*lower, strict=True))
    # the plane is given by its corners; only three fit it without rounding
    design_z = 100.0 + apart + 0.25 * de + slope * dn
    design, _ = build(make_shots(de, dn, design_z), NO_LINES, WHOLE)
    found = quantity("nearly", overlay(ground, design), area(design))

    def difference(x, y):
        return -Fraction(apart) - Fraction(slope) * y

    polygon = [(Fraction(x), Fraction(y)) for x, y in SQUARE]
    edge = [(Fraction(x), Fraction(y)) for x, y in lower]
    for a, b in zip(edge, [*edge[1:], edge[0]], strict=True):
        polygon = clipped(
            polygon,
            lambda x, y, a=a, b=b: (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]),
        )
    cut = volume_of(clipped(polygon, difference), difference)
    fill = volume_of(clipped(polygon, lambda x, y: -difference(x, y)), lambda *p: -difference(*p))
    compared = volume_of(polygon, lambda *_: Fraction(1))

    # heights within a nanometre are the same height (SAME_HEIGHT_M): 1600 m2 of that at most
    assert found.cut_m3 == pytest.approx(float(cut), abs=1600 * SAME_HEIGHT_M, rel=1e-12)
    assert found.fill_m3 == pytest.approx(float(fill), abs=1600 * SAME_HEIGHT_M, rel=1e-12)
    assert found.compared_area_m2 == pytest.approx(float(compared), abs=1e-9)


@st.composite
def overlapping(draw):
    """PVIs 80 m apart with curves of which neighbours may lie over one another."""
    count = draw(st.integers(3, 6))
    halves = [0, *(Fraction(draw(st.integers(0, 480)), 8) for _ in range(count - 2)), 0]
    return [
        (Fraction(80 * k), Fraction(draw(st.integers(0, 640)), 64), half)
        for k, half in enumerate(halves)
    ]


def exact(rows, station):
    """Height and grade, None in a gap: tangents, and about each PVI a parabola."""
    last = len(rows) - 1
    over = [
        k for k in range(1, last) if rows[k][2] and abs(station - rows[k][0]) < rows[k][2]
    ]  # fmt: skip
    if len(over) > 1:
        return None
    if over:
        k = over[0]
        at, z, half = rows[k]
        grade_in = (z - rows[k - 1][1]) / (at - rows[k - 1][0])
        grade_out = (rows[k + 1][1] - z) / (rows[k + 1][0] - at)
        x = station - (at - half)
        grade = grade_in + (grade_out - grade_in) * x / (2 * half)
        return z - grade_in * half + x * (grade_in + grade) / 2, grade
    k = next(k for k in range(1, last + 1) if station <= rows[k][0])
    (a, za, _), (b, zb, _) = rows[k - 1], rows[k]
    return za + (zb - za) * (station - a) / (b - a), (zb - za) / (b - a)


@settings(max_examples=120, deadline=None)
@given(overlapping(), st.lists(st.fractions(0, 1, max_denominator=997), min_size=4, max_size=12))
@example([(0, 0, 0), (80, 2, Fraction(50)), (160, 1, Fraction(40)), (240, 3, 0)], [Fraction(1, 2)])
def test_where_two_curves_overlap_there_is_a_gap_and_else_no_digit_is_lost(rows, shares):
    given_rows = tuple(ProfileRow(*map(float, (at, z, half, half))) for at, z, half in rows)
    profile, found = heights.build(ProfileRows("gaps", given_rows))
    stated = [
        (b[0] - b[2], a[0] + a[2])
        for a, b in itertools.pairwise(rows)
        if a[0] + a[2] > b[0] - b[2]
    ]  # fmt: skip
    assert len([one for one in found if one.kind == "vertical curves overlap"]) == len(stated)

    asked = sorted({share * rows[-1][0] for share in shares} | {sum(s) / 2 for s in stated})
    edges = [edge for at, _, half in rows for edge in (at - half, at, at + half)]
    asked = [s for s in asked if min(abs(s - edge) for edge in edges) > Fraction(1, 10**5)]
    at = np.array([float(s) for s in asked])
    z, g = grade_line.elevation(profile, at), grade_line.grade(profile, at)
    for k, station in enumerate(asked):
        true = exact(rows, station)
        if true is None:
            assert math.isnan(z[k])
            assert math.isnan(g[k])
        else:
            assert abs(z[k] - float(true[0])) < 1e-11
            assert abs(g[k] - float(true[1])) < 1e-12
    # nobody is told of a high or a low point in a gap
    for point in grade_line.turning_points(profile):
        assert not any(low < point.station < high for low, high in stated)


HALF = Fraction(1, 2) - Fraction(1, 10**9)
"""From the middle of a stretch to just inside its ends."""


@pytest.mark.parametrize(
    "overlap", [Fraction(1, 10**7), Fraction(1, 1000), Fraction(3, 1000), Fraction(20)]
)
def test_a_gap_of_the_profile_is_a_gap_of_the_street_and_of_its_volume(overlap):
    """16 m of street less the gap; cuts under 2 mm apart are one (APART_M), so a gap is closed."""
    half = 30 + overlap / 2
    rows = [(0, 10, 0), (50, 11, half), (110, 10, half), (160, 11, 0)]
    profile, _ = heights.build(
        ProfileRows("x", tuple(ProfileRow(*map(float, (s, z, h, h))) for s, z, h in rows))
    )
    straight = (ElementRow("line", 160.0, start=(FAR, FAR)),)
    alignment, _ = line.build(AlignmentRows("x", straight, 0.0, 0.0))
    side = (BreakRow("edge", 8.0, fall=0.0),)
    table = SectionTable("s", (SectionRow("a", 0.0, 160.0, (SectionLayer("top", side, side),)),))
    street = Corridor("x", alignment, profile, section.layers(table, [LayerRule(name="top")]))
    surface = strips.triangulate(street, "top", DesignRules())

    told = float(overlap) if overlap > Fraction(APART_M) else 0.0
    assert area(surface) == pytest.approx(16.0 * (160.0 - told), abs=1e-6)
    # level ground a metre under 10.0: the volume is that of the heights, by Simpson's rule,
    # exact for parabolas and tangents
    total = Fraction(0)
    low, high = rows[2][0] - half, rows[1][0] + half
    cuts = sorted({Fraction(0), rows[1][0] - half, low, high, rows[2][0] + half, Fraction(160)})
    for a, b in itertools.pairwise(cuts):
        values = [exact(rows, (a + b) / 2 + t * (b - a)) for t in (-HALF, Fraction(0), HALF)]
        if None not in values:
            z0, z1, z2 = (one[0] - 9 for one in values)
            total += (b - a) * (z0 + 4 * z1 + z2) / 6 * 16
    flat = make_shots(
        np.array([FAR - 9, FAR + 9, FAR + 9, FAR - 9]),
        np.array([FAR - 9, FAR - 9, FAR + 169, FAR + 169]), np.full(4, 9.0),
    )  # fmt: skip
    ground, _ = build(flat, NO_LINES, WHOLE)
    found = quantity("top", overlay(ground, surface), area(surface))
    # the triangles leave the parabolas by the chord at most, over 160 m by 16 m
    assert found.fill_m3 == pytest.approx(float(total), abs=DesignRules().chord_m * 2560.0)
    assert found.cut_m3 == 0.0
