"""Pages of the earthworks: how high to leave the clay, volumes by stretch, where the dirt goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.crew.card.table import Heading, Row, list_pages
from pipeline.crew.earth import Earthworks, LayerVolumes, LotSheet, Pregrade, lot_tables
from pipeline.crew.earth_charts import cost_chart, mass_chart
from pipeline.crew.haul import moves as haul
from pipeline.crew.measures import Measures, measures
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.remaining_sheet import low_words, truck_words
from pipeline.crew.pregrade.sheet import a_centimetre, half_steps
from pipeline.crew.volume_sheet import either_way
from pipeline.design.equations import named
from pipeline.model import Alignment
from pipeline.model.curves import CurveChart
from pipeline.model.pages import FIGURE_PT, NUMBER_PT, CardPage
from pipeline.settings import Job
from pipeline.units import ground_mark

DECIDES = "A recommendation with a range; the crew decides."


def earth_pages(
    found: Earthworks, job: Job, line: Alignment, said: tuple[str, ...], body_pt: float
) -> list[CardPage]:
    """All pages of the earthworks, in the order: heights, volumes, haul.

    Parameters
    ----------
    found : Earthworks
    job : Job
    line : Alignment
        That names the stations.
    said : tuple of str
        What is said of the volumes of today's layer.
    body_pt : float
        Height of a page between head and foot.
    """
    pages: list[CardPage] = []
    unit = measures(job.rounding)
    if found.pregrade is not None:
        pages += _summary(found.pregrade, job, line, body_pt)
        several = len(found.pregrade.lots) > 1
        for lot in found.pregrade.lots:
            pages += _lot_pages(lot, line, unit, body_pt, f": {lot.name}" if several else "")
    return [
        *pages,
        *_volume_pages(found.target, line, said, unit, body_pt),
        *_haul_pages(found, line, unit, body_pt),
    ]


def _summary(found: Pregrade, job: Job, line: Alignment, body_pt: float) -> list[CardPage]:
    """One row a lot: what to leave it at, in type that is read from a cab."""
    unit = measures(job.rounding)
    rows = [
        (
            f"{lot.name}\n{named(line, lot.start)}-{named(line, lot.end)}",
            *_target_words(lot.decision, unit),
        )
        for lot in found.lots
    ]
    headings = [
        Heading("lot", wrap=True),
        Heading(f"leave clay\n{unit.small_unit}", NUMBER_PT, bold=True),
        Heading(f"8 of 10\ncases {unit.small_unit}", NUMBER_PT),
        Heading(f"{a_centimetre(unit)} wrong\ncosts", wrap=True),
    ]
    told = [DECIDES, truck_words(job.hauling, job.bulking, unit), *found.honesty]
    bar = f"LEAVE THE CLAY BELOW {job.stabilising.layer.upper()} BY   {unit.small_unit}"
    return list_pages(("How high to leave the clay", bar), headings, rows, told, body_pt)


def _target_words(found: Decision | None, unit: Measures) -> tuple[str, str, str]:
    """How far low or high, its range, and what a centimetre wrong costs."""
    if found is None:
        return "NOT KNOWN", "", "shoot it first"
    low, high = (half_steps(v, unit) for v in found.range_m)
    wrong = f"{found.wrong_loads.count} loads out or {found.wrong_tonnes:.0f} t gravel in"
    if found.lowering is None:
        return "NO COSTS", f"{low} to {high}", wrong
    amount = low_words(abs(found.lowering), unit)
    way = "LOW" if found.lowering > 0 else "HIGH" if found.lowering < 0 else ""
    return f"{amount} {way}".rstrip(), f"{low} to {high}", wrong


def _lot_pages(
    lot: LotSheet, line: Alignment, unit: Measures, body_pt: float, of: str
) -> list[CardPage]:
    """A lot's sheet: curve and words, what is left to do, what moves it, what it rests on."""
    bar = lot.words[0].upper() if len(lot.words[0]) < 60 else f"LOT {lot.name.upper()}"
    chart = None if lot.decision is None else cost_chart(lot.decision, unit)
    room = body_pt - (FIGURE_PT if chart else 0.0)
    pages = with_figure(_told_pages((f"Decision{of}", bar), lot.words, room), chart)
    tables = {table.name: table for table in lot_tables(lot, line, unit)}
    for name, title, headings, told in _lot_tables(unit):
        if name in tables and tables[name].rows:
            words = (f"{title}{of}", title.upper())
            rows = [tuple(row[k] for k in _KEPT[name]) for row in tables[name].rows]
            pages += list_pages(words, headings, rows, told, body_pt)
    return pages


_KEPT = {
    "pregrade_remaining": (0, 1, 3, 4, 6, 7, 8),
    "pregrade_tornado": (0, 1, 2, 3),
    "pregrade_inputs": (0, 1, 2, 3),
}


