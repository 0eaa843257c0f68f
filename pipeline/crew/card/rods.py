"""The boning card: what the middle rod shows at each lath, over dots on both edges."""

from __future__ import annotations

import numpy as np

from pipeline.crew.card.strip_map import between, place
from pipeline.crew.card.table import Heading, list_pages
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.measures import Measures, measures
from pipeline.crew.sightline import Sight, delta_words
from pipeline.crew.work import CrewWork
from pipeline.model.pages import NUMBER_PT, CardPage
from pipeline.units import format_side, round_half_away

_READ_AT = 5  # places on a sight that fit across a page
_STEP_MM = 5.0


def sight_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The boning card: what the middle rod shows at each lath, over dots on both edges."""
    across = [sight for sight in work.sights if sight.way == "across"]
    if not across:
        return []
    names = _sight_names(across)
    rules, unit = work.job.sights, measures(work.job.rounding)
    rows = []
    for sight in across:
        at = {(r.what, format_side(r.offset)): r for r in sight.readings}
        readings = [at.get(name) for name in names]
        worst = max((r.error_m for r in sight.readings), default=float("nan"))
        rows.append(
            (
                place(work, sight.first.station),
                *(_shows(r.delta_m, unit) if r else "" for r in readings),
                unit.fine(worst),
                sight.why_not or "works",
            )
        )
    headings = [
        Heading("lath", NUMBER_PT, bold=True),
        *(Heading(f"{lath_name(what)}\n{side}", NUMBER_PT, bold=True) for what, side in names),
        Heading(f"sd\n{unit.fine_unit}", align="right"),
        Heading("dots", wrap=True),
    ]
    told = [
        (
            "Two equal rods on the dots at both edges; a third of the same length stands on grade"
            " when its top is so far above (A) or below (B) the sight."
        ),
        (
            f"Longest sight {unit.stated(rules.longest_m)}; a dot is on grade within"
            f" {unit.fine(work.job.rounding.on_grade_m)} {unit.fine_unit}; rods"
            f" {unit.stated(rules.rod_m)}."
        ),
        *_extra_dots(work),
    ]
    bar = f"RODS OVER DOTS ON {work.layer.upper()}   {unit.fine_unit}"
    return list_pages(("Boning rods", bar), headings, rows, told, body_pt)


def _sight_names(across: list[Sight]) -> list[tuple[str, str]]:
    """Places with a column: crown first, then those with most readings, in order across."""
    counts: dict[tuple[str, str], list[float]] = {}
    for sight in across:
        for r in sight.readings:
            counts.setdefault((r.what, format_side(r.offset)), []).append(r.offset)
    liked = {"crown": 0, "quarter": 1, "lip": 2}
    best = sorted(counts, key=lambda key: (liked.get(key[0], 3), -len(counts[key]), key))
    return sorted(best[:_READ_AT], key=lambda key: float(np.mean(counts[key])))


def _shows(delta: float, unit: Measures) -> str:
    if unit.unit == "ft":
        feet = unit.fine(abs(delta))
        return "0" if float(feet) == 0 else f"{feet} {'A' if delta > 0 else 'B'}"
    millimetres = float(round_half_away(delta * 1000.0, _STEP_MM))
    return "0" if millimetres == 0 else f"{abs(millimetres):.0f} {'A' if delta > 0 else 'B'}"


def _extra_dots(work: CrewWork) -> list[str]:
    said = []
    for sight in work.sights:
        worst = max(
            (r for r in sight.readings if r.extra), default=None, key=lambda r: abs(r.delta_m)
        )
        if sight.way == "along" and worst is not None:
            side = -1 if sight.first.offset < 0 else 1
            said.append(
                f"EXTRA DOT {place(work, worst.station, worst.offset)}: between"
                f" {between(work, sight.first.station, sight.second.station, side)} the design is"
                f" {delta_words(worst.delta_m, work.job.rounding)} the sight"
            )
    return said
