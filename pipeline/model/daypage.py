"""What the foreman's page is made of: texts final, numbers as its script reckons with them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.model.results import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One thing on a list: a finding, a buried thing. ``urgent`` ones stand out.

    ``easting`` and ``northing`` are where the map shows it, NaN where it has no place.
    """

    head: str
    lines: tuple[str, ...]
    easting: float = float("nan")
    northing: float = float("nan")
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class PageList:
    """One part of the page that is only read: its title, its lines, its tables."""

    title: str
    lines: tuple[str, ...]
    tables: tuple[Table, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPage:
    """The page of one day.

    ``data`` is what the script on the page reckons with: texts, numbers, lists and
    mappings of these; an array of whole numbers is written packed. None: the lists
    are withheld, so there is no map and no number.
    """

    job: str
    day: str
    layer: str
    package: str
    held: bool
    look: tuple[Card, ...]
    look_note: str
    buried: tuple[Card, ...]
    figures: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]
    changes: tuple[str, ...]
    changes_tables: tuple[Table, ...]
    cautions: tuple[str, ...]
    within: str
    drawn: str
    unit: str
    data: Mapping[str, Any] | None
    lists: tuple[PageList, ...] = ()
