"""The book of pages that a grade person carries through one day."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.crew.buried.things import CAUTION
from pipeline.crew.card.earth import earth_pages
from pipeline.crew.card.edge import bank_pages, edge_pages, path_pages
from pipeline.crew.card.lists import buried_pages, keep_pages
from pipeline.crew.card.rods import sight_pages
from pipeline.crew.card.table import wrap
from pipeline.crew.card.walking import hub_pages, paint_pages
from pipeline.crew.earth import Earthworks
from pipeline.crew.measures import measures
from pipeline.crew.work import CrewWork
from pipeline.model.pages import PRINT_PT, SMALL_PT, CardBook, CardPage, letters

_HEAD_LINES = 3


@dataclass(frozen=True, slots=True, eq=False)
class EarthWords:
    """The day's earthworks, and what is said of the volumes of today's layer."""

    found: Earthworks
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardWords:
    """What stands in the head of every page."""

    day: str
    package: str
    control: str
    """Which known points were shot again, and how that went."""
    held: bool


def book(work: CrewWork, words: CardWords, earth: EarthWords | None = None) -> CardBook:
    """Every page, each with plane, revision, date, control, package and caution.

    In the order of the day: paint, hubs, buried things, edge, path, bank, rods, marks; the
    rods street by street, the others' lists hold all streets. Then, for the foreman, the
    height of the clay, volumes and haul.
    """
    room = letters(PRINT_PT, SMALL_PT)
    empty = CardBook(work.job.name, _head(work, words), tuple(wrap(CAUTION, room)), ())
    body = empty.body_pt
    pages: list[CardPage] = []
    for whole in (paint_pages, hub_pages, buried_pages, edge_pages, path_pages, bank_pages):
        pages += whole(work, body)
    for street in work.streets:
        pages += _named(sight_pages(street, body), street, work)
    pages += keep_pages(work, body)
    if earth is not None:
        pages += earth_pages(earth.found, work.job, work.corridor.alignment, earth.said, body)
    if not pages:
        pages = [CardPage("Nothing to carry", work.layer.upper(), (), (), ())]
    held = "a finding has to be settled by a person before anyone digs" if words.held else ""
    return CardBook(empty.job, empty.head, empty.foot, tuple(pages), held)


def _named(pages: list[CardPage], street: CrewWork, work: CrewWork) -> list[CardPage]:
    """The pages of one street, with its name on each where there are several."""
    if not work.others:
        return pages
    name = street.corridor.name
    return [replace(one, title=f"{one.title} {name}", bar=f"{name}: {one.bar}") for one in pages]


def _head(work: CrewWork, words: CardWords) -> tuple[str, ...]:
    """Three lines: what and when, how good, by whom."""
    job = work.job
    revision = job.card.revision or "not stated"
    made = job.sheet.prepared_by or "not stated"
    unit = measures(job.rounding)
    lines = (
        # the package first: a long name may cut the line's end, and paper is matched by it
        f"{words.day}  package {words.package}  plane {work.layer}  revision {revision}",
        f"control {words.control}  grid {job.grid.crs}  heights {job.grid.vertical_datum}",
        (
            f"on grade +-{unit.step(job.rounding.on_grade_m)}  hubs"
            f" +-{unit.fine(job.stakes.hub_tolerance_m)} {unit.fine_unit}  made by {made}"
        ),
    )
    room = letters(PRINT_PT, SMALL_PT)
    return tuple(line if len(line) <= room else f"{line[: room - 3]}..." for line in lines)
