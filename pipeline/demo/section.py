"""The true cross-sections of the demo street: four layers on two sections.

Up to 0+270 both curbs are roll-face; from 0+310 the right one is straight-face,
on a wider and steeper half. Between, every break moves in a straight line.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.demo import line
from pipeline.model.arrays import Floats

FINISH, GRAVEL, STABILISED, CLAY = "finish", "gravel top", "stabilised top", "clay subgrade"
LAYERS = (FINISH, GRAVEL, STABILISED, CLAY)
EDGES = {
    GRAVEL: "edge of gravel",
    STABILISED: "edge of stabilised",
    CLAY: "edge of clay",
}
"""Outermost break of each layer under the curb."""


@dataclass(frozen=True, slots=True)
class Strip:
    """From one break to the next, outward: a width, and a fall in percent or a step up."""

    to: str
    width_m: float
    fall_pct: float | None = None
    step_m: float | None = None

    @property
    def rise(self) -> float:
        """Height gained outward [m]."""
        if self.step_m is not None:
            return self.step_m
        return -self.width_m * (self.fall_pct or 0.0) / 100.0


@dataclass(frozen=True, slots=True)
class LayerSection:
    """One layer of a section; `left` None: the mirror of the right."""

    drop_m: float
    right: tuple[Strip, ...]
    left: tuple[Strip, ...] | None = None

    def half(self, side: int) -> tuple[Strip, ...]:
        """Strips of the right (+1) or left (-1) half, from the crown outward."""
        return self.right if side > 0 or self.left is None else self.left


@dataclass(frozen=True, slots=True)
class Section:
    """Cross-section from one station to another."""

    name: str
    start: float
    end: float
    layers: dict[str, LayerSection]


ROLL_FACE = (
    Strip("lane edge", 3.00, fall_pct=2.0),
    Strip("lip", 0.70, fall_pct=2.0),
    Strip("flowline", 0.30, step_m=-0.024),
    Strip("top of face", 0.25, step_m=0.100),
    Strip("top back of curb", 0.10, step_m=0.010),
)
STRAIGHT_FACE = (
    Strip("lane edge", 3.00, fall_pct=2.5),
    Strip("lip", 0.90, fall_pct=2.5),
    Strip("flowline", 0.30, step_m=-0.018),
    Strip("top of face", 0.04, step_m=0.150),
    Strip("top back of curb", 0.14, step_m=0.003),
)
BACK = {"roll": 4.35, "straight": 4.38}
"""Offset of the back of the curb: the widths above, added up [m]."""

DROP = {GRAVEL: 0.120, STABILISED: 0.320, CLAY: 0.335}
"""Crown of each layer below the finished crown [m]: 120 mm of asphalt, 200 mm of gravel, and
clay left 15 mm low for its swell. Invented, but of the size the trade builds."""
BEHIND = {GRAVEL: 0.30, STABILISED: 0.45, CLAY: 0.60}
"""How far each layer reaches behind the curb [m]."""


def _under(layer: str, back: float, fall_pct: float) -> tuple[Strip, ...]:
    return (Strip(EDGES[layer], round(back + BEHIND[layer], 3), fall_pct=fall_pct),)


def _roll_both() -> dict[str, LayerSection]:
    layers = {FINISH: LayerSection(0.0, ROLL_FACE)}
    for name in LAYERS[1:]:
        layers[name] = LayerSection(DROP[name], _under(name, BACK["roll"], 2.5))
    return layers


def _straight_right() -> dict[str, LayerSection]:
    layers = {FINISH: LayerSection(0.0, STRAIGHT_FACE, ROLL_FACE)}
    for name in LAYERS[1:]:
        layers[name] = LayerSection(
            DROP[name],
            _under(name, BACK["straight"], 3.0),
            _under(name, BACK["roll"], 2.5),
        )
    return layers


SECTIONS = (
    Section("roll-face both sides", 0.0, 270.0, _roll_both()),
    Section("straight-face on the right", 310.0, 420.0, _straight_right()),
)


def elevation(station: ArrayLike, offset: ArrayLike, layer: str) -> Floats:
    """True height of a design layer [m]; NaN beyond its edge or off the line.

    Parameters
    ----------
    station, offset : array_like
        Station and offset (right +) [m]; broadcast against each other.
    layer : str
        One of `LAYERS`.

    Notes
    -----
    Breaks stand at their own offsets and rises at each station, linear in
    station through the transition; between breaks the height is linear in
    offset. On the edge of a layer, within a nanometre, the height is given.
    """
    s, o = np.broadcast_arrays(np.asarray(station, np.float64), np.asarray(offset, np.float64))
    z = np.full(s.shape, np.nan)
    for side in (-1, +1):
        out, rise = _half(s, side, layer)
        x = o * side
        x = np.where(np.abs(x - out[..., -1]) < 1e-9, out[..., -1], x)
        for k in range(out.shape[-1] - 1):
            here = (x >= out[..., k]) & (x <= out[..., k + 1])
            share = (x - out[..., k]) / (out[..., k + 1] - out[..., k])
            height = rise[..., k] + share * (rise[..., k + 1] - rise[..., k])
            z = np.where(here, height, z)
    return np.asarray(line.profile(s) + z)


def break_names(layer: str) -> tuple[str, ...]:
    """Breaks of one half of a layer, from the crown outward."""
    return ("crown", *(strip.to for strip in SECTIONS[0].layers[layer].right))


def break_at(station: ArrayLike, side: int, layer: str, name: str) -> tuple[Floats, Floats]:
    """Signed offset and true height of a named break on the right (+1) or left (-1).

    Raises
    ------
    ValueError
        The layer has no break of that name.
    """
    s = np.asarray(station, dtype=np.float64)
    column = break_names(layer).index(name)
    out, rise = _half(s, side, layer)
    return side * out[..., column], line.profile(s) + rise[..., column]


def edge(station: ArrayLike, side: int, layer: str) -> Floats:
    """Distance of a layer's outermost break from the line [m], not signed."""
    out, _ = _half(np.asarray(station, dtype=np.float64), side, layer)
    return np.asarray(out[..., -1])


