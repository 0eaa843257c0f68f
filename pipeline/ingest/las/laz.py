"""Points of a compressed file: checked first, then decoded in a child process.

A 29 kB file can make the decoder ask for more memory than there is; it then
aborts, which no ``except`` can catch. So the decoder runs in a process of its
own, with a limit on memory and time, and only plain numbers come back.
"""

from __future__ import annotations

import os
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Timer
from typing import IO, Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

import pipeline
from pipeline.errors import InputError
from pipeline.ingest.las.header import DAMAGED, LasHeader
from pipeline.ingest.las.points import POINT, frame_rows
from pipeline.ingest.source import shown

ROWS = struct.Struct("<q")
"""In front of each frame: its points, or one of the two below."""
END, FAILED = -1, -2

CHUNK_HEAD = 8
"""Bytes before the first chunk: the place of the chunk table."""

PIPE_BYTES = 1 << 20
"""What the decoder may write ahead, where the system lets us ask: fewer turns between the two."""

PATIENCE_S = 60.0
"""Longest wait for the next frame; a decoder that loops is ended after this."""

THREADS = 4
"""How many chunks are decoded at a time: what comes out is laid down no faster."""

_USER, _NUMBER = "laszip encoded", 22204
# item kinds of points, times, colours and waves and the versions of each that are published
_ITEM_VERSIONS = {
    **dict.fromkeys((0, 6, 7, 8), (1, 2)),
    9: (1,),
    **dict.fromkeys((10, 11, 12, 13, 14), (3, 4)),
}
# A real scan never needs less than a byte or two a point. A sixteenth stops a file of
# 100 kB that unfolds to ten million equal points, and lets any even test grid pass.
_POINTS_PER_BYTE = 16
_FREE_POINTS = 1_000_000
_VARIABLE = 0xFFFF_FFFF
_LARGEST_CHUNK = 10_000_000


def compression_record(header: LasHeader) -> bytes:
    """The record that says how the points are compressed, checked.

    Raises
    ------
    InputError
        None, an early form without chunks, an item that the decoder does not
        know, or item sizes that do not add up to the point.
    """
    data = header.record(_USER, _NUMBER)
    if data is None or len(data) < 34:
        header.refuse("points marked as compressed, but no whole record of how")
    compressor, coder, major, minor = struct.unpack_from("<HHBB", data, 0)
    (chunk,) = struct.unpack_from("<I", data, 12)
    (items,) = struct.unpack_from("<H", data, 32)
    if compressor not in (2, 3) or coder != 0:
        header.refuse(
            f"compression {compressor} (coder {coder}, version {major}.{minor}) without chunks;"
            " 2 and 3 are read",
            "save the scan again with a current LAZ writer, or as LAS",
        )
    if len(data) < 34 + 6 * items or not 1 <= items <= 16:
        header.refuse(f"compression record of {len(data)} bytes that names {items} items")
    if chunk != _VARIABLE and not 1 <= chunk <= _LARGEST_CHUNK:
        header.refuse(f"compression in chunks of {chunk:,} points")
    kinds = [struct.unpack_from("<3H", data, 34 + 6 * k) for k in range(items)]
    for kind, size, version in kinds:
        if version not in _ITEM_VERSIONS.get(kind, ()):
            header.refuse(
                f"compressed item {kind} ({size} bytes) of version {version}, not a published one",
                "save the scan again with a current LAZ writer, or as LAS",
            )
    if any((kind >= 10) != (header.point_format >= 6) for kind, _, _ in kinds):
        header.refuse(
            f"compressed items {', '.join(str(kind) for kind, _, _ in kinds)} in point format"
            f" {header.point_format}"
        )
    total = sum(size for _, size, _ in kinds)
    if total != header.record_length:
        header.refuse(
            f"compressed items of {total} bytes together, points of {header.record_length}"
        )
    return data


