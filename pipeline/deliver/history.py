"""The job's days in one file, ``history.sqlite``: what each morning's quantities were.

SQLite, so that anybody can read it with any program in twenty years. A day is
recorded in one transaction: two runs that meet wait for one another, and one
that is killed leaves the file as it was. The journal is the plain one that is
rolled back, not the one written ahead: that one would leave a file which a
read-only disk cannot open, and a run a day needs no speed.
"""

from __future__ import annotations

import contextlib
import math
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.model import Quantity

HISTORY_FILE = "history.sqlite"
VERSION = 1
APPLICATION_ID = 0x4C415448
"""``LATH`` in ASCII: how the file says whose it is."""
WAIT_S = 20.0
"""How long a run waits for another that is writing."""

_FIGURES = tuple(field.name for field in fields(Quantity) if field.name != "layer")
_SCHEMA = f"""
CREATE TABLE job (name TEXT NOT NULL) STRICT;
CREATE TABLE day (
    day TEXT PRIMARY KEY,
    package TEXT NOT NULL,
    held INTEGER NOT NULL CHECK (held IN (0, 1)),
    shots_used INTEGER NOT NULL CHECK (shots_used >= 0)
) STRICT;
CREATE TABLE quantity (
    day TEXT NOT NULL REFERENCES day (day) ON DELETE CASCADE,
    layer TEXT NOT NULL,
    from_top INTEGER NOT NULL,
    {", ".join(f"{name} REAL" for name in _FIGURES)},
    PRIMARY KEY (day, layer)
) STRICT;
"""


@dataclass(frozen=True, slots=True)
class DayRecord:
    """One morning as the history keeps it. NaN of a quantity is NULL in the file."""

    day: str
    package: str
    held: bool
    shots_used: int
    quantities: tuple[Quantity, ...]


def record(path: Path, job: str, day: DayRecord) -> None:
    """Put a day into the history; a day that is there already is replaced.

    Parameters
    ----------
    path : Path
        The file; it is made where there is none.
    job : str
        Name of the job. One history belongs to one job.
    day : DayRecord

    Raises
    ------
    OutputError
        Not a history of this program, that of another job, one of a newer version,
        or a disk that cannot be written. What it held is unchanged.
    """
    with _opened(path) as connection:
        connection.execute("BEGIN IMMEDIATE")
        try:
            _prepare(connection, path, job)
            connection.execute("DELETE FROM day WHERE day = ?", (day.day,))
            connection.execute(
                "INSERT INTO day (day, package, held, shots_used) VALUES (?, ?, ?, ?)",
                (day.day, day.package, int(day.held), day.shots_used),
            )
            for number, row in enumerate(day.quantities):
                figures = [_or_null(getattr(row, name)) for name in _FIGURES]
                connection.execute(
                    f"INSERT INTO quantity (day, layer, from_top, {', '.join(_FIGURES)})"  # noqa: S608 - names of our own fields
                    f" VALUES ({', '.join('?' * (3 + len(_FIGURES)))})",
                    (day.day, row.layer, number, *figures),
                )
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def records(path: Path, job: str) -> tuple[DayRecord, ...]:
    """Every day of the history of `job`, in order; none where there is no file.

    Raises
    ------
    OutputError
        As for `record`.
    """
    if not path.exists():
        return ()
    with _opened(path) as connection:
        connection.execute("BEGIN")
        _check(connection, path, job)
        if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
            return ()
        days = connection.execute(
            "SELECT day, package, held, shots_used FROM day ORDER BY day"
        ).fetchall()
        rows = connection.execute(
            f"SELECT day, layer, {', '.join(_FIGURES)} FROM quantity ORDER BY day, from_top"  # noqa: S608 - names of our own fields
        ).fetchall()
        connection.execute("COMMIT")
    found: dict[str, list[Quantity]] = {}
    for day, layer, *figures in rows:
        found.setdefault(day, []).append(Quantity(layer, *map(_or_nan, figures)))
    return tuple(
        DayRecord(day, package, bool(held), used, tuple(found.get(day, ())))
        for day, package, held, used in days
    )


def _or_null(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that forces what is committed to the disk."""
    if path.is_symlink() or (path.exists() and not path.is_file()):
        raise OutputError(
            f"history {path}", "it is not a plain file", "move it away and run the day again"
        )
    try:
        with contextlib.closing(
            sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
        ) as connection:
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            yield connection
    except sqlite3.Error as fault:
        raise OutputError(
            f"history {path}",
            f"{fault}; what it held is unchanged",
            "move it away if it is no history of this job, else free the disk and run again",
        ) from fault


def _check(connection: sqlite3.Connection, path: Path, job: str) -> None:
    """Refuse a file that is somebody else's, newer than this program, or another job's."""
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if tables and application != APPLICATION_ID:
        raise OutputError(
            f"history {path}", "it is a database of another program", "move it away and run again"
        )
    if version > VERSION:
        raise OutputError(
            f"history {path}",
            f"it has version {version}, this program knows up to {VERSION}",
            "use the newer program, or move the file away",
        )
    if version and (found := connection.execute("SELECT name FROM job").fetchall()) != [(job,)]:
        raise OutputError(
            f"history {path}",
            f"it belongs to {found[0][0]!r}, not to {job!r}" if found else "it names no job",
            "give each job a folder of packages of its own, or move the file away",
        )


def _prepare(connection: sqlite3.Connection, path: Path, job: str) -> None:
    """Tables in a new file; within the transaction that goes on to write."""
    _check(connection, path, job)
    if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
        for statement in _SCHEMA.split(";"):
            if statement.strip():
                connection.execute(statement)
        connection.execute("INSERT INTO job (name) VALUES (?)", (job,))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
