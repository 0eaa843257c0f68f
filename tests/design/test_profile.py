"""The profile against published vertical curves, a published road and exact circles."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.design import grade_line
from pipeline.design import profile as heights
from pipeline.errors import DesignError
from pipeline.model import ProfileRow, ProfileRows


def about(station, elevation, grade_in, grade_out, length_in, length_out=None, **curve):
    """One curve about a PVI, with a tangent of 1.5 times its length on either side."""
    length_out = length_in if length_out is None else length_out
    reach = 1.5 * max(length_in, length_out, 10.0)
    middle = ProfileRow(
        station, elevation, 0.0 if curve else length_in, 0.0 if curve else length_out, **curve
    )
    return heights.build(
        ProfileRows(
            "curve",
            (
                ProfileRow(station - reach, elevation - grade_in * reach),
                middle,
                ProfileRow(station + reach, elevation + grade_out * reach),
            ),
        )
    )[0]


def turning(profile):
    (only,) = grade_line.turning_points(profile)
    return only


def test_crest_with_equal_tangents(published):
    ref = published("REF-VC-1")
    i = ref.inputs
    profile = about(i["PVI_sta"], i["PVI_elev"], i["g1_pct"] / 100, i["g2_pct"] / 100, i["L"] / 2)

    ref.check("elev", grade_line.elevation(profile, i["sta"]))
    ref.check("grade", 100 * grade_line.grade(profile, i["sta"]))


def test_crest_from_both_ends_and_the_height_of_its_pvi(published):
    ref = published("REF-VC-3")
    i = ref.inputs
    rows = (
        ProfileRow(i["BVC_sta"], i["BVC_elev"]),
        ProfileRow((i["BVC_sta"] + i["EVC_sta"]) / 2, i["PVI_elev"], 300.0, 300.0),
        ProfileRow(i["EVC_sta"], i["EVC_elev"]),
    )
    profile, found = heights.build(ProfileRows("crest", rows))

    ref.check("elev", grade_line.elevation(profile, np.arange(3200.0, 3801.0, 100.0)))
    ref.check("high_sta", turning(profile).station)
    ref.check("high_elev", turning(profile).elevation)
    assert turning(profile).kind == "high"
    assert found == ()


@pytest.mark.parametrize("reference", ["REF-VC-4", "REF-VC-7"])
def test_low_point_of_a_sag(published, reference):
    ref = published(reference)
    i = ref.inputs
    pvi, level = i.get("PVI_sta", i.get("VPI_sta")), i.get("PVI_elev", i.get("VPI_elev"))
    profile = about(pvi, level, i["g1_pct"] / 100, i["g2_pct"] / 100, i["L"] / 2)

    ref.check("low_sta", turning(profile).station)
    ref.check("low_elev", turning(profile).elevation)
    assert turning(profile).kind == "low"


def test_ends_of_a_long_sag(published):
    ref = published("REF-VC-7")
    i = ref.inputs
    profile = about(i["VPI_sta"], i["VPI_elev"], i["g1_pct"] / 100, i["g2_pct"] / 100, i["L"] / 2)

    (begin, pvc), (end, pvt) = grade_line.curve_points(profile)
    assert (pvc, pvt) == ("PVC", "PVT")
    ref.check("VPC_sta", begin)
    ref.check("VPT_sta", end)
    ref.check("VPC_elev", grade_line.elevation(profile, begin))
    ref.check("VPI_curve_elev", grade_line.elevation(profile, i["VPI_sta"]))


def test_crest_tabulated_by_a_surveyor(published):
    ref = published("REF-VC-5")
    i = ref.inputs
    rows = (
        ProfileRow(i["PVC_sta"], i["PVC_elev"]),
        ProfileRow(i["PVI_sta"], i["PVI_elev"], 250.0, 250.0),
        ProfileRow(i["PVT_sta"], i["PVT_elev"]),
    )
    profile, _ = heights.build(ProfileRows("crest", rows))

    # the table's stations are not in the entry; these are the ones that give its heights
    ref.check("elev", grade_line.elevation(profile, [0, 100, 200, 250, 300, 400, 500]))
    ref.check("high_sta", turning(profile).station)
    ref.check("high_elev", turning(profile).elevation)


def test_sag_from_its_rate_of_change(published):
    ref = published("REF-VC-6")
    i = ref.inputs
    length = (i["g2_pct"] - i["g1_pct"]) / i["r_pct_per_ft"]
    profile = about(i["PI_sta"], i["PI_elev"], i["g1_pct"] / 100, i["g2_pct"] / 100, length / 2)

    (begin, _), (end, _) = grade_line.curve_points(profile)
    ref.check("L", end - begin)
    ref.check("PC_sta", begin)
    ref.check("PT_sta", end)
    ref.check("PC_elev", grade_line.elevation(profile, begin))
    ref.check("PT_elev", grade_line.elevation(profile, end))


def test_crest_with_a_fractional_first_station(published):
    ref = published("REF-VC-8")
    i = ref.inputs
    profile = about(i["PVI_sta"], i["PVI_elev"], i["g1_pct"] / 100, i["g2_pct"] / 100, i["L"] / 2)

    stations = [4370, 4400, 4500, 4600, 4700, 4800, 4900, 4970]
    ref.check("elev", grade_line.elevation(profile, stations))
    ref.check("high_sta", turning(profile).station)
    ref.check("high_elev", turning(profile).elevation)


def test_metric_sag(published):
    ref = published("REF-VC-9")
    i = ref.inputs
    profile = about(i["PVI_sta"], i["PVI_elev"], i["g1_pct"] / 100, i["g2_pct"] / 100, i["L"] / 2)

    (begin, _), (end, _) = grade_line.curve_points(profile)
    ref.check("BVC_sta", begin)
    ref.check("EVC_sta", end)
    ref.check("BVC_elev", grade_line.elevation(profile, begin))
    ref.check("EVC_elev", grade_line.elevation(profile, end))


def test_unequal_tangents(published):
    ref = published("REF-VC-10")
    i = ref.inputs
    profile = about(
        i["PVI_sta"], i["PVI_elev"], i["g1_pct"] / 100, i["g2_pct"] / 100, i["L1"], i["L2"]
    )

    (begin, pvc), (middle, cvc), (end, pvt) = grade_line.curve_points(profile)
    assert (pvc, cvc, pvt) == ("PVC", "PVCC", "PVT")
    ref.check("CVC_sta", middle)
    ref.check("CVC_elev", grade_line.elevation(profile, middle))
    ref.check("mid_grade", 100 * grade_line.grade(profile, middle))
    ref.check("BVC_elev", grade_line.elevation(profile, begin))
    ref.check("EVC_elev", grade_line.elevation(profile, end))
    ref.check("e", grade_line.elevation(profile, middle) - i["PVI_elev"])
    ref.check("low_sta", turning(profile).station)
    ref.check("low_elev", turning(profile).elevation)


def test_a_sag_worked_by_hand():
    """-2.0 % to +1.5 % over 60 m: low point 60 · 2.0 / 3.5 m past the PVC, K = 60 / 3.5."""
    profile = about(200.0, 50.0, -0.02, 0.015, 30.0)

    assert grade_line.curve_points(profile) == ((170.0, "PVC"), (230.0, "PVT"))
    np.testing.assert_allclose(
        grade_line.elevation(profile, [170, 200, 230]), [50.600, 50.2625, 50.450], atol=1e-9
    )
    low = turning(profile)
    assert low.station == pytest.approx(204.286, abs=5e-4)
    assert low.elevation == pytest.approx(50.2571, abs=5e-5)
    # K = 17.143 m/%
    k = 60.0 / (100 * (grade_line.grade(profile, 229.999999) - grade_line.grade(profile, 170.0)))
    assert k == pytest.approx(17.143, abs=1e-3)


# profile of the published road at its check points: InfraModel examples, CC-BY-4.0, see conftest
@pytest.mark.parametrize(
    ("station", "elevation"), [(100.0, 17.1787), (500.0, 19.4756), (1000.0, 20.0114)]
)
def test_the_circular_curves_of_the_published_road(open_road_rows, station, elevation):
    profile, _ = heights.build(open_road_rows[1])

    assert float(grade_line.elevation(profile, station)) == pytest.approx(elevation, abs=5e-5)


def test_the_published_arc_lengths_are_measured_along_the_arc(open_road_rows):
    # 9 declared arc lengths agree within 1 mm: none is reported
    _, found = heights.build(open_road_rows[1])

    assert found == ()


@settings(max_examples=80, deadline=None)
@given(
    radius=st.floats(200.0, 1e6),
    grade_in=st.floats(-0.15, 0.15),
    grade_out=st.floats(-0.15, 0.15),
    share=st.floats(0.0, 1.0),
)
def test_a_circular_curve_is_a_circle_tangent_to_both_grades(radius, grade_in, grade_out, share):
    turned = math.atan(grade_out) - math.atan(grade_in)
    if abs(turned) * radius < 1.0:
        return
    profile = about(1000.0, 50.0, grade_in, grade_out, radius * abs(turned), radius=radius)
    (begin, _), (end, _) = grade_line.curve_points(profile)
    s = begin + share * (end - begin)

    # the centre from the beginning: R square to the first tangent, up for a sag
    side = math.copysign(radius, turned)
    slope = math.atan(grade_in)
    z0 = 50.0 + grade_in * (begin - 1000.0)
    centre = begin - side * math.sin(slope), z0 + side * math.cos(slope)
    z = float(grade_line.elevation(profile, s))
    assert math.dist((s, z), centre) == pytest.approx(radius, rel=0, abs=2e-9 * radius**0.5)
    # the tangent of a circle is square to its radius
    square = (s - centre[0]) / (centre[1] - z)
    assert grade_line.grade(profile, np.nextafter(s, begin)) == pytest.approx(square, abs=1e-7)
    # both ends on their tangents, with their grades
    assert grade_line.elevation(profile, end) == pytest.approx(
        50.0 + grade_out * (end - 1000.0), abs=1e-8
    )
    assert grade_line.grade(profile, begin) == pytest.approx(grade_in, abs=1e-9)
    assert grade_line.grade(profile, np.nextafter(end, 0.0)) == pytest.approx(grade_out, abs=1e-8)


@settings(max_examples=80, deadline=None)
@given(
    l1=st.floats(5.0, 100.0), l2=st.floats(5.0, 100.0), grade_in=st.floats(-0.12, 0.12),
    grade_out=st.floats(-0.12, 0.12),
)  # fmt: skip
def test_no_height_and_no_grade_jumps_along_a_curve(l1, l2, grade_in, grade_out):
    profile = about(500.0, 20.0, grade_in, grade_out, l1, l2)
    joints = profile.station[1:-1]

    for of in (grade_line.elevation, grade_line.grade):
        before, ahead = of(profile, joints - 1e-7), of(profile, joints + 1e-7)
        np.testing.assert_allclose(before, ahead, rtol=0, atol=1e-7)
    # the grade is the slope of the height: a difference quotient
    s = np.linspace(profile.station[0] + 1, profile.station[-1] - 1, 97)
    quotient = (
        grade_line.elevation(profile, s + 0.01) - grade_line.elevation(profile, s - 0.01)
    ) / 0.02
    np.testing.assert_allclose(grade_line.grade(profile, s), quotient, rtol=0, atol=2e-4)


def test_a_grade_break_keeps_its_height_and_takes_the_grade_ahead():
    profile = about(100.0, 10.0, 0.03, -0.01, 0.0)

    assert float(grade_line.elevation(profile, 100.0)) == 10.0
    np.testing.assert_allclose(
        grade_line.grade(profile, [99.999, 100.0]), [0.03, -0.01], atol=1e-12
    )
    assert grade_line.curve_points(profile) == ((100.0, "PVI"),)
    assert (turning(profile).kind, turning(profile).station) == ("high", 100.0)


def test_off_the_profile_there_is_no_height():
    profile = about(100.0, 10.0, 0.03, -0.01, 5.0)
    first, last = profile.station[[0, -1]]

    z = grade_line.elevation(profile, [first - 0.001, first, last, last + 0.001, math.nan])
    # a file rounds its stations to a micrometre
    rounded = grade_line.elevation(profile, [first - 5e-7, last + 5e-7])

    assert np.isnan(z).tolist() == [True, False, False, True, True]
    assert not np.isnan(rounded).any()
    assert np.isnan(grade_line.grade(profile, last + 1.0))


def test_a_level_stretch_is_one_high_point_or_one_low_point_or_flat():
    rows = [(0, 10), (50, 11), (80, 11), (120, 10), (150, 10), (200, 10.5), (220, 10.5), (260, 12)]
    profile, _ = heights.build(ProfileRows("steps", tuple(ProfileRow(*row) for row in rows)))

    assert [
        (p.kind, p.station, p.station_to, p.elevation) for p in grade_line.turning_points(profile)
    ] == [("high", 50, 80, 11), ("low", 120, 150, 10), ("flat", 200, 220, 10.5)]


@settings(max_examples=50, deadline=None)
@given(
    per_mille=st.lists(st.integers(-100, 100).filter(bool), min_size=2, max_size=6),
    length=st.floats(0.0, 24.0),
    circular=st.booleans(),
)
def test_turning_points_are_those_of_a_dense_sampling(per_mille, length, circular):
    grades = [grade / 1000.0 for grade in per_mille]
    rows, z = [ProfileRow(0.0, 100.0)], 100.0
    for i, g in enumerate(grades, start=1):
        z += 50.0 * g
        inner = i < len(grades)
        if inner and circular and abs(grades[i] - g) > 0.01:
            rows.append(ProfileRow(50.0 * i, z, radius=10.0 + 20.0 / abs(grades[i] - g)))
        else:
            half = length if inner and not circular else 0.0
            rows.append(ProfileRow(50.0 * i, z, half, half))
    profile, found = heights.build(ProfileRows("waves", tuple(rows)))
    assert found == ()
    s = np.linspace(0.0, 50.0 * len(grades), 20_001)
    sampled = grade_line.elevation(profile, s)
    step = np.sign(np.round(np.diff(sampled), 13))
    if (step == 0).any():
        return
    peaks = [(s[i + 1], "high" if step[i] > 0 else "low") for i in np.flatnonzero(np.diff(step))]

    found = grade_line.turning_points(profile)

    assert [p.kind for p in found] == [kind for _, kind in peaks]
    for point, (station, _) in zip(found, peaks, strict=True):
        assert point.station == pytest.approx(station, abs=0.02)


def overlapping():
    """Two curves that overlap by 8.167 m, as in a published file (553.590 > 545.423)."""
    rows = (
        ProfileRow(400.0, 10.0),
        ProfileRow(503.590, 12.0, 50.0, 50.0),
        ProfileRow(595.423, 11.0, 50.0, 50.0),
        ProfileRow(700.0, 14.0),
    )
    return heights.build(ProfileRows("overlap", rows))


def test_curves_that_overlap_are_said_and_leave_no_height_there():
    profile, found = overlapping()

    assert [(f.severity, f.kind) for f in found] == [("person", "vertical curves overlap")]
    assert found[0].text.endswith(": two heights are designed there, so none is given")
    assert "PVI at station 0+503.590" in found[0].text
    assert "PVI at station 0+595.423" in found[0].text
    assert found[0].station == pytest.approx(545.423)
    z = grade_line.elevation(profile, [545.422, 545.424, 549.0, 553.589, 553.591])
    assert np.isnan(z).tolist() == [False, True, True, True, False]
    # outside, each curve is what it would be alone
    alone = heights.build(
        ProfileRows("alone", (ProfileRow(400.0, 10.0), ProfileRow(503.590, 12.0, 50.0, 50.0),
                              ProfileRow(595.423, 11.0)))
    )[0]  # fmt: skip
    s = np.linspace(400.0, 545.4, 50)
    np.testing.assert_allclose(
        grade_line.elevation(profile, s), grade_line.elevation(alone, s), rtol=0, atol=1e-12
    )


def test_high_and_low_points_are_not_made_up_where_no_height_is_given():
    points = grade_line.turning_points(overlapping()[0])

    assert all(not 545.423 <= p.station <= 553.590 for p in points)
    assert not any(math.isnan(p.elevation) for p in points)


def test_a_curve_that_reaches_past_a_grade_break_is_said():
    rows = (
        ProfileRow(0.0, 10.0),
        ProfileRow(50.0, 12.0, 30.0, 30.0),
        ProfileRow(70.0, 12.5),
        ProfileRow(200.0, 14.0),
    )
    profile, found = heights.build(ProfileRows("break", rows))

    assert "reaches to station 0+080.000, past the beginning of the PVI at station 0+070" in (
        found[0].text
    )
    assert np.isnan(grade_line.elevation(profile, [69.9, 75.0, 80.1])).tolist() == [
        False,
        True,
        False,
    ]


def test_a_curve_that_reaches_past_the_end_of_the_profile_is_said():
    rows = (ProfileRow(0.0, 10.0), ProfileRow(20.0, 11.0, 30.0, 30.0), ProfileRow(90.0, 9.0))
    profile, found = heights.build(ProfileRows("start", rows))

    assert [f.kind for f in found] == ["vertical curves overlap"]
    assert "vertical curve of the PVI at station 0+020.000 at -0+010.000" in found[0].text
    assert found[0].station == 0.0
    assert "two heights" not in found[0].text
    assert not np.isnan(grade_line.elevation(profile, [0.0, 90.0])).any()

    turned = tuple(dataclasses.replace(row, station=90.0 - row.station) for row in rows[::-1])
    profile, found = heights.build(ProfileRows("end", turned))
    assert [f.kind for f in found] == ["vertical curves overlap"]
    assert "reaches to station 0+100.000, past the beginning of the PVI at station 0+090" in (
        found[0].text
    )
    assert "two heights" not in found[0].text
    assert not np.isnan(grade_line.elevation(profile, [0.0, 90.0])).any()


def test_a_long_curve_is_held_against_every_curve_that_it_reaches():
    """From 0+000 to 0+200 over three short ones, of which no two meet."""
    rows = (
        ProfileRow(0.0, 10.0), ProfileRow(100.0, 12.0, 99.0, 99.0),
        ProfileRow(120.0, 12.0, 5.0, 5.0), ProfileRow(150.0, 13.0, 5.0, 5.0),
        ProfileRow(180.0, 12.0, 5.0, 5.0), ProfileRow(300.0, 14.0), ProfileRow(400.0, 15.0),
    )  # fmt: skip
    profile, found = heights.build(ProfileRows("long", rows))

    told = sorted((round(f.station), "PVI at station 0+100" in f.text) for f in found)
    assert told == [(115, True), (145, True), (175, True)]
    s = np.array([114.0, 116.0, 140.0, 148.0, 160.0, 190.0, 198.9, 199.1, 250.0, 350.0])
    none = [False, True, True, True, True, True, True, False, False, False]
    assert np.isnan(grade_line.elevation(profile, s)).tolist() == none
    # all that nobody designed is one stretch, and what lies beyond it keeps its points
    assert int(np.isnan(profile.elevation).sum()) == 1
    assert [what for _, what in grade_line.curve_points(profile)] == ["PVC", "PVI"]


def test_curves_that_meet_within_a_micrometre_are_not_said_to_overlap():
    """Files round stations to a micrometre; two overlaps 150 m apart stay two stretches."""
    half = 25.0 + 2.5e-7
    rows = (ProfileRow(0.0, 10.0), ProfileRow(50.0, 12.0, half, half),
            ProfileRow(100.0, 11.0, half, half), ProfileRow(200.0, 14.0))  # fmt: skip
    assert heights.build(ProfileRows("touch", rows))[1] == ()

    halves = (30.0, 30.0, 10.0, 30.0, 30.0)
    rows = (
        ProfileRow(0.0, 10.0),
        *(ProfileRow(50.0 * k, 10.0 + k % 2, h, h) for k, h in enumerate(halves, start=1)),
        ProfileRow(400.0, 10.0),
    )
    profile, found = heights.build(ProfileRows("twice", rows))
    assert len(found) == 2
    s = np.array([69.0, 75.0, 81.0, 150.0, 219.0, 225.0, 231.0])
    assert np.isnan(grade_line.elevation(profile, s)).tolist() == [
        False, True, False, False, False, True, False,
    ]  # fmt: skip


def test_two_short_curves_that_only_touch_are_not_told_amid_a_long_one():
    rows = (
        ProfileRow(0.0, 10.0), ProfileRow(100.0, 12.0, 99.0, 99.0),
        ProfileRow(120.0, 12.0, 5.0, 5.0), ProfileRow(130.0, 13.0, 5.0000005, 5.0000005),
        ProfileRow(300.0, 14.0),
    )  # fmt: skip
    _, found = heights.build(ProfileRows("long", rows))

    assert [round(f.station) for f in found] == [115, 125]
    assert all("vertical curve of the PVI at station 0+100" in f.text for f in found)


def test_a_micrometre_past_the_ends_there_is_a_height_and_two_past_there_is_none():
    rows = (ProfileRow(0.0, 10.0), ProfileRow(50.0, 11.0))
    profile, _ = heights.build(ProfileRows("ends", rows))
    z = grade_line.elevation(profile, [-1.5e-6, -0.9e-6, 50.0 + 0.9e-6, 50.0 + 1.5e-6])
    assert np.isnan(z).tolist() == [True, False, False, True]


def test_a_gap_between_a_rise_and_a_fall_is_no_high_point_and_hides_none():
    """Up to the gap, down after it: nobody knows where it turns. A crest on either side stays."""
    rows = (
        ProfileRow(0.0, 10.0), ProfileRow(50.0, 11.0), ProfileRow(80.0, 10.5),
        ProfileRow(200.0, 16.5, 40.0, 40.0), ProfileRow(230.0, 18.0, 40.0, 40.0),
        ProfileRow(400.0, 9.5), ProfileRow(450.0, 12.0), ProfileRow(500.0, 11.0),
    )  # fmt: skip
    profile, _ = heights.build(ProfileRows("gap", rows))
    found = [(p.kind, round(p.station)) for p in grade_line.turning_points(profile)]

    assert ("high", 50) in found
    assert ("low", 80) in found
    assert ("low", 400) in found
    assert ("high", 450) in found
    # the second curve turns past the gap at 0+240, so its crest is real
    assert [one for one in found if 160 < one[1] < 240] == []


def test_far_off_a_profile_that_ends_in_circles_there_is_quietly_no_height():
    """A circle of 60 m has no height 100 m on; numbers there are nobody's, and no warning."""
    rows = (ProfileRow(0.0, 10.0), ProfileRow(4.0, 11.0, radius=60.0), ProfileRow(8.0, 10.0))
    profile, found = heights.build(ProfileRows("circle", rows))

    assert len(found) == 2
    assert np.isfinite(profile.radius).all()
    for read in (grade_line.elevation, grade_line.grade):
        assert np.isnan(read(profile, [-1000.0, -60.0, 68.0, 1000.0])).all()


