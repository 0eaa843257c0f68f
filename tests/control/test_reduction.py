"""Distances, curvature and refraction, factors and face means."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.control.reduction import (
    ARCSECOND,
    Corrections,
    Precision,
    corrected_distance,
    curvature_and_refraction,
    elevation_factor,
    level_and_rise,
    mean_faces,
    sights,
    turn,
)
from pipeline.errors import JobError
from pipeline.model import make_observations, texts

PLAIN = Corrections(curvature_refraction=False)


def test_curvature_and_refraction_in_feet(published):
    ref = published("REF-TS-2")
    d, radius = ref.inputs["D"], ref.inputs["R"]
    ref.check("c", curvature_and_refraction(d, refraction=0.0, earth_radius=radius))
    both = curvature_and_refraction(d, refraction=ref.inputs["k"], earth_radius=radius)
    ref.check("c_minus_r", both)


def test_combined_coefficients(published):
    ref = published("REF-TS-3")
    k, radius = ref.inputs["k"], ref.inputs["R_m"]
    metres = curvature_and_refraction(1000.0, refraction=k, earth_radius=radius)
    ref.check("cr_m", metres)
    feet = curvature_and_refraction(1000.0, refraction=k, earth_radius=radius / 0.3048)
    ref.check("cr_ft", feet)
    mile = curvature_and_refraction(5280.0, refraction=k, earth_radius=radius / 0.3048)
    ref.check("cr_ft_per_mile2", mile)


def test_trigonometric_levelling(published):
    ref = published("REF-TS-4")
    zenith = math.radians(90.0 - ref.inputs["vert_angle_deg"])
    book = make_observations(
        texts(["B"]),
        setup=texts(["S"]),
        slope_distance=[ref.inputs["S"]],
        zenith=[zenith],
        horizontal=[0.0],
        instrument_height=[ref.inputs["HI"]],
        target_height=[ref.inputs["HR"]],
    )
    ref.check("V", level_and_rise(ref.inputs["S"], zenith, PLAIN)[1])
    ref.check("dH", sights(book, PLAIN)[1][0])


def test_elevation_and_combined_factor(published):
    ref = published("REF-TS-7")
    radius = ref.inputs["R_m"]
    factors = elevation_factor(ref.inputs["H_m"], earth_radius=radius)
    ref.check("EF", factors)
    combined = [
        Corrections(grid_scale=k, elevation_factor=float(f)).combined_factor
        for k, f in zip(ref.inputs["k"], factors, strict=True)
    ]
    ref.check("CF", combined)
    ref.check("mm_per_km", (np.array(combined) - 1.0) * 1e6)


def test_combined_factor_is_the_product(published):
    ref = published("REF-TS-8")
    scale, factor = ref.inputs["grid_scale"], ref.inputs["elev_factor"]
    ref.check("CSF", Corrections(grid_scale=scale, elevation_factor=factor).combined_factor)


@given(
    level=st.floats(5.0, 500.0),
    grade=st.floats(-0.1, 0.1),
)
@settings(max_examples=60, deadline=None)
def test_a_round_earth_without_air_is_reduced_to_a_hundredth_of_a_millimetre(level, grade):
    # analytic: the target at angle t round a circle of radius R, seen along the chord
    radius, rise = 6_371_000.0, level * grade
    t = level / radius
    up = (radius + rise) * math.cos(t) - radius
    out = (radius + rise) * math.sin(t)
    got = level_and_rise(math.hypot(up, out), math.atan2(out, up), Corrections(refraction=0.0))
    np.testing.assert_allclose(got, (level, rise), rtol=0, atol=1e-5)


def test_a_curved_ray_lifts_by_its_share():
    # k = 1 would be light that follows the earth: no correction to the height is left
    level, zenith = 300.0, math.pi / 2
    assert level_and_rise(level, zenith, Corrections(refraction=1.0))[1] == pytest.approx(0.0)
    assert level_and_rise(level, zenith, PLAIN)[1] == pytest.approx(0.0, abs=1e-12)


def test_prism_constant_and_ppm_are_added_as_stated():
    # 1000 m + 20 ppm is 1000.020 m; a prism of -34 mm leaves 999.986 m
    book = make_observations(
        texts(["B"]), slope_distance=[1000.0], ppm=[20.0], prism_constant=[-0.034]
    )
    assert corrected_distance(book)[0] == pytest.approx(999.986, abs=1e-9)


def test_a_distance_is_scaled_to_the_grid_and_its_rise_is_not():
    book = make_observations(
        texts(["B"]),
        slope_distance=[100.0],
        zenith=[math.radians(80.0)],
        instrument_height=[1.5],
        target_height=[1.5],
    )
    ground = sights(book, PLAIN)
    fixes = Corrections(curvature_refraction=False, grid_scale=0.9996, elevation_factor=0.9999)
    grid = sights(book, fixes)
    assert grid[0][0] == pytest.approx(ground[0][0] * 0.9996 * 0.9999, abs=1e-12)
    assert grid[1][0] == ground[1][0]


@pytest.mark.parametrize("bad", [0.0, 400.0, -1.0, float("nan")])
def test_a_factor_that_is_a_slip_is_refused(bad):
    with pytest.raises(JobError, match=r"grid_scale: .* is no scale of a grid"):
        Corrections(grid_scale=bad)


def test_a_refraction_in_metres_is_refused():
    with pytest.raises(JobError, match="curvature and refraction: k 6371000"):
        Corrections(refraction=6_371_000.0)


def test_a_precision_of_nothing_is_refused():
    with pytest.raises(JobError, match=r"precision: a part of 0\.0"):
        Precision(distance_m=0.0)


@given(st.floats(-50.0, 50.0))
@settings(max_examples=50, deadline=None)
def test_turn_is_the_short_way_round(angle):
    got = float(turn(angle))
    assert -math.pi < got <= math.pi
    assert math.cos(got) == pytest.approx(math.cos(angle), abs=1e-9)
    assert math.sin(got) == pytest.approx(math.sin(angle), abs=1e-9)


def both_faces(azimuth, zenith, collimation, index, *, targets=("B",), order="left right"):
    """Readings with the errors that a real instrument would add (analytic)."""
    rows = []
    for target, h, z in zip(targets, azimuth, zenith, strict=True):
        left = (target, "left", h + collimation / math.sin(z), z + index)
        right = (
            target,
            "right",
            h + math.pi - collimation / math.sin(z),
            2 * math.pi - z + index,
        )
        rows += [left, right] if order == "left right" else [right, left]
    names, faces, horizontal, zeniths = zip(*rows, strict=True)
    n = len(rows)
    return make_observations(
        texts(names),
        setup=texts(["S"] * n),
        face=texts(faces),
        horizontal=np.mod(horizontal, 2 * np.pi),
        zenith=zeniths,
        slope_distance=np.full(n, 80.0) + np.arange(n) * 0.002,
        instrument_height=np.full(n, 1.5),
        target_height=np.full(n, 1.6),
    )


@given(
    azimuth=st.floats(0.0, 6.28),
    zenith=st.floats(0.8, 2.3),
    collimation=st.floats(-60.0, 60.0),
    index=st.floats(-60.0, 60.0),
    order=st.sampled_from(["left right", "right left"]),
)
@settings(max_examples=60, deadline=None)
def test_the_mean_of_two_faces_is_free_of_both_errors(azimuth, zenith, collimation, index, order):
    book = both_faces([azimuth], [zenith], collimation * ARCSECOND, index * ARCSECOND, order=order)
    mean, faces, findings = mean_faces(book, limit_arcsec=120.0)
    assert len(mean) == 1
    assert mean.face[0] == "mean"
    assert float(turn(mean.horizontal[0] - azimuth)) == pytest.approx(0.0, abs=1e-10)
    assert mean.zenith[0] == pytest.approx(zenith, abs=1e-10)
    assert mean.slope_distance[0] == pytest.approx(80.001)
    assert faces.collimation[0] / ARCSECOND == pytest.approx(collimation, abs=1e-4)
    assert faces.index[0] / ARCSECOND == pytest.approx(index, abs=1e-4)
    assert findings == ()


def test_a_right_face_alone_is_turned_over():
    book = both_faces([1.0], [1.4], 0.0, 0.0).take([1])
    mean, faces, _ = mean_faces(book)
    assert mean.face.tolist() == ["left"]
    assert float(turn(mean.horizontal[0] - 1.0)) == pytest.approx(0.0, abs=1e-12)
    assert mean.zenith[0] == pytest.approx(1.4)
    assert len(faces) == 0


def test_opening_and_closing_pairs_stay_apart():
    book = both_faces([1.0, 1.1], [1.4, 1.5], 0.0, 0.0, targets=("B", "B"))
    mean, faces, _ = mean_faces(book)
    np.testing.assert_allclose(mean.zenith, [1.4, 1.5])
    np.testing.assert_array_equal(np.column_stack([faces.left, faces.right]), [[0, 1], [2, 3]])


def test_faces_to_different_rod_heights_are_not_one_sighting():
    book = both_faces([1.0], [1.4], 0.0, 0.0)
    rods = make_observations(
        book.target, setup=book.setup, face=book.face, horizontal=book.horizontal,
        zenith=book.zenith, slope_distance=book.slope_distance, target_height=[1.6, 1.8],
    )  # fmt: skip
    mean, faces, _ = mean_faces(rods)
    assert len(mean) == 2
    assert len(faces) == 0


def test_a_pair_that_did_not_see_the_same_mark_is_named():
    book = both_faces([1.0, 2.0, 3.0], [1.4, 1.5, 1.6], 0.0, 0.0, targets=("A", "B", "C"))
    zenith = np.array(book.zenith)
    zenith[3] += 200 * ARCSECOND
    wrong = make_observations(
        book.target, setup=book.setup, face=book.face, horizontal=book.horizontal, zenith=zenith,
        slope_distance=book.slope_distance, target_height=book.target_height,
    )  # fmt: skip
    _, _, findings = mean_faces(wrong)
    assert [f.points for f in findings] == [("B",)]
    assert "S to B: index 100 seconds of arc" in findings[0].text


def test_two_faces_that_measured_two_distances_are_named():
    """1.000 m apart, read on another rod or mistyped: half of it is in the mean."""
    book = both_faces([1.0, 2.0], [1.4, 1.5], 0.0, 0.0, targets=("A", "B"))
    slope = np.array(book.slope_distance)
    slope[2:] = [80.0, 81.0]
    wrong = make_observations(
        book.target, setup=book.setup, face=book.face, horizontal=book.horizontal,
        zenith=book.zenith, slope_distance=slope, target_height=book.target_height,
    )  # fmt: skip
    mean, _, (finding,) = mean_faces(wrong)
    assert mean.slope_distance[1] == pytest.approx(80.5)
    assert finding.points == ("B",)
    assert "S to B: the distances on the two faces differ by 1.000 m" in finding.text
