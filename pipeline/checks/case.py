"""A morning as the checks see it, whole and along each part of its design."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.checks.gaps import Cells
from pipeline.model import (
    Bools,
    BreakLine,
    Feet,
    Finding,
    Findings,
    Floats,
    Shots,
    Texts,
    Utilities,
)
from pipeline.model.arrays import of_each
from pipeline.settings import Job
from pipeline.units import Called, format_station


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A morning as the checks see it: n shots with where they lie and what they should be.

    ``base`` is the job's code of each; ``by_hand`` True where a person took it,
    ``satellite`` where a receiver did, as far as the file's format says. ``height``
    is above the profile and ``design`` today's layer at the shot [m], NaN where
    there is none. ``breaks`` are those of every section layer from the top down,
    each from left to right; ``bends`` stretches (from, to) that are curved.
    ``mixed_up`` are heights that people take for each other, by name [m]. ``called``
    is what people call a station.

    Where the design has several parts, ``parts`` is the same morning along each of them,
    with that part's ``feet``, ``breaks`` and ``bends``; ``mine`` are the shots that are told
    along it, ``told`` names it in a finding and puts the finding on the main line. ``cells``
    are places of the whole design then.
    """

    job: Job
    day: str
    shots: Shots
    feet: Feet
    base: Texts
    by_hand: Bools
    satellite: Bools
    height: Floats
    design: Floats
    breaks: tuple[BreakLine, ...]
    bends: tuple[tuple[float, float], ...]
    mixed_up: Mapping[str, float]
    control: Shots | None = None
    utilities: Utilities | None = None
    yesterday: Shots | None = None
    called: Called = format_station
    part: str = ""
    kind: str = "street"
    mine: Bools | None = None
    told: Callable[[Finding], Finding] = lambda finding: finding
    parts: tuple[Case, ...] = ()
    cells: Cells | None = None

    @property
    def views(self) -> tuple[Case, ...]:
        """The morning along every part; itself where there is one street."""
        return self.parts or (self,)

    def own(self, names_: Texts) -> Texts:
        """Names of the shots that are told along this part; empty for the others."""
        return names_ if self.mine is None else np.where(self.mine, names_, "").astype(object)

    def say(self, findings: Findings) -> Findings:
        """The findings as they are told of the whole job."""
        return tuple(self.told(finding) for finding in findings)

    @property
    def section(self) -> tuple[BreakLine, ...]:
        """Breaks of today's layer from left to right; none where it is a surface."""
        return tuple(line for line in self.breaks if line.layer == self.job.target.layer)

    @property
    def top(self) -> tuple[BreakLine, ...]:
        """Each break once a side, in the topmost layer that has it: what hubs are for."""
        first: dict[tuple[str, int], BreakLine] = {}
        for line in self.breaks:
            first.setdefault((line.name, line.side), line)
        return tuple(first.values())

    @property
    def line(self) -> Bools:
        """True where the shot's code makes a line."""
        codes = self.job.codes
        return of_each(self.base, lambda code: code in codes and codes[code].line, bool)
