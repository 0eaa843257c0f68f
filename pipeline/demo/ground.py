"""The true ground of the demo street on the morning: clay, backing bank, land behind.

On the first straight the clay is two planes that meet at the crown, so a
triangulation of shots without noise is the ground itself and the volumes have a
closed form. Beyond, it is rough as clay is.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.demo import section
from pipeline.model.arrays import Floats

SEED = 20260514

CROWN_ABOVE_M = 0.060
CROWN_ABOVE_PER_M = -0.0004
"""The clay stands this far above its design at the crown at 0+000, and this much less each metre
along [m, m/m]."""
HALF_WIDTH_M = 4.95
"""Edge of clay on the first section."""
FALL_FROM_CROWN = {-1: 0.020 / HALF_WIDTH_M, +1: 0.090 / HALF_WIDTH_M}
"""That difference shrinks outward by this much each metre, left and right [m/m]."""
PLANAR_TO, ROUGH_FROM = 78.0, 92.0
"""Planes up to the first station, rough clay from the second, blended between."""

TOE_BEHIND_M, TOP_BEHIND_M, BACK_BEHIND_M, LAND_BEHIND_M = 0.20, 0.60, 0.90, 3.00
"""Toe, front and back of the bank's top, and the land behind it, out from the edge of clay."""
BEYOND_M = 16.0
"""The land is level beyond its knot, and known to this distance from the line."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A length of one side of the street: stations [m], side +1 right, -1 left."""

    side: int
    start: float
    end: float


BANK_MISSING = Stretch(-1, 226.0, 244.0)
"""No bank here; it runs out over two metres at each end."""
NOSE_STATION, NOSE_SIDE, NOSE_M, NOSE_HALF_LENGTH_M = 340.0, -1, 0.12, 3.0
"""Here the toe of the bank stands into the street, at most by this much."""


@dataclass(frozen=True, slots=True)
class Volumes:
    """Cut and fill of the clay between two stations, in closed form [m3]."""

    start: float
    end: float
    cut_left_m3: float
    cut_right_m3: float
    fill_left_m3: float
    fill_right_m3: float

    @property
    def cut_m3(self) -> float:
        """Both sides."""
        return self.cut_left_m3 + self.cut_right_m3

    @property
    def fill_m3(self) -> float:
        """Both sides."""
        return self.fill_left_m3 + self.fill_right_m3


def volumes(start: float = 10.0, end: float = 70.0) -> Volumes:
    r"""Cut and fill against the clay subgrade on the planar stretch, apart.

    Notes
    -----
    At distance x from the crown of a straight the ground stands
    :math:`d = p(s) - q x` above the clay, with :math:`p = p_0 + b s` and q of
    that side; x runs to the edge w. In each cross-section:

    - left, where :math:`p > q w` throughout: cut :math:`p w - q w^2 / 2`, no fill;
    - right, where :math:`0 < p < q w`: cut :math:`p^2 / 2q` as far as
      :math:`x = p/q`, fill :math:`(q w - p)^2 / 2q` beyond.

    Integrated over s from a to b: left
    :math:`w\,(P(b) - P(a)) - q w^2 (b - a) / 2` with :math:`P = p_0 s + b s^2 / 2`;
    right :math:`(p_b^3 - p_a^3) / 6 q b` and
    :math:`((q w - p_a)^3 - (q w - p_b)^3) / 6 q b`. The line is straight here, so no
    correction for a curve.

    Raises
    ------
    ValueError
        The stations leave the stretch on which this holds.
    """
    if not 0.0 <= start < end <= PLANAR_TO:
        raise ValueError(f"closed form holds from 0 to {PLANAR_TO} m, not {start} to {end}")
    width, slope = HALF_WIDTH_M, CROWN_ABOVE_PER_M
    q_left, q_right = FALL_FROM_CROWN[-1], FALL_FROM_CROWN[+1]
    p_start, p_end = CROWN_ABOVE_M + slope * start, CROWN_ABOVE_M + slope * end
    area = 0.5 * (p_start + p_end) * (end - start)
    below_start, below_end = q_right * width - p_start, q_right * width - p_end
    return Volumes(
        start=start,
        end=end,
        cut_left_m3=width * area - 0.5 * q_left * width**2 * (end - start),
        cut_right_m3=(p_end**3 - p_start**3) / (6.0 * q_right * slope),
        fill_left_m3=0.0,
        fill_right_m3=(below_start**3 - below_end**3) / (6.0 * q_right * slope),
    )


def ground(station: ArrayLike, offset: ArrayLike) -> Floats:
    """True height of the ground [m]; NaN off the line or farther out than 16 m.

    Parameters
    ----------
    station, offset : array_like
        Station and offset (right +) [m]; broadcast against each other.

    Notes
    -----
    Inside the edges of clay: the clay design plus `difference`. Outside, linear
    in offset between edge, toe, top and back of the bank and the land behind.
    """
    s, o = np.broadcast_arrays(np.asarray(station, np.float64), np.asarray(offset, np.float64))
    z = np.full(s.shape, np.nan)
    for side in (-1, +1):
        x = o * side
        out, height = _knots(s, side)
        for k in range(out.shape[-1] - 1):
            share = (x - out[..., k]) / (out[..., k + 1] - out[..., k])
            here = (share >= 0.0) & (share <= 1.0)
            z = np.where(here, height[..., k] + share * (height[..., k + 1] - height[..., k]), z)
    inside = section.elevation(s, o, section.CLAY) + difference(s, o)
    return np.where(np.isnan(inside), z, inside)


