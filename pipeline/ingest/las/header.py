"""What a LAS or LAZ header says, and whether the file can be what it says.

Everything is read with `struct` and checked against the size of the file before
any library sees a byte: a count that lies makes a decoder hang, ask for more
memory than there is, or return fewer points than were shot without a word.
"""

from __future__ import annotations

import math
import os
import struct
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, NoReturn

from pipeline.errors import InputError
from pipeline.ingest.source import shown
from pipeline.model import Finding, Severity

DAMAGED = "export the scan again or fetch a whole copy; this one is damaged"

# ASPRS LAS Specification 1.4-R15, tables of the point data record formats: length in bytes
# of a record of format 0..10 (from memory; equal to the sizes that laspy gives, see the test)
RECORD_LENGTH = (20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67)

# the same specification: length of the public header block by minor version
_HEADER_SIZE = {0: 227, 1: 227, 2: 227, 3: 235, 4: 375}

_VLR_HEADER = 54
_EVLR_HEADER = 60
_AGAIN = "take the file out of the day's folder or export the scan again"
_MOST_RECORDS = 65_535
_MOST_EXTRA_BYTES = 4_096
_MOST_RECORD_DATA = 1 << 20
_FARTHEST = 1e9
_COARSEST_SCALE = 10.0
_FINEST_SCALE = 1e-12


@dataclass(frozen=True, slots=True)
class LasRecord:
    """A variable-length record that matters here: coordinate system or compression."""

    user: str
    number: int
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class LasHeader:
    """A header that has passed every check against the size of its file.

    Coordinates are ``raw * scale + offset`` in the file's own unit; ``low`` and
    ``high`` are the corners the header claims, which nothing here trusts.
    ``points_end`` is the first byte that cannot belong to a point.
    """

    file: str
    size: int
    version: str
    header_size: int
    point_format: int
    record_length: int
    compressed: bool
    points: int
    points_at: int
    points_end: int
    scale: tuple[float, float, float]
    offset: tuple[float, float, float]
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    records: tuple[LasRecord, ...]

    def refuse(self, found: str, do: str = DAMAGED) -> NoReturn:
        """Raise `InputError` about this file."""
        raise InputError(self.file, found, do)

    def finding(self, severity: Severity, kind: str, text: str, do: str) -> Finding:
        """What there is to say about this file, where it need not be refused."""
        return Finding(severity, kind, text, do, file=self.file)

    def record(self, user: str, number: int) -> bytes | None:
        """Data of the first record of that name and number, None where there is none."""
        for candidate in self.records:
            if candidate.user == user and candidate.number == number:
                return candidate.data
        return None


def read_header(path: Path, doubts: list[str] | None = None) -> LasHeader:
    """Header and the records that matter of a LAS 1.0-1.4 or LAZ file, checked.

    Parameters
    ----------
    path : Path
        A regular file. At most 1 MiB of any one record is read, and no point.
    doubts : list of str, optional
        To describe a file that a job cannot use: takes in words that it holds no
        point, or lacks its last point, which are then no refusals.

    Returns
    -------
    LasHeader
        ``points`` is what the file holds whole.

    Raises
    ------
    InputError
        Not a regular file, not LAS, a version or point format that is not
        published, or any count, length, place, scale or offset that the size of
        the file contradicts. The sentence says what was found at which byte.

    References
    ----------
    ASPRS LAS Specification 1.4-R15, public header block (from memory); checked
    against files written by laspy in every version and point format it knows.
    """
    name = shown(path.name, 80)
    try:
        if not path.is_file():
            found = "not a regular file" if path.exists() else "no such file"
            raise InputError(name, found, "name a LAS or LAZ file")
        with path.open("rb") as stream:
            return _parse(stream, name, doubts)
    except OSError as error:
        raise InputError(
            name, f"cannot be read ({error.strerror})", "check the file and its permissions"
        ) from error


