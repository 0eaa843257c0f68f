"""Everything a day's run reads, in one place: job, design, control, buried things, shots."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import LathError
from pipeline.ingest.field.gnss import GnssRules, read_gnss
from pipeline.ingest.field.observations import read_observations
from pipeline.ingest.files import read
from pipeline.ingest.job.control import read_control
from pipeline.ingest.job.designfiles import DesignFiles, read_design
from pipeline.ingest.job.job import job_file, job_path, read_job
from pipeline.ingest.job.morning import (
    MorningFile,
    Seen,
    days,
    fingerprint,
    latest_day,
    morning_files,
    passed_over,
    put_aside,
    see,
)
from pipeline.ingest.job.strips import read_strip
from pipeline.ingest.job.utilities import read_utilities
from pipeline.ingest.landxml.observations import read_landxml_observations
from pipeline.ingest.las.spill import LargeScan, is_large
from pipeline.model import FieldNotes, Findings, Fingerprint, Reading, Shots, Utilities, join_shots
from pipeline.model.strip import StripHeights
from pipeline.settings import Job

TABLES = frozenset({".csv", ".txt", ".tsv", ".pts", ".xyz"})
"""Endings of tables of points, which are small enough to be read again the day after."""


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """Everything that was read, before anything is judged.

    ``readings`` has one entry a file of the day: what a reader of points gave,
    or the sightings that still have to be reduced. ``aside`` names the files of the
    day that are pictures, documents or the like, and were not read. ``strips`` are the
    heights of the test strips that the job names by their file, in its order.
    """

    job: Job
    day: str
    design: DesignFiles
    control: Shots | None
    utilities: Utilities | None
    files: tuple[MorningFile, ...]
    readings: tuple[Reading | FieldNotes | LargeScan, ...]
    aside: Findings
    yesterday: Shots | None
    fingerprints: tuple[Fingerprint, ...]
    strips: tuple[StripHeights, ...] = ()


def read_inputs(folder: Path, day: str | None) -> Inputs:
    """Job, design, control, buried things and every file of the morning.

    Parameters
    ----------
    folder : Path
        The job folder, or its ``job.toml``.
    day : str or None
        Folder of the day; None: the latest.

    Raises
    ------
    JobError, DesignError, InputError
        As the reader of each file; or a file that changed while it was read.
    """
    seen = [see(job_file(folder))]
    job = read_job(folder)
    day = day or latest_day(job)
    design = read_design(job)
    control, utilities, records = _records(job)
    files, aside = put_aside(job, morning_files(job, day))
    before = _day_before(job, day)
    # what of yesterday's files this day was compared with is an input as well
    seen += [*design.seen, *records, *(see(file.path) for file in (*files, *before))]
    readings = tuple(_read(file, job) for file in files)
    yesterday = _shots_of(before)
    strips = [see(job_path(job, rule.file)) for rule in job.stabilising.strip_files]
    seen += strips
    return Inputs(
        job=job,
        day=day,
        design=design,
        control=control,
        utilities=utilities,
        files=files,
        readings=readings,
        aside=(*aside, *passed_over(job, day)),
        yesterday=yesterday,
        strips=tuple(read_strip(one.path) for one in strips),
        fingerprints=tuple(fingerprint(one, job.folder) for one in seen),
    )


def read_before_shots(folder: Path) -> Inputs:
    """Job, design, control and buried things: all there is before anybody shoots.

    Raises
    ------
    JobError, DesignError, InputError
        As `read_inputs`.
    """
    seen = [see(job_file(folder))]
    job = read_job(folder)
    design = read_design(job)
    control, utilities, records = _records(job)
    seen += [*design.seen, *records]
    return Inputs(
        job=job,
        day="",
        design=design,
        control=control,
        utilities=utilities,
        files=(),
        readings=(),
        aside=(),
        yesterday=None,
        fingerprints=tuple(fingerprint(one, job.folder) for one in seen),
    )


def _records(job: Job) -> tuple[Shots | None, Utilities | None, list[Seen]]:
    """Control and buried things, and the files that they stand in."""
    seen: list[Seen] = []
    control = utilities = None
    if job.control:
        seen.append(see(job_path(job, job.control)))
        control = read_control(seen[-1].path)
    if job.utilities:
        seen.append(see(job_path(job, job.utilities)))
        utilities = read_utilities(seen[-1].path)
    return control, utilities, seen


def _day_before(job: Job, day: str) -> tuple[MorningFile, ...]:
    """Tables of points of the last day before this one; none where there is none to read."""
    before = [name for name in days(job) if name[:10] < day[:10]]
    if not before:
        return ()
    with suppress(LathError):
        return tuple(
            file
            for file in morning_files(job, before[-1])
            if file.format.kind == "points" and file.path.suffix.lower() in TABLES
        )
    return ()


def _shots_of(files: tuple[MorningFile, ...]) -> Shots | None:
    """Their shots, only for comparing: one that cannot be read any more stops nothing today."""
    parts: list[Shots] = []
    for file in files:
        with suppress(LathError):
            parts.append(read(file.path, file.format).shots)
    return join_shots(parts) if parts else None


def _read(file: MorningFile, job: Job) -> Reading | FieldNotes | LargeScan:
    if file.format.kind == "scan" and is_large(file.path):
        return LargeScan(file.path, file.format)
    if file.format.kind == "sightings":
        if file.path.suffix.lower() in {".xml", ".landxml"}:
            return read_landxml_observations(file.path)
        return read_observations(file.path)
    if file.format.kind == "positions":
        return read_gnss(file.path, _gnss_rules(job))
    return read(file.path, file.format)


def _gnss_rules(job: Job) -> GnssRules:
    rules = job.shots.positions
    origin = rules.local_origin_deg
    return GnssRules(
        source_crs=rules.source_crs,
        grid_crs=job.grid.crs,
        local_origin_deg=None if origin is None else (origin[0], origin[1]),
        separation_m=rules.separation_m,
        tie_to_control=rules.localise and rules.vertical != "none",
        antenna_height_m=rules.antenna_height_m,
        accuracy_m=rules.accuracy_m,
        epoch=rules.epoch,
    )
