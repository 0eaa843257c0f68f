"""What a fault is tried on: the demo day, computed once, delivered by the real command in a child.

`python -m pipeline.cli run` is called in a forked child, with only the sums taken from the
parent; everything that touches the disk is the real thing. The child may be killed, or
its calls to the operating system may fail.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline import cli, publish, run
from pipeline.deliver import package
from pipeline.deliver.history import HISTORY_FILE
from pipeline.kept.calls import keeping

ROOT = Path(__file__).resolve().parents[2]
DAY = "2026-05-14"
# kill -9 ends a process, not a disk: what the system has taken in is safe on either
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
CALLS = (
    "mkdir", "open", "write", "fsync", "close", "rename", "replace", "link", "unlink", "rmdir",
    "ftruncate",
)  # fmt: skip
"""What of `os` changes a disk."""

PICTURES = {".png", ".svg"}
"""Of `--pictures` only; that they are whole the manifest tells."""


@dataclass(frozen=True)
class Fault:
    """One fault that was tried, and what was wrong afterwards; nothing if it was survived.

    ``untried`` says why it could not be tried here; such a one is not counted.
    """

    kind: str
    where: str
    wrong: str = ""
    untried: str = ""


@dataclass(frozen=True)
class Ended:
    """How a child ended: exit code, or minus the signal; and what it said."""

    code: int
    said: str


class Bench:
    """The demo, its day and its files, in a scratch folder of their own."""

    def __init__(self) -> None:
        # which results are kept depends on how long they took (calls.WORTH_S), so the number of
        # calls would differ from run to run; faults at those calls are tried in kept.py
        os.environ["LATH_CACHE"] = "off"
        self.folder = Path(tempfile.mkdtemp(prefix="faults-", dir=MEMORY)).resolve()
        self.folder.chmod(0o755)
        self.job = self.folder / "street"
        shutil.copytree(ROOT / "fixtures" / "demo", self.job)
        self.kept = self.folder / "kept-full"
        with keeping(self.kept, worth_s=0.0):
            day = publish.with_earth(publish.complete(run.run_day(self.job, DAY, run.Stopwatch())))
            self.new = publish.package_files(day)
        self.old = {
            name: b"of yesterday " + content[:2000]
            for name, content in self.new.items()
            if name != "edge.csv"
        }
        # from here on the sums are taken as done, but for a child that asks for them
        self.sums = run.run_day, publish.complete, publish.package_files
        run.run_day = lambda *_: day
        publish.complete = lambda given: given
        publish.package_files = lambda _: self.new
        self.turn = 0

    def work_out(self) -> None:
        """Have this process, a child, do the sums itself."""
        run.run_day, publish.complete, publish.package_files = self.sums

    def close(self) -> None:
        """Take the scratch folder away."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def out(self, place: Path | None = None) -> Path:
        """A folder of packages in which yesterday's package stands under today's name."""
        self.turn += 1
        out = (place or self.folder) / f"out-{self.turn}"
        package.write_package(out / DAY, self.old, {"package": "yesterday"})
        return out

    def run(self, out: Path, fault: Callable[[], None] = lambda: None) -> Ended:
        """`lath run` in a child, after `fault` has been laid there."""
        return self.child(["run", str(self.job), "--out", str(out)], fault)

    def child(self, command: list[str], fault: Callable[[], None] = lambda: None) -> Ended:
        """Any command in a child."""
        said = self.folder / "said.txt"
        child = os.fork()
        if not child:
            with said.open("wb") as stream:
                os.dup2(stream.fileno(), 1)
                os.dup2(stream.fileno(), 2)
            code = 70
            try:
                fault()
                cli.main(command, standalone_mode=True)
            except SystemExit as done:
                code = int(done.code or 0)
            finally:
                os._exit(code)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        return Ended(code, said.read_text(encoding="utf-8", errors="replace"))

    def start_writing(self, out: Path) -> int:
        """A child that delivers again and again, until it is killed; its process number."""

        def again() -> None:
            while True:
                with suppress(SystemExit):
                    cli.main(["run", str(self.job), "--out", str(out)])

        return self.start(["run"], Path(os.devnull), again)

    def start(
        self, command: list[str], said: Path, before: Callable[[], None] = lambda: None
    ) -> int:
        """A command in a child that stays, its words in `said`; its process number."""
        child = os.fork()
        if not child:
            to = os.open(said, os.O_WRONLY | os.O_APPEND)
            os.dup2(to, 1)
            os.dup2(to, 2)
            # a job that a shell started in the background ignores Ctrl-C, and so would this one
            signal.signal(signal.SIGINT, signal.default_int_handler)
            code = 70
            try:
                before()
                cli.main(command)
            except SystemExit as done:
                code = int(done.code or 0)
            finally:
                sys.stdout.flush()
                os._exit(code)
        return child

    def wrong_with(self, out: Path, *, must_be_old: bool = False, must_be_new: bool = False) -> str:
        """What a reader finds wrong after a fault; nothing if one package stands there whole."""
        folder = out / DAY
        package.settle(folder)
        if problems := package.verify(folder):
            return "; ".join(problems)
        found = {
            p.name: p.read_bytes()
            for p in folder.iterdir()
            if p.name != package.MANIFEST and p.suffix not in PICTURES
        }
        named = json.loads((folder / package.MANIFEST).read_text(encoding="utf-8"))["package"]
        if found == self.old and named == "yesterday":
            return "yesterday's package, though the run was done" if must_be_new else ""
        if must_be_old:
            return "yesterday's package is gone, though the run was refused"
        if found != self.new or named == "yesterday":
            return "a mixture of two packages"
        return ""

    def next_run_is_clean(self, out: Path) -> str:
        """The run after the fault puts the new package there and sweeps what was left."""
        ended = self.run(out)
        if ended.code != 0:
            return f"the next run ended with {ended.code}: {ended.said[-200:]}"
        left = sorted(one.name for one in out.iterdir())
        if left != [DAY, HISTORY_FILE]:
            return f"left beside the package: {left}"
        return self.wrong_with(out)


@contextmanager
def bench() -> Iterator[Bench]:
    """A bench that is cleared away afterwards."""
    made = Bench()
    try:
        yield made
    finally:
        made.close()


def lay(at_call: Callable[[str, int, tuple], None], *, two_renames: bool = False) -> None:
    """Have `at_call` told of every call that changes the disk, by name and number, before it."""
    count = 0

    def watched(name: str, real: Callable) -> Callable:
        def call(*given, **named):
            nonlocal count
            count += 1
            at_call(name, count, given)
            return real(*given, **named)

        return call

    for name in CALLS:
        setattr(os, name, watched(name, getattr(os, name)))
    if two_renames:
        package._exchange = lambda a, b: False
    else:
        package._exchange = watched("exchange", package._exchange)


def calls_of(bench: Bench, *, two_renames: bool = False) -> list[str]:
    """The calls of an undisturbed delivery, in order."""
    told = bench.folder / "calls.txt"
    told.unlink(missing_ok=True)
    write, opened = os.write, os.open(told, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def note(name: str, _number: int, given: tuple) -> None:
        makes = name == "open" and given[1] & os.O_CREAT
        write(opened, f"{'create' if makes else name}\n".encode())

    ended = bench.run(bench.out(), lambda: lay(note, two_renames=two_renames))
    os.close(opened)
    if ended.code != 0:
        raise RuntimeError(ended.said)
    return told.read_text(encoding="utf-8").split()


def kill_me() -> None:
    """kill -9, on oneself."""
    os.kill(os.getpid(), signal.SIGKILL)
