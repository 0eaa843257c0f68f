"""Pages in walking order: numbers on the dirt, and the hubs."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from pipeline.compare.streets import edge_name
from pipeline.crew.card.streets import BOX
from pipeline.crew.card.strip_map import hazard_notes, stretch_notes, strip_map
from pipeline.crew.card.table import Heading, Laid, Row, cut, lay_out, note_lines, notes, table_pt
from pipeline.crew.hubs.references import lath_name, layer_with
from pipeline.crew.measures import measures
from pipeline.crew.stretches import runs
from pipeline.crew.walk import steps, walking_order
from pipeline.crew.words import distance, fall_words, hub_mark
from pipeline.crew.work import CrewWork, place
from pipeline.model import Floats, Ints, texts
from pipeline.model.pages import NUMBER_PT, STRIP_PT, CardPage

MOST_SPOTS = 4
MOST_NAME = 28
"""Letters of a street's name in a title: its two stations and its side have to stay on paper."""
BEYOND_M = 5.0
"""What lies this far before the first or after the last lath is told too."""
_DONE = "\u2611"
_NOTES = 3  # lines that are kept free for notes, if there are any


def paint_names(work: CrewWork, side: int) -> list[str]:
    """Breaks that get a column on paper, from outside in: those of the job, or four that matter."""
    stated = list(work.job.card.paint_at)
    if not stated:
        outer = [edge_name(work.corridor.layer(work.edge_layer), side)] if work.edge_layer else []
        stated = [*outer, work.job.stakes.reference, "lip", "crown"]
    there = set(work.dots.what.tolist())
    return [name for name in dict.fromkeys(stated) if name in there][:MOST_SPOTS]


class _Lath:
    """One row of the painting list: a station on one side, and the spots in front of it."""

    def __init__(self, work: CrewWork, station: float, side: int, rows: Ints) -> None:
        self.work, self.station, self.side = work, station, side
        self.spots = {str(work.dots.what[k]): int(k) for k in rows}
        outer = rows[np.argmax(np.abs(work.dots.offset[rows]))]
        self.offset = float(work.dots.offset[outer])
        self.grid = float(work.dots.easting[outer]), float(work.dots.northing[outer])


def _laths(work: CrewWork) -> list[_Lath]:
    """Every station on both sides of every street, in walking order.

    A spot on the crown goes with the first side, where the street has spots on both.
    """
    found = [lath for one in work.streets for lath in _street_laths(one)]
    order = walking_order(
        np.array([x.station for x in found]),
        np.array([max(abs(x.offset), 0.001) * x.side for x in found]),
        work.job.walk,
        (
            texts([x.work.corridor.name for x in found]),
            np.array([x.grid[0] for x in found]),
            np.array([x.grid[1] for x in found]),
        ),
    )
    return [found[k] for k in order]


def _street_laths(work: CrewWork) -> list[_Lath]:
    dots = work.dots
    first = -1 if work.job.walk.first_side == "left" else 1
    on_line = np.abs(dots.offset) < 0.0005
    if work.others == () and work.corridor.parts and not (dots.offset[~on_line] * first > 0).any():
        first = -first  # a return or a bulb has one side
    sides = np.where(on_line, first, np.sign(dots.offset)).astype(int)
    found = []
    for station in np.unique(dots.station):
        for side in (-1, 1):
            rows = np.flatnonzero((dots.station == station) & (sides == side))
            if len(rows):
                found.append(_Lath(work, float(station), side, rows))
    return found


