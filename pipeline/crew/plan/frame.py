"""Title block, legend, scale bar and north arrow: laid out in paper millimetres, x right, y up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.plan.labels import text_width
from pipeline.model import Fill, Floats, Lines, Marks, Picture, Shape, Words, plain_text, texts
from pipeline.settings import Sheet
from pipeline.units import format_length

WIDTH_MM = 100.0
_INDENT_MM = 3.0
_VALUE_MM = 29.0
_SMALL_MM = 2.0
_VALUE_TEXT_MM = 2.5
_HOLD = (("HOLD", 5.0), ("A FINDING STOPS THE DAY:", 2.5), ("READ THEM BEFORE ANYONE DIGS", 2.5))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWords:
    """What the title block says, all of it final text.

    ``numbers`` are further lines, such as the mean cut and the volumes. ``held``
    prints HOLD over the sheet: a finding stops the day. ``unit`` is the crew's.
    """

    job: str
    day: str
    layer: str
    grid: str
    heights: str
    shots: str
    package: str
    prepared_by: str = ""
    numbers: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    held: bool = False
    unit: Measures = METRIC


@dataclass(slots=True)
class _Pen:
    """A place on the sheet that moves down as lines are written [mm]."""

    down: float
    words: list[tuple[str, str, float, float, float]]
    lines: list[tuple[float, float, float, float]]

    def write(self, layer: str, text: str, x: float, height: float) -> None:
        """One line of text whose middle lies at the present place."""
        self.words.append((layer, text, x, self.down, height))

    def rule(self) -> None:
        """A line from edge to edge."""
        self.lines.append((0.0, self.down, WIDTH_MM, self.down))


def frame(words: PlanWords, sheet: Sheet, shift: tuple[float, float], *, north: bool) -> Picture:
    """Everything beside the map, `WIDTH_MM` wide, its top left corner at (0, 0) [mm].

    Parameters
    ----------
    words : PlanWords
    sheet : Sheet
        Scale, bands, and who answers for the drawing.
    shift : (float, float)
        What was taken from easting and northing; printed unless both are zero.
    north : bool
        True draws a north arrow: the map is not turned.
    """
    pen = _Pen(0.0, [], [])
    _title(pen, words, sheet, shift)
    _cautions(pen, words.cautions)
    samples = _legend(pen, sheet.bands_m, words.unit)
    _scale_bar(pen, sheet.scale, words.unit)
    if north:
        _arrow(pen)
    pen.rule()
    bottom = pen.down
    sides = [(0.0, 0.0, 0.0, bottom), (WIDTH_MM, 0.0, WIDTH_MM, bottom), (0.0, 0.0, WIDTH_MM, 0.0)]
    return (
        Picture(lines=(_segments("frame", [*pen.lines, *sides]),), words=_words(pen.words))
        + samples
    )


def _title(pen: _Pen, words: PlanWords, sheet: Sheet, shift: tuple[float, float]) -> None:
    pen.down -= 6.0
    pen.write("text-title", "CUT AND FILL TO", _INDENT_MM, 3.5)
    pen.down -= 7.5
    room = WIDTH_MM - 2 * _INDENT_MM
    short = text_width(words.layer.upper()) * 5.0 <= room
    for part in _at_most(3, words.layer.upper(), room, 5.0 if short else 3.5):
        pen.write("text-title", part, _INDENT_MM, 5.0 if short else 3.5)
        pen.down -= 6.0
    if words.held:
        for part, height in _HOLD:
            pen.write("text-caution", part, _INDENT_MM, height)
            pen.down -= 6.0
    pen.rule()
    pen.down -= 4.0
    for name, value in _rows(words, sheet, shift):
        pen.write("text-title", name, _INDENT_MM, _SMALL_MM)
        room = WIDTH_MM - _VALUE_MM - _INDENT_MM
        for part in _at_most(2, value, room, _VALUE_TEXT_MM) or [""]:
            pen.write("text-title", part, _VALUE_MM, _VALUE_TEXT_MM)
            pen.down -= 4.4
    for number in words.numbers:
        for part in _at_most(2, number, WIDTH_MM - 2 * _INDENT_MM, _VALUE_TEXT_MM):
            pen.write("text-title", part, _INDENT_MM, _VALUE_TEXT_MM)
            pen.down -= 4.4
    pen.rule()
    pen.down -= 4.0


def _rows(words: PlanWords, sheet: Sheet, shift: tuple[float, float]) -> list[tuple[str, str]]:
    rows = [
        ("JOB", words.job), ("DAY", words.day), ("GRID", words.grid), ("HEIGHTS", words.heights),
        ("UNITS", _units(words.unit)), ("SCALE", f"1:{sheet.scale} on A3"),
        ("SHOTS", words.shots), ("PREPARED BY", words.prepared_by or "-"),
        ("PACKAGE", words.package),
    ]  # fmt: skip
    if shift != (0.0, 0.0):
        rows += [
            ("SHIFTED", "add to every coordinate:"),
            ("", f"E {format_length(shift[0], step=1.0)} N {format_length(shift[1], step=1.0)}"),
        ]
    return rows


def _units(unit: Measures) -> str:
    if unit.unit == "ft":
        return "grid metres; marks feet and tenths, bands feet"
    return "metres; marks in cm"


def band_words(limits: Sequence[float], band: int, unit: Measures = METRIC) -> str:
    """Limits [m] of band 1, 2, ... on one side of zero, as the legend has them: ``5 to 10 cm``."""
    low, high = _small(limits, band, unit)
    return f"{low} to {high} {unit.small_unit}" if high else f"over {low} {unit.small_unit}"


def band_span(limits: Sequence[float], band: int, unit: Measures = METRIC) -> str:
    """The same, short, as the map has it: ``5-10``, ``over 20`` [cm], or in feet."""
    low, high = _small(limits, band, unit)
    return f"{low}-{high}" if high else f"over {low}"


def band_within(limits: Sequence[float], unit: Measures = METRIC) -> str:
    """The band about zero: ``within 2`` [cm]. GRADE is another word: within the tolerance."""
    return f"within {_small(limits, 1, unit)[0]}"


def _small(limits: Sequence[float], band: int, unit: Measures) -> tuple[str, str]:
    """Lower and upper limit as they were typed, in centimetres; in feet to the hundredth."""
    low, high = (
        "" if k >= len(limits)
        else unit.small(limits[k]) if unit.unit == "ft"
        else f"{round(limits[k] * 100, 3):g}"
        for k in (band - 1, band)
    )  # fmt: skip
    return low, high


_SIGNS: tuple[tuple[str, Shape | None, str], ...] = (
    ("mark-shot", "plus", "shot used"),
    ("mark-shot-refused", "cross", "shot not used"),
    ("mark-dot", "circle", "number to paint"),
    ("mark-stake", "triangle", "stake or hub"),
    ("key-point", "square", "PC, PT, HP, LP"),
    ("hazard-buried", "diamond", "BURIED THING"),
    ("contour-zero", None, "no cut, no fill"),
    ("edge-outer", None, "edge of the layer"),
    ("edge-break", None, "design break"),
    ("gap-not-surveyed", None, "NOT SURVEYED"),
)
SIGN_SIZES_MM = {
    "mark-shot": 1.0, "mark-shot-refused": 1.8, "mark-dot": 1.4, "mark-stake": 1.8,
    "key-point": 2.2, "hazard-buried": 3.0,
}  # fmt: skip
"""How large each symbol is on paper."""


def _legend(pen: _Pen, limits: Sequence[float], unit: Measures) -> Picture:
    """Bands from the deepest cut to the deepest fill on the left, symbols on the right."""
    n = len(limits)
    rows = [("cut", k, f"C  {band_words(limits, k, unit)}") for k in range(n, 0, -1)]
    rows += [("", 0, f"{band_within(limits, unit)} {unit.small_unit}")]
    rows += [("fill", k, f"F  {band_words(limits, k, unit)}") for k in range(1, n + 1)]
    pen.write("text-legend", "C = CUT, TAKE OFF   F = FILL, PUT ON", _INDENT_MM, _VALUE_TEXT_MM)
    pen.down -= 5.0
    top, step = pen.down, 4.6
    fills, lines, marks = [], [], []
    for row, (side, band, text) in enumerate(rows):
        y = top - row * step
        ring = np.array([[3.0, y - 1.8], [12.0, y - 1.8], [12.0, y + 1.8], [3.0, y + 1.8]])
        if side:
            fills.append(Fill("legend", (ring,), pen=f"band-{side}-{band}"))
        lines.append(Lines("legend", ring[:, 0], ring[:, 1], np.array([0, 4]), True, "mark-shot"))
        pen.words.append(("text-legend", text, 14.0, y, _VALUE_TEXT_MM))
    for row, (layer, shape, text) in enumerate(_SIGNS):
        y = top - row * step
        lines += _line_samples(layer, y) if shape is None else []
        if shape is not None:
            x, none = np.array([56.5]), np.array([np.nan])
            size = SIGN_SIZES_MM[layer]
            marks.append(Marks("legend", shape, size, x, np.array([y]), none, layer))
        pen.words.append(("text-legend", text, 63.0, y, _SMALL_MM))
    pen.down = top - max(len(rows), len(_SIGNS)) * step
    pen.rule()
    pen.down -= 4.0
    return Picture(fills=tuple(fills), lines=tuple(lines), marks=tuple(marks))


def _line_samples(layer: str, y: float) -> list[Lines]:
    if layer != "gap-not-surveyed":
        return [Lines("legend", np.array([52.0, 61.0]), np.array([y, y]), np.array([0, 2]), False,
                      layer)]  # fmt: skip
    foot = np.array([52.0, 54.0, 56.0, 58.0])
    x = np.column_stack([foot, foot + 3.0]).ravel()
    return [
        Lines("legend", x, np.tile([y - 1.5, y + 1.5], 4), np.arange(5) * 2, False, layer),
    ]


def _scale_bar(pen: _Pen, scale: int, unit: Measures) -> None:
    """50 mm of paper in five parts; its length on paper shows a print that was not full size."""
    y = pen.down - 6.0
    for part in range(6):
        x = _INDENT_MM + 10.0 * part
        pen.lines.append((x, y - 1.0, x, y + 1.0))
        away = part * scale / 100.0
        text = unit.long(away) if unit.unit == "ft" else f"{round(away, 3):g}"
        pen.words.append(("text-legend", text, x, y + 3.0, _SMALL_MM))
        if part % 2 == 0 and part < 5:
            # two lines close together read as a thick one at any line width
            pen.lines += [(x, y + d, x + 10.0, y + d) for d in (-0.35, 0.35)]
    pen.lines.append((_INDENT_MM, y, _INDENT_MM + 50.0, y))
    pen.words.append(
        (
            "text-legend",
            "metres" if unit.unit == "m" else "feet",
            _INDENT_MM + 56.0,
            y + 3.0,
            _SMALL_MM,
        )
    )
    note = "this bar is 50 mm (1.97 in) at full size"
    pen.words.append(("text-legend", note, _INDENT_MM, y - 3.5, _SMALL_MM))
    pen.down = y - 7.0


def _arrow(pen: _Pen) -> None:
    x, y = WIDTH_MM - 9.0, pen.down + 3.0
    pen.lines += [
        (x, y, x, y + 10.0), (x, y + 10.0, x - 1.6, y + 6.0), (x, y + 10.0, x + 1.6, y + 6.0),
        (x - 1.6, y + 6.0, x + 1.6, y + 6.0),
    ]  # fmt: skip
    pen.words.append(("text-legend", "N", x + 2.2, y + 1.5, 3.0))


def north_arrow(x: float, y: float, turn: float) -> Picture:
    """A small north arrow on a sheet, its middle at (x, y), for a map turned by `turn` [rad]."""
    cos, sin = np.cos(turn), np.sin(turn)
    shape = np.array(
        [[0, -2.6], [0, 2.6], [0, 2.6], [-1.0, 0.6], [0, 2.6], [1.0, 0.6], [-1.0, 0.6], [1.0, 0.6]]
    )
    spots = np.column_stack([shape @ [cos, -sin], shape @ [sin, cos]]) + np.array([x, y])
    name = Words(
        "text-title", texts(["N"]), np.array([x - 4.0]), np.array([y]), np.array([2.5]),
        np.zeros(1), "right",
    )  # fmt: skip
    return Picture(
        lines=(Lines("frame", spots[:, 0], spots[:, 1], np.arange(5) * 2),), words=(name,)
    )


def _cautions(pen: _Pen, cautions: Sequence[str]) -> None:
    """Above the legend, and never cut: a sheet too short loses its scale bar first."""
    for caution in cautions:
        for part in wrapped(caution, WIDTH_MM - 2 * _INDENT_MM, _SMALL_MM):
            pen.write("text-caution", part, _INDENT_MM, _SMALL_MM)
            pen.down -= 3.3
        pen.down -= 0.8
    if cautions:
        pen.rule()
        pen.down -= 4.0


def wrapped(text: str, width: float, height: float) -> list[str]:
    """The text in lines that fit `width` at a letter height; a word too long is cut."""
    lines: list[str] = []
    for word in plain_text(text).split():
        if lines and text_width(f"{lines[-1]} {word}") * height <= width:
            lines[-1] += f" {word}"
            continue
        lines.append("")
        for letter in word:
            if text_width(lines[-1] + letter) * height > width:
                lines.append("")
            lines[-1] += letter
    return lines


def _at_most(lines: int, text: str, width: float, height: float) -> list[str]:
    """`wrapped`, what is beyond so many lines cut off and the cut shown by dots."""
    parts = wrapped(text, width, height)
    if len(parts) <= lines:
        return parts
    last = parts[lines - 1]
    while text_width(f"{last}...") * height > width:
        last = last[:-1]
    return [*parts[: lines - 1], f"{last}..."]


def _words(rows: Sequence[tuple[str, str, float, float, float]]) -> tuple[Words, ...]:
    out = []
    for layer in sorted({row[0] for row in rows}):
        part = [row for row in rows if row[0] == layer and row[1]]
        x, y, height = np.array([row[2:] for row in part]).T
        out.append(Words(layer, texts(row[1] for row in part), x, y, height, np.zeros(len(part))))
    return tuple(out)


def _segments(layer: str, rows: Sequence[tuple[float, float, float, float]]) -> Lines:
    ends = np.array(rows).reshape(-1, 2)
    return Lines(layer, ends[:, 0], ends[:, 1], np.arange(len(rows) + 1) * 2)


def placed(picture: Picture, scale: float, x: float, y: float) -> Picture:
    """`picture` made `scale` times as large about (0, 0), then moved by (x, y)."""
    move = np.array([x, y])
    return Picture(
        fills=tuple(
            replace(fill, rings=tuple(ring * scale + move for ring in fill.rings))
            for fill in picture.fills
        ),
        lines=tuple(
            replace(part, x=part.x * scale + x, y=part.y * scale + y) for part in picture.lines
        ),
        words=tuple(
            replace(part, x=part.x * scale + x, y=part.y * scale + y, height=part.height * scale)
            for part in picture.words
        ),
        marks=tuple(
            replace(part, x=part.x * scale + x, y=part.y * scale + y, size=part.size * scale)
            for part in picture.marks
        ),
    )


def corners(picture: Picture) -> Floats:
    """West, south, east and north of the lines of a picture."""
    x = np.concatenate([part.x for part in picture.lines])
    y = np.concatenate([part.y for part in picture.lines])
    return np.array([x.min(), y.min(), x.max(), y.max()])
