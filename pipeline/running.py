"""A day run, or a folder of jobs, and what the command says of it at the end."""

from __future__ import annotations

import contextlib
import ctypes
import sys
from pathlib import Path
from typing import NoReturn

from pipeline.terminal import as_text, complain, say, stopwatch

HELD = 4
"""Exit code: a finding stops the day until a person has settled it."""


def run_and_say(
    job: Path, day: str | None, out: Path | None, json_wanted: bool, *, pictures: bool = False
) -> NoReturn:
    """Run a day, say what came of it, and end the process with its code."""
    keep_freed_memory()
    from pipeline import objects, publish, saying
    from pipeline.crew.summary import words
    from pipeline.run import run_day

    spent = stopwatch()
    result = run_day(job, day, spent)
    with spent.stage("deliver"):
        result = publish.with_earth(publish.complete(result))
        done = publish.deliver(result, out, publish.Command(day, pictures))
    result = done.day
    if json_wanted:
        say(as_text(objects.run_object(result, done.folder, spent.seconds)))
    else:
        say("\n".join(words(saying.summary_of(result))))
        say(f"Package    {done.folder}, {sum(spent.seconds.values()):.1f} s")
    if done.history_refusal:
        complain(f"lath: the package is whole, but not in the history. {done.history_refusal}")
    sys.exit(HELD if result.held else 0)


def keep_freed_memory() -> None:
    """Let the C library of Linux hand memory out again that was freed, not give it back.

    The arrays of a large scan come and go by the thousand; each time the system clears the
    pages anew, a fifth of such a run. Only arrays above 32 MB, which is the most that the
    library takes here, still go back at once.
    """
    trim_threshold, mmap_threshold = -1, -3
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):  # a C library without it
            set_option = ctypes.CDLL(None).mallopt
            set_option(mmap_threshold, 32 << 20)
            set_option(trim_threshold, (1 << 31) - 1)


def run_many_and_say(
    jobs: tuple[Path, ...], day: str | None, out: Path | None, json_wanted: bool
) -> NoReturn:
    """Run many jobs, say what came of each, and end the process with the worst code."""
    from pipeline import many
    from pipeline.kept.calls import is_fresh

    found = many.run_many(jobs, day, out, fresh=is_fresh())
    if json_wanted:
        say(as_text(many.outcome_objects(found)))
    else:
        say("\n".join(many.outcome_words(found)))
    codes = {one.exit_code for one in found}
    sys.exit(next((code for code in (3, HELD) if code in codes), max(codes)))
