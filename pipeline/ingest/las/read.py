"""Laser scans in LAS and LAZ: points on the job grid, in pieces that fit into memory.

The header is checked before anything is believed (``header``), compressed points
are decoded by a child process (``laz``), units come from what the file itself
says (``crs``). Points in = points used + points listed as left out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.las.crs import LasUnits, las_units
from pipeline.ingest.las.header import DAMAGED, LasHeader, read_header
from pipeline.ingest.las.laz import laz_points
from pipeline.ingest.las.points import (
    SYNTHETIC,
    WITHHELD,
    class_name,
    frame_rows,
    points_of,
    record_dtype,
)
from pipeline.model import (
    NO_LINES,
    Bools,
    Findings,
    Floats,
    Ints,
    Reading,
    Shots,
    make_shots,
)
from pipeline.settings import FileFormat
from pipeline.units import metres_per

MOST_SHOTS = 2_000_000
"""More points than this are not made into shots; `las_chunks` has no such limit."""

_SEARCH_POINTS = 50_000

GROUND, NOISE = 2, (7, 18)
"""Classes, as `CLASS_NAMES` has them."""
COARSE_M = 0.0101
"""Heights stored in larger steps than a centimetre are told."""
_COORDINATES = ("easting", "northing", "elevation")


@dataclass(frozen=True, slots=True, eq=False)
class LasChunk:
    """Points used out of one piece of the file, metres; ``record`` counts from 1 in the file."""

    easting: Floats
    northing: Floats
    elevation: Floats
    classification: NDArray[np.uint8]
    record: Ints


@dataclass(slots=True, eq=False)
class LasTally:
    """What was read, used and left out so far; complete when the last chunk has been taken."""

    header: LasHeader | None = None
    units: LasUnits | None = None
    classes: frozenset[int] | None = None
    found_ground: bool = False
    read: int = 0
    used: int = 0
    withheld: int = 0
    noise: int = 0
    at_zero: int = 0
    synthetic: int = 0
    other: NDArray[np.int64] = field(default_factory=lambda: np.zeros(256, dtype=np.int64))
    low: Floats = field(default_factory=lambda: np.full(3, np.inf))
    high: Floats = field(default_factory=lambda: np.full(3, -np.inf))


def read_las(path: Path, fmt: FileFormat, *, classes: Collection[int] | None = None) -> Reading:
    """Shots of a LAS 1.0-1.4 or LAZ file, point formats 0-10.

    Parameters
    ----------
    path : Path
    fmt : FileFormat
        ``unit`` is used where the file does not state its own; ``code`` becomes
        the code of points that were never classified.
    classes : collection of int, optional
        Classes to use. None: class 2 (ground) if the file has any such point,
        otherwise every class; a finding says which. Withheld points, classes 7
        and 18 (noise) and points at exactly 0, 0, 0 are always left out.

    Returns
    -------
    Reading
        Shots in metres, in the order of the file; ``id`` and ``line`` are the
        number of the record in the file, ``code`` is the name of its class,
        ``sigma`` is NaN. ``unit`` is the file's own, ``refused`` counts what was
        left out, by class and reason among the findings.

    Raises
    ------
    InputError
        The file is damaged, contradicts itself, is in degrees, holds no usable
        point or more than `MOST_SHOTS`.

    Notes
    -----
    Coordinates are ``(raw * scale + offset) * metres per unit``: three float64
    operations, so under 4e-9 m off at a northing of 6 000 000 m.
    """
    tally = LasTally()
    parts: list[LasChunk] = []
    for chunk in las_chunks(path, fmt, classes=classes, tally=tally):
        parts.append(chunk)
        if tally.used > MOST_SHOTS:
            _header(tally).refuse(
                f"more than {MOST_SHOTS:,} points to use, of {_header(tally).points:,}",
                "cut the scan to the street or thin it to a point per 5 cm before it is laid here",
            )
    header = _header(tally)
    if tally.used == 0:
        header.refuse(
            f"no point to use among {header.points:,}: {_left_out(tally)}",
            "name the classes to use, or take the file out of the day's folder",
        )
    record = np.concatenate([part.record for part in parts])
    kind = np.concatenate([part.classification for part in parts])
    shots = make_shots(
        *(np.concatenate([getattr(p, c) for p in parts]) for c in _COORDINATES),
        files=(header.file,),
        id=np.array([str(number) for number in record.tolist()], dtype=object),
        code=_class_codes(fmt)[kind],
        line=record,
    )
    return reading_of(tally, shots)


def reading_of(tally: LasTally, shots: Shots) -> Reading:
    """What a scan gave that has been read to its end."""
    header, units = _header(tally), _units(tally)
    return Reading(
        file=header.file,
        format="LAZ" if header.compressed else "LAS",
        version=f"{header.version}, point format {header.point_format}",
        unit=units.text,
        crs=units.crs,
        shots=shots,
        lines=NO_LINES,
        findings=las_findings(tally),
        refused=tally.read - tally.used,
    )


def _class_codes(fmt: FileFormat) -> NDArray[Any]:
    names = np.array([class_name(number) for number in range(256)], dtype=object)
    if fmt.code:
        names[:2] = fmt.code
    return names


def las_chunks(
    path: Path,
    fmt: FileFormat,
    *,
    classes: Collection[int] | None = None,
    chunk_points: int = 1_000_000,
    tally: LasTally | None = None,
) -> Iterator[LasChunk]:
    """Points of a scan in pieces, so that memory is bounded by the piece, not by the file.

    Parameters
    ----------
    path, fmt, classes
        As in `read_las`. Without `classes` the file is first searched for a
        ground point; a scan that has none is therefore read twice.
    chunk_points : int
        Most points read at once; about 100 bytes of memory each at the peak.
    tally : LasTally, optional
        Filled on the way, for `las_findings`.

    Yields
    ------
    LasChunk
        Only points that are used; a piece in which there is none is not given.

    Raises
    ------
    InputError
        As in `read_las`, when the first piece is asked for, or at the end where
        the points read are not as many as the header says.
    """
    tally = LasTally() if tally is None else tally
    header = read_header(path)
    tally.header, tally.units = header, las_units(header, fmt.unit)
    tally.classes = None if classes is None else frozenset(classes)
    if classes is None and has_ground(path, header, chunk_points):
        tally.classes, tally.found_ground = frozenset((GROUND,)), True
    yield from counted_chunks(path, tally, chunk_points)


def counted_chunks(
    path: Path, tally: LasTally, chunk_points: int = 1_000_000
) -> Iterator[LasChunk]:
    """`las_chunks` of the header, the units and the classes that stand in the tally already."""
    header = _header(tally)
    for points in raw_points(path, header, chunk_points):
        chunk = _use(points, tally)
        if len(chunk.record):
            yield chunk
    if tally.read != header.points:
        header.refuse(f"the header says {header.points:,} points, {tally.read:,} were read")


def has_ground(path: Path, header: LasHeader, chunk_points: int, pieces: int | None = None) -> bool:
    """Whether a point is classified as ground; looked for in the first `pieces` only, if given."""
    # small pieces: where there is ground, it is nearly always among the first points
    search = raw_points(path, header, min(chunk_points, _SEARCH_POINTS))
    try:
        first = islice(search, pieces)
        return any(bool(((p["class"] == GROUND) & ~_withheld(p)).any()) for p in first)
    finally:
        search.close()


def _withheld(points: NDArray[Any]) -> Bools:
    return np.asarray((points["flags"] & WITHHELD) != 0)


def raw_points(path: Path, header: LasHeader, chunk_points: int) -> Any:
    """Every point of the file as arrays of `POINT`, withheld ones and noise too."""
    make = laz_points if header.compressed else _plain
    return make(path, header, chunk_points)


def _plain(path: Path, header: LasHeader, chunk_points: int) -> Iterator[NDArray[Any]]:
    """Arrays of `POINT` of an uncompressed file.

    Read, not mapped: a mapped file that is cut short by somebody else while it
    is being read ends the process.
    """
    layout = record_dtype(header.point_format, header.record_length)
    rows = frame_rows(header.record_length, chunk_points)
    left = header.points
    with path.open("rb") as stream:
        stream.seek(header.points_at)
        while left:
            records = np.fromfile(stream, dtype=layout, count=min(rows, left))
            if len(records) == 0:
                header.refuse(
                    f"the header says {header.points:,} points, {header.points - left:,} were read",
                    DAMAGED,
                )
            left -= len(records)
            yield points_of(records, header.point_format)


def _use(points: NDArray[Any], tally: LasTally) -> LasChunk:
    """The points of one piece that are used, in metres; everything is counted."""
    header, units = _header(tally), _units(tally)
    record = np.arange(tally.read + 1, tally.read + len(points) + 1)
    place = np.empty((3, len(points)))
    for k, axis in enumerate("xyz"):
        np.multiply(points[axis], header.scale[k], out=place[k])
        place[k] += header.offset[k]
    np.minimum(tally.low, place.min(axis=1), out=tally.low)
    np.maximum(tally.high, place.max(axis=1), out=tally.high)
    keep = _choose(points, place, tally)
    for k, unit in enumerate((units.plan, units.plan, units.height)):
        place[k] *= metres_per(unit)
    tally.read += len(points)
    tally.used += int(keep.sum())
    if keep.all():
        return LasChunk(place[0], place[1], place[2], points["class"].copy(), record)
    east, north, height = place[:, keep]
    return LasChunk(east, north, height, points["class"][keep], record[keep])


def _choose(points: NDArray[Any], place: Floats, tally: LasTally) -> Bools:
    kind = points["class"]
    withheld = _withheld(points)
    # a scanner's "no return" is written at its own origin; nothing is shot there
    at_zero = ~withheld & (place == 0.0).all(axis=0)
    noise = ~withheld & ~at_zero & np.isin(kind, NOISE)
    keep = np.asarray(~(withheld | at_zero | noise))
    if tally.classes is not None:
        other = keep & ~np.isin(kind, sorted(tally.classes))
        tally.other += np.bincount(kind[other], minlength=256)
        keep &= ~other
    tally.withheld += int(withheld.sum())
    tally.at_zero += int(at_zero.sum())
    tally.noise += int(noise.sum())
    tally.synthetic += int(((points["flags"] & SYNTHETIC) != 0)[keep].sum())
    return keep


def _header(tally: LasTally) -> LasHeader:
    assert tally.header is not None  # noqa: S101 - set before the first chunk
    return tally.header


def _units(tally: LasTally) -> LasUnits:
    assert tally.units is not None  # noqa: S101 - set before the first chunk
    return tally.units


def las_findings(tally: LasTally) -> Findings:
    """Everything a person should know about a scan that has been read to its end."""
    header = _header(tally)
    found = [
        *_units(tally).findings,
        header.finding(
            "note", "class", _classes_used(tally), "name other classes if these are not the ground"
        ),
    ]
    if tally.read > tally.used:
        left = f"{tally.read - tally.used:,} of {tally.read:,} points left out: {_left_out(tally)}"
        found.append(header.finding("note", "left out", left, "nothing to do"))
    if tally.at_zero:
        found.append(
            header.finding(
                "person",
                "point at zero",
                f"{tally.at_zero:,} points at exactly 0, 0, 0, left out",
                "export the scan without points that had no return",
            )
        )
    if tally.synthetic:
        found.append(
            header.finding(
                "person",
                "not measured",
                f"{tally.synthetic:,} points used are marked as made, not measured",
                "look where they lie before trusting the surface there",
            )
        )
    found += [header.finding("person", "header", text, do) for text, do in _oddities(tally)]
    return tuple(found)


def _classes_used(tally: LasTally) -> str:
    if tally.found_ground:
        return "the file is classified: class 2 (ground) is used, no other"
    if tally.classes is None:
        return "no point is classified as ground: every class but noise is used"
    named = ", ".join(f"{number} ({class_name(number)})" for number in sorted(tally.classes))
    return f"classes used, as asked: {named}"


def _left_out(tally: LasTally) -> str:
    counts = [
        (tally.withheld, "withheld"),
        (tally.noise, "noise (class 7 or 18)"),
        (tally.at_zero, "at 0, 0, 0"),
        *((int(tally.other[k]), class_name(k)) for k in range(256)),
    ]
    return ", ".join(f"{number:,} {what}" for number, what in counts if number)


def wrong_box(header: LasHeader, low: Floats, high: Floats) -> str:
    """In what the header's box differs most from `low` and `high`, that of its points, if it does.

    Parameters
    ----------
    header : LasHeader
    low, high : ndarray, shape (3,)
        Least and most of X, Y, Z of all points, in the file's unit.
    """
    worst, text = 0.0, ""
    for k, axis in enumerate("XYZ"):
        for corner, mine in ((header.low[k], low[k]), (header.high[k], high[k])):
            # a corner that is no number is farther off than any
            gap = abs(corner - mine) if np.isfinite(corner) else np.inf
            if gap > 1.5 * header.scale[k] + 1e-12 * abs(mine) and gap > worst:
                worst = gap
                text = (
                    f"the header's box is not that of its points: {axis} from {header.low[k]:.3f}"
                    f" to {header.high[k]:.3f}, points from {low[k]:.3f} to {high[k]:.3f}"
                )
    return text


def _oddities(tally: LasTally) -> Iterator[tuple[str, str]]:
    header = _header(tally)
    if text := wrong_box(header, tally.low, tally.high):
        do = "look where the points lie; a damaged file shows like this too"
        yield f"{text} (file unit)", do
    step = header.scale[2] * metres_per(_units(tally).height)
    if step > COARSE_M:
        yield f"heights are stored in steps of {step:.3f} m", "export the scan with a finer scale"
