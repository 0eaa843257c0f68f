"""The points of a scan that is larger than memory, laid down once by square pieces of plan.

One pass over the file, whatever its order; afterwards the points of a piece are
read from a temporary file by themselves, in the order of the scan.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import RawIOBase
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import InputError
from pipeline.ingest.las.crs import las_units
from pipeline.ingest.las.header import read_header
from pipeline.ingest.las.read import (
    GROUND,
    MOST_SHOTS,
    LasChunk,
    LasTally,
    counted_chunks,
    has_ground,
)
from pipeline.model import Floats, Ints
from pipeline.settings import FileFormat
from pipeline.units import metres_per

SIDE_M = 16.0
"""Side of a piece: some million points of a dense scan, and few of them on its edges."""
_MOST_ACROSS = 255
_MOST_POINTS = (1 << 32) - 1
"""What the number of a point in the temporary file can count to."""
_SEARCHED = 1_000_000
# a run of points lies column by column: what is read is what is worked with
_COLUMNS = tuple(np.dtype(kind) for kind in ("<f8", "<f8", "<f8", "<u4"))
_POINT_BYTES = sum(kind.itemsize for kind in _COLUMNS)


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One square of plan: where its points lie in the file ``path``, (k, 2) first and count.

    ``west``, ``south``, ``side`` bound it [m on the grid].
    """

    path: str
    rows: Ints
    west: float
    south: float
    side: float

    def points(self) -> tuple[Floats, Floats, Floats, Ints]:
        """Easting, northing, elevation and record of its points, in the order of the scan."""
        total = int(self.rows[:, 1].sum())
        x, y, z = (np.empty(total) for _ in range(3))
        record = np.empty(total, dtype=np.int64)
        run = np.empty(int(self.rows[:, 1].max()) * _POINT_BYTES, dtype=np.uint8)
        at = 0
        with Path(self.path).open("rb", buffering=0) as stream:
            for first, count in self.rows.tolist():
                stream.seek(first * _POINT_BYTES)
                if not _filled(stream, run.data[: count * _POINT_BYTES]):
                    raise InputError(self.path, "was cut short while it was used", "run again")
                for column, part in zip((x, y, z, record), _columns(run, count), strict=True):
                    column[at : at + count] = part
                at += count
        return x, y, z, record


def _filled(stream: RawIOBase, room: memoryview) -> bool:
    """Whether there was enough to fill it; one read of a plain file may give less."""
    while room:
        many = stream.readinto(room)
        if not many:
            return False
        room = room[many:]
    return True


def _columns(run: NDArray[np.uint8], count: int) -> list[NDArray[Any]]:
    """Views of the columns of a run of so many points."""
    ends = np.cumsum([0, *(kind.itemsize * count for kind in _COLUMNS)]).tolist()
    return [run[ends[k] : ends[k + 1]].view(kind) for k, kind in enumerate(_COLUMNS)]


@dataclass(frozen=True, slots=True, eq=False)
class Spilled:
    """A scan in pieces, the least of each coordinate, and what reading it told."""

    pieces: tuple[Piece, ...]
    least: tuple[float, float, float]
    most: tuple[float, float, float]
    tally: LasTally


@dataclass(frozen=True, slots=True)
class LargeScan:
    """A scan that is read when it is used, and never as a whole."""

    path: Path
    format: FileFormat


def is_large(path: Path) -> bool:
    """True for a scan of more points than are made into shots at once."""
    return path.suffix.lower() in {".las", ".laz"} and read_header(path).points > MOST_SHOTS


