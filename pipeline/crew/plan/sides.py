"""Sheets that show the street from the side: profiles along its lines, sections across it.

Everything is laid out in paper millimetres. Heights stand at a larger scale than
lengths, the same on all panels of a kind, and every panel says both.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.crew.plan.frame import WIDTH_MM, wrapped
from pipeline.crew.plan.labels import text_width
from pipeline.crew.plan.lines import broken_line
from pipeline.crew.plan.sheets import (
    A3_MM,
    BOTTOM_MM,
    GAP_MM,
    LEFT_MM,
    RIGHT_MM,
    TOP_MM,
    dashes,
    title_block,
)
from pipeline.crew.stretches import multiples
from pipeline.crew.words import paint
from pipeline.model import Floats, Lines, Page, Picture, Words, texts
from pipeline.model.charts import Chart, Curve
from pipeline.settings import Rounding, Sheet
from pipeline.units import format_length

PANELS_A_SHEET = 3
SECTIONS_ACROSS, SECTIONS_DOWN = 3, 5
_CAPTION, _FOOT, _LABEL, _EDGE = 6.0, 9.0, 12.0, 2.0
_SMALL, _TEXT = 1.8, 2.2
_LENGTHS = (50, 100, 200, 250, 500, 1000, 2000, 5000)
_HEIGHTS = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000)
_STEPS_M = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
_LINES_APART = 7.0
_NEAR_ENOUGH = 0.02
"""A curve is drawn to this of paper [mm]."""
_LOOKS = {"ground": "side-ground", "today": "side-today", "layer": "side-layer"}


@dataclass(frozen=True, slots=True)
class Panel:
    """One chart's place on a sheet [mm] and what of it shows: ``first`` to ``last`` along [m].

    A metre along is ``mm_along`` wide, a metre of height ``mm_up`` high; ``low`` [m] lies
    on the lower edge.
    """

    west: float
    south: float
    width: float
    height: float
    first: float
    last: float
    mm_along: float
    mm_up: float
    low: float = 0.0

    def x(self, along: Floats) -> Floats:
        """Places along [m] on the sheet [mm]."""
        return self.west + (np.asarray(along) - self.first) * self.mm_along

    def y(self, height: Floats) -> Floats:
        """Heights [m] on the sheet [mm]."""
        return self.south + (np.asarray(height) - self.low) * self.mm_up


def side_pages(
    profiles: Sequence[Chart],
    sections: Sequence[Chart],
    frame: Picture,
    rules: tuple[Sheet, Rounding],
    name_of: Callable[[float], str],
) -> tuple[Page, ...]:
    """The sheets of profiles, stretch by stretch, then those of the sections.

    Parameters
    ----------
    profiles, sections : sequence of Chart
        Sheets are made for those that are given.
    frame : Picture
        Title block [mm], top left corner at (0, 0).
    rules : (Sheet, Rounding)
    name_of : callable
        What people call a station.
    """
    return (
        *_profile_pages(profiles, frame, rules, name_of),
        *_section_pages(sections, frame, rules[1]),
    )


def _profile_pages(
    charts: Sequence[Chart],
    frame: Picture,
    rules: tuple[Sheet, Rounding],
    name_of: Callable[[float], str],
) -> tuple[Page, ...]:
    if not charts:
        return ()
    scale = rules[0].scale
    width = RIGHT_MM - WIDTH_MM - GAP_MM - LEFT_MM - _LABEL
    first, last = float(charts[0].curves[0].x[0]), float(charts[0].curves[0].x[-1])
    stretch = width * scale / 1000.0
    sheets = max(1, math.ceil((last - first) / stretch - 1e-9))
    down = (TOP_MM - BOTTOM_MM) / PANELS_A_SHEET
    height = down - _CAPTION - _FOOT
    starts = [first + k * stretch for k in range(sheets)]
    reach = max(_range(chart, a, a + stretch) for chart in charts for a in starts)
    up = _scale(reach, height - 2 * _EDGE, _HEIGHTS)
    pages = []
    for number, start in enumerate(starts):
        end = min(start + stretch, last)
        page = f"A3 profile {number + 1} of {sheets}"
        picture = Picture()
        for row, chart in enumerate(charts[:PANELS_A_SHEET]):
            south = TOP_MM - (row + 1) * down + _FOOT
            panel = Panel(
                LEFT_MM + _LABEL, south, width, height, start, end, 1000.0 / scale, 1000.0 / up
            )
            said = (
                f"{chart.title.upper()}     STATION {name_of(start)} TO {name_of(end)}"
                f"     1:{scale}, HEIGHTS 1:{up}"
            )
            ticks = multiples(start, end, 20.0)
            picture += _panel(chart, panel, said, rules[1], (ticks, [name_of(t) for t in ticks]))
            picture += _match_lines(panel, (number, sheets), name_of)
        pages.append(_page(page, frame, picture, _key(charts)))
    return tuple(pages)


def _section_pages(charts: Sequence[Chart], frame: Picture, rounding: Rounding) -> tuple[Page, ...]:
    if not charts:
        return ()
    across = (RIGHT_MM - WIDTH_MM - GAP_MM - LEFT_MM) / SECTIONS_ACROSS
    down = (TOP_MM - BOTTOM_MM) / SECTIONS_DOWN
    width, height = across - _LABEL - _EDGE, down - _CAPTION - _FOOT
    ends = charts[0].curves[0].x
    first, last = float(ends[0]), float(ends[-1])
    along = _scale(last - first, width, _LENGTHS)
    up = _scale(max(_range(c, first, last) for c in charts), height - 2 * _EDGE, _HEIGHTS)
    step = next((s for s in (1.0, 2.0, 4.0, 5.0, 10.0) if s * 1000 / along >= 14.0), 20.0)
    ticks = multiples(first, last, step)
    names = [_side(t) for t in ticks]
    each = SECTIONS_ACROSS * SECTIONS_DOWN
    sheets = math.ceil(len(charts) / each)
    pages = []
    for sheet in range(sheets):
        picture = Picture()
        for k, chart in enumerate(charts[sheet * each : (sheet + 1) * each]):
            column, row = k // SECTIONS_DOWN, k % SECTIONS_DOWN
            panel = Panel(
                LEFT_MM + column * across + _LABEL, TOP_MM - (row + 1) * down + _FOOT,
                (last - first) * 1000.0 / along, height, first, last, 1000.0 / along, 1000.0 / up,
            )  # fmt: skip
            picture += _panel(
                chart, panel, f"{chart.title}   {chart.note}", rounding, (ticks, names)
            )
        key = f"1:{along}, HEIGHTS 1:{up}. {_key(charts)}"
        pages.append(_page(f"A3 sections {sheet + 1} of {sheets}", frame, picture, key))
    return tuple(pages)


def _panel(
    chart: Chart, panel: Panel, said: str, rounding: Rounding, ticks: tuple[Floats, Sequence[str]]
) -> Picture:
    """One chart: caption above, grid, curves, and under it where and how much to cut or fill."""
    least, most = _reach(chart, panel.first, panel.last)
    if np.isfinite(least):
        panel = replace(panel, low=(least + most) / 2 - panel.height / panel.mm_up / 2)
    east, north = panel.west + panel.width, panel.south + panel.height
    border = Lines(
        "frame", np.array([panel.west, east, east, panel.west]),
        np.array([panel.south, panel.south, north, north]), np.array([0, 4]), closed=True,
    )  # fmt: skip
    at = panel.west - _LABEL if panel.width > 150 else panel.west
    rows = [(said, at, north + _CAPTION / 2, _TEXT, "left")]
    grid, labels = _grid(panel, ticks)
    curves = [_drawn(curve, panel) for curve in chart.curves if curve.look in _LOOKS]
    rows += labels + _marks(chart, panel, rounding, ticks[0])
    if all(not len(curve.x) for curve in curves if curve.layer == "side-ground"):
        middle_x = panel.west + panel.width / 2
        rows.append(("NOT SURVEYED", middle_x, panel.south + 3.0, _TEXT, "centre"))
    return Picture(lines=(grid, border, *curves), words=_words(rows))


_Row = tuple[str, float, float, float, str]
"""Text, x, y, height and anchor."""


def _grid(panel: Panel, ticks: tuple[Floats, Sequence[str]]) -> tuple[Lines, list[_Row]]:
    """Lines of equal height and station or offset, with their names left and below."""
    east, north = panel.west + panel.width, panel.south + panel.height
    step = next((s for s in _STEPS_M if s * panel.mm_up >= _LINES_APART), _STEPS_M[-1])
    levels = multiples(panel.low, panel.low + panel.height / panel.mm_up, step)
    rows: list[_Row] = []
    ends = []
    for level, y in zip(levels, panel.y(levels), strict=True):
        ends.append((panel.west, y, east, y))
        if panel.south + 1.0 <= y <= north - 1.0:
            rows.append((format_length(level, step=0.01), panel.west - 1.0, y, _SMALL, "right"))
    free = -math.inf
    for x, name in zip(panel.x(ticks[0]), ticks[1], strict=True):
        ends.append((x, panel.south, x, north))
        half = text_width(name) * _SMALL / 2
        if x - half > free:
            rows.append((name, x, panel.south - 2.2, _SMALL, "centre"))
            free = x + half + 1.0
    points = np.array(ends).reshape(-1, 2)
    return Lines("side-grid", points[:, 0], points[:, 1], np.arange(len(ends) + 1) * 2), rows


def _marks(chart: Chart, panel: Panel, rounding: Rounding, ticks: Floats) -> list[_Row]:
    """Cut or fill to today's layer at every tick, as it is painted."""
    ground = next((c for c in chart.curves if c.look == "ground"), None)
    today = next((c for c in chart.curves if c.look == "today"), None)
    if ground is None or today is None:
        return []
    cut = np.interp(ticks, ground.x, ground.z) - np.interp(ticks, today.x, today.z)
    rows: list[_Row] = []
    free = -math.inf
    for x, value in zip(panel.x(ticks), cut, strict=True):
        if math.isnan(value):
            continue
        text = paint(float(value), rounding)
        half = text_width(text) * _SMALL / 2
        if x - half > free:
            rows.append((text, x, panel.south - 5.4, _SMALL, "centre"))
            free = x + half + 1.0
    return rows


