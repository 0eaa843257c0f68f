"""``buried.csv``: every buried or standing thing in driving order, with its caution."""

from __future__ import annotations

import numpy as np

from pipeline.crew.buried.things import CAUTION, Things, buried, mark, verdict_words
from pipeline.crew.match import ties
from pipeline.crew.measures import METRIC, Measures, measures
from pipeline.crew.work import CrewWork, place
from pipeline.model import Shots, Table, Texts, texts
from pipeline.settings_crew import HazardRules
from pipeline.units import format_length, format_side


def tie_words(found: Things, hubs: Shots, unit: Measures = METRIC) -> Texts:
    """Distances from up to three hubs to each thing, so that it is found again; (n,).

    ``H17 6.32, H18 9.04, H62 8.80``: only distances that cross at 30 degrees or more.
    """
    words = []
    for k in range(len(found)):
        place = float(found.easting[k]), float(found.northing[k])
        rows = ties(place, (hubs.easting, hubs.northing))
        away = np.hypot(hubs.easting[rows] - place[0], hubs.northing[rows] - place[1])
        words.append(
            ", ".join(
                f"{hubs.id[row]} {unit.long(float(d), 0.01)}"
                for row, d in zip(rows, away, strict=True)
            )
        )
    return texts(words)


def table(work: CrewWork) -> Table:
    """Covers and margins in metres, + is below; the class of the worst case; what to do.

    What is said to people, ``do``, ``mark`` and the ties, is in the crew's unit.
    """
    unit = measures(work.job.rounding).unit
    columns = (
        "seq", "street", "id", "kind", "station", "side", "offset_m", "easting_m", "northing_m",
        "top_elevation_m", "known_from", "shot_id", "cover_today_m", "blade_margin_m",
        "rotor_margin_m", "blade_worst_m", "rotor_worst_m", "part_below_rotor_m", "class", "do",
        "mark", f"ties_{unit}", "zone_m", "note", "caution",
    )  # fmt: skip
    deep = buried(work.things, work.job.hazards)
    rows = tuple(_row(work, k, bool(deep[k])) for k in range(len(work.things)))
    numeric = {name for name in columns if name.endswith("_m")} - {"ties_m", "zone_m"}
    return Table("buried", columns, rows, frozenset(columns) - numeric)


def _row(work: CrewWork, k: int, deep: bool) -> tuple[str, ...]:
    things, margin, unit = work.things, work.things.margins, measures(work.job.rounding)
    numbers = (
        things.cover, margin.blade, margin.rotor, margin.blade_worst, margin.rotor_worst,
        things.part_below_rotor,
    )  # fmt: skip
    return (
        str(k + 1),
        things.street[k],
        things.id[k],
        things.kind[k],
        place(work.of(str(things.street[k])), float(things.feet.station[k])),
        format_side(float(things.feet.offset[k])),
        format_length(float(things.feet.offset[k])),
        format_length(float(things.easting[k])),
        format_length(float(things.northing[k])),
        format_length(float(things.top[k])),
        _known_from(things, k),
        things.shot_id[k],
        *(format_length(float(x[k])) for x in numbers),
        things.verdict[k],
        verdict_words(things, k, unit),
        mark(things, k, unit),
        work.ties[k],
        _zone(work.job.hazards),
        "; ".join(x for x in ("buried" if deep else "", things.note[k]) if x),
        CAUTION,
    )


def _known_from(things: Things, k: int) -> str:
    if np.isnan(things.top[k]):
        return "nobody"
    both = "list and shot" if things.listed[k] else "shot"
    return both if things.shot_id[k] else "list"


def _zone(rules: HazardRules) -> str:
    if rules.zone_m is None:
        return "not stated: by the law of the place"
    return format_length(rules.zone_m)
