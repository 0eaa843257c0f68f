"""What one file holds, in the file's own units: the nouns of ``lath read``.

Nothing is converted here and nothing refused that can still be told: a number that
is not known is NaN or None, and why stands among the oddities.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from pipeline.ingest.source import shown
from pipeline.model import Finding, Floats, Texts
from pipeline.settings import FileFormat
from pipeline.units import Unit

Tell: TypeAlias = Callable[[str], None]
"""Takes a word on how far the reading of a big file is."""

Box: TypeAlias = tuple[float, float, float, float]
"""Lowest easting and northing, highest easting and northing."""

MOST_ODDITIES = 20
MOST_OF_A_KIND = 5
MOST_CODES = 20
MOST_ROWS = 50
"""Of what is listed by name there are never more; the rest is counted."""

DIGITS = 7
"""Decimals kept: a tenth of a micrometre, or a centimetre in degrees."""

_ORDER = {"stop": 0, "person": 1, "note": 2}
_SAID_ELSEWHERE = frozenset({"columns", "heights", "unit"})
"""Kinds of findings that `Description` has a place of its own for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the person states about files that do not say it themselves."""

    unit: Unit | None = None
    columns: dict[str, str] | list[str] | None = None
    surface: str | None = None
    classes: frozenset[int] | None = None
    """Of a scan that is converted; None: the ground if there is any, else all."""

    def format(self, name: str, unit: Unit = "m", decimal: str = ".") -> FileFormat:
        """As a format of the job file would say it; ``files`` is `name` where a unit is stated."""
        return FileFormat(
            files=name if self.unit else "*",
            unit=self.unit or unit,
            columns=self.columns,
            surface=self.surface,
            decimal="," if decimal == "," else ".",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignmentFacts:
    """One alignment: its elements by kind, their summed length, where stations begin."""

    name: str
    elements: int
    length: float
    start_station: float
    kinds: Mapping[str, int]
    equations: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileFacts:
    """One profile: points of intersection, how many of them with a curve, first to last station."""

    alignment: str
    name: str
    points: int
    curves: int
    start_station: float
    end_station: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceFacts:
    """One surface; areas in plan and on the slope are of its visible faces."""

    name: str
    points: int
    faces: int
    hidden_faces: int = 0
    area2d: float = float("nan")
    area3d: float = float("nan")
    elevation: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """What a file holds. Lengths, areas and places are in ``units``, None where nobody says.

    ``points`` and ``faces`` count what stands in the file, hidden faces too.
    ``oddities`` begin with what keeps a job from using the file. ``more`` is what
    only some formats have.
    """

    file: str
    format: str
    version: str
    bytes: int
    units: str | None
    crs: str | None
    system: str = ""
    """The coordinate system in full (WKT), where the file gives more than its name."""
    points: int = 0
    faces: int = 0
    hidden_faces: int = 0
    breaklines: int = 0
    alignments: tuple[AlignmentFacts, ...] = ()
    profiles: tuple[ProfileFacts, ...] = ()
    surfaces: tuple[SurfaceFacts, ...] = ()
    bbox: Box | None = None
    elevation: tuple[float, float] | None = None
    oddities: tuple[str, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class Extent:
    """The box around everything added to it; heights that are NaN do not count."""

    low: Floats = field(default_factory=lambda: np.full(3, np.inf))
    high: Floats = field(default_factory=lambda: np.full(3, -np.inf))

    def add(self, easting: ArrayLike, northing: ArrayLike, elevation: ArrayLike = ()) -> None:
        """More places, each column of any length."""
        for k, column in enumerate((easting, northing, elevation)):
            values = np.asarray(column, dtype=np.float64).ravel()
            values = values[np.isfinite(values)]
            if len(values):
                self.low[k] = min(self.low[k], values.min())
                self.high[k] = max(self.high[k], values.max())

    def box(self, metres: float = 1.0) -> Box | None:
        """The box in a unit of so many metres; None where there is nothing."""
        if not np.isfinite([self.low[:2], self.high[:2]]).all():
            return None
        e, n, last_e, last_n = (own(x, metres) for x in (*self.low[:2], *self.high[:2]))
        return e, n, last_e, last_n

    def heights(self, metres: float = 1.0) -> tuple[float, float] | None:
        """Lowest and highest; None where there is no height."""
        if not np.isfinite([self.low[2], self.high[2]]).all():
            return None
        return own(self.low[2], metres), own(self.high[2], metres)


def own(value: float, metres: float = 1.0) -> float:
    """A number of metres in a unit of so many metres, to `DIGITS`; never a negative zero.

    Examples
    --------
    >>> own(1.0, 0.3048), own(-0.0)
    (3.2808399, 0.0)
    """
    return round(float(value) / metres, DIGITS) + 0.0


def told(findings: Iterable[Finding], file: str, first: Iterable[str] = ()) -> tuple[str, ...]:
    """Findings as oddities: the worst first, without the name of the file, at most 20.

    Parameters
    ----------
    findings : iterable of Finding
    file : str
        The name that their texts begin with.
    first : iterable of str
        What is said before all of them.
    """
    ranked = sorted(
        (finding for finding in findings if finding.kind not in _SAID_ELSEWHERE),
        key=lambda finding: _ORDER[finding.severity],
    )
    texts = list(first)
    kinds = Counter(finding.kind for finding in ranked)
    met: Counter[str] = Counter()
    for finding in ranked:
        met[finding.kind] += 1
        if met[finding.kind] <= MOST_OF_A_KIND:
            texts.append(bare(finding.text, file))
        elif met[finding.kind] == kinds[finding.kind]:
            texts.append(f"and {kinds[finding.kind] - MOST_OF_A_KIND} more like the last")
    texts = list(dict.fromkeys(texts))
    if len(texts) > MOST_ODDITIES:
        texts[MOST_ODDITIES:] = [f"and {len(texts) - MOST_ODDITIES} more"]
    return tuple(texts)


def bare(text: str, file: str) -> str:
    """A sentence about a file without the file's name in front.

    Examples
    --------
    >>> bare("a.csv: no unit", "a.csv"), bare("a.csv line 3: no height", "a.csv")
    ('no unit', 'line 3: no height')
    """
    rest = text.removeprefix(file)
    return rest.removeprefix(":").lstrip() if rest != text and rest[:1] in (":", " ") else text


def code_counts(codes: Texts) -> dict[str, int]:
    """How often each code stands there, the most frequent first, at most `MOST_CODES`."""
    counts = Counter(str(code) for code in codes if code)
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    listed = {shown(code): count for code, count in ranked[:MOST_CODES]}
    if len(ranked) > MOST_CODES:
        listed[f"and {len(ranked) - MOST_CODES} more"] = sum(n for _, n in ranked[MOST_CODES:])
    return listed
