"""Everything a day's run reads, in one place: job, design, control, buried things, shots."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.ingest.control import read_control
from pipeline.ingest.designfiles import DesignFiles, read_design
from pipeline.ingest.files import read
from pipeline.ingest.job import JOB_FILE, job_path, read_job
from pipeline.ingest.morning import fingerprint, latest_day, morning_files
from pipeline.ingest.utilities import read_utilities
from pipeline.model import Fingerprint, Reading, Shots, Utilities, join_shots
from pipeline.settings import Job


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """Everything that was read, before anything is judged."""

    job: Job
    day: str
    design: DesignFiles
    control: Shots | None
    utilities: Utilities | None
    readings: tuple[Reading, ...]
    shots: Shots
    keeps_faces: tuple[bool, ...]
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
    readings = tuple(read(file.path, file.format) for file in files)
    return Inputs(
        job=job,
        day=day,
        design=design,
        control=record,
        utilities=utilities,
        readings=readings,
        shots=join_shots(
            _with_code(reading.shots, file.format.code)
            for reading, file in zip(readings, files, strict=True)
        ),
        keeps_faces=tuple(
            file.format.faces == "keep" and bool(reading.meshes)
            for reading, file in zip(readings, files, strict=True)
        ),
        fingerprints=tuple(fingerprint(path, job.folder) for path in paths),
    )


def _with_code(shots: Shots, code: str) -> Shots:
    """The shots, those without a code carrying the one the job states for the file."""
    if not code:
        return shots
    filled = np.where(shots.code == "", code, shots.code)
    return replace(shots, code=filled.astype(object))
