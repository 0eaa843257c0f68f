"""Our small design tables: ``alignment.csv`` and ``profile.csv``.

Every number is strict, every unknown column or key is refused, and every refusal names
the place and what belongs there: a slip in a design is dug along the whole street.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from pipeline.errors import DesignError
from pipeline.ingest.job.design_keys import design_text
from pipeline.ingest.source import shown
from pipeline.model import SIDES, AlignmentRows, ElementRow, ProfileRow, ProfileRows
from pipeline.units import parse_number, parse_station

ALIGNMENT_COLUMNS = (
    "kind", "length_m", "radius_m", "radius_end_m", "turn", "easting_m", "northing_m",
    "azimuth_deg", "station",
)  # fmt: skip
_USES = {
    "start": {"easting_m", "northing_m", "azimuth_deg", "station"},
    "line": {"length_m"},
    "arc": {"length_m", "radius_m", "turn"},
    "clothoid": {"length_m", "radius_m", "radius_end_m", "turn"},
    "equation": {"station_back", "station_ahead"},
}
EQUATION_COLUMNS = ("station_back", "station_ahead")
PROFILE_COLUMNS = ("station", "elevation_m", "curve_in_m", "curve_out_m")


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of a table: its place, and its cells by column name."""

    file: str
    line: int
    cells: Mapping[str, str]

    @property
    def where(self) -> str:
        """The row, for messages."""
        return f"{self.file} line {self.line}"

    def number(
        self, column: str, expected: str, parse: Callable[[str], float] = parse_number
    ) -> float:
        """The number in a column, or a refusal that says what belongs there."""
        try:
            return parse(self.cells[column])
        except ValueError:
            self.refuse(column, expected)

    def refuse(self, column: str, expected: str) -> NoReturn:
        """Refuse what stands in a column, and say what belongs there."""
        raise DesignError(
            f'{self.where}, column "{column}"',
            f"found {shown(self.cells[column])!r}" if self.cells[column] else "the cell is blank",
            f"write {expected}",
        )


def read_alignment(path: Path) -> AlignmentRows:
    """The alignment of an ``alignment.csv``.

    Parameters
    ----------
    path : Path
        UTF-8 CSV with the header ``kind,length_m,radius_m,radius_end_m,turn,
        easting_m,northing_m,azimuth_deg,station``, in any order. The first row is
        ``start``, the others ``line``, ``arc`` or ``clothoid``; cells that a row
        does not use are blank. Lines that begin with ``#`` are comments. With two
        more columns, ``station_back`` and ``station_ahead``, rows ``equation`` say
        where the stations jump; the profile's and the sections' stations do not, they
        count on from the start.

    Returns
    -------
    AlignmentRows
        Named after the file.

    Raises
    ------
    DesignError
        The file cannot be read; a column is missing, unknown or twice there; a cell
        is not what belongs there. File, line and column are named.
    """
    rows = _table(path, ALIGNMENT_COLUMNS, EQUATION_COLUMNS)
    for number, row in enumerate(rows):
        kinds = ["start"] if number == 0 else ["line", "arc", "clothoid"]
        kinds += ["equation"] if number and EQUATION_COLUMNS[0] in row.cells else []
        if row.cells["kind"] not in kinds:
            row.refuse("kind", " or ".join(kinds))
        for column in (*ALIGNMENT_COLUMNS[1:], *EQUATION_COLUMNS):
            if row.cells.get(column) and column not in _USES[row.cells["kind"]]:
                row.refuse(column, f"nothing: a row of kind {row.cells['kind']} does not use it")
    if len(rows) < 2:
        raise DesignError(path.name, f"it has {len(rows)} rows", "give a start and its elements")
    start = rows[0]
    point = start.number("easting_m", "metres"), start.number("northing_m", "metres")
    azimuth = start.number("azimuth_deg", "decimal degrees clockwise from grid north")
    if abs(azimuth) > 360.0:
        start.refuse("azimuth_deg", "decimal degrees clockwise from grid north, up to 360")
    first = start.number("station", "a station such as 0+000", parse_station)
    pieces = [row for row in rows[1:] if row.cells["kind"] != "equation"]
    return AlignmentRows(
        name=path.stem,
        elements=tuple(
            _element(row, point if number == 0 else None) for number, row in enumerate(pieces)
        ),
        start_station=first,
        azimuth=math.radians(azimuth),
        equations=_equations([row for row in rows if row.cells["kind"] == "equation"], first),
    )


def _equations(rows: list[_Row], start: float) -> tuple[tuple[float, float, float], ...]:
    """Where each equation stands: as far past the one before as the stations between them say."""
    found = []
    internal, reads = start, start
    for row in rows:
        back, ahead = (
            row.number(column, "a station such as 0+240", parse_station)
            for column in EQUATION_COLUMNS
        )
        if back < reads:
            row.refuse("station_back", f"a station not before {reads:g}, which the line has here")
        internal, reads = internal + (back - reads), ahead
        found.append((internal, back, ahead))
    return tuple(found)


