"""A control file with its columns exchanged or in feet is named, whatever the shots were."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.checks.known_points import refuse_slipped_control
from pipeline.checks.scale import box_around
from pipeline.errors import InputError
from pipeline.model import make_shots, texts

# a street of 400 m on a national grid far from its origin, where the two feet lie metres apart
EAST, NORTH = 25_496_000.0, 6_672_000.0
X = EAST + np.array([0.0, 120.0, 250.0, 400.0])
Y = NORTH + np.array([0.0, 40.0, -30.0, 60.0])
Z = np.array([101.8, 102.2, 103.1, 101.9])
NAMES = texts(["K1", "K2", "K3", "K4"])
STREET = box_around([EAST - 10.0, EAST + 410.0], [NORTH - 60.0, NORTH + 80.0], 50.0)
ABOVE = np.full(9, 0.05)
FOOT, SURVEY_FOOT = 0.3048, 1200.0 / 3937.0  # exact by definition


def checked(n=2):
    return make_shots(X[:n] + 0.004, Y[:n], Z[:n], id=texts(["c1", "c2"][:n]), note=NAMES[:n])


def record(easting, northing, elevation=Z):
    return make_shots(easting, northing, elevation, id=NAMES)


NOBODY = make_shots([], [], [])


@pytest.mark.parametrize("shots", [checked(), NOBODY])
def test_control_as_it_should_be_passes(shots):
    refuse_slipped_control(shots, record(X, Y), STREET, ABOVE, "control.csv")


def test_a_bad_set_up_is_no_slip_of_the_file():
    shots = checked()
    moved = make_shots(shots.easting + 3.0, shots.northing, shots.elevation, id=shots.id,
                       note=shots.note)  # fmt: skip
    refuse_slipped_control(moved, record(X, Y), STREET, ABOVE, "control.csv")


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        (record(Y, X), "with northing and easting exchanged"),
        (record(X / FOOT, Y / FOOT, Z / FOOT), "read as feet"),
        (record(X / SURVEY_FOOT, Y / SURVEY_FOOT, Z / SURVEY_FOOT), "read as US survey feet"),
        (record(Y / FOOT, X / FOOT), "read as feet, with northing and easting exchanged"),
    ],
)
def test_each_slip_is_named_and_the_two_feet_are_told_apart(stated, words):
    with pytest.raises(InputError, match=rf"shots have them only {words}\. Write") as found:
        refuse_slipped_control(checked(), stated, STREET, ABOVE, "control.csv")
    assert "set up" not in str(found.value)


def test_without_a_check_shot_the_street_shows_it_but_not_which_foot():
    stated = record((X - EAST + 5000.0) / FOOT, (Y - NORTH + 3000.0) / FOOT)
    near_zero = box_around([5000.0, 5400.0], [2950.0, 3080.0], 50.0)
    with pytest.raises(InputError, match="which of the two feet does not show here"):
        refuse_slipped_control(NOBODY, stated, near_zero, ABOVE, "control.csv")


def test_heights_alone_in_feet_are_named_only_where_the_shots_stand_on_the_design():
    stated = record(X, Y, Z / FOOT)
    with pytest.raises(InputError, match="if they are feet"):
        refuse_slipped_control(checked(), stated, STREET, ABOVE, "control.csv")
    # all heights of the day in feet too: the shots are the ones to doubt, not the file
    refuse_slipped_control(checked(), stated, STREET, ABOVE + 200.0, "control.csv")
