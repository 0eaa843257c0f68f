"""What a drawing is made of: every text and every coordinate final.

`LAYERS` says what is on each layer. Fills come first and texts last, in the file
and in the alphabet alike, because some viewers draw in the one order and some in
the other.

The colours of cut and fill are the eleven-class diverging scheme PuOr without
its middle, which stays unfilled: on grade. It reads with the common kinds of
colour blindness and leaves red for warnings. This product includes color
specifications and designs developed by Cynthia Brewer
(https://colorbrewer2.org/).
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from pipeline.model.arrays import Floats, Ints, Texts, lock, lock_fields, texts

MOST_BANDS = 5
"""Bands on each side of zero that the colour scheme can tell apart."""

_NEAR_TO_FAR = ("the least", "the second", "the third", "the fourth", "the most")

LAYERS: dict[str, str] = {
    "back-paper": "White ground, so that the drawing reads on a dark screen too",
    **{f"band-cut-{k + 1}": f"Shaded: cut, {_NEAR_TO_FAR[k]} of up to five" for k in range(5)},
    **{f"band-fill-{k + 1}": f"Shaded: fill, {_NEAR_TO_FAR[k]} of up to five" for k in range(5)},
    "centreline": "The alignment",
    "centreline-tick": "Station ticks across the alignment",
    "contour-cut": "Lines of equal cut",
    "contour-fill": "Lines of equal fill",
    "contour-zero": "Where there is neither cut nor fill",
    "edge-break": "Named breaks of the design between its edges",
    "edge-outer": "Left and right edge of the design layer",
    "frame": "Lines of the title block, scale bar, north arrow and sheets",
    "gap-not-surveyed": "Strokes over the design where nobody shot the ground",
    "haul-arrow": "Haul plan, beside the street: from the cut to the fill",
    "hazard-buried": "Buried things that the blade or the mixer can hit",
    "key-point": "Curve points, high points and low points",
    "label-plate": "White plates behind the texts on the map",
    "legend": "Samples of what is on the map",
    "mark-dot": "Places where a number or a dot is painted",
    "mark-shot": "Shots used, with their elevations",
    "mark-shot-refused": "Shots listed and not used",
    "mark-stake": "Stakes and hubs",
    "match-line": "Where a window or a profile ends and another goes on",
    "side-grid": "Lines of equal height, station or offset of profiles and sections",
    "side-ground": "Ground as shot, seen from the side",
    "side-layer": "Other layers of the design, seen from the side",
    "side-today": "Today's layer, seen from the side",
    "text-band": "Limits of the shaded bands",
    "text-break": "Names of the breaks",
    "text-caution": "Cautions",
    "text-contour": "Cut or fill along the contours, in centimetres",
    "text-dot": "Numbers to paint, in centimetres",
    "text-haul": "Haul plan: how much goes, and by what",
    "text-hazard": "Names of buried things",
    "text-key-point": "Names and stations of key points",
    "text-legend": "Words of the legend",
    "text-match": "Where a match line goes on",
    "text-not-surveyed": "The words NOT SURVEYED",
    "text-shot": "Cut or fill at shots, in centimetres",
    "text-shot-refused": "Numbers of refused shots",
    "text-side": "Heights, stations, and cut or fill of profiles and sections",
    "text-stake": "Ids of stakes and hubs",
    "text-station": "Stations along the alignment",
    "text-title": "Title block",
}
"""Name of each layer -> what is on it, in drawing order."""


@dataclass(frozen=True, slots=True)
class Pen:
    """How a layer looks: true colour, the nearest distinct index colour, width in 0.01 mm."""

    colour: tuple[int, int, int]
    index: int
    width: int = 25


_INK = ((26, 26, 26), 250)
_CUT = (
    ((254, 224, 182), 41), ((253, 184, 99), 31), ((224, 130, 20), 30), ((179, 88, 6), 32),
    ((127, 59, 8), 34),
)  # fmt: skip
_FILL = (
    ((216, 218, 235), 254), ((178, 171, 210), 181), ((128, 115, 172), 183), ((84, 39, 136), 197),
    ((45, 0, 75), 196),
)  # fmt: skip
_WHITE = ((255, 255, 255), 255)
_DESIGN = ((0, 109, 91), 124)
_DANGER = ((192, 0, 0), 12)
_REFUSED = ((176, 0, 96), 232)

_OWN_PENS: dict[str, Pen] = {
    "back-paper": Pen(*_WHITE),
    "label-plate": Pen(*_WHITE),
    **{f"band-cut-{k + 1}": Pen(*_CUT[k]) for k in range(MOST_BANDS)},
    **{f"band-fill-{k + 1}": Pen(*_FILL[k]) for k in range(MOST_BANDS)},
    "centreline": Pen(*_INK, 35),
    "contour-cut": Pen(*_CUT[4], 18),
    "contour-fill": Pen(*_FILL[4], 18),
    "contour-zero": Pen(*_INK, 70),
    "edge-break": Pen(*_DESIGN, 25),
    "edge-outer": Pen(*_DESIGN, 50),
    "gap-not-surveyed": Pen((90, 90, 90), 251, 25),
    "haul-arrow": Pen(*_DESIGN, 35),
    "hazard-buried": Pen(*_DANGER, 50),
    "key-point": Pen(*_INK, 50),
    "mark-shot": Pen(*_INK, 18),
    "mark-shot-refused": Pen(*_REFUSED, 50),
    "mark-stake": Pen(*_INK, 35),
    "match-line": Pen(*_INK, 50),
    "side-grid": Pen((200, 200, 200), 254, 13),
    "side-ground": Pen(*_INK, 70),
    "side-layer": Pen((90, 90, 90), 251, 18),
    "side-today": Pen(*_DESIGN, 50),
    "text-break": Pen(*_DESIGN),
    "text-caution": Pen(*_DANGER),
    "text-contour": Pen((70, 70, 70), 251),
    "text-haul": Pen(*_DESIGN),
    "text-hazard": Pen(*_DANGER, 35),
    "text-shot-refused": Pen(*_REFUSED),
}
PENS: dict[str, Pen] = {name: _OWN_PENS.get(name, Pen(*_INK)) for name in LAYERS}
"""The pen of every layer; index colours are for readers without true colour."""

Anchor: TypeAlias = Literal["left", "centre", "right"]
Shape: TypeAlias = Literal["plus", "cross", "circle", "square", "triangle", "diamond"]

# what starts a code in some reader, then what has a plain form of its own
_SWAPPED = str.maketrans(
    {
        "\\": "/", "{": "(", "}": ")", "^": "'", "\x7f": " ",
        "\u2044": "/", "\u2212": "-", "\u2013": "-", "\u2014": "-", "×": "x", "°": " deg",
        "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "ß": "ss", "Ø": "O", "ø": "o",
    }
)  # fmt: skip
_LONGEST = 250


def plain_text(text: str) -> str:
    r"""`text` as every drawing reader shows it: printable ASCII without control codes.

    Accents fall off, other letters become ``?``, line breaks and control
    characters become blanks; backslash, braces, caret and a doubled percent sign
    would start a code and are replaced by ``/ ( ) '`` and one percent sign. Text
    beyond 250 characters ends in ``...``.

    Examples
    --------
    >>> plain_text("pothole\n 0\nLINE"), plain_text(r"{\H9;Ø 90 %%c ^J}")
    ('pothole  0 LINE', "(/H9;O 90 %c 'J)")
    """
    apart = unicodedata.normalize("NFKD", text)
    letters = (c for c in apart if not unicodedata.combining(c))
    blanked = "".join(" " if c < " " or c in "\x85\u2028\u2029" else c for c in letters)
    plain = blanked.translate(_SWAPPED).encode("ascii", "replace").decode("ascii")
    while "%%" in plain:
        plain = plain.replace("%%", "%")
    plain = plain.strip()
    return plain if len(plain) <= _LONGEST else f"{plain[: _LONGEST - 3]}..."


@dataclass(frozen=True, slots=True, eq=False)
class Fill:
    """One shaded region: its outside, then its holes, each (n, 2) and not repeated at the end.

    ``pen`` names the layer whose look it has, where that is not its own.
    """

    layer: str
    rings: tuple[Floats, ...]
    pen: str = ""

    def __post_init__(self) -> None:
        rings = tuple(lock(ring, np.float64, (None, 2), "ring") for ring in self.rings)
        object.__setattr__(self, "rings", rings)


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Lines of one layer: line k is rows ``start[k]:start[k + 1]``; closed ones do not repeat.

    ``pen`` names the layer whose look they have, where that is not their own.
    """

    layer: str
    x: Floats
    y: Floats
    start: Ints
    closed: bool = False
    pen: str = ""

    def __post_init__(self) -> None:
        n = len(self.x)
        lock_fields(
            self,
            {"x": (np.float64, (n,)), "y": (np.float64, (n,)), "start": (np.int64, (None,))},
        )
        if len(self.start) == 0 or self.start[0] != 0 or self.start[-1] != n:
            raise ValueError("start of the lines does not belong to their points")


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """Texts of one layer, one line each, placed by the middle of their height.

    ``angle`` turns counter-clockwise from east. Every text is made `plain_text`.
    """

    layer: str
    text: Texts
    x: Floats
    y: Floats
    height: Floats
    angle: Floats
    anchor: Anchor = "left"

    def __post_init__(self) -> None:
        n = len(self.x)
        object.__setattr__(self, "text", texts(plain_text(text) for text in self.text))
        lock_fields(self, {"text": (object, (n,))})
        lock_fields(self, dict.fromkeys(("x", "y", "height", "angle"), (np.float64, (n,))))


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Symbols of one layer, ``size`` across; with an elevation where it is not NaN.

    ``pen`` names the layer whose look they have, where that is not their own. ``id`` and
    ``station`` [m from the start of the line], if given, tell what each symbol stands
    for; ``facts`` are further texts by their tag, for readers that list them.
    """

    layer: str
    shape: Shape
    size: float
    x: Floats
    y: Floats
    z: Floats
    pen: str = ""
    id: Texts = field(default_factory=lambda: texts([]))
    station: Floats = field(default_factory=lambda: np.empty(0))
    facts: tuple[tuple[str, Texts], ...] = ()

    def __post_init__(self) -> None:
        n = len(self.x)
        lock_fields(self, dict.fromkeys(("x", "y", "z"), (np.float64, (n,))))
        for name, empty in (("id", texts([""] * n)), ("station", np.full(n, np.nan))):
            if not len(getattr(self, name)):
                object.__setattr__(self, name, empty)
        object.__setattr__(self, "id", texts(plain_text(one) for one in self.id))
        lock_fields(self, {"id": (object, (n,)), "station": (np.float64, (n,))})
        made = tuple((tag, texts(plain_text(one) for one in column)) for tag, column in self.facts)
        if any(len(column) != n for _, column in made):
            raise ValueError("facts of the marks are not one a mark")
        object.__setattr__(self, "facts", made)


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Everything on one ground: the map, or one sheet."""

    fills: tuple[Fill, ...] = ()
    lines: tuple[Lines, ...] = ()
    words: tuple[Words, ...] = ()
    marks: tuple[Marks, ...] = ()

    def __add__(self, other: Picture) -> Picture:
        """Both pictures on one ground."""
        return Picture(
            self.fills + other.fills,
            self.lines + other.lines,
            self.words + other.words,
            self.marks + other.marks,
        )


@dataclass(frozen=True, slots=True)
class View:
    """A window of a sheet onto the map.

    ``x, y`` is its middle on the sheet and ``width, height`` its size [mm];
    ``easting, northing`` lie in that middle; the map is turned counter-clockwise
    by ``turn`` and stands at 1:``scale``. Layers named in ``hidden`` do not show.
    """

    x: float
    y: float
    width: float
    height: float
    easting: float
    northing: float
    turn: float
    scale: float
    hidden: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """A sheet of paper [mm] with its own picture and windows onto the map."""

    name: str
    width: float
    height: float
    picture: Picture
    views: tuple[View, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """A map in metres, and the sheets it is printed on.

    ``shift`` was taken from every coordinate of the map: easting = x + shift[0],
    northing = y + shift[1]. (0, 0) is the job grid itself.
    """

    name: str
    picture: Picture
    pages: tuple[Page, ...] = ()
    shift: tuple[float, float] = (0.0, 0.0)
