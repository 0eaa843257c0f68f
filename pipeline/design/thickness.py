"""How the layers of a street lie over each other: too thin, or the wrong way round."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from pipeline.design.equations import station_text
from pipeline.design.section import between, filled, span_of
from pipeline.design.troubles import stations_of, stretches, told
from pipeline.model import Bools, Corridor, Finding, Floats, Layer
from pipeline.settings_design import LayerRule

CROSSED_M = 0.001
"""A layer this far under one that should lie below it is told; less is rounding."""


def thin_layers(street: Corridor, rules: Sequence[LayerRule]) -> list[Finding]:
    """Layers whose upper face is nearer to the one above than the job allows."""
    least = {rule.name: rule.least_m for rule in rules}
    found = []
    for upper, lower in itertools.pairwise(_sectioned(street)):
        wanted = least.get(lower.name, 0.0)
        if not wanted:
            continue

        def thickness(s: Floats, pair: tuple[Layer, Layer] = (upper, lower)) -> Floats:
            return least_thickness(*pair, s)

        def thin(t: Floats, limit: float = wanted) -> Bools:
            # where it is below nothing the layers are crossed, which is told by itself
            return np.asarray((t < limit - 1e-9) & (t >= -CROSSED_M))

        for stretch in stretches(_asked(street, upper), thickness, thin):
            text = (
                f"{upper.name} stands only {stretch.worst:.3f} m over {lower.name}, to"
                f" {station_text(street.alignment, stretch.end)}; {wanted:g} m is asked"
            )
            do = "ask the designer which of the two is meant"
            found.append(told(street, "thin layer", stretch.start, text, do))
    return found


def crossed_layers(street: Corridor) -> list[Finding]:
    """Layers that lie under one that is listed below them: which, where, and how far.

    Every two layers are compared, so one that is missing between them hides nothing; of
    two that are not neighbours only what no pair between them has told already.
    """
    layers = _sectioned(street)
    found: list[Finding] = []
    seen: set[tuple[int, int]] = set()
    pairs = itertools.combinations(range(len(layers)), 2)
    for i, j in sorted(pairs, key=lambda pair: pair[1] - pair[0]):
        if any(i <= a and b <= j for a, b in seen):
            continue
        upper, lower = layers[i], layers[j]

        def over(s: Floats, pair: tuple[Layer, Layer] = (upper, lower)) -> Floats:
            return least_thickness(*pair, s)

        for stretch in stretches(_asked(street, upper), over, lambda t: t < -CROSSED_M):
            seen.add((i, j))
            inside = np.linspace(stretch.start, stretch.end, 41)
            gap, offset = closest(upper, lower, inside)
            worst = int(np.nanargmin(gap))
            side = {-1.0: "L", 1.0: "R"}.get(float(np.sign(np.round(offset[worst], 3))), "")
            text = (
                f"{upper.name} lies {-gap[worst]:.3f} m under {lower.name}, which is listed below"
                f" it, at {station_text(street.alignment, float(inside[worst]))}"
                f" {abs(offset[worst]):.2f} {side}".rstrip()
                + f"; the stretch ends at {station_text(street.alignment, stretch.end)}"
            )
            do = "ask the designer which of the two is meant; list layers from the top down"
            found.append(told(street, "layers out of order", stretch.start, text, do))
    return found


def _sectioned(street: Corridor) -> list[Layer]:
    return [layer for layer in street.layers if layer.surface is None]


def _asked(street: Corridor, layer: Layer) -> Floats:
    """Stations each metre, the last, and those of the layer's own sections between them."""
    each = stations_of(street, layer)
    if not len(each):
        return each
    own = layer.station[(layer.station >= each[0]) & (layer.station <= each[-1])]
    return np.unique(np.concatenate([each[::4], each[-1:], own]))


def least_thickness(upper: Layer, lower: Layer, station: Floats) -> Floats:
    """Least height of one layer over another at stations, where both are [m]."""
    return closest(upper, lower, station)[0]


def closest(upper: Layer, lower: Layer, station: Floats) -> tuple[Floats, Floats]:
    """Least height of one layer over another at stations, and the offset where it is [m]."""
    found = np.full((2, len(station)), np.nan)
    shapes = []
    for layer in (upper, lower):
        span = span_of(layer, station)
        shapes.append([between(values, span) for values in filled(layer)])
    for i in range(len(station)):
        (uo, uz), (lo, lz) = ((shape[0][i], shape[1][i]) for shape in shapes)
        if not (np.isfinite(uo).all() and np.isfinite(lo).all()):
            continue
        at = np.unique(np.concatenate([uo, lo]))
        at = at[(at >= max(uo[0], lo[0])) & (at <= min(uo[-1], lo[-1]))]
        if len(at):
            # on a face both heights count: the lower end is met from either side
            gap = np.minimum(
                np.interp(at - 1e-9, uo, uz), np.interp(at + 1e-9, uo, uz)
            ) - np.interp(at, lo, lz)
            worst = int(np.argmin(gap))
            found[:, i] = gap[worst], at[worst]
    return found[0], found[1]
