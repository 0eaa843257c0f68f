"""The day's package on the disk: the old one or the new one, whole, never a mixture.

The files go into a new folder beside the day's, each forced to the disk, the
manifest last; then the two folders change places. The folder beside it is called
``.DAY.new`` while it is written and ``.DAY.old`` while the old package waits to
be removed. The next writer puts right what a killed run left, and so does a
reader that calls `settle` first.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import hashlib
import json
import os
import re
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pipeline.deliver.json import json_bytes
from pipeline.deliver.lock import locked
from pipeline.errors import OutputError

MANIFEST = "manifest.json"
SEAL = "seal"
"""Last key of a manifest: SHA-256 of all the rest of it."""
_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9._-]{0,79}")
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.IGNORECASE)
_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0)
_AT_FDCWD = -100
_RENAME_EXCHANGE = 2
# What an older kernel, another C library or a file system without exchange answers.
_NO_EXCHANGE = (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP, errno.EPERM)


def safe_name(text: str) -> str:
    """`text`, if it can name a day's folder or a file on every system; else refused.

    Letters, digits, point, dash and underscore, at most 80 of them, starting with
    a letter, a digit or an underscore. Device names such as ``CON`` or
    ``aux.csv`` are refused everywhere: a package travels.

    Raises
    ------
    OutputError
        Any other name. It is not repaired, for two names could become one.

    Examples
    --------
    >>> safe_name("2026-05-14")
    '2026-05-14'
    """
    if not _NAME.fullmatch(text) or text.endswith(".") or _RESERVED.fullmatch(text):
        raise OutputError(
            "name of a day or a file",
            f"found {text[:90]!r}",
            "use letters, digits, dash and underscore only, such as 2026-05-14",
        )
    return text


def write_package(folder: Path, files: Mapping[str, bytes], manifest: Mapping[str, Any]) -> None:
    """Put the package of a day in place, all of it or nothing.

    Parameters
    ----------
    folder : Path
        The day's folder, ``out/2026-05-14``. Folders above it are made as needed.
    files : mapping of file name to bytes
        Plain names, without folders; ``manifest.json`` is added here.
    manifest : mapping
        What the run knows of itself. ``outputs``, with size and sha256 of each
        file, and ``seal``, the sha256 of the manifest's own rest, are added here.

    Raises
    ------
    OutputError
        A name that cannot be used, another run at work, a symbolic link or
        something that is not a package where the folder should be, a disk that
        is full or read-only. What stood in the folder stands there still.

    Notes
    -----
    Linux swaps two folders in one step (``renameat2`` with ``RENAME_EXCHANGE``).
    Where that is missing there are two renames; a run killed between them leaves
    the old package as ``.DAY.old``, and `settle` puts it back.
    """
    _check_names(folder, files, manifest)
    fresh, old = _beside(folder)
    with _refusing(folder):
        _make_parents(folder.parent)
        with locked(folder.parent / f".{folder.name}.lock", folder):
            _settle(folder)
            _check_standing(folder)
            try:
                _fill(fresh, files, manifest)
                _put_in_place(fresh, folder, old)
            finally:
                # after a fault the new folder, after a swap the old package
                with contextlib.suppress(OSError):
                    _remove(fresh)
            with contextlib.suppress(OSError):
                _remove(old)


def settle(folder: Path) -> None:
    """Put back a package that a killed run had moved aside: a reader's first call.

    It only looks where the folder is in its place, or nothing lies beside it.
    Raises `OutputError` while another run is at that very step.
    """
    _, old = _beside(folder)
    if os.path.lexists(folder) or not os.path.lexists(old):
        return
    with _refusing(folder), locked(folder.parent / f".{folder.name}.lock", folder):
        _settle(folder)


def verify(folder: Path) -> tuple[str, ...]:
    """What in the package is not as it was written; nothing if all is well.

    Every output's size and sha256 is computed again and compared with the
    manifest, and the manifest with its seal; a file that the manifest does not
    name is reported too.

    Returns
    -------
    tuple of str
        One sentence a file, in the order of names.

    Raises
    ------
    OutputError
        There is no package in `folder`, or its manifest cannot be read.
    """
    settle(folder)
    manifest = read_manifest(folder)
    listed = manifest["outputs"]
    present = {entry.name: entry for entry in os.scandir(folder)}
    told = []
    for name in sorted(listed.keys() | present.keys() - {MANIFEST}):
        if name not in listed:
            told.append(f"{name}: not part of the package")
        elif name not in present:
            told.append(f"{name}: missing")
        elif not present[name].is_file(follow_symlinks=False):
            told.append(f"{name}: not a plain file any more")
        elif described((folder / name).read_bytes()) != listed[name]:
            told.append(f"{name}: changed since it was written")
    seal = manifest.pop(SEAL, None)
    if seal != _seal(manifest):
        told.append(f"{MANIFEST}: changed since it was written")
    return tuple(told)


def _seal(manifest: Mapping[str, Any]) -> str:
    return hashlib.sha256(json_bytes(manifest)).hexdigest()


def _beside(folder: Path) -> tuple[Path, Path]:
    return folder.parent / f".{folder.name}.new", folder.parent / f".{folder.name}.old"


def described(content: bytes) -> dict[str, Any]:
    """Size and sha256 of a file, as a manifest has them."""
    return {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def _check_names(folder: Path, files: Mapping[str, bytes], manifest: Mapping[str, Any]) -> None:
    safe_name(folder.name)
    seen = {MANIFEST: MANIFEST}
    for name in files:
        safe_name(name)
        # A.csv and a.csv are one file on half of the disks this goes to
        if name.lower() in seen:
            raise OutputError(
                f"file {name} of the package",
                f"{seen[name.lower()]} has the same name",
                "give every output a name of its own",
            )
        seen[name.lower()] = name
    for key in ("outputs", SEAL):
        if key in manifest:
            raise OutputError(
                "manifest of the package", f'found "{key}"', "leave it to the writer of the package"
            )


@contextlib.contextmanager
def _refusing(folder: Path) -> Iterator[None]:
    """An operating system's complaint in our words."""
    try:
        yield
    except OSError as fault:
        what = {
            errno.ENOSPC: "make room on the disk and run again",
            errno.EDQUOT: "make room on the disk and run again",
            errno.EROFS: "choose a folder that can be written with --out",
            errno.EACCES: "close what holds its files, or choose another folder with --out",
            errno.EPERM: "choose a folder that you may write with --out",
        }.get(fault.errno or 0, "put that right or choose another folder with --out")
        at = f" at {Path(os.fsdecode(fault.filename)).name}" if fault.filename else ""
        raise OutputError(
            f"package {folder}",
            f"{fault.strerror or fault}{at}; an earlier package is unchanged",
            what,
        ) from fault


