"""How the commands say what they say: while they work, when they refuse, as JSON."""

from __future__ import annotations

import atexit
import gc
import io
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.errors import LathError

if TYPE_CHECKING:
    from pipeline.run import Stopwatch


def complain(text: str) -> None:
    """A line on standard error; that it cannot be printed changes nothing of what is done."""
    try:
        click.echo(text, err=True)
    except OSError:
        from pipeline.deliver.silence import hush

        hush(2)


def say(text: str) -> None:
    """A line on standard output; a reader that went away, as ``| head`` does, changes nothing."""
    try:
        click.echo(text)
    except BrokenPipeError:
        from pipeline.deliver.silence import hush

        hush(1)


WORDS_LOST = 1
"""Exit code: nobody could be told; and that of Ctrl-C, as click has it."""


class Lath(click.Group):
    """A refusal is one message on standard error and its exit code, never a traceback."""

    def main(self, *words: Any, **named: Any) -> Any:
        """As click's; and words that cannot be printed end it with 1, whatever was done before."""
        speak_utf8()
        try:
            return super().main(*words, **named)
        except OSError as fault:
            which = fault.filename or "the words of this command"
            complain(
                f"lath: {which}: {fault.strerror or fault}. Put that right and run again; a"
                " package is whole, or as it was."
            )
            from pipeline.deliver.silence import hush

            hush(1)
            sys.exit(WORDS_LOST)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a `LathError` ends the process with its own code."""
        _seldom_look_for_rings()
        try:
            return super().invoke(ctx)
        except LathError as refusal:
            complain(f"lath: {refusal}")
            ctx.exit(refusal.exit_code)
        except MemoryError:
            complain(
                "lath: the files of this day: need more memory than there is. Split or "
                "thin the largest of them."
            )
            ctx.exit(LathError.exit_code)


def _seldom_look_for_rings() -> None:
    """Collect garbage seldom, and not at the end of the process.

    A run makes a million small things and few rings of garbage: looking for rings each 700
    things, and once more among all of them at the end, was a tenth of its time.
    """
    gc.set_threshold(50_000, 20, 20)
    atexit.register(gc.freeze)


def stopwatch() -> Stopwatch:
    """A stopwatch that names the stage on standard error once a run takes over a second."""
    from pipeline.run import Stopwatch

    begun = time.monotonic()

    def tell(stage: str) -> None:
        if time.monotonic() - begun > 1.0:
            complain(f"  {stage} ...")

    return Stopwatch(tell)


def speak_utf8() -> None:
    """Let pipes take UTF-8 on Windows, where names would be in the code page of the country."""
    for stream in (sys.stdout, sys.stderr):
        if sys.platform == "win32" and isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8")


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


def say_clock(text: str) -> None:
    """A line with the time of day on standard error, for who looks at it an hour later."""
    complain(f"{time.strftime('%H:%M:%S')}  {text}")
