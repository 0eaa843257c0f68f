"""Curves to be drawn: texts final, NaN breaks a curve off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from pipeline.model.arrays import Floats, lock_fields
from pipeline.units import Called

Look: TypeAlias = Literal["ground", "today", "layer", "shots"]


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One curve, or the points of ``shots``. A NaN height is a gap and stays one."""

    label: str
    look: Look
    x: Floats
    z: Floats

    def __post_init__(self) -> None:
        n = len(self.x)
        lock_fields(self, dict.fromkeys(("x", "z"), (np.float64, (n,))))


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Curves over one axis, which is a station or an offset [m].

    ``called`` says what people call a station of the axis.
    """

    title: str
    along: Literal["station", "offset"]
    curves: tuple[Curve, ...]
    note: str = ""
    called: Called | None = None
