"""A level run by the height-of-instrument method, with its page check and misclosure."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import InputError
from pipeline.model import Finding, Floats, LevelBook, LevelRun

LIMIT_M_PER_ROOT_KM = 0.012
"""Misclosure allowed per root of the kilometres levelled: third-order levelling,
12 mm sqrt(K), from memory (REF-TS-14)."""
LIMIT_M_PER_ROOT_SETUP = 0.003
"""The same where no distance is booked, per root of the number of set-ups [assumed]."""
BOOKED_M = 0.0005
"""An elevation booked in the field that is off by more is a slip of arithmetic."""
THREE_WIRE_M = 0.010
"""Half intervals that differ by more mean that a wire was misread [assumed]."""


def misclosure_limit(length_km: float) -> float:
    """Largest misclosure [m] of a run of `length_km`, REF-TS-14.

    Examples
    --------
    >>> round(misclosure_limit(4.0), 4)
    0.024
    """
    return LIMIT_M_PER_ROOT_KM * math.sqrt(length_km)


def three_wire(top: ArrayLike, middle: ArrayLike, bottom: ArrayLike) -> tuple[Floats, Floats]:
    """Mean of the three wires and the interval between the outer two, shape (n,) each.

    The interval times the stadia constant, commonly 100, is the distance. Checked
    against REF-TS-12 and REF-TS-13.

    Raises
    ------
    InputError
        Wires out of order, or halves that differ by more than `THREE_WIRE_M`.
    """
    t, m, b = (np.asarray(wire, dtype=np.float64) for wire in (top, middle, bottom))
    halves = np.abs((t - m) - (m - b))
    wrong = np.flatnonzero((t < m) | (m < b) | (halves > THREE_WIRE_M + 1e-9))
    if wrong.size:
        k = int(wrong[0])
        found = f"{t.flat[k]:.3f}, {m.flat[k]:.3f}, {b.flat[k]:.3f}"
        raise InputError(f"three-wire reading {k + 1}", found, "read the three wires again")
    return (t + m + b) / 3.0, t - b


def level_run(book: LevelBook, start: float, end: float = math.nan) -> LevelRun:
    """Elevations of a level run, with the misclosure shared along it.

    Parameters
    ----------
    book : LevelBook
        First row a backsight on the starting bench mark, last row a foresight.
    start : float
        Elevation of the first point [m].
    end : float
        Known elevation of the last point [m]; NaN: the run is not closed.

    Returns
    -------
    LevelRun
        ``adjusted`` takes a share of the misclosure that grows with the distance
        where it is booked, else with the set-ups. Over the limit is a ``stop``; an
        open run and a slip in the booked elevations are for a ``person``.

    Raises
    ------
    InputError
        A row that nothing can be read from, naming it by line.

    Notes
    -----
    Height of instrument = elevation + backsight; elevation = height of instrument -
    foresight. The page check, sum of backsights minus sum of foresights against last
    minus first elevation, is only worth something against what was booked by hand,
    so it is made against the booked elevations where there are any. Checked against
    REF-TS-11.
    """
    instrument, elevation, setups = _work(book, start)
    sums = float(np.nansum(book.backsight)), float(np.nansum(book.foresight))
    misclosure = float(elevation[-1] - end)
    run = np.cumsum(np.nan_to_num(book.distance))
    has_distance = run[-1] > 0
    share = run / run[-1] if has_distance else setups / max(float(setups[-1]), 1.0)
    limit = (
        misclosure_limit(float(run[-1]) / 1000.0)
        if has_distance
        else LIMIT_M_PER_ROOT_SETUP * math.sqrt(float(setups[-1]))
    )
    page = _page_check(book, sums, float(elevation[-1] - elevation[0]))
    closed = not math.isnan(misclosure)
    return LevelRun(
        point=book.point,
        instrument=instrument,
        elevation=elevation,
        adjusted=elevation - (misclosure if closed else 0.0) * share,
        sum_backsight=sums[0],
        sum_foresight=sums[1],
        page_check=page,
        misclosure=misclosure,
        limit=limit if closed else math.nan,
        findings=book.findings + _findings(book, elevation, page, (misclosure, limit)),
    )


def _work(book: LevelBook, start: float) -> tuple[Floats, Floats, Floats]:
    """Height of instrument each row was read from, its elevation, set-ups so far."""
    n = len(book)
    instrument, elevation, setups = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n)
    height, count = math.nan, 0
    for row in range(n):
        side, fore = book.intermediate[row], book.foresight[row]
        where = f"{book.file} line {book.line[row]} (point {book.point[row]})"
        if not math.isnan(side) and not math.isnan(fore):
            do = "a side shot and a turn are two rows"
            raise InputError(where, "an intermediate and a foresight", do)
        reading = fore if math.isnan(side) else side
        if row == 0:
            elevation[row] = start
        elif math.isnan(reading) or math.isnan(height):
            found = "no rod reading" if math.isnan(reading) else "read before any backsight"
            raise InputError(where, found, "book a foresight or an intermediate")
        else:
            instrument[row] = height
            elevation[row] = height - reading
        setups[row] = count
        if not math.isnan(book.backsight[row]):
            if row and math.isnan(fore):
                raise InputError(where, "a backsight on no turning point", "book its foresight")
            height = float(elevation[row]) + float(book.backsight[row])
            count += 1
        elif row == 0:
            raise InputError(where, "no backsight", "begin with one on the bench mark")
    if math.isnan(book.foresight[-1]):
        where = f"{book.file} line {book.line[-1]} (point {book.point[-1]})"
        raise InputError(where, "the run does not end on a foresight", "close it with one")
    return instrument, elevation, setups


def _page_check(book: LevelBook, sums: tuple[float, float], risen: float) -> float:
    """Sums against the booked elevations where both ends are booked, else our own."""
    booked = float(book.booked[-1] - book.booked[0])
    return (sums[0] - sums[1]) - (risen if math.isnan(booked) else booked)


def _findings(
    book: LevelBook, elevation: Floats, page: float, closing: tuple[float, float]
) -> tuple[Finding, ...]:
    found: list[Finding] = []
    misclosure, limit = closing
    slip = np.abs(book.booked - book.booked[0] - (elevation - elevation[0]))
    wrong = np.flatnonzero(slip > BOOKED_M)
    if wrong.size:
        row = int(wrong[0])
        text = (
            f"{book.file} line {book.line[row]}: point {book.point[row]} is booked"
            f" {book.booked[row]:.3f}, the readings give {elevation[row]:.3f};"
            f" the page is off by {page:+.3f} m"
        )
        do = "work the page again from here"
        found.append(Finding("person", "page check", text, do, (str(book.point[row]),)))
    if math.isnan(misclosure):
        text = f"{book.file}: the run ends on {book.point[-1]} and is not closed"
        found.append(Finding("person", "open level run", text, "close on a bench mark"))
    elif abs(misclosure) > limit:
        text = f"{book.file}: misclosure {misclosure:+.3f} m, {limit:.3f} allowed"
        found.append(Finding("stop", "level misclosure", text, "run it again"))
    return tuple(found)