def check_chunks(path: Path, header: LasHeader) -> None:
    """The chunk table stands where it is said to, and its chunks can hold the points.

    Raises
    ------
    InputError
        A table outside the file, or chunks that are too many, too few or too small.
    """
    (chunk,) = struct.unpack_from("<I", compression_record(header), 12)
    with path.open("rb") as stream:
        place = chunk_table_at(stream, header)
        stream.seek(place)
        version, chunks = struct.unpack("<II", stream.read(8))
    held = place - header.points_at - CHUNK_HEAD
    fewest = 1 if chunk == _VARIABLE else -(-header.points // chunk)
    most = header.points if chunk == _VARIABLE else fewest
    if version != 0 or not fewest <= chunks <= most:
        header.refuse(
            f"chunk table (version {version}) of {chunks:,} chunks for {header.points:,} points"
            + ("" if chunk == _VARIABLE else f" in chunks of {chunk:,}")
        )
    # the first point of every chunk is stored whole
    if chunks * header.record_length > held:
        header.refuse(f"{chunks:,} chunks in {held:,} bytes of compressed points")
    if header.points > _FREE_POINTS and header.points > held * _POINTS_PER_BYTE:
        header.refuse(
            f"{header.points:,} points in {held:,} compressed bytes, far fewer than a scan needs"
        )


def chunk_table_at(stream: BinaryIO, header: LasHeader) -> int:
    """First byte of the chunk table.

    Raises
    ------
    InputError
        It would lie outside the file.
    """
    place = -1
    # -1: written as a stream, the place then stands at the very end
    for where in (header.points_at, header.size - 8):
        if place == -1:
            stream.seek(where)
            place = int.from_bytes(stream.read(8), "little", signed=True)
    if not header.points_at + CHUNK_HEAD <= place <= header.size - 8:
        header.refuse(f"chunk table at byte {place:,} of {header.size:,}")
    return place


def laz_points(path: Path, header: LasHeader, chunk_points: int) -> Iterator[NDArray[Any]]:
    """Arrays of `POINT`, decoded by a child process; memory is bounded by two frames.

    Raises
    ------
    InputError
        The decoder refuses, dies, answers nonsense or takes more than
        `PATIENCE_S` for one frame. The child is ended in every case.
    """
    check_chunks(path, header)
    rows = frame_rows(header.record_length, chunk_points)
    with tempfile.TemporaryFile() as complaints:
        child = subprocess.Popen(  # noqa: S603 - our own module, no shell
            _command(path, rows),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=complaints,
            pipesize=PIPE_BYTES,
            env=_environment(),
        )
        try:
            yield from _frames(child, header, rows, complaints)
        finally:
            child.kill()
            if child.stdout is not None:
                child.stdout.close()
            child.wait()


def _command(path: Path, rows: int) -> list[str]:
    # -P: no module is taken from the folder that the user happens to stand in
    module = "pipeline.ingest.las.child"
    return [sys.executable, "-P", "-m", module, str(path.resolve()), str(rows)]


def _environment() -> dict[str, str]:
    places = [str(Path(pipeline.__file__).resolve().parent.parent), os.environ.get("PYTHONPATH")]
    # numpy's pools would only eat address space, which is limited here
    return {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(place for place in places if place),
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "RAYON_NUM_THREADS": str(THREADS),
        # one heap for all threads: each would set 64 MB of addresses aside for its own
        "MALLOC_ARENA_MAX": "1",
        # its last line is what a person is told, and that is not to be one of a backtrace
        "RUST_BACKTRACE": "0",
    }


def _frames(
    child: subprocess.Popen[bytes], header: LasHeader, rows: int, complaints: IO[bytes]
) -> Iterator[NDArray[Any]]:
    # the next frame is read while this one is worked on: a pipe alone holds too little of it
    # to let the decoder go on
    with ThreadPoolExecutor(1) as reader:
        coming = reader.submit(_answer, child, header, rows, complaints)
        try:
            while (points := coming.result()) is not None:
                coming = reader.submit(_answer, child, header, rows, complaints)
                yield points
        finally:
            child.kill()  # ends a read that nobody waits for any more


def _answer(
    child: subprocess.Popen[bytes], header: LasHeader, rows: int, complaints: IO[bytes]
) -> NDArray[Any] | None:
    """The next frame, None at the end."""
    late: list[bool] = []

    def stop() -> None:
        late.append(True)
        child.kill()

    timer = Timer(PATIENCE_S, stop)
    timer.start()
    try:
        return _read_frame(child, header, rows)
    except EOFError:
        child.wait()
        if late:
            header.refuse(f"decoding took longer than {PATIENCE_S:g} s without a result")
        raise InputError(
            header.file, f"decoding broke off ({_how(child.returncode, complaints)})", DAMAGED
        ) from None
    finally:
        timer.cancel()


def _read_frame(
    child: subprocess.Popen[bytes], header: LasHeader, rows: int
) -> NDArray[Any] | None:
    count = ROWS.unpack(_exactly(child, ROWS.size))[0]
    if count == END:
        return None
    if count == FAILED:
        length = ROWS.unpack(_exactly(child, ROWS.size))[0]
        said = _exactly(child, min(max(length, 0), 2_000)).decode("utf-8", "replace")
        header.refuse(f"cannot be decoded: {shown(said, 300)}")
    if not 0 < count <= rows:
        header.refuse(f"the decoder answered with {count:,} points, asked for {rows:,}")
    return np.frombuffer(_exactly(child, count * POINT.itemsize), dtype=POINT)


def _exactly(child: subprocess.Popen[bytes], size: int) -> bytes:
    assert child.stdout is not None  # noqa: S101 - a pipe was asked for
    data = child.stdout.read(size)
    if len(data) < size:
        raise EOFError
    return data


def _how(code: int, complaints: IO[bytes]) -> str:
    """How the decoder ended, and the last thing it said."""
    complaints.seek(0, os.SEEK_END)
    complaints.seek(max(0, complaints.tell() - 2_000))
    text = complaints.read().decode("utf-8", "replace").strip()
    # the decoder's advice on how to trace it is no reason
    lines = [line for line in text.splitlines() if not line.startswith("note:")]
    how = f"signal {-code}" if code < 0 else f"exit code {code}"
    return f"{how}: {shown(lines[-1].strip(), 200)}" if lines else how
