"""Kept results on the disk: one file each, whole or not at all, the oldest put out first."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

MAGIC = b"lath kept result 1\n"
LARGEST_BYTES = 256_000_000
"""A larger result is worked out again: reading it back would save little [assumed]."""
MOST_BYTES = 2_000_000_000
"""All results together; beyond, those that were used longest ago go [assumed]."""
PART, PART_S = ".part-", 86_400.0


@dataclass(frozen=True, slots=True)
class Store:
    """A folder of results by key."""

    folder: Path

    def path(self, key: str) -> Path:
        """Where the result of a key lies."""
        return self.folder / key[:2] / key[2:]

    def read(self, key: str) -> bytes | None:
        """The result of a key; None where there is none, or one that is not whole."""
        path, head = self.path(key), len(MAGIC) + 32
        try:
            if path.stat().st_size > LARGEST_BYTES + head:
                return None
            data = path.read_bytes()
        except OSError:
            return None
        with contextlib.suppress(OSError):
            # a folder that cannot be written may still be read from
            os.utime(path)
        if data[: len(MAGIC)] != MAGIC or data[len(MAGIC) : head] != _sum(key, data[head:]):
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        return data[head:]

    def write(self, key: str, result: Sequence[bytes | memoryview]) -> None:
        """Keep a result, given in parts; a disk that refuses is no fault: it can be worked out."""
        if sum(len(part) for part in result) > LARGEST_BYTES:
            return
        path = self.path(key)
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, beside = tempfile.mkstemp(prefix=PART, dir=self.folder)
            try:
                _put(handle, MAGIC + _sum(key, *result), *result)
                Path(beside).replace(path)
            except BaseException:
                Path(beside).unlink(missing_ok=True)
                raise

    def bound(self, most: int = MOST_BYTES) -> None:
        """Put out what was used longest ago until the rest is no more than `most` bytes.

        What a killed run left half-written goes after a day: no run writes for as long.
        """
        found, too_old = [], time.time() - PART_S
        with contextlib.suppress(OSError):
            for path in self.folder.rglob("*"):
                if path.is_file():
                    about = path.stat()
                    if path.name.startswith(PART) and about.st_mtime < too_old:
                        path.unlink()
                    else:
                        found.append((about.st_mtime, about.st_size, path))
        total = sum(size for _, size, _ in found)
        for _, size, path in sorted(found):
            if total <= most:
                return
            with contextlib.suppress(OSError):
                path.unlink()
            total -= size


def _put(handle: int, *parts: bytes | memoryview) -> None:
    """All of it, or an error of the system; the sum in front tells later whether it got there."""
    try:
        for part in parts:
            rest = memoryview(part)
            while rest:
                rest = rest[os.write(handle, rest) :]
    finally:
        os.close(handle)


def _sum(key: str, *result: bytes | memoryview) -> bytes:
    """Over the key too: a file under another's name is not believed."""
    found = hashlib.sha256(key.encode())
    for part in result:
        found.update(part)
    return found.digest()


def users_folder() -> Path | None:
    """The user's own folder for such things; None where ``LATH_CACHE`` says ``off``.

    Not in the job: a job that somebody sends would bring its results along, and a sum over
    a file says that it is whole, not who worked it out.
    """
    named = os.environ.get("LATH_CACHE", "")
    if named:
        return None if named == "off" else Path(named)
    if sys.platform == "win32":
        root = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Caches"
    else:
        root = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return root / "lath"