def difference(station: ArrayLike, offset: ArrayLike) -> Floats:
    """True ground less clay design within the edges of clay [m]: what is to be cut, + or -."""
    s, o = np.broadcast_arrays(np.asarray(station, np.float64), np.asarray(offset, np.float64))
    fall = np.where(o < 0.0, FALL_FROM_CROWN[-1], FALL_FROM_CROWN[+1])
    planes = CROWN_ABOVE_M + CROWN_ABOVE_PER_M * s - fall * np.abs(o)
    u = np.clip((s - PLANAR_TO) / (ROUGH_FROM - PLANAR_TO), 0.0, 1.0)
    share = u * u * (3.0 - 2.0 * u)
    blended = (1.0 - share) * planes + share * _rough(s, o)
    return np.asarray(np.where(s <= PLANAR_TO, planes, blended))


def bank_share(station: ArrayLike, side: int) -> Floats:
    """1 where the backing bank stands, 0 where it is missing, between at its ends."""
    s = np.asarray(station, dtype=np.float64)
    if side != BANK_MISSING.side:
        return np.ones_like(s)
    middle = 0.5 * (BANK_MISSING.start + BANK_MISSING.end)
    half = 0.5 * (BANK_MISSING.end - BANK_MISSING.start)
    return np.clip((np.abs(s - middle) - half + 2.0) / 2.0, 0.0, 1.0)


def bank_height(station: ArrayLike, side: int) -> Floats:
    """Top of the bank above the stabilised plane carried on to the edge of clay [m]: 0.20-0.30."""
    s = np.asarray(station, dtype=np.float64)
    return 0.25 + 0.025 * np.sin(s / 17.0 + side) + 0.02 * np.sin(s / 5.3 - side)


def toe(station: ArrayLike, side: int) -> Floats:
    """Distance of the toe of the bank from the line [m], not signed."""
    s = np.asarray(station, dtype=np.float64)
    nose = np.clip(1.0 - np.abs(s - NOSE_STATION) / NOSE_HALF_LENGTH_M, 0.0, 1.0)
    stands_in = NOSE_M * nose if side == NOSE_SIDE else 0.0
    return section.edge(s, side, section.CLAY) + TOE_BEHIND_M - stands_in


def _knots(station: Floats, side: int) -> tuple[Floats, Floats]:
    """Distance from the line and height of edge, toe, top, back, land and limit, (..., 6)."""
    width = section.edge(station, side, section.CLAY)
    edge = section.elevation(station, side * width, section.CLAY)
    low = edge + difference(station, side * width)
    swell = section.DROP[section.CLAY] - section.DROP[section.STABILISED]
    top = edge + swell + bank_height(station, side)
    land = edge + 0.20 + 0.06 * np.sin(station / 31.0 + 2.0 * side) + 0.03 * np.sin(station / 9.0)
    out = np.stack(
        [
            width,
            toe(station, side),
            width + TOP_BEHIND_M,
            width + BACK_BEHIND_M,
            width + LAND_BEHIND_M,
            np.full_like(width, BEYOND_M),
        ],
        axis=-1,
    )
    share = bank_share(station, side)[..., None]
    bank = np.stack([low, low, top, top, land, land], axis=-1)
    straight = low[..., None] + (land - low)[..., None] * np.clip(
        (out - width[..., None]) / LAND_BEHIND_M, 0.0, 1.0
    )
    return out, share * bank + (1.0 - share) * straight


def _rough(station: Floats, offset: Floats) -> Floats:
    """Long high and low stretches, and a random field of waves on them [m]."""
    long_waves = 0.028 * np.sin(2.0 * math.pi * (station - 85.0) / 178.0) + 0.010 * np.sin(
        2.0 * math.pi * station / 97.0
    )
    amplitude, along, across, phase = _waves()
    angle = station[..., None] * along + offset[..., None] * across + phase
    return long_waves + np.cos(angle) @ amplitude


@functools.cache
def _waves() -> tuple[Floats, Floats, Floats, Floats]:
    """Amplitude [m], wave numbers along and across [1/m] and phase of 24 waves.

    Only the plain uniform draw of the generator is used: its bytes are the same
    in every version of numpy.
    """
    draw = np.random.default_rng(SEED).random((4, 24))
    length_along = 24.0 + 40.0 * draw[0]
    length_across = 9.0 + 15.0 * draw[1]
    sign = np.where(draw[3] < 0.5, -1.0, 1.0)
    amplitude = np.full(24, 0.018 * math.sqrt(2.0 / 24.0))
    return (
        amplitude,
        2.0 * math.pi / length_along,
        sign * 2.0 * math.pi / length_across,
        2.0 * math.pi * draw[2],
    )
