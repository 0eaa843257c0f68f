"""The boning card: what the middle rod shows at each lath, over dots on both edges."""

from __future__ import annotations

from collections import Counter
from itertools import groupby

import numpy as np

from pipeline.crew.card.table import Heading, Row, list_pages
from pipeline.crew.hubs.references import lath_name
from pipeline.crew.measures import Measures, measures
from pipeline.crew.sights.sightline import Sight
from pipeline.crew.sights.table import delta_words
from pipeline.crew.work import CrewWork, between, place
from pipeline.model.pages import NUMBER_PT, CardPage
from pipeline.units import format_side, round_half_away

_READ_AT = 5  # places on a sight that fit across a page
_STEP_MM = 5.0
_NO_DOT = "no dot: "


def sight_pages(work: CrewWork, body_pt: float) -> list[CardPage]:
    """The boning card: what the middle rod shows at each lath, over dots on both edges."""
    across = [sight for sight in work.sights if sight.way == "across"]
    if not across:
        return []
    names = _sight_names(across)
    rules, unit = work.job.sights, measures(work.job.rounding)
    headings = [
        Heading("lath", NUMBER_PT, bold=True),
        *(Heading(f"{lath_name(what)}\n{side}", NUMBER_PT, bold=True) for what, side in names),
        Heading(f"sd\n{unit.fine_unit}", align="right"),
        Heading("dots today", wrap=True),
    ]
    told = [
        (
            "Two equal rods on the dots at both edges; a third of the same length stands on grade"
            " when its top is so far above (A) or below (B) the sight. NO DOTS: bring the edges to"
            " grade first, then the numbers hold. sightlines.csv has every lath by itself."
        ),
        (
            f"Longest sight {unit.stated(rules.longest_m)}; a dot is on grade within"
            f" {unit.fine(work.job.rounding.on_grade_m)} {unit.fine_unit}; rods"
            f" {unit.stated(rules.rod_m)}."
        ),
        *_extra_dots(work),
    ]
    bar = f"RODS OVER DOTS ON {work.layer.upper()}   {unit.fine_unit}"
    return list_pages(("Boning rods", bar), headings, _runs(work, across, names), told, body_pt)


def _runs(work: CrewWork, across: list[Sight], names: list[tuple[str, str]]) -> list[Row]:
    """A row for all laths in a row at which the rods show the same and dots work, or do not."""
    unit = measures(work.job.rounding)

    def shown(sight: Sight) -> tuple[str, ...]:
        at = {(r.what, format_side(r.offset)): r for r in sight.readings}
        readings = [at.get(name) for name in names]
        worst = max((r.error_m for r in sight.readings), default=float("nan"))
        return (*(_shows(r.delta_m, unit) if r else "" for r in readings), unit.fine(worst))

    rows: list[Row] = []
    for (cells, works), run in groupby(across, lambda one: (shown(one), not one.why_not)):
        sights = list(run)
        first, last = (place(work, sights[k].first.station) for k in (0, -1))
        state = "works" if works else _state(sights)
        rows.append((f"{first}\nto {last}" if len(sights) > 1 else first, *cells, state))
    return rows


def _state(sights: list[Sight]) -> str:
    """Why nobody can sight there today: ``NO DOTS at 12: L high 9, R low 5``."""
    if len(sights) == 1:
        return sights[0].why_not
    why = [part for one in sights for part in one.why_not.split("; ")]
    dots = [part.removeprefix(_NO_DOT) for part in why if part.startswith(_NO_DOT)]
    ends = Counter(end for part in dots for end in part.split(", "))
    said = [f"{end} {count}" for end, count in sorted(ends.items())]
    other = Counter(part for part in why if not part.startswith(_NO_DOT))
    told = [f"NO DOTS at {len(dots)}: {', '.join(said)}"] if dots else []
    return "; ".join([*told, *(f"{part} at {count}" for part, count in other.items())])


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
