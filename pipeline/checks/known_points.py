"""The control file itself slipped: its columns exchanged, or feet written for metres.

Such a file makes every check shot look like a bad set-up. It is blamed only where the
design does not hold with it: the street decides which of the two is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.checks.references import matched
from pipeline.checks.scale import Box
from pipeline.errors import InputError
from pipeline.model import Floats, Ints, Shots
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M

NEAR_M = 1.0
"""A check shot this near to its record is of it, however bad the set-up [assumed]."""
_FEET = ((FOOT_M, "feet"), (US_SURVEY_FOOT_M, "US survey feet"))
_APART_M = 0.05
_ON_DESIGN_M = 2.0


def refuse_slipped_control(shots: Shots, record: Shots, box: Box, above: Floats, file: str) -> None:
    """Refuse a control file that fits shots and street only with another unit or order.

    Parameters
    ----------
    shots : Shots
        The morning's shots of control; matched by the id that they name.
    record : Shots
        The job's control.
    box : Box
        Where the street lies, with a margin.
    above : ndarray, shape (m,)
        Ground shots above the design [m], NaN where there is none: where their median is
        small the heights of the shots are right, and those of control can be blamed.
    file : str
        Name of the control file.

    Raises
    ------
    InputError
        Named shots agree with their records, or nine tenths of the records lie on the
        street, only with northing and easting exchanged, with feet (0.3048 m) or US survey
        feet (1200/3937 m) for metres, or both; or only the heights are in feet.

    Notes
    -----
    To be called only where the morning's shots lie on the street: then they are right.
    """
    if not len(record):
        return
    rows = matched(shots, record, 0.0)
    own = np.flatnonzero(rows >= 0)
    plan = shots.easting[own], shots.northing[own]
    stands = record.easting, record.northing
    if not _fits(stands, rows[own], plan, box):
        fits = [one for one in _readings(stands) if _fits(one[1], rows[own], plan, box)]
        if fits:
            _refuse(file, fits, rows[own], plan)
    _refuse_heights(file, (shots.elevation[own], record.elevation[rows[own]]), above)


def _readings(
    stands: tuple[Floats, Floats],
) -> Iterator[tuple[str, tuple[Floats, Floats]]]:
    """Each slip in words, and where the records lie without it."""
    east, north = stands
    yield "with northing and easting exchanged", (north, east)
    for factor, feet in _FEET:
        yield f"read as {feet}", (east * factor, north * factor)
    for factor, feet in _FEET:
        both = f"read as {feet}, with northing and easting exchanged"
        yield both, (north * factor, east * factor)


def _away(places: tuple[Floats, Floats], rows: Ints, plan: tuple[Floats, Floats]) -> float:
    off = np.hypot(places[0][rows] - plan[0], places[1][rows] - plan[1])
    return float(np.median(off)) if len(off) else float("nan")


def _fits(places: tuple[Floats, Floats], rows: Ints, plan: tuple[Floats, Floats], box: Box) -> bool:
    """By the shots that name a record where there are any, else by the street."""
    if len(rows):
        return _away(places, rows, plan) <= NEAR_M
    return float(box.holds(*places).mean()) >= 0.9


def _refuse(
    file: str,
    fits: list[tuple[str, tuple[Floats, Floats]]],
    rows: Ints,
    plan: tuple[Floats, Floats],
) -> None:
    """Name the slip that fits best; the two feet only where they can be told apart."""
    off = [_away(places, rows, plan) if len(rows) else 0.0 for _, places in fits]
    best = int(np.argmin(off))
    words = fits[best][0]
    close = [k for k, away in enumerate(off) if away - off[best] < _APART_M]
    if len(close) > 1:
        words = words.replace("US survey feet", "feet")
        words += " (which of the two feet does not show here)"
    where = "where this morning's shots have them" if len(rows) else "on the street"
    raise InputError(
        file,
        f"its points lie {where} only {words}",
        "write its columns in the order that its header says, in metres; nothing was converted",
    )


def _refuse_heights(file: str, heights: tuple[Floats, Floats], above: Floats) -> None:
    shot, record = heights
    on_design = np.isfinite(above).any() and abs(float(np.nanmedian(above))) <= _ON_DESIGN_M
    if not len(shot) or not on_design:
        return
    off = float(np.median(np.abs(shot - record)))
    left = float(np.median(np.abs(shot - record * FOOT_M)))
    if off > 5.0 * NEAR_M and left <= NEAR_M:
        raise InputError(
            file,
            f"its elevations stand {off:.1f} m off the shots of its points, {left:.2f} m if they"
            " are feet",
            "write elevations in metres; nothing was converted",
        )
