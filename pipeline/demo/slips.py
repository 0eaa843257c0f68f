"""The slips of the hand in the demo morning, each of them listed."""

from __future__ import annotations

import datetime as dt
import functools
import math
from dataclasses import dataclass

from pipeline.demo.ground import BANK_MISSING, NOSE_M, NOSE_SIDE, NOSE_STATION, Stretch
from pipeline.demo.plan import NOT_SHOT
from pipeline.demo.shots import FIRST_ID, Shot, as_shot

BUST_M, BUST_SHOTS, BUST_ROW = 0.150, 12, 325.0
"""The rod was longer than stated by this much, so heights come out too high, from this row on."""
FAR_M, NEAR_M = 4000.0, 300.0


@dataclass(frozen=True, slots=True)
class Flaw:
    """One slip or gap that was put in on purpose; NaN where no length belongs to it."""

    kind: str
    ids: tuple[str, ...]
    text: str
    amount_m: float = math.nan


@functools.cache
def morning() -> tuple[Shot, ...]:
    """The shots of the clay as they stand in the file, slips included.

    The shot of kind ``bad row`` is here with its coordinates as meant; the file
    has a letter among its digits.
    """
    shots = list(as_shot())
    first = next(k for k, shot in enumerate(shots) if shot.row == BUST_ROW)
    for k in range(first, first + BUST_SHOTS):
        shot = shots[k]
        shots[k] = shot._replace(elevation=shot.elevation + BUST_M, flaw="rod")
    k = _find(shots, 390.0, "GR", +1)
    shots[k] = shots[k]._replace(easting=shots[k].easting + FAR_M, flaw="off job far")
    k = _find(shots, 240.0, "GR", +1)
    shots[k] = shots[k]._replace(northing=shots[k].northing + NEAR_M, flaw="off job near")
    k = _find(shots, 190.0, "GR", -1)
    shots[k] = shots[k]._replace(code="GX", flaw="unknown code")
    k = _find(shots, 260.0, "LIP", +1)
    shots[k] = shots[k]._replace(flaw="bad row")
    return _with_duplicate(shots, _find(shots, 200.0, "GR", -1))


@functools.cache
def flaws() -> tuple[Flaw, ...]:
    """Every slip and gap in the morning, with the ids of the shots that carry it."""
    shots = {shot.id: shot for shot in morning()}
    nose = Stretch(NOSE_SIDE, NOSE_STATION, NOSE_STATION)
    told = (
        ("rod", f"{BUST_SHOTS} shots in a row with the rod longer than stated", BUST_M),
        ("duplicate", "the same spot shot again under another id", math.nan),
        ("off job far", "one digit of the easting mistyped", FAR_M),
        ("off job near", "one digit of the northing mistyped", NEAR_M),
        ("unknown code", "GX where GR was meant", math.nan),
        ("bad row", "a letter O in the northing", math.nan),
        ("not shot", f"no shot on the {_words(NOT_SHOT)}", _length(NOT_SHOT)),
        ("bank missing", f"no backing bank on the {_words(BANK_MISSING)}", _length(BANK_MISSING)),
        ("nose", f"toe of the bank stands into the street, {_words(nose)}", NOSE_M),
    )
    return tuple(
        Flaw(kind, tuple(name for name, shot in shots.items() if shot.flaw == kind), text, amount)
        for kind, text, amount in told
    )


def _find(shots: list[Shot], row: float, code: str, side: int) -> int:
    """The shot of this row, code and side that lies on the clay."""
    return next(
        k
        for k, shot in enumerate(shots)
        if shot.row == row and shot.code == code and 0.0 < shot.offset * side < 4.5
    )


def _with_duplicate(shots: list[Shot], first: int) -> tuple[Shot, ...]:
    """The spot of one shot taken again at the end of its row; ids and clock move on by one."""
    again = shots[first]._replace(
        easting=shots[first].easting + 0.011,
        northing=shots[first].northing - 0.008,
        elevation=shots[first].elevation + 0.004,
        flaw="duplicate",
    )
    last = max(k for k, shot in enumerate(shots) if shot.row == again.row)
    moved = [again, *shots[last + 1 :]]
    end = dt.datetime.fromisoformat(shots[-1].time) + dt.timedelta(seconds=6)
    times = [*(shot.time for shot in moved[1:]), end.isoformat()]
    numbered = [
        shot._replace(id=str(FIRST_ID + last + 1 + k), time=time)
        for k, (shot, time) in enumerate(zip(moved, times, strict=True))
    ]
    return (*shots[: last + 1], *numbered)


def _length(stretch: Stretch) -> float:
    return stretch.end - stretch.start


def _words(stretch: Stretch) -> str:
    side = "right" if stretch.side > 0 else "left"
    at = f"{side}, 0+{stretch.start:03.0f}"
    return at if stretch.end == stretch.start else f"{at} to 0+{stretch.end:03.0f}"
