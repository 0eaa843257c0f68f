"""Angles as files write them, to radians: one reader for each form, none guessed."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from pipeline.units import parse_number

# Separators must stand there: 123.4506 alone could be decimal or packed.
_DMS = re.compile(
    r"(?P<sign>[+-]?)(?P<d>\d{1,3})\s*[°:\s-]\s*(?P<m>\d{1,2})\s*['′:\s-]\s*"
    r"(?P<s>\d{1,2}(?:\.\d{1,9})?)\s*(?:\"|″|'')?\s*(?P<side>[NSEW]?)",
    re.ASCII,
)
_PACKED = re.compile(r"(?P<sign>[+-]?)(?P<d>\d{1,3})(?:\.(?P<rest>\d{0,13}))?", re.ASCII)


def _join(sign: str, degrees: str, minutes: str, seconds: str) -> float:
    if int(minutes) > 59 or float(seconds) >= 60.0:
        raise ValueError(f"{minutes} minutes {seconds} seconds: neither may reach 60")
    # the sign belongs to all three parts: -0 30 00 is minus half a degree
    value = int(degrees) + int(minutes) / 60.0 + float(seconds) / 3600.0
    return -value if sign == "-" else value


def parse_dms(text: str, *, sides: str = "") -> float:
    """Radians from degrees, minutes and seconds with marks or blanks between them.

    Parameters
    ----------
    text : str
        ``123-45-06.7``, ``123 45 06.7``, ``123:45:06.7`` or ``123°45'06.7"``.
    sides : str
        Letters that may close it: ``NS`` for a latitude, ``EW`` for a longitude.

    Raises
    ------
    ValueError
        Another form, minutes or seconds of 60 or more, or a letter with a sign.

    Examples
    --------
    >>> math.degrees(parse_dms("-0-30-00"))
    -0.5
    >>> round(math.degrees(parse_dms("33 15 00 S", sides="NS")), 9)
    -33.25
    """
    match = _DMS.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not degrees, minutes and seconds such as 123-45-06.7")
    side = match["side"]
    if side and (side not in sides or match["sign"]):
        raise ValueError(f"{text!r} has the letter {side} where it cannot stand")
    sign = "-" if side in ("S", "W") else match["sign"]
    return math.radians(_join(sign, match["d"], match["m"], match["s"]))


def parse_packed(text: str) -> float:
    """Radians from LandXML's ``decimal dd.mm.ss``: two digits a part after one point.

    Digits are padded on the right, so ``89.5`` is 89°50' and ``-359.5958`` is
    359°59'58" to the left. Text, because a float has lost the padding.

    Raises
    ------
    ValueError
        Anything but sign, degrees, one point and digits; a part of 60 or more.

    Examples
    --------
    >>> round(math.degrees(parse_packed("89.5")), 6), round(math.degrees(parse_packed("-0.3")), 6)
    (89.833333, -0.5)
    """
    match = _PACKED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not an angle written dd.mmss")
    rest = (match["rest"] or "").ljust(4, "0")
    seconds = rest[2:4] + ("." + rest[4:] if len(rest) > 4 else "")
    return math.radians(_join(match["sign"], match["d"], rest[:2], seconds))


def parse_degrees(text: str) -> float:
    """Radians from decimal degrees."""
    return math.radians(parse_number(text))


def parse_gon(text: str) -> float:
    """Radians from gon (grads): 400 to the circle.

    Examples
    --------
    >>> round(math.degrees(parse_gon("100")), 9)
    90.0
    """
    return parse_number(text) * math.pi / 200.0


ANGLE_FORMS: dict[str, Callable[[str], float]] = {
    "deg": parse_degrees,
    "gon": parse_gon,
    "dms": parse_dms,
}
"""Ending of a column's name -> how its cells are read."""

LATITUDE_FORMS: dict[str, Callable[[str], float]] = {
    "deg": parse_degrees,
    "dms": lambda cell: parse_dms(cell, sides="NS"),
}
LONGITUDE_FORMS: dict[str, Callable[[str], float]] = {
    "deg": parse_degrees,
    "dms": lambda cell: parse_dms(cell, sides="EW"),
}
"""The same of a latitude and of a longitude, whose letters are their own."""
