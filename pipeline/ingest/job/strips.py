"""The heights of a test strip, before mixing and after compaction: ``strip.csv``."""

from __future__ import annotations

from pathlib import Path

from pipeline.ingest.job.listed import listed_rows, numbers
from pipeline.model import texts
from pipeline.model.strip import StripHeights

COLUMNS = ("id", "northing_m", "easting_m", "before_m", "after_m")


def read_strip(path: Path) -> StripHeights:
    """Every place of the strip; ``before_m`` and ``after_m`` may be blank: not measured.

    Raises
    ------
    InputError
        File, line, column, what was found and what was expected: the mean of a strip
        sets the height of a street, so no row of it is dropped for a typing slip.
    """
    rows = listed_rows(path, COLUMNS, "the heights of the strip")
    return StripHeights(
        file=path.name,
        id=texts(row["id"] for _, row in rows),
        easting=numbers(path, rows, "easting_m"),
        northing=numbers(path, rows, "northing_m"),
        before=numbers(path, rows, "before_m", blank=True),
        after=numbers(path, rows, "after_m", blank=True),
    )
