"""A free station: exact where the sightings are, scipy's where they are not, refused where open."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from pipeline.control.reduction import ARCSECOND, Corrections, Precision, turn
from pipeline.control.resection import resect
from pipeline.errors import InputError
from pipeline.model import make_observations, make_shots, texts

FLAT = Corrections(curvature_refraction=False)
KNOWN = {
    "A": (5_000_120.0, 900_080.0, 101.0),
    "B": (5_000_040.0, 900_190.0, 100.2),
    "C": (4_999_910.0, 900_050.0, 102.5),
    "D": (5_000_030.0, 899_930.0, 99.6),
}
STATION = (5_000_010.0, 900_040.0, 100.7)


def control(points=KNOWN):
    return make_shots(*np.array(list(points.values())).T, id=texts(points))


def changed(book, **columns):
    names = ("setup", "occupied", "role", "horizontal", "zenith", "slope_distance")
    names += ("instrument_height", "target_height")
    return make_observations(
        book.target, **{name: columns.get(name, getattr(book, name)) for name in names}
    )


@given(
    east=st.floats(-60.0, 60.0),
    north=st.floats(-60.0, 60.0),
    orientation=st.floats(0.0, 6.28),
)
@settings(max_examples=40, deadline=None)
def test_exact_sightings_give_the_place_back(sight, east, north, orientation):
    station = (5_000_010.0 + east, 900_040.0 + north, 100.0)
    if min(math.hypot(p[0] - station[0], p[1] - station[1]) for p in KNOWN.values()) < 1.0:
        return
    book = sight("S1", "", station, KNOWN, orientation=orientation)
    got = resect(book, control(), FLAT)
    assert (got.setup.easting, got.setup.northing) == pytest.approx(station[:2], abs=1e-6)
    assert got.setup.elevation == pytest.approx(100.0, abs=1e-6)
    assert float(turn(got.setup.orientation - orientation)) == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(got.distance, 0.0, atol=1e-6)
    np.testing.assert_allclose(got.direction, 0.0, atol=1e-9)
    assert got.findings == ()


def noisy(sight, seed, points=KNOWN):
    rng = np.random.default_rng(seed)
    book = sight("S1", "", STATION, points)
    n = len(book)
    return changed(
        book,
        horizontal=book.horizontal + rng.normal(0, 4 * ARCSECOND, n),
        zenith=book.zenith + rng.normal(0, 4 * ARCSECOND, n),
        slope_distance=book.slope_distance + rng.normal(0, 0.002, n),
    )


def scipy_answer(book, points, precision):
    """The same adjustment with scipy: residuals over their standard deviations."""
    base = np.array([5_000_000.0, 900_000.0])
    known = np.array([points[name][:2] for name in book.target]) - base
    level = book.slope_distance * np.sin(book.zenith)
    reach = np.hypot(*(known - (np.array(STATION[:2]) - base)).T)

    def off(x):
        dx, dy = (known - x[:2]).T
        direction = turn(np.arctan2(dx, dy) - x[2] - book.horizontal)
        return np.concatenate(
            [
                direction / precision.direction(reach),
                (np.hypot(dx, dy) - level) / precision.length(reach),
            ]
        )

    fit = least_squares(off, [10.0, 40.0, 0.4], x_scale=[1, 1, 0.01], xtol=1e-15, ftol=1e-15)
    return fit.x + np.r_[base, 0.0], np.linalg.inv(fit.jac.T @ fit.jac), fit


@pytest.mark.parametrize("seed", range(5))
def test_noisy_sightings_give_scipys_answer(sight, seed):
    precision = Precision()
    book = noisy(sight, seed)
    got = resect(book, control(), FLAT, precision)
    x, covariance, fit = scipy_answer(book, KNOWN, precision)
    assert (got.setup.easting, got.setup.northing) == pytest.approx(x[:2], abs=2e-6)
    assert got.setup.orientation == pytest.approx(x[2], abs=1e-8)
    sigma0 = math.sqrt(2 * fit.cost / 5)
    assert got.redundancy == 5
    assert got.sigma0 == pytest.approx(sigma0, rel=1e-3)
    radial = math.sqrt(covariance[0, 0] + covariance[1, 1]) * max(1.0, sigma0)
    assert got.setup.sigma_h == pytest.approx(radial, rel=1e-3)
    # the height is the weighted mean of four, analytic
    reach = np.hypot(*(np.array(list(KNOWN.values()))[:, :2] - STATION[:2]).T)
    z = np.array([p[2] for p in KNOWN.values()])
    rise = book.slope_distance * np.cos(book.zenith) + 1.5 - 1.6
    mean = np.average(z - rise, weights=precision.rise(reach) ** -2.0)
    assert got.setup.elevation == pytest.approx(mean, abs=1e-6)


def test_directions_alone_are_enough_from_three_points(sight):
    book = sight("S1", "", STATION, KNOWN)
    bare = changed(book, slope_distance=np.full(4, np.nan)).take([0, 1, 2])
    got = resect(bare, control(), FLAT)
    assert (got.setup.easting, got.setup.northing) == pytest.approx(STATION[:2], abs=1e-6)
    # zenith angles over the adjusted distances give the height
    assert got.setup.elevation == pytest.approx(STATION[2], abs=1e-6)
    assert np.isnan(got.distance).all()
    kinds = [(f.kind, "the plan of" in f.text) for f in got.findings]
    assert ("resection unchecked", True) in kinds


def test_points_and_instrument_on_one_circle_are_refused(sight):
    # the classic case that directions cannot solve: any place on the circle sees the same angles
    ring = {
        name: (100 + 50 * math.sin(a), 200 + 50 * math.cos(a), 100.0)
        for name, a in zip("PQR", (0.3, 1.2, 2.5), strict=True)
    }
    book = sight("S9", "", (100 + 50 * math.sin(4.0), 200 + 50 * math.cos(4.0), 100.0), ring)
    bare = changed(book, slope_distance=np.full(3, np.nan))
    with pytest.raises(InputError, match="set-up S9: the points and the instrument lie on one ci"):
        resect(bare, control(ring), FLAT)


@pytest.mark.parametrize(
    ("rows", "bare", "found"),
    [
        ([0], False, "1 known points sighted, 1 of them with a distance"),
        ([0, 1], True, "2 known points sighted, 0 of them with a distance"),
        ([], False, "0 known points sighted"),
    ],
)
def test_too_few_sightings_are_refused_with_the_count(sight, rows, bare, found):
    book = sight("S1", "", STATION, KNOWN)
    if bare:
        book = changed(book, slope_distance=np.full(4, np.nan))
    with pytest.raises(InputError, match=found):
        resect(book.take(np.array(rows, dtype=int)), control(), FLAT)


def test_two_points_with_distances_leave_one_check(sight):
    got = resect(sight("S1", "", STATION, KNOWN).take([0, 2]), control(), FLAT)
    assert got.redundancy == 1
    assert (got.setup.easting, got.setup.northing) == pytest.approx(STATION[:2], abs=1e-6)


def test_a_wrong_distance_is_named_by_line_and_size(sight):
    book = noisy(sight, 3)
    slope = np.array(book.slope_distance)
    slope[2] += 0.050
    got = resect(changed(book, slope_distance=slope), control(), FLAT)
    finding = next(f for f in got.findings if f.kind == "resection outlier")
    assert finding.points == ("C",)
    assert "distance off by +0.0" in finding.text
    assert got.sigma0 > 3.0


def test_a_wrong_rod_shows_in_height_and_leaves_the_plan_alone(sight):
    book = sight("S1", "", STATION, KNOWN)
    rods = np.array(book.target_height)
    rods[1] += 0.10
    got = resect(changed(book, target_height=rods), control(), FLAT)
    assert got.sigma0 < 1e-3
    finding = next(f for f in got.findings if f.kind == "resection outlier")
    assert finding.points == ("B",)
    # written 0.10 too long, its rise comes out 0.10 too small; the mean takes its share
    assert got.rise[1] == pytest.approx(-0.10 * 0.75, abs=0.02)


def test_names_that_are_swapped_do_not_pass(sight):
    book = sight("S1", "", STATION, KNOWN)
    swapped = {**KNOWN, "A": KNOWN["B"], "B": KNOWN["A"]}
    got = resect(book, control(swapped), FLAT)
    assert got.sigma0 > 100
    assert {"resection outlier", "resection weak"} <= {f.kind for f in got.findings}


def test_a_station_on_one_of_its_own_points_is_refused(sight):
    station = (KNOWN["A"][0] + 0.01, KNOWN["A"][1], 101.0)
    with pytest.raises(InputError, match="set-up S1: stands on one of the points it sights"):
        resect(sight("S1", "", station, KNOWN), control(), FLAT)


def test_a_station_without_any_zenith_angle_has_no_height(sight):
    book = sight("S1", "", STATION, KNOWN)
    flat = changed(book, zenith=np.full(4, np.nan), slope_distance=np.full(4, np.nan))
    with pytest.raises(InputError, match="set-up S1: no target gives a height"):
        resect(flat, control(), FLAT)


def test_curvature_is_taken_off_directions_and_distances_alike(sight):
    # targets 2 km off a level instrument stand 0.86 d2 / 2R = 0.27 m higher than the line of sight
    far = {"A": (2000.0, 0.0, 100.0), "B": (-1000.0, 1732.05, 100.0), "C": (0.0, -2000.0, 100.0)}
    book = sight("S1", "", (0.0, 0.0, 100.0), far)
    measured = resect(book, control(far))
    lift = 0.86 * 2000.0**2 / (2 * 6_371_000.0)
    assert measured.setup.elevation == pytest.approx(100.0 - lift, abs=2e-4)
    bare = changed(book, slope_distance=np.full(3, np.nan))
    assert resect(bare, control(far)).setup.elevation == pytest.approx(100.0 - lift, abs=2e-4)
