"""Slips that a fit to control can hide or name: another unit, swapped axes, wrong feet."""

from __future__ import annotations

import math

import numpy as np

from pipeline.errors import InputError
from pipeline.model import Finding, Findings, Shots
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M

FEET_RATIO = US_SURVEY_FOOT_M / FOOT_M
"""1.000002: one US survey foot in international feet."""
_UNIT_SLIPS = {
    FOOT_M: "the measured points are in feet and the control is in metres",
    1.0 / FOOT_M: "the measured points are in metres and the control is in feet",
}
_SAME = 1e-3
"""A scale this near a unit ratio is that ratio: a combined factor stays within it."""
_NOISE_M = 0.010
"""Smallest standard deviation of a point that is believed here [assumed]."""
_MIRROR_M = 0.10
"""A smaller misfit of unswapped points asks no question about axes [assumed]."""
_SCALE_PPM = 30.0
"""A scale farther from 1 than this, and than its own error, is told: 3 mm in 100 m [assumed]."""


def _fit(z: np.ndarray, w: np.ndarray) -> tuple[complex, float]:
    """Turn-and-stretch that takes centred z to centred w, and the rms left over."""
    size = float(np.vdot(z, z).real)
    turned = complex(np.vdot(z, w)) / size if size > 0 else 0j
    return turned, float(np.sqrt(np.mean(np.abs(w - turned * z) ** 2)))


def find_slips(measured: Shots, control: Shots) -> Findings:
    """Whether the two sets differ by a unit, a mirror or the two feet.

    Parameters
    ----------
    measured, control : Shots
        The same n points in the same order, as measured and on the job grid.

    Returns
    -------
    findings
        A scale away from 1, the two feet mixed up. Empty for one point.

    Raises
    ------
    InputError
        The scale between the sets, or the ratio of their heights, is that of feet
        and metres; or the sets fit only with easting and northing swapped. These
        are never put right in silence.

    Notes
    -----
    A free similarity is fitted in closed form, with and without swapped axes. Two
    points fit either way, so they show no swap; three in line neither.
    """
    z = (measured.easting - measured.easting.mean()) + 1j * (
        measured.northing - measured.northing.mean()
    )
    w = (control.easting - control.easting.mean()) + 1j * (
        control.northing - control.northing.mean()
    )
    n, size = len(z), float(np.sum(np.abs(z) ** 2))
    if n < 2 or size == 0.0:
        return ()
    turned, rms = _fit(z, w)
    _mirror(z, w, rms)
    spare = 2 * n - 4
    noise = rms * math.sqrt(2 * n / spare) if spare else 0.0
    scale = abs(turned)
    error = max(noise, _NOISE_M) / math.sqrt(size)
    for ratio, what in _UNIT_SLIPS.items():
        if abs(scale / ratio - 1.0) < min(_SAME + 4.0 * error / ratio, 0.02):
            found = f"their distances are {scale:.6f} of the measured ones: {what}"
            raise InputError("control points", found, "declare the unit of each file")
    _height_units(measured, control)
    return (*_two_feet(measured, control, scale, error), *_grid_or_ground(scale, error))


def _mirror(z: np.ndarray, w: np.ndarray, rms: float) -> None:
    swapped = 1j * np.conj(z)
    turned, left = _fit(swapped, w)
    if len(z) < 3 or rms < max(10.0 * left, _MIRROR_M):
        return
    straight = abs(math.atan2(turned.imag, turned.real)) < math.radians(1.0)
    which = "easting and northing are swapped" if straight else "one of the two is mirrored"
    found = f"misfit {rms:.3f} m as they stand, {left:.3f} m with axes swapped: {which}"
    raise InputError("control points", found, "correct the order of the columns in one of them")


def _height_units(measured: Shots, control: Shots) -> None:
    apart = control.elevation - measured.elevation
    for ratio, what in _UNIT_SLIPS.items():
        off = control.elevation - ratio * measured.elevation
        if np.abs(off).max() < 0.05 and np.abs(apart).min() > 1.0:
            found = f"their heights are {ratio:.6f} of the measured ones: {what}"
            raise InputError("control points", found, "declare the unit of the heights")


def _two_feet(measured: Shots, control: Shots, scale: float, error: float) -> Findings:
    here = np.array([measured.easting.mean(), measured.northing.mean()])
    there = np.array([control.easting.mean(), control.northing.mean()])
    shift = float(np.hypot(*(there - here)))
    for ratio in (FEET_RATIO, 1.0 / FEET_RATIO):
        left = float(np.hypot(*(there - ratio * here)))
        by_place = shift > 5.0 * _NOISE_M and left < 0.1 * shift
        # the scale alone shows 2 ppm only over tens of kilometres
        by_scale = abs(scale - ratio) < 3.0 * error < 0.5 * abs(FEET_RATIO - 1.0)
        if by_place or by_scale:
            what = f"the shift to control, {shift:.3f} m, is" if by_place else "the scale is off by"
            text = (
                f"{what} 2 ppm of the coordinates: US survey feet and international feet are"
                " mixed up"
            )
            do = "declare which foot each file is in; do not localise it away"
            return (Finding("stop", "feet", text, do),)
    return ()


def _grid_or_ground(scale: float, error: float) -> Findings:
    ppm = (scale - 1.0) * 1e6
    if abs(ppm) < max(_SCALE_PPM, 4.0 * error * 1e6):
        return ()
    text = f"control is {ppm:+.0f} ppm ({ppm * 1e-4:+.3f} m in 100 m) of the measured distances"
    do = "grid and ground may be mixed: state the combined factor, or fit a scale knowingly"
    return (Finding("person", "scale", text, do),)
