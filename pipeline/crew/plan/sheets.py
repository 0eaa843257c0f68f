"""A3 sheets whose windows follow the street, turned so that it runs along the paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.crew.plan.frame import WIDTH_MM, corners, north_arrow, placed
from pipeline.crew.plan.labels import upright
from pipeline.crew.plan.lines import DrawnStreet
from pipeline.design.equations import station_text
from pipeline.model import Alignment, Floats, Lines, Page, Picture, View, Words, texts

A3_MM = (420.0, 297.0)
# what an A3 and a tabloid sheet have in common, less 12 mm on every side, prints on both
LEFT_MM, RIGHT_MM, BOTTOM_MM, TOP_MM = 12.0, 408.0, 21.0, 276.0
GAP_MM = 4.0
_CAPTION = 7.0
_CAPTION_ROOM = 96.0
"""Width of a window's caption before the words of a match line [mm]."""
_HIDDEN = ("back-paper", "frame", "legend", "text-title", "text-legend", "text-caution")
HAUL = ("haul-arrow", "text-haul")
"""Layers of the haul plan: it has sheets of its own, where its arrows stand whole."""
_STEP_M = 2.5


@dataclass(frozen=True, slots=True)
class Shown:
    """What windows show: how far to either side of the line [m], without which layers."""

    reach_m: float
    title: str = "sheet"
    hidden: tuple[str, ...] = HAUL


@dataclass(frozen=True, slots=True)
class Strip:
    """A stretch of the street that fits one window: its middle, direction and stations."""

    x: float
    y: float
    angle: float
    first: float
    last: float


def strips(
    street: DrawnStreet, reach_m: float, width_m: float, height_m: float
) -> tuple[Strip, ...]:
    """The street in as few stretches as go into windows of this size, from its start on.

    Parameters
    ----------
    street : DrawnStreet
    reach_m : float
        How far the map goes to either side of the centreline [m].
    width_m, height_m : float
        Size of a window on the ground [m].

    Returns
    -------
    tuple of Strip
        Each goes as far as its box, along the chord of the stretch, fits the
        window, to a few metres; at the least one step, fit or not.
    """
    station = np.unique(
        np.append(np.arange(street.station[0], street.station[-1], _STEP_M), street.station[-1])
    )
    x = np.interp(station, street.station, street.x)
    y = np.interp(station, street.station, street.y)
    found = []
    first = 0
    while first < len(station) - 1:
        last = first + 1
        while last + 1 < len(station):
            box, _ = _box(x[first : last + 2], y[first : last + 2])
            if box[2] - box[0] > width_m or box[3] - box[1] + 2 * reach_m > height_m:
                break
            last += 1
        box, angle = _box(x[first : last + 1], y[first : last + 1])
        along, up = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        cos, sin = np.cos(angle), np.sin(angle)
        middle = along * cos - up * sin, along * sin + up * cos
        found.append(Strip(*middle, angle, float(station[first]), float(station[last])))
        first = last
    return tuple(found)


def _box(x: Floats, y: Floats) -> tuple[Floats, float]:
    """Box of points in a frame along their chord, and the angle of that frame."""
    angle = float(upright(np.arctan2(y[-1] - y[0], x[-1] - x[0])))
    cos, sin = np.cos(angle), np.sin(angle)
    along, up = x * cos + y * sin, y * cos - x * sin
    return np.array([along.min(), up.min(), along.max(), up.max()]), angle


