"""A folder of jobs, each run by itself: one that is refused does not keep the others."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from pipeline import publish
from pipeline.cluster import work
from pipeline.errors import LathError
from pipeline.ingest.job.job import JOB_FILE
from pipeline.kept.calls import keeping
from pipeline.run import Stopwatch, run_day
from pipeline.running import HELD

# writers of drawings and pages have switches of a whole process, such as fixed times
_ONE_AT_A_TIME = Lock()


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line says of all jobs."""

    day: str | None
    out: Path | None
    fresh: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a job: its package, or why there is none."""

    job: str
    exit_code: int
    day: str = ""
    folder: str = ""
    refusal: str = ""


def jobs_in(folder: Path) -> tuple[Path, ...]:
    """Folders with a job file directly in `folder`, by name; none where it is a job itself."""
    if not folder.is_dir() or (folder / JOB_FILE).exists():
        return ()
    return tuple(sorted(one for one in folder.iterdir() if (one / JOB_FILE).is_file()))


def run_one(job: Path, asked: Asked) -> Outcome:
    """The package of one job; a refusal is an outcome like others."""
    name = job.name
    out = None if asked.out is None else asked.out / name
    try:
        with _ONE_AT_A_TIME, keeping(fresh=asked.fresh):
            day = publish.with_earth(publish.complete(run_day(job, asked.day, Stopwatch())))
            done = publish.deliver(day, out, publish.Command(asked.day))
    except LathError as refusal:
        return Outcome(name, refusal.exit_code, refusal=str(refusal))
    held = HELD if done.day.held else 0
    return Outcome(name, held, done.day.morning.inputs.day, str(done.folder))


def run_many(
    jobs: tuple[Path, ...], day: str | None, out: Path | None, *, fresh: bool
) -> list[Outcome]:
    """Every job in its order: one at a time here, one in each worker on a cluster."""
    whole = None if out is None else out.resolve()
    return work(run_one, [job.resolve() for job in jobs], Asked(day, whole, fresh))


def outcome_words(found: list[Outcome]) -> list[str]:
    """One line a job, and how many came out how."""
    said = {0: "done", HELD: "HELD"}
    lines = [
        f"{one.job:<24} {said.get(one.exit_code, 'none'):<5} {one.folder or one.refusal}"
        for one in found
    ]
    counts = [sum(one.exit_code == code for one in found) for code in (0, HELD)]
    rest = len(found) - sum(counts)
    return [*lines, f"{counts[0]} done, {counts[1]} held, {rest} without a package"]


def outcome_objects(found: list[Outcome]) -> list[dict[str, Any]]:
    """The same for ``--json``."""
    names = ("job", "exit_code", "day", "folder", "refusal")
    return [{name: getattr(one, name) or None for name in names}
            | {"exit_code": one.exit_code} for one in found]  # fmt: skip