def _parse(stream: BinaryIO, file: str, doubts: list[str] | None) -> LasHeader:
    size = os.fstat(stream.fileno()).st_size
    block = stream.read(375)
    minor = _version(block, size, file)
    header_size, points_at, vlrs, format_byte, length, legacy = struct.unpack_from(
        "<HIIBHI", block, 94
    )
    _check_places(file, size, minor, header_size, points_at)
    point_format = _point_format(file, minor, format_byte, length)
    points = _count(file, block, minor, point_format, legacy)
    if points == 0:
        _doubt(file, "the header counts 0 points", _AGAIN, doubts)
    records = _vlrs(stream, file, header_size, points_at, vlrs)
    evlr_at, more = _evlrs(stream, file, size, block, minor, points_at)
    wave_at = struct.unpack_from("<Q", block, 227)[0] if minor >= 3 else 0
    ends = [place for place in (evlr_at, wave_at) if points_at <= place < size and place > 0]
    scale, offset, corners = _scaling(file, block, points)
    header = LasHeader(
        file=file,
        size=size,
        version=f"1.{minor}",
        header_size=header_size,
        point_format=point_format,
        record_length=length,
        compressed=bool(format_byte & 0xC0),
        points=points,
        points_at=points_at,
        points_end=min([size, *ends]),
        scale=scale,
        offset=offset,
        low=(corners[1], corners[3], corners[5]),
        high=(corners[0], corners[2], corners[4]),
        records=(*records, *more),
    )
    return header if header.compressed else _whole(header, _returns(block, minor), doubts)


def _doubt(file: str, found: str, do: str, doubts: list[str] | None) -> None:
    """Tell what was found to who asked for it, else refuse."""
    if doubts is None:
        raise InputError(file, found, do)
    doubts.append(found)


def _version(block: bytes, size: int, file: str) -> int:
    if size == 0:
        raise InputError(file, "an empty file", "fetch the scan again")
    if block[:4] != b"LASF":
        raise InputError(
            file,
            f"begins with {block[:4]!r}, not with LASF",
            "check that this is a LAS or LAZ file and not another format renamed",
        )
    if len(block) < 227:
        raise InputError(file, f"{size} bytes, shorter than any LAS header (227)", DAMAGED)
    major, minor = block[24], block[25]
    if major != 1 or minor not in _HEADER_SIZE:
        raise InputError(
            file, f"version {major}.{minor} at byte 24", "export the scan as LAS 1.2 or 1.4"
        )
    if len(block) < _HEADER_SIZE[minor]:
        raise InputError(file, f"{size} bytes, shorter than a version 1.{minor} header", DAMAGED)
    return minor


def _check_places(file: str, size: int, minor: int, header_size: int, points_at: int) -> None:
    least = _HEADER_SIZE[minor]
    if header_size < least:
        raise InputError(
            file,
            f"byte 94 gives a header of {header_size} bytes; version 1.{minor} has {least}",
            DAMAGED,
        )
    if points_at < header_size or points_at > size:
        raise InputError(
            file,
            f"byte 96 puts the points at byte {points_at:,}, outside the {size:,} bytes"
            f" after the header",
            DAMAGED,
        )


def _point_format(file: str, minor: int, format_byte: int, length: int) -> int:
    # LAZ marks the format of a compressed file with bit 7; bit 6 is an older such mark
    point_format = format_byte & 0x3F
    if point_format >= len(RECORD_LENGTH):
        raise InputError(
            file,
            f"point format {point_format} at byte 104; 0 to 10 are published",
            "export the scan in one of those",
        )
    if point_format >= 6 and minor < 4:
        raise InputError(
            file, f"point format {point_format} in a version 1.{minor} file, needs 1.4", DAMAGED
        )
    least = RECORD_LENGTH[point_format]
    if not least <= length <= least + _MOST_EXTRA_BYTES:
        raise InputError(
            file,
            f"byte 105 gives points of {length} bytes; format {point_format} has {least}"
            f" and at most {_MOST_EXTRA_BYTES} more",
            DAMAGED,
        )
    return point_format


def _count(file: str, block: bytes, minor: int, point_format: int, legacy: int) -> int:
    points = legacy
    if minor >= 4:
        (points,) = struct.unpack_from("<Q", block, 247)
        # formats 6-10 should leave the older count zero; some writers fill it, none otherwise
        if legacy not in (0, points):
            raise InputError(
                file,
                f"two counts that disagree: {legacy:,} points at byte 107, {points:,} at byte 247"
                f" (point format {point_format})",
                DAMAGED,
            )
    return int(points)