def pages(
    street: DrawnStreet,
    line: Alignment,
    frame: Picture,
    shown: Shown,
    scale: int,
    shift: tuple[float, float],
) -> tuple[Page, ...]:
    """Sheets at the stated scale: windows on the left, the title block on the right.

    One, two or three windows stand over each other, whichever needs the fewest
    sheets.

    Parameters
    ----------
    street : DrawnStreet
    line : Alignment
        What the windows' stations are called by.
    frame : Picture
        Title block without a north arrow [mm], top left corner at (0, 0).
    shown : Shown
        How far the windows reach, and what they leave out.
    scale : int
        1:scale.
    shift : (float, float)
        Added to the street's own coordinates to give those of the map.
    """
    width = RIGHT_MM - WIDTH_MM - GAP_MM - LEFT_MM
    plans = []
    for rows in (3, 2, 1):
        height = (TOP_MM - BOTTOM_MM + 1.0) / rows - _CAPTION - 1.0
        found = strips(street, shown.reach_m, width * scale / 1000, height * scale / 1000)
        plans.append((-(-len(found) // rows), rows, height, found))
    sheets, rows, height, found = min(plans, key=lambda plan: plan[0])
    middles = [
        (LEFT_MM + width / 2, TOP_MM - _CAPTION - height / 2 - row * (height + _CAPTION + 1.0))
        for row in range(rows)
    ]
    out = []
    short = f"{street.short} " if street.short else ""
    for sheet in range(sheets):
        part = found[sheet * rows : (sheet + 1) * rows]
        views = [
            replace(
                _view(strip, middle, (width, height), scale, shift), hidden=_HIDDEN + shown.hidden
            )
            for strip, middle in zip(part, middles, strict=False)
        ]
        stations = [
            f"{short}{station_text(line, one.first)} TO {station_text(line, one.last)}"
            for one in part
        ]
        page = _page(f"{short}A3 {shown.title} {sheet + 1} of {sheets}", frame, views, stations)
        matched = [
            _match_lines(
                (street, line),
                (strip, view),
                shown,
                _next_to(sheet * rows + k, found, rows, shown, short),
            )
            for k, (strip, view) in enumerate(zip(part, views, strict=True))
        ]
        out.append(replace(page, picture=sum(matched, start=page.picture)))
    return tuple(out)


def _next_to(
    number: int, found: Sequence[Strip], rows: int, shown: Shown, short: str
) -> tuple[str, str]:
    """Where the windows before and after this one stand; empty where there is none."""

    def place(other: int, way: str) -> str:
        if not 0 <= other < len(found):
            return ""
        if other // rows == number // rows:
            return f"WINDOW {way}"
        return f"{short}A3 {shown.title.upper()} {other // rows + 1}"

    return place(number - 1, "ABOVE"), place(number + 1, "BELOW")


def _match_lines(
    along: tuple[DrawnStreet, Alignment],
    window: tuple[Strip, View],
    shown: Shown,
    next_to: tuple[str, str],
) -> Picture:
    """Dashes across the street where another window goes on, and over the window which one."""
    import shapely

    (street, line), (strip, view) = along, window
    west, south = view.x - view.width / 2, view.y - view.height / 2
    frame = shapely.box(west, south, west + view.width, south + view.height)
    picture = Picture()
    for station, goes_on in ((strip.first, next_to[0]), (strip.last, next_to[1])):
        ends = _across(street, station, shown.reach_m)
        cut = shapely.intersection(shapely.linestrings(_on_paper(ends, strip, view)), frame)
        if not goes_on or cut.is_empty or cut.geom_type != "LineString":
            continue
        a, b = shapely.get_coordinates(cut).tolist()
        right = (a[0] + b[0]) / 2 > view.x
        x = west + view.width - 16.0 if right else west + _CAPTION_ROOM
        short = f"{street.short} " if street.short else ""
        said = f"MATCH LINE {short}{station_text(line, station)}: {goes_on}"
        text = Words(
            "text-match", texts([said]), np.array([x]),
            np.array([south + view.height + _CAPTION / 2]), np.array([2.2]), np.zeros(1),
            "right" if right else "left",
        )  # fmt: skip
        picture += Picture(lines=(dashes((a[0], a[1]), (b[0], b[1])),), words=(text,))
    return picture


def _across(street: DrawnStreet, station: float, reach_m: float) -> Floats:
    """Both ends of a line square to the street, shape (2, 2), in the street's own metres."""
    x = float(np.interp(station, street.station, street.x))
    y = float(np.interp(station, street.station, street.y))
    azimuth = float(np.interp(station, street.station, np.unwrap(street.azimuth)))
    out = np.array([np.cos(azimuth), -np.sin(azimuth)]) * reach_m
    ends: Floats = np.array([x, y]) + np.outer([-1.0, 1.0], out)
    return ends


def _on_paper(points: Floats, strip: Strip, view: View) -> Floats:
    """Places in the street's own metres on the sheet [mm]."""
    from_middle = (points - [strip.x, strip.y]) * 1000.0 / view.scale
    cos, sin = np.cos(view.turn), np.sin(view.turn)
    turned = np.column_stack([from_middle @ [cos, -sin], from_middle @ [sin, cos]])
    return np.asarray(turned + np.array([view.x, view.y]), dtype=np.float64)


def dashes(a: tuple[float, float], b: tuple[float, float]) -> Lines:
    """A match line [mm]: 4 mm drawn, 2 mm not."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    begin = np.arange(0.0, length, 6.0)
    t = np.column_stack([begin, np.minimum(begin + 4.0, length)]).ravel() / max(length, 1e-9)
    return Lines(
        "match-line", a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]),
        np.arange(len(begin) + 1) * 2,
    )  # fmt: skip


def _view(
    strip: Strip,
    middle: tuple[float, float],
    size: tuple[float, float],
    scale: int,
    shift: tuple[float, float],
) -> View:
    return View(
        x=middle[0],
        y=middle[1],
        width=size[0],
        height=size[1],
        easting=strip.x + shift[0],
        northing=strip.y + shift[1],
        turn=-strip.angle,
        scale=scale,
        hidden=_HIDDEN,
    )


def _page(name: str, frame: Picture, views: Sequence[View], stations: Sequence[str]) -> Page:
    paper = Picture()
    for view, called in zip(views, stations, strict=True):
        paper += _window(view, called)
    return Page(name, *A3_MM, paper + title_block(name, frame), tuple(views))


def title_block(name: str, frame: Picture) -> Picture:
    """The title block in the upper right corner of a sheet, and under it the sheet's name."""
    under = TOP_MM + corners(frame)[1] - 4.0
    note = Words(
        "text-title", texts([name]), np.array([RIGHT_MM]), np.array([under]), np.array([2.5]),
        np.zeros(1), "right",
    )  # fmt: skip
    return placed(frame, 1.0, RIGHT_MM - WIDTH_MM, TOP_MM) + Picture(words=(note,))


def _window(view: View, stations: str) -> Picture:
    """The border of a window; over it a line with its stations, the scale, and north."""
    west, south = view.x - view.width / 2, view.y - view.height / 2
    east, north = view.x + view.width / 2, view.y + view.height / 2
    border = Lines(
        "frame", np.array([west, east, east, west]), np.array([south, south, north, north]),
        np.array([0, 4]), closed=True,
    )  # fmt: skip
    text = f"STATION {stations}     1:{view.scale:g}"
    middle = north + _CAPTION / 2
    caption = Words(
        "text-title", texts([text]), np.array([west]), np.array([middle]), np.array([2.5]),
        np.zeros(1),
    )  # fmt: skip
    return Picture(lines=(border,), words=(caption,)) + north_arrow(east - 4.0, middle, view.turn)
