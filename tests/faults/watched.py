"""Faults of a watch that stands all day, and of a folder of jobs that is run through a night."""

from __future__ import annotations

import errno
import os
import random
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.faults.bench import Bench, Fault, calls_of, kill_me, lay
from tests.faults.disk import NO_MOUNT, _mount, _unmount

JOBS = ("alder", "birch", "cedar")
"""Invented."""


def tried(bench: Bench, *, quick: bool) -> Iterator[Fault]:
    """A watch killed, a watch on a full disk; one of three jobs refused, and all three killed."""
    yield from _watch_killed(bench, turns=2 if quick else 25)
    yield from _watch_on_a_full_disk(bench)
    yield from _one_of_many_refused(bench)
    yield from _many_killed(bench, every=97 if quick else 7)


def _start(bench: Bench, out: Path) -> tuple[int, Path]:
    """A watch as a child that stays; its process number and where its words go."""
    said = bench.folder / "watch-said.txt"
    said.write_bytes(b"")
    return bench.start(["watch", str(bench.job), "--out", str(out), "--every", "0.05"], said), said


def _watch_killed(bench: Bench, *, turns: int, seed: int = 9) -> Iterator[Fault]:
    chance = random.Random(seed)
    out = bench.out()
    for turn in range(turns):
        child, _ = _start(bench, out)
        time.sleep(chance.uniform(0.1, 0.5))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        yield Fault("kill -9 of a watch", f"turn {turn}", bench.wrong_with(out))
    yield Fault("kill -9 of a watch", "the run after", bench.next_run_is_clean(out))


def _until(said: Path, text: str, times: int = 1, seconds: float = 30.0) -> str:
    """Wait for words of a child; what is wrong if they do not come."""
    end = time.monotonic() + seconds
    while (words := said.read_text(encoding="utf-8", errors="replace")).count(text) < times:
        if time.monotonic() > end:
            return f"it never said {text!r}: {words[-300:]}"
        time.sleep(0.02)
    return ""


def _watch_on_a_full_disk(bench: Bench) -> Iterator[Fault]:
    """Refused for want of room, it watches on; with room and a new file it delivers."""
    place = bench.folder / "watch-disk"
    place.mkdir()
    if not _mount(place, "size=16m"):
        yield Fault("a watch on a full disk", "tmpfs", untried=NO_MOUNT)
        return
    try:
        out = bench.out(place)
        ballast = place / "ballast"
        with ballast.open("wb") as stream:
            stream.write(bytes(shutil.disk_usage(place).free - 100_000))
        child, said = _start(bench, out)
        wrong = _until(said, "watching on")
        words = said.read_text(encoding="utf-8")
        if "No space left on device" not in words or "Make room on the disk" not in words:
            wrong = wrong or f"it does not say that the disk is full: {words[-300:]}"
        wrong = wrong or bench.wrong_with(out, must_be_old=True)
        yield Fault("a watch on a full disk", "refused", wrong)
        ballast.unlink()
        touched = next((bench.job / "shots").glob("*/hubs.csv"))
        os.utime(touched)
        wrong = _until(said, "watching on", times=2)
        os.kill(child, signal.SIGINT)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        words = said.read_text(encoding="utf-8")
        if code != 0 or "Traceback" in words:
            wrong = wrong or f"it ended with {code}: {words[-300:]}"
        yield Fault("a watch on a full disk", "room again", wrong or bench.wrong_with(
            out, must_be_new=True))  # fmt: skip
    finally:
        _unmount(place)


def _many(bench: Bench) -> tuple[Path, Path, list[Path]]:
    """A folder of jobs, where their packages go, and yesterday's package of each."""
    streets, out = bench.folder / "streets", bench.folder / f"many-{bench.turn}"
    for name in JOBS:
        if not (streets / name).exists():
            shutil.copytree(bench.job, streets / name)
        made = bench.out()
        out.mkdir(exist_ok=True)
        made.rename(out / name)
    return streets, out, [out / name for name in JOBS]


def _run(bench: Bench, streets: Path, out: Path, fault: Callable[[], None] = lambda: None):
    return bench.child(["run", str(streets), "--out", str(out)], fault)


def _one_of_many_refused(bench: Bench) -> Iterator[Fault]:
    """A disk that fails under the second job: the others are done, and that is said."""
    for code in (errno.ENOSPC, errno.EIO, errno.EROFS):
        streets, out, outs = _many(bench)

        def fail(name: str, _at: int, given: tuple, of: Path = outs[1], code: int = code) -> None:
            if name in {"mkdir", "open"} and os.fspath(given[0]).startswith(f"{of}{os.sep}"):
                raise OSError(code, os.strerror(code))

        ended = _run(bench, streets, out, lambda fail=fail: lay(fail))
        wrong = ""
        if ended.code != 3 or "2 done, 0 held, 1 without a package" not in ended.said:
            wrong = f"it ended with {ended.code}: {ended.said[-300:]}"
        wrong = wrong or bench.wrong_with(outs[1], must_be_old=True)
        wrong = wrong or bench.wrong_with(outs[0], must_be_new=True)
        wrong = wrong or bench.wrong_with(outs[2], must_be_new=True)
        ended = _run(bench, streets, out)
        if not wrong and "3 done, 0 held, 0 without a package" not in ended.said:
            wrong = f"the next run: {ended.said[-300:]}"
        yield Fault(f"{os.strerror(code).lower()}, one of three jobs", JOBS[1], wrong)


def _many_killed(bench: Bench, *, every: int) -> Iterator[Fault]:
    """Killed at a call of a run of three jobs: each has its old or its new package."""
    most = len(JOBS) * len(calls_of(bench))
    for number in range(1, most, every):
        streets, out, outs = _many(bench)

        def kill(_name: str, at: int, _given: tuple, number: int = number) -> None:
            if at == number:
                kill_me()

        ended = _run(bench, streets, out, lambda kill=kill: lay(kill))
        wrong = "" if ended.code in {-9, 0} else f"it ended with {ended.code}"
        for each in outs:
            wrong = wrong or bench.wrong_with(each)
        ended = _run(bench, streets, out)
        for each in outs:
            wrong = wrong or bench.wrong_with(each, must_be_new=True)
        if not wrong and (left := [p.name for p in out.rglob(".*")]):
            wrong = f"left: {left}"
        yield Fault("kill -9 within three jobs", f"call {number}", wrong)
        shutil.rmtree(out)