def test_a_crest_of_any_size_may_be_given_by_its_arc_length():
    angle = 2.0 * math.atan(0.25)
    for radius in (60.0, 0.5):
        rows = (ProfileRow(0.0, 10.0), ProfileRow(4.0, 11.0, arc_length=radius * angle),
                ProfileRow(8.0, 10.0))  # fmt: skip
        profile, _ = heights.build(ProfileRows("arc", rows))
        assert np.nanmin(profile.radius) == pytest.approx(-radius)


def test_curves_that_touch_do_not_overlap():
    rows = (
        ProfileRow(0.0, 10.0),
        ProfileRow(50.0, 12.0, 25.0, 25.0),
        ProfileRow(100.0000004, 11.0, 25.0000006, 25.0000006),
        ProfileRow(200.0, 14.0),
    )
    profile, found = heights.build(ProfileRows("touch", rows))

    assert found == ()
    assert [what for _, what in grade_line.curve_points(profile)] == ["PVC", "PVRC", "PVT"]


@pytest.mark.parametrize(
    ("curve", "words"),
    [
        ({"radius": 1000.0, "arc_length": 36.0}, "the file says arc length 36.0000 m, its radius"),
        ({"radius": 1000.0, "arc_length": 34.0}, "the file says arc length 34.0000 m, its radius"),
        # by 1000 (atan 0.015 + atan 0.02) it is 34.9962 m long
        ({"radius": 1000.0, "arc_length": 34.9977}, "arc length 34.9977 m, its radius"),
        ({"radius": -1000.0}, "the file marks a crest, the grades make a sag"),
    ],
)
def test_a_circular_curve_that_contradicts_itself_is_found(curve, words):
    rows = (ProfileRow(0.0, 12.0), ProfileRow(100.0, 10.0, **curve), ProfileRow(200.0, 11.5))
    _, found = heights.build(ProfileRows("odd", rows))

    assert [(f.kind, f.severity) for f in found] == [("vertical curve", "person")]
    assert words in found[0].text


