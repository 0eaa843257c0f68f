"""The whole ground against today's layer: off throughout, off along, or tilted.

A slip in the design, its stationing, its datum or today's layer moves no shot against
its neighbours, so nothing else sees it. What tells it is that all of the street is off
in one way: by a constant, by a shift along the line, or by a slope across it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.checks.bust import median_and_error
from pipeline.checks.constants import HARD_SD_M
from pipeline.checks.references import Breaks, section_height
from pipeline.checks.telling import millimetres
from pipeline.model import Feet, Finding, Findings, Floats, Ints
from pipeline.model.spread import robust_spread
from pipeline.model.telling import counted
from pipeline.settings import CheckRules
from pipeline.units import format_length

FEWEST = 40
"""From fewer shots nothing is concluded on a whole street [assumed]."""
MOST = 2000
"""More shots than this show a whole street no better."""
REACH_M, STEP_M = 60.0, 1.0
"""How far along the design is moved, and in which steps."""
LEAST_ALONG_M = 3.0
"""A smaller shift is not told: a profile of 5 % rises 15 cm on it [assumed]."""
SHARE = 0.4
"""What is left of the spread, at most, for a shift or a slope to be the reason [assumed]."""
LOOSE_M = 0.04
"""A spread below this is that of graded ground, and needs no reason [assumed]."""
MIRRORED = 0.5
"""How near to twice the design's own fall a slope is taken for its sign, as a share [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Shots of the ground that are used: where each lies, and its height [m]."""

    station: Floats
    offset: Floats
    elevation: Floats


def some_ground(feet: Feet, elevation: Floats, rows: Ints) -> Ground:
    """The shots of these rows, or an even choice of them where they are very many."""
    chosen = rows[np.linspace(0, len(rows) - 1, min(len(rows), MOST)).astype(np.int64)]
    return Ground(feet.station[chosen], feet.offset[chosen], elevation[chosen])


def whole_findings(
    ground: Ground, layers: Mapping[str, Breaks], target: str, rules: CheckRules
) -> Findings:
    """What is off about the ground as a whole; nothing where too little of it is there.

    Parameters
    ----------
    ground : Ground
    layers : mapping of name to sequence of BreakLine
        Breaks of each section layer, from left to right.
    target : str
        Today's layer; nothing is told where it has no breaks.
    rules : CheckRules
        ``throughout_m`` and ``constant_spread_m``.

    Returns
    -------
    Findings
        ``stop`` where the ground fits the design only with the design moved along its line
        or with its crossfall the other way; ``person`` where it lies across the design by another
        slope, as ground does that nobody has crowned yet, or stands off by one amount, with the
        layer that it fits, if any.

    Notes
    -----
    Spreads are 1.4826 MAD. A shift is searched in steps of 1 m up to 60 m, the slopes by least
    squares. Rough clay spreads in itself and no shift or slope takes most of it away.
    """
    section = layers.get(target, ())
    residual = _residual(section, ground)
    if not section or (~np.isnan(residual)).sum() < FEWEST:
        return ()
    spread = _spread(residual)
    if spread > LOOSE_M:
        return (*_along(section, ground, spread), *_across(section, ground, residual, spread))
    return _constant(ground, layers, target, rules)


def _residual(section: Breaks, ground: Ground, along_m: float = 0.0) -> Floats:
    return ground.elevation - section_height(section, ground.station + along_m, ground.offset)


def _spread(residual: Floats) -> float:
    values = residual[~np.isnan(residual)]
    if len(values) < FEWEST:
        return np.inf
    return robust_spread(values)


def _middle(residual: Floats) -> float:
    """Size of the median; infinite where there is none."""
    values = residual[~np.isnan(residual)]
    return abs(float(np.median(values))) if len(values) else np.inf


def _along(section: Breaks, ground: Ground, spread: float) -> Findings:
    steps = np.arange(-REACH_M, REACH_M + STEP_M, STEP_M)
    spreads = np.array([_spread(_residual(section, ground, step)) for step in steps])
    best = int(np.argmin(spreads))
    if abs(steps[best]) < LEAST_ALONG_M or spreads[best] > SHARE * spread:
        return ()
    text = (
        f"the ground fits the design only {abs(steps[best]):.0f} m"
        f" {'farther on' if steps[best] > 0 else 'farther back'}: spread"
        f" {millimetres(spreads[best]).lstrip('+')} there, {millimetres(spread).lstrip('+')} here"
    )
    do = "look for a station equation that was missed, a start station, or another profile"
    return (Finding("stop", "design shifted along", text, do),)


def _across(section: Breaks, ground: Ground, residual: Floats, spread: float) -> Findings:
    """Slopes of the residual outward and to the right, fitted at once, and what is left.

    Ground that nobody has crowned yet lies across the design by the design's own fall, which
    is a morning like any other; only ground that falls as the design would with its sign
    changed, by twice that fall, is held.
    """
    known = ~np.isnan(residual)
    station, offset, values = ground.station[known], ground.offset[known], residual[known]
    terms = np.column_stack([np.abs(offset), offset, np.ones(len(offset))])
    fitted = np.linalg.lstsq(terms, values)[0]
    if _spread(values - terms @ fitted) > SHARE * spread:
        return ()
    crown = section_height(section, station, np.zeros_like(offset))
    both = ~np.isnan(crown)
    heights = section_height(section, station, offset)[both] - crown[both]
    designed = np.linalg.lstsq(terms[both], heights)[0]
    k = int(np.argmax(np.abs(fitted[:2])))
    slope, own = float(fitted[k]), float(designed[k])
    held = abs(slope + 2.0 * own) <= MIRRORED * abs(own)
    text = (
        f"all along the street the ground {'rises' if slope > 0 else 'falls'}"
        f" {abs(slope) * 100.0:.1f} % {('outward from the crown', 'to the right')[k]} against"
        " the design"
    )
    do = "look for a crossfall with the wrong sign, or for left and right exchanged"
    if not held:
        do = "nothing is wrong where nobody has graded the crown or the fall yet; else " + do
    return (Finding("stop" if held else "person", "design tilted", text, do),)


def _constant(
    ground: Ground, layers: Mapping[str, Breaks], target: str, rules: CheckRules
) -> Findings:
    residual = _residual(layers[target], ground)
    values = residual[~np.isnan(residual)]
    offset, _ = median_and_error(values, shot_sd_m=HARD_SD_M)
    if abs(offset) <= rules.throughout_m:
        return ()
    fits = [
        name
        for name, section in layers.items()
        if name != target and _middle(_residual(section, ground)) <= rules.constant_spread_m
    ]
    side = "above" if offset > 0 else "below"
    text = (
        f"all of the ground stands {format_length(abs(offset))} m {side} {target!r}, today's layer"
        f" ({counted(len(values), 'shot')}, spread {millimetres(_spread(values)).lstrip('+')})"
    )
    if fits:
        text += f": it stands as {' or '.join(repr(name) for name in fits)} is designed"
    do = "check today's layer, its thickness, the profile's datum and the day's bench mark"
    return (Finding("person", "ground off throughout", text, do),)
