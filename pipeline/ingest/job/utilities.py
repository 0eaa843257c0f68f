"""The list of buried and standing things: ``utilities.csv``."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import InputError
from pipeline.ingest.job.listed import Row, listed_rows, numbers
from pipeline.model import Utilities, texts

COLUMNS = (
    "id", "kind", "northing_m", "easting_m", "lid_elevation_m", "depth_to_top_m", "note",
)  # fmt: skip


def read_utilities(path: Path) -> Utilities:
    """Every row of the list; a row that cannot be read refuses the file.

    A hazard that is dropped because of a typing slip is one that gets hit, so a
    bad row is not skipped here. ``lid_elevation_m`` and ``depth_to_top_m`` may
    be blank: unknown.

    Raises
    ------
    InputError
        File, line, column, what was found and what was expected.
    """
    rows = listed_rows(path, COLUMNS, "the list of buried things")
    _check(path, rows)
    return Utilities(
        id=texts(row["id"] for _, row in rows),
        kind=texts(row["kind"] for _, row in rows),
        easting=numbers(path, rows, "easting_m"),
        northing=numbers(path, rows, "northing_m"),
        lid=numbers(path, rows, "lid_elevation_m", blank=True),
        depth_to_top=numbers(path, rows, "depth_to_top_m", blank=True),
        note=texts(row["note"] for _, row in rows),
    )


def _check(path: Path, rows: list[Row]) -> None:
    """Refuse a depth above the lid, which hides a thing."""
    for line, row in rows:
        if row["depth_to_top_m"].startswith("-"):
            raise InputError(
                f"{path.name} line {line}, column 'depth_to_top_m'",
                f"found {row['depth_to_top_m']!r}, a depth above the lid",
                "state depths downward, or leave it blank if unknown",
            )
