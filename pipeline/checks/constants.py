"""A group shot to the wrong reference: curb top for flow line, one layer for another.

It looks exactly like a rod bust. What tells it is that the constant equals a
dimension of the section at that place, in that direction.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipeline.checks.bust import FEWEST, LEAST_M, ROD_STEPS, median_and_error, name_constant
from pipeline.checks.references import Breaks, Held, dictionary
from pipeline.checks.telling import at, stretch_text, volume_text
from pipeline.model import Feet, Finding, Findings, Ints, Shots, Texts
from pipeline.model.spread import robust_spread
from pipeline.model.telling import counted
from pipeline.settings import CheckRules
from pipeline.units import Called, format_station

HARD_SD_M = 0.004
"""No group is believed to be better than this [assumed]: a shot on curb or a hub."""


@dataclass(frozen=True, slots=True)
class Constant:
    """A group that stands off the break it is stated on by ``offset`` [m, + too high].

    ``se`` is its standard error and ``spread`` the robust standard deviation of
    the residuals [m]; ``names`` what it equals, nearest first.
    """

    label: str
    stated: tuple[str, str]
    rows: tuple[int, ...]
    offset: float
    se: float
    spread: float
    names: tuple[str, ...]


def named(offset: float, se: float, known: Mapping[str, float]) -> tuple[str, ...]:
    """Names of a signed constant: entries of its own sign first to last, then rod steps.

    Examples
    --------
    >>> named(0.149, 0.002, {"top back of curb for flowline": 0.150, "lip for flowline": 0.024})
    ('top back of curb for flowline', 'rod step 0.15 m')
    >>> named(-0.149, 0.002, {"top back of curb for flowline": 0.150})
    ('rod step 0.15 m',)
    """
    same = {name: size for name, size in known.items() if size * offset > 0}
    return name_constant(offset, se, same) + name_constant(offset, se, ROD_STEPS)


def find_constants(
    labels: Texts, held: Held, feet: Feet, breaks: tuple[Breaks, Breaks], rules: CheckRules
) -> tuple[Constant, ...]:
    """Groups that stand off their stated break by one and the same amount.

    Parameters
    ----------
    labels : Texts, shape (n,)
        Group of each shot, as from `references.group_labels`.
    held : Held
        The shots against their breaks.
    feet : Feet
    breaks : (held, known)
        The breaks that `held` was made with, and all that could be meant instead.
    rules : CheckRules
        ``constant_spread_m``.

    Returns
    -------
    tuple of Constant
        Groups of one label and one stated break, of three residuals or more, with
        |median| > max(3 se, 15 mm) and a spread within the limit. Rough-graded
        ground spreads more and is never told here.

    Notes
    -----
    se = 1.25 s / sqrt(n), s the larger of 1.4826 MAD and 4 mm. The dictionary is
    that of the section at the group's median station.
    """
    found = []
    for rows in _groups(labels, held):
        values = held.residual[rows]
        offset, se = median_and_error(values, shot_sd_m=HARD_SD_M)
        spread = robust_spread(values)
        if abs(offset) <= max(3.0 * se, LEAST_M) or spread > rules.constant_spread_m:
            continue
        line = breaks[0][held.line[rows[0]]]
        side = line.side or (-1 if np.median(feet.offset[rows]) < 0 else 1)
        stated, middle = (line.layer, line.name), float(np.median(feet.station[rows]))
        # a section differs from its neighbour by a few millimetres along a transition
        names = named(offset, max(se, 0.002), dictionary(breaks[1], stated, side, middle))
        chosen = tuple(int(row) for row in rows)
        found.append(Constant(str(labels[rows[0]]), stated, chosen, offset, se, spread, names))
    return tuple(found)


def _groups(labels: Texts, held: Held) -> list[Ints]:
    """Rows of one label and one stated break that have a residual."""
    groups: dict[tuple[str, int], list[int]] = {}
    for row in np.flatnonzero(~np.isnan(held.residual)):
        groups.setdefault((str(labels[row]), int(held.line[row])), []).append(int(row))
    return [np.array(rows) for rows in groups.values() if len(rows) >= FEWEST]


def of_layers(constants: tuple[Constant, ...]) -> tuple[Constant, ...]:
    """Those that equal a dimension of the section: what counts of ground that is being graded.

    Clay may well stand 45 mm over its layer throughout; only where that is the
    thickness of another layer is it worth a question. Curb and hubs are told all.
    """
    kept = []
    for constant in constants:
        names = tuple(name for name in constant.names if name not in ROD_STEPS)
        if names:
            kept.append(replace(constant, names=names))
    return tuple(kept)


def constant_findings(
    shots: Shots,
    feet: Feet,
    constants: tuple[Constant, ...],
    rules: CheckRules,
    called: Called = format_station,
) -> Findings:
    """One finding a constant, for a person: proposed, never applied.

    The cost is a strip 1 m wide along the group, the least that hangs on one line of shots.
    """
    return tuple(_finding(shots, feet, constant, rules, called) for constant in constants)


def _finding(
    shots: Shots, feet: Feet, constant: Constant, rules: CheckRules, called: Called
) -> Finding:
    rows = np.array(constant.rows)
    along = feet.station[rows]
    length = float(np.ptp(along))
    side = "HIGH" if constant.offset > 0 else "LOW"
    equals = " or ".join(constant.names[:3]) or "no known constant"
    text = (
        f"{constant.label} ({counted(len(rows), 'shot')} on {constant.stated[1]},"
        f" {stretch_text(along, called)}) reads {abs(constant.offset):.3f} m {side}"
        f" (sd {math.ceil(constant.se * 1000.0)} mm, spread {constant.spread * 1000.0:.0f} mm):"
        f" equals {equals}"
    )
    if length > 0:
        worth = volume_text(abs(constant.offset) * length, rules.load_m3)
        text += f"; {worth} for each metre of width it governs"
    do = "ask which point and layer were shot and with which rod; correct the file or shoot again"
    return at(Finding("person", "suspected reference", text, do), shots, rows, feet)
