"""The pictures of a day: plan, profile and cross-sections as PNG and SVG."""

from __future__ import annotations

from pipeline.crew import earth_charts
from pipeline.crew.measures import measures
from pipeline.crew.page import charts
from pipeline.crew.plan.frame import PlanWords
from pipeline.deliver import pictures as drawn
from pipeline.deliver.pictures_earth import bars_picture, curve_picture
from pipeline.planning import haul_drawing, plan_drawing
from pipeline.run import Day


def pictures(day: Day, words: PlanWords) -> dict[str, bytes]:
    """Every picture by its file name; none where the day's lists are withheld.

    Parameters
    ----------
    day : Day
    words : PlanWords
        What the title block says.

    Raises
    ------
    OutputError
        matplotlib is not installed.
    """
    morning = day.morning
    job = morning.inputs.job
    if day.withheld:
        return {}
    used = morning.rows("in the surface")
    profile = charts.profile_chart(
        morning.corridor, job.target.layer, day.ground, (morning.shots, morning.feet, used)
    )
    sections = charts.section_charts(
        morning.corridor, job.target.layer, day.ground, job.stakes, measures(job.rounding)
    )
    return {
        **drawn.plan_picture(
            plan_drawing(day, words, local_shift=True, haul=False), job.sheet.scale
        ),
        **drawn.profile_picture(profile),
        **drawn.section_pictures(sections),
        **_earth_pictures(day, words),
    }


def _earth_pictures(day: Day, words: PlanWords) -> dict[str, bytes]:
    """Cost curve and tornado of each lot, mass diagram, haul plan; what there is of them."""
    found, job = day.earth, day.morning.inputs.job
    if found is None:
        return {}
    files: dict[str, bytes] = {}
    unit = measures(job.rounding)
    lots = () if found.pregrade is None else found.pregrade.lots
    for number, lot in enumerate(lots, start=1):
        if lot.decision is None:
            continue
        of = f"-{number}" if len(lots) > 1 else ""
        chart = earth_charts.cost_chart(lot.decision, unit)
        if chart is not None:
            files |= curve_picture(chart, f"cost{of}")
        files |= bars_picture(earth_charts.tornado_chart(lot.decision, unit), f"tornado{of}")
    if found.haul.diagram is not None:
        line = day.morning.corridor.alignment
        mass = earth_charts.mass_chart(found.haul.diagram, line, unit)
        files |= {} if mass is None else curve_picture(mass, "mass-haul")
    if found.haul.arrows:
        files |= drawn.plan_picture(haul_drawing(day, words), job.sheet.scale, "haul")
    return files
