"""The nouns keep what they were given, and nobody can change it under them."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import InputError, LathError
from pipeline.model import NO_LINES, Linework, join_lines, join_shots, make_shots, texts


def test_a_noun_copies_and_locks_its_arrays():
    easting = np.array([1.0, 2.0])
    shots = make_shots(easting, [3.0, 4.0], [5.0, 6.0])
    easting[0] = 99.0

    assert shots.easting.tolist() == [1.0, 2.0]
    with pytest.raises(ValueError, match="read-only"):
        shots.easting[0] = 7.0


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_the_point_that_is_not_finite_is_named(bad):
    with pytest.raises(InputError, match=r"a.csv line 7 \(point P9\): E 1.0, N 2.0, Z"):
        make_shots([1.0], [2.0], [bad], id=texts(["P9"]), line=[7], files=("a.csv",))


def test_columns_of_different_length_are_a_fault_of_the_code():
    with pytest.raises(ValueError, match=r"northing has shape \(1,\), expected \(2,\)"):
        make_shots([1.0, 2.0], [3.0], [5.0, 6.0])


def test_joined_shots_still_know_their_own_file_and_line():
    one = make_shots([1.0], [1.0], [1.0], files=("one.csv",))
    two = make_shots([2.0, 3.0], [2.0, 3.0], [2.0, 3.0], files=("two.csv",))
    joined = join_shots([one, two])

    assert [joined.where(row) for row in range(3)] == [
        "one.csv line 1 (point 1)", "two.csv line 1 (point 1)", "two.csv line 2 (point 2)",
    ]  # fmt: skip
    assert joined.take([2]).where(0) == "two.csv line 2 (point 2)"
    assert len(join_shots([])) == 0


def test_joined_lines_keep_their_points_apart():
    line = Linework([0.0, 1.0], [0.0, 0.0], [5.0, 5.0], [-1, -1], [0, 2], ("a",), ("break",))
    joined = join_lines([line, NO_LINES, line])

    assert joined.start.tolist() == [0, 2, 4]
    assert joined.name == ("a", "a")
    assert len(join_lines([])) == 0


def test_a_refusal_says_which_what_and_what_to_do():
    refusal = LathError("shots.csv line 3", 'found "x", not a number', "correct the cell")

    assert str(refusal) == 'shots.csv line 3: found "x", not a number. Correct the cell.'
    assert refusal.exit_code == 3