def paint_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """What is painted, page by page, one side of one stretch on each."""
    laths = [
        lath
        for lath in _laths(work)
        # in a mouth a side may have none of the breaks that are painted
        if any(name in lath.spots for name in paint_names(lath.work, lath.side))
    ]
    if not laths:
        return []
    grid = np.array([lath.grid for lath in laths])
    ahead = steps(grid[:, 0], grid[:, 1])
    short = work.job.rounding.marks_unit
    unit = "cm" if short == "m" else "feet and tenths"
    bar = f"GROUND TO {work.layer.upper()}   {unit}, C down F up"
    pages = []
    for a, b in runs([(lath.work.corridor.name, lath.side) for lath in laths]):
        one = laths[a].work
        spots = {name for lath in laths[a:b] for name in lath.spots}
        names = [name for name in paint_names(one, laths[a].side) if name in spots]
        rows = [_paint_row(one, laths[k], names, (k, float(ahead[k]))) for k in range(a, b)]
        headings = [
            Heading("#", align="right"),
            Heading(f"of {len(laths)}\nlath", NUMBER_PT, bold=True),
            *(Heading(lath_name(name), NUMBER_PT, bold=True) for name in names),
            Heading(f"next\n{short}", align="right"),
            Heading("done", NUMBER_PT, align="centre"),
            Heading("as\nmarked", fill=True),
        ]
        along = np.array([lath.station for lath in laths[a:b]]), laths[a].side, body_pt
        title = _titled("Paint", one, work)
        pages += _stretches(one, (title, bar), lay_out(headings, rows), along, _told)
    return pages


def _titled(title: str, street: CrewWork, work: CrewWork) -> str:
    """``Paint Tarrow Court``: the street is named where there are several."""
    name = street.corridor.name
    short = name if len(name) <= MOST_NAME else f"{name[: MOST_NAME - 3].rstrip()}..."
    return f"{title} {short}" if work.others else title


def _paint_row(work: CrewWork, lath: _Lath, names: list[str], at: tuple[int, float]) -> Row:
    number, ahead = at
    rows = [lath.spots.get(name, -1) for name in names]
    marks = [str(work.dots.mark[k]) if k >= 0 else "" for k in rows]
    there = [mark for mark in marks if mark]
    done = bool(there) and all(mark == "GRADE" for mark in there)
    return (
        str(number + 1),
        place(work, lath.station, float(lath.side)),
        *marks,
        measures(work.job.rounding).long(ahead),
        _DONE if done else BOX,
        "",
    )


def _stretches(
    work: CrewWork,
    words: tuple[str, str],
    laid: Laid,
    along: tuple[Floats, int, float],
    tell: Callable[[CrewWork, Floats, int], list[str]],
) -> list[CardPage]:
    """One side's rows cut into pages, each with its strip map and what lies on the way."""
    title, bar = words
    station, side, body_pt = along
    room = body_pt - STRIP_PT
    kept = room - _NOTES * 12.0 - 4.0
    pages, first = [], 0
    for rows in cut(laid, kept, work.job.card.rows_a_page):
        here = station[first : first + len(rows)]
        numbers = [row[0] for row in rows]
        told = tell(work, here, side)
        pages.append(
            CardPage(
                title=f"{title} {_reach(work, here)} {'left' if side < 0 else 'right'}",
                bar=bar,
                columns=laid.columns,
                rows=rows,
                notes=notes(told, note_lines(room - table_pt(laid, rows))),
                strip=strip_map(work, here, side, numbers),
            )
        )
        first += len(rows)
    return pages


def _told(work: CrewWork, station: Floats, side: int) -> list[str]:
    """What lies on the way of those who paint."""
    low, high = float(station.min()) - BEYOND_M, float(station.max()) + BEYOND_M
    return stretch_notes(work, low, high, side)


def _hubs_told(work: CrewWork, station: Floats, side: int) -> list[str]:
    """Hubs that moved, how far in the offset line is, then what is buried on the way."""
    sheet = work.sheet
    low, high = float(station.min()), float(station.max())
    here = (np.sign(sheet.offset) == side) & (sheet.station >= low) & (sheet.station <= high)
    said = [f"! hub {sheet.hubs.id[k]} {work.flags[k]}" for k in np.flatnonzero(here)
            if work.flags[k]]  # fmt: skip
    away, unit = work.to_line[here], work.job.rounding.marks_unit
    away = away[np.isfinite(away)]
    if len(away):
        said.append(
            f"OFFSET LINE {_span(work, away)} {unit} from the hubs in,"
            f" {distance(work.job.edge.clearance_m, work.job.rounding)} {unit} outside the edge of"
            f" {work.edge_layer}"
        )
    return said + hazard_notes(work, low - BEYOND_M, high + BEYOND_M)


