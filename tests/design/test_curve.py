"""The elements of curves against published examples, each with its source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.design import alignment as line
from pipeline.design.curve import chord_step, circular_curve, profile_step, spiral_curve
from pipeline.errors import DesignError
from pipeline.model import AlignmentRows, ElementRow


def radius_of_degree(degree):
    """Arc definition: the angle that 100 ft of arc subtend."""
    return 100.0 / math.radians(degree)


def test_arc_definition_curve(published):
    ref = published("REF-HC-1")
    radius = radius_of_degree(ref.inputs["D_deg_arc"])
    curve = circular_curve(radius, math.radians(ref.inputs["I_deg"]))
    begin = ref.inputs["PI_sta"] - curve.tangent

    for key, got in {
        "T": curve.tangent, "L": curve.length, "LC": curve.chord, "E": curve.external,
        "M": curve.middle_ordinate, "PC": begin, "PT": begin + curve.length,
    }.items():  # fmt: skip
        ref.check(key, got)


def test_deflections_from_the_beginning_of_the_curve(published):
    ref = published("REF-HC-1")
    radius, begin = radius_of_degree(ref.inputs["D_deg_arc"]), ref.expected["PC"]
    arc = ElementRow("arc", ref.expected["L"], radius, radius, +1, start=(0.0, 0.0))
    alignment, _ = line.build(AlignmentRows("curve", (arc,), begin, 0.0))

    stations = [6300.0, 6400.0, 6500.0, 6600.0, ref.expected["PT"]]
    easting, northing, _ = line.point_at(alignment, stations)

    ref.check("defl_deg", np.degrees(np.arctan2(easting, northing)))


def test_sharp_curve_from_pi_to_pt(published):
    ref = published("REF-HC-2")
    curve = circular_curve(
        radius_of_degree(ref.inputs["D_deg_arc"]), math.radians(ref.inputs["I_deg"])
    )
    begin = ref.inputs["PI_sta"] - curve.tangent

    ref.check("T", curve.tangent)
    ref.check("L", curve.length)
    ref.check("PC", begin)
    ref.check("PT", begin + curve.length)


def test_middle_ordinate_of_a_sight_line(published):
    ref = published("REF-HC-4")
    curve = circular_curve(ref.inputs["R"], ref.inputs["S"] / ref.inputs["R"])

    ref.check("M", curve.middle_ordinate)


def test_arc_length(published):
    ref = published("REF-HC-6")

    ref.check("L", circular_curve(ref.inputs["R"], math.radians(ref.inputs["delta_deg"])).length)


def test_three_centred_curve_as_an_alignment(published):
    ref = published("REF-HC-3")
    r1, r2 = ref.inputs["R1"], ref.inputs["R2"]
    delta, delta1 = math.radians(ref.inputs["delta_deg"]), math.radians(ref.expected["delta1"])
    elements = (
        ElementRow("arc", r1 * delta1, r1, r1, +1, start=(0.0, 0.0)),
        ElementRow("arc", r2 * (delta - 2 * delta1), r2, r2, +1),
        ElementRow("arc", r1 * delta1, r1, r1, +1),
    )
    alignment, found = line.build(AlignmentRows("compound", elements, 0.0, 0.0))
    length = alignment.station[-1]
    easting, northing, azimuth = line.point_at(alignment, [0.0, length / 2, length])

    # the tangents meet on the first one, which is the northing axis
    along = easting[2] / math.sin(azimuth[2])
    pi = northing[2] - along * math.cos(azimuth[2])
    ref.check("T", pi)
    ref.check("T", along)
    ref.check("E", math.hypot(easting[1], northing[1] - pi))
    assert found == ()
    assert [what for _, what in line.key_points(alignment)] == ["start", "PCC", "PCC", "end"]


def test_symmetric_spiral_curve_spiral(published):
    ref = published("REF-SP-1")
    curve = spiral_curve(ref.inputs["R"], ref.inputs["Ls"], math.radians(ref.inputs["delta_deg"]))
    ts = ref.inputs["PI_sta"] - curve.tangent
    sc, cs = ts + ref.inputs["Ls"], ts + ref.inputs["Ls"] + curve.arc_length

    for key, got in {
        "theta_s": math.degrees(curve.theta), "p": curve.shift, "k": curve.lead,
        "Ts": curve.tangent, "Es": curve.external, "Lc": curve.arc_length,
        "TS": ts, "SC": sc, "CS": cs, "ST": cs + ref.inputs["Ls"],
    }.items():  # fmt: skip
        ref.check(key, got)


def test_spiral_into_a_three_degree_curve(published):
    ref = published("REF-SP-2")
    curve = spiral_curve(
        radius_of_degree(ref.inputs["D_deg_arc"]),
        ref.inputs["Ls"],
        math.radians(ref.inputs["delta_deg"]),
    )
    ts = ref.inputs["PI_sta"] - curve.tangent
    cs = ts + ref.inputs["Ls"] + curve.arc_length

    for key, got in {
        "theta_s": math.degrees(curve.theta), "X": curve.x, "Y": curve.y, "p": curve.shift,
        "k": curve.lead, "Ts": curve.tangent, "TS": ts, "SC": ts + ref.inputs["Ls"],
        "CS": cs, "ST": cs + ref.inputs["Ls"],
    }.items():  # fmt: skip
        ref.check(key, got)


def test_spiral_curve_spiral_closes_as_an_alignment(published):
    """The published elements and the chained elements meet: PI, tangents and stations."""
    ref = published("REF-SP-1")
    r, ls, delta = ref.inputs["R"], ref.inputs["Ls"], math.radians(ref.inputs["delta_deg"])
    elements = (
        ElementRow("clothoid", ls, math.inf, r, +1, start=(0.0, 0.0)),
        ElementRow("arc", r * delta - ls, r, r, +1),
        ElementRow("clothoid", ls, r, math.inf, +1),
    )
    alignment, _ = line.build(AlignmentRows("scs", elements, ref.expected["TS"], 0.0))
    easting, northing, azimuth = line.point_at(alignment, alignment.station[-1])

    along = easting / math.sin(azimuth)
    ref.check("Ts", along)
    ref.check("Ts", northing - along * math.cos(azimuth))
    points = {what: station for station, what in line.key_points(alignment)}
    ref.check("SC", points["SC"])
    ref.check("CS", points["CS"])
    ref.check("ST", points["end"])


def test_metric_shift(published):
    # only the shift: the page's tangent and deflections are small-angle values, see its notes
    ref = published("REF-SP-4")
    curve = spiral_curve(ref.inputs["R"], ref.expected["Ls"], math.radians(ref.inputs["delta_deg"]))

    ref.check("shift", curve.shift)


def test_unit_spiral(published):
    ref = published("REF-SP-6")
    theta = math.radians(ref.inputs["theta_s_deg"])
    curve = spiral_curve(0.5 / theta, 1.0, 1.0)

    ref.check("p_unit", curve.shift)
    ref.check("k_unit", curve.lead)


def test_curb_return_of_nine_metres():
    # L = R * D; the quarter point by the same
    curve = circular_curve(9.0, math.pi / 2)

    assert curve.length == pytest.approx(14.137, abs=5e-4)
    assert curve.length / 4 == pytest.approx(3.534, abs=5e-4)
    assert curve.tangent == pytest.approx(9.0, abs=1e-12)


@pytest.mark.parametrize(("radius", "ordinate_mm"), [(9.0, 125.9), (60.0, 18.8), (150.0, 7.5)])
def test_mid_ordinate_of_a_three_metre_chord(radius, ordinate_mm):
    # R (1 - cos(D / 2)) with sin(D / 2) = 1.5 / R, by hand
    angle = 2 * math.asin(1.5 / radius)

    assert circular_curve(radius, angle).middle_ordinate * 1000 == pytest.approx(
        ordinate_mm, abs=0.05
    )


@pytest.mark.parametrize("radius", [9.0, 60.0, 250.0])
@pytest.mark.parametrize("sagitta", [0.001, 0.005, 0.05])
def test_the_step_keeps_the_sagitta_and_is_no_shorter_than_needed(radius, sagitta):
    step = chord_step(radius, sagitta)

    # the true sagitta of that much arc, from the circle itself
    true = radius * (1 - math.cos(step / radius / 2))
    assert true <= sagitta
    assert sagitta - true < sagitta**2 / (6 * radius)


def test_steps_by_hand():
    # sqrt(8 R m): R = 9 m: 0.6 m for 5 mm, R = 10 m: 0.9 m for 10 mm
    # sqrt(800 K m): K = 10: 20 m hides 50 mm
    assert chord_step(9.0, 0.005) == pytest.approx(0.6, abs=0.05)
    assert chord_step(10.0, 0.010) == pytest.approx(0.9, abs=0.05)
    assert profile_step(10.0, 0.050) == pytest.approx(20.0, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: circular_curve(0.0, 1.0), "curve: its radius is 0.0. Give a radius above zero"),
        (lambda: circular_curve(10.0, math.pi), "deflection is 180.0000°. Give an angle between"),
        (lambda: circular_curve(math.nan, 1.0), "its radius is nan"),
        (lambda: spiral_curve(100.0, 0.0, 1.0), "spiral: its length is 0.0"),
        (lambda: spiral_curve(100.0, 60.0, 0.5), "two spirals turn 34.3775°, the whole curve only"),
    ],
)
def test_what_is_no_curve_is_refused(call, message):
    with pytest.raises(DesignError, match=message):
        call()
