"""Faults at kept results: whatever becomes of them, the package is that of a run without.

A result that cannot be kept is no fault: the run goes on. A run killed while it keeps one
leaves yesterday's package and nothing that a later run believes.
"""

from __future__ import annotations

import errno
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from pipeline.kept import calls as kept_calls
from pipeline.kept.store import MAGIC, PART
from tests.faults.bench import CALLS, ROOT, Bench, Ended, Fault, kill_me
from tests.faults.disk import NO_MOUNT, _mount, _unmount, _without_privilege

KEPT_CALLS = (*CALLS, "utime")
CODES = (errno.ENOSPC, errno.EIO, errno.EROFS)
DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "cut in the middle": lambda data: data[: len(data) // 2],
    "of no bytes": lambda data: b"",
    "its head only": lambda data: data[: len(MAGIC) + 32],
    "as long, its end never written": lambda data: data[: len(data) // 2].ljust(len(data), b"\0"),
    "all zeros": lambda data: bytes(len(data)),
    "one bit turned": lambda data: data[:-5] + bytes([data[-5] ^ 4]) + data[-4:],
    "a byte longer": lambda data: data + b"\0",
}
"""What a lost power or a bad disk makes of a file."""


class Cache:
    """A folder of results, full of those of the demo, and runs that use it with the real sums."""

    def __init__(self, bench: Bench, runs: tuple[str, ...]) -> None:
        self.bench, self.runs, self.turn = bench, runs, 0
        self.full = bench.kept
        self.results = sorted(p for p in self.full.rglob("*") if p.is_file())

    def without(self, *victims: Path) -> Path:
        """A copy without some of the results: the next run works those out and keeps them."""
        self.turn += 1
        folder = self.bench.folder / f"kept-{self.turn}"
        # links, not copies: a kept file is replaced or taken away, never written to
        shutil.copytree(self.full, folder, copy_function=os.link)
        for victim in victims:
            (folder / victim.relative_to(self.full)).unlink()
        return folder

    def run(self, cache: Path, out: Path, fault: Callable[[], None] = lambda: None) -> Ended:
        """`lath run` in a child, nothing taken as done, every result worth keeping."""

        def before() -> None:
            os.environ["LATH_CACHE"] = str(cache)
            kept_calls.keeping = partial(kept_calls.keeping, worth_s=0.0)
            self.bench.work_out()
            fault()

        return self.bench.run(out, before)

    def wrong_after(self, cache: Path, out: Path, ended: Ended) -> str:
        """What is wrong with a run that was to be done, and with the one that comes after it."""
        for turn in self.runs:
            if ended.code != 0 or "Traceback" in ended.said:
                return f"{turn} ended with {ended.code}: {ended.said[-300:]}"
            if wrong := self.bench.wrong_with(out, must_be_new=True):
                return f"{turn}: {wrong}"
            ended = self.run(cache, out) if turn != self.runs[-1] else ended
        return ""


def within(cache: Path, at_call: Callable[[str, int, tuple], None]) -> None:
    """Have `at_call` told of every call that changes something in the folder, before it."""
    count, under = 0, f"{cache}{os.sep}"

    def watched(name: str, real: Callable) -> Callable:
        def call(*given, **named):
            nonlocal count
            if _place(given[0]).startswith(under) and (name != "open" or given[1] & os.O_CREAT):
                count += 1
                at_call(name, count, given)
            return real(*given, **named)

        return call

    for name in KEPT_CALLS:
        setattr(os, name, watched(name, getattr(os, name)))


def _place(of: int | str | os.PathLike) -> str:
    if not isinstance(of, int):
        return os.fspath(of)
    try:
        return str(Path(f"/proc/self/fd/{of}").readlink())
    except OSError:
        return ""


def calls_of(cache: Cache, victim: Path) -> list[str]:
    """The calls that keep one result, in order; those before it touch the ones that are found."""
    told = cache.bench.folder / "kept-calls.txt"
    told.unlink(missing_ok=True)
    folder = cache.without(victim)
    write, opened = os.write, os.open(told, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    note = lambda name, _number, _given: write(opened, f"{name}\n".encode())  # noqa: E731
    ended = cache.run(folder, cache.bench.out(), lambda: within(folder, note))
    os.close(opened)
    if ended.code != 0:
        raise RuntimeError(ended.said)
    return told.read_text(encoding="utf-8").split()


def tried(bench: Bench, *, quick: bool) -> Iterator[Fault]:
    """All of them; with `quick` a few of each kind."""
    cache = Cache(bench, ("the run",) if quick else ("the run", "the run after"))
    yield from _at_calls(cache, every=len(cache.results) if quick else 3, all_calls=not quick)
    yield from _torn(cache, quick=quick)
    if not quick:
        yield from _folders(cache)
        yield from _shared(cache, turns=3)


def _at_calls(cache: Cache, *, every: int, all_calls: bool) -> Iterator[Fault]:
    """Killed or refused at each call that keeps a result: all of the first, one of the others."""
    for turn, victim in enumerate(cache.results[::every]):
        names = calls_of(cache, victim)
        keeping = [k + 1 for k, name in enumerate(names) if name != "utime"]
        first = turn == 0 and all_calls
        for number in keeping if first else [keeping[(turn + 2) % len(keeping)]]:
            where = f"result {turn}, call {number}, {names[number - 1]}"
            writes = names[number - 1] == "write"
            if first or not writes:
                yield _killed(cache, victim, number, where)
            if writes:
                yield _killed(cache, victim, number, f"{where}, half of it", half=True)
            for code in CODES if first else CODES[turn % 3 :][:1]:
                yield _refused(cache, victim, number, code, where)


def _killed(cache: Cache, victim: Path, number: int, where: str, *, half: bool = False) -> Fault:
    folder, out, write = cache.without(victim), cache.bench.out(), os.write

    def kill(_name: str, at: int, given: tuple) -> None:
        if at == number:
            if half:
                write(given[0], bytes(given[1])[: len(given[1]) // 2])
            kill_me()

    ended = cache.run(folder, out, lambda: within(folder, kill))
    wrong = "" if ended.code == -9 else f"it ended with {ended.code}, it was not killed"
    wrong = wrong or cache.bench.wrong_with(out, must_be_old=True)
    wrong = wrong or cache.wrong_after(folder, out, cache.run(folder, out))
    shutil.rmtree(folder)
    return Fault("kill -9 at a kept result", where, wrong)


def _refused(cache: Cache, victim: Path, number: int, code: int, where: str) -> Fault:
    folder, out = cache.without(victim), cache.bench.out()

    def fail(name: str, at: int, _given: tuple) -> None:
        # what is full stays full; taking away what was begun still works
        if at == number or (at > number and name in {"write", "mkdir", "open", "replace"}):
            raise OSError(code, os.strerror(code))

    ended = cache.run(folder, out, lambda: within(folder, fail))
    wrong = cache.wrong_after(folder, out, ended)
    if left := [p.name for p in folder.rglob(f"{PART}*")]:
        wrong = wrong or f"left in the folder: {left}"
    shutil.rmtree(folder)
    return Fault(f"{os.strerror(code).lower()}, a kept result", where, wrong)


def _torn(cache: Cache, *, quick: bool) -> Iterator[Fault]:
    """Every result damaged, or each another's: none of them is believed."""
    kinds = list(DAMAGES)[3:4] if quick else [*DAMAGES, "another's"]
    for kind in kinds:
        folder, out = cache.without(), cache.bench.out()
        for k, path in enumerate(cache.results):
            place = folder / path.relative_to(cache.full)
            place.unlink()
            data = cache.results[k - 1] if kind == "another's" else path
            place.write_bytes(DAMAGES.get(kind, bytes)(data.read_bytes()))
        yield Fault(
            "a torn kept result", kind, cache.wrong_after(folder, out, cache.run(folder, out))
        )
        shutil.rmtree(folder)


def _folders(cache: Cache) -> Iterator[Fault]:
    """Something else where the folder of results should be, or one that cannot be written."""
    out, kind = cache.bench.out(), "a folder of kept results"
    file = cache.bench.folder / "kept-file"
    file.write_text("in the way", encoding="utf-8")
    yield Fault(kind, "it is a file", cache.wrong_after(file, out, cache.run(file, out)))
    nowhere = cache.bench.folder / "kept-nowhere"
    nowhere.symlink_to(cache.bench.folder / "gone" / "away")
    wrong = cache.wrong_after(nowhere, out, cache.run(nowhere, out))
    yield Fault(kind, "a link to nowhere", wrong)
    locked = cache.without(*cache.results[::2])
    for folder in (locked, *(one for one in locked.iterdir() if one.is_dir())):
        folder.chmod(0o555)
    ended = cache.run(locked, out, _without_privilege)
    yield Fault(kind, "it may not be written", cache.wrong_after(locked, out, ended))
    disk = cache.bench.folder / "kept-disk"
    disk.mkdir()
    for options, where in (("size=300k", "on a small disk"), ("size=64m", "on a read-only disk")):
        if not _mount(disk, options):
            yield Fault(kind, where, untried=NO_MOUNT)
            continue
        try:
            if "read-only" in where:
                shutil.copytree(cache.full, disk / "kept")
                subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
            place = disk / "kept"
            yield Fault(kind, where, cache.wrong_after(place, out, cache.run(place, out)))
        finally:
            _unmount(disk)


def _shared(cache: Cache, *, turns: int, seed: int = 9) -> Iterator[Fault]:
    """Three runs at once on one folder of results, while somebody tears and takes away files."""
    chance = random.Random(seed)
    command = [sys.executable, "-m", "pipeline.cli", "run", str(cache.bench.job), "--out"]
    for turn in range(turns):
        folder = cache.without(*cache.results[turn::2])
        outs = [cache.bench.out() for _ in range(3)]
        runs = [
            subprocess.Popen(
                [*command, str(out)], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                text=True, env={**os.environ, "LATH_CACHE": str(folder)},
            )
            for out in outs
        ]  # fmt: skip
        while any(one.poll() is None for one in runs):
            _tear_one(folder, chance)
            time.sleep(0.05)
        for number, (run, out) in enumerate(zip(runs, outs, strict=True)):
            said = run.communicate()[1]
            ended = Ended(run.returncode, said)
            wrong = cache.wrong_after(folder, out, ended)
            yield Fault("runs that share kept results", f"turn {turn}, run {number}", wrong)


def _tear_one(folder: Path, chance: random.Random) -> None:
    there = sorted(p for p in folder.rglob("*") if p.is_file() and not p.name.startswith(PART))
    if not there:
        return
    path = chance.choice(there)
    try:
        data = path.read_bytes()
        path.unlink()  # the file may be a link to one of the full folder
        if chance.random() < 0.5:
            path.write_bytes(data[: chance.randrange(len(data) + 1)])
    except OSError:
        pass  # a run has taken it away or put it anew meanwhile
