"""Where the design is cut along the road, so finely that triangles can stand for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import curvature_on, element_of
from pipeline.design.section import filled, span_of
from pipeline.errors import DesignError
from pipeline.model import Corridor, Floats, Layer
from pipeline.settings import DesignRules

APART_M = 0.002
"""Two knots closer than this are one."""
STEEP = 0.5
"""A steeper strip is a face: triangles may move it in plan by the chord tolerance."""
_TOO_MANY = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class _Stretches:
    """Stretches between forced knots, and how the line bends on each (all of length m)."""

    start: Floats
    end: Floats
    curvature: Floats
    """Largest magnitude [1/m]."""
    rate: Floats
    """Change of curvature, magnitude [1/m²]."""
    grade: Floats
    """Largest magnitude [m/m]."""
    bend: Floats
    """Largest second derivative of the height, magnitude [1/m]."""


def knots(corridor: Corridor, rules: DesignRules) -> Floats:
    r"""Stations at which the design is cut into triangles, one list for all layers.

    Parameters
    ----------
    corridor : Corridor
    rules : DesignRules
        ``chord_m``, the largest departure of the triangles, in plan at the
        outermost break and in height; ``max_step_m``.

    Returns
    -------
    ndarray, shape (k,)
        Increasing stations, where alignment, profile and any section layer all
        reach: joints of elements, ends of vertical curves, stations of the
        sections, and as many evenly between them as the rules ask for. Two
        closer than 2 mm are one.

    Raises
    ------
    DesignError
        The three have no stretch in common, or the rules ask for over 200 000 knots.

    Notes
    -----
    On a triangle that is :math:`ds` long and :math:`w` wide in station and
    offset, linear interpolation of a function f departs by at most
    :math:`ds^2|f_{ss}|/8 + ds\,w|f_{so}|/4`. Taken for the place P and the height z:
    plan :math:`ds^2|P_{ss}|/8`, height :math:`ds^2(|z_{ss}| + e|P_{ss}|)/8 +
    ds\,(|\Delta z_s| + e|\Delta o_s| + g\kappa w)/4` with crossfall e, grade g along
    the break and Δ across a strip. Faces steeper than 1 in 2 are left out of e: they are
    moved in plan, by no more than the plan tolerance, to which their own twist counts:
    :math:`ds^2|P_{ss}|/8 + ds(|\Delta o_s| + |\Delta z_s|w/h)/4` with the face's height h.
    """
    forced = _forced(corridor)
    stretches = _stretches(corridor, forced)
    step = np.full(len(stretches.start), rules.max_step_m)
    for layer in corridor.layers:
        if layer.surface is None:
            step = np.minimum(step, _step(layer, stretches, rules.chord_m))
    count = np.ceil((stretches.end - stretches.start) / step - 1e-9).clip(min=1)
    if count.sum() > _TOO_MANY:
        raise DesignError(
            f"corridor {corridor.name!r}",
            f"a chord tolerance of {rules.chord_m} m and a step of {rules.max_step_m} m ask for"
            f" {count.sum():.0f} cross-sections",
            "raise chord_m or max_step_m of the design",
        )
    pieces = [
        np.linspace(low, high, int(n), endpoint=False)
        for low, high, n in zip(stretches.start, stretches.end, count, strict=True)
    ]
    return np.concatenate([*pieces, forced[-1:]])


def _forced(corridor: Corridor) -> Floats:
    """Ends, stations of sections, joints and ends of vertical curves, in that order of rank."""
    line, heights = corridor.alignment.station, corridor.profile.station
    sections = [layer.station for layer in corridor.layers if layer.surface is None]
    low, high = max(line[0], heights[0]), min(line[-1], heights[-1])
    if sections:
        low = max(low, min(float(at[0]) for at in sections))
        high = min(high, max(float(at[-1]) for at in sections))
    if not high > low:
        raise DesignError(
            f"corridor {corridor.name!r}",
            f"the alignment reaches from {line[0]:.3f} to {line[-1]:.3f} m, the profile from"
            f" {heights[0]:.3f} to {heights[-1]:.3f} m, and no section lies on both",
            "check the stations of the three",
        )
    kept = np.array([low, high])
    for rank in (*sections, line, heights):
        inside = np.unique(rank[(rank > low) & (rank < high)])
        inside = inside[np.diff(inside, prepend=-np.inf) >= APART_M]
        ahead = np.searchsorted(kept, inside)
        nearest = np.minimum(inside - kept[ahead - 1], kept[ahead] - inside)
        kept = np.sort(np.concatenate([kept, inside[nearest >= APART_M]]))
    return kept


def _stretches(corridor: Corridor, forced: Floats) -> _Stretches:
    start, end = forced[:-1], forced[1:]
    middle = 0.5 * (start + end)
    line, heights = corridor.alignment, corridor.profile
    element = element_of(line, middle)
    at_start, at_end = (curvature_on(line, element, at) for at in (start, end))
    piece = grade_line.piece_of(heights, middle)
    grade = np.maximum(*(np.abs(grade_line.on_piece(heights, piece, at)[1]) for at in (start, end)))
    length = np.diff(heights.station)[piece]
    parabola = np.abs(heights.grade_end - heights.grade_start)[piece] / length
    # second derivative of a circle's height: 1 / (R cos³)
    circle = (1.0 + grade * grade) ** 1.5 / np.abs(heights.radius[piece])
    bend = np.where(np.isfinite(heights.radius[piece]), circle, parabola)
    return _Stretches(
        start=start,
        end=end,
        curvature=np.maximum(np.abs(at_start), np.abs(at_end)),
        rate=np.abs(at_end - at_start) / (end - start),
        grade=np.nan_to_num(grade),
        bend=np.nan_to_num(bend),
    )


def _step(layer: Layer, on: _Stretches, chord: float) -> Floats:
    """Longest step on each stretch for one layer; infinite where it is not designed."""
    row, _ = span_of(layer, 0.5 * (on.start + on.end))
    offset, rise = filled(layer)
    length = (layer.station[row + 1] - layer.station[row])[:, None]
    o0, o1, z0, z1 = offset[row], offset[row + 1], rise[row], rise[row + 1]
    widest = np.maximum(np.abs(o0), np.abs(o1)).max(axis=1)
    taper = (np.abs(o1 - o0) / length).max(axis=1)
    width = np.maximum(np.diff(o0, axis=1), np.diff(o1, axis=1)).max(axis=1, initial=0.0)
    widening = (np.abs(np.diff(o1 - o0, axis=1)) / length).max(axis=1, initial=0.0)
    twist = (np.abs(np.diff(z1 - z0, axis=1)) / length).max(axis=1, initial=0.0)
    climb = on.grade + (np.abs(z1 - z0) / length).max(axis=1)
    fall = np.maximum(_fall(o0, z0), _fall(o1, z1))
    k = on.curvature
    across = k * (1.0 + k * widest)
    along = 2.0 * k * taper + on.rate * widest
    # metres along the line are shorter on the inside of a bend; a fold is refused elsewhere
    climb = climb / np.maximum(1.0 - k * widest, 0.1)
    square_plan, moved = np.hypot(across, along) / 8.0, _faces_moved(o0, o1, z0, z1) / length[:, 0]
    plan = _positive_root(square_plan, moved / 4.0, chord)
    square = (on.bend + fall * across + climb * along) / 8.0
    linear = (twist + fall * widening + climb * k * width) / 4.0
    height = _positive_root(square, linear, chord)
    return np.asarray(np.nan_to_num(np.minimum(plan, height), nan=np.inf))


def _positive_root(square: Floats, linear: Floats, chord: float) -> Floats:
    """Root of square·ds² + linear·ds = chord, without its cancellation."""
    root = np.sqrt(linear * linear + 4.0 * square * chord)
    return np.asarray(2.0 * chord / np.maximum(linear + root, 1e-15))


def _faces_moved(o0: Floats, o1: Floats, z0: Floats, z1: Floats) -> Floats:
    """How far the widest twist of a face from one section to the next goes in plan [m]."""
    width, height = (np.abs(np.diff(a + b, axis=1)) / 2.0 for a, b in ((o0, o1), (z0, z1)))
    # one that is a face at either end
    face = np.zeros(width.shape, dtype=bool)
    for o, z in ((o0, z0), (o1, z1)):
        w, h = np.diff(o, axis=1), np.abs(np.diff(z, axis=1))
        face |= h > STEEP * w
    with np.errstate(divide="ignore", invalid="ignore"):
        aside = np.abs(np.diff(z1 - z0, axis=1)) * np.where(height > 0.0, width / height, 0.0)
    more = np.abs(np.diff(o1 - o0, axis=1)) + aside
    return np.asarray(np.nan_to_num(np.where(face, more, 0.0)).max(axis=1, initial=0.0))


def _fall(offset: Floats, rise: Floats) -> Floats:
    """Steepest crossfall of each row, faces left out."""
    width = np.diff(offset, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.abs(np.diff(rise, axis=1) / width)
    slope = np.where((width > 0.0) & (slope <= STEEP), slope, 0.0)
    return np.asarray(slope.max(axis=1, initial=0.0))
