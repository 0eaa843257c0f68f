"""Breaks of the design that were not met often enough, and what each is worth.

A plain spacing check passes a street without its crown: the triangles then run flat
from edge to edge. So each required break is asked for by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.checks.references import ENDS_M, Breaks, edges, offset_at, section_height
from pipeline.checks.telling import side_text, stretch_text, volume_text
from pipeline.model import BreakLine, Finding, Findings, Floats, Ints, Linework, Severity
from pipeline.model.arrays import lock_fields
from pipeline.settings import CheckRules
from pipeline.units import Called, format_length, format_station

SLACK = 1.25
"""Rows are not paced to the decimetre: a step this much longer than asked is a step [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Street:
    """What has to be met.

    ``required`` are the breaks, each with those that may stand in for it: lip or
    flow line. ``section`` are all breaks of today's layer from left to right.
    ``bends`` are stretches (from, to) with the closer step.
    """

    required: tuple[tuple[BreakLine, ...], ...]
    section: tuple[BreakLine, ...]
    bends: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Missing:
    """A break that nothing met between two stations.

    ``lost_m3`` is what a flat chord between the nearest shots on either side of
    the break leaves out of today's layer, ``sag_m`` its most; 0 where the layer
    has no crease there, NaN where there is no shot on one of the sides.
    ``low`` is True where the chord runs below the design, as under a crown.
    """

    names: tuple[str, ...]
    side: int
    start: float
    end: float
    lost_m3: float
    sag_m: float
    low: bool
    part: str = ""
    """The part of the design along whose line it is; empty where there is one street."""


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Usable ground shots by station and offset [m], (n,); rows that a line joins, (m, 2)."""

    station: Floats
    offset: Floats
    joined: Ints

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "offset"), (np.float64, (n,))))
        lock_fields(self, {"joined": (np.int64, (None, 2))})


def joined_rows(lines: Linework) -> Ints:
    """Pairs of shots (m, 2) that follow each other on a line through shots."""
    rows = lines.point
    inside = np.ones(max(len(rows) - 1, 0), dtype=bool)
    inside[lines.start[1:-1] - 1] = False
    pairs = np.column_stack([rows[:-1], rows[1:]])[inside]
    return np.asarray(pairs[(pairs >= 0).all(axis=1)], dtype=np.int64)


def missing_breaks(street: Street, shot: Placed, rules: CheckRules) -> tuple[Missing, ...]:
    """Stretches along which a required break was not met, in order of break, then station.

    Parameters
    ----------
    street : Street
    shot : Placed
    rules : CheckRules
        ``break_reach_m``, ``coverage_step_m`` and ``coverage_step_curve_m``.

    Notes
    -----
    A break is met by a shot within reach of it across the street, and all along
    a drawn line both ends of which are. What lies between two places that met it
    is a stretch if it is more than a quarter longer than the step, at an end of the
    street than half the step. The loss is
    that of the design, 0.5 x distance between the shots on either side x sag,
    summed along; from an end of the stretch that met the break it grows over one
    step with the square of the way, as triangles do. Areas are by station and
    offset: 4 % off at 5 m beside a bend of 120 m.
    """
    found: list[Missing] = []
    for choices in street.required:
        met = _met(choices, shot, rules.break_reach_m)
        for span in _designed(choices):
            for start, end, ends_met in _between(met, span, street, rules):
                found.append(_missing(street, shot, choices, (start, end, ends_met), rules))
    return tuple(found)


def _designed(choices: tuple[BreakLine, ...]) -> list[tuple[float, float]]:
    """Stretches (first and last station) along which any of the breaks is designed.

    A mouth in a curb, or another part that comes before this one, parts two.
    """
    stations = np.unique(np.concatenate([line.station for line in choices]))
    there = np.zeros(len(stations), dtype=bool)
    for line in choices:
        there |= ~np.isnan(offset_at(line, stations))
    step = np.flatnonzero(np.diff(there.astype(np.int8), prepend=0, append=0))
    return [
        (float(stations[a]), float(stations[b - 1]))
        for a, b in zip(step[::2], step[1::2], strict=True)
        if b - a > 1
    ]


def _met(choices: tuple[BreakLine, ...], shot: Placed, reach_m: float) -> Floats:
    """Stretches (from, to) along which one of the breaks is met, merged and in order, (m, 2)."""
    stretches: list[Floats] = [np.empty((0, 2))]
    for line in choices:
        near = np.abs(shot.offset - offset_at(line, shot.station)) <= reach_m
        stretches.append(np.repeat(shot.station[near, None], 2, axis=1))
        pairs = shot.joined[near[shot.joined].all(axis=1)] if len(shot.joined) else shot.joined
        if len(pairs):
            stretches.append(np.sort(shot.station[pairs], axis=1))
    every = np.concatenate(stretches)
    low, high = every[np.lexsort((every[:, 1], every[:, 0]))].T
    reached = np.maximum.accumulate(high)
    new = np.flatnonzero(np.concatenate(([True], low[1:] > reached[:-1]))[: len(low)])
    last = np.append(new[1:], len(low)) - 1
    return np.column_stack([low[new], reached[last[: len(new)]]])


def _between(
    met: Floats, span: tuple[float, float], street: Street, rules: CheckRules
) -> list[tuple[float, float, tuple[bool, bool]]]:
    """Stretches between what was met that are longer than the step, and which ends were met."""
    first, last = span
    inner = met[(met[:, 1] >= first - ENDS_M) & (met[:, 0] <= last + ENDS_M)]
    begins, ends = np.append(first, inner[:, 1]), np.append(inner[:, 0], last)
    least = min(rules.coverage_step_m, rules.coverage_step_curve_m) * SLACK / 2.0
    found = []
    for number in np.flatnonzero(ends - begins > least).tolist():
        start, end = float(begins[number]), float(ends[number])
        ends_met = number > 0, number < len(inner)
        longest = SLACK * _step(start, end, street, rules)
        if end - start > (longest if all(ends_met) else longest / 2.0):
            found.append((start, end, ends_met))
    return found


def _step(start: float, end: float, street: Street, rules: CheckRules) -> float:
    """The closer step where the whole stretch lies on a bend."""
    on_bend = any(low <= start and end <= high for low, high in street.bends)
    return rules.coverage_step_curve_m if on_bend else rules.coverage_step_m


def _missing(
    street: Street,
    shot: Placed,
    choices: tuple[BreakLine, ...],
    stretch: tuple[float, float, tuple[bool, bool]],
    rules: CheckRules,
) -> Missing:
    start, end, ends_met = stretch
    step = _step(start, end, street, rules)
    stations = np.linspace(start, end, max(2, int(np.ceil(end - start)) + 1))
    sag, width = _chord(street.section, shot, choices[0], stations, step)
    # from the last row that met the break to the next that did not, triangles run out in width
    # and in sag
    share = np.ones_like(stations)
    if ends_met[0]:
        share = np.minimum(share, (stations - start) / step)
    if ends_met[1]:
        share = np.minimum(share, (end - stations) / step)
    lost = 0.5 * width * sag * share**2
    known = ~np.isnan(lost)
    volume = float(np.trapezoid(np.nan_to_num(lost), stations)) if known.any() else np.nan
    most = float(sag[known][np.argmax(np.abs(sag[known]))]) if known.any() else np.nan
    names = tuple(dict.fromkeys(line.name for line in choices))
    return Missing(names, choices[0].side, start, end, abs(volume), abs(most), most > 0)


def _chord(
    section: Breaks, shot: Placed, line: BreakLine, stations: Floats, step: float
) -> tuple[Floats, Floats]:
    """Design over the chord at the break, and the chord's length, at stations [m]."""
    at_break = offset_at(line, stations)
    left, right = np.full(len(stations), np.nan), np.full(len(stations), np.nan)
    order = np.argsort(shot.station, kind="stable")
    along = shot.station[order]
    for k, (station, offset) in enumerate(zip(stations, at_break, strict=True)):
        window = slice(
            *np.searchsorted(along, [station - step / 2 - 0.5, station + step / 2 + 0.5])
        )
        here = shot.offset[order[window]]
        left[k] = here[here < offset].max(initial=-np.inf)
        right[k] = here[here > offset].min(initial=np.inf)
    there = np.isfinite(left) & np.isfinite(right)
    low, high = edges(section, stations)
    left, right = (np.where(there, np.clip(side, low, high), np.nan) for side in (left, right))
    z_left, z_right, z = (section_height(section, stations, o) for o in (left, right, at_break))
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(right > left, (at_break - left) / (right - left), 0.0)
    sag = z - (z_left + share * (z_right - z_left))
    # beyond its outer edge the layer has no height to lose
    outer = (at_break <= low + 1e-6) | (at_break >= high - 1e-6)
    sag = np.where(outer, np.nan, sag)
    # a break of another layer, at which today's has no crease, loses nothing
    return np.where(np.abs(sag) < 5e-4, 0.0, sag), right - left


def missing_findings(
    missing: tuple[Missing, ...], rules: CheckRules, called: Called = format_station
) -> Findings:
    """One finding a stretch; a note where nothing of today's layer hangs on it."""
    return tuple(_missing_finding(one, rules, called) for one in missing)


def _missing_finding(one: Missing, rules: CheckRules, called: Called) -> Finding:
    what = " or ".join(one.names) + side_text(one.side)
    along = stretch_text(np.array([one.start, one.end]), called)
    text = f"no shot and no line on the {what}, {along}"
    severity: Severity = "person"
    if np.isnan(one.lost_m3):
        what = "how the ground ends there" if one.side else "what that is worth"
        text += f": {what} is not known"
    elif one.lost_m3 == 0.0:
        severity = "note"
        text += ": today's layer is even there, so only rough ground is missed"
    else:
        per = one.lost_m3 / (one.end - one.start) * 10.0
        which = "low" if one.low else "high"
        text += (
            f": the surface runs up to {one.sag_m * 1000.0:.0f} mm too {which},"
            f" {volume_text(one.lost_m3, rules.load_m3)} in all,"
            f" {format_length(per, step=0.1)} m3 per 10 m"
        )
    do = f"shoot it every {rules.coverage_step_m:g} m, on bends {rules.coverage_step_curve_m:g} m"
    return Finding(severity, "break not shot", text, do, station=one.start)
