"""Shots off the job, swapped or far off the design are named, never deleted."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.place import Reach, distance_outside, off_design, off_job
from pipeline.errors import InputError
from pipeline.model import Feet, make_shots

REACH = Reach(first_station=0.0, last_station=100.0, half_width_m=5.0)


def feet(station, offset):
    n = len(station)
    return Feet(station, offset, np.ones(n), np.zeros(n))


def shots(n):
    return make_shots(np.arange(n), np.arange(n), np.zeros(n), files=("morning.csv",))


def test_distance_outside_is_that_to_the_nearest_side_end_or_corner():
    places = feet([50.0, 50.0, -3.0, 104.0], [4.0, -8.0, 0.0, 8.0])

    # plane geometry: inside, beside, before the start, beyond a corner (3-4-5)
    assert distance_outside(places, REACH).tolist() == [0.0, 3.0, 3.0, 5.0]


def test_a_shot_a_thousand_kilometres_away_is_listed_with_its_distance():
    away = feet([50.0, 60.0, 70.0, 1_000_100.0], [0.0, 0.0, 0.0, 0.0])
    off, found = off_job(shots(4), away, away, REACH, 50.0)

    assert off.tolist() == [False, False, False, True]
    assert "lies 1000.0 km outside" in found[0].text
    assert found[0].points == ("4",)
    assert found[0].line == 4


def test_one_swapped_shot_is_named_as_swapped():
    as_read = feet([50.0, 60.0, 70.0, 9000.0], [0.0, 0.0, 0.0, 4000.0])
    mirrored = feet([9000.0, 9000.0, 9000.0, 80.0], [4000.0, 4000.0, 4000.0, 1.0])
    _, found = off_job(shots(4), as_read, mirrored, REACH, 50.0)

    assert "northing and easting look swapped" in found[0].text


def test_a_file_with_swapped_columns_is_refused():
    as_read = feet([9000.0] * 4, [4000.0] * 4)
    mirrored = feet([50.0] * 4, [0.0] * 4)

    with pytest.raises(
        InputError, match=r"morning.csv: 4 of 4 shots .*northing and easting exchanged"
    ):
        off_job(shots(4), as_read, mirrored, REACH, 50.0)


def test_a_file_of_another_job_is_refused():
    away = feet([9000.0] * 4, [4000.0] * 4)

    with pytest.raises(InputError, match="none of its 4 shots is on this job"):
        off_job(shots(4), away, away, REACH, 50.0)


def test_a_file_of_another_job_beside_a_good_one_is_refused():
    places = feet([50.0] * 3 + [9000.0] * 3, [0.0] * 6)
    both = make_shots(
        range(6), range(6), [0.0] * 6, file=[0] * 3 + [1] * 3, files=("a.csv", "b.csv")
    )

    with pytest.raises(InputError, match=r"b\.csv: none of its 3 shots"):
        off_job(both, places, places, REACH, 50.0)


def test_a_shot_far_off_the_design_is_listed_and_undesigned_ground_is_not():
    ground = make_shots([1, 2, 3], [1, 2, 3], [10.0, 13.0, 13.0])
    off, found = off_design(
        ground, feet([1.0, 2.0, 3.0], [0.0] * 3), np.array([10.1, 10.0, np.nan]), 2.0
    )

    assert off.tolist() == [False, True, False]
    assert "stands 3.00 m above the design" in found[0].text
