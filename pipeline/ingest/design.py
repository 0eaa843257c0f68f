"""Our small design tables: ``alignment.csv``, ``profile.csv`` and ``sections.toml``.

Every number is strict, every unknown column or key is refused, and every refusal names
the place and what belongs there: a slip in a design is dug along the whole street.
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, NoReturn

from pipeline.errors import DesignError
from pipeline.ingest.source import shown
from pipeline.model import (
    AlignmentRows,
    BreakRow,
    ElementRow,
    ProfileRow,
    ProfileRows,
    SectionLayer,
    SectionRow,
    SectionTable,
)
from pipeline.units import parse_number, parse_station

_ALIGNMENT = (
    "kind", "length_m", "radius_m", "radius_end_m", "turn", "easting_m", "northing_m",
    "azimuth_deg", "station",
)  # fmt: skip
_USES = {
    "start": {"easting_m", "northing_m", "azimuth_deg", "station"},
    "line": {"length_m"},
    "arc": {"length_m", "radius_m", "turn"},
    "clothoid": {"length_m", "radius_m", "radius_end_m", "turn"},
}
_TURNS = {"right": 1, "left": -1}
_PROFILE = ("station", "elevation_m", "curve_in_m", "curve_out_m")


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of a table: its place, and its cells by column name."""

    file: str
    line: int
    cells: Mapping[str, str]

    @property
    def where(self) -> str:
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
        does not use are blank. Lines that begin with ``#`` are comments.

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
    rows = _table(path, _ALIGNMENT, ())
    for number, row in enumerate(rows):
        kinds = ["start"] if number == 0 else ["line", "arc", "clothoid"]
        if row.cells["kind"] not in kinds:
            row.refuse("kind", " or ".join(kinds))
        for column in _ALIGNMENT[1:]:
            if row.cells[column] and column not in _USES[row.cells["kind"]]:
                row.refuse(column, f"nothing: a row of kind {row.cells['kind']} does not use it")
    if len(rows) < 2:
        raise DesignError(path.name, f"it has {len(rows)} rows", "give a start and its elements")
    start = rows[0]
    point = start.number("easting_m", "metres"), start.number("northing_m", "metres")
    azimuth = start.number("azimuth_deg", "decimal degrees clockwise from grid north")
    if abs(azimuth) > 360.0:
        start.refuse("azimuth_deg", "decimal degrees clockwise from grid north, up to 360")
    return AlignmentRows(
        name=path.stem,
        elements=tuple(
            _element(row, point if number == 0 else None) for number, row in enumerate(rows[1:])
        ),
        start_station=start.number("station", "a station such as 0+000", parse_station),
        azimuth=math.radians(azimuth),
    )


def _element(row: _Row, start: tuple[float, float] | None) -> ElementRow:
    kind = row.cells["kind"]
    length = _above_zero(row, "length_m", "a length above zero, in metres")
    if kind == "line":
        return ElementRow("line", length, start=start, where=row.where)
    if row.cells["turn"] not in _TURNS:
        row.refuse("turn", "right or left")
    turn = _TURNS[row.cells["turn"]]
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
    rows = _table(path, _PROFILE, ("radius_m",))
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
    text = io.StringIO(_text(path), newline="")
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


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise DesignError(
            str(path), f"it cannot be read: {error.strerror}", "put the file there or name another"
        ) from None
    except UnicodeDecodeError as error:
        raise DesignError(
            path.name, f"byte {error.start} is not UTF-8", "save the file as UTF-8"
        ) from None


@dataclass(frozen=True, slots=True)
class _Keys:
    """One table of a TOML file: its place, and its keys, taken one by one."""

    where: str
    values: dict[str, Any]

    def only(self, *known: str) -> None:
        """Refuse keys that mean nothing here."""
        for key in sorted(self.values.keys() - set(known)):
            do = f"use only {', '.join(known)}"
            raise DesignError(f"{self.where}, key {shown(key)!r}", "it is not known here", do)

    def refuse(self, key: str, expected: str) -> NoReturn:
        found = f"found {shown(repr(self.values[key]))}" if key in self.values else "it is missing"
        raise DesignError(f"{self.where}, key {key!r}", found, f"write {expected}")

    def text(self, key: str) -> str:
        value = self.values.get(key)
        if not isinstance(value, str) or not value.strip():
            self.refuse(key, "a name in quotes")
        return value.strip()

    def number(self, key: str, default: float | None = None) -> float:
        if key not in self.values and default is not None:
            return default
        value = self.values.get(key)
        # a whole number may be longer than any float
        if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e12:
            self.refuse(key, "a number")
        if not math.isfinite(value):
            self.refuse(key, "a finite number")
        return float(value)

    def station(self, key: str) -> float:
        if not isinstance(self.values.get(key), str):
            return self.number(key)
        try:
            return parse_station(self.values[key])
        except ValueError:
            self.refuse(key, 'a station such as "0+120" or a number')

    def tables(self, key: str) -> list[_Keys]:
        """The tables of a list, each with its place."""
        value = self.values.get(key)
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.refuse(key, "a list of tables")
        places = (f"{self.where}, {key} entry {i + 1}" for i in range(len(value)))
        return [_Keys(place, one) for place, one in zip(places, value, strict=True)]


