"""Faults at the very calls of the operating system, for code that no Python layer sees: SQLite.

`strace` (Linux; a general tool for looking at system calls) lets chosen calls on chosen files
fail or end the process. Where it is missing, these faults are not tried, and that is said.
"""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterable
from functools import cache
from pathlib import Path

WATCHED = ("openat", "pwrite64", "write", "fdatasync", "fsync", "ftruncate", "unlink", "pread64")
_PR_SET_PTRACER = 0x59616D61
"""Of `linux/prctl.h`: a process may be traced by one that is not its parent."""


@cache
def usable() -> bool:
    """Whether a child of ours can be traced here."""
    if shutil.which("strace") is None:
        return False
    command = ["strace", "-e", "trace=openat", "-e", "inject=openat:signal=SIGKILL", "ls"]
    return subprocess.run(command, capture_output=True).returncode != 0


def attach(files: Iterable[Path], log: Path, inject: str = "") -> None:
    """Have the calls of this process on `files` written to `log`, and disturbed from here on."""
    ctypes.CDLL(None).prctl(_PR_SET_PTRACER, ctypes.c_ulong(-1 % (1 << 64)))
    paths = [word for file in files for word in ("-P", str(file))]
    faults = ["-e", f"inject={inject}"] if inject else []
    tracer = subprocess.Popen(
        ["strace", "-p", str(os.getpid()), "-o", str(log), "-e", f"trace={','.join(WATCHED)}",
         *paths, *faults], stderr=subprocess.PIPE,
    )  # fmt: skip
    assert tracer.stderr is not None
    if b"attached" not in (said := tracer.stderr.readline()):
        raise RuntimeError(said.decode("utf-8", "replace"))


def calls_in(log: Path) -> list[tuple[str, int]]:
    """Name and number among its like of every call in a log that is whole."""
    end = time.monotonic() + 10
    while "+++ exited" not in (text := log.read_text(encoding="utf-8", errors="replace")):
        if time.monotonic() > end:
            raise RuntimeError("the traced child did not end")
        time.sleep(0.01)
    found, count = [], dict.fromkeys(WATCHED, 0)
    for name in re.findall(r"^([a-z0-9]+)\(", text, re.MULTILINE):
        count[name] += 1
        found.append((name, count[name]))
    return found
