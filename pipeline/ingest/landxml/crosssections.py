"""The cross-sections of a LandXML file: ground and design surfaces across an alignment.

A pass of its own over the file, for most jobs have none and need none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.landxml.stream import End, NumberList, Place, Sink, parse_numbers, stream
from pipeline.ingest.landxml.units import units_of
from pipeline.model import CrossSection, Finding, Findings, texts
from pipeline.settings import FileFormat

KINDS = {"CrossSectSurf": "ground", "DesignCrossSectSurf": "design"}
FAR_M = 5.0
"""A profile nearer to zero than this cannot tell heights above it from elevations [assumed]."""


@dataclass(slots=True)
class _Open:
    """The section that is being read."""

    name: str
    kind: str
    line: int
    pairs: list[tuple[float, float, str]] = field(default_factory=list)


def read_cross_sections(
    path: Path,
    fmt: FileFormat,
    elevation: Callable[[str, float], float] | None = None,
) -> tuple[tuple[CrossSection, ...], Findings]:
    """Every cross-section of the file, with what could not be read.

    Parameters
    ----------
    path : Path
    fmt : FileFormat
        Its unit counts where the file states none.
    elevation : callable, optional
        Elevation of the profile [m] by alignment name and station. Heights are
        then judged: those nearer to zero than to it are relative to it.

    Raises
    ------
    InputError
        Not well-formed, no unit, or a list that is not pairs of numbers.

    Notes
    -----
    Offsets in LandXML are negative on the left, as here. Whether heights are
    elevations or above the profile no attribute tells; both are met.
    """
    reader = _Reader(path.name)
    stream(path, reader.start, reader.at)
    # what there is to say about the units the reader of the whole file has said
    units, _ = units_of(reader.units, fmt, path.name)
    found = reader.sections(units.metres, elevation)
    return found, told(found, path.name)


class _Reader:
    """Keeps only what lies inside cross-sections."""

    def __init__(self, file: str) -> None:
        self.at = Place(file)
        self.units: list[dict[str, str]] = []
        self._alignment = ""
        self._station = 0.0
        self._open: _Open | None = None
        self._found: list[tuple[str, float, _Open]] = []

    def start(self, name: str, attributes: dict[str, str]) -> tuple[Sink | None, End | None]:
        """Take an element."""
        if name in {"Metric", "Imperial"}:
            self.units.append(attributes)
        elif name == "Alignment":
            self._alignment = attributes.get("name", "")
        elif name == "CrossSect":
            self._station = self._number(attributes.get("sta", ""), "sta")
        elif name in KINDS:
            self._open = _Open(attributes.get("name", ""), KINDS[name], self.at.line())
            return None, self._end_surface
        elif self._open is not None and name in {"PntList2D", "PntList3D"}:
            return self._list(2 if name == "PntList2D" else 3)
        elif self._open is not None and name == "CrossSectPnt":
            return self._point(attributes.get("code", ""))
        return None, None

    def _number(self, text: str, what: str) -> float:
        values = parse_numbers(text)
        if len(values) != 1:
            raise InputError(self.at.words(), f"{what} is {text!r}", "give one number")
        return values[0]

    def _list(self, size: int) -> tuple[Sink, End]:
        numbers = NumberList(self.at.line())

        def end() -> None:
            numbers.close()
            self._take(list(numbers.values), size, "")

        return numbers, end

    def _point(self, code: str) -> tuple[Sink, End]:
        words: list[str] = []

        def end() -> None:
            self._take(parse_numbers("".join(words)), 2, code)

        return words, end

    def _take(self, values: list[float], size: int, code: str) -> None:
        if self._open is None or len(values) % size:
            found = f"{len(values)} numbers where groups of {size} belong"
            raise InputError(self.at.words(), found, "correct the list or export it again")
        rows = list(zip(*(values[k::size] for k in range(size)), strict=True))
        self._open.pairs += [(row[0], row[size - 1], code) for row in rows]

    def _end_surface(self) -> None:
        if self._open is not None and self._open.pairs:
            self._found.append((self._alignment, self._station, self._open))
        self._open = None

    def sections(
        self, metres: float, elevation: Callable[[str, float], float] | None
    ) -> tuple[CrossSection, ...]:
        """What was kept, in metres."""
        done = []
        for alignment, station, one in self._found:
            offset = np.array([pair[0] for pair in one.pairs]) * metres
            height = np.array([pair[1] for pair in one.pairs]) * metres
            at = station * metres
            level = elevation(alignment, at) if elevation is not None else np.nan
            middle = float(np.median(height))
            known = np.isfinite(level) and abs(level) > FAR_M
            relative = bool(known and abs(middle) < abs(middle - level))
            codes = texts(pair[2] for pair in one.pairs)
            done.append(
                CrossSection(
                    alignment, at, one.name, one.kind, offset, height, codes, relative, one.line
                )
            )
        return tuple(done)


NAMES = ("CrossSects", "CrossSect", *KINDS, "CrossSectPnt", "PntList2D", "PntList3D")
"""Elements that this reader takes."""


def told(sections: tuple[CrossSection, ...], file: str) -> Findings:
    """One note: how many, of what, between which stations."""
    if not sections:
        return ()
    stations = [one.station for one in sections]
    kinds = sorted({one.kind for one in sections})
    text = (
        f"{file}: {len(sections)} cross-sections ({', '.join(kinds)}) from"
        f" {min(stations):.3f} to {max(stations):.3f} m"
    )
    return (Finding("note", "cross-sections", text, "nothing", file=file),)
