"""A day's earthworks, gathered: what its lists, pages and pictures are made of."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.compare.balance import Balance
from pipeline.compare.cross_sections import SectionVolumes
from pipeline.compare.intervals import Intervals
from pipeline.compare.next_shots import NextShots
from pipeline.compare.stretch_errors import StretchErrors
from pipeline.compare.uncertainty import Uncertainty
from pipeline.crew.haul.arrows import Arrow
from pipeline.crew.haul.moves import MassHaul, Moves
from pipeline.crew.measures import Measures
from pipeline.crew.pregrade.lots import LotPlace
from pipeline.crew.pregrade.recommendation import Decision, Lot
from pipeline.crew.pregrade.remaining import Remaining
from pipeline.crew.pregrade.remaining_sheet import remaining_table
from pipeline.crew.pregrade.sheet import tornado
from pipeline.model import Alignment, Quantity, Table


@dataclass(frozen=True, slots=True, eq=False)
class LayerVolumes:
    """One layer's cut and fill by stretch and by lane, and how sure they are.

    ``lanes`` is None where the design has no breaks to tell lanes by.
    """

    quantity: Quantity
    sure: Uncertainty
    stretches: Intervals
    errors: StretchErrors
    lanes: Intervals | None


@dataclass(frozen=True, slots=True, eq=False)
class Haul:
    """Where the dirt goes, as words, a table and arrows; none of it where no costs are stated.

    ``table`` is metric, for software; a page makes its own of ``moves`` in the crew's unit.
    """

    words: tuple[str, ...]
    table: Table | None
    arrows: tuple[Arrow, ...]
    diagram: MassHaul | None = None
    moves: Moves | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LotToday:
    """A lot as the day finds it: its rules, its area and error, its ground against the plane."""

    place: LotPlace
    lot: Lot
    above_plane: Intervals
    line: Alignment


@dataclass(frozen=True, slots=True, eq=False)
class LotSheet:
    """The height to leave one lot's clay at: words and tables, all final.

    ``decision`` and ``left`` are None where no recommendation can be given; the words
    say why.
    """

    name: str
    start: float
    end: float
    words: tuple[str, ...]
    tables: tuple[Table, ...] = ()
    decision: Decision | None = None
    left: Remaining | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Pregrade:
    """The heights to leave the clay at, lot by lot, and what is honest to say of all of them."""

    lots: tuple[LotSheet, ...]
    honesty: tuple[str, ...]

    @property
    def words(self) -> tuple[str, ...]:
        """Every lot's words, one lot after the other, each under its name where there are many."""
        said: list[str] = []
        for lot in self.lots:
            said += lot.words
        return tuple(said)


@dataclass(frozen=True, slots=True, eq=False)
class Earthworks:
    """Volumes of all layers, today's in detail; the haul plan; the height to leave the clay at.

    ``lots`` are empty and ``pregrade`` is None where the job has no stabilised layer.
    """

    target: LayerVolumes
    layers: tuple[LayerVolumes, ...]
    sections: SectionVolumes
    evenness: Balance
    next_shots: NextShots
    haul: Haul
    lots: tuple[LotToday, ...]
    pregrade: Pregrade | None


def lot_tables(lot: LotSheet, line: Alignment, unit: Measures) -> tuple[Table, ...]:
    """The tables of a lot as people read them: heights and volumes in the crew's unit.

    Those of the lot itself are for software, and metric.
    """
    tables = {table.name: table for table in lot.tables}
    if lot.left is not None and lot.decision is not None:
        own = remaining_table(lot.left, line, unit), tornado(lot.decision, unit)
        tables |= {table.name: table for table in own}
    return tuple(tables.values())
