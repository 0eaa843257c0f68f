"""Up one side and back along the other, no lath skipped, no long way round."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew.walk import step_words, steps, walk, walking_order
from pipeline.model import texts
from pipeline.settings_crew import WalkRules


def street(count=20, half=5.75, interval=10.0):
    """Laths on both sides of a straight street due north, as station, offset, grid."""
    up = np.arange(count) * interval
    station = np.concatenate([up, up])
    offset = np.repeat([-half, half], count)
    return station, offset, 1000.0 + offset, 2000.0 + station


def test_the_walk_is_no_longer_than_the_best_of_a_thousand_tries():
    station, offset, east, north = street(count=6)
    rng = np.random.default_rng(7)
    mixed = rng.permutation(len(station))
    found = walk((station[mixed], offset[mixed]), (east[mixed], north[mixed]))
    tries = [
        np.nansum(steps(east[order], north[order]))
        for order in (rng.permutation(len(station)) for _ in range(1000))
    ]

    assert sorted(found.order.tolist()) == list(range(12))
    assert found.length_m <= 1.05 * min(tries)
    # by hand: 50 m up, 11.5 m across, 50 m back
    assert found.length_m == pytest.approx(111.5)


@given(
    st.lists(
        st.tuples(st.floats(-50, 500), st.sampled_from([-6.0, -0.2, 0.0, 0.2, 6.0])), max_size=40
    ),
    st.sampled_from([0.0, 100.0]),
)
def test_no_lath_is_skipped_and_none_is_walked_to_twice(places, block):
    station = np.array([p[0] for p in places], dtype=float)
    offset = np.array([p[1] for p in places], dtype=float)
    order = walking_order(station, offset, WalkRules(block_m=block))

    assert sorted(order.tolist()) == list(range(len(places)))
    if block == 0.0:
        left = [k for k in order if offset[k] <= 0]
        right = [k for k in order if offset[k] > 0]
        assert order.tolist() == left + right
        assert (np.diff(station[left]) >= 0).all()
        assert (np.diff(station[right]) <= 0).all()


def test_the_right_side_can_come_first():
    station, offset, _, _ = street(count=3)
    order = walking_order(station, offset, WalkRules(first_side="right"))

    assert offset[order].tolist() == [5.75] * 3 + [-5.75] * 3
    assert station[order].tolist() == [0, 10, 20, 20, 10, 0]


def test_two_people_walk_block_by_block():
    station, offset, _, _ = street(count=4, interval=50.0)
    order = walking_order(station, offset, WalkRules(block_m=100.0))

    assert station[order].tolist() == [0, 50, 50, 0, 100, 150, 150, 100]


def test_the_distance_is_printed_for_the_page():
    assert [step_words(x) for x in (10.04, np.nan)] == ["10.0", ""]


def corner():
    """A street north along x = 0, another east along y = 50 from its right side."""
    rows = [("main", s, side * 5.0, side * 5.0, s) for s in (0.0, 20.0, 40.0) for side in (-1, 1)]
    rows += [
        ("side", s, side * 5.0, s, 50.0 - side * 5.0) for s in (10.0, 20.0) for side in (-1, 1)
    ]
    street, *columns = zip(*rows, strict=True)
    return texts(list(street)), *(np.array(column) for column in columns)


def test_from_the_main_street_the_walk_goes_on_to_the_nearest_leg():
    street, station, offset, east, north = corner()
    order = walking_order(station, offset, WalkRules(), (street, east, north))
    walked = [(street[k], station[k], offset[k]) for k in order]

    assert walked[:6] == [("main", s, -5.0) for s in (0.0, 20.0, 40.0)] + [
        ("main", s, 5.0) for s in (40.0, 20.0, 0.0)
    ]
    # the right leg of the side street (y = 45) is nearer, then back along its left one
    assert walked[6:] == [("side", 10.0, 5.0), ("side", 20.0, 5.0), ("side", 20.0, -5.0),
                          ("side", 10.0, -5.0)]  # fmt: skip


def test_two_people_walk_street_after_street_and_block_by_block():
    street, station, offset, east, north = corner()
    order = walking_order(station, offset, WalkRules(block_m=20.0), (street, east, north))
    walked = [(street[k], station[k], offset[k]) for k in order]

    assert [name for name, *_ in walked] == ["main"] * 6 + ["side"] * 4
    assert [s for _, s, _ in walked[:6]] == [0.0, 0.0, 20.0, 20.0, 40.0, 40.0]
    assert walked[6:8] == [("side", 10.0, -5.0), ("side", 10.0, 5.0)]
