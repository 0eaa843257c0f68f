"""Units, axes and origins of a whole file."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.scale import (
    box_around,
    height_findings,
    origin_findings,
    refuse_slipped_files,
    slipped_shots,
)
from pipeline.errors import InputError
from pipeline.model import make_shots, texts

RNG = np.random.default_rng(3)
EAST = 305_240.0 + RNG.uniform(0, 400, 50)
NORTH = 6_103_110.0 + RNG.uniform(0, 90, 50)
BOX = box_around(EAST, NORTH, 50.0)
FOOT = 0.3048
"""International foot in metres, by definition."""


def given(east, north, name="morning.csv"):
    return make_shots(east, north, np.zeros(len(east)), files=(name,))


@pytest.mark.parametrize(
    ("east", "north", "words"),
    [
        (NORTH, EAST, "the file has northing and easting exchanged"),
        (EAST / FOOT, NORTH / FOOT, "the file is in feet and read as metres"),
        (EAST * FOOT, NORTH * FOOT, "the file is in metres and read as feet"),
        (NORTH / FOOT, EAST / FOOT, "feet and read as metres, and has northing and easting exch"),
        (EAST - 300_000.0, NORTH - 6_100_000.0, r"another origin: \+300000 m in easting"),
        (EAST + 1_000_000.0, NORTH, r"another origin: -1000000 m in easting, \+0 m in northing"),
    ],
)
def test_a_slipped_file_is_refused_by_name(east, north, words):
    # six fixtures, correct verdict, no silent conversion
    with pytest.raises(
        InputError, match=rf"morning.csv: its 50 shots lie on the job only if.*{words}"
    ):
        refuse_slipped_files(given(east, north), BOX)


def test_a_good_file_a_foreign_one_and_a_short_one_pass():
    assert refuse_slipped_files(given(EAST, NORTH), BOX) is None
    assert refuse_slipped_files(given(EAST + 4321.0, NORTH - 987.0), BOX) is None
    assert refuse_slipped_files(given(NORTH[:2], EAST[:2]), BOX) is None


def test_chance_seldom_makes_another_jobs_file_a_round_shift():
    rng = np.random.default_rng(8)
    refused = 0
    for _ in range(300):
        try:
            refuse_slipped_files(
                given(EAST + rng.uniform(-1e6, 1e6), NORTH + rng.uniform(-1e6, 1e6)), BOX
            )
        except InputError:
            refused += 1

    # (2 x 50 m of margin and what the file is smaller than it, in 10 km) squared
    assert refused <= 2


def test_single_shots_in_feet_are_named():
    east, north = EAST.copy(), NORTH.copy()
    east[7], north[7] = east[7] / FOOT, north[7] / FOOT
    shots = given(east, north)
    off = ~BOX.holds(shots.easting, shots.northing)
    (finding,) = slipped_shots(shots, off, BOX)

    assert finding.points == ("8",)
    assert "1 shot lies on the job only if it is in feet" in finding.text
    assert slipped_shots(shots, np.zeros(50, dtype=bool), BOX) == ()


RECORD = make_shots([1000.0, 1200.0, 1100.0], [2000.0, 2000.0, 2100.0], [100.0, 101.0, 102.0],
                    id=texts(["K1", "K2", "K3"]))  # fmt: skip


def reshot(shift, names=("K1", "K2", "K3"), noise=0.0):
    rng = np.random.default_rng(2)
    moved = [
        getattr(RECORD, axis) + by + noise * rng.normal(size=3)
        for axis, by in zip(("easting", "northing", "elevation"), shift, strict=True)
    ]
    return make_shots(*moved, note=texts(names), files=("m.csv",))


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        ((500_000.0, 0.0, 0.0), "easting +500000.000 m (a round +500000)"),
        ((0.0, -10_000_000.0, 0.0), "northing -10000000.000 m (a round -10000000)"),
        ((0.0, 0.0, 10.0), "elevation +10.000 m (a round +10)"),
        ((123.456, 0.0, -27.319), "easting +123.456 m, elevation -27.319 m"),
    ],
)
def test_a_shift_of_all_known_points_is_said_and_whether_it_is_round(shift, words):
    (finding,) = origin_findings(reshot(shift), RECORD, 1.0)

    assert finding.severity == "stop"
    assert f"m.csv: 3 known points all stand off by {words}" in finding.text


def test_noise_another_shift_each_or_one_point_is_no_origin():
    assert origin_findings(reshot((0, 0, 0), noise=0.01), RECORD, 1.0) == ()
    assert origin_findings(reshot((50.0, 0, 0), noise=3.0), RECORD, 1.0) == ()
    assert origin_findings(reshot((50.0, 0, 0), names=("K1", "x", "y")), RECORD, 1.0) == ()


DESIGN = 101.0 + np.linspace(0, 2.5, 40)


@pytest.mark.parametrize(
    ("heights", "words"),
    [
        (DESIGN / FOOT, "if multiplied by 0.3048: its heights look like feet read as metres"),
        (DESIGN * FOOT, "if multiplied by 3.2808: its heights look like metres read as feet"),
        # on a datum of its own the slope alone shows it
        ((DESIGN - 80.0) / FOOT, " for each unit of the design"),
    ],
)
def test_heights_in_feet_on_a_metric_job_stop(heights, words):
    noisy = heights + np.random.default_rng(5).normal(0, 0.03, 40)
    shots = make_shots(range(40), [0] * 40, noisy, files=("m.csv",))
    (finding,) = height_findings(shots, DESIGN, np.ones(40, dtype=bool))

    assert finding.severity == "stop"
    assert words in finding.text
    slope = float(finding.text.split("they rise ")[1].split()[0]) if "rise" in finding.text else 0
    assert slope in (0, pytest.approx(1 / FOOT, abs=0.05))


@pytest.mark.parametrize("off", [0.0, 0.3, -0.9, 5.0])
def test_a_cut_or_a_datum_is_no_unit(off):
    noisy = DESIGN + off + np.random.default_rng(6).normal(0, 0.05, 40)
    shots = make_shots(range(40), [0] * 40, noisy)

    assert height_findings(shots, DESIGN, np.ones(40, dtype=bool)) == ()


def test_without_design_or_ground_nothing_is_concluded():
    shots = make_shots(range(40), [0] * 40, DESIGN / FOOT)

    assert height_findings(shots, np.full(40, np.nan), np.ones(40, dtype=bool)) == ()
    assert height_findings(shots, DESIGN, np.zeros(40, dtype=bool)) == ()
