"""Everything a day's run reads, in one place: job, design, control, buried things, shots."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.ingest.control import read_control
from pipeline.ingest.designfiles import DesignFiles, read_design
from pipeline.ingest.files import read
from pipeline.ingest.gnss import GnssRules, read_gnss
from pipeline.ingest.job import JOB_FILE, job_path, read_job
from pipeline.ingest.landxml_observations import read_landxml_observations
from pipeline.ingest.morning import MorningFile, fingerprint, latest_day, morning_files
from pipeline.ingest.observations import read_observations
from pipeline.ingest.utilities import read_utilities
from pipeline.model import FieldNotes, Fingerprint, Reading, Shots, Utilities
from pipeline.settings import Job


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """Everything that was read, before anything is judged.

    ``readings`` has one entry a file of the day: what a reader of points gave,
    or the sightings that still have to be reduced.
    """

    job: Job
    day: str
    design: DesignFiles
    control: Shots | None
    utilities: Utilities | None
    files: tuple[MorningFile, ...]
    readings: tuple[Reading | FieldNotes, ...]
    fingerprints: tuple[Fingerprint, ...]


def read_inputs(folder: Path, day: str | None) -> Inputs:
    """Job, design, control, buried things and every file of the morning."""
    job = read_job(folder)
    day = day or latest_day(job)
    design = read_design(job)
    paths = [job.folder / JOB_FILE, *design.paths]
    record = utilities = None
    if job.control:
        paths.append(job_path(job, job.control))
        record = read_control(paths[-1])
    if job.utilities:
        paths.append(job_path(job, job.utilities))
        utilities = read_utilities(paths[-1])
    files = morning_files(job, day)
    paths += [file.path for file in files]
    return Inputs(
        job=job,
        day=day,
        design=design,
        control=record,
        utilities=utilities,
        files=files,
        readings=tuple(_read(file, job) for file in files),
        fingerprints=tuple(fingerprint(path, job.folder) for path in paths),
    )


def _read(file: MorningFile, job: Job) -> Reading | FieldNotes:
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