def _span(work: CrewWork, values: Floats) -> str:
    low, high = (distance(float(x), work.job.rounding) for x in (values.min(), values.max()))
    return low if low == high else f"{low} to {high}"


def hub_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The hubs as shot: to the curb and to the layers under it, in walking order."""
    job, hubs = work.job, _walked_hubs(work)
    if not hubs:
        return []
    sheet = hubs[0][0].sheet
    own = layer_with(work.corridor, job.stakes.reference)
    layers = [k for k, name in enumerate(sheet.layers) if name != own][:3]
    reference = lath_name(sheet.reference.name)
    unit = "metres" if job.rounding.marks_unit == "m" else "feet"
    bar = f"HUBS TO {reference} AND LAYERS AT IT   {unit}, C down F up"
    headings = [
        Heading("#", align="right"),
        Heading(f"of {len(hubs)}\nlath", NUMBER_PT, bold=True),
        Heading("hub", wrap=True),
        Heading("out", align="right"),
        Heading(f"to\n{reference}", NUMBER_PT, bold=True),
        *(Heading(_two_lines(sheet.layers[k])) for k in layers),
        Heading("next"),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    rows = [_hub_row(one, k, n, layers) for n, (one, k) in enumerate(hubs)]
    sides = [(one.corridor.name, one.sheet.offset[k] > 0) for one, k in hubs]
    pages = []
    for a, b in runs(sides):
        one = hubs[a][0]
        laid = lay_out(headings, rows[a:b])
        station = np.array([one.sheet.station[k] for _, k in hubs[a:b]])
        along = station, 1 if sides[a][1] else -1, body_pt
        pages += _stretches(one, (_titled("Hubs", one, work), bar), laid, along, _hubs_told)
    return pages


def _walked_hubs(work: CrewWork) -> list[tuple[CrewWork, int]]:
    """Street and row of every hub, in walking order."""
    found = [(one, k) for one in work.streets for k in range(len(one.sheet.hubs))]
    grid = [(one.sheet.hubs.easting[k], one.sheet.hubs.northing[k]) for one, k in found]
    east, north = np.array(grid).reshape(-1, 2).T
    order = walking_order(
        np.array([one.sheet.station[k] for one, k in found]),
        np.array([one.sheet.offset[k] for one, k in found]),
        work.job.walk,
        (texts([one.corridor.name for one, _ in found]), east, north),
    )
    return [found[int(k)] for k in order]


def _two_lines(name: str) -> str:
    """A layer's name over two lines of a heading."""
    words = name.split()
    half = (len(words) + 1) // 2
    return "\n".join(" ".join(part) for part in (words[:half], words[half:]) if part)


def _hub_row(work: CrewWork, k: int, number: int, layers: Sequence[int]) -> Row:
    sheet, rounding = work.sheet, work.job.rounding
    flag = " !" if work.flags[k] else ""
    return (
        str(number + 1),
        place(work, float(sheet.station[k]), float(sheet.offset[k])),
        f"{sheet.hubs.id[k]}{flag}",
        distance(float(sheet.behind[k]), rounding),
        hub_mark(float(sheet.cut[k]), rounding.curb_m, rounding) or "no mark",
        *(hub_mark(float(sheet.layer_cut[k, j]), rounding.lath_m, rounding) for j in layers),
        fall_words(float(sheet.fall[k])),
        BOX,
    )


def _reach(work: CrewWork, station: Floats) -> str:
    """From where to where a page goes, or the one place that it is about."""
    first, last = (place(work, float(station[k])) for k in (0, -1))
    return first if first == last else f"{first} to {last}"
