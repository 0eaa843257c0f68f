"""Text and foreign units to metres and radians, and back.

Everything inside the program is metres and radians. A number is rounded once,
half away from zero, where a row is made; the same text is then printed
everywhere.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Unit: TypeAlias = Literal["m", "ft", "ftUS"]

Called: TypeAlias = Callable[[float], str]
"""What people call a station that is counted on from the start: the line's equations decide, so a
room that knows no line is handed this."""

FOOT_M = 0.3048
"""International foot, exact by definition."""

US_SURVEY_FOOT_M = 1200.0 / 3937.0
"""US survey foot, exactly 1200/3937 m by definition; kept for older state grids."""

EXACT_METRES: dict[str, Fraction] = {
    "m": Fraction(1),
    "ft": Fraction(3048, 10000),
    "ftUS": Fraction(1200, 3937),
}

# ASCII digits only: float() would also take "nan", "1_000" and digits of other scripts.
# Decimals may run on: a file written from float64 has up to 17 of them.
_NUMBER = re.compile(
    r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{0,32})?|\.[0-9]{1,32})(?:[eE][+-]?[0-9]{1,2})?"
)
_STATION = re.compile(r"(?P<sign>[+-]?)(?P<kilo>[0-9]{1,6})\+(?P<rest>[0-9]{1,3}(?:\.[0-9]{1,6})?)")


def metres_per(unit: Unit) -> float:
    """Metres in one `unit`, to float64."""
    return float(EXACT_METRES[unit])


def parse_number(text: str, *, decimal: str = ".") -> float:
    """Finite number from text, or raise.

    Parameters
    ----------
    text : str
        One cell. Blanks around it are ignored.
    decimal : str
        The decimal mark the file declares, ``.`` or ``,``.

    Raises
    ------
    ValueError
        Anything but a plain ASCII number: words, ``nan``, thousands marks.

    Examples
    --------
    >>> parse_number(" 12.5 "), parse_number("12,5", decimal=",")
    (12.5, 12.5)
    """
    cell = text.strip()
    if decimal == ",":
        if "." in cell:
            raise ValueError(f"{text!r} has a point where the decimal mark is a comma")
        cell = cell.replace(",", ".")
    if not _NUMBER.fullmatch(cell):
        raise ValueError(f"{text!r} is not a plain number")
    return float(cell)


def parse_station(text: str) -> float:
    """Station in metres from ``0+123.4`` (kilometres + metres) or plain ``123.4``.

    Raises
    ------
    ValueError
        Neither form.

    Examples
    --------
    >>> parse_station("1+020.5"), parse_station("87")
    (1020.5, 87.0)
    """
    cell = text.strip()
    match = _STATION.fullmatch(cell)
    if match is None:
        return parse_number(cell)
    value = float(match["kilo"]) * 1000.0 + float(match["rest"])
    return -value if match["sign"] == "-" else value


def round_half_away(value: ArrayLike, step: float) -> NDArray[np.float64]:
    """Nearest multiple of `step`, halves away from zero.

    A difference of two millimetre heights is never exactly a half in binary,
    so a value within a millionth of a step below the half counts as the half.
    NaN stays NaN.

    Examples
    --------
    >>> round_half_away([0.0125, -0.0125, 100.512 - 100.277], 0.001).tolist()
    [0.013, -0.013, 0.235]
    """
    x = np.asarray(value, dtype=np.float64)
    whole = np.floor(np.abs(x) / step + 0.5 + 1e-6)
    # + 0.0 turns a negative zero into zero
    return np.asarray(np.round(np.copysign(whole * step, x), _digits(step)) + 0.0, dtype=np.float64)


def _rounded(value: float, step: float) -> float:
    """`round_half_away` of one number, step by step the same and ten times as quick."""
    x = float(value)
    if not math.isfinite(x):
        return x
    whole = math.floor(abs(x) / step + 0.5 + 1e-6)
    power = 10.0 ** _digits(step)
    return round(math.copysign(whole * step, x) * power) / power + 0.0


@cache
def _digits(step: float) -> int:
    return max(0, round(-math.log10(step)) + 2) if step < 1 else 2


@cache
def decimals(step: float) -> int:
    """Decimals that show every multiple of `step`: 0.005 -> 3, 0.01 -> 2, 1 -> 0."""
    for digits in range(10):
        if abs(step * 10**digits - round(step * 10**digits)) < 1e-9:
            return digits
    return 10


def format_length(value: float, *, step: float = 0.001) -> str:
    """Metres as text, rounded once; empty where there is no value; never ``-0.000``."""
    if math.isnan(value):
        return ""
    rounded = _rounded(value, step)
    text = f"{rounded:.{decimals(step)}f}"
    return text.lstrip("-") if float(text) == 0 else text


def format_station(station: float, *, step: float = 0.1) -> str:
    """Station as ``0+123.4``; empty where there is none.

    Examples
    --------
    >>> format_station(123.45), format_station(999.96), format_station(-5.0)
    ('0+123.5', '1+000.0', '-0+005.0')
    """
    if math.isnan(station):
        return ""
    rounded = _rounded(abs(station), step)
    kilo, rest = divmod(rounded, 1000.0)
    digits = decimals(step)
    width = 3 if digits == 0 else 4 + digits
    sign = "-" if station < 0 and rounded > 0 else ""
    return f"{sign}{int(kilo)}+{rest:0{width}.{digits}f}"


def format_side(offset: float) -> str:
    """``L``, ``R`` or ``CL`` from a signed offset (right +); on the line within 0.5 mm."""
    if math.isnan(offset):
        return ""
    if abs(offset) < 0.0005:
        return "CL"
    return "R" if offset > 0 else "L"


def lath_mark(cut: float, *, step: float = 0.001, on_grade: float = 0.0) -> str:
    """Cut or fill as written on a lath: ``C 0.124``, ``F 0.031``, ``ON GRADE``.

    Parameters
    ----------
    cut : float
        Metres to take away (+) or to put on (-); NaN gives an empty text.
    step : float
        Rounding step [m]. Less than half a step is on grade whatever `on_grade` is.
    on_grade : float
        Tolerance [m] within which nothing is to be done.

    Notes
    -----
    The letter comes from the rounded value, so ``C 0.000`` cannot be written.

    Examples
    --------
    >>> lath_mark(0.1239), lath_mark(-0.031), lath_mark(0.004, on_grade=0.005)
    ('C 0.124', 'F 0.031', 'ON GRADE')
    """
    if math.isnan(cut):
        return ""
    rounded = float(round_half_away(cut, step))
    # compared with the same millionth of slack that the rounding has
    if rounded == 0 or abs(cut) <= on_grade + 1e-6 * step:
        return "ON GRADE"
    return f"{'C' if rounded > 0 else 'F'} {abs(rounded):.{decimals(step)}f}"


def ground_mark(cut: float, *, step: float = 0.01, on_grade: float = 0.0) -> str:
    """Cut or fill as painted on dirt, in whole centimetres: ``C 12``, ``F 3``, ``GRADE``.

    Examples
    --------
    >>> ground_mark(0.124), ground_mark(-0.031), ground_mark(0.004)
    ('C 12', 'F 3', 'GRADE')
    """
    if math.isnan(cut):
        return ""
    rounded = float(round_half_away(cut, step))
    if rounded == 0 or abs(cut) <= on_grade + 1e-6 * step:
        return "GRADE"
    centimetres = format_length(abs(rounded) * 100.0, step=step * 100.0)
    return f"{'C' if rounded > 0 else 'F'} {centimetres}"
