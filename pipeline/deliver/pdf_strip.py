"""The strip map on top of a page: the street drawn straight, as the walker sees it."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from pipeline.model.pages import (
    ADVANCE,
    MARGIN_PT,
    PRINT_PT,
    SMALL_PT,
    STRIP_PT,
    StripMap,
    StripMark,
    StripPatch,
)

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Box: TypeAlias = tuple[float, float, float, float]

_WORDS_PT = 12.0  # room for words above and under the street
_DASHES: dict[str, tuple[float, list[float]]] = {
    "heavy": (1.6, []),
    "thin": (0.6, []),
    "dashed": (0.9, [5.0, 3.0]),
    "dotted": (0.6, [8.0, 2.0, 1.0, 2.0]),
}
_HATCH_PT = 5.0


class _Frame:
    """Station and distance across to paper."""

    def __init__(self, strip: StripMap, left: float, top: float) -> None:
        self.strip = strip
        self.left = left
        self.middle = top - 0.5 * STRIP_PT
        self.half = 0.5 * STRIP_PT - 2.0 * _WORDS_PT
        self.ahead = 1.0 if strip.second >= strip.first else -1.0
        self.scale = PRINT_PT / max(abs(strip.second - strip.first), 1e-9)

    def x(self, station: float) -> float:
        return self.left + (station - self.strip.first) * self.ahead * self.scale

    def y(self, across: float) -> float:
        return self.middle - self.ahead * across / self.strip.reach_m * self.half


def draw_strip(canvas: Canvas, strip: StripMap, at: tuple[float, float], font: str) -> None:
    """Draw `strip` with its upper left corner at `at` [pt]; its letters are 9 pt high.

    A word that would run into another is moved to the next line above or under the
    street, and left out of the drawing where both are full: the table and the notes have
    it all.
    """
    frame = _Frame(strip, *at)
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(at[0], at[1] - STRIP_PT, PRINT_PT, STRIP_PT)
    canvas.clipPath(clip, stroke=0, fill=0)
    for patch in strip.patches:
        _patch(canvas, frame, patch)
    for line in strip.lines:
        width, dash = _DASHES[line.pen]
        canvas.setLineWidth(width)
        canvas.setDash(dash)
        path = canvas.beginPath()
        started = False
        for s, a in zip(line.station.tolist(), line.across.tolist(), strict=True):
            if np.isnan(a):
                started = False
            elif started:
                path.lineTo(frame.x(s), frame.y(a))
            else:
                path.moveTo(frame.x(s), frame.y(a))
                started = True
        canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash([])
    canvas.setFont(font, SMALL_PT)
    taken: list[Box] = []
    for mark in strip.marks:
        _mark(canvas, frame, mark, taken)
    for station, text in strip.ticks:
        _word(canvas, text, frame.x(station), (at[1] - STRIP_PT + 2.0,), taken)
    canvas.restoreState()


def _patch(canvas: Canvas, frame: _Frame, patch: StripPatch) -> None:
    """Hatching where nobody shot; a row of crosses where a bank is missing."""
    x0, x1 = sorted((frame.x(patch.start), frame.x(patch.end)))
    y0, y1 = sorted((frame.y(patch.low), frame.y(patch.high)))
    canvas.setLineWidth(0.5)
    if patch.kind == "missing":
        middle = 0.5 * (y0 + y1)
        for x in np.arange(x0 + 2.0, max(x1, x0 + 4.0), 6.0):
            canvas.line(x - 2.0, middle - 2.0, x + 2.0, middle + 2.0)
            canvas.line(x - 2.0, middle + 2.0, x + 2.0, middle - 2.0)
        return
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(x0, y0, x1 - x0, y1 - y0)
    canvas.clipPath(clip, stroke=1, fill=0)
    rise = y1 - y0
    for x in np.arange(x0 - rise, x1, _HATCH_PT):
        canvas.line(x, y0, x + rise, y1)
    canvas.restoreState()


def _mark(canvas: Canvas, frame: _Frame, mark: StripMark, taken: list[Box]) -> None:
    x, y = frame.x(mark.station), frame.y(mark.across)
    canvas.setLineWidth(1.0)
    if mark.shape == "lath":
        canvas.circle(x, y, 1.6, stroke=0, fill=1)
    elif mark.shape == "cross":
        canvas.line(x - 3.0, y - 3.0, x + 3.0, y + 3.0)
        canvas.line(x - 3.0, y + 3.0, x + 3.0, y - 3.0)
    elif mark.shape == "box":
        canvas.rect(x - 3.0, y - 3.0, 6.0, 6.0, stroke=1, fill=0)
    elif mark.shape in {"up", "down"}:
        tip = 4.0 if mark.shape == "up" else -4.0
        path = canvas.beginPath()
        path.moveTo(x - 3.5, y - tip * 0.5)
        path.lineTo(x + 3.5, y - tip * 0.5)
        path.lineTo(x, y + tip)
        path.close()
        canvas.drawPath(path, stroke=1, fill=1)
    if mark.text:
        above = frame.middle + frame.half
        under = frame.middle - frame.half - SMALL_PT
        lines = (above + 2.0, above + 2.0 + _WORDS_PT, under - 1.0)
        _word(canvas, mark.text, x, lines if y >= frame.middle else lines[::-1], taken)


def _word(canvas: Canvas, text: str, x: float, lines: tuple[float, ...], taken: list[Box]) -> None:
    """Write a word centred at x on the first of some base lines where there is room."""
    half = 0.5 * len(text) * ADVANCE * SMALL_PT
    # inside the page, even at its ends
    x = min(max(x, MARGIN_PT + half), MARGIN_PT + PRINT_PT - half)
    for y in lines:
        box = (x - half - 2.0, y - 1.0, x + half + 2.0, y + SMALL_PT)
        if all(_apart(box, other) for other in taken):
            taken.append(box)
            canvas.drawCentredString(x, y, text)
            return


def _apart(a: Box, b: Box) -> bool:
    return a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
