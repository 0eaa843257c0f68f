"""Points as a table that this tool and any spreadsheet reads: metres, one row a point."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from pipeline.deliver.csv import csv_text
from pipeline.model import Floats, Shots, Table
from pipeline.units import round_half_away

COLUMNS = ("id", "northing_m", "easting_m", "elevation_m", "code", "note")
STEP_M = 1e-4
"""Coordinates are written to a tenth of a millimetre."""

_TEXTS = frozenset({"id", "code", "note"})
_ROWS = 50_000


def point_rows(parts: Iterable[Shots]) -> Iterator[bytes]:
    """The content of a CSV file of points, piece by piece.

    Parameters
    ----------
    parts : iterable of Shots
        Metres; may be a scan that comes in pieces.

    Yields
    ------
    bytes
        UTF-8: first the header row, then rows; texts that a spreadsheet would take
        for formulas are guarded as `csv.csv_text` says.

    Notes
    -----
    Rounded once, half away from zero, to 0.1 mm.
    """
    header = csv_text(Table("points", COLUMNS, (), _TEXTS))
    yield header.encode("utf-8")
    for shots in parts:
        for start in range(0, len(shots), _ROWS):
            rows = _rows(shots.take(np.arange(start, min(start + _ROWS, len(shots)))))
            text = csv_text(Table("points", COLUMNS, rows, _TEXTS))
            yield text.removeprefix(header).encode("utf-8")


def _rows(shots: Shots) -> tuple[tuple[str, ...], ...]:
    columns = (
        [str(one) for one in shots.id],
        *(_numbers(column) for column in (shots.northing, shots.easting, shots.elevation)),
        [str(one) for one in shots.code],
        [str(one) for one in shots.note],
    )
    return tuple(zip(*columns, strict=True))


def _numbers(column: Floats) -> list[str]:
    rounded: Floats = np.asarray(round_half_away(column, STEP_M))
    return [f"{value:.4f}" for value in rounded.tolist()]
