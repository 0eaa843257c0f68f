"""Heights of the design that people mix up: layer thicknesses and curb references."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pipeline.model import Corridor, Layer

LEAST_M = 0.02
"""Smaller differences cannot be told from shot noise [assumed]."""


def known_constants(corridor: Corridor) -> dict[str, float]:
    """Name -> size [m] of every thickness at the crown and every step between curb references.

    Taken from the first station of each layer. A constant error of this size
    looks like a rod bust and is a wrong reference or a wrong layer.
    """
    layers = [layer for layer in corridor.layers if layer.breaks]
    found: dict[str, float] = {}
    for upper, lower in pairwise(layers):
        found[f"{upper.name} for {lower.name}"] = _crown(upper) - _crown(lower)
    for layer in layers:
        right = [k for k, side in enumerate(layer.side) if side > 0]
        for i, j in ((i, j) for i in right for j in right if i < j):
            size = float(abs(layer.rise[0, j] - layer.rise[0, i]))
            if np.isfinite(size):  # a break that begins further on has no rise here
                found.setdefault(f"{layer.breaks[j]} for {layer.breaks[i]}", size)
    return {name: size for name, size in found.items() if abs(size) >= LEAST_M}


def _crown(layer: Layer) -> float:
    return float(layer.rise[0, layer.side.index(0)])
