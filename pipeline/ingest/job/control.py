"""The job's control: ``control.csv``."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import InputError, JobError
from pipeline.ingest.csv.read import CELL_NOT_READ, read_csv
from pipeline.model import Shots
from pipeline.settings import FileFormat

COLUMNS = {
    "id": "id",
    "northing": "northing_m",
    "easting": "easting_m",
    "elevation": "elevation_m",
    "note": "description",
}


def read_control(path: Path) -> Shots:
    """Every control point; a row that cannot be read refuses the file.

    Raises
    ------
    InputError
        No such file, a column missing, a bad row, or a deviation that is none: control
        is not the place to read on past a slip.
    """
    if not path.is_file():
        raise InputError(path.name, "no such file", "name the control file in the job file")
    try:
        reading = read_csv(path, FileFormat(columns=dict(COLUMNS), header=True))
    except JobError as fault:
        # its columns are no setting of the job: they have these names
        do = f"head its columns {','.join(COLUMNS.values())}"
        raise InputError(path.name, fault.found, do) from None
    for finding in reading.findings:
        unread = finding.kind == CELL_NOT_READ
        if unread or finding.severity != "note":
            row = f"{path.name} line {finding.line}"
            text = finding.text.removeprefix(f"{row}: ").removeprefix(f"{path.name}: ")
            raise InputError(row, text, "correct it" if unread else finding.do)
    return reading.shots
