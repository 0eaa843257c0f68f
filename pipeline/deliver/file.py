"""One output file on the disk: whole or not at all, and never over somebody's work."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import OutputError

_DO = {
    errno.ENOSPC: "make room on the disk",
    errno.EDQUOT: "make room on the disk",
    errno.EROFS: "choose a folder that can be written with --out",
    errno.EACCES: "choose a folder that you may write with --out",
    errno.EPERM: "choose a folder that you may write with --out",
    errno.ENOENT: "make the folder first, or choose another with --out",
}


def check_free(path: Path, *, force: bool) -> None:
    """Refuse a place that may not be written, before any work is done for it.

    Raises
    ------
    OutputError
        A folder stands there, or any file where `force` is not set.
    """
    if path.is_dir():
        raise OutputError(str(path), "it is a folder", "name a file with --out")
    if not force and os.path.lexists(path):
        raise OutputError(
            str(path),
            "it is there already",
            "name another with --out, or overwrite it with --force",
        )


def write_file(path: Path, pieces: Iterable[bytes], *, force: bool = False) -> int:
    """Put the pieces into a file, all of them or none.

    Parameters
    ----------
    path : Path
        Its folder must be there.
    pieces : iterable of bytes
        Taken one by one, so memory is bounded by the largest.
    force : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    int
        Bytes written.

    Raises
    ------
    OutputError
        The place is taken or cannot be written; what stood there stands there still.

    Notes
    -----
    A new file beside it is filled, forced to the disk and then given its name in
    one step, which fails where that name has been taken meanwhile.
    """
    check_free(path, force=force)
    fresh = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        stream = fresh.open("xb")
        try:
            with stream:
                size = _fill(stream, pieces)
            _name(fresh, path, force)
        finally:
            fresh.unlink(missing_ok=True)
    except FileExistsError:
        check_free(path, force=force)
        raise OutputError(str(fresh), "it is there already", "take it away") from None
    except OSError as fault:
        do = _DO.get(fault.errno or 0, "put that right or choose another place with --out")
        raise OutputError(str(path), fault.strerror or str(fault), do) from None
    return size


def _fill(stream: BinaryIO, pieces: Iterable[bytes]) -> int:
    size = 0
    for piece in pieces:
        size += stream.write(piece)
    stream.flush()
    os.fsync(stream.fileno())
    return size


def _name(fresh: Path, path: Path, force: bool) -> None:
    if force:
        fresh.replace(path)
        return
    try:
        path.hardlink_to(fresh)
    except FileExistsError:
        raise
    except OSError:  # a disk without links
        check_free(path, force=False)
        fresh.rename(path)
