"""The true geometry of the invented street against general mathematics."""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.interpolate import LinearNDInterpolator
from scipy.optimize import minimize_scalar
from scipy.special import fresnel

from pipeline.demo import truth

FIXTURE = Path(__file__).resolve().parent.parent / "fixtures" / "demo"
CLAY_CODES = ("CL", "GR", "LIP", "EC1", "EC2")


# the line


def test_clothoid_ends_on_the_fresnel_integrals():
    # x + iy of a clothoid from its straight end: sqrt(pi R L) (C + iS)(L / sqrt(pi R L)),
    # the definition of the Fresnel integrals; scipy.special has them independently
    length, radius = 30.0, 120.0
    scale = np.sqrt(np.pi * radius * length)
    sine, cosine = fresnel(length / scale)
    along, right = scale * cosine, scale * sine
    azimuth = np.radians(truth.START_AZIMUTH_DEG)
    east, north = truth.point(85.0)
    want_e = east + along * np.sin(azimuth) + right * np.cos(azimuth)
    want_n = north + along * np.cos(azimuth) - right * np.sin(azimuth)
    np.testing.assert_allclose(truth.point(115.0), (want_e, want_n), rtol=0, atol=5e-12)
    # the clothoid out of the arc is the same curve walked back from its straight end
    azimuth = truth.azimuth(220.0)
    end_e, end_n = truth.point(220.0)
    back_e = end_e - along * np.sin(azimuth) + right * np.cos(azimuth)
    back_n = end_n - along * np.cos(azimuth) - right * np.sin(azimuth)
    np.testing.assert_allclose(truth.point(190.0), (back_e, back_n), rtol=0, atol=5e-12)


@pytest.mark.parametrize(
    ("start", "end", "radius", "turn"), [(115.0, 190.0, 120.0, 1), (280.0, 370.0, 200.0, -1)]
)
def test_arcs_keep_their_distance_from_the_centre(start, end, radius, turn):
    stations = np.linspace(start, end, 11)
    centre = np.stack(truth.point(stations, turn * radius))
    # every foot of the arc gives the same centre, and the chord is 2 R sin(L / 2R)
    np.testing.assert_allclose(centre - centre[:, :1], 0.0, rtol=0, atol=5e-12)
    (e0, e1), (n0, n1) = truth.point([start, end])
    chord = 2 * radius * np.sin((end - start) / (2 * radius))
    assert np.hypot(e1 - e0, n1 - n0) == pytest.approx(chord, abs=5e-12)


