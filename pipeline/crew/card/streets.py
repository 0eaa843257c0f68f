"""What lists of several streets have in common: the column of the street, words about one."""

from __future__ import annotations

from pipeline.crew.card.table import Heading, Row
from pipeline.crew.work import CrewWork
from pipeline.settings import Job

BOX = "\u2610"
"""Ticked by hand when it is done."""


def street_heading(work: CrewWork) -> list[Heading]:
    """The column that names the street, where there are several."""
    return [Heading("street", wrap=True)] if work.others else []


def street_cell(work: CrewWork, one: CrewWork) -> Row:
    """The cell of that column for a row about one street."""
    return (one.corridor.name,) if work.others else ()


def said_of(work: CrewWork, one: CrewWork, told: list[str]) -> list[str]:
    """Sentences about one street, which is named where there are several."""
    return [f"{one.corridor.name}: {text}" for text in told] if work.others else told


def assumed_words(job: Job, said: dict[str, str]) -> str:
    """`` Assumed, not stated in the job: trims.`` of settings by key; empty: all are stated."""
    words = [word for key, word in said.items() if key not in job.given]
    return f" Assumed, not stated in the job: {', '.join(words)}." if words else ""