def _element(row: _Row, start: tuple[float, float] | None) -> ElementRow:
    kind = row.cells["kind"]
    length = _above_zero(row, "length_m", "a length above zero, in metres")
    if kind == "line":
        return ElementRow("line", length, start=start, where=row.where)
    if row.cells["turn"] not in SIDES:
        row.refuse("turn", "right or left")
    turn = SIDES[row.cells["turn"]]
    if kind == "arc":
        radius = _above_zero(row, "radius_m", "a radius above zero, in metres")
        return ElementRow("arc", length, radius, radius, turn, start=start, where=row.where)
    expected = "a radius above zero, in metres, or inf where it is straight"
    first, last = (
        math.inf if row.cells[column] == "inf" else _above_zero(row, column, expected)
        for column in ("radius_m", "radius_end_m")
    )
    if first == last:
        row.refuse("radius_end_m", "another radius than at the start: a clothoid changes it")
    return ElementRow("clothoid", length, first, last, turn, start=start, where=row.where)


def _above_zero(row: _Row, column: str, expected: str) -> float:
    value = row.number(column, expected)
    if not value > 0.0:
        row.refuse(column, expected)
    return value


def read_profile(path: Path) -> ProfileRows:
    """The profile of a ``profile.csv``.

    Parameters
    ----------
    path : Path
        UTF-8 CSV with the header ``station,elevation_m,curve_in_m,curve_out_m`` and
        perhaps ``radius_m``, a row for each PVI. The curve's halves on both sides of the
        PVI are horizontal, blank or 0 for a grade break; a circular curve has none.

    Returns
    -------
    ProfileRows
        Named after the file; whether its rows make a profile is for the design to say.

    Raises
    ------
    DesignError
        As for `read_alignment`.
    """
    rows = _table(path, PROFILE_COLUMNS, ("radius_m",))
    points = []
    for row in rows:
        halves = [
            _not_negative(row, column) if row.cells[column] else 0.0
            for column in ("curve_in_m", "curve_out_m")
        ]
        radius = math.nan
        if row.cells.get("radius_m"):
            radius = _above_zero(row, "radius_m", "a radius above zero, in metres, or nothing")
            if any(halves):
                row.refuse("radius_m", "nothing, or leave curve_in_m and curve_out_m blank")
        points.append(
            ProfileRow(
                station=row.number("station", "a station such as 0+120", parse_station),
                elevation=row.number("elevation_m", "metres"),
                length_in=halves[0],
                length_out=halves[1],
                radius=radius,
                where=row.where,
            )
        )
    return ProfileRows(name=path.stem, points=tuple(points))


def _not_negative(row: _Row, column: str) -> float:
    value = row.number(column, "half the curve's length, in metres")
    if value < 0.0:
        row.refuse(column, "half the curve's length, in metres, not below zero")
    return value


def _table(path: Path, columns: tuple[str, ...], optional: tuple[str, ...]) -> list[_Row]:
    """Rows of a CSV file under its header, comments and empty lines left out."""
    text = io.StringIO(design_text(path), newline="")
    lines = ("\n" if line.lstrip().startswith("#") else line for line in text)
    reader = csv.reader(lines, strict=True)
    rows: list[_Row] = []
    header: list[str] = []
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if not header:
                header = stripped
                _check_header(path, reader.line_num, header, columns, optional)
                continue
            if len(stripped) != len(header):
                raise DesignError(
                    f"{path.name} line {reader.line_num}",
                    f"found {len(stripped)} cells under {len(header)} columns",
                    "give every column a cell, blank where it is not used",
                )
            found = dict(zip(header, stripped, strict=True))
            rows.append(_Row(path.name, reader.line_num, found))
    except csv.Error as error:
        raise DesignError(
            f"{path.name} line {reader.line_num}", f"not a CSV row: {error}", "correct its quotes"
        ) from None
    if not header:
        raise DesignError(path.name, "it has no header row", f"begin with {','.join(columns)}")
    return rows


def _check_header(
    path: Path, line: int, header: list[str], columns: tuple[str, ...], optional: tuple[str, ...]
) -> None:
    odd = [name for name in header if name not in (*columns, *optional)]
    odd += [name for name in header if header.count(name) > 1]
    missing = [name for name in columns if name not in header]
    if odd or missing:
        found = f"found {shown(odd[0])!r}" if odd else f"{missing[0]!r} is missing"
        do = f"write each column once: {','.join((*columns, *optional))}"
        raise DesignError(f"{path.name} line {line}, header", found, do)
