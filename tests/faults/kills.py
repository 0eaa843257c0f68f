"""kill -9 at every call that changes the disk, in the middle of writes, and by the clock."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator

from tests.faults.bench import DAY, ROOT, Bench, Fault, calls_of, kill_me, lay


def at_every_call(bench: Bench, *, every: int, two_renames: bool) -> Iterator[Fault]:
    """A run killed before its n-th call, for every n; after the last it is not killed."""
    swap = "two renames" if two_renames else "one swap"
    names = calls_of(bench, two_renames=two_renames)
    for number in range(1, len(names) + 1, every):
        where = f"{swap}, before call {number}, {names[number - 1]}"
        out = bench.out()

        def kill(_name: str, at: int, _given: tuple, number: int = number) -> None:
            if at == number:
                kill_me()

        ended = bench.run(out, lambda kill=kill: lay(kill, two_renames=two_renames))
        yield _killed(bench, out, ended.code, "kill -9 at a call", where)


def within_writes(bench: Bench, *, every: int) -> Iterator[Fault]:
    """A run killed when half of a file's bytes have reached the disk."""
    numbers = [k + 1 for k, name in enumerate(calls_of(bench)) if name == "write"]
    for number in numbers[::every]:
        real = os.write

        def half(name: str, at: int, given: tuple, number: int = number, real=real) -> None:
            if at == number:
                handle, content = given
                real(handle, bytes(content)[: len(content) // 2])
                kill_me()

        out = bench.out()
        ended = bench.run(out, lambda half=half: lay(half))
        yield _killed(bench, out, ended.code, "kill -9 within a write", f"call {number}")


def by_the_clock(bench: Bench, *, turns: int, seed: int = 9) -> Iterator[Fault]:
    """A run that delivers again and again, killed at a moment by chance."""
    chance = random.Random(seed)
    out = bench.out()
    for turn in range(turns):
        child = bench.start_writing(out)
        time.sleep(chance.uniform(0.02, 0.25))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        yield Fault("kill -9 by the clock", f"turn {turn}", bench.wrong_with(out))
    yield Fault("kill -9 by the clock", "the run after", bench.next_run_is_clean(out))


def whole_command(
    bench: Bench, *, turns: int, seed: int = 9, words: tuple[str, ...] = ()
) -> Iterator[Fault]:
    """`lath run` as a person starts it, sums and all, killed at a moment by chance."""
    chance = random.Random(seed)
    out = bench.out()
    command = [sys.executable, "-m", "pipeline.cli", "run", str(bench.job), "--out", str(out)]
    command += words
    for turn in range(turns):
        after = chance.uniform(0.2, 9.0 if words else 5.0)
        with subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as child:
            time.sleep(after)
            child.kill()
        where = f"turn {turn}, after {after:.2f} s"
        yield Fault(
            " ".join(("kill -9 of the whole command", *words)), where, bench.wrong_with(out)
        )


def _killed(bench: Bench, out, code: int, kind: str, where: str) -> Fault:
    wrong = "" if code == -signal.SIGKILL else f"the child ended with {code}, it was not killed"
    wrong = wrong or bench.wrong_with(out)
    if not wrong and (out / DAY).exists():
        wrong = bench.next_run_is_clean(out)
    return Fault(kind, where, wrong)
