"""What the commands say while they work, on standard error; and JSON on standard output."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from pipeline.run import Stopwatch


def complain(text: str) -> None:
    """A line on standard error; that it cannot be printed changes nothing of what is done."""
    try:
        click.echo(text, err=True)
    except OSError:
        hush(2)


def hush(handle: int) -> None:
    """From here on words for a stream that failed go nowhere, those that it still holds too."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), handle)


def stopwatch() -> Stopwatch:
    """A stopwatch that names the stage on standard error once a run takes over a second."""
    from pipeline.run import Stopwatch

    begun = time.monotonic()

    def tell(stage: str) -> None:
        if time.monotonic() - begun > 1.0:
            complain(f"  {stage} ...")

    return Stopwatch(tell)


BIG_BYTES = 20_000_000
"""Progress is told at once on a larger file, after a second on any other."""


@contextmanager
def telling(path: Path) -> Iterator[Callable[[str], None]]:
    """Takes words on how far the reading of a file is, and says them now and then."""
    from pipeline.ingest.source import shown

    latest, done = ["reading"], threading.Event()

    def say() -> None:
        complain(f"  {shown(path.name, 80)}: {latest[-1]} ...")

    def now_and_then() -> None:
        wait = 1.0
        while not done.wait(wait):
            say()
            wait = 2.0

    size = path.stat().st_size if path.is_file() else 0
    if size > BIG_BYTES:
        latest.append(f"reading {size / 1e6:.0f} MB")
        say()
    teller = threading.Thread(target=now_and_then, daemon=True)
    teller.start()
    try:
        yield latest.append
    finally:
        done.set()
        teller.join()


def as_text(value: object) -> str:
    """A value as JSON text."""
    from pipeline.deliver.json import json_bytes

    return json_bytes(value).decode("utf-8").rstrip("\n")


def say_unless(quiet: bool, text: str) -> None:
    """A line on standard output, unless that is kept for JSON."""
    if not quiet:
        click.echo(text)


def say_clock(text: str) -> None:
    """A line with the time of day on standard error, for who looks at it an hour later."""
    complain(f"{time.strftime('%H:%M:%S')}  {text}")