def _make_parents(parent: Path) -> None:
    missing = []
    place = parent
    while not place.exists():
        missing.append(place)
        place = place.parent
    for folder in reversed(missing):
        folder.mkdir(exist_ok=True)
        _sync_folder(folder.parent)
    if parent.is_symlink():
        raise OutputError(
            f"folder {parent}", "it is a symbolic link", "give the folder that it points to"
        )
    if not parent.is_dir():
        raise OutputError(f"folder {parent}", "it is not a folder", "choose another with --out")


def _check_standing(folder: Path) -> None:
    """Only a package, or an empty folder, may be replaced: anything else is somebody's work."""
    if not os.path.lexists(folder):
        return
    if folder.is_symlink() or not folder.is_dir():
        kind = "a symbolic link" if folder.is_symlink() else "a file"
        raise OutputError(
            f"package {folder}", f"{kind} is in its place", "move it away and run again"
        )
    present = {entry.name for entry in os.scandir(folder)}
    known = {MANIFEST, *read_manifest(folder)["outputs"]} if MANIFEST in present else set()
    strange = sorted(present - known)
    if strange:
        raise OutputError(
            f"package {folder}",
            f"{strange[0]!r} is no part of an earlier package"
            + (f", nor are {len(strange) - 1} more" if len(strange) > 1 else ""),
            "move it out of the folder and run again: a new package replaces all of it",
        )


