"""The pictures of a day: plan, profile and cross-sections as PNG and SVG."""

from __future__ import annotations

import numpy as np

from pipeline.compare import map as difference_map
from pipeline.crew import charts, plan
from pipeline.deliver import pictures as drawn
from pipeline.model import Drawing
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
        **drawn.plan_picture(plan_drawing(day, words), job.sheet.scale),
        **drawn.profile_picture(profile),
        **drawn.section_pictures(sections),
    }


def plan_drawing(day: Day, words: plan.PlanWords) -> Drawing:
    """The day's map near zero, as the drawing file has it."""
    morning = day.morning
    job, sheet = morning.inputs.job, morning.inputs.job.sheet
    # a shot kilometres away would shrink the street to a dot; it is in the lists
    on_map = np.asarray(~morning.rows("off the job"), dtype=bool)
    return plan.drawing(
        plan.PlanInputs(
            corridor=morning.corridor,
            layer=job.target.layer,
            shots=morning.shots.take(on_map),
            used=morning.used[on_map],
            cut=day.at_shots.cut[on_map],
            bands=difference_map.bands(day.difference, plan.band_limits(sheet.bands_m)),
            contours=difference_map.contours(day.difference, plan.contour_levels(sheet.bands_m)),
            not_surveyed=difference_map.not_surveyed(day.ground, day.design),
            stakes=day.stakes,
            dots=day.dots,
            utilities=morning.inputs.utilities,
            sheet=sheet,
            rounding=job.rounding,
            words=words,
            local_shift=True,
        )
    )
