"""The pictures of a day: plan, profile and cross-sections as PNG and SVG."""

from __future__ import annotations

from pipeline.crew.page import charts
from pipeline.crew.plan import drawing as plan
from pipeline.deliver import pictures as drawn
from pipeline.planning import plan_drawing
from pipeline.run import Day


def pictures(day: Day, words: plan.PlanWords) -> dict[str, bytes]:
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
    if day.held and job.target.withhold:
        return {}
    used = morning.rows("in the surface")
    profile = charts.profile_chart(
        morning.corridor, job.target.layer, day.ground, (morning.shots, morning.feet, used)
    )
    sections = charts.section_charts(morning.corridor, job.target.layer, day.ground, job.stakes)
    return {
        **drawn.plan_picture(plan_drawing(day, words, local_shift=True), job.sheet.scale),
        **drawn.profile_picture(profile),
        **drawn.section_pictures(sections),
    }
