"""The end of a street tied to what is built: the step at the joint, and how it is blended away."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import locate
from pipeline.design.equations import station_text
from pipeline.design.section import between, filled, span_of
from pipeline.design.warp import pulled
from pipeline.errors import DesignError
from pipeline.model import Corridor, Finding, Findings, Floats, Layer
from pipeline.settings_design import TieRules

_NEAR_M = 3.0
_SPREAD_M = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Tie:
    """A joint with what is built: where, and the step design less built at each shot offset."""

    station: float
    offset: Floats
    step: Floats
    length: float


def tie(street: Corridor, existing: Floats, rules: TieRules) -> tuple[Corridor, Tie, Findings]:
    """A street whose end is blended to the edge of what is built.

    Parameters
    ----------
    street : Corridor
        Its sections end at the joint: beyond it nothing is designed, so nothing is cut.
    existing : ndarray, shape (n, 3)
        Easting, northing, elevation along the existing edge, two or more.
    rules : TieRules
        End, rate of the blend, largest breakover.

    Returns
    -------
    Corridor
        Every layer lifted by what the built edge lies above the design there, the lift
        falling evenly to zero over the blend.
    Tie
        The step at each shot before blending; the blend's length.
    Findings
        The step and the length; a ``person`` where the blend is longer than the street, a
        break of the section lies outside the shots, or the breakover is over its limit.

    Raises
    ------
    DesignError
        Fewer than two shots near the joint.

    Notes
    -----
    ``length = max |step| / rate``. The height between shots is interpolated across.
    """
    ahead = 1 if rules.end == "start" else -1
    top = street.layers[0]
    joint = float(top.station[0] if ahead > 0 else top.station[-1])
    feet = locate(street.alignment, existing[:, 0], existing[:, 1])
    near = np.abs(feet.station - joint) <= _NEAR_M
    where = f"tie at the {rules.end} of {street.name!r}"
    if near.sum() < 2:
        raise DesignError(
            where,
            f"{int(near.sum())} shots of the existing edge lie within {_NEAR_M:g} m of"
            f" {station_text(street.alignment, joint, step=0.001)}",
            "shoot the edge there, or correct the end",
        )
    grade = _built_grade(feet.station[near], feet.offset[near], existing[near, 2])
    order = np.argsort(feet.offset[near])
    offset = feet.offset[near][order]
    built = existing[near, 2][order] + (joint - feet.station[near][order]) * np.nan_to_num(grade)
    step = _designed(street, top, joint, offset) - built
    if not np.isfinite(step).any():
        raise DesignError(where, "no shot lies on the section", "shoot the edge across the street")
    known = np.isfinite(step)
    offset, step = offset[known], step[known]
    length = float(np.max(np.abs(step))) / (rules.rate_pct / 100.0)
    found = Tie(joint, offset, step, length)
    layers = tuple(
        _blended(layer, found, ahead) if layer.surface is None and length > 0.0 else layer
        for layer in street.layers
    )
    return replace(street, layers=layers), found, _told(street, found, rules, (where, grade))


def _designed(street: Corridor, layer: Layer, station: float, offset: Floats) -> Floats:
    span = span_of(layer, np.array([station]))
    across, rise = (between(values, span)[0] for values in filled(layer))
    out = np.interp(offset, across, rise, left=np.nan, right=np.nan)
    return np.asarray(out + float(grade_line.elevation(street.profile, station)))


def _blended(layer: Layer, found: Tie, ahead: int) -> Layer:
    span = span_of(layer, np.array([found.station]))
    across = between(filled(layer)[0], span)[0]
    # outside the shots the nearest one counts; that is told
    lift = -np.interp(across, found.offset, found.step)
    return pulled(layer, np.full(len(across), found.station), lift, found.length, ahead)


def _built_grade(station: Floats, offset: Floats, z: Floats) -> float:
    """Grade of the built surface along the street, where the shots are deep enough to have one."""
    if np.ptp(station) < _SPREAD_M or len(z) < 4:
        return float("nan")
    columns = np.stack([np.ones(len(z)), station - station.mean(), offset, np.abs(offset)], axis=1)
    fit, _, rank, _ = np.linalg.lstsq(columns, z, rcond=None)
    return float(fit[1]) if rank == 4 else float("nan")


def _told(street: Corridor, found: Tie, rules: TieRules, about: tuple[str, float]) -> Findings:
    where, built = about
    worst = int(np.argmax(np.abs(found.step)))
    side = "over" if found.step[worst] > 0.0 else "under"
    text = (
        f"{where}: the design lies {abs(found.step[worst]):.3f} m {side} what is built, at offset"
        f" {found.offset[worst]:.2f}; blended over {found.length:.1f} m at {rules.rate_pct:g} %"
    )
    told = [
        Finding("note", "tie to existing", text, "cut nothing beyond the joint",
                station=found.station)
    ]  # fmt: skip
    table = street.layers[0].station
    if found.length > table[-1] - table[0]:
        do = "ask the engineer: the street is too short for this step"
        told.append(Finding("person", "tie to existing", f"{text}, past the street's other end", do,
                            station=found.station))  # fmt: skip
    across = np.array([np.nanmin(street.layers[0].offset), np.nanmax(street.layers[0].offset)])
    if across[0] < found.offset[0] - 0.1 or across[1] > found.offset[-1] + 0.1:
        what = (
            f"{where}: the existing edge was shot from offset {found.offset[0]:.2f} to"
            f" {found.offset[-1]:.2f}, the section reaches from {across[0]:.2f} to {across[1]:.2f}"
        )
        do = "shoot the whole edge; outside the shots the nearest one is used"
        told.append(Finding("person", "tie to existing", what, do, station=found.station))
    ahead = 1 if rules.end == "start" else -1
    own = float(grade_line.grade(street.profile, found.station + ahead * 1e-3))
    # the blend itself turns the grade by the step over its length
    joined = own + ahead * found.step[worst] / max(found.length, 1e-9)
    if abs(joined - built) > rules.breakover_pct / 100.0:
        what = (
            f"{where}: the grade turns from {100 * built:+.2f} to {100 * joined:+.2f} % at the"
            f" joint, over {rules.breakover_pct:g} %"
        )
        do = "ask the engineer for a longer blend or another grade"
        told.append(Finding("person", "breakover", what, do, station=found.station))
    return tuple(told)
