"""Curves and bars that are drawn on a page or as a picture: texts and ticks final."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from pipeline.model.arrays import Floats, lock_fields

Ticks: TypeAlias = tuple[tuple[float, str], ...]
"""Places on an axis, and what is written there."""


@dataclass(frozen=True, slots=True, eq=False)
class CurveChart:
    """One curve over a scale; ``marks`` are upright lines with their words.

    ``zero`` draws the line of zero height.
    """

    title: str
    x_label: str
    y_label: str
    x: Floats
    y: Floats
    x_ticks: Ticks
    y_ticks: Ticks
    marks: Ticks = ()
    zero: bool = False

    def __post_init__(self) -> None:
        n = len(self.x)
        lock_fields(self, dict.fromkeys(("x", "y"), (np.float64, (n,))))

    @property
    def reach(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y, the ticks included; never of no width."""
        xs = [*self.x.tolist(), *(at for at, _ in (*self.x_ticks, *self.marks))]
        ys = [*self.y.tolist(), *(at for at, _ in self.y_ticks)]
        high_x, high_y = max(xs), max(ys)
        return min(xs), min(ys), max(high_x, min(xs) + 1e-9), max(high_y, min(ys) + 1e-9)


@dataclass(frozen=True, slots=True)
class Bar:
    """One row: its name, two ends about zero and the words of each."""

    name: str
    low: float
    high: float
    low_words: str
    high_words: str


@dataclass(frozen=True, slots=True)
class BarChart:
    """Bars about zero, the longest on top."""

    title: str
    x_label: str
    bars: tuple[Bar, ...]
