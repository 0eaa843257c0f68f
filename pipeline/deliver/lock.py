"""One run at a time in a folder of packages."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

from pipeline.errors import OutputError

_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0)


@contextlib.contextmanager
def locked(path: Path, folder: Path) -> Iterator[None]:
    """Hold the lock file at `path` while `folder` is written; it names the process.

    The operating system ties the lock to the process, so one that was killed
    holds nothing and a file that it left is no obstacle: no process number has
    to be trusted. The file is gone afterwards.

    Raises
    ------
    OutputError
        Another run holds the lock; the message names its process and computer.
    OSError
        The file cannot be made.
    """
    handle = _take(path, folder)
    try:
        yield
    finally:
        _give_back(handle, path)


def _take(path: Path, folder: Path) -> int:
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | _NOFOLLOW, 0o644)
        try:
            if not _try_lock(handle):
                raise OutputError(
                    f"package {folder}",
                    f"another run is writing it ({_owner(handle)})",
                    "wait for it to end and run again",
                )
            if _still_there(handle, path):
                os.ftruncate(handle, 0)
                os.write(handle, f"process {os.getpid()} on {socket.gethostname()}\n".encode())
                return handle
        except BaseException:
            os.close(handle)
            raise
        # its former owner has just taken the file away: lock the next one
        os.close(handle)


def _owner(handle: int) -> str:
    text = os.read(handle, 200).decode("utf-8", "replace").strip()
    return "".join(c for c in text if c.isprintable()) or "its process is not known yet"


if sys.platform == "win32":
    import msvcrt

    def _try_lock(handle: int) -> bool:
        # a byte far behind the text, so that others can still read who holds it
        os.lseek(handle, 1 << 20, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(handle, 0, os.SEEK_SET)
        return True

    def _still_there(_handle: int, _path: Path) -> bool:
        # an open file cannot be taken away there
        return True

    def _give_back(handle: int, path: Path) -> None:
        # nor can our own; one that another run has open by then stays, and is that run's
        os.close(handle)
        with contextlib.suppress(OSError):
            path.unlink()

else:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _still_there(handle: int, path: Path) -> bool:
        try:
            return os.path.samestat(path.lstat(), os.fstat(handle))
        except FileNotFoundError:
            return False

    def _give_back(handle: int, path: Path) -> None:
        # removed while still held: a file that others already wait for is never taken away
        with contextlib.suppress(OSError):
            path.unlink()
        os.close(handle)
