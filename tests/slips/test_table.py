"""Each slip of the table planted and run; the page in docs says what came of it."""

from __future__ import annotations

import pytest

from tests.slips.outcome import outcome
from tests.slips.page import PAGE, caught, page
from tests.slips.table import SLIPS

CATCHABLE = [slip for slip in SLIPS if slip.comes_to != "not catchable"]


@pytest.mark.parametrize("slip", CATCHABLE, ids=lambda slip: slip.name)
def test_a_slip_comes_to_what_the_table_says(slip):
    came = outcome(slip)

    assert came.came_to == slip.comes_to, came.words


def test_what_cannot_be_caught_says_why_and_what_covers_it():
    for slip in set(SLIPS) - set(CATCHABLE):
        assert slip.says
        assert slip.caution


def test_the_page_is_the_table():
    assert PAGE.read_text(encoding="utf-8") == page(), "run python -m tests.slips --write"


def test_at_least_five_sixths_are_caught():
    assert len(SLIPS) >= 30
    assert caught() / len(SLIPS) >= 25 / 30
