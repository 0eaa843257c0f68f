"""A curve on a printed page: black on white, every text of the size of the notes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

from pipeline.model.curves import CurveChart
from pipeline.model.pages import ADVANCE, FIGURE_PT, NOTE_PT, PRINT_PT, SMALL_PT, letters

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Place: TypeAlias = Callable[[float, float], tuple[float, float]]
"""From chart to page."""

_LEFT, _RIGHT, _UNDER, _ABOVE = 52.0, 14.0, 30.0, 30.0


def draw_figure(
    canvas: Canvas, chart: CurveChart, at: tuple[float, float], fonts: tuple[str, str]
) -> None:
    """Draw `chart` below and right of a point of the page, `FIGURE_PT` high.

    Parameters
    ----------
    canvas : Canvas
    chart : CurveChart
    at : (float, float)
        Top left corner [pt].
    fonts : (str, str)
        Names of the plain and the bold face.
    """
    left, top = at
    west, south, east, north = chart.reach
    x0, y0 = left + _LEFT, top - FIGURE_PT + _UNDER
    width, height = PRINT_PT - _LEFT - _RIGHT, FIGURE_PT - _UNDER - _ABOVE

    def place(x: float, y: float) -> tuple[float, float]:
        return (
            x0 + (x - west) / (east - west) * width,
            y0 + (y - south) / (north - south) * height,
        )

    canvas.setFont(fonts[1], NOTE_PT)
    canvas.drawString(left, top - NOTE_PT, chart.title[: letters(PRINT_PT, NOTE_PT)])
    canvas.setFont(fonts[0], SMALL_PT)
    canvas.drawString(left, top - NOTE_PT - SMALL_PT - 3.0, chart.y_label)
    canvas.setLineWidth(0.4)
    for x, text in chart.x_ticks:
        across, foot = place(x, south)
        canvas.setStrokeGray(0.75)
        canvas.line(across, foot, across, foot + height)
        half = 0.5 * len(text) * ADVANCE * SMALL_PT
        middle = min(max(across, left + half), left + PRINT_PT - half)
        canvas.drawCentredString(middle, foot - SMALL_PT - 2.0, text)
    for y, text in chart.y_ticks:
        side, up = place(west, y)
        canvas.line(side, up, side + width, up)
        canvas.drawRightString(side - 4.0, up - 0.35 * SMALL_PT, text)
    canvas.setStrokeGray(0.0)
    canvas.drawRightString(left + PRINT_PT, y0 - 2 * SMALL_PT - 5.0, chart.x_label)
    _curve(canvas, chart, place)
    _marks(canvas, chart, (x0, y0, width, height), west, east)


def _curve(canvas: Canvas, chart: CurveChart, where: Place) -> None:
    path = canvas.beginPath()
    points = [where(x, y) for x, y in zip(chart.x.tolist(), chart.y.tolist(), strict=True)]
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    canvas.setLineWidth(1.6)
    canvas.drawPath(path, stroke=1, fill=0)
    if chart.zero:
        first, last = where(chart.reach[0], 0.0), where(chart.reach[2], 0.0)
        canvas.setLineWidth(1.0)
        canvas.line(*first, *last)


def _marks(
    canvas: Canvas,
    chart: CurveChart,
    box: tuple[float, float, float, float],
    west: float,
    east: float,
) -> None:
    """Upright dashed lines, their words one under the other at the top."""
    x0, y0, width, height = box
    canvas.setDash(3, 2)
    canvas.setLineWidth(0.9)
    for number, (x, text) in enumerate(chart.marks):
        across = x0 + (x - west) / (east - west) * width
        canvas.line(across, y0, across, y0 + height)
        long = len(text) * ADVANCE * SMALL_PT + 4.0
        up = y0 + height - (number + 1) * (SMALL_PT + 2.0)
        right = across + long < x0 + width
        canvas.setFillGray(1.0)
        start = across + 3.0 if right else across - long - 1.0
        canvas.rect(start - 1.0, up - 2.0, long - 2.0, SMALL_PT + 1.0, stroke=0, fill=1)
        canvas.setFillGray(0.0)
        canvas.drawString(start, up, text)
    canvas.setDash()
