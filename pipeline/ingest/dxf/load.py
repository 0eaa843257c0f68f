"""A DXF file as a document, safe against files that are damaged or made to choke a reader.

Size, lines and entities are counted in the bytes before anything is built. A file
that is cut short is refused; one whose structure is broken is repaired by the
library's own recovery, every repair is told, and nothing drawn may get lost on
the way.
"""

from __future__ import annotations

import io
import logging
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import InputError
from pipeline.ingest.source import INVISIBLE, open_source, shown
from pipeline.model import Finding
from pipeline.model.telling import listed

if TYPE_CHECKING:
    from ezdxf.audit import Auditor
    from ezdxf.document import Drawing as Document

MAX_BYTES = 128 << 20
MOST_LINES = 24_000_000
MOST_ENTITIES = 1_000_000
"""More is refused: the library needs some 40 to 70 µs and 1.3 kB for each (measured)."""

_BINARY = b" Binary DXF\r\n\x1a\x00"
"""Bytes 7 to 22 of every binary file."""

_END = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?\n[ \t]*EOF[ \t]*(?:[\r\n\x1a]|$)")
# group 0 and a name: no value is followed by a line of letters, for group codes are digits
_ENTITY = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?\n[ \t]*([A-Z0-9_]{2,40})[ \t]*(?=[\r\n]|$)")
_WHOLE = re.compile(rb"[\r\n][ \t]*0[ \t]*\r?\n[ \t]*ENDSEC\s*\Z")
_NAME = re.compile(rb"[ \t]*\r?\n[ \t]*2[ \t]*\r?\n[ \t]*([A-Z]{2,40})")
_ON_PAPER = re.compile(rb"[\r\n][ \t]*67[ \t]*\r?\n[ \t]*1[ \t]*[\r\n]")
_HANDLE = re.compile(r"\(#\w+\)")
_PARTS = frozenset({"VERTEX", "SEQEND", "ATTRIB", "SECTION", "ENDSEC", "EOF"})
_DRAWN = ("POINT", "LINE", "POLYLINE", "LWPOLYLINE", "ARC", "CIRCLE", "3DFACE", "MESH", "INSERT")
_MOST_REPAIRS, _MOST_REMARKS = 20, 5
"""Told one by one; the rest is counted."""
_EXPORT = "export it again where it was drawn"
_DRAW_OUT = "draw out the ground's layers, or export it as LandXML"


@dataclass(frozen=True, slots=True, eq=False)
class Loaded:
    """A document, and what only the bytes tell.

    ``unit_code`` is what the file states as ``$INSUNITS``, 0 where it states
    nothing. ``lines`` holds the line of each entity of the model space by type,
    in order; it is empty for a binary file. ``hidden`` are the layers that are off
    or frozen, ``on_sheets`` counts what is drawn on its sheets.
    """

    file: str
    document: Document
    version: str
    unit_code: int
    metric: bool | None
    lines: dict[str, list[int]]
    hidden: frozenset[str]
    on_sheets: int
    findings: tuple[Finding, ...]


def load(path: Path) -> Loaded:
    """The document of a DXF file, text or binary, from version R12 on and older.

    Raises
    ------
    InputError
        Too large, cut short, not DXF, damaged beyond repair, or with a number
        that the library could only guess.
    """
    file = shown(path.name, 80)
    with open_source(path) as stream:
        data = stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise InputError(file, f"larger than {MAX_BYTES >> 20} MiB", _DRAW_OUT)
    binary = data[7:22] == _BINARY
    data = data if binary else _plain(data)
    _check_end(data, binary, file)
    raw = {} if binary else entity_lines(data, file)
    with _remarks() as remarks:
        opened, repairs = _document(data, binary, file)
    whole = {kind: rows for kind, rows in raw.items() if len(rows) == opened.counts[kind]}
    if lost := _lost(raw, opened, repairs):
        raise InputError(file, f"damaged: {lost}", _EXPORT)
    document = opened.document
    unit = _stated(document, "$INSUNITS", data, file)
    measured = _stated(document, "$MEASUREMENT", data, file)
    return Loaded(
        file=file,
        document=document,
        version=shown(str(document.loaded_dxfversion or document.dxfversion)),
        unit_code=unit or 0,
        metric=None if measured is None else measured == 1,
        lines=whole,
        hidden=opened.hidden,
        on_sheets=sum(n for kind, n in opened.on_sheets.items() if kind != "VIEWPORT"),
        findings=(*_about_repairs(repairs, file), *_about_remarks(remarks, file)),
    )


