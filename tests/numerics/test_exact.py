"""Numbers against answers of high precision: mpmath with 40 digits, fractions without error.

What is asked for is hard for floats: radii from 3 m to 1000 km, coordinates of ten million
metres with millimetres, shots on one circle or one line, walls, curves of no length.
"""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction

import mpmath
import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import quantity
from pipeline.design import alignment as line
from pipeline.design import feet, grade_line
from pipeline.design import profile as heights
from pipeline.errors import DesignError
from pipeline.model import NO_LINES, AlignmentRows, ElementRow, ProfileRow, ProfileRows, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface.tin import area, build

mpmath.mp.dps = 40
FAR = 10_000_000.0
RADII = st.one_of(
    st.sampled_from([3.0, 12.0, 120.0, 1e3, 1e5, 1e6]), st.floats(3.0, 1e6), st.floats(3.0, 30.0)
)


@st.composite
def lines_in_plan(draw):
    """Up to five elements, each turning by three quarters of a circle at most."""
    parts = []
    for _ in range(draw(st.integers(1, 5))):
        kind = draw(st.sampled_from(["line", "arc", "clothoid"]))
        radius, turn = draw(RADII), draw(st.sampled_from([-1, 1]))
        length = draw(st.floats(0.5, min(400.0, 4.5 * radius)))
        if kind == "line":
            parts.append(ElementRow("line", length))
        elif kind == "arc":
            parts.append(ElementRow("arc", length, radius, radius, turn))
        else:
            ends = [math.inf, radius][:: draw(st.sampled_from([1, -1]))]
            parts.append(ElementRow("clothoid", length, *ends, turn))
    parts[0] = dataclasses.replace(parts[0], start=(FAR + draw(st.floats(0, 9)), FAR - 0.001))
    return AlignmentRows("exact", tuple(parts), 0.0, draw(st.floats(0.0, 6.28)))


def bearing(row, along, azimuth):
    """Azimuth at a distance into an element: curvature runs linearly (definition of a clothoid)."""
    first, last = (
        mpmath.mpf(0) if math.isinf(r) or row.kind == "line" else 1 / mpmath.mpf(r)
        for r in (row.radius_start or math.inf, row.radius_end or math.inf)
    )
    grown = first * along + (last - first) * along**2 / (2 * mpmath.mpf(row.length))
    return azimuth + row.turn * grown


def walked(row, along, place, azimuth):
    """Place and azimuth after a distance into an element, by integrating its direction."""
    pieces = mpmath.linspace(0, along, 2 + int(along / 5) if row.kind != "line" else 2)
    east = mpmath.quad(lambda s: mpmath.sin(bearing(row, s, azimuth)), pieces)
    north = mpmath.quad(lambda s: mpmath.cos(bearing(row, s, azimuth)), pieces)
    return (place[0] + east, place[1] + north), bearing(row, along, azimuth)


@settings(max_examples=40, deadline=None)
@given(lines_in_plan(), st.floats(0.0, 1.0))
def test_a_place_on_the_line_is_that_of_the_integral(rows, share):
    alignment, _ = line.build(rows)
    place = tuple(mpmath.mpf(part) for part in rows.elements[0].start)
    azimuth, station = mpmath.mpf(rows.azimuth), 0.0
    for row in rows.elements:
        along = share * row.length
        inside, _ = walked(row, mpmath.mpf(along), place, azimuth)
        e, n, _ = line.point_at(alignment, min(station + along, alignment.station[-1]))
        assert abs(float(e) - float(inside[0])) < 2e-7
        assert abs(float(n) - float(inside[1])) < 2e-7
        place, azimuth = walked(row, mpmath.mpf(row.length), place, azimuth)
        station += row.length


@settings(max_examples=40, deadline=None)
@given(lines_in_plan(), st.floats(0.02, 0.98), st.floats(-2.5, 2.5))
def test_station_and_offset_of_a_place_are_found_again(rows, share, offset):
    alignment, _ = line.build(rows)
    number = len(rows.elements) // 2
    place = tuple(mpmath.mpf(part) for part in rows.elements[0].start)
    azimuth = mpmath.mpf(rows.azimuth)
    for row in rows.elements[:number]:
        place, azimuth = walked(row, mpmath.mpf(row.length), place, azimuth)
    row = rows.elements[number]
    along = share * row.length
    (east, north), direction = walked(row, mpmath.mpf(along), place, azimuth)
    station = sum(one.length for one in rows.elements[:number]) + along
    found = feet.locate(
        alignment,
        np.array([float(east + offset * mpmath.cos(direction))]),
        np.array([float(north - offset * mpmath.sin(direction))]),
    )
    # another part of a line that winds may be nearer: then that foot is the right one
    assume(abs(float(found.offset[0])) > abs(offset) - 1e-6)

    assert abs(float(found.offset[0]) - offset) < 1e-6
    assert abs(float(found.station[0]) - station) < 3e-6


