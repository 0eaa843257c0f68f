"""Stretches of a street on which something of its design is wrong, and how they are told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.design.equations import station_text
from pipeline.model import Bools, Corridor, Finding, Floats, Layer

_STEP_M = 0.25


@dataclass(frozen=True, slots=True)
class Stretch:
    """Stations between which something holds, and the worst value there."""

    start: float
    end: float
    worst: float

    @property
    def length(self) -> float:
        """Metres along the street."""
        return self.end - self.start


def told(street: Corridor, kind: str, station: float, text: str, do: str) -> Finding:
    """A finding for a person, its text begun with the street and the place."""
    at = station_text(street.alignment, station)
    return Finding("person", kind, f"{street.name} at {at}: {text}", do, station=station)


def stations_of(street: Corridor, layer: Layer) -> Floats:
    """Stations each 0.25 m at which a layer is designed; none where it never is."""
    first = max(layer.station[0], street.profile.station[0], street.alignment.station[0])
    last = min(layer.station[-1], street.profile.station[-1], street.alignment.station[-1])
    if not last > first:
        return np.empty(0)
    return np.linspace(first, last, max(2, int(np.ceil((last - first) / _STEP_M)) + 1))


def stretches(
    station: Floats,
    value: Callable[[Floats], Floats],
    bad: Callable[[Floats], Bools],
    worst: Callable[[Floats], np.intp] = np.argmin,
) -> Iterator[Stretch]:
    """Where a value is bad: from samples, with both ends found to a millimetre.

    Of sizes too small the least is the worst; of sizes too great `worst` is `np.argmax`.
    """
    values = value(station)
    with np.errstate(invalid="ignore"):
        hit = bad(values) & np.isfinite(values)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], hit, [False]]).astype(np.int8)))
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        start = float(station[low])
        end = float(station[high - 1])
        if low > 0:
            start = _border(float(station[low - 1]), start, value, bad)
        if high < len(station):
            end = _border(float(station[high]), end, value, bad)
        inside = np.append(values[low:high], value(np.array([start, end])))
        yield Stretch(start, end, float(inside[worst(np.abs(inside))]))


def _border(
    good: float, bad_at: float, value: Callable[[Floats], Floats],
    bad: Callable[[Floats], Bools],
) -> float:  # fmt: skip
    while abs(good - bad_at) > 0.001:
        middle = np.array([0.5 * (good + bad_at)])
        if bad(value(middle))[0]:
            bad_at = float(middle[0])
        else:
            good = float(middle[0])
    return bad_at
