"""Tests against changed functions, in forks of one pytest that has collected already.

A fork per change: the code of one function is replaced where it stands, and the tests that
enter this function are run, quickest first, until one fails. Nothing is imported twice, so a
change costs little more than the test that notices it.
"""

from __future__ import annotations

import ast
import functools
import gc
import os
import pickle
import resource
import signal
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

import pytest

from tests.mutation.changes import Change, changed, functions, telling

_TELLER = "__tests_mutation_entered__"
SURVIVED, KILLED, SLOW = "survived", "killed", "out of time"
_MEMORY = 6 << 30
_SLACK_S = 5.0
_WALL = 20.0
"""A fork that stands still this many times its allowance of processor is ended."""


@dataclass
class Measured:
    """What each test costs and which functions it enters, from one run without a change."""

    seconds: dict[str, float] = field(default_factory=dict)
    entered: dict[str, set[tuple[str, str]]] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Outcome:
    """What became of one change."""

    module: str
    change: Change
    end: str
    by: str = ""


class Trial:
    """A pytest plugin that tries the changes instead of running the tests once.

    Parameters
    ----------
    asked : sequence of (module, changes)
        Changes of each module, which has been imported.
    jobs : int
        Forks at a time.
    test_s, all_s : float
        Tests that take longer are left out [s of processor]; what one change may cost at most.
    scratch : Path
        Where forks leave what they found.
    """

    def __init__(
        self,
        asked: Sequence[tuple[ModuleType, Sequence[Change]]],
        jobs: int,
        limits: tuple[float, float],
        scratch: Path,
    ) -> None:
        self.asked, self.jobs, self.scratch = asked, jobs, scratch
        self.test_s, self.all_s = limits
        self.outcomes: list[Outcome] = []
        self.measured = Measured()
        self._entered: set[tuple[str, str]] = set()
        self._of_fixture: dict[Any, set[tuple[str, str]]] = {}
        self._killers: dict[str, Counter[str]] = defaultdict(Counter)
        self._failed = False
        self._told = os.fdopen(os.dup(2), "w")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        gc.collect()
        gc.freeze()
        self.measured = self._measure(session)
        for name in self.measured.failed:
            self._tell(f"fails without any change: {name}\n")
        waiting = [(module, one) for module, many in self.asked for one in many]
        waiting.reverse()
        running: dict[int, tuple[ModuleType, Change, float, list[pytest.Item]]] = {}
        while waiting or running:
            while waiting and len(running) < self.jobs:
                module, change = waiting.pop()
                tests = self._tests_of(session, module, change)
                allowed = 3.0 * sum(self.measured.seconds[t.nodeid] for t in tests) + _SLACK_S
                pid = os.fork()
                if pid == 0:
                    self._be_changed(module, change, tests, allowed)
                until = time.monotonic() + _WALL * allowed
                running[pid] = module, change, until, tests
            self._wait(running)
        return True

    def _tell(self, text: str) -> None:
        self._told.write(text)
        self._told.flush()

    def _wait(self, running: dict[int, tuple[ModuleType, Change, float, list[Any]]]) -> None:
        pid, status = os.waitpid(-1, os.WNOHANG)
        if pid == 0:
            time.sleep(0.003)
            for late, (_, _, until, _) in running.items():
                if time.monotonic() > until:
                    os.kill(late, signal.SIGKILL)
            return
        module, change, _, tests = running.pop(pid)
        note = self.scratch / str(pid)
        by = note.read_text(encoding="utf-8") if note.exists() else ""
        note.unlink(missing_ok=True)
        if not os.WIFSIGNALED(status) and os.WEXITSTATUS(status) > 1:
            raise RuntimeError(f"{change.key}: {by}")
        told = KILLED if os.WEXITSTATUS(status) else SURVIVED
        end = SLOW if os.WIFSIGNALED(status) else told
        if by:
            self._killers[module.__name__ + change.function][by] += 1
        self.outcomes.append(Outcome(module.__name__, change, end, by))
        mark = {KILLED: ".", SLOW: "t", SURVIVED: "S" if tests else "n"}[end]
        self._tell(mark)

    def _measure(self, session: pytest.Session) -> Measured:
        """Run all tests once in a fork, so that nothing they leave behind is in the others."""
        note = self.scratch / "measured"
        if (pid := os.fork()) == 0:
            self._own_place()
            for module, _ in self.asked:
                self._listen(module)
            for item in session.items:
                self._entered, self._failed = set(), False
                start = time.process_time()
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=_after(session, item))
                self.measured.seconds[item.nodeid] = time.process_time() - start
                self.measured.entered[item.nodeid] = self._entered | self._fixtures(item)
                if self._failed:
                    self.measured.failed.append(item.nodeid)
            note.write_bytes(pickle.dumps(self.measured))
            os._exit(0)
        os.waitpid(pid, 0)
        return pickle.loads(note.read_bytes())

    def _listen(self, module: ModuleType) -> None:
        source, path = source_of(module), str(module.__file__)
        module.__dict__[_TELLER] = lambda name: self._entered.add((module.__name__, name))
        codes = {one.co_qualname: one for one in _codes(telling(source, _TELLER, path))}
        for name, _ in functions(ast.parse(source)):
            _live(module, name).__code__ = codes[name]

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Any:
        """A fixture of many tests is made in the first of them, and counts for all."""
        before, self._entered = self._entered, set()
        yield
        self._of_fixture.setdefault(fixturedef, set()).update(self._entered)
        self._entered |= before

    def _fixtures(self, item: Any) -> set[tuple[str, str]]:
        used = (one for many in item._fixtureinfo.name2fixturedefs.values() for one in many)
        return set().union(*(self._of_fixture.get(one, set()) for one in used))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._failed |= report.failed

    def _tests_of(
        self, session: pytest.Session, module: ModuleType, change: Change
    ) -> list[pytest.Item]:
        """Tests that enter the function, those first that noticed other changes of it."""
        where = (module.__name__, change.function)
        seconds, kills = self.measured.seconds, self._killers[module.__name__ + change.function]
        tests = [
            item
            for item in session.items
            if (not change.function or where in self.measured.entered[item.nodeid])
            and seconds[item.nodeid] <= self.test_s
            and item.nodeid not in self.measured.failed
        ]
        first = {name for name, _ in kills.most_common(3)}
        tests.sort(key=lambda t: (t.nodeid not in first, seconds[t.nodeid]))
        spent, kept = 0.0, []
        for item in tests:
            spent += seconds[item.nodeid]
            if spent > self.all_s and kept:
                break
            kept.append(item)
        # one after the other by file, so that what they share is made once
        lead = [item for item in kept if item.nodeid in first]
        rest = [item for item in kept if item.nodeid not in first]
        cost: Counter[str] = Counter()
        for item in rest:
            cost[str(item.path)] += seconds[item.nodeid]
        return [*lead, *sorted(rest, key=lambda t: (cost[str(t.path)], str(t.path)))]

    def _own_place(self) -> None:
        place = self.scratch / f"t{os.getpid()}"
        place.mkdir()
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(place)
        os.environ["LATH_CACHE"] = str(place / "kept")

    def _be_changed(
        self, module: ModuleType, change: Change, tests: list[pytest.Item], allowed: float
    ) -> None:
        """In the fork: make the change, run the tests, tell by the exit code; never return."""
        self._own_place()
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_PROF, allowed)
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        self._failed = False
        try:
            put(module, change)
        except Exception as error:  # noqa: BLE001 - no change was made: a fault of this program
            (self.scratch / str(os.getpid())).write_text(repr(error), encoding="utf-8")
            os._exit(2)
        try:
            for k, item in enumerate(tests):
                after = tests[k + 1] if k + 1 < len(tests) else None
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
                if self._failed:
                    (self.scratch / str(os.getpid())).write_text(item.nodeid, encoding="utf-8")
                    break
        except BaseException as error:  # noqa: BLE001 - a fork must end here, whatever comes
            (self.scratch / str(os.getpid())).write_text(f"!{error!r}", encoding="utf-8")
            os._exit(1)
        os._exit(int(self._failed))


