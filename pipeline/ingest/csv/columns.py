"""Which column of a point file is which, by its header's words or by the job file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.errors import InputError, JobError
from pipeline.ingest.csv.words import COORDINATES, LENGTHS, OURS, meaning, plain, split_unit
from pipeline.ingest.source import shown
from pipeline.settings import FileFormat
from pipeline.units import metres_per

SKIPPED = ("", "-")
"""In a list of columns: one that is not read."""

_SAY = (
    "state columns for this file in the job file, such as"
    ' columns = { northing = "...", easting = "...", elevation = "..." } with the words'
    " of the header that mean so"
)

_SMALL = {"mm": 0.001, "cm": 0.01, "m": 1.0}


@dataclass(frozen=True, slots=True)
class Mapped:
    """Our columns -> positions, metres in one unit of each, and how that is said."""

    columns: dict[str, int]
    scales: dict[str, float]
    width: int
    words: str
    unread: tuple[str, ...] = ()
    by_list: bool = False


def map_stated(stated: Sequence[str], fmt: FileFormat, usual: int, *, free: bool) -> Mapped:
    """Columns as the job file lists them, in order.

    Parameters
    ----------
    stated : sequence of str
        Our names; ``-`` for a column that is not read.
    fmt : FileFormat
    usual : int
        Cells of most rows.
    free : bool
        True where a last text column may hold the delimiter and so more cells.

    Raises
    ------
    JobError
        An unknown or repeated name, a coordinate missing, or fewer names than columns.
    """
    setting = f'format of "{fmt.files}", columns'
    _check_names([word for word in stated if word not in SKIPPED], setting)
    missing = [ours for ours in COORDINATES if ours not in stated]
    if missing:
        raise JobError(setting, f"no {' and no '.join(missing)}", "name all three coordinates")
    open_ended = free and stated[-1] in ("code", "note")
    if usual > len(stated) and not open_ended:
        raise JobError(
            setting,
            f"{len(stated)} names, but most rows have {usual} cells",
            'name every column; "-" for one that is not read',
        )
    columns = {word: at for at, word in enumerate(stated) if word not in SKIPPED}
    words = f"columns as the job file states: {', '.join(word or '-' for word in stated)}"
    scales = dict.fromkeys((c for c in columns if c in LENGTHS), metres_per(fmt.unit))
    return Mapped(columns, scales, len(stated), words, by_list=True)


def map_header(cells: Sequence[str], fmt: FileFormat, where: str) -> Mapped:
    """Columns by the header's words, and by ``columns`` of the job file where it names some.

    Raises
    ------
    InputError
        A coordinate is missing, headed ambiguously, headed twice, or in another
        unit than the job file states.
    JobError
        ``columns`` names a word that is not in the header, or a name that is not ours.
    """
    stated = fmt.columns if isinstance(fmt.columns, dict) else {}
    columns = _by_job(cells, stated, fmt)
    taken = set(columns.values())
    found: dict[str, list[int]] = {}
    for at, word in enumerate(cells):
        if at not in taken:
            found.setdefault(meaning(word), []).append(at)
    for ours in OURS:
        if ours not in columns and ours in found:
            if ours in COORDINATES and len(found[ours]) > 1:
                both = " and ".join(f'"{shown(cells[at])}"' for at in found[ours])
                raise InputError(where, f"{both} both say {ours}", _SAY)
            columns[ours] = found[ours].pop(0)
    for ours in ("code", "note"):  # a description is the code where no column is called so
        if ours not in columns and found.get("description"):
            columns[ours] = found["description"].pop(0)
    if found.get("date"):
        columns["date"] = found["date"].pop(0)
    _check_complete(cells, columns, found, where)
    scales = {
        ours: _scale(cells[at], ours, fmt, where) for ours, at in columns.items() if ours in LENGTHS
    }
    read = set(columns.values())
    unread = tuple(shown(word) for at, word in enumerate(cells) if at not in read and word.strip())
    words = ", ".join(f'{ours} = "{shown(cells[columns[ours]])}"' for ours in columns)
    return Mapped(columns, scales, len(cells), words, unread)


def _check_names(names: Sequence[str], setting: str) -> None:
    for name in names:
        if name not in OURS:
            raise JobError(
                setting, f"no column is called {shown(name)!r}", f"use {', '.join(OURS)}"
            )
        if list(names).count(name) > 1:
            raise JobError(setting, f"{name} twice", "name each column once")


def _by_job(cells: Sequence[str], stated: dict[str, str], fmt: FileFormat) -> dict[str, int]:
    setting = f'format of "{fmt.files}", columns'
    _check_names(list(stated), setting)
    heads = [plain(word) for word in cells]
    columns: dict[str, int] = {}
    for ours, word in stated.items():
        places = [at for at, cell in enumerate(cells) if cell.strip() == word.strip()]
        places = places or [at for at, head in enumerate(heads) if head == plain(word)]
        if len(places) != 1:
            raise JobError(
                setting,
                f"{ours} = {shown(word)!r} is {'twice' if places else 'not'} in the header:"
                f" {shown(', '.join(cells), 200)}",
                "name a word of the header that is there once",
            )
        columns[ours] = places[0]
    if len(set(columns.values())) < len(columns):
        raise JobError(setting, "one column under two names", "name each column once")
    return columns


def _check_complete(
    cells: Sequence[str], columns: dict[str, int], found: dict[str, list[int]], where: str
) -> None:
    missing = [ours for ours in COORDINATES if ours not in columns]
    if not missing:
        return
    heads = shown(", ".join(cells), 200)
    for kind, why in (
        ("ambiguous", "X and Y do not say which is north: grids of both kinds exist"),
        ("geographic", "latitude, longitude or height above the ellipsoid is not the job grid"),
    ):
        if kind in found:
            raise InputError(where, f"{why} (header: {heads})", _SAY)
    raise InputError(where, f"no column for {' and '.join(missing)} (header: {heads})", _SAY)


def _scale(word: str, ours: str, fmt: FileFormat, where: str) -> float:
    """Metres in one unit of a column; a unit in the header must not contradict the job file."""
    unit = split_unit(word)[1]
    agrees = unit in ("", fmt.unit) or (unit == "feet" and fmt.unit in ("ft", "ftUS"))
    if agrees:
        return metres_per(fmt.unit)
    if ours not in COORDINATES and unit in _SMALL:
        return _SMALL[unit]
    raise InputError(
        where,
        f'column "{shown(word)}" says {unit}, the format says unit = "{fmt.unit}"',
        'state the unit of this file in the job file: "m", "ft" or "ftUS"',
    )
