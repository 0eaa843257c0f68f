"""Loads, tonnes and tankers by hand."""

import pytest

from pipeline.crew.pregrade.loads import clay_loads, gravel_tonnes, tanker_loads
from pipeline.errors import JobError
from pipeline.settings_earthwork import Bulking, Hauling


def test_sixteen_cubic_metres():
    """Worked by hand: 2.23 boxes so 3 by volume, 31.5 t so 2 by mass, 3 in all."""
    got = clay_loads(16.0, 0.0, Hauling(), Bulking())
    assert got.loose_m3 / (12 * 0.95) == pytest.approx(2.23, abs=0.005)
    assert got.tonnes == pytest.approx(31.5, abs=0.05)
    assert (got.by_box, got.by_payload, got.count, got.governs) == (3, 2, 3, "box")
    assert got.words == "3 loads (box governs)"


def test_the_remaining_area_of_the_worked_example():
    """Worked by hand: 2400 m2 and 5.7 mm: 13.7 m3, 21.8 loose, 2 loads +- 1."""
    got = clay_loads(2400 * 0.0057, 2400 * 0.0038, Hauling(), Bulking())
    assert got.loose_m3 == pytest.approx(21.8, abs=0.1)
    assert got.words == "2 loads +- 1 (box governs)"


def test_a_weak_truck_is_full_before_its_box_is():
    got = clay_loads(16.0, 0.0, Hauling(payload_t=8.0), Bulking())
    assert (got.by_box, got.by_payload, got.governs) == (3, 4, "payload")


def test_whole_boxes_are_not_rounded_up():
    box = 12 * 0.95 / (1.43 / 0.90)
    assert clay_loads(3 * box, 0.0, Hauling(payload_t=100.0), Bulking()).by_box == 3
    assert clay_loads(0.0, 0.0, Hauling(), Bulking()).count == 0
    assert clay_loads(0.1, 0.0, Hauling(), Bulking()).words == "1 load (box governs)"


def test_doubt_is_never_shown_as_none():
    assert clay_loads(16.0, 0.01, Hauling(), Bulking()).give_or_take == 1
    assert clay_loads(160.0, 40.0, Hauling(), Bulking()).give_or_take == 6


def test_gravel_and_water():
    """By hand: a centimetre over 1600 m2 is 35 t. 134 m3 of water fill 14 tankers of 10 m3."""
    assert gravel_tonnes(16.0, Hauling()) == pytest.approx(35.2)
    assert tanker_loads(134_000.0, Hauling()) == 14
    assert tanker_loads(130_000.0, Hauling()) == 13


@pytest.mark.parametrize(
    ("volume", "sd", "hauling", "message"),
    [
        (-1.0, 0.0, Hauling(), r"loads: asked for -1 \+- 0 m3"),
        (float("nan"), 0.0, Hauling(), "loads: asked for nan"),
        (1.0, 0.0, Hauling(box_m3=0.0), "hauling: found a box of 0 m3"),
    ],
)
def test_nonsense_is_refused(volume, sd, hauling, message):
    with pytest.raises(JobError, match=message):
        clay_loads(volume, sd, hauling, Bulking())
