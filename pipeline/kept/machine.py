"""Where compiled loops lie with the user, and whether they are still as they were put there."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from functools import cache
from pathlib import Path

from pipeline.kept.digest import program
from pipeline.kept.store import users_folder

SUMS = "sums.json"


@cache
def machine_folder() -> Path | None:
    """The folder for this very program, cleared of what is not as it was sealed; None without one.

    A change in any file of the program is another folder: whoever compiles looks at the file of
    one function only. What is old goes with the other kept results, which are bounded together.
    """
    root = users_folder()
    if root is None:
        return None
    folder = root / "compiled" / program()[:32]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if _sums(folder) != json.loads((folder / SUMS).read_text("utf-8")):
            clear(folder)
    except (OSError, ValueError):
        clear(folder)
    return folder if os.access(folder, os.W_OK) else None


def seal(folder: Path) -> None:
    """Write down a sum over every file; a disk that refuses is no fault."""
    with contextlib.suppress(OSError):
        beside = folder / f"{SUMS}.{os.getpid()}"
        beside.write_text(json.dumps(_sums(folder)), "utf-8")
        beside.replace(folder / SUMS)


def clear(folder: Path) -> None:
    """Take every file away; the folders stay, as whoever compiles expects them."""
    for path in _files(folder):
        with contextlib.suppress(OSError):
            path.unlink()


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def _sums(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in _files(folder)
        if not path.name.startswith(SUMS)
    }
