"""``lath watch``: look at the job folder, wait until what is new lies still, run the day.

It looks every few seconds and keeps no ear in the operating system: a notice of
a change does not come from a shared folder, a stick or a phone that syncs, a
morning has a dozen files, and whether a copy is done can only be seen by
looking again.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.ingest.laid import NO_LINE_END, Laid, check_is_job, day_of, laid_files, why_not_whole

STILL_LOOKS = 2
"""Looks in a row at which nothing may change before a run."""
PATIENT_LOOKS = 15
"""Looks after which a text without a last line end is taken as whole: some programs write none."""


@dataclass(slots=True)
class Watch:
    """A job folder as it was last seen, and as it was last run.

    ``tell`` takes what a person should know while nothing runs.
    """

    folder: Path
    packages: Path
    day: str | None
    tell: Callable[[str], None]
    seen: Laid = field(default_factory=dict)
    done: Laid = field(default_factory=dict)
    looks: int = 0
    """How often in a row all was as it is."""
    said: tuple[str, ...] = ()

    def look(self) -> tuple[str, ...]:
        """The days to run now, the earliest first; none while there is something to wait for."""
        laid = laid_files(self.folder, self.packages)
        if laid != self.seen:
            self.seen, self.looks = laid, 0
            return ()
        self.looks += 1
        wanted = days_to_run(self.done, self.seen, self.day)
        if not wanted or self.looks < STILL_LOOKS:
            return ()
        waiting = self._waited_for(wanted)
        if waiting:
            if waiting != self.said:
                self.tell("Waiting for " + "; ".join(waiting))
            self.said = waiting
            return ()
        self.done, self.said = self.seen, ()
        return wanted

    def _waited_for(self, days: tuple[str, ...]) -> tuple[str, ...]:
        """Files that look as if more of them were to come, with the reason."""
        found = []
        for name, stamp in self.seen.items():
            if day_of(name) not in {"", *days} or self.done.get(name) == stamp:
                continue
            why = why_not_whole(self.folder / name)
            if why and not (why == NO_LINE_END and self.looks >= PATIENT_LOOKS):
                found.append(f"{name}: {why}")
        return tuple(found)


def days_to_run(done: Laid, seen: Laid, day: str | None) -> tuple[str, ...]:
    """Days that what has changed since the last run belongs to.

    Parameters
    ----------
    done, seen : mapping of str to Stamp
        Files as of the last run, empty before the first, and now.
    day : str or None
        The only day that is wanted, if one is.

    Notes
    -----
    A change outside the folders of days, such as a corrected ``job.toml``, concerns the
    latest day; so does the first look. Days without a file cannot be run.
    """
    there = {day_of(name) for name in seen} - {""}
    if day is not None:
        there &= {day}
    if not there:
        return ()
    changed = {
        day_of(name) for name in done.keys() | seen.keys() if done.get(name) != seen.get(name)
    }
    wanted = changed & there if done else set()
    if "" in changed or (changed and not done):
        wanted |= {max(there)}
    return tuple(sorted(wanted))


def watch(
    watched: Watch, every_s: float, run: Callable[[str], None], *, looks: int | None = None
) -> None:
    """Run each day that has something new, until the process is told to stop.

    Parameters
    ----------
    watched : Watch
    every_s : float
        Seconds between two looks.
    run : callable
        Takes a day. What it refuses it has to say itself.
    looks : int, optional
        Ends after so many.

    Raises
    ------
    JobError
        There is no job in the folder to begin with.
    """
    check_is_job(watched.folder)
    while looks is None or looks > 0:
        for day in watched.look():
            run(day)
        looks = None if looks is None else looks - 1
        time.sleep(every_s)
