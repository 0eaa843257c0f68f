"""The day's map: what is on it, as the drawing file and the pictures both show it."""

from __future__ import annotations

from dataclasses import fields, replace

from pipeline.compare import map as difference_map
from pipeline.crew.buried.listed import NOTHING, with_shots
from pipeline.crew.measures import measures
from pipeline.crew.page import charts
from pipeline.crew.plan.drawing import drawing
from pipeline.crew.plan.frame import PlanWords
from pipeline.crew.plan.haul import ON_HAUL
from pipeline.crew.plan.inputs import PlanInputs, contour_levels
from pipeline.crew.plan.plain import plain_drawing
from pipeline.judging import things_off
from pipeline.kept.calls import keep
from pipeline.model import Bools, Drawing, Picture, Utilities
from pipeline.model.charts import Chart
from pipeline.run import Day, shading


def listed_rows(day: Day) -> Bools:
    """Shots that are listed one by one: all that people took, and every one that is not used.

    The points of a scan that went into the surface are in ``ground.xml``.
    """
    morning = day.morning
    return morning.placed.by_hand | ~morning.rows("in the surface")


def haul_drawing(day: Day, words: PlanWords) -> Drawing:
    """The map with the haul plan alone, near zero."""
    whole = plan_drawing(day, words, local_shift=True)
    kept = whole.picture
    return replace(
        whole,
        picture=Picture(
            fills=tuple(one for one in kept.fills if one.layer in ON_HAUL),
            lines=tuple(one for one in kept.lines if one.layer in ON_HAUL),
            words=tuple(one for one in kept.words if one.layer in ON_HAUL),
            marks=tuple(one for one in kept.marks if one.layer in ON_HAUL),
        ),
    )


def plan_drawing(day: Day, words: PlanWords, *, local_shift: bool, haul: bool = True) -> Drawing:
    """The day's map and its sheets; `local_shift` writes it near zero, `haul` with its arrows."""
    inputs = _inputs(day, words, local_shift=local_shift)
    return drawing(inputs if haul else replace(inputs, haul=()))


def plan_drawings(day: Day, words: PlanWords) -> tuple[Drawing, Drawing | None]:
    """The day's map, and the one for poor readers where the job asks for it."""
    sheet = day.morning.inputs.job.sheet
    inputs = _inputs(day, words, local_shift=sheet.local_shift)
    drawn = keep(drawing, inputs)
    return drawn, plain_drawing(drawn, inputs) if sheet.plain_map else None


def _inputs(day: Day, words: PlanWords, *, local_shift: bool) -> PlanInputs:
    morning = day.morning
    job, sheet = morning.inputs.job, morning.inputs.job.sheet
    shaded = shading(day)
    # a shot kilometres away would shrink the street to a dot; it is in the lists
    on_map = listed_rows(day) & ~morning.rows("off the job")
    return PlanInputs(
        corridor=morning.corridor,
        layer=job.target.layer,
        shots=morning.shots.take(on_map),
        used=morning.used[on_map],
        cut=day.at_shots.cut[on_map],
        bands=shaded.bands,
        contours=difference_map.contours(day.drawn, contour_levels(sheet.bands_m)),
        not_surveyed=shaded.unshot,
        stakes=day.stakes,
        dots=day.dots,
        utilities=_on_map(day),
        sheet=sheet,
        rounding=job.rounding,
        words=words,
        local_shift=local_shift,
        haul=() if day.earth is None else day.earth.haul.arrows,
        profiles=_profiles(day),
        sections=charts.section_charts(
            morning.corridor, job.target.layer, day.ground, job.stakes, measures(job.rounding)
        ),
    )


def _profiles(day: Day) -> tuple[Chart, ...]:
    """Left edge, line and right edge, as they lie on the plan."""
    morning = day.morning
    target, used = morning.inputs.job.target.layer, morning.rows("in the surface")
    shots = morning.shots, morning.feet, used
    along = charts.profile_chart(morning.corridor, target, day.ground, shots)
    edges = charts.edge_charts(morning.corridor, target, day.ground)
    return (*edges[:1], along, *edges[1:])


def _on_map(day: Day) -> Utilities:
    """Things on record and as shot, less those far off the street, which the findings name."""
    morning, listed = day.morning, day.morning.inputs.utilities
    if listed is None:
        listed = NOTHING
    elif len(listed):
        near = ~things_off(morning.inputs, morning.corridor)
        columns = {one.name: getattr(listed, one.name)[near] for one in fields(listed)}
        listed = replace(listed, **columns)
    return with_shots(listed, morning.things, morning.inputs.job.hazards)
