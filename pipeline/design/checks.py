"""What a person should see of a design before dirt moves: grades, curves, crossfall, thickness."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import curvature_on, element_of, locate, point_at
from pipeline.design.equations import station_text
from pipeline.design.section import between, filled, span_of
from pipeline.design.thickness import crossed_layers, thin_layers
from pipeline.design.troubles import stations_of, stretches, told
from pipeline.model import SIDE_WORDS, Corridor, Finding, Findings, Floats, Layer
from pipeline.settings_design import DesignLimits, LayerRule
from pipeline.units import FOOT_M

K_FEET_PER_PERCENT = {
    20: (7, 17), 25: (12, 26), 30: (19, 37), 35: (29, 49), 40: (44, 64), 45: (61, 79),
    50: (84, 96), 55: (114, 115), 60: (151, 136), 65: (193, 157), 70: (247, 181),
}  # fmt: skip
"""Speed [mph] -> least K of crests and sags [ft a percent], stopping sight distance.

The design controls of the AASHTO Green Book, from memory; 30 to 70 mph agree with
REF-VC-11, 20 and 25 with the same formulas, S²/2158 and S²/(400 + 3.5 S), for 115 and 155 ft.
"""


def design_findings(
    corridor: Corridor, limits: DesignLimits, rules: Sequence[LayerRule]
) -> Findings:
    """Everything about the streets of a design that is outside its limits.

    Parameters
    ----------
    corridor : Corridor
        The main street and its parts; every part with sections is checked.
    limits : DesignLimits
    rules : sequence of LayerRule
        Least thicknesses.

    Returns
    -------
    Findings
        Grade breaks without a curve, K values below the table, crossfall outside its
        range, flat spots, gutters too flat to drain, layers too thin, layers under one
        that should lie below: in this order, street by street.
    """
    found = street_findings(corridor, limits, rules)
    for part in corridor.parts:
        if part.corridor is not None:
            theirs = street_findings(part.corridor, limits, rules)
            found += [_on_main(corridor, part.corridor, one) for one in theirs]
    return tuple(found)


def street_findings(
    street: Corridor, limits: DesignLimits, rules: Sequence[LayerRule]
) -> list[Finding]:
    """What `design_findings` tells of one street."""
    return [
        *grade_breaks(street, limits),
        *short_curves(street, limits),
        *crossfalls(street, limits),
        *flat_spots(street, limits),
        *gutters(street, limits),
        *thin_layers(street, rules),
        *crossed_layers(street),
    ]


def _on_main(corridor: Corridor, street: Corridor, finding: Finding) -> Finding:
    """A finding of another street with its place on the main one; its text keeps its own."""
    east, north, _ = point_at(street.alignment, finding.station)
    feet = locate(corridor.alignment, np.atleast_1d(east), np.atleast_1d(north))
    return replace(finding, station=float(feet.station[0]), offset=float(feet.offset[0]))


def grade_breaks(street: Corridor, limits: DesignLimits) -> list[Finding]:
    """Changes of grade over the limit without a vertical curve."""
    profile = street.profile
    jump = profile.grade_start[1:] - profile.grade_end[:-1]
    rows = np.flatnonzero(np.abs(jump) > limits.grade_break_pct / 100.0 + 1e-9)
    return [
        told(
            street, "grade break", float(profile.station[i + 1]),
            f"the grade turns by {100 * jump[i]:+.2f} % at once, over"
            f" {limits.grade_break_pct:g} %",
            "ask the designer for a vertical curve",
        )
        for i in rows
    ]  # fmt: skip


def short_curves(street: Corridor, limits: DesignLimits) -> list[Finding]:
    """Vertical curves sharper than the K table of the stated speed."""
    if not limits.speed_mph:
        return []
    profile = street.profile
    turn = profile.grade_end - profile.grade_start
    crest, sag = (k * FOOT_M for k in K_FEET_PER_PERCENT[limits.speed_mph])
    found = []
    for i in np.flatnonzero(np.abs(turn) > 1e-6):
        length = float(profile.station[i + 1] - profile.station[i])
        k = length / (100.0 * abs(float(turn[i])))
        least = sag if turn[i] > 0.0 else crest
        if k < least - 1e-9:
            kind = "sag" if turn[i] > 0.0 else "crest"
            text = (
                f"{kind} curve of {length:.1f} m has K {k:.1f} m/%, at {limits.speed_mph} mph the"
                f" table asks for {least:.1f}"
            )
            do = "ask the designer for a longer curve"
            found.append(told(street, "vertical curve", float(profile.station[i]), text, do))
    return found


def _roadway(street: Corridor, name: str) -> Iterator[tuple[Layer, tuple[int, int], str]]:
    """The strips of the top layer from the crown to the break that ends the roadway.

    Each with its inner and outer column, and in words.
    """
    layer = street.layers[0]
    if layer.surface is not None:
        return
    named = list(zip(layer.breaks, layer.side, strict=True))
    crown = layer.side.index(0)
    for side in (-1, 1):
        if (name, side) not in named:
            continue
        columns = range(crown, named.index((name, side)) + side, side)
        for strip in itertools.pairwise(columns):
            words = " to ".join(layer.breaks[column] for column in strip)
            yield layer, strip, f"{words} {SIDE_WORDS[side]}"


def crossfalls(street: Corridor, limits: DesignLimits) -> list[Finding]:
    """Crossfall of the roadway outside its range, also where it turns through level."""
    least, most = limits.crossfall_least_pct / 100.0, limits.crossfall_most_pct / 100.0
    found = []
    for layer, strip, words in _roadway(street, limits.roadway):
        station, fall = stations_of(street, layer), partial(_crossfall, layer, strip=strip)
        for stretch in (
            *stretches(station, fall, lambda f: np.abs(f) < least - 1e-9),
            *stretches(station, fall, lambda f: np.abs(f) > most + 1e-9, np.argmax),
        ):
            text = (
                f"crossfall from {words} is {100 * stretch.worst:+.2f} % to"
                f" {station_text(street.alignment, stretch.end)}, {stretch.length:.1f} m;"
                f" {limits.crossfall_least_pct:g} to {limits.crossfall_most_pct:g} % is asked"
            )
            do = "ask the designer whether it is meant"
            found.append(told(street, "crossfall", stretch.start, text, do))
    return found


def _crossfall(layer: Layer, station: Floats, strip: tuple[int, int]) -> Floats:
    """Fall outward of one strip [m/m]; NaN where the strip has no width."""
    inner, outer = strip
    span = span_of(layer, station)
    offsets, rises = filled(layer)
    width = np.abs(between(offsets[:, outer], span) - between(offsets[:, inner], span))
    drop = between(rises[:, inner], span) - between(rises[:, outer], span)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(width > 1e-6, drop / width, np.nan))


def flat_spots(street: Corridor, limits: DesignLimits) -> list[Finding]:
    """Places of the roadway whose steepest slope, along and across together, is too little."""
    found = []
    flat = limits.flat_pct / 100.0 - 1e-9
    for layer, strip, words in _roadway(street, limits.roadway):
        slope = partial(resultant, street, layer, strip=strip)
        for stretch in stretches(stations_of(street, layer), slope, lambda v: v < flat):
            text = (
                f"flat from {words} over {stretch.length:.2f} m, to"
                f" {station_text(street.alignment, stretch.end)}; the steepest slope there is"
                f" {100 * stretch.worst:.2f} %"
            )
            do = "ask the designer for grade or crossfall: water stands on it"
            found.append(told(street, "flat spot", stretch.start, text, do))
    return found


def resultant(street: Corridor, layer: Layer, station: Floats, strip: tuple[int, int]) -> Floats:
    """Least over a strip's width of the steepest slope [m/m] at stations.

    Notes
    -----
    Along the street the grade goes evenly from the strip's one edge to the other, across it
    the crossfall is one; the least of the two together is at an edge or where the grade is zero.
    """
    along = [_edge_grade(street, layer, station, column, true=False) for column in strip]
    across = _crossfall(layer, station, strip)
    level = np.sign(along[0]) * np.sign(along[1]) <= 0.0
    least = np.where(level, 0.0, np.minimum(np.abs(along[0]), np.abs(along[1])))
    return np.hypot(least, across)


def _edge_grade(
    street: Corridor, layer: Layer, station: Floats, column: int, *, true: bool
) -> Floats:
    """Grade along a break with station [m/m]; a metre of the break itself where `true`."""
    span = span_of(layer, station)
    row, _ = span
    offsets, rises = filled(layer)
    length = layer.station[row + 1] - layer.station[row]
    with np.errstate(divide="ignore", invalid="ignore"):
        climb = (rises[row + 1, column] - rises[row, column]) / length
    grade = grade_line.grade(street.profile, station) + climb
    if not true:
        return np.asarray(grade)
    line = street.alignment
    k = curvature_on(line, element_of(line, station), station)
    return np.asarray(grade / np.maximum(1.0 - k * between(offsets[:, column], span), 1e-6))


def gutters(street: Corridor, limits: DesignLimits) -> list[Finding]:
    """Gutter lines flatter than the least grade.

    About a high or low point of a vertical curve a gutter is flat for a stretch; that is
    told as a note, with its length.
    """
    layer = street.layers[0]
    if layer.surface is not None or not limits.gutter:
        return []
    found = []
    least = limits.gutter_least_pct / 100.0
    for column, (name, side) in enumerate(zip(layer.breaks, layer.side, strict=True)):
        if name != limits.gutter:
            continue

        def slope(s: Floats, at: int = column) -> Floats:
            here = ~np.isnan(between(layer.offset[:, at], span_of(layer, s)))
            return np.where(here, _edge_grade(street, layer, s, at, true=True), np.nan)

        for stretch in stretches(
            stations_of(street, layer), slope, lambda g: np.abs(g) < least - 1e-9
        ):
            turns = slope(np.array([stretch.start, stretch.end]))
            text = (
                f"{name} {SIDE_WORDS[side]} is flatter than {limits.gutter_least_pct:g} % over"
                f" {stretch.length:.1f} m, to {station_text(street.alignment, stretch.end)}"
            )
            do = "ask the designer: water stands in it"
            finding = told(street, "flat gutter", stretch.start, text, do)
            if turns[0] * turns[1] < 0.0:
                words = "a high or low point: set a basin at a low one"
                finding = Finding("note", finding.kind, finding.text, words,
                                  station=finding.station)  # fmt: skip
            found.append(finding)
    return found
