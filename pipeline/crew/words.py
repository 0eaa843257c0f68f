"""What is painted and written: marks in the crew's unit, the two faces of a lath, and their lint.

A mark that can be read two ways is worse than none, so every text of a package passes
`lint` in a test.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.crew.hubs.references import LATH_NAMES
from pipeline.settings import Rounding
from pipeline.units import (
    FOOT_M,
    format_length,
    format_side,
    format_station,
    ground_mark,
    lath_mark,
)

NOT_SHOT = "NOT SHOT"
LINE_LENGTH = 12
"""Characters that fit across a lath. Common practice, no source."""

LEGEND = frozenset(
    {
        *LATH_NAMES.values(), "HP", "LP", "PC", "PT", "PCC", "PRC", "TS", "SC", "CS", "ST", "RP",
        "SS", "HUB", "GND", "PNT", "CB", "MH", "WV", "DN", "UP", "LEVEL", "ROTOR", "CLAY", "BANK",
        "TIE", "NEXT", "STA",
    }
)  # fmt: skip
"""Words that a mark may use besides its numbers; they stand in the legend of the pages."""

DIRT_FT, LATH_FT = 0.1, 0.01
"""Steps on dirt and on lath where the crew works in feet; the second as a state manual reads
its finished-grade stakes (REF-GS-11)."""


def paint(cut: float, rounding: Rounding) -> str:
    """What is painted on the dirt: ``C 12`` and ``F 3`` in cm, or ``C 0.4`` in feet and tenths.

    Examples
    --------
    >>> paint(0.124, Rounding()), paint(0.124, Rounding(marks_unit="ft")), paint(math.nan,
    ...       Rounding())
    ('C 12', 'C 0.4', 'NOT SHOT')

    What is off by less than half a tenth and by more than the tolerance has hundredths:

    >>> paint(0.0122, Rounding(marks_unit="ft")), paint(0.0099, Rounding(marks_unit="ft"))
    ('C 0.04', 'GRADE')
    """
    if math.isnan(cut):
        return NOT_SHOT
    if rounding.marks_unit == "m":
        return ground_mark(cut, step=rounding.dirt_m, on_grade=rounding.on_grade_m)
    feet, tolerance = cut / FOOT_M, rounding.on_grade_m / FOOT_M
    mark = lath_mark(feet, step=DIRT_FT, on_grade=tolerance)
    if mark == "ON GRADE":
        # less than half a tenth is not yet within the tolerance: GRADE would be a wrong dot
        mark = lath_mark(feet, step=LATH_FT, on_grade=tolerance)
    return "GRADE" if mark == "ON GRADE" else mark


def hub_mark(cut: float, step: float, rounding: Rounding) -> str:
    """What is written on a lath, measured from the hub: metres by `step`, or feet by 0.01.

    Examples
    --------
    >>> hub_mark(0.2351, 0.001, Rounding()), hub_mark(0.2351, 0.001, Rounding(marks_unit="ft"))
    ('C 0.235', 'C 0.77')
    """
    if rounding.marks_unit == "m":
        return lath_mark(cut, step=step)
    return lath_mark(cut / FOOT_M, step=LATH_FT)


def distance(metres: float, rounding: Rounding) -> str:
    """A horizontal distance to the centimetre, or to the tenth of a foot; empty where unknown."""
    if rounding.marks_unit == "m":
        return format_length(metres, step=0.01)
    return format_length(metres / FOOT_M, step=0.1)


def fall_words(grade: float) -> str:
    """Slope to the next point, without a sign: ``DN 1.13%``, ``UP 0.50%``, ``LEVEL``.

    Examples
    --------
    >>> fall_words(-0.01132), fall_words(0.005), fall_words(0.00001), fall_words(math.nan)
    ('DN 1.13%', 'UP 0.50%', 'LEVEL', '')
    """
    if math.isnan(grade):
        return ""
    percent = format_length(abs(grade) * 100.0, step=0.01)
    if float(percent) == 0:
        return "LEVEL"
    return f"{'UP' if grade > 0 else 'DN'} {percent}%"


@dataclass(frozen=True, slots=True)
class Lath:
    """What a lath has to say, each word final: empty where it does not apply."""

    station: float
    offset: float
    id: str
    reference: str
    behind: str = ""
    mark: str = ""
    to_next: str = ""
    called: str = ""
    """The station as people read it, after the line's equations; empty: as it is counted."""


@dataclass(frozen=True, slots=True)
class Faces:
    """The lines on the front, which faces the road, and on the back of a lath."""

    front: tuple[str, ...]
    back: tuple[str, ...]


