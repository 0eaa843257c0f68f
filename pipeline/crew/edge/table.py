"""``edge.csv``: edge, straightness, machine path and bank, a row each, by what they are about."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.crew.measures import measures
from pipeline.crew.work import CrewWork, place
from pipeline.model import Table
from pipeline.units import format_length, format_side

COLUMNS = (
    "street", "what", "verdict", "side", "station_from", "station_to", "station", "offset_m",
    "amount_m", "length_m", "width_m", "volume_m3", "shots_apart_m", "note",
)  # fmt: skip
_TEXT = frozenset(
    {"street", "what", "verdict", "side", "station_from", "station_to", "station", "note"}
)


def table(work: CrewWork) -> Table:
    """The worst of the edge first, then straightness, what was seen, the path, the bank.

    Street after street; stations are along each street's own line, lengths along what they
    are about: the edge, the middle of the machine's room, the line of a conflict.
    """
    rows = []
    for one in work.streets:
        rows += [*_edge(one), *_straight(one), *_seen(one), *_path(one), *_bank(one)]
    return Table("edge", COLUMNS, tuple(rows), _TEXT)


def _row(work: CrewWork, **cells: object) -> tuple[str, ...]:
    """One row; numbers are formatted here, once, and what is not given is blank."""
    written = []
    for name in COLUMNS:
        value = work.corridor.name if name == "street" else cells.get(name, "")
        if name.startswith("station") and isinstance(value, float):
            written.append(place(work, value))
        elif name == "side" and isinstance(value, int):
            written.append(format_side(value))
        elif isinstance(value, float):
            written.append(format_length(value))
        else:
            written.append(str(value))
    return tuple(written)


def _edge(work: CrewWork) -> Iterator[tuple[str, ...]]:
    unit = measures(work.job.rounding)
    for spot in work.spots:
        amount = unit.small(abs(spot.amount_m))
        paint = f"OFF {amount}" if spot.amount_m > 0 else f"short {amount}"
        yield _row(
            work, what="edge", verdict=spot.verdict, side=spot.side, station_from=spot.start,
            station_to=spot.end, station=spot.station, amount_m=spot.amount_m,
            length_m=spot.length_m, volume_m3=spot.volume_m3, shots_apart_m=spot.shot_gap_m,
            note=f"{paint} {unit.small_unit}",
        )  # fmt: skip


def _straight(work: CrewWork) -> Iterator[tuple[str, ...]]:
    unit = measures(work.job.rounding)
    for one in work.straight:
        length = f"{unit.long(one.tested_m)} of {unit.long(one.length_m)} {unit.unit}"
        limit = f"limit {unit.fine(one.limit_m)} {unit.fine_unit}, tested on {length}"
        chord = f"straight-edge {unit.stated(one.chord_m)}"
        yield _row(
            work, what=chord, verdict="WORST", side=one.side,
            amount_m=one.worst_m, length_m=one.tested_m, note=limit,
        )  # fmt: skip
        for wobble in one.wobbles:
            yield _row(
                work, what=chord, verdict="WATCH", side=wobble.side,
                station_from=wobble.start, station_to=wobble.end, station=wobble.station,
                amount_m=wobble.amount_m, length_m=wobble.length_m, note=limit,
            )  # fmt: skip
    for snake in work.long_sights:
        yield _row(
            work, what="long sight", verdict="WATCH", side=snake.side, station_from=snake.start,
            station_to=snake.end, station=snake.station, amount_m=snake.amount_m,
            length_m=snake.length_m, note="out of the line from end to end, + outward",
        )  # fmt: skip


def _seen(work: CrewWork) -> Iterator[tuple[str, ...]]:
    unit = measures(work.job.rounding)
    for one in work.seen:
        nose = f"{unit.long(one.smallest_nose_m)} {unit.unit}"
        yield _row(
            work, what="seen", verdict="SMALLEST NOSE", side=one.side, station_from=one.start,
            station_to=one.end, amount_m=one.smallest_nose_m, length_m=one.length_m,
            shots_apart_m=one.usual_gap_m,
            note=f"a nose shorter than {nose} may hide between shots",
        )  # fmt: skip


def _path(work: CrewWork) -> Iterator[tuple[str, ...]]:
    if work.path is None:
        return
    unit = measures(work.job.rounding)
    for conflict in work.path.conflicts:
        yield _row(
            work, what=f"in the path: {conflict.what}", verdict="CONFLICT", side=conflict.side,
            station_from=conflict.start, station_to=conflict.end, station=conflict.station,
            offset_m=conflict.offset, amount_m=conflict.height_m,
            length_m=conflict.length_m, width_m=conflict.width_m,
            volume_m3=conflict.volume_m3,
            note="concrete that it costs" if conflict.what == "pad low" else "",
        )  # fmt: skip
    for run in work.path.runs:
        yield _row(
            work, what="machine path", verdict=run.state, side=run.side, station_from=run.start,
            station_to=run.end, length_m=run.length_m,
            note="until the next pass of a blade" if run.state == "CLEAR" else "",
        )  # fmt: skip
    for side, nose in zip((-1, 1), work.path.smallest_nose_m, strict=True):
        if work.corridor.parts and not any(run.side == side for run in work.path.runs):
            continue  # a return has its curb on one side
        apart = f"shots are {unit.long(nose)} {unit.unit} apart at most"
        known = apart if np.isfinite(nose) else "no shot in it"
        yield _row(
            work, what="machine path", verdict="SMALLEST NOSE", side=side,
            amount_m=nose if np.isfinite(nose) else float("nan"), note=known,
        )  # fmt: skip


def _bank(work: CrewWork) -> Iterator[tuple[str, ...]]:
    for run in work.bank.runs if work.bank else ():
        yield _row(
            work, what="bank", verdict=run.state, side=run.side, station_from=run.start,
            station_to=run.end, amount_m=run.crest_m, length_m=run.length_m,
            volume_m3=run.build_m3, note="to build" if run.build_m3 else "",
        )  # fmt: skip