def flowline_low_point(side: int) -> tuple[float, float]:
    """Station and true height of the lowest place of a gutter's flowline in the sag.

    Notes
    -----
    The flowline is the profile plus a rise that is linear in station, so its
    grade is zero where the profile's grade is the opposite of the rise's slope.
    On the right the transition carries the low point past that of the crown.
    """
    before, after = (_corners(section, side, FINISH)[1][3] for section in SECTIONS)
    slope = float(after - before) / (SECTIONS[1].start - SECTIONS[0].end)
    station = line.turning(line.SAG, slope)
    return station, float(break_at(station, side, FINISH, "flowline")[1])


def _half(station: Floats, side: int, layer: str) -> tuple[Floats, Floats]:
    """Distance from the line and rise above the profile of each break, (..., breaks)."""
    first, last = (_corners(section, side, layer) for section in SECTIONS)
    start, end = SECTIONS[0].end, SECTIONS[1].start
    share = np.clip((station - start) / (end - start), 0.0, 1.0)[..., None]
    return (
        first[0] + share * (last[0] - first[0]),
        first[1] + share * (last[1] - first[1]),
    )


def _corners(section: Section, side: int, layer: str) -> tuple[Floats, Floats]:
    return _corners_of(section.layers[layer], side)


@functools.cache
def _corners_of(part: LayerSection, side: int) -> tuple[Floats, Floats]:
    strips = part.half(side)
    out = np.cumsum([0.0, *(strip.width_m for strip in strips)])
    rise = np.cumsum([-part.drop_m, *(strip.rise for strip in strips)])
    return out, rise
