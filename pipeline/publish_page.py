"""The foreman's page of a day, put together from its results."""

from __future__ import annotations

from dataclasses import replace

from pipeline.compare import compose
from pipeline.compare import map as difference_map
from pipeline.crew.page import lists as daypage
from pipeline.crew.page import whereami
from pipeline.crew.page.earth_lists import earth_lists
from pipeline.crew.plan.frame import PlanWords
from pipeline.deliver import page
from pipeline.earthworks import earthworks_words
from pipeline.kept.calls import keep
from pipeline.model import Corridor, Layer, Table
from pipeline.publish_crew import buried_things
from pipeline.run import Day, shading
from pipeline.settings import DesignRules


def page_files(
    day: Day,
    words: PlanWords,
    *,
    changes: tuple[str, ...] = (),
    changes_tables: tuple[Table, ...] = (),
) -> dict[str, bytes]:
    """``day.html``.

    Parameters
    ----------
    day : Day
    words : PlanWords
        What the drawing's title block says; the page says the same.
    changes, changes_tables
        What moved since the day before, final text.
    """
    inputs = page_inputs(day, words, changes, changes_tables)
    return {"day.html": keep(page.page_bytes, keep(daypage.day_page, inputs))}


def page_inputs(
    day: Day,
    words: PlanWords,
    changes: tuple[str, ...] = (),
    changes_tables: tuple[Table, ...] = (),
) -> daypage.PageInputs:
    """The parts of a day that its page shows."""
    morning = day.morning
    job, alignment = morning.inputs.job, morning.corridor.alignment
    bands_m = job.sheet.bands_m
    shaded = shading(day)
    return daypage.PageInputs(
        corridor=_in_triangles(morning.corridor, job.design),
        layer=job.target.layer,
        ground=day.ground,
        bands=shaded.bands,
        bands_m=bands_m,
        zero=keep(difference_map.zero_line, day.drawn),
        gaps=shaded.unshot,
        shots=morning.shots,
        used=morning.used,
        fate=morning.fate,
        dots=day.dots,
        stakes=day.stakes,
        things=buried_things(day) if day.work is None else day.work.things,
        quantities=day.quantities,
        findings=day.findings,
        rounding=job.rounding,
        words=words,
        position=whereami.fit(job.grid.crs, alignment.easting, alignment.northing),
        changes=changes,
        changes_tables=changes_tables,
        withheld=day.withheld,
        lists=()
        if day.earth is None
        else earth_lists(day.earth, alignment, earthworks_words(day.earth, day), words.unit),
    )


def _in_triangles(corridor: Corridor, rules: DesignRules) -> Corridor:
    """A design of several parts with each layer as one surface of all of them, for the page.

    Its script knows one line and its sections; a surface it can ask anywhere.
    """
    if not corridor.parts:
        return corridor
    layers = tuple(
        Layer(
            layer.name,
            layer.title,
            surface=keep(compose.layer_surface, corridor, layer.name, rules).surface,
        )
        for layer in corridor.layers
    )
    return replace(corridor, layers=layers)