def _drawn(curve: Curve, panel: Panel) -> Lines:
    """A curve on its panel, in as few points as show it, broken off where it has none."""
    import shapely

    rows = (curve.x >= panel.first - 1e-9) & (curve.x <= panel.last + 1e-9)
    x, y = panel.x(curve.x[rows]), panel.y(curve.z[rows])
    whole = broken_line(_LOOKS[curve.look], np.where(np.isnan(y), np.nan, x), y)
    parts = [
        np.column_stack([whole.x[a:b], whole.y[a:b]])
        for a, b in zip(whole.start[:-1], whole.start[1:], strict=True)
        if b - a > 1
    ]
    few = [shapely.get_coordinates(shapely.simplify(shapely.linestrings(part), _NEAR_ENOUGH))
           for part in parts]  # fmt: skip
    points = np.concatenate([np.empty((0, 2)), *few])
    start = np.concatenate([[0], np.cumsum([len(part) for part in few])]).astype(np.int64)
    return Lines(whole.layer, points[:, 0], points[:, 1], start)


def _match_lines(panel: Panel, sheet: tuple[int, int], name_of: Callable[[float], str]) -> Picture:
    """Dashes on an end where the profile goes on, and in the caption on which sheet."""
    number, sheets = sheet
    south, north = panel.south, panel.south + panel.height
    picture = Picture()
    if number > 0:
        picture += Picture(lines=(dashes((panel.west, south), (panel.west, north)),))
    if number + 1 < sheets:
        east = panel.west + panel.width
        text = f"MATCH LINE {name_of(panel.last)}: A3 PROFILE {number + 2}"
        row: _Row = (text, east, north + _CAPTION / 2, _TEXT, "right")
        picture += Picture(
            lines=(dashes((east, south), (east, north)),), words=_words([row], "text-match")
        )
    return picture