def _vlrs(
    stream: BinaryIO, file: str, header_size: int, points_at: int, count: int
) -> list[LasRecord]:
    room = points_at - header_size
    if count * _VLR_HEADER > room or count > _MOST_RECORDS:
        raise InputError(
            file,
            f"byte 100 counts {count:,} variable-length records; the {room:,} bytes before the"
            f" points hold at most {min(room // _VLR_HEADER, _MOST_RECORDS):,}",
            DAMAGED,
        )
    return _walk(stream, file, (header_size, points_at), count, extended=False)


def _evlrs(
    stream: BinaryIO, file: str, size: int, block: bytes, minor: int, points_at: int
) -> tuple[int, list[LasRecord]]:
    if minor < 4:
        return 0, []
    start, count = struct.unpack_from("<QI", block, 235)
    if count == 0:
        return 0, []
    if not points_at <= start <= size or count * _EVLR_HEADER > size - start:
        raise InputError(
            file,
            f"{count:,} extended records from byte {start:,} do not fit {size:,} bytes",
            DAMAGED,
        )
    if count > _MOST_RECORDS:
        raise InputError(file, f"{count:,} extended records", DAMAGED)
    return start, _walk(stream, file, (start, size), count, extended=True)


def _walk(
    stream: BinaryIO, file: str, span: tuple[int, int], count: int, *, extended: bool
) -> list[LasRecord]:
    """The records of `span` that matter."""
    head = _EVLR_HEADER if extended else _VLR_HEADER
    place, end = span
    kept: list[LasRecord] = []
    for k in range(count):
        stream.seek(place)
        start = stream.read(head)
        short = len(start) < head
        length = 0 if short else struct.unpack_from("<Q" if extended else "<H", start, 20)[0]
        if short or place + head + length > end:
            raise InputError(
                file,
                f"variable-length record {k + 1} of {count} at byte {place:,} runs past byte"
                f" {end:,}",
                DAMAGED,
            )
        user = start[2:18].split(b"\0")[0].decode("latin-1")
        (number,) = struct.unpack_from("<H", start, 18)
        if user in ("LASF_Projection", "laszip encoded") and length <= _MOST_RECORD_DATA:
            kept.append(LasRecord(user, number, stream.read(length)))
        place += head + length
    return kept


def _scaling(
    file: str, block: bytes, points: int
) -> tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, ...]]:
    """Scale and offset of X, Y, Z, and the corners: greatest and least of each in turn."""
    scale = struct.unpack_from("<3d", block, 131)
    offset = struct.unpack_from("<3d", block, 155)
    corners = struct.unpack_from("<6d", block, 179)
    for axis, s, o in zip("XYZ", scale, offset, strict=True):
        # NaN fails the comparison too
        if not _FINEST_SCALE <= s <= _COARSEST_SCALE:
            raise InputError(
                file, f"{axis} scale {s!r}; {points:,} points would have no place", DAMAGED
            )
        if not (math.isfinite(o) and abs(o) <= _FARTHEST):
            raise InputError(
                file, f"{axis} offset {o!r}; {points:,} points would have no place", DAMAGED
            )
    return scale, offset, corners


def _returns(block: bytes, minor: int) -> int:
    """Sum of the counts of first, second and later returns; 0 where nobody filled them in."""
    later = sum(struct.unpack_from("<15Q", block, 255)) if minor >= 4 else 0
    return int(later or sum(struct.unpack_from("<5I", block, 111)))


def _whole(header: LasHeader, returns: int, doubts: list[str] | None) -> LasHeader:
    """Refuse an uncompressed file whose count is not what its bytes hold, no more, no less.

    Only a last point that is missing is a doubt, for all others are where they should
    be; unless the counts by return say that the count is the lie.
    """
    room = header.points_end - header.points_at
    held = room // header.record_length
    if held == header.points:
        return header
    why = "the file is cut short" if held < header.points else "the count is too small"
    found = (
        f"the header says {header.points:,} points, the {room:,} bytes of points hold"
        f" {held:,}: {why}"
    )
    cut = 0 < held == header.points - 1 and returns != held
    _doubt(header.file, found, DAMAGED, doubts if cut else None)
    return replace(header, points=held)
