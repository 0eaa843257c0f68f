"""Pages that are lists: buried things, marks to keep."""

from __future__ import annotations

from pipeline.crew.buried.things import below_words, verdict_words
from pipeline.crew.card.streets import BOX, assumed_words, street_cell, street_heading
from pipeline.crew.card.table import Heading, Row, list_pages
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.hubs.slope import mark as slope_mark
from pipeline.crew.hubs.stale import stale_words
from pipeline.crew.lows import turn_words
from pipeline.crew.measures import Measures, measures
from pipeline.crew.passes import KEEP_LINE, pass_words
from pipeline.crew.work import CrewWork, between, place
from pipeline.model.pages import NUMBER_PT, CardPage


def buried_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """Buried and standing things in driving order."""
    things, rules, unit = work.things, work.job.hazards, measures(work.job.rounding)
    rows = [
        (
            thing_place(work, k),
            f"{things.id[k]} {things.kind[k]}",
            *(
                below_words(float(x[k]), unit)
                for x in (things.cover, things.margins.blade, things.margins.rotor)
            ),
            verdict_words(things, k, unit),
        )
        for k in range(len(things))
    ]
    headings = [
        Heading("place", bold=True),
        Heading("thing", wrap=True),
        Heading(f"cover\n{unit.small_unit}", align="right"),
        Heading("under\nblade", align="right"),
        Heading("under\nrotor", align="right"),
        Heading("treat as", wrap=True, bold=True),
    ]
    told = [
        f"Tolerance zone {_zone_words(rules.zone_m, unit)}.",
        (
            f"Blade leaves {work.layer}; rotor {unit.small(rules.mixing_depth_m)} +"
            f" {unit.small(rules.overcut_m)} {unit.small_unit} under it. Unknown is treated as"
            " a hit."
            + assumed_words(
                work.job, {"hazards.mixing_depth_m": "depth", "hazards.overcut_m": "overcut"}
            )
        ),
        *(
            f"TIES {things.id[k]}, {unit.unit}: {work.ties[k]}"
            for k in range(len(things))
            if work.ties[k]
        ),
    ]
    bar = f"BURIED AND STANDING, BELOW {work.layer.upper()}   {unit.small_unit}, - is above"
    return list_pages(("Buried things", bar), headings, rows, told, body_pt)


def _zone_words(zone_m: float | None, unit: Measures) -> str:
    if zone_m is None:
        return "not stated in the job: ask what the law of the place says"
    return f"{unit.long(zone_m, 0.01)} {unit.unit} each side, as the job states it"


def thing_place(work: CrewWork, k: int) -> str:
    """Where a thing of the whole list is; its street is named where it is not the main one."""
    things = work.things
    street = work.of(str(things.street[k]))
    at = place(street, float(things.feet.station[k]), float(things.feet.offset[k]))
    return at if street is work else f"{street.corridor.name} {at}"


def keep_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """High and low points, passes, marks to rewrite, slope stakes: one list to walk with."""
    rows = [(*street_cell(work, one), *row, BOX) for one in work.streets for row in _keep_rows(one)]
    headings = [
        *street_heading(work),
        Heading("do"),
        Heading("place", bold=True),
        Heading("what", wrap=True),
        Heading("say", wrap=True, bold=True),
        Heading("done", NUMBER_PT, align="centre"),
    ]
    bar = f"MARKS TO KEEP AND REWRITE ON {work.layer.upper()}"
    return list_pages(("Marks", bar), headings, rows, _legend(work), body_pt)


def _keep_rows(work: CrewWork) -> list[Row]:
    """What to do, where, to what, and what is said there, along one street."""
    unit, slopes = measures(work.job.rounding), work.slopes
    rows: list[Row] = [
        ("KEEP", place(work, t.station, t.offset), f"{t.mark} of {t.what}", turn_words(t, unit))
        for t in work.turns
    ]
    rows += [
        ("PASSES", between(work, p.start, p.end, p.side),
         pass_words(p, work.job.target.pass_m, unit), KEEP_LINE)
        for p in work.passes
    ]  # fmt: skip
    rows += [
        ("REWRITE", place(work, m.station, m.offset), lath_name(m.what), stale_words(m, unit))
        for m in work.stale
    ]
    rows += [
        ("SLOPE", place(work, float(slopes.station[k]), float(slopes.side[k])),
         work.job.slope.hinge, " ".join(slope_mark(slopes, k, work.job.rounding)))
        for k in range(len(slopes))
    ]  # fmt: skip
    return rows


def _legend(work: CrewWork) -> list[str]:
    """Every short word of the pages, written out."""
    names = {name for layer in work.corridor.layers for name in layer.breaks}
    short = sorted((lath_name(name), name) for name in names if lath_name(name) != name.upper())
    said = [
        (
            "C cut, down to the layer; F fill, up to it; GRADE within tolerance; HP high point;"
            " LP low point; UP, DN slope to the next lath; OFF take off the edge; ! see the note."
        )
    ]
    if work.job.rounding.marks_unit == "ft":
        said.append("Stations are the design's own, in metres; all else on these pages is in feet.")
    return [*said, "; ".join(f"{word} {name}" for word, name in short)] if short else said