@contextmanager
def spilled(scan: LargeScan) -> Iterator[Spilled]:
    """The scan in pieces, in a temporary folder that is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="lath-scan-") as folder:
        yield spill(scan.path, scan.format, Path(folder))


def spill(path: Path, fmt: FileFormat, folder: Path) -> Spilled:
    """Lay the points of a scan down in `folder`, in pieces.

    Raises
    ------
    InputError
        As `las_chunks`; more points than can be numbered; no point to use; or the file
        changed while it was read.
    """
    header = read_header(path)
    if header.points > _MOST_POINTS:
        header.refuse(
            f"{header.points:,} points, more than {_MOST_POINTS:,}",
            "split the scan into files of fewer points",
        )
    ground = has_ground(path, header, _SEARCHED, pieces=2)
    # a scan whose ground comes late is read again, one without ground only once
    found = _laid(path, fmt, folder, ground=ground) or _laid(path, fmt, folder, ground=True)
    assert found is not None  # noqa: S101 - given up only while ground was not looked for
    return found


def _laid(path: Path, fmt: FileFormat, folder: Path, *, ground: bool) -> Spilled | None:
    """`spill` of the ground, or of all classes; None as soon as there is ground among all."""
    before = path.stat()
    header = read_header(path)
    tally = LasTally(header, las_units(header, fmt.unit), found_ground=ground)
    tally.classes = frozenset((GROUND,)) if ground else None
    least, most = np.full(3, np.inf), np.full(3, -np.inf)
    handle, name = tempfile.mkstemp(prefix="scan-", suffix=".points", dir=folder)
    pieces: dict[int, list[tuple[int, int]]] = {}
    plan: _Plan | None = None
    written = 0
    with os.fdopen(handle, "wb") as stream:
        for chunk in counted_chunks(path, tally):
            if not ground and (chunk.classification == GROUND).any():
                return None
            plan = plan or _plan(tally)
            for k, column in enumerate((chunk.easting, chunk.northing, chunk.elevation)):
                least[k], most[k] = min(least[k], column.min()), max(most[k], column.max())
            written += _lay_down(chunk, plan, stream, written, pieces)
    after = path.stat()
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise InputError(path.name, "changed while it was read", "run again once it is whole")
    if plan is None:
        header.refuse("no point to use", "name the classes to use")
    found = tuple(plan.piece(name, tile, pieces[tile]) for tile in sorted(pieces))
    lows, highs = (tuple(float(v) for v in side) for side in (least, most))
    return Spilled(found, lows, highs, tally)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class _Plan:
    """Squares from a corner on [m]."""

    west: float
    south: float
    side: float

    def tiles(self, x: Floats, y: Floats) -> NDArray[np.uint16]:
        # a header's box may be narrower than its points: those beyond go to the outer squares,
        # which reach as far as they must
        column, row = (
            np.clip(np.floor((v - low) / self.side), 0, _MOST_ACROSS - 1)
            for v, low in ((x, self.west), (y, self.south))
        )
        return np.asarray((row * _MOST_ACROSS + column).astype(np.uint16))

    def piece(self, path: str, tile: int, rows: list[tuple[int, int]]) -> Piece:
        row, column = divmod(tile, _MOST_ACROSS)
        west, south = self.west + column * self.side, self.south + row * self.side
        return Piece(path, np.array(rows, dtype=np.int64), west, south, self.side)


def _plan(tally: LasTally) -> _Plan:
    assert tally.header is not None  # noqa: S101 - set before the first chunk
    assert tally.units is not None  # noqa: S101 - set before the first chunk
    scale = metres_per(tally.units.plan)
    low, high = (np.array(side[:2]) * scale for side in (tally.header.low, tally.header.high))
    low = np.where(np.isfinite(low), low, 0.0)
    reach = float(np.nan_to_num(high - low, posinf=0.0, neginf=0.0).max())
    side = max(SIDE_M, reach / (_MOST_ACROSS - 1))
    return _Plan(float(low[0]), float(low[1]), side)


def _lay_down(
    chunk: LasChunk,
    plan: _Plan,
    stream: IO[bytes],
    at: int,
    pieces: dict[int, list[tuple[int, int]]],
) -> int:
    """One piece of the file, sorted by square; how many points that were."""
    tile = plan.tiles(chunk.easting, chunk.northing)
    order = np.argsort(tile, kind="stable")
    all_of_it = (chunk.easting, chunk.northing, chunk.elevation, chunk.record)
    columns = [column[order] for column in all_of_it]
    tile = tile[order]
    first = np.flatnonzero(np.concatenate(([True], tile[1:] != tile[:-1])))
    count = np.diff(np.append(first, len(tile)))
    for number, begin, many in zip(
        tile[first].tolist(), first.tolist(), count.tolist(), strict=True
    ):
        for column, kind in zip(columns, _COLUMNS, strict=True):
            stream.write(column[begin : begin + many].astype(kind, copy=False).data)
        pieces.setdefault(number, []).append((at + begin, many))
    return len(order)