def _stated(document: Document, name: str, data: bytes, file: str) -> int | None:
    """A whole number of the header, None where the file does not state it itself."""
    if name.encode("ascii") not in data:  # the library fills in a header that is not there
        return None
    value = document.header.get(name)
    if value is not None and not isinstance(value, int):
        raise InputError(file, f'{name} is "{shown(str(value))}"', _EXPORT)
    return value


def _plain(data: bytes) -> bytes:
    """The text without a byte order mark, its lines ended as the library knows them."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    return data


def _check_end(data: bytes, binary: bool, file: str) -> None:
    if b"\0" in data and not binary:
        found = f"a zero byte at byte {data.index(0)}, and it is no binary DXF"
        raise InputError(file, found, _EXPORT)
    if not (b"\0EOF\0" in data if binary else _END.search(data) or _ends_whole(data)):
        raise InputError(file, "has no end mark (0, EOF): it is cut short or no DXF", _EXPORT)
    if not binary and data.count(b"\n") > MOST_LINES:
        raise InputError(file, f"more than {MOST_LINES:,} lines", _DRAW_OUT)


def _ends_whole(data: bytes) -> bool:
    """True where only the end mark lacks: the last section is closed, and one is the entities."""
    return b"\nENTITIES" in data and _WHOLE.search(data, max(0, len(data) - 4096)) is not None


def entity_lines(data: bytes, file: str) -> dict[str, list[int]]:
    """Line of every entity outside of blocks and sheets, by type, in order.

    Raises
    ------
    InputError
        More than `MOST_ENTITIES`.
    """
    lines: dict[str, list[int]] = {}
    line, at, section = 1, 0, ""
    paper = _ON_PAPER.search(data) is not None
    last = ""
    for count, found in enumerate(_ENTITY.finditer(data), start=1):
        if paper and last and _ON_PAPER.search(data, at, found.start() + 1):
            lines[last].pop()
        line += data.count(b"\n", at, found.start(1))
        at = found.start(1)
        kind = found[1].decode("ascii")
        last = ""
        if kind == "SECTION":
            name = _NAME.match(data, found.end(1))
            section = name[1].decode("ascii") if name else ""
        elif kind == "EOF":
            break
        elif kind not in _PARTS and section != "BLOCKS" and not kind.isdigit():
            lines.setdefault(kind, []).append(line)
            last = kind
        if count > MOST_ENTITIES:
            raise InputError(file, f"more than {MOST_ENTITIES:,} entities", _DRAW_OUT)
    return lines


@dataclass(frozen=True, slots=True)
class _Opened:
    """A document, and what a damaged one would raise on, asked for while that can be caught."""

    document: Document
    counts: Counter[str]
    hidden: frozenset[str]
    on_sheets: Counter[str]


def _opened(document: Document) -> _Opened:
    return _Opened(
        document,
        Counter(entity.dxftype() for entity in document.modelspace()),
        frozenset(
            INVISIBLE.sub(" ", layer.dxf.name).casefold()
            for layer in document.layers
            if layer.is_frozen() or layer.is_off()
        ),
        Counter(
            entity.dxftype()
            for layout in document.layouts
            if not layout.is_modelspace
            for entity in layout
        ),
    )


def _lost(raw: dict[str, list[int]], opened: _Opened, repairs: Auditor | None) -> str:
    """What stands in the file and is neither read nor told as a repair, in words."""
    told = [entry.message for entry in (*repairs.errors, *repairs.fixes)] if repairs else []
    lost = []
    for kind in _DRAWN:
        there = len(raw.get(kind, ()))
        read = opened.counts[kind] + opened.on_sheets[kind]
        if there > read and there > read + sum(kind in message for message in told):
            lost.append(f"{there} {kind} stand in it, {read} can be read")
    return ", ".join(lost)


def _document(data: bytes, binary: bool, file: str) -> tuple[_Opened, Auditor | None]:
    """The document, and the auditor that lists the repairs if it needed any."""
    try:
        return _opened(_strict(data, binary)), None
    except Exception as error:  # noqa: BLE001 - a damaged file raises anything at all
        if binary:
            found = f"damaged: {shown(str(error), 120) or type(error).__name__}"
            raise InputError(file, found, _EXPORT) from None
    try:
        from ezdxf.recover import read

        document, auditor = read(io.BytesIO(data))
        opened = _opened(document)
    except Exception as error:  # noqa: BLE001 - as above
        found = f"damaged beyond repair: {shown(str(error), 120) or type(error).__name__}"
        raise InputError(file, found, _EXPORT) from None
    _refuse_guesses(auditor, file)
    return opened, auditor


def _strict(data: bytes, binary: bool) -> Document:
    if binary:
        from ezdxf.document import Drawing
        from ezdxf.lldxf.tagger import binary_tags_loader

        return Drawing.load(binary_tags_loader(data))
    from ezdxf.filemanagement import dxf_stream_info, read

    about = dxf_stream_info(io.StringIO(data[: 1 << 20].decode("utf-8", errors="ignore")))
    text = io.TextIOWrapper(io.BytesIO(data), about.encoding, errors="surrogateescape")
    return read(text)


def _refuse_guesses(auditor: Auditor, file: str) -> None:
    from ezdxf.audit import AuditError

    for entry in (*auditor.errors, *auditor.fixes):
        if entry.code == AuditError.INVALID_FLOATING_POINT_VALUE:
            raise InputError(file, f"damaged: {shown(entry.message, 120)}", _EXPORT)


@contextmanager
def _remarks() -> Iterator[list[str]]:
    """What the library logs meanwhile: kept for the findings, off the terminal."""
    logger = logging.getLogger("ezdxf")
    kept: list[str] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            kept.append(record.getMessage())

    handler, before = Keep(logging.WARNING), logger.propagate
    logger.addHandler(handler)
    logger.propagate = False
    try:
        yield kept
    finally:
        logger.removeHandler(handler)
        logger.propagate = before


def _about_repairs(auditor: Auditor | None, file: str) -> list[Finding]:
    if auditor is None:
        return []
    entries = [*auditor.errors, *auditor.fixes]
    how = f"was repaired in {len(entries)} places" if entries else "was read all the same"
    text = f"{file}: the file does not keep to the format and {how}"
    do = "compare the counts with the drawing, or export it again"
    found = [Finding("person", "repaired", text, do, file=file)]
    kinds = Counter(_HANDLE.sub("", entry.message) for entry in entries)
    rows = [f"{shown(message, 160)} ({count} times)" for message, count in kinds.items()]
    if len(rows) > _MOST_REPAIRS:
        rows[_MOST_REPAIRS:] = [f"and {len(rows) - _MOST_REPAIRS} more kinds of repair"]
    for row in rows:
        text = f"{file}: repaired: {row}"
        found.append(Finding("note", "repair", text, "nothing, if it looks whole", file=file))
    return found


def _about_remarks(remarks: list[str], file: str) -> list[Finding]:
    odd = list(dict.fromkeys(remarks))
    if not odd:
        return []
    said = listed([shown(one, 120) for one in odd], _MOST_REMARKS, "; ")
    text = f"{file}: odd in the file: {said}"
    if any("ignor" in one.lower() for one in odd):  # so something was left out
        do = "compare the counts with the drawing"
        return [Finding("person", "oddity", text, do, file=file)]
    return [Finding("note", "oddity", text, "nothing, if it looks whole", file=file)]