def test_a_circular_curve_may_be_given_by_its_arc_length_alone():
    angle = math.atan(0.015) + math.atan(0.02)
    rows = (
        ProfileRow(0.0, 12.0), ProfileRow(100.0, 10.0, arc_length=1500.0 * angle),
        ProfileRow(200.0, 11.5),
    )  # fmt: skip
    profile, found = heights.build(ProfileRows("arc", rows))

    assert found == ()
    assert profile.radius[1] == pytest.approx(1500.0)


def test_a_circular_curve_without_a_change_of_grade_is_none_and_said():
    rows = (ProfileRow(0.0, 10.0), ProfileRow(50.0, 11.0, radius=900.0), ProfileRow(100.0, 12.0))
    profile, found = heights.build(ProfileRows("straight", rows))

    assert "the grade is the same on both sides" in found[0].text
    assert float(grade_line.elevation(profile, 75.0)) == 11.5
    # nothing else is said of it, whatever arc it states
    rows = (rows[0], dataclasses.replace(rows[1], arc_length=20.0), rows[2])
    assert len(heights.build(ProfileRows("straight", rows))[1]) == 1


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([(0, 10)], "profile 'bad': it has 1 PVIs. Give it at least two"),
        ([(0, 10), (50, 11), (50, 12)], "0\\+050.000: it does not lie ahead of the PVI at station"),
        ([(0, 10), (50, 11), (40, 12)], "PVI at station 0\\+040.000: it does not lie ahead"),
        ([(0, 10), (50, math.nan), (90, 12)], "0\\+050.000: elevation nan"),
        ([(0, 10), (50, 11, 10, 0), (90, 12)], "halves of its curve are 10 m and 0 m"),
        ([(0, 10), (50, 11, -5, 5), (90, 12)], "halves of its curve are -5 m and 5 m"),
        ([(0, 10), (50, 11, -5, 0), (90, 12)], "halves of its curve are -5 m and 0 m"),
        ([(0, 10), (50, 11, 0, -5), (90, 12)], "halves of its curve are 0 m and -5 m"),
        ([(0, 10), (50, math.inf, 3, 4), (90, 12)], r"elevation inf, halves \(3, 4\)"),
        ([(0, 10, 0.5, 0.5), (90, 12)], "it is the first or last of the profile"),
        ([(0, 10), (50, 11, 0.5, 0.5, 500), (90, 12)], "radius 500 m, halves 0.5 m and 0.5"),
        ([(0, 10, 5, 5), (90, 12)], "0\\+000.000: it is the first or last of the profile"),
        ([(0, 10), (90, 12, 0, 0, 500)], "0\\+090.000: it is the first or last of the profile"),
        ([(0, 10), (50, 11, 5, 5, 500), (90, 12)], "radius 500 m, halves 5 m and 5"),
        ([(0, 10), (50, 11, 0, 0, 0.0), (90, 12)], "its circular curve has radius 0 m"),
    ],
)
def test_rows_that_make_no_profile_are_refused_by_name(rows, message):
    points = tuple(ProfileRow(*row) for row in rows)

    with pytest.raises(DesignError, match=message):
        heights.build(ProfileRows("bad", points))


def test_the_row_of_the_file_is_named():
    rows = (
        ProfileRow(0, 10, where="profile.csv line 2"),
        ProfileRow(0, 11, where="profile.csv line 3"),
    )

    with pytest.raises(DesignError, match=r"profile.csv line 3 \(PVI at station 0\+000.000\): it"):
        heights.build(ProfileRows("bad", rows))