def _page(name: str, frame: Picture, picture: Picture, key: str) -> Page:
    room = RIGHT_MM - WIDTH_MM - GAP_MM - LEFT_MM
    rows: list[_Row] = [(wrapped(key, room, _SMALL)[0], LEFT_MM, BOTTOM_MM - 4.0, _SMALL, "left")]
    paper = picture + title_block(name, frame) + Picture(words=_words(rows))
    return Page(name, *A3_MM, paper, ())


def _key(charts: Sequence[Chart]) -> str:
    """Which line is what; the others are named from the top down, as they lie."""
    curves = charts[0].curves
    named = {look: [c.label for c in curves if c.look == look] for look in _LOOKS}
    said = [f"THICK: {', '.join(named['ground'])}", f"GREEN: {', '.join(named['today'])}, today"]
    if named["layer"]:
        said.append(f"THIN, FROM THE TOP: {', '.join(named['layer'])}")
    return ". ".join(said)


def _words(rows: Sequence[_Row], layer: str = "text-side") -> tuple[Words, ...]:
    out = []
    for anchor in ("left", "centre", "right"):
        part = [row for row in rows if row[4] == anchor]
        if part:
            x, y, height = np.array([row[1:4] for row in part], dtype=np.float64).T
            made = texts(row[0] for row in part)
            out.append(Words(layer, made, x, y, height, np.zeros(len(part)), anchor))
    return tuple(out)


def _reach(chart: Chart, first: float, last: float) -> tuple[float, float]:
    """Lowest and highest of the curves in a stretch [m]; infinite where there is none."""
    parts = [c.z[(c.x >= first - 1e-9) & (c.x <= last + 1e-9)] for c in chart.curves
             if c.look in _LOOKS]  # fmt: skip
    every = np.concatenate([np.empty(0), *parts])
    known = every[~np.isnan(every)]
    return (float(known.min()), float(known.max())) if len(known) else (math.inf, -math.inf)


def _range(chart: Chart, first: float, last: float) -> float:
    least, most = _reach(chart, first, last)
    return max(most - least, 0.0) if np.isfinite(least) else 0.0


def _scale(metres: float, room: float, among: Sequence[int]) -> int:
    """The largest scale at which so many metres go into so many millimetres."""
    return next((s for s in among if metres * 1000.0 / s <= room + 1e-9), among[-1])


def _side(offset: float) -> str:
    if abs(offset) < 1e-9:
        return "CL"
    return f"{'R' if offset > 0 else 'L'} {abs(offset):g}"
