"""Everything that the grade person carries, gathered: what the lists and pages are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.compare.streets import side_word
from pipeline.crew.buried.things import Things
from pipeline.crew.edge.bank import Bank
from pipeline.crew.edge.line import EdgeSpot, Seen
from pipeline.crew.edge.machine import Path
from pipeline.crew.edge.straight import Straightness, Wobble
from pipeline.crew.hubs.cutsheet import CutSheet
from pipeline.crew.hubs.slope import SlopeStakes
from pipeline.crew.hubs.stale import StaleMark
from pipeline.crew.lows import Turn
from pipeline.crew.passes import PassRun
from pipeline.crew.sights.sightline import Sight
from pipeline.design.equations import station_text
from pipeline.model import Corridor, Floats, Stakes, Texts
from pipeline.settings import Job
from pipeline.units import format_side


@dataclass(frozen=True, slots=True, eq=False)
class CrewWork:
    """One day's work for the crew, each part as its own room found it.

    ``edge_layer`` is empty where the design has no section with edges; then there are no
    edge, bank, path and sights either. ``flags`` and ``to_line`` belong to the hubs of
    ``sheet``, ``ties`` to ``things``. ``things`` are all there are; ``beside`` those near this
    street, told along it. ``others`` is the same for every other part of the design.
    """

    job: Job
    corridor: Corridor
    edge_layer: str
    dots: Stakes
    sheet: CutSheet
    flags: Texts
    to_line: Floats
    sights: tuple[Sight, ...]
    spots: tuple[EdgeSpot, ...]
    seen: tuple[Seen, ...]
    straight: tuple[Straightness, ...]
    long_sights: tuple[Wobble, ...]
    path: Path | None
    bank: Bank | None
    things: Things
    ties: Texts
    turns: tuple[Turn, ...]
    passes: tuple[PassRun, ...]
    stale: tuple[StaleMark, ...]
    slopes: SlopeStakes
    beside: Things
    others: tuple[CrewWork, ...] = ()

    @property
    def streets(self) -> tuple[CrewWork, ...]:
        """The work on every part of the design, this one first."""
        return (self, *self.others)

    def of(self, street: str) -> CrewWork:
        """The work on the part of this name; on this one where there is none."""
        return next((one for one in self.others if one.corridor.name == street), self)

    @property
    def layer(self) -> str:
        """The layer that today's ground is graded to."""
        return self.job.target.layer


def place(work: CrewWork, station: float, offset: float = float("nan")) -> str:
    """``0+120.0 L``, by the alignment's equations."""
    side = "" if np.isnan(offset) else f" {side_word(work.corridor, offset)}".rstrip()
    return f"{station_text(work.corridor.alignment, station)}{side}"


def between(work: CrewWork, start: float, end: float, side: int) -> str:
    """``0+083.5-0+084.2 R``."""
    first, last = place(work, start), place(work, end)
    word = format_side(side)
    return f"{first} {word}" if first == last else f"{first}-{last} {word}"