def element(kind, length, **more):
    radius = {"line": (), "arc": (50.0, 50.0, 1), "clothoid": (math.inf, 50.0, 1)}[kind]
    return ElementRow(kind, length, *radius, **more)


@pytest.mark.parametrize("kind", ["line", "arc", "clothoid"])
@pytest.mark.parametrize("length", [-1.0, math.nan, math.inf])
def test_an_element_without_a_length_is_refused_by_name(kind, length):
    with pytest.raises(DesignError, match="length"):
        line.build(AlignmentRows("none", (element(kind, length, start=(0.0, 0.0)),), 0.0, 0.0))


@pytest.mark.parametrize("kind", ["line", "arc", "clothoid"])
def test_an_element_of_no_length_changes_nothing(kind):
    first, last = element("line", 40.0, start=(FAR, FAR)), element("arc", 30.0)
    plain, _ = line.build(AlignmentRows("two", (first, last), 0.0, 1.0))
    three, _ = line.build(AlignmentRows("three", (first, element(kind, 0.0), last), 0.0, 1.0))

    np.testing.assert_array_equal(three.station, plain.station)
    np.testing.assert_array_equal(
        line.point_at(three, np.linspace(0.0, 70.0, 15), 2.0),
        line.point_at(plain, np.linspace(0.0, 70.0, 15), 2.0),
    )
    with pytest.raises(DesignError, match="no elements"):
        line.build(AlignmentRows("none", (element(kind, 0.0, start=(0.0, 0.0)),), 0.0, 0.0))


@st.composite
def profiles(draw):
    """PVIs with curves that do not meet; halves of no length are grade breaks."""
    station, rows = Fraction(draw(st.integers(0, 10**6)), 8), []
    for _ in range(draw(st.integers(2, 6))):
        halves = [Fraction(draw(st.integers(0, 160)), 8) for _ in range(2)]
        rows.append((station + halves[0], Fraction(draw(st.integers(0, 8000)), 64), *halves))
        station += sum(halves) + Fraction(draw(st.integers(1, 400)), 8)
    first, last = rows[0], rows[-1]
    rows[0], rows[-1] = (*first[:2], 0, 0), (*last[:2], 0, 0)
    return rows


def exact_height(rows, station):
    """Tangents, and about each PVI two parabolas that share height and grade above it."""
    for k in range(1, len(rows) - 1):
        at, z, before, after = rows[k]
        if at - before <= station <= at + after and before + after:
            grade_in = (z - rows[k - 1][1]) / (at - rows[k - 1][0])
            grade_out = (rows[k + 1][1] - z) / (rows[k + 1][0] - at)
            middle = before * after * (grade_out - grade_in) / (2 * (before + after))
            if station <= at and before:
                along = station - (at - before)
                return z - grade_in * (at - station) + middle * (along / before) ** 2
            if station > at and after:
                along = at + after - station
                return z + grade_out * (station - at) + middle * (along / after) ** 2
    k = next(k for k in range(1, len(rows)) if station <= rows[k][0])
    (a, za, *_), (b, zb, *_) = rows[k - 1], rows[k]
    return za + (zb - za) * (station - a) / (b - a)


@settings(max_examples=150, deadline=None)
@given(profiles(), st.lists(st.fractions(0, 1), min_size=1, max_size=8))
def test_a_height_of_the_profile_is_exact(rows, shares):
    # a curve with one half of no length is no curve: two halves or none
    assume(all((before == 0) == (after == 0) for _, _, before, after in rows))
    given_rows = tuple(ProfileRow(*map(float, row)) for row in rows)
    profile, _ = heights.build(ProfileRows("exact", given_rows))
    asked = [float(rows[0][0] + share * (rows[-1][0] - rows[0][0])) for share in shares]
    asked += [float(row[0]) for row in rows]
    found = grade_line.elevation(profile, np.array(asked))
    for station, height in zip(asked, found, strict=True):
        exact = exact_height(rows, min(max(Fraction(station), rows[0][0]), rows[-1][0]))
        assert abs(float(height) - float(exact)) < 1e-8


WHOLE = SurfaceRules(same_place_m=0, row_wander_m=0, max_edge_m=1e7)


