"""``sightlines.csv``: what a rod shows at every place on every sight, in words and numbers."""

from __future__ import annotations

from pipeline.crew.hubs.references import lath_name
from pipeline.crew.sights.sightline import Reading, Sight
from pipeline.crew.words import LATH_FT
from pipeline.design.equations import station_text
from pipeline.model import Corridor, Table
from pipeline.settings import Rounding
from pipeline.settings_crew import SightRules
from pipeline.units import FOOT_M, format_length, format_side, round_half_away


def rod_words(reading: Reading, rules: SightRules, rounding: Rounding) -> str:
    """Where the sight strikes a graduated rod that stands on grade, from its foot: ``1.120``."""
    return format_length(
        float(round_half_away(rules.rod_m - reading.delta_m, rounding.lath_m)), step=rounding.lath_m
    )


def delta_words(delta: float, rounding: Rounding) -> str:
    """``80 ABOVE`` or ``15 BELOW`` the sight in mm, or in feet; ``ON SIGHT`` within half a step."""
    if rounding.marks_unit == "ft":
        feet = float(round_half_away(delta / FOOT_M, LATH_FT))
        if feet == 0:
            return "ON SIGHT"
        return f"{abs(feet):.2f} {'ABOVE' if feet > 0 else 'BELOW'}"
    millimetres = float(round_half_away(delta, rounding.lath_m)) * 1000.0
    if millimetres == 0:
        return "ON SIGHT"
    return f"{abs(millimetres):.0f} {'ABOVE' if millimetres > 0 else 'BELOW'}"


def table(
    corridor: Corridor, found: tuple[Sight, ...], rules: SightRules, rounding: Rounding
) -> Table:
    """``sightlines.csv``: a row a reading, with the street and the sight that it belongs to."""
    line_of = corridor.alignment
    columns = (
        "street", "way", "station_first", "station_second", "side_first", "side_second", "length_m",
        "works", "at", "station", "side", "offset_m", "above_sight_m", "rod_reading_m", "shows",
        "sigma_m", "extra_dot", "note",
    )  # fmt: skip
    rows = [
        (
            corridor.name,
            sight.way,
            station_text(line_of, sight.first.station),
            station_text(line_of, sight.second.station),
            format_side(sight.first.offset),
            format_side(sight.second.offset),
            format_length(sight.length_m, step=0.01),
            "no" if sight.why_not else "yes",
            lath_name(reading.what),
            station_text(line_of, reading.station),
            format_side(reading.offset),
            format_length(reading.offset),
            format_length(reading.delta_m, step=0.0001),
            rod_words(reading, rules, rounding),
            delta_words(reading.delta_m, rounding),
            format_length(reading.error_m, step=0.0001),
            "yes" if reading.extra else "",
            sight.why_not,
        )
        for sight in found
        for reading in sight.readings
    ]
    text = frozenset(columns) - {
        "length_m", "offset_m", "above_sight_m", "rod_reading_m", "sigma_m",
    }  # fmt: skip
    return Table("sightlines", columns, tuple(rows), text)