def test_the_alignment_file_leads_to_the_true_places():
    # an integration by scipy over what the file says, element by element
    text = (FIXTURE / "design" / "alignment.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    start, *elements = csv.DictReader(lines)
    east, north = float(start["easting_m"]), float(start["northing_m"])
    azimuth, station = np.radians(float(start["azimuth_deg"])), float(start["station"])
    for element in elements:
        length = float(element["length_m"])
        sign = {"right": 1.0, "left": -1.0, "": 0.0}[element["turn"]]
        first = sign / float(element["radius_m"] or "inf")
        last = sign / float(element["radius_end_m"] or element["radius_m"] or "inf")

        def heading(u, a=azimuth, k=first, r=(last - first) / length):
            return a + k * u + r * u * u / 2

        for part in (0.37, 1.0):
            u = part * length
            got_e, got_n = truth.point(station + u)
            de = quad(lambda t: np.sin(heading(t)), 0, u, epsabs=1e-13)[0]
            dn = quad(lambda t: np.cos(heading(t)), 0, u, epsabs=1e-13)[0]
            assert (got_e, got_n) == pytest.approx((east + de, north + dn), abs=1e-11)
        east, north, azimuth = east + de, north + dn, heading(length)
        station += length
        assert truth.azimuth(station) == pytest.approx(azimuth, abs=1e-14)
    assert station == truth.LENGTH


def test_offsets_are_square_to_the_line_and_right_is_plus():
    stations = np.linspace(1.0, 419.0, 60)
    tangent = np.stack(truth.point(stations + 1e-3)) - np.stack(truth.point(stations - 1e-3))
    across = np.stack(truth.point(stations, 3.0)) - np.stack(truth.point(stations, 0.0))
    dot = (tangent * across).sum(axis=0) / np.hypot(*tangent)
    right = (tangent[1] * across[0] - tangent[0] * across[1]) / np.hypot(*tangent)
    np.testing.assert_allclose(dot, 0.0, atol=1e-7)
    np.testing.assert_allclose(right, 3.0, atol=1e-7)


def test_off_the_ends_there_is_nothing():
    for values in (
        *truth.point([-0.1, 420.1], 0.0),
        truth.profile([-0.1, 420.1]),
        truth.ground([-0.1, 420.1], 1.0),
        truth.elevation([100.0, 100.0], [4.96, -4.96], truth.CLAY),
    ):
        assert np.isnan(values).all()


# the profile


@pytest.mark.parametrize("row", [1, 2])
def test_vertical_curve_from_its_end_conditions(row):
    # Two parabolas are six unknowns: height and grade at both ends, and both equal at the
    # point of intersection; solved as such, without the formula of the middle ordinate.
    before, at, after = truth.PROFILE[row - 1 : row + 2]
    g_in = (at.elevation - before.elevation) / (at.station - before.station)
    g_out = (after.elevation - at.elevation) / (after.station - at.station)
    a, b = -at.curve_in, at.curve_out
    matrix = [
        [1, a, a * a, 0, 0, 0],
        [0, 1, 2 * a, 0, 0, 0],
        [0, 0, 0, 1, b, b * b],
        [0, 0, 0, 0, 1, 2 * b],
        [1, 0, 0, -1, 0, 0],
        [0, 1, 0, 0, -1, 0],
    ]
    ends = [at.elevation + g_in * a, g_in, at.elevation + g_out * b, g_out, 0, 0]
    p = np.linalg.solve(matrix, ends)
    x = np.linspace(a, b, 81)
    want = np.where(x <= 0, p[0] + p[1] * x + p[2] * x**2, p[3] + p[4] * x + p[5] * x**2)
    np.testing.assert_allclose(truth.profile(at.station + x), want, rtol=0, atol=1e-11)


@pytest.mark.parametrize(
    ("found", "sign", "bounds", "height"),
    [
        (truth.high_point, -1, (90.0, 170.0), lambda s: float(truth.profile(s))),
        (truth.low_point, 1, (250.0, 330.0), lambda s: float(truth.profile(s))),
        *(
            (
                lambda side=side: truth.flowline_low_point(side),
                1,
                (271.0, 309.0),
                lambda s, side=side: float(truth.break_at(s, side, truth.FINISH, "flowline")[1]),
            )
            for side in (-1, 1)
        ),
    ],
)
def test_high_and_low_points_against_a_search(found, sign, bounds, height):
    search = minimize_scalar(
        lambda s: sign * height(s), bounds=bounds, method="bounded", options={"xatol": 1e-6}
    )
    station, level = found()
    # a search for the bottom of a parabola is good to about the root of float64 rounding
    assert station == pytest.approx(search.x, abs=1e-3)
    assert level == pytest.approx(sign * search.fun, abs=1e-9)


def test_high_and_low_points_by_hand():
    # crest: 1.5 % running out at 1.6875 % over 30 m from 0+090 -> 26.667 m on
    assert truth.high_point() == pytest.approx((116.0 + 2 / 3, 103.550), abs=1e-9)
    # sag: x = g1 L / (g1 - g2) = 1.2 * 80 / 2.1 m from 0+250
    assert truth.low_point()[0] == pytest.approx(250.0 + 1.2 * 80 / 2.1, abs=1e-9)
    # right gutter: its rise drops 17.5 mm over 40 m, so the profile must climb 0.04375 %
    assert truth.flowline_low_point(1)[0] == pytest.approx(250 + 1.24375 * 80 / 2.1, abs=1e-9)
    assert truth.flowline_low_point(-1)[0] == pytest.approx(truth.low_point()[0], abs=1e-12)


# the sections


@pytest.mark.parametrize(
    ("station", "side", "name", "offset", "rise"),
    [
        (30.0, 1, "crown", 0.0, 0.0),
        (30.0, 1, "lane edge", 3.0, -0.060),
        (30.0, -1, "lip", -3.7, -0.074),
        (30.0, 1, "flowline", 4.0, -0.098),
        (30.0, -1, "top of face", -4.25, 0.002),
        (30.0, 1, "top back of curb", 4.35, 0.012),
        (400.0, 1, "lip", 3.9, -0.0975),
        (400.0, 1, "flowline", 4.2, -0.1155),
        (400.0, 1, "top of face", 4.24, 0.0345),
        (400.0, 1, "top back of curb", 4.38, 0.0375),
        (400.0, -1, "top back of curb", -4.35, 0.012),
        (290.0, 1, "lip", 3.8, (-0.074 - 0.0975) / 2),
        (280.0, 1, "top of face", 4.25 - 0.01 / 4, 0.002 + 0.0325 / 4),
    ],
)
def test_breaks_of_the_finished_surface_by_hand(station, side, name, offset, rise):
    got_offset, got_elevation = truth.break_at(station, side, truth.FINISH, name)
    assert got_offset == pytest.approx(offset, abs=1e-12)
    assert got_elevation - truth.profile(station) == pytest.approx(rise, abs=1e-12)
    on_it = truth.elevation(station, got_offset, truth.FINISH)
    assert on_it == pytest.approx(got_elevation, abs=1e-12)


def test_lower_layers_run_straight_under_the_curb_by_hand():
    z = truth.profile(30.0)
    for layer, drop, reach in (
        (truth.GRAVEL, 0.120, 4.65), (truth.STABILISED, 0.320, 4.80), (truth.CLAY, 0.335, 4.95),
    ):  # fmt: skip
        offset = np.array([-reach, -2.0, 0.0, 4.35, reach])
        want = z - drop - 0.025 * np.abs(offset)
        np.testing.assert_allclose(truth.elevation(30.0, offset, layer), want, atol=1e-12)
        assert np.isnan(truth.elevation(30.0, reach + 0.001, layer))


def test_layers_lie_one_under_the_other():
    stations, offsets = np.meshgrid(np.linspace(0, 420, 211), np.linspace(-4.65, 4.65, 94))
    levels = [truth.elevation(stations, offsets, layer) for layer in truth.LAYERS]
    for upper, lower in itertools.pairwise(levels):
        thickness = upper - lower
        assert np.nanmin(thickness) > 0.0149
        assert np.nanmax(thickness) < 0.45


# the ground


def test_volumes_against_a_numerical_integration():
    def above(x, s, side):
        z = truth.profile(s) - 0.335 - 0.025 * x
        return float(truth.ground(s, side * x) - z)

    want = truth.volumes()
    for side, cut, fill in (
        (-1, want.cut_left_m3, want.fill_left_m3), (1, want.cut_right_m3, want.fill_right_m3),
    ):  # fmt: skip
        # midpoint sums over cells of 0.25 by 0.01 m: the error falls with the square of the cell
        s = want.start + (np.arange(240) + 0.5) * 0.25
        x = (np.arange(495) + 0.5) * 0.01
        grid_s, grid_x = np.meshgrid(s, x)
        d = truth.ground(grid_s, side * grid_x) - (truth.profile(grid_s) - 0.335 - 0.025 * grid_x)
        assert np.clip(d, 0, None).sum() * 0.25 * 0.01 == pytest.approx(cut, abs=1e-4)
        assert np.clip(-d, 0, None).sum() * 0.25 * 0.01 == pytest.approx(fill, abs=1e-4)
        net = dblquad(above, want.start, want.end, 0.0, 4.95, args=(side,), epsabs=1e-8)[0]
        assert net == pytest.approx(cut - fill, abs=1e-7)


def test_volumes_refuse_stations_where_the_closed_form_does_not_hold():
    with pytest.raises(ValueError, match="closed form holds from 0 to"):
        truth.volumes(10.0, 80.0)


def test_the_written_shots_triangulate_to_the_closed_form_volumes():
    # scipy's triangulation of each side's shots as they stand in the file. Heights rounded to
    # the millimetre are off by 0.29 mm each; over 594 m2 and some 90 of them: below 0.02 m3.
    shots = {shot.id: shot for shot in truth.morning()}
    text = (FIXTURE / "shots/2026-05-14/morning.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(text.splitlines()) if shots[row["id"]].row <= 80.0]
    rows = [row for row in rows if row["code"] in CLAY_CODES]
    offset = np.array([shots[row["id"]].offset for row in rows])
    east = np.array([float(row["easting"]) for row in rows]) - truth.START_EASTING
    north = np.array([float(row["northing"]) for row in rows]) - truth.START_NORTHING
    height = np.array([float(row["elevation"]) for row in rows])
    azimuth = np.radians(truth.START_AZIMUTH_DEG)
    along = east * np.sin(azimuth) + north * np.cos(azimuth)
    across = east * np.cos(azimuth) - north * np.sin(azimuth)
    s, x = np.meshgrid(10.05 + 0.1 * np.arange(600), 0.0125 + 0.025 * np.arange(198))
    cut = fill = 0.0
    for side in (-1, 1):
        near = (side * offset > -0.01) & (side * offset < 4.97)
        points = np.stack([along[near], side * across[near]], axis=1)
        above = LinearNDInterpolator(points, height[near])(s, x) - (
            102.0 + 0.015 * s - 0.335 - 0.025 * x
        )
        assert np.isfinite(above).mean() > 0.999
        cut += np.nansum(np.clip(above, 0.0, None)) * 0.1 * 0.025
        fill += np.nansum(np.clip(-above, 0.0, None)) * 0.1 * 0.025
    want = truth.volumes()
    assert (cut, fill) == pytest.approx((want.cut_m3, want.fill_m3), abs=0.03)


def test_the_planes_by_hand():
    # 60 mm above the clay at the crown at 0+000 and 0.4 mm less each metre; left edge 20 mm
    # and right edge 90 mm lower than that
    want = {0.0: (0.040, 0.060, -0.030), 50.0: (0.020, 0.040, -0.050)}
    for station, heights in want.items():
        np.testing.assert_allclose(
            truth.difference(station, [-4.95, 0.0, 4.95]), heights, rtol=0, atol=1e-15
        )


def test_the_ground_has_no_steps():
    stations, offsets = np.meshgrid(np.linspace(0, 420, 1051), np.linspace(-15, 15, 301))
    ground = truth.ground(stations, offsets)
    assert np.isfinite(ground).all()
    # along in 0.4 m steps: where the bank runs out it drops some 0.4 m in 2 m
    assert np.abs(np.diff(ground, axis=1)).max() < 0.4 * 0.25
    # across in 0.1 m steps: the front of the bank rises 0.3 m in 0.4 m
    assert np.abs(np.diff(ground, axis=0)).max() < 0.1 * 1.1


def test_the_clay_is_rough_with_high_and_low_lengths():
    stations, offsets = np.meshgrid(np.linspace(95, 420, 651), np.linspace(-4.9, 4.9, 50))
    difference = truth.difference(stations, offsets)
    assert 0.02 < difference.std() < 0.06
    assert np.abs(difference).max() < 0.12
    by_length = difference[:, : 650 // 25 * 25].reshape(50, -1, 25).mean(axis=(0, 2))
    assert by_length.max() > 0.03
    assert by_length.min() < -0.03


def test_the_bank_stands_where_it_should():
    stations = np.linspace(0.0, 420.0, 421)
    for side in (-1, 1):
        height = truth.bank_height(stations, side)
        assert height.min() > 0.20
        assert height.max() < 0.30
        stands = truth.bank_share(stations, side) == 1.0
        edge = truth.edge(stations, side, truth.CLAY)
        plane = truth.elevation(stations, side * edge, truth.CLAY) + 0.015
        top = truth.ground(stations, side * (edge + 0.75))
        np.testing.assert_allclose((top - plane)[stands], height[stands], rtol=0, atol=1e-12)
        assert stands.sum() == (421 if side > 0 else 421 - 17)
    assert truth.toe(340.0, -1) == pytest.approx(4.95 + 0.20 - 0.12, abs=1e-12)
