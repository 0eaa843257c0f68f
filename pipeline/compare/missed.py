"""What the triangles are likely to miss of cut and fill."""

from __future__ import annotations

import math

import numpy as np

from pipeline.compare.roughness import KERNELS, Model, Roughness
from pipeline.compare.sampling import Sample
from pipeline.model import Floats


def missed(spread: Sample, cells: Floats, roughness: Roughness) -> float:
    """Cut, and as much fill, that waves between the shots hide, less what noise pretends [m3].

    Triangles cut off the ground's waves, so near the zero line cut and fill are both
    too small; the instrument's noise makes waves that are not there. With an error e
    of the height, the mean of max(d + e, 0) is more than max(d, 0) near d = 0 only.
    """
    if not roughness.models:
        return float("nan")
    noise = (spread.weight**2 * spread.sigma[spread.corner] ** 2).sum(axis=1)
    waves = np.zeros(len(spread.cut))
    for model in roughness.models:
        waves += model.share * _wave_variance(spread, model)
    gain = _mean_above(spread.cut, waves) - _mean_above(spread.cut, noise)
    return float((gain * cells).sum())


def _wave_variance(spread: Sample, model: Model) -> Floats:
    """By how much the ground's variance exceeds that of a mean of three shots, by cell [m2]."""
    at = spread.place[:, spread.corner]
    scale = np.array([model.along_m, model.across_m])[:, None, None]
    alike = np.zeros(len(spread.cut))
    for k in range(3):
        near = KERNELS[model.kernel](np.hypot(*((at - at[:, :, k : k + 1]) / scale)))
        alike += spread.weight[:, k] * (spread.weight * near).sum(axis=1)
    return np.asarray(model.sill_m2 * np.maximum(1.0 - alike, 0.0))


def _mean_above(d: Floats, variance: Floats) -> Floats:
    """Mean of max(d + e, 0) for a normal error e."""
    from scipy.special import ndtr

    sd = np.sqrt(np.maximum(variance, 1e-18))
    z = d / sd
    return np.asarray(d * ndtr(z) + sd * np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi))
