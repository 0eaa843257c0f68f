"""Kept results on the disk: one file each, whole or not at all, the oldest put out first."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

MAGIC = b"lath kept result 1\n"
LARGEST_BYTES = 256_000_000
"""A larger result is worked out again: reading it back would save little [assumed]."""
MOST_BYTES = 2_000_000_000
"""All results together; beyond, those that were used longest ago go [assumed]."""


@dataclass(frozen=True, slots=True)
class Store:
    """A folder of results by key."""

    folder: Path

    def path(self, key: str) -> Path:
        """Where the result of a key lies."""
        return self.folder / key[:2] / key[2:]

    def read(self, key: str) -> bytes | None:
        """The result of a key; None where there is none, or one that is not whole."""
        path = self.path(key)
        try:
            data = path.read_bytes()
            os.utime(path)
        except OSError:
            return None
        head = len(MAGIC) + 32
        if data[: len(MAGIC)] != MAGIC or data[len(MAGIC) : head] != _sum(key, data[head:]):
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        return data[head:]

    def write(self, key: str, result: bytes) -> None:
        """Keep a result; a disk that refuses is no fault, for it can be worked out again."""
        if len(result) > LARGEST_BYTES:
            return
        path = self.path(key)
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, beside = tempfile.mkstemp(prefix=".part-", dir=self.folder)
            try:
                with os.fdopen(handle, "wb") as stream:
                    stream.write(MAGIC + _sum(key, result))
                    stream.write(result)
                Path(beside).replace(path)
            except BaseException:
                Path(beside).unlink(missing_ok=True)
                raise

    def bound(self, most: int = MOST_BYTES) -> None:
        """Put out what was used longest ago until the rest is no more than `most` bytes."""
        found = []
        with contextlib.suppress(OSError):
            for path in self.folder.rglob("*"):
                if path.is_file():
                    about = path.stat()
                    found.append((about.st_mtime, about.st_size, path))
        total = sum(size for _, size, _ in found)
        for _, size, path in sorted(found):
            if total <= most:
                return
            with contextlib.suppress(OSError):
                path.unlink()
            total -= size


def _sum(key: str, result: bytes | memoryview) -> bytes:
    """Over the key too: a file under another's name is not believed."""
    found = hashlib.sha256(key.encode())
    found.update(result)
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
