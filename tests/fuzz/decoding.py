"""The decoder of compressed scans in a forked process: some hundred files a second can be tried.

The program starts Python anew for each file; here the process is copied, and then does the
very same: limits on memory and time, the native decoder, frames through a pipe. A decoder
that aborts ends the copy only.
"""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import IO, Any

from pipeline.ingest.las import child, laz
from pipeline.ingest.las.read import read_las
from pipeline.settings import FileFormat

WHOLE = Path(__file__).resolve().parents[1] / "data" / "las" / "us_survey_feet_in_wkt.laz"
DEADLY = tuple(
    getattr(signal, name)
    for name in ("SIGABRT", "SIGSEGV", "SIGBUS", "SIGILL", "SIGFPE")
    if hasattr(signal, name)
)
PATIENCE_S = 10.0
"""Shorter than the program's, so that a decoder that loops is not taken for a hang of ours."""


class Forked:
    """As much of `subprocess.Popen` as the reader uses."""

    def __init__(self, command: list[str], *, stderr: IO[bytes], **_named: Any) -> None:
        ours, theirs = os.pipe()
        self.pid, self.returncode = os.fork(), 0
        if not self.pid:
            code = 70
            try:
                for deadly in DEADLY:
                    signal.signal(deadly, signal.SIG_DFL)  # a fuzzer's own would report this copy
                os.environ["RUST_BACKTRACE"] = "0"
                os.dup2(theirs, 1)
                os.dup2(stderr.fileno(), 2)
                code = child.main(command[-2:])
            finally:
                os._exit(code)
        os.close(theirs)
        self.stdout: IO[bytes] | None = os.fdopen(ours, "rb")
        self._ended = False

    def kill(self) -> None:
        """End the copy, if it has not ended."""
        if not self._ended:
            os.kill(self.pid, signal.SIGKILL)

    def wait(self) -> int:
        """Its exit code, or minus the signal."""
        if not self._ended:
            self.returncode = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
            self._ended = True
        return self.returncode


@contextmanager
def forking() -> Iterator[None]:
    """Have the reader of compressed scans decode in a copy of this process."""
    if not hasattr(os, "fork"):
        yield
        return
    patience = laz.PATIENCE_S
    forked = SimpleNamespace(
        Popen=Forked, DEVNULL=subprocess.DEVNULL, PIPE=subprocess.PIPE
    )  # fmt: skip
    laz.subprocess, laz.PATIENCE_S = forked, PATIENCE_S  # type: ignore[assignment]
    try:
        yield
    finally:
        laz.subprocess, laz.PATIENCE_S = subprocess, patience


def scan(path: Path) -> None:
    """A compressed scan as it is."""
    with forking():
        read_las(path, FileFormat(), classes=(1, 2, 7))


def chunk(path: Path) -> None:
    """A whole compressed scan whose compressed bytes are overlaid with those of the file.

    Header, records and chunk table stay right, so that every try reaches the decoder. The
    first two bytes say where.
    """
    laid, data = path.read_bytes(), bytearray(WHOLE.read_bytes())
    begin = int.from_bytes(data[96:100], "little")
    end = int.from_bytes(data[begin : begin + 8], "little")
    room = end - begin - 8
    at = begin + 8 + int.from_bytes(laid[:2].ljust(2, b"\0"), "little") % room
    part = laid[2:][: end - at]
    data[at : at + len(part)] = part
    path.write_bytes(bytes(data))
    scan(path)