def _after(session: pytest.Session, item: pytest.Item) -> pytest.Item | None:
    k = session.items.index(item)
    return session.items[k + 1] if k + 1 < len(session.items) else None


@functools.cache
def source_of(module: ModuleType) -> str:
    """The text that a module was made of, as it was when it was first asked for."""
    return Path(str(module.__file__)).read_text(encoding="utf-8")


def put(module: ModuleType, change: Change) -> None:
    """Put one change into the running program."""
    code = changed(source_of(module), change.number, str(module.__file__))
    if not change.function:
        _put_number(module, change)
        return
    new = next(one for one in _codes(code) if one.co_qualname == change.function)
    _live(module, change.function).__code__ = new


def _live(module: ModuleType, name: str) -> Any:
    """The plain function of a qualified name, beneath what decorates it; its cache is emptied."""
    live: Any = module
    for part in name.split("."):
        live = live.__dict__[part]
    while not hasattr(live, "__code__") or hasattr(live, "__wrapped__"):
        if hasattr(live, "cache_clear"):
            live.cache_clear()
        live = next(
            getattr(live, inner)
            for inner in ("__wrapped__", "__func__", "fget", "func")
            if getattr(live, inner, None)
        )
    return live


def _codes(code: CodeType) -> list[CodeType]:
    inner = [one for one in code.co_consts if isinstance(one, CodeType)]
    return inner + [deep for one in inner for deep in _codes(one)]


def _put_number(module: ModuleType, change: Change) -> None:
    """A number at the top of a module, and where another has imported it by name."""
    name = change.before.split(":")[0].split("=")[0].strip()
    fresh: dict[str, Any] = {}
    exec(compile(change.after, "number", "exec"), fresh)
    old = getattr(module, name)
    for other in [module, *sys.modules.values()]:
        if getattr(other, "__name__", "").startswith("pipeline") and (
            getattr(other, name, None) is old
        ):
            setattr(other, name, fresh[name])