def part_above(a, b, c):
    """Integral of the positive part of a linear function over a triangle of area 1."""
    values = sorted((a, b, c), reverse=True)
    high, middle, low = values
    if low >= 0:
        return sum(values) / 3
    if high <= 0:
        return Fraction(0)
    if middle <= 0:
        return high * high / (high - middle) * high / (high - low) / 3
    return sum(values) / 3 + part_above(-high, -middle, -low)


def exact_volumes(places, z, triangles, plane):
    """Cut and fill in m3 between triangles and a plane, without rounding."""
    cut = fill = Fraction(0)
    above = [
        Fraction(height) - (plane[0] + plane[1] * (e - FAR_E) + plane[2] * (n - FAR_N))
        for (e, n), height in zip(places, z, strict=True)
    ]
    for i, j, k in triangles:
        (xa, ya), (xb, yb), (xc, yc) = places[i], places[j], places[k]
        size = abs((xb - xa) * (yc - ya) - (xc - xa) * (yb - ya)) / 2
        cut += size * part_above(above[i], above[j], above[k])
        fill += size * part_above(-above[i], -above[j], -above[k])
    return float(cut), float(fill)


FAR_E, FAR_N = Fraction(25_496_123), Fraction(10_000_007)
LAYOUTS = ("grid", "circle", "millimetres", "wall")


def layout(kind, rng):
    """Places in whole millimetres: cocircular, collinear by rows, near each other, a steep wall."""
    if kind == "grid":
        east, north = np.mgrid[0:6, 0:7].reshape(2, -1) * 5000
    elif kind == "circle":
        # whole points of one circle, after Pythagoras: 25, 7-24, 15-20
        ring = [(25, 0), (24, 7), (20, 15), (15, 20), (7, 24), (0, 25)]
        both = {(sx * x, sy * y) for x, y in ring for sx in (1, -1) for sy in (1, -1)} | {(0, 0)}
        east, north = np.array(sorted(both)).T * 400
    elif kind == "millimetres":
        east, north = rng.integers(0, 30, (2, 40))
        east[:4], north[:4] = (0, 9000, 9000, 0), (0, 0, 9000, 9000)
    else:
        rows = np.arange(0, 9000, 1500)
        east = np.concatenate([np.full(6, 0), np.full(6, 4000), np.full(6, 4001), np.full(6, 8000)])
        north = np.tile(rows, 4)
    places = sorted(set(zip(east.tolist(), north.tolist(), strict=True)))
    return [(FAR_E + Fraction(e, 1000), FAR_N + Fraction(n, 1000)) for e, n in places]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(LAYOUTS), st.integers(0, 10**6))
@example("wall", 1)
def test_cut_and_fill_are_exact_where_floats_have_least_room(kind, seed):
    rng = np.random.default_rng(seed)
    places = layout(kind, rng)
    z = [float(one) / 1000.0 for one in rng.integers(99_000, 101_000, len(places))]
    if kind == "wall":
        # one height beside it, another a millimetre farther on: 3 m of wall
        z = [100.0 if e < FAR_E + Fraction(40005, 10000) else 103.0 for e, _ in places]
    east, north = (np.array([float(one) for one in axis]) for axis in zip(*places, strict=True))
    ground, _ = build(make_shots(east, north, np.array(z)), NO_LINES, WHOLE)
    plane = (Fraction(100), Fraction(int(rng.integers(-20, 20)), 1024), Fraction(1, 256))
    corners = [(FAR_E + x, FAR_N + y) for x in (-60, 60) for y in (-60, 60)]
    level = [float(plane[0] + plane[1] * (e - FAR_E) + plane[2] * (n - FAR_N)) for e, n in corners]
    de, dn = (np.array([float(one) for one in axis]) for axis in zip(*corners, strict=True))
    design, _ = build(make_shots(de, dn, np.array(level)), NO_LINES, WHOLE)
    assert len(ground.point) == len(places)

    # floats of ten million metres: what was shot is the float, so the exact answer is of that
    shot = [(Fraction(e), Fraction(n)) for e, n in zip(east.tolist(), north.tolist(), strict=True)]
    at = ground.point[ground.triangles].tolist()
    cut, fill = exact_volumes(shot, z, at, plane)
    found = quantity("exact", overlay(ground, design), area(design))

    assert found.cut_m3 == pytest.approx(cut, abs=2e-6, rel=1e-9)
    assert found.fill_m3 == pytest.approx(fill, abs=2e-6, rel=1e-9)
