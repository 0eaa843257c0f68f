"""Localisation on control: random similarities come back, scipy agrees, slips are named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from pipeline.control.adjustment import POINT_LIMIT, W_LIMIT
from pipeline.control.localisation import (
    LocalisationRules,
    apply_localisation,
    beyond_control,
    localise,
)
from pipeline.control.slips import FEET_RATIO
from pipeline.errors import InputError
from pipeline.model import Localisation, make_shots, texts

GRID = np.array(
    [
        [500_100.0, 6_700_050.0, 61.2],
        [500_420.0, 6_700_120.0, 63.9],
        [500_380.0, 6_699_800.0, 62.4],
        [500_150.0, 6_699_790.0, 60.8],
        [500_260.0, 6_700_000.0, 62.9],
        [500_330.0, 6_699_930.0, 61.7],
    ]
)
IDS = ("A", "B", "C", "D", "E", "F")


def shots(points, ids=IDS, **columns):
    points = np.asarray(points, dtype=float)
    return make_shots(*points.T, id=texts(ids[: len(points)]), **columns)


def moved(points, rotation, scale, shift, *, rise=0.0, tilt=(0.0, 0.0)):
    """Measured coordinates whose localisation is the given one: the inverse, by hand.

    grid = shift + scale * R(rotation, clockwise) * measured.
    """
    points = np.asarray(points, dtype=float)
    centre = points[:, :2].mean(axis=0)
    away = points[:, :2] - centre
    x, y = away.T / scale
    cos, sin = math.cos(rotation), math.sin(rotation)
    up = points[:, 2] - rise - away @ np.array(tilt)
    return np.column_stack([x * cos - y * sin + shift[0], x * sin + y * cos + shift[1], up])


SIMILARITIES = {
    "rotation": st.floats(-3.1, 3.1),
    "ppm": st.floats(-900.0, 900.0),
    "east": st.floats(-1e6, 1e6),
    "north": st.floats(-1e7, 1e7),
    "rise": st.floats(-60.0, 60.0),
}


@given(**SIMILARITIES, tilt=st.tuples(st.floats(-2e-4, 2e-4), st.floats(-2e-4, 2e-4)))
@settings(max_examples=60, deadline=None)
def test_a_random_similarity_with_a_tilted_plane_comes_back(rotation, ppm, east, north, rise, tilt):
    scale = 1.0 + ppm * 1e-6
    measured = shots(moved(GRID, rotation, scale, (east, north), rise=rise, tilt=tilt))
    fit = localise(measured, shots(GRID), LocalisationRules(scale=True, vertical="plane"))
    assert math.cos(fit.rotation - rotation) == pytest.approx(1.0, abs=1e-12)
    assert fit.scale == pytest.approx(scale, abs=1e-10)
    assert (fit.shift_z, fit.tilt_e, fit.tilt_n) == pytest.approx((rise, *tilt), abs=1e-8)
    for residual in (fit.d_easting, fit.d_northing, fit.d_elevation):
        np.testing.assert_allclose(residual, 0.0, atol=1e-7)
    back = apply_localisation(fit, measured)
    got = np.column_stack([back.easting, back.northing, back.elevation])
    np.testing.assert_allclose(got, GRID, rtol=0, atol=1e-7)
    assert not [f for f in fit.findings if f.severity == "stop"]


@given(**{name: SIMILARITIES[name] for name in ("rotation", "east", "north", "rise")})
@settings(max_examples=30, deadline=None)
def test_without_a_scale_distances_stay_as_measured(rotation, east, north, rise):
    measured = shots(moved(GRID, rotation, 1.0, (east, north), rise=rise))
    fit = localise(measured, shots(GRID))
    assert fit.scale == 1.0
    assert "scale" not in fit.standard_errors
    np.testing.assert_allclose(np.hypot(fit.d_easting, fit.d_northing), 0.0, atol=1e-7)


def noisy(seed, *, scale=1.0):
    rng = np.random.default_rng(seed)
    measured = moved(GRID, 0.7, scale, (1000.0, 5000.0), rise=12.0, tilt=(1e-4, -5e-5))
    return measured + rng.normal(0.0, [0.006, 0.006, 0.006], measured.shape)


def scipy_fit(measured, scaled, sigma):
    """The same fit in scipy, residuals over sigma, unknowns about the centres."""
    here, there = measured[:, :2].mean(axis=0), GRID[:, :2].mean(axis=0)
    x, y = (measured[:, :2] - here).T

    def off(p):
        turn, size = p[2], math.exp(p[3]) if scaled else 1.0
        east = p[0] + size * (x * math.cos(turn) + y * math.sin(turn))
        north = p[1] + size * (y * math.cos(turn) - x * math.sin(turn))
        return (np.column_stack([east, north]) - (GRID[:, :2] - there)).ravel() / sigma

    start = [0.0, 0.0, 0.69, 0.0] if scaled else [0.0, 0.0, 0.69]
    steps = [1.0, 1.0, 0.01, 0.01][: len(start)]
    return least_squares(off, start, x_scale=steps, xtol=1e-15, ftol=1e-15, gtol=1e-15)


@pytest.mark.parametrize("scaled", [False, True])
def test_a_noisy_fit_is_scipys(scaled):
    measured = noisy(5)
    rules = LocalisationRules(scale=scaled, vertical="plane", sigma_h_m=0.010)
    fit = localise(shots(measured), shots(GRID), rules)
    sigma = 0.010 / math.sqrt(2.0)
    theirs = scipy_fit(measured, scaled, sigma)
    assert fit.rotation == pytest.approx(theirs.x[2], abs=1e-9)
    if scaled:
        assert fit.scale == pytest.approx(math.exp(theirs.x[3]), abs=1e-9)
    redundancy = 12 - len(theirs.x)
    assert fit.redundancy_h == redundancy
    assert fit.sigma0_h == pytest.approx(math.sqrt(2 * theirs.cost / redundancy), rel=1e-6)
    covariance = np.linalg.inv(theirs.jac.T @ theirs.jac)
    errors = np.sqrt(np.diag(covariance)) * max(1.0, fit.sigma0_h)
    assert fit.standard_errors["rotation"] == pytest.approx(errors[2], rel=1e-5)
    if scaled:
        assert fit.standard_errors["scale"] == pytest.approx(errors[3], rel=1e-3)
    off = np.column_stack([fit.d_easting, fit.d_northing]).ravel()
    np.testing.assert_allclose(off, theirs.fun * sigma, atol=1e-7)


def test_a_noisy_plane_is_numpys():
    # independent answer: numpy.linalg.lstsq on the fitted plan positions
    measured = noisy(6)
    fit = localise(shots(measured), shots(GRID), LocalisationRules(vertical="plane"))
    placed = apply_localisation(fit, shots(measured))
    away = np.column_stack([placed.easting, placed.northing]) - fit.origin_grid
    design = np.column_stack([np.ones(6), away])
    want = np.linalg.lstsq(design, GRID[:, 2] - measured[:, 2], rcond=None)[0]
    np.testing.assert_allclose([fit.shift_z, fit.tilt_e, fit.tilt_n], want, atol=1e-9)
    errors = np.sqrt(np.diag(np.linalg.inv(design.T @ design))) * 0.010
    got = [fit.standard_errors[name] for name in ("shift_z", "tilt_e", "tilt_n")]
    np.testing.assert_allclose(got, errors * max(1.0, fit.sigma0_v), rtol=1e-9)
    assert fit.redundancy_v == 6 - 3


def given_fit(*, rotation, scale, shift):
    """A fit with stated parameters about the origin, to apply and nothing else."""
    empty = np.empty(0)
    return Localisation(
        id=texts([]), easting=empty, northing=empty, elevation=empty, d_easting=empty,
        d_northing=empty, d_elevation=empty, test_h=empty, test_v=empty,
        origin_measured=np.zeros(2), origin_grid=np.array(shift), rotation=rotation, scale=scale,
        shift_z=0.0, tilt_e=0.0, tilt_n=0.0, standard_errors={}, sigma0_h=1.0, sigma0_v=1.0,
        redundancy_h=1, redundancy_v=1,
    )  # fmt: skip


def test_the_similarity_of_the_epsg_guidance_note(published):
    ref = published("REF-CO-6")
    fit = given_fit(
        rotation=math.radians(ref.inputs["rot_arcsec"] / 3600.0),
        scale=ref.inputs["scale"],
        shift=(ref.inputs["E0"], ref.inputs["N0"]),
    )
    got = apply_localisation(fit, shots([[ref.inputs["E"], ref.inputs["N"], 0.0]]))
    ref.check("E", got.easting[0])
    ref.check("N", got.northing[0])


def test_the_affine_of_the_guidance_note_is_a_similarity_in_feet(published):
    # A1 = B2 and A2 = -B1, so this affine is a turn and a scale: the form fitted here
    ref = published("REF-CO-7")
    a, b = ref.inputs["A1"], ref.inputs["A2"]
    assert (ref.inputs["B2"], ref.inputs["B1"]) == (a, -b)
    fit = given_fit(
        rotation=math.atan2(b, a),
        scale=math.hypot(a, b),
        shift=(ref.inputs["A0"], ref.inputs["B0"]),
    )
    got = apply_localisation(fit, shots([[ref.inputs["X"], ref.inputs["Y"], 0.0]]))
    ref.check("E", got.easting[0])
    ref.check("N", got.northing[0])


@pytest.mark.parametrize("bad", range(6))
def test_a_planted_outlier_in_plan_is_named(bad):
    measured = noisy(11)
    measured[bad, :2] += [0.045, -0.040]
    fit = localise(shots(measured), shots(GRID))
    (finding,) = [f for f in fit.findings if f.kind == "control outlier"]
    assert finding.points == (IDS[bad],)
    assert finding.severity == "stop"
    assert fit.test_h[bad] == np.nanmax(fit.test_h) > POINT_LIMIT


@pytest.mark.parametrize("bad", range(6))
def test_a_planted_outlier_in_height_is_named(bad):
    measured = noisy(12)
    measured[bad, 2] += 0.080
    fit = localise(shots(measured), shots(GRID), LocalisationRules(vertical="plane"))
    (finding,) = [f for f in fit.findings if f.kind == "control outlier"]
    assert finding.points == (IDS[bad],)
    assert "in height" in finding.text
    assert abs(fit.test_v[bad]) > W_LIMIT


def test_good_control_raises_no_outlier():
    # two tests of 0.1 % on six points, 100 draws: some 1.2 false names expected, 5 is beyond chance
    alarms = 0
    rules = LocalisationRules(vertical="plane", sigma_h_m=0.006 * math.sqrt(2.0), sigma_v_m=0.006)
    for seed in range(100):
        fit = localise(shots(noisy(seed)), shots(GRID), rules)
        alarms += any(f.kind == "control outlier" for f in fit.findings)
    assert alarms <= 5


def test_three_points_and_four_unknowns_cannot_say_which_is_wrong():
    measured = noisy(1)[:3]
    measured[0, :2] += [0.3, 0.2]
    fit = localise(shots(measured), shots(GRID[:3]), LocalisationRules(scale=True))
    assert np.isnan(fit.test_h).all()
    assert any(f.kind == "control fit" and f.severity == "stop" for f in fit.findings)
    assert not any(f.kind == "control outlier" for f in fit.findings)


def test_two_points_are_fitted_and_called_unchecked():
    fit = localise(shots(noisy(2)[:2]), shots(GRID[:2]), LocalisationRules(scale=True))
    unchecked = [f.text for f in fit.findings if f.kind == "fit unchecked"]
    assert unchecked == ["localisation: no point is left over to check the fit in plan"]


@pytest.mark.parametrize(
    ("count", "found"), [(0, "0 points known in both"), (1, r"1 points .*\(A")]
)
def test_too_few_points_are_refused(count, found):
    with pytest.raises(InputError, match=found):
        localise(shots(GRID[:count]), shots(GRID))


def test_points_in_one_place_leave_the_rotation_open():
    same = np.repeat(GRID[:1], 3, axis=0)
    with pytest.raises(InputError, match="localisation: these points leave open: rotation"):
        localise(shots(same), shots(same))


def test_a_plane_through_points_in_line_or_two_is_refused():
    line = np.column_stack([np.arange(4) * 50.0, np.arange(4) * 80.0, np.full(4, 9.0)])
    plane = LocalisationRules(vertical="plane")
    with pytest.raises(InputError, match="in height: these points leave open: tilt_e, tilt_n"):
        localise(shots(line), shots(line), plane)
    with pytest.raises(InputError, match="in height: 2 observations for 3 unknowns"):
        localise(shots(GRID[:2]), shots(GRID[:2]), plane)


def test_control_that_stands_there_twice_is_refused():
    with pytest.raises(InputError, match="control point B: stands there twice"):
        localise(shots(GRID), shots(GRID[:3], ids=("A", "B", "B")))


@pytest.mark.parametrize("scaled", [False, True])
@pytest.mark.parametrize(
    ("scale", "what"),
    [
        (0.3048, "measured points are in feet and the control is in metres"),
        (1200 / 3937, "measured points are in feet and the control is in metres"),
        (1 / 0.3048, "measured points are in metres and the control is in feet"),
        (0.3048 * 0.9996, "measured points are in feet"),
    ],
)
def test_a_scale_of_feet_is_refused_by_name(scale, what, scaled):
    measured = moved(GRID, 0.2, scale, (0.0, 0.0))
    with pytest.raises(InputError, match=what):
        localise(shots(measured), shots(GRID), LocalisationRules(scale=scaled))


def test_heights_in_feet_are_refused_even_when_a_shift_would_hide_them():
    measured = np.array(GRID)
    measured[:, 2] /= 0.3048
    with pytest.raises(InputError, match=r"their heights are 0\.304800 of the measured ones"):
        localise(shots(measured), shots(GRID))


def test_the_two_feet_are_told_apart_by_the_shift_they_make(published):
    ref = published("REF-CO-9")
    ref.check("ratio", FEET_RATIO)
    feet = np.array(GRID)
    # the middle of the control lies the published distance from the origin
    feet[:, :2] = (GRID - GRID.mean(axis=0))[:, :2] + [ref.inputs["ft"] * 0.3048, 0.0]
    other = np.array(feet)
    other[:, :2] *= FEET_RATIO
    fit = localise(shots(feet), shots(other))
    finding = next(f for f in fit.findings if f.kind == "feet")
    assert finding.severity == "stop"
    assert "is 2 ppm of the coordinates" in finding.text
    ref.check("shift_ft", (fit.origin_grid - fit.origin_measured)[0] / 0.3048)


def test_the_two_feet_show_in_the_scale_over_a_county():
    far = (GRID - GRID[0]) * [200.0, 200.0, 1.0]
    other = np.array(far)
    other[:, :2] = other[:, :2] * FEET_RATIO + [77.0, -31.0]
    fit = localise(shots(far), shots(other))
    assert any("the scale is off by 2 ppm" in f.text for f in fit.findings if f.kind == "feet")


def test_a_shift_of_another_size_is_no_mix_of_feet():
    measured = np.array(GRID)
    measured[:, 0] += 4.0
    fit = localise(shots(measured), shots(GRID))
    assert not any(f.kind == "feet" for f in fit.findings)


@pytest.mark.parametrize("scaled", [False, True])
def test_swapped_axes_are_refused_by_name(scaled):
    measured = noisy(3)[:, [1, 0, 2]]
    with pytest.raises(
        InputError, match=r"misfit .* with axes swapped: one of the two is mirrored"
    ):
        localise(shots(measured), shots(GRID), LocalisationRules(scale=scaled))
    plain = np.array(GRID)[:, [1, 0, 2]] + 0.002
    with pytest.raises(InputError, match="easting and northing are swapped"):
        localise(shots(plain), shots(GRID), LocalisationRules(scale=scaled))


def test_an_outlier_is_not_taken_for_swapped_axes():
    measured = noisy(4)
    measured[2, :2] += [25.0, -40.0]
    fit = localise(shots(measured), shots(GRID), LocalisationRules(vertical="none"))
    assert [f.points for f in fit.findings if f.kind == "control outlier"] == [("C",)]
    # heights are not fitted, so nothing is said of them
    assert any(f.kind == "control fit" for f in fit.findings)
    assert not [f.text for f in fit.findings if "height" in f.text or "nan" in f.text]


def test_grid_against_ground_is_told_in_ppm():
    # a combined factor of 0.9996 held at scale 1
    fit = localise(shots(moved(GRID, 0.0, 0.9996, (0.0, 0.0))), shots(GRID))
    finding = next(f for f in fit.findings if f.kind == "scale")
    assert "-400 ppm (-0.040 m in 100 m)" in finding.text


def test_a_point_measured_twice_counts_once_with_its_mean():
    measured = np.vstack([GRID, GRID[0] + [0.004, 0.0, 0.002]])
    fit = localise(shots(measured, ids=(*IDS, "A")), shots(GRID))
    assert len(fit.id) == 6
    note = next(f for f in fit.findings if f.kind == "control averaged")
    assert "A measured 2 times and averaged; spread 0.004 m in plan, 0.002 m in height" in note.text


def test_better_points_weigh_more():
    measured = np.array(GRID[:2])
    measured[:, 2] -= [10.0, 10.030]
    known = shots(GRID[:2], sigma_v=[0.001, 0.010], sigma_h=[0.01, 0.01])
    fit = localise(shots(measured), known)
    # weights 100 : 1 (analytic)
    assert fit.shift_z == pytest.approx((100 * 10.0 + 10.030) / 101, abs=1e-9)


def test_shots_beyond_the_control_are_told_with_the_distance():
    square = np.array([[0.0, 0.0, 1.0], [100.0, 0.0, 1.0], [100.0, 100.0, 1.0], [0.0, 100.0, 1.0]])
    rng = np.random.default_rng(3)
    fit = localise(shots(square + rng.normal(0, 0.003, square.shape)), shots(square),
                   LocalisationRules(vertical="plane"))  # fmt: skip
    where = shots([[50.0, 50.0, 1.0], [130.0, 140.0, 1.0], [50.0, -10.0, 1.0]], ids=("i", "j", "k"))
    outside, findings = beyond_control(fit, where)
    # analytic: from the corner 30, 40 -> 50; straight below the edge 10
    np.testing.assert_allclose(outside, [0.0, 50.0, 10.0], atol=1e-9)
    (finding,) = findings
    assert finding.points == ("j",)
    assert "2 shots lie outside the control" in finding.text
    assert "by 50.0 m" in finding.text
    assert beyond_control(fit, where, allowed_m=60.0)[1] == ()


def test_columns_travel_with_the_shots():
    measured = shots(noisy(2), code=texts(list("uvwxyz")), sigma_h=[0.01] * 6, rod=[1.8] * 6)
    placed = apply_localisation(localise(measured, shots(GRID)), measured)
    assert placed.code.tolist() == list("uvwxyz")
    np.testing.assert_array_equal(placed.rod, 1.8)
    np.testing.assert_array_equal(placed.line, measured.line)
