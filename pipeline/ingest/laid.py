"""Which files lie in a job folder, and whether one of them is still on its way.

A copy that is half done looks like a file. Three things give it away: it grows,
its end is not the end that its format asks for, or its name says so.
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from pipeline.errors import JobError
from pipeline.ingest.job.job import JOB_FILE
from pipeline.ingest.job.morning import DAY

_ON_ITS_WAY = re.compile(r".*(\.part|\.partial|\.filepart|\.crdownload|\.download|\.tmp|~)")
"""Names that copying programs and browsers give to what is not whole yet."""
_ENDS = 65536
"""Bytes at each end of a file that are looked at."""
_ROOT = re.compile(rb"(?:\s|<\?.*?\?>|<!--.*?-->|<![^>]*>)*<([A-Za-z_][\w:.-]*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Stamp:
    """What tells one state of a file from another; a rename into place changes the number."""

    size: int
    changed_ns: int
    number: int


Laid: TypeAlias = Mapping[str, Stamp]
"""Files by their name from the job folder, with forward slashes."""


def laid_files(folder: Path, besides: Path) -> Laid:
    """Every file of the job folder; hidden ones and those below `besides` are left out.

    Parameters
    ----------
    folder : Path
    besides : Path
        Where packages go: what a run writes is no new input.

    Returns
    -------
    mapping of str to Stamp
        Empty where the folder is not there, as when a disk was taken out. A file
        that goes away while this looks is left out.
    """
    apart = besides.resolve()
    found = {}
    for place, folders, names in os.walk(folder):
        here = Path(place)
        folders[:] = sorted(
            name
            for name in folders
            if not name.startswith(".") and (here / name).resolve() != apart
        )
        for name in sorted(names):
            if name.startswith("."):
                continue
            try:
                state = (here / name).stat()
            except OSError:
                continue
            key = (here / name).relative_to(folder).as_posix()
            found[key] = Stamp(state.st_size, state.st_mtime_ns, state.st_ino)
    return found


def check_is_job(folder: Path) -> None:
    """Refuse a folder that holds no job file.

    Raises
    ------
    JobError
        There is none.
    """
    if not (folder / JOB_FILE).is_file():
        raise JobError(
            str(folder / JOB_FILE), "no such file", "name a job folder; it holds job.toml"
        )


def day_of(name: str) -> str:
    """The day whose folder a file lies in; empty for a file of all days.

    Examples
    --------
    >>> day_of("shots/2026-05-14/morning.csv"), day_of("design/profile.csv")
    ('2026-05-14', '')
    """
    return next((part for part in name.split("/")[:-1] if DAY.fullmatch(part)), "")


def why_not_whole(path: Path) -> str:
    """Why a file looks as if more of it were to come; empty where it does not.

    Parameters
    ----------
    path : Path
        A file as it lies; one that has just gone away is nothing to wait for.

    Notes
    -----
    LAS and LAZ: sizes and counts of the public header block, ASPRS LAS 1.4 R15,
    table 3, and the place of the chunk table, whose own last bytes can be missing
    unseen. XML: the root's closing tag. DXF: its last group, EOF. Other text: a line end
    after the last row (`NO_LINE_END`), which some programs never write. Anything else is
    taken as it is.
    """
    if _ON_ITS_WAY.fullmatch(path.name):
        return "its name is that of a copy on its way"
    try:
        with path.open("rb") as stream:
            head = stream.read(_ENDS)
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - _ENDS))
            tail = stream.read(_ENDS)
    except FileNotFoundError:
        return ""
    except OSError as fault:
        return f"it cannot be read ({fault.strerror})"
    if head.startswith(b"LASF"):
        return _cut_scan(head, tail, size)
    if b"\0" in head:
        return ""
    return _cut_text(head, tail, path.suffix.lower())


NO_LINE_END = "its last row has no line end"


def _cut_text(head: bytes, tail: bytes, ending: str) -> str:
    text = tail.rstrip()
    root = _ROOT.match(head.removeprefix(b"\xef\xbb\xbf"))
    if not head:
        return "it is empty"
    if root:
        return _cut_xml(root[1], text)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        return "its first tag is missing"
    if ending == ".dxf":
        return "" if text.endswith(b"EOF") else "its last group, EOF, is missing"
    return "" if tail.endswith((b"\n", b"\r")) else NO_LINE_END


def _cut_xml(root: bytes, text: bytes) -> str:
    ended = re.search(rb"(</%b\s*>|/>)(\s|<!--.*?-->)*\Z" % re.escape(root), text, re.DOTALL)
    return "" if ended else f"the closing tag of {root.decode('ascii', 'replace')} is missing"


def _cut_scan(head: bytes, tail: bytes, size: int) -> str:
    """A scan whose header tells of more than the file holds."""
    if len(head) < 227:
        return "its header is cut"
    start, kind, record = struct.unpack_from("<I", head, 96)[0], head[104], head[105:107]
    points = struct.unpack_from("<I", head, 107)[0]
    if head[25] >= 4 and len(head) >= 255:
        points = struct.unpack_from("<Q", head, 247)[0]
    if not kind & 0xC0:
        needed = start + points * int.from_bytes(record, "little")
        return "" if size >= needed else f"{needed - size} bytes of its points are missing"
    if size < start + 8 or start + 8 > len(head):
        return "its points are missing" if size < start + 8 else ""
    table = struct.unpack_from("<q", head, start)[0]
    if table == -1:
        # written in one go: the place of the chunk table stands at the very end
        table = struct.unpack("<q", tail[-8:])[0]
    return "" if start < table <= size - 8 else "its chunk table is missing"