def read_manifest(folder: Path) -> dict[str, Any]:
    """The manifest of the package in `folder`; ``outputs`` are size and hash of each file.

    Raises
    ------
    OutputError
        There is none, or it cannot be read.
    """
    path = folder / MANIFEST
    try:
        with os.fdopen(os.open(path, os.O_RDONLY | _NOFOLLOW), encoding="utf-8") as stream:
            manifest = json.load(stream)
        outputs = manifest["outputs"]
        manifest["outputs"] = {str(name): dict(entry) for name, entry in outputs.items()}
        return dict(manifest)
    except (FileNotFoundError, NotADirectoryError):
        raise OutputError(
            f"package {folder}",
            f"there is none, or it has lost its {MANIFEST}",
            f"name a folder with a {MANIFEST}, such as out/2026-05-14 of the job; if it was this"
            " one, run the day again",
        ) from None
    except OSError as fault:
        found = fault.strerror or str(fault)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        found = "it is not the manifest of a package"
    raise OutputError(f"file {path}", found, "run the day again in an empty folder")


def _fill(fresh: Path, files: Mapping[str, bytes], manifest: Mapping[str, Any]) -> None:
    outputs = {name: described(files[name]) for name in sorted(files)}
    told = {**manifest, "outputs": outputs}
    last = json_bytes({**told, SEAL: _seal(told)})
    fresh.mkdir()
    for name in sorted(files):
        _write(fresh / name, files[name])
    # the manifest is the mark of a whole package, so it comes last
    _write(fresh / MANIFEST, last)
    _sync_folder(fresh)


def _write(path: Path, content: bytes) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | _NOFOLLOW | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, 0o644)
    try:
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(handle, rest) :]
        os.fsync(handle)
    except OSError as fault:
        # write and fsync know only the handle
        raise OSError(fault.errno, fault.strerror, str(path)) from fault
    finally:
        # some disks report that they are full only here
        os.close(handle)


def _sync_folder(folder: Path) -> None:
    if sys.platform == "win32":
        return  # a folder cannot be opened there; renames are journalled
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _put_in_place(fresh: Path, folder: Path, old: Path) -> None:
    # once more, for somebody may have put a file there while the new ones were written
    _check_standing(folder)
    swapped = folder.exists() and _exchange(fresh, folder)
    try:
        if not swapped:
            if folder.exists():
                folder.rename(old)
            fresh.rename(folder)
        _sync_folder(folder.parent)
    except OSError:
        _take_back(fresh, folder, old, swapped)
        raise


def _take_back(fresh: Path, folder: Path, old: Path, swapped: bool) -> None:
    """The folders as they stood before: a refused package must not lie there."""
    if swapped:
        _exchange(fresh, folder)
        return
    if folder.exists() and not fresh.exists():
        folder.rename(fresh)
    if old.exists():
        old.rename(folder)


def _exchange(a: Path, b: Path) -> bool:
    """Swap two folders in one step; False where the system cannot."""
    if not sys.platform.startswith("linux"):
        return False
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if call is None:
        return False
    names = os.fsencode(a), os.fsencode(b)
    if call(_AT_FDCWD, names[0], _AT_FDCWD, names[1], _RENAME_EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in _NO_EXCHANGE:
        return False
    raise OSError(code, os.strerror(code), str(b))


def _settle(folder: Path) -> None:
    """With the lock held: the old package back if its place is empty, leftovers away."""
    fresh, old = _beside(folder)
    if os.path.lexists(old) and not os.path.lexists(folder):
        # the run was killed between two renames and has told nobody that it was done
        old.rename(folder)
        _sync_folder(folder.parent)
    for left in (fresh, old):
        _remove(left)


def _remove(folder: Path) -> None:
    """Take away a folder of ours: plain files in it, never what lies deeper or behind a link."""
    if not os.path.lexists(folder):
        return
    if folder.is_symlink():
        folder.unlink()
        return
    for entry in os.scandir(folder):
        Path(entry.path).unlink()
    folder.rmdir()
