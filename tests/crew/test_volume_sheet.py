"""Volumes in words and rows, from figures that anybody can check."""

import numpy as np
import pytest

from pipeline.compare.balance import Balance, Stretch
from pipeline.compare.cross_sections import SectionVolumes
from pipeline.compare.intervals import Intervals
from pipeline.compare.next_shots import NextShots
from pipeline.compare.roughness import Roughness
from pipeline.compare.uncertainty import StandardError, Uncertainty
from pipeline.crew import volume_sheet
from pipeline.model import Quantity, texts
from pipeline.settings_earthwork import Bulking, Volumes

QUANTITY = Quantity("clay subgrade", 118.2, 40.0, 600.0, 300.0, 900.0, 12.0, 0.0869)


def sure(cut=(2.0, 3.0, 2.7), missed=0.0, thinned=False):
    one = StandardError(600.0, *cut, missed)
    net = StandardError(900.0, *cut)
    return Uncertainty("clay subgrade", one, one, net, Roughness((), 90), thinned)


def test_plus_and_minus_holds_95_of_100(published):
    """sqrt(2² + 3² + 2.7²) = 4.51, times 1.96 = 8.8."""
    published("REF-AC-3").check("vertical", volume_sheet.NINETY_FIVE)
    said = volume_sheet.uncertainty_lines(QUANTITY, sure())
    assert said[0] == "cut 118 m3 +- 9, fill 40 m3 +- 9 (95 of 100 cases)"
    assert said[1].startswith("mean C 0.087 m +- 10 mm: bench and set-up 5.9, ground between")
    small = volume_sheet.plus_minus(3.2, StandardError(100.0, 0.1, 0.2, 0.3))
    assert small == "3.2 m3 +- 0.7"


def test_what_the_triangles_miss_is_said_where_it_counts():
    said = " ".join(volume_sheet.uncertainty_lines(QUANTITY, sure(missed=6.0)))
    assert "cut and fill are likely 6.0 m3 larger each: the ground waves" in said
    assert "likely" not in " ".join(volume_sheet.uncertainty_lines(QUANTITY, sure(missed=0.5)))
    assert "only some were used" in volume_sheet.uncertainty_lines(QUANTITY, sure(thinned=True))[-1]


def test_too_few_shots_are_said():
    nan = float("nan")
    said = volume_sheet.uncertainty_lines(QUANTITY, sure((1.0, nan, 1.0)))
    assert said[0].startswith("cut 118.2 m3, too few shots to say how sure")
    assert len(said) == 1


def test_three_states():
    """118.2 bank is 169.0 loose and 106.4 compacted; 40 compacted need 44.4 of the bank."""
    assert volume_sheet.state_lines(QUANTITY, Bulking()) == (
        "cut m3: 118.2 bank, 169.0 loose, 106.4 compacted",
        "fill m3: 44.4 bank, 63.6 loose, 40.0 compacted",
    )


def test_interval_rows():
    inf = float("inf")
    got = volume_sheet.interval_table(
        Intervals(
            "clay subgrade", texts(["", "", ""]), [-inf, 0, 20], [0, 20, 40], [0.1, 5, 0],
            [0, 1.25, 0], [1, 80, 0], [0, 40, 0], [1, 125, 0], [0, 3, 128],
        )
    )  # fmt: skip
    assert got.name == "volumes_clay_subgrade"
    assert got.rows[0][:2] == ("before", "0+000.0")
    assert got.rows[1] == (
        "0+000.0", "0+020.0", "", "5.00", "1.25", "80.0", "40.0", "125.0", "3.0", "C 0.030",
    )  # fmt: skip
    assert got.rows[2][-1] == ""


def test_section_rows_and_words():
    found = SectionVolumes(
        "clay subgrade", [0, 5], [5, 10], [37.5, 37.5], [0, 0], [50, 50], [0, 0], [0.5, 0], [0, 0],
        [50, 50], [0, 0], [0, 0.8],
    )  # fmt: skip
    said = volume_sheet.section_lines(found)
    assert said[0] == (
        "cut 100.0 m3 exact, average end area 75.0 (-25.0 %), prismoidal 100.0 (+0.0 %)"
    )
    assert "more than 3 % off" in said[1]
    assert said[2] == "fill 0.0 m3 exact, average end area 0.0, prismoidal 0.0"
    assert volume_sheet.section_table(found).rows[0] == (
        "0+000.0", "0+005.0", "37.50", "50.00", "0.50", "50.00", "0.00", "0.00", "0.00", "0.00",
        "0.00",
    )  # fmt: skip
    assert said[3] == (
        "  in 1 of 2 stretches part of the width is not surveyed and counts nothing, most 0.80 m"
        " between 0+005.0 and 0+010.0"
    )


def test_next_shots_are_a_walk():
    got = volume_sheet.next_shot_table(NextShots([141.6, 37.2], [2.81, -0.3], [0.98, 0.955]))
    assert got.rows == (("1", "0+141.6", "R", "2.8", "98"), ("2", "0+037.2", "L", "0.3", "96"))


def test_balance_in_words():
    verdicts = ["stretch", "good", "left alone", "left alone", "spot", "not shown"]
    found = Balance(
        np.arange(6) * 5.0, np.arange(6) * 5.0 + 5, [0.03, 0, 0.01, -0.01, 0.03, 0],
        np.zeros(6), [0.001] * 5 + [np.inf], [20] * 6, texts(verdicts),
        (Stretch(0.0, 65.0, 643.0, 0.0195, 12.5), Stretch(170.0, 265.0, 940.0, -0.0173, -16.3),
         Stretch(300.0, 320.0, 200.0, 0.002, 0.4)),
    )  # fmt: skip
    assert volume_sheet.balance_lines(found, Volumes()) == (
        "0+000.0 to 0+065.0: take off 2.0 cm over 643 m2, 12.5 m3",
        "0+170.0 to 0+265.0: put on 1.5 cm over 940 m2, 16.3 m3",
        "0+300.0 to 0+320.0: less than half a centimetre off over 200 m2, 0.4 m3",
        "2 stretches high or low by themselves, evened out by their neighbours: left alone",
        "1 stretch so far off that they are bladed into their neighbours",
        "1 stretch with too few shots to say that the mean is good",
    )
    rows = volume_sheet.balance_table(found).rows
    assert rows[0] == ("0+000.0", "0+005.0", "30", "0", "1.0", "20", "stretch")
    assert rows[5][4] == ""
    calm = Balance([0.0], [5.0], [0.0], [0.0], [0.001], [20], texts(["good"]), ())
    assert volume_sheet.balance_lines(calm, Volumes()) == ("the mean over 40 m is good everywhere",)


@pytest.mark.parametrize(
    ("depth", "words"), [(0.0125, "take off 1.5 cm"), (-0.011, "put on 1.0 cm")]
)
def test_depths_are_rounded_once_to_half_a_centimetre(depth, words):
    found = Balance(
        [0.0], [5.0], [depth], [depth], [0.001], [20], texts(["stretch"]),
        (Stretch(0.0, 5.0, 50.0, depth, 50 * depth),),
    )  # fmt: skip
    assert words in volume_sheet.balance_lines(found, Volumes())[0]