def _lot_tables(unit: Measures) -> tuple[tuple[str, str, list[Heading], list[str]], ...]:
    small, fine = unit.small_unit, unit.fine_unit
    return (
    (
        "pregrade_remaining", "Clay before mixing",
        [
            Heading("from", bold=True), Heading("to"), Heading(f"now low\n{small}", align="right"),
            Heading(f"do\n{small}", NUMBER_PT, bold=True, align="centre", fill=True),
            Heading("loads\nnow", align="right", fill=True),
            Heading(f"if nothing\nis done {unit.volume_unit}", align="right", fill=True),
            Heading("loads\nthen", align="right", fill=True),
        ],
        [
            (
                "C take off, F put on, before mixing; - stands above the plane now. OUT hauled off,"
                " IN brought in: clay before mixing, after it gravel."
            ),
        ],
    ),
    (
        "pregrade_tornado", "What each input moves",
        [
            Heading("input", wrap=True, bold=True), Heading("off by"),
            Heading(f"lower\n{fine}", align="right"), Heading(f"higher\n{fine}", align="right"),
        ],
        ["Rise of the layer with one input off by its standard error, the others as they are."],
    ),
    (
        "pregrade_inputs", "What it rests on",
        [
            Heading("input", wrap=True, bold=True), Heading("value", align="right"),
            Heading("unit"), Heading("evidence", wrap=True),
        ],
        [
            (
                "Values as the job file takes them, in its units. job: stated there; assumed:"
                " nobody stated it and no source says it."
            ),
        ],
    ),
    )  # fmt: skip


def _volume_pages(
    found: LayerVolumes, line: Alignment, said: tuple[str, ...], unit: Measures, body_pt: float
) -> list[CardPage]:
    """Today's layer by stretch, with what holds each number in 95 of 100 cases."""
    stretches, errors = found.stretches, found.errors
    rows = []
    for k in range(len(stretches)):
        cut, fill, _ = either_way(errors, k, unit)
        ends = [
            named(line, at) if np.isfinite(at) else word
            for at, word in ((stretches.start[k], "before"), (stretches.end[k], "after"))
        ]
        rows.append(
            (
                *ends,
                _give_or_take(unit.volume(stretches.cut_m3[k]), cut),
                _give_or_take(unit.volume(stretches.fill_m3[k]), fill),
                _mean(float(stretches.mean_cut_m[k]), unit),
                unit.area(stretches.uncovered_area_m2[k]),
            )
        )
    headings = [
        Heading("from", bold=True),
        Heading("to"),
        Heading(f"cut {unit.volume_unit}", align="right", fill=True),
        Heading(f"fill {unit.volume_unit}", align="right", fill=True),
        Heading(f"mean\n{unit.small_unit}", NUMBER_PT, bold=True, align="centre", fill=True),
        Heading(f"not shot\n{unit.area_unit}", align="right"),
    ]
    bar = f"CUT AND FILL TO {found.quantity.layer.upper()}   {unit.volume_unit}"
    return [
        *list_pages(("Volumes by stretch", bar), headings, rows, said[:2], body_pt),
        *_told_pages(("Volumes: how sure", bar), said, body_pt),
    ]


def _told_pages(words: tuple[str, str], said: tuple[str, ...], body_pt: float) -> list[CardPage]:
    """Sentences as a list, so that none is left out for want of room."""
    rows: list[Row] = [(text,) for text in said]
    return list_pages(words, [Heading("what to know", wrap=True)], rows, [], body_pt)


def _mean(cut_m: float, unit: Measures) -> str:
    """Whole centimetres as on dirt, or hundredths of a foot: a mean is not painted."""
    if unit.unit == "m":
        return ground_mark(cut_m)
    return unit.mark(cut_m).replace("ON GRADE", "GRADE")


def _give_or_take(volume: str, either: str) -> str:
    return f"{volume} +- {either}" if either else volume


def _haul_pages(
    found: Earthworks, line: Alignment, unit: Measures, body_pt: float
) -> list[CardPage]:
    """From where to where, by blade or truck, and the mass diagram."""
    plan = found.haul
    moved = () if plan.moves is None else haul.table(plan.moves, line, unit).rows
    # what stays in its stretch is nobody's trip; the words say how much it is
    rows = [row for row in moved if row[2] != "within"]
    headings = [
        Heading("from", bold=True),
        Heading("to", bold=True, fill=True),
        Heading("by", fill=True),
        Heading(f"{unit.volume_unit}\nbank", NUMBER_PT, bold=True, align="right"),
        Heading(f"far\n{unit.unit}", align="right"),
    ]
    chart = None if plan.diagram is None else mass_chart(plan.diagram, line, unit)
    bar = f"WHERE TO PUSH THE DIRT OF {found.target.quantity.layer.upper()}"
    room = body_pt - (FIGURE_PT if chart else 0.0)
    return [
        *with_figure(_told_pages(("Haul plan", bar), plan.words, room), chart),
        *list_pages(("Haul plan: moves", bar), headings, rows, [], body_pt),
    ]


def with_figure(pages: list[CardPage], chart: CurveChart | None) -> list[CardPage]:
    """The pages, the first with a figure above its list."""
    if not pages or chart is None:
        return pages
    return [replace(pages[0], figure=chart), *pages[1:]]
