"""Which files a morning brought, and their fingerprints."""

from __future__ import annotations

import hashlib
import os
import re
from contextlib import suppress
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path

from pipeline.errors import InputError
from pipeline.ingest.files import HARMLESS, not_survey
from pipeline.ingest.job.job import job_path
from pipeline.model import Finding, Findings, Fingerprint, Severity
from pipeline.model.telling import counted
from pipeline.settings import FileFormat, Job

DAY = re.compile(r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])[a-z]?", re.ASCII)
"""A second package of one day has a letter behind the date."""
_ALMOST = re.compile(r"\d{2,4}\D\d{1,2}\D\d{1,4}", re.ASCII)


@dataclass(frozen=True, slots=True)
class MorningFile:
    """One file of the day and how it is read."""

    path: Path
    format: FileFormat


def days(job: Job) -> tuple[str, ...]:
    """Folders of days, the earliest first; other folders are none.

    Raises
    ------
    InputError
        A folder that is named almost as a day is.
    """
    root = job_path(job, job.shots.folder)
    folders = [one.name for one in (root.iterdir() if root.is_dir() else ()) if one.is_dir()]
    for name in sorted(folders):
        if _ALMOST.match(name) and not DAY.fullmatch(name):
            raise InputError(
                f"{job.shots.folder}/{name}",
                "looks like a day and is none",
                "name it YYYY-MM-DD, or another day would be run in its place",
            )
    return tuple(sorted(name for name in folders if DAY.fullmatch(name)))


def latest_day(job: Job) -> str:
    """The last day folder by name, so days are named YYYY-MM-DD.

    Raises
    ------
    InputError
        There is no day folder.
    """
    found = days(job)
    if not found:
        raise InputError(
            f"{job.shots.folder}/", "no folder of a day", "lay the shots down as shots/2026-05-14/"
        )
    return found[-1]


def morning_files(job: Job, day: str) -> tuple[MorningFile, ...]:
    """Every file of the day, by name, each with the first format whose pattern fits.

    Raises
    ------
    InputError
        No such day, or an empty one.
    """
    if not DAY.fullmatch(day):
        raise InputError(
            f"day {day!r}", "is no date", "name the day's folder YYYY-MM-DD, such as 2026-05-14"
        )
    folder = job_path(job, f"{job.shots.folder}/{day}")
    if not folder.is_dir():
        raise InputError(
            f"{job.shots.folder}/{day}", "no such folder", "name a day that has shots with --day"
        )
    names = sorted(
        path.name for path in folder.iterdir() if path.is_file() and not path.name.startswith(".")
    )
    # each by itself: a link in the day's folder may lead out of the job
    files = [
        MorningFile(job_path(job, f"{job.shots.folder}/{day}/{name}"), _format_of(job, name))
        for name in names
    ]
    if not files:
        raise InputError(f"{job.shots.folder}/{day}", "no file", "lay the day's shots there")
    return tuple(files)


def put_aside(job: Job, files: tuple[MorningFile, ...]) -> tuple[tuple[MorningFile, ...], Findings]:
    """The files that can hold shots, and a finding for each that is something else.

    A photo beside the shots is no reason to refuse a morning; a file that a format of the
    job names is always read, whatever it looks like.

    Raises
    ------
    InputError
        No file is left.
    """
    read, found = [], []
    for file in files:
        named = any(fnmatch(file.path.name, one.files) for one in job.shots.formats
                    if one.files != "*")  # fmt: skip
        what = "" if named else not_survey(file.path)
        if not what:
            read.append(file)
            continue
        do = "export its points as text if it holds shots of today"
        found.append(_not_read(file.path.name, what, do, harmless=what in HARMLESS))
    if not read:
        names = ", ".join(file.path.name for file in files)
        raise InputError(f"the day's files {names}", "hold no shots", "lay the day's shots there")
    return tuple(read), tuple(found)


def passed_over(job: Job, day: str) -> Findings:
    """A finding for each thing in the day's folder that is no plain file, and so is not read.

    A card is often copied with the folder that it had: shots that lie a folder too deep would
    be missing, and the morning whole all the same.
    """
    found = []
    folder = job_path(job, f"{job.shots.folder}/{day}")
    for path in sorted(folder.iterdir()):
        if path.is_file() or path.name.startswith("."):
            continue
        files = _below(path)
        harmless = path.is_dir() and all(not_survey(one) in HARMLESS for one in files)
        what = f"a folder with {counted(len(files), 'file')}" if path.is_dir() else "no plain file"
        do = f"lay shots of today in {job.shots.folder}/{day} itself, or move it away"
        found.append(_not_read(path.name, what, do, harmless=harmless))
    return tuple(found)


def _not_read(name: str, what: str, do: str, *, harmless: bool) -> Finding:
    """A person has to do what is said, unless nothing of the kind can hold a shot."""
    severity: Severity = "note" if harmless else "person"
    text = f"{name} is {what}: not read"
    return Finding(severity, "not read", text, "nothing" if harmless else do, file=name)


def _below(folder: Path) -> list[Path]:
    """Plain files under a folder of the day, not behind links, hidden ones left out."""
    places = (Path(place) / name for place, _, names in os.walk(folder) for name in names)
    return sorted(path for path in places if path.is_file() and not path.name.startswith("."))


def _format_of(job: Job, name: str) -> FileFormat:
    for candidate in job.shots.formats:
        if fnmatch(name, candidate.files):
            return candidate
    return FileFormat()


@dataclass(frozen=True, slots=True)
class Seen:
    """A file, and how it stood before it was read; nothing where there was none."""

    path: Path
    stamp: tuple[int, ...]


def see(path: Path) -> Seen:
    """Look at a file that is about to be read, so that `fingerprint` can tell if it changes."""
    return Seen(path, _stamp(path))


def _stamp(path: Path) -> tuple[int, ...]:
    try:
        found = path.stat()
    except (OSError, ValueError):
        return ()  # its reader says what is wrong with it
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns


def fingerprint(seen: Seen, root: Path) -> Fingerprint:
    """Name relative to `root` where it lies inside, size and SHA-256 of a file's bytes.

    Raises
    ------
    InputError
        The file is no longer as it was before it was read: what was read of it may be
        half of one file and half of another.
    """
    path, digest, size = seen.path, hashlib.sha256(), 0
    with suppress(OSError), path.open("rb") as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
            size += len(block)
    inside = path.resolve().is_relative_to(root.resolve())
    name = path.resolve().relative_to(root.resolve()).as_posix() if inside else path.name
    if not seen.stamp or _stamp(path) != seen.stamp:
        raise InputError(
            name, "it changed while it was read", "wait until it is copied in full, then run again"
        )
    return Fingerprint(name, size, digest.hexdigest())
