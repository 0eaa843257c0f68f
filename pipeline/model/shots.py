"""Points as shot, and what is said about them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.errors import InputError
from pipeline.model.arrays import Floats, Indices, Ints, Texts, lock_fields

Severity: TypeAlias = Literal["stop", "person", "note"]


@dataclass(frozen=True, slots=True, eq=False)
class Shots:
    """Points as shot, one row a point, all columns of length n.

    ``sigma_h``, ``sigma_v`` and ``rod`` are NaN where the file does not give
    them; text columns are then empty. ``file`` is an index into ``files``.
    """

    id: Texts
    easting: Floats
    northing: Floats
    elevation: Floats
    code: Texts
    note: Texts
    sigma_h: Floats
    sigma_v: Floats
    setup: Texts
    rod: Floats
    time: Texts
    file: Indices
    line: Ints
    files: tuple[str, ...]

    def __post_init__(self) -> None:
        n = len(self.easting)
        texts = dict.fromkeys(("id", "code", "note", "setup", "time"), (object, (n,)))
        numbers = dict.fromkeys(
            ("easting", "northing", "elevation", "sigma_h", "sigma_v", "rod"), (np.float64, (n,))
        )
        whole = {"file": (np.int32, (n,)), "line": (np.int64, (n,))}
        lock_fields(self, {**texts, **numbers, **whole})
        bad = ~(
            np.isfinite(self.easting) & np.isfinite(self.northing) & np.isfinite(self.elevation)
        )
        if bad.any():
            row = int(np.flatnonzero(bad)[0])
            raise InputError(
                self.where(row),
                f"E {self.easting[row]}, N {self.northing[row]}, Z {self.elevation[row]}"
                " is not finite",
                "give the point three coordinates or leave it out",
            )

    def __len__(self) -> int:
        return len(self.easting)

    def where(self, row: int) -> str:
        """``shots.csv line 12 (point 104)``: the place a person can look up."""
        return f"{self.files[self.file[row]]} line {self.line[row]} (point {self.id[row]})"

    def take(self, rows: ArrayLike) -> Shots:
        """The shots at `rows` (indices or a mask), in that order."""
        chosen = np.asarray(rows)
        columns = {name: getattr(self, name)[chosen] for name in SHOT_COLUMNS}
        return Shots(**columns, files=self.files)


SHOT_COLUMNS = (
    "id", "easting", "northing", "elevation", "code", "note", "sigma_h", "sigma_v",
    "setup", "rod", "time", "file", "line",
)  # fmt: skip


def make_shots(
    easting: ArrayLike,
    northing: ArrayLike,
    elevation: ArrayLike,
    *,
    files: tuple[str, ...] = ("",),
    **columns: ArrayLike,
) -> Shots:
    """`Shots` with every column that is not given left blank (text) or NaN (number).

    ``id`` defaults to 1..n and ``line`` to the row number; ``file`` to the first file.
    """
    n = len(np.asarray(easting))
    given: dict[str, Any] = dict(columns)
    for name in ("code", "note", "setup", "time"):
        given.setdefault(name, np.full(n, "", dtype=object))
    for name in ("sigma_h", "sigma_v", "rod"):
        given.setdefault(name, np.full(n, np.nan))
    if "id" not in given:
        given["id"] = np.array([str(i + 1) for i in range(n)], dtype=object)
    given.setdefault("file", np.zeros(n, dtype=np.int32))
    given.setdefault("line", np.arange(1, n + 1))
    return Shots(easting=easting, northing=northing, elevation=elevation, files=files, **given)  # type: ignore[arg-type]


def join_shots(parts: Iterable[Shots]) -> Shots:
    """One `Shots` of several, in order, each row still knowing its own file and line."""
    chosen = list(parts)
    files: list[str] = []
    shifted: list[NDArray[Any]] = []
    for part in chosen:
        shifted.append(part.file + len(files))
        files.extend(part.files)
    if not chosen:
        return make_shots([], [], [])
    columns = {
        name: np.concatenate([getattr(part, name) for part in chosen]) for name in SHOT_COLUMNS
    }
    columns["file"] = np.concatenate(shifted)
    return Shots(**columns, files=tuple(files))


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person should know, with what to do about it.

    ``stop``: nobody digs before this is settled. ``person``: somebody has to
    look. ``note``: said so that nothing happens in silence.
    """

    severity: Severity
    kind: str
    text: str
    do: str
    points: tuple[str, ...] = ()
    file: str = ""
    line: int = 0
    station: float = float("nan")
    offset: float = float("nan")


Findings: TypeAlias = tuple[Finding, ...]