def read_sections(path: Path) -> SectionTable:
    """The cross-sections of a ``sections.toml``.

    Parameters
    ----------
    path : Path
        ``[[section]]`` with ``name``, ``from``, ``to``, and under each
        ``[section.layers.<name>]`` with ``drop_m`` (crown below the profile),
        ``crown_offset_m``, ``right`` and ``left``: lists, from the crown outward, of
        ``{to, width_m, fall_pct}`` or ``{to, width_m, step_m}``; ``left`` may be
        ``"mirror"``. ``fall_pct`` + is down going away from the crown, ``step_m`` + is up.

    Returns
    -------
    SectionTable
        In the order of the file; whether the sections fit together is for the design to say.

    Raises
    ------
    DesignError
        The file cannot be read, is not TOML, has an unknown key or lacks one, or a
        value is not what belongs there. File, section, layer, entry and key are named.
    """
    try:
        top = _Keys(path.name, tomllib.loads(_text(path)))
    except (ValueError, RecursionError) as error:
        raise DesignError(path.name, f"it is not TOML: {error}", "correct it there") from None
    top.only("section")
    rows = [_section(keys) for keys in top.tables("section")]
    if not rows:
        top.refuse("section", "at least one [[section]]")
    return SectionTable(name=path.name, sections=tuple(rows))


def _section(keys: _Keys) -> SectionRow:
    keys.only("name", "from", "to", "layers")
    name = keys.text("name")
    named = _Keys(f"{keys.where} {name!r}", keys.values)
    start, end = named.station("from"), named.station("to")
    if not start < end:
        named.refuse("to", f"a station past {start:g}")
    layers = named.values.get("layers")
    if not isinstance(layers, dict) or not layers:
        named.refuse("layers", "at least one [section.layers.<name>]")
    return SectionRow(
        name=name,
        start=start,
        end=end,
        layers=tuple(_layer(named, layer, values) for layer, values in layers.items()),
        where=keys.where,
    )


def _layer(section: _Keys, name: str, values: object) -> SectionLayer:
    if not isinstance(values, dict) or not name.strip():
        section.refuse("layers", "a named table for each layer, such as [section.layers.finish]")
    keys = _Keys(f"{section.where}, layer {name!r}", values)
    keys.only("drop_m", "crown_offset_m", "right", "left")
    right = _half(keys, "right")
    left = right if keys.values.get("left") == "mirror" else _half(keys, "left")
    if not right and not left:
        keys.refuse("right", "at least one entry on one of the sides")
    return SectionLayer(
        name=name.strip(),
        right=right,
        left=left,
        drop=keys.number("drop_m", 0.0),
        crown_offset=keys.number("crown_offset_m", 0.0),
    )


def _half(keys: _Keys, side: Literal["right", "left"]) -> tuple[BreakRow, ...]:
    if isinstance(keys.values.get(side), str) and side == "left":
        keys.refuse(side, 'a list of entries, or "mirror"')
    return tuple(_break(entry) for entry in keys.tables(side))


def _break(keys: _Keys) -> BreakRow:
    keys.only("to", "width_m", "fall_pct", "step_m")
    name = keys.text("to")
    width = keys.number("width_m")
    if width < 0.0:
        keys.refuse("width_m", "a width in metres, not below zero")
    both = {"fall_pct", "step_m"} & keys.values.keys()
    if len(both) != 1:
        found = f"it gives {'both' if both else 'neither'} of fall_pct and step_m"
        raise DesignError(f"{keys.where} to {name!r}", found, "give exactly one of them")
    if "step_m" in keys.values:
        return BreakRow(name, width, step=keys.number("step_m"))
    return BreakRow(name, width, fall=keys.number("fall_pct") / 100.0)
