"""The fault suite: `python -m tests.faults [--quick] [PART...]`.

Every fault is tried on the demo morning; afterwards the old package stands whole or the
new one does, the message and the exit code are as documented, and the next run is clean.
"""

from __future__ import annotations

import argparse
import errno
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator

from tests.faults import disk, history, kept, kills, people, surroundings, watched
from tests.faults.bench import Bench, Fault, bench


def of_kills(made: Bench, *, quick: bool) -> Iterator[Fault]:
    """kill -9."""
    step = 16 if quick else 1
    yield from kills.at_every_call(made, every=step, two_renames=False)
    yield from kills.at_every_call(made, every=step, two_renames=True)
    yield from kills.within_writes(made, every=step)
    yield from kills.by_the_clock(made, turns=3 if quick else 60)
    yield from kills.whole_command(made, turns=0 if quick else 12)
    yield from kills.whole_command(made, turns=0 if quick else 6, words=("--pictures",))


def of_disks(made: Bench, *, quick: bool) -> Iterator[Fault]:
    """A disk that is full, failing or read-only."""
    step = 16 if quick else 1
    for code in (errno.ENOSPC, errno.EIO, errno.EROFS):
        yield from disk.calls_that_fail(made, code, every=step * (1 if code == errno.ENOSPC else 3))
    yield from disk.small_disk(made)
    yield from disk.read_only_disk(made)


def of_people(made: Bench, *, quick: bool) -> Iterator[Fault]:
    """What others do at the same time."""
    yield from people.held_lock(made)
    yield from people.two_at_once(made, turns=0 if quick else 3)
    yield from people.changed_while_read(quick=quick)
    if not quick:
        yield from people.reserved_names(made)


PARTS: dict[str, Callable[..., Iterator[Fault]]] = {
    "kills": of_kills,
    "disks": of_disks,
    "kept": kept.tried,
    "history": history.tried,
    "watch": watched.tried,
    "people": of_people,
    "surroundings": lambda _, *, quick: surroundings.tried(quick=quick),
}


def main() -> None:
    """Try them all, and say how many were survived."""
    ask = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    ask.add_argument(
        "parts", nargs="*", metavar="PART", choices=[*PARTS, []], help=", ".join(PARTS)
    )
    ask.add_argument("--quick", action="store_true", help="a part that takes seconds")
    asked = ask.parse_args()
    tried: Counter[str] = Counter()
    survived: Counter[str] = Counter()
    spent: defaultdict[str, float] = defaultdict(float)
    begun = time.monotonic()
    with bench() as made:
        for fault in (
            each for name in asked.parts or PARTS for each in PARTS[name](made, quick=asked.quick)
        ):
            begun, spent[fault.kind] = (
                time.monotonic(),
                spent[fault.kind] + time.monotonic() - begun,
            )
            if fault.untried:
                print(f"NOT TRIED     {fault.kind}, {fault.where}: {fault.untried}", flush=True)
                continue
            tried[fault.kind] += 1
            survived[fault.kind] += not fault.wrong
            if fault.wrong:
                print(f"NOT SURVIVED  {fault.kind}, {fault.where}: {fault.wrong}", flush=True)
    for kind, number in tried.items():
        print(f"{kind:42s}{number:5d} tried {survived[kind]:5d} survived {spent[kind]:4.0f} s")
    print(f"faults tried {tried.total()}, survived {survived.total()}")
    sys.exit(tried.total() != survived.total())


if __name__ == "__main__":
    main()
