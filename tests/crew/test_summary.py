"""The closing words: what is printed in full, and what is only counted."""

from __future__ import annotations

import pytest

from pipeline.crew.summary import Summary, words
from pipeline.model import Finding


def said(kind, count):
    """The closing words of a day with so many findings of one kind."""
    findings = tuple(Finding("person", kind, f"{kind} {k}", "look there") for k in range(count))
    return words(Summary("street", "2026-05-14", 0, 0, 0, (), (), "clay", (), (), findings, ()))


@pytest.mark.parametrize("kind", ["in reach of blade or rotor", "shot, not on the list"])
def test_every_thing_that_a_machine_may_meet_is_printed(kind):
    lines = said(kind, 7)

    assert [line for line in lines if line.startswith("Look")] == [
        f"Look       {kind} {k}. Look there." for k in range(7)
    ]
    assert not any("more:" in line for line in lines)


def test_of_other_kinds_three_are_printed_and_the_rest_counted():
    lines = said("line gap", 5)

    assert sum(line.startswith("Look") for line in lines) == 3
    assert "           2 more: line gap, see findings.json" in lines
