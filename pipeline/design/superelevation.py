"""Where the crossfall turns with a curve: runout, runoff and full superelevation."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.errors import DesignError
from pipeline.model import CrossfallChange, Superelevation


@dataclass(frozen=True, slots=True)
class Runoff:
    """Stations before a curve: the outer half leaves its crossfall, is level, matches, is full."""

    runout_start: float
    runoff_start: float
    matched: float
    full: float


def runoff_length(width_m: float, full: float, gradient: float, adjustment: float = 1.0) -> float:
    """Length over which a width turns from level to `full` crossfall [m].

    Parameters
    ----------
    width_m : float
        Width that turns, from the pivot to the edge.
    full, gradient : float
        Crossfall and the steepest grade of the edge against the pivot, both m/m.
    adjustment : float
        Factor for several lanes turning together.

    Notes
    -----
    ``L = w e b / gradient``.
    """
    return width_m * full * adjustment / gradient


def runoff(curve_start: float, full: float, normal: float, length: float, share: float) -> Runoff:
    """Stations of the change before a curve; mirrored about the middle they serve behind it.

    Parameters
    ----------
    curve_start : float
        Where the curve begins [m].
    full, normal : float
        Crossfall on the curve and before it, m/m, both above zero.
    length : float
        Runoff: from level to full [m].
    share : float
        Part of the runoff that lies before the curve, 0 to 1.

    Notes
    -----
    The outer half turns at one rate from its normal crossfall to full: the runout,
    to level, takes ``length * normal / full``.
    """
    runout = length * normal / full
    start = curve_start - share * length
    return Runoff(start - runout, start, start + runout, start + length)


def crossfall_of(change: Superelevation) -> CrossfallChange:
    """The crossfall of both halves by station, into a curve and out of it.

    Raises
    ------
    DesignError
        Full crossfall below the normal one, a share outside 0 to 1, no length, or a
        curve too short to reach full crossfall.
    """
    full, normal = change.full, change.normal
    if not (0.0 < normal <= full and change.length > 0.0 and 0.0 <= change.share <= 1.0):
        raise DesignError(
            change.where,
            f"full {100 * full:g} %, normal {100 * normal:g} %, runoff {change.length:g} m,"
            f" {change.share:g} of it on the tangent",
            "give full above normal above zero, a length, and a share from 0 to 1",
        )
    before = runoff(change.start, full, normal, change.length, change.share)
    # the same backwards from the curve's end
    after = runoff(-change.end, full, normal, change.length, change.share)
    if before.full > -after.full:
        raise DesignError(
            change.where,
            f"full crossfall is reached {before.full + after.full:.3f} m after it is left again",
            "shorten the runoff, or give less crossfall",
        )
    points = [(before.runout_start, normal, normal), (before.runoff_start, 0.0, normal)]
    points += [(before.matched, -normal, normal)] if full > normal else []
    points += [(before.full, -full, full)]
    points += [(-after.full, -full, full)] if before.full < -after.full else []
    points += [(-after.matched, -normal, normal)] if full > normal else []
    points += [(-after.runoff_start, 0.0, normal), (-after.runout_start, normal, normal)]
    turned = [(at, outer, inner) if change.turn > 0 else (at, inner, outer)
              for at, outer, inner in points]  # fmt: skip
    return CrossfallChange(change.at, tuple(turned), change.pivot, "linear", change.where)