def faces(lath: Lath, style: Literal["crew", "manual"]) -> Faces:
    """The two faces of a lath.

    Parameters
    ----------
    lath : Lath
    style : {"crew", "manual"}
        ``crew``: offset, reference and cut or fill on the front; place, id and slope to
        the next point on the back, wherever the lath stands. ``manual``: a stake on the
        centreline carries the station on its front and the cut or fill on its back; one
        beside it offset distance, cut or fill and the symbol it refers to on the front
        and the station on its back.

    References
    ----------
    ``manual`` is the convention of NAVEDTRA 14081 pp. 15-17 to 15-19 (REF-GS-8 in
    ``shared/references.toml``); ``crew`` is common practice, no source.
    """
    side = format_side(lath.offset)
    place = f"{lath.called or format_station(lath.station)} {side}"
    if style == "manual":
        if side == "CL":
            return _without_blanks((place,), (lath.mark,))
        return _without_blanks((lath.behind, lath.mark, lath.reference), (place,))
    first = f"{lath.behind} {lath.reference}" if lath.behind else ""
    second = f"{lath.mark} {lath.reference}" if lath.mark else ""
    return _without_blanks((first, second), (place, lath.id, lath.to_next))


def _without_blanks(front: Sequence[str], back: Sequence[str]) -> Faces:
    return Faces(tuple(x for x in front if x), tuple(x for x in back if x))


Place = Literal["dirt", "lath"]

_STATION = r"-?[0-9]+\+[0-9]{3}(?:\.[0-9])?"
_NUMBER = r"[0-9]+(?:\.[0-9]+)?"
_RULES: tuple[tuple[str, str], ...] = (
    (r"[^ -~]", "a character that paint and old printers do not have"),
    (r"\s\s|^\s|\s$", "blanks that cannot be seen"),
    (r"(?:^|[^0-9])[+-]\s?[.0-9]", "a sign: write C or F"),
    (r"[0-9],[0-9]", "a decimal comma"),
    (r"(?:^|\s)\.[0-9]", "no digit before the decimal point"),
    (r"(?:^|\s)[cf]\s?[0-9]", "a small c or f"),
    (r"(?:^|\s)[CF][0-9]", "no blank after C or F: C7 reads like a code"),
    (r"(?:^|\s)[CF]\s?[OoIl]", "a letter where a digit is meant"),
    (r"(?:^|\s)[CF] 0+(?:\.0+)?(?:\s|$)", "cut or fill of nothing: write GRADE"),
    (r"[0-9]\s?(?:ft|FT|mm|cm|m|')", "a unit on the mark: the page names it once"),
    (r"\b(?:nan|NaN|NAN|inf|INF|None|NONE)\b", "no number"),
    (r"(?i)safe to dig", "a promise nobody can make"),
)
_BARE = re.compile(rf"{_NUMBER}")
_CUT = re.compile(rf"[CF] {_NUMBER}(?P<rest>.*)")
_PLACED = re.compile(rf"{_STATION}(?P<rest>.*)")


def lint(
    text: str, place: Place, unit: Literal["m", "ft"] = "m", legend: Collection[str] = ()
) -> tuple[str, ...]:
    """What makes one line of a mark hard or dangerous to read; empty where nothing does.

    Parameters
    ----------
    text : str
        One line as painted or written.
    place : {"dirt", "lath"}
        On dirt a number is whole centimetres and needs no reference; on a lath it is
        measured from the hub and must name what to.
    unit : {"m", "ft"}
    legend : collection of str
        Words of this job besides `LEGEND`: ids and breaks without a short name.

    Notes
    -----
    The rules are common practice, no source.

    Examples
    --------
    >>> lint("C 0.235 TBC", "lath"), lint("C7", "dirt")
    ((), ('no blank after C or F: C7 reads like a code',))
    """
    found = [why for pattern, why in _RULES if re.search(pattern, text)]
    if not text:
        return ("nothing",)
    if len(text) > LINE_LENGTH:
        found.append(f"more than {LINE_LENGTH} characters on a line")
    if _BARE.fullmatch(text):
        found.append("a bare number: C or F, and to what")
    cut = _CUT.fullmatch(text)
    if cut is not None:
        found += _lint_cut(text, cut["rest"].strip(), place, unit)
    placed = _PLACED.fullmatch(text)
    if placed is not None and placed["rest"].strip() not in {"L", "R", "CL"}:
        found.append("a station without a side")
    if not found:
        found += _unknown_words(text, legend)
    return tuple(dict.fromkeys(found))


def _lint_cut(text: str, reference: str, place: Place, unit: str) -> list[str]:
    found = []
    if len(re.findall(r"\b[CF] [0-9]", text)) > 1:
        found.append("cut and fill on one line")
    number = text.split()[1]
    places = len(number.partition(".")[2])
    below_a_tenth = unit == "ft" and places == 2 and float(number) < DIRT_FT
    if place == "dirt" and places > (0 if unit == "m" else 1) and not below_a_tenth:
        found.append("finer than dirt can be graded")
    if place == "lath" and places < 2:
        found.append("coarser than a hub is measured: metres or centimetres?")
    if place == "lath" and not reference:
        found.append("no reference: to what?")
    return found


def _unknown_words(text: str, legend: Collection[str]) -> list[str]:
    if text in {"GRADE", "ON GRADE", NOT_SHOT} or text in legend:
        return []
    known = LEGEND | {"C", "F", "L", "R", "ON", "GRADE", *legend}
    number = re.compile(rf"{_NUMBER}%?|{_STATION}|[0-9.]+:1|[0-9]+/[0-9]+|@")
    words = [word for word in text.split() if word not in known and not number.fullmatch(word)]
    return [f"{word!r} is not in the legend" for word in words]
