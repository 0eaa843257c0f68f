"""Faults at the history of the job: it holds what it held or the new day too, and never less.

The package does not wait for it: a run whose history cannot be written is done, and says so.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from pipeline.deliver.history import HISTORY_FILE, DayRecord, record, records
from pipeline.ingest.job.job import read_job
from tests.faults import traced
from tests.faults.bench import DAY, Bench, Ended, Fault
from tests.faults.disk import NO_MOUNT, _mount, _unmount

BEFORE = "2026-05-13"
SAID = "what it held is unchanged"
"""Said at the end where it cannot be written, and among the findings where it cannot be read."""
PAGE_BYTES = 4096


def tried(bench: Bench, *, quick: bool) -> Iterator[Fault]:
    """Killed and failing at every call on the file, and a real disk without room for it."""
    name = read_job(bench.job / "job.toml").name
    if traced.usable():
        for held in (True, False):
            yield from _at_calls(bench, name, held=held, every=24 if quick else 1)
    else:
        yield Fault("the history", "calls of SQLite", untried="no strace, or it may not trace")
    yield from _small_disk(bench, name, most=3 if quick else 12)


def _out(bench: Bench, name: str, *, held: bool, place: Path | None = None) -> Path:
    """A folder of packages, with or without a history of an earlier day."""
    out = bench.out(place)
    if held:
        record(out / HISTORY_FILE, name, DayRecord(BEFORE, "earlier", False, 9, ()))
    return out


def _at_calls(bench: Bench, name: str, *, held: bool, every: int) -> Iterator[Fault]:
    state = "a history that is there" if held else "a new history"
    calls = _calls(bench, name, held=held)
    for call, number in calls[::every]:
        where = f"{state}, {call} {number}"
        faults = [("signal=SIGKILL", 0)]
        if call not in {"unlink", "openat"}:
            faults += [("error=ENOSPC", errno.ENOSPC), ("error=EIO", errno.EIO)]
        for fault, code in faults:
            out = _out(bench, name, held=held)
            rest = "+" if code == errno.ENOSPC else ""
            inject = f"{call}:{fault}:when={number}{rest}"
            ended = _traced_run(bench, out, inject)
            kind = f"{os.strerror(code).lower()}, the history" if code else "kill -9 at the history"
            wrong = _wrong(bench, out, name, ended, held=held, killed=not code)
            yield Fault(kind, where, wrong)


def _calls(bench: Bench, name: str, *, held: bool) -> list[tuple[str, int]]:
    out = _out(bench, name, held=held)
    log = bench.folder / "traced.log"
    log.unlink(missing_ok=True)
    ended = _traced_run(bench, out, "")
    if ended.code != 0:
        raise RuntimeError(ended.said)
    return traced.calls_in(log)


def _traced_run(bench: Bench, out: Path, inject: str) -> Ended:
    files = [out / f"{HISTORY_FILE}{end}" for end in ("", "-journal")]
    return bench.run(out, lambda: traced.attach(files, bench.folder / "traced.log", inject))


def _wrong(
    bench: Bench, out: Path, name: str, ended: Ended, *, held: bool, killed: bool
) -> str:  # fmt: skip
    if killed and ended.code != -9:
        return f"it ended with {ended.code}, it was not killed"
    if not killed and (ended.code != 0 or "Traceback" in ended.said):
        return f"it ended with {ended.code}: {ended.said[-300:]}"
    told = SAID in ended.said
    days = _days(out, name)
    if isinstance(days, str):
        return days
    if days not in ([BEFORE] * held, [BEFORE] * held + [DAY]):
        return f"the history holds {days}"
    if not killed and not told and DAY not in days:
        return f"the day is not in the history and nobody is told: {ended.said[-300:]}"
    wrong = bench.wrong_with(out) or bench.next_run_is_clean(out)
    if not wrong and (now := _days(out, name)) != [BEFORE] * held + [DAY]:
        wrong = f"after the next run the history holds {now}"
    return wrong


def _days(out: Path, name: str) -> list[str] | str:
    """The days of a history as our reader and as SQLite itself find it, or what is wrong."""
    path = out / HISTORY_FILE
    days = [one.day for one in records(path, name)]
    if path.exists():
        connection = sqlite3.connect(path)
        try:
            (told,) = connection.execute("PRAGMA integrity_check").fetchone()
        finally:
            connection.close()
        if told != "ok":
            return f"SQLite says of the history: {told}"
    return days


def _small_disk(bench: Bench, name: str, *, most: int) -> Iterator[Fault]:
    """A real small disk (tmpfs) that has room for the package and so many pages more."""
    place = bench.folder / "history-disk"
    place.mkdir()
    if not _mount(place, "size=64m"):
        yield Fault("a full disk, the history", "tmpfs", untried=NO_MOUNT)
        return
    try:
        for pages in range(most):
            for held in (True, False):
                out = _out(bench, name, held=held, place=place)
                ballast = place / "ballast"
                with ballast.open("wb") as stream:
                    files = [len(content) for content in bench.new.values()]
                    # whole pages; and those of the lock, the folder and the manifest
                    room = sum(-(-size // PAGE_BYTES) for size in files) + 3 + pages
                    free = shutil.disk_usage(place).free - room * PAGE_BYTES
                    stream.write(bytes(max(free, 0)))
                ended = bench.run(out)
                ballast.unlink()
                wrong = ""
                if ended.code != 3:
                    wrong = _wrong(bench, out, name, ended, held=held, killed=False)
                elif not (wrong := bench.wrong_with(out, must_be_old=True)):
                    wrong = bench.next_run_is_clean(out)
                there = "there" if held else "new"
                where = f"{pages} pages more than the package, history {there}"
                yield Fault("a full disk, the history", where, wrong)
                shutil.rmtree(out)
    finally:
        _unmount(place)
