"""The reader for a file: by what it holds, then by what it is called."""

from __future__ import annotations

import re
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import cast

from pipeline.errors import InputError
from pipeline.ingest.source import open_source, shown
from pipeline.model import Reading
from pipeline.settings import FileFormat

# (module, function); imported when the first such file is read, so `lath --help` stays quick
_READERS = {
    "table": ("pipeline.ingest.csv.read", "read_csv"),
    "landxml": ("pipeline.ingest.landxml.read", "read_landxml"),
    "las": ("pipeline.ingest.las.read", "read_las"),
    "dxf": ("pipeline.ingest.dxf.read", "read_dxf"),
}
_SUFFIXES = {".las": "las", ".laz": "las", ".dxf": "dxf", ".xml": "landxml", ".landxml": "landxml"}

_HEAD = 4096
_XML = re.compile(rb"\s*<", re.DOTALL)
_WIDE_XML = (b"\xff\xfe<\0", b"\xfe\xff\0<", b"<\0?\0", b"\0<\0?")
# a drawing as text begins with group 0 SECTION, comments (group 999) before it
_DXF = re.compile(rb"\s*(?:999\s*\n[^\n]*\n\s*)*0\s*\r?\n\s*SECTION\b")
_CLOSED = {
    b"PK\x03\x04": "an archive or a workbook",
    b"\x1f\x8b": "a compressed file",
    b"%PDF": "a PDF",
    b"\xd0\xcf\x11\xe0": "a workbook or document",
}


_PICTURE, _WORKBOOK, _DOCUMENT = "a picture", "a workbook", "a document"
_ARCHIVE, _SYSTEM, _SOUND = "an archive", "a file of the operating system", "a film or a recording"
_NOT_SURVEY = {
    **dict.fromkeys((".jpg", ".jpeg", ".png", ".gif", ".bmp", ".heic", ".webp", ".tif", ".tiff"),
                    _PICTURE),
    **dict.fromkeys((".xls", ".xlsx", ".xlsm", ".ods"), _WORKBOOK),
    **dict.fromkeys((".doc", ".docx", ".odt", ".rtf", ".ppt", ".pptx"), _DOCUMENT),
    **dict.fromkeys((".zip", ".7z", ".rar", ".gz", ".tar", ".tgz"), _ARCHIVE),
    **dict.fromkeys((".mp4", ".mov", ".avi", ".m4a", ".mp3", ".wav"), _SOUND),
    **dict.fromkeys((".db", ".ini", ".lnk"), _SYSTEM),
    ".pdf": "a PDF",
}  # fmt: skip
_MAGIC = {
    b"\xff\xd8\xff": _PICTURE, b"\x89PNG": _PICTURE, b"GIF8": _PICTURE, b"BM": _PICTURE,
    b"II*\0": _PICTURE, b"MM\0*": _PICTURE, b"Rar!": _ARCHIVE, b"7z\xbc\xaf": _ARCHIVE, **_CLOSED,
}  # fmt: skip
_DATA = frozenset({*_SUFFIXES, ".csv", ".txt", ".tsv", ".pts", ".xyz", ".asc", ".dat", ".nmea"})
HARMLESS = frozenset({_PICTURE, _SOUND, _SYSTEM})
"""What can hold no shots: the others may, and somebody has to look."""


def not_survey(path: Path) -> str:
    """What a file is that holds no survey by its ending or its first bytes; empty: to be read.

    A file whose ending promises data is never put aside: if it cannot be read it is refused.
    """
    suffix = path.suffix.lower()
    if suffix in _DATA:
        return ""
    if suffix in _NOT_SURVEY:
        return _NOT_SURVEY[suffix]
    with path.open("rb") as stream:
        head = stream.read(16)
    # two letters alone could begin a table of points
    known = (what for magic, what in _MAGIC.items() if head.startswith(magic) and b"\0" in head)
    return "a PDF" if head.startswith(b"%PDF") else next(known, "")


def read(path: Path, fmt: FileFormat) -> Reading:
    """Read one file of points, lines, surfaces or alignments.

    Parameters
    ----------
    path : Path
        A table of points (any text), LandXML, LAS or LAZ, DXF.
    fmt : FileFormat
        How the job file says that such files are written.

    Returns
    -------
    Reading
        In metres; never with a bad row dropped in silence.

    Raises
    ------
    InputError
        The file is missing, empty, of no kind that is read, or cannot be used.
    JobError
        `fmt` contradicts itself or the file.
    """
    module, function = _READERS[kind_of(path)]
    reader = cast("Callable[[Path, FileFormat], Reading]", getattr(import_module(module), function))
    return reader(path, fmt)


def kind_of(path: Path) -> str:
    """``table``, ``landxml``, ``las`` or ``dxf``: which reader a file is for.

    Raises
    ------
    InputError
        The file is missing, empty or of no kind that is read.
    """
    with open_source(path) as stream:
        return _kind(stream.read(_HEAD), path)


def _kind(head: bytes, path: Path) -> str:
    name = shown(path.name, 80)
    if not head.strip(b"\0 \t\r\n\x1a"):
        raise InputError(name, "empty", "copy it from the instrument again")
    for magic, what in _CLOSED.items():
        if head.startswith(magic):
            raise InputError(name, what, "export points as text, LandXML, LAS or DXF")
    if head.startswith(b"LASF"):
        return "las"
    if head.startswith(_WIDE_XML) or _XML.match(head.removeprefix(b"\xef\xbb\xbf")):
        return "landxml"
    if _DXF.match(head.removeprefix(b"\xef\xbb\xbf")):
        return "dxf"
    return _SUFFIXES.get(path.suffix.lower(), "table")
