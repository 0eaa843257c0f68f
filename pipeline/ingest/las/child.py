"""The process that decodes one LAZ file: ``python -m pipeline.ingest.las.child FILE ROWS``.

It writes frames of raw points to standard output (`pipeline.ingest.las.laz` reads them) and may
die of a damaged file without taking anything with it.
"""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.las.header import LasHeader, read_header
from pipeline.ingest.las.laz import (
    CHUNK_HEAD,
    END,
    FAILED,
    ROWS,
    chunk_table_at,
    compression_record,
)
from pipeline.ingest.las.points import points_of, record_dtype

_MEMORY = 400 << 20
_SECONDS, _POINTS_PER_SECOND = 60, 100_000


def main(arguments: list[str]) -> int:
    """Decode the file named first, at most so many points a frame as named second."""
    # whatever a library prints goes to standard error: frames have the pipe to themselves
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    try:
        _decode(Path(arguments[0]), int(arguments[1]), out)
        out.write(ROWS.pack(END))
    except InputError as error:
        _fail(out, error.found)
    except BaseException as error:  # noqa: BLE001 - a panic of the decoder is no Exception
        _fail(out, f"{type(error).__name__}: {error}")
    out.close()
    return 0


def _fail(out: BinaryIO, text: str) -> None:
    line = " ".join(text.split())[:500].encode()
    out.write(ROWS.pack(FAILED) + ROWS.pack(len(line)) + line)


def _decode(path: Path, rows: int, out: BinaryIO) -> None:
    import laspy

    header = read_header(path)
    record = compression_record(header)
    _limit(header)
    with path.open("rb") as stream:
        table_at = _check_table(stream, header, record)
        source = io.BufferedReader(_Essential(stream, header, record))
        whole = _in_whole_chunks(header, record, rows)
        if whole:
            _send(_reader(source, laspy.LazBackend.LazrsParallel), header, rows, whole, out)
        if whole < header.points:
            reader = _reader(source, laspy.LazBackend.Lazrs)
            reader.seek(whole)
            _send(reader, header, rows, header.points - whole, out)
        if header.point_format < 6:
            stream.seek(table_at)
            _check_end(stream.read(8), reader.point_source.read_raw_bytes(8), header)


def _in_whole_chunks(header: LasHeader, record: bytes, rows: int) -> int:
    """How many of the first points are decoded chunk by chunk, on several cores.

    A chunk is then held as a whole, so none of them may be larger than a frame. What
    stands behind the last point of the formats 0-5 is asked of the plain decoder, which
    has the last chunk for that.
    """
    chunk = int.from_bytes(record[12:16], "little")
    if chunk > rows:  # chunks of any size are marked by the largest number
        return 0
    if header.point_format >= 6:
        return header.points
    return (header.points - 1) // chunk * chunk


def _reader(source: BinaryIO, backend: Any) -> Any:
    import laspy

    choice = laspy.DecompressionSelection
    source.seek(0)
    return laspy.LasReader(
        source,
        laz_backend=backend,
        read_evlrs=False,
        decompression_selection=choice.base() | choice.Z | choice.CLASSIFICATION | choice.FLAGS,
    )


def _send(reader: Any, header: LasHeader, rows: int, left: int, out: BinaryIO) -> None:
    """The next `left` points, at most `rows` of them a frame."""
    layout = record_dtype(header.point_format, header.record_length)
    while left:
        read = reader.read_points(min(rows, left)).array
        if read.dtype.itemsize != header.record_length or len(read) == 0:
            header.refuse(f"{left:,} of {header.points:,} points are missing")
        points = points_of(read.view(layout), header.point_format)
        out.write(ROWS.pack(len(points)))
        out.write(points.view(np.uint8).data)
        left -= len(points)
        del read, points  # or two frames would be held while the next is decoded


def _check_end(table: bytes, after: bytes, header: LasHeader) -> None:
    """Having decoded the last point, the decoder stands exactly at the chunk table.

    A header that counts one point too few leaves bytes of it unread. Only the
    formats 0-5 are coded as one stream, for which this holds.
    """
    if after != table:
        header.refuse(f"{header.points:,} points do not end where the compressed bytes end")


def _check_table(stream: BinaryIO, header: LasHeader, record: bytes) -> int:
    """Place of the chunk table, whose chunks add up to the compressed bytes and the points.

    Formats 6-10 store in each chunk how many points it holds, which is the one
    place where a header that counts too few or too many points is found out.
    """
    import lazrs

    place = chunk_table_at(stream, header)
    stream.seek(header.points_at)
    table = lazrs.read_chunk_table(stream, lazrs.LazVlr(record))
    at = header.points_at + CHUNK_HEAD
    held = sum(size for _, size in table)
    if held != place - at:
        header.refuse(f"chunks of {held:,} bytes in the table, {place - at:,} in the file")
    if header.point_format < 6:
        return place
    points = 0
    for _, size in table:
        stream.seek(at + header.record_length)
        points += int.from_bytes(stream.read(4), "little")
        at += size
    if points != header.points:
        header.refuse(f"the header says {header.points:,} points, the chunks hold {points:,}")
    return place


class _Essential(io.RawIOBase):
    """The file with a front of its own: the header's numbers and the one record needed.

    Names, dates and other records are blank, so that no oddity in what does not
    matter for the points can stop them from being read. Nothing moves.
    """

    def __init__(self, stream: io.BufferedReader, header: LasHeader, record: bytes) -> None:
        stream.seek(0)
        front = bytearray(header.points_at)
        front[: header.header_size] = stream.read(header.header_size)
        front[6:24] = bytes(18)
        front[26:94] = bytes(68)
        front[100:104] = (1).to_bytes(4, "little")
        if header.version == "1.4":
            front[227:247] = bytes(20)
        head = b"\0\0" + b"laszip encoded".ljust(16, b"\0")
        head += (22204).to_bytes(2, "little") + len(record).to_bytes(2, "little") + bytes(32)
        front[header.header_size : header.header_size + len(head) + len(record)] = head + record
        self._front, self._stream, self._at, self._size = bytes(front), stream, 0, header.size

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, place: int, whence: int = os.SEEK_SET) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._size}[whence]
        self._at = max(0, base + place)
        return self._at

    def readinto(self, buffer: Any) -> int:
        view = memoryview(buffer).cast("B")
        if self._at < len(self._front):
            data = self._front[self._at : self._at + len(view)]
            view[: len(data)] = data
            many = len(data)
        else:
            self._stream.seek(self._at)
            many = self._stream.readinto(view)
        self._at += many
        return many


def _limit(header: LasHeader) -> None:
    """Limit memory beyond what is in use already, and seconds of work, where the system can."""
    if sys.platform == "win32":
        return  # it knows no such limits
    import resource

    seconds = _SECONDS + header.points // _POINTS_PER_SECOND
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    in_use = Path("/proc/self/statm")
    if in_use.exists():
        pages = int(in_use.read_text(encoding="ascii").split()[0])
        ceiling = pages * resource.getpagesize() + _MEMORY
        resource.setrlimit(resource.RLIMIT_AS, (ceiling, ceiling))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
