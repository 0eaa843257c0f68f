"""The crew's unit for everything that a page says: metres and their parts, or feet.

Files for software stay metric and say so in their columns; what a person reads, paints
or sights with is in one unit all through, the one that ``rounding.marks_unit`` states.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pipeline.settings import Rounding
from pipeline.units import FOOT_M, format_length, lath_mark

YARD_M3 = (3.0 * FOOT_M) ** 3
"""A cubic yard, exact by definition of the foot [m3]."""
HUNDREDTH_FT = 0.01
"""Step of what is measured in feet; what is painted on dirt has tenths."""


@dataclass(frozen=True, slots=True)
class Measures:
    """How lengths, areas and volumes are written for people."""

    unit: Literal["m", "ft"] = "m"

    @property
    def _feet(self) -> bool:
        return self.unit == "ft"

    @property
    def small_unit(self) -> str:
        """``cm``, or ``ft`` with hundredths: depths, heights, how far clay stands in."""
        return "ft" if self._feet else "cm"

    @property
    def fine_unit(self) -> str:
        """``mm``, or ``ft`` with hundredths: straight-edges, sights."""
        return "ft" if self._feet else "mm"

    @property
    def volume_unit(self) -> str:
        """``m3`` or ``yd3``."""
        return "yd3" if self._feet else "m3"

    @property
    def area_unit(self) -> str:
        """``m2`` or ``ft2``."""
        return "ft2" if self._feet else "m2"

    def small(self, metres: float) -> str:
        """Whole centimetres, or hundredths of a foot, without a unit; empty where unknown.

        Examples
        --------
        >>> Measures().small(0.124), Measures("ft").small(0.124)
        ('12', '0.41')
        """
        if self._feet:
            return format_length(metres / FOOT_M, step=HUNDREDTH_FT)
        return format_length(metres * 100.0, step=1.0)

    def outward(self, metres: float, way: Literal["up", "down"]) -> str:
        """The same rounded one way only: towards the danger.

        Examples
        --------
        >>> Measures().outward(0.081, "up"), Measures("ft").outward(0.081, "down")
        ('9', '0.26')
        """
        turn, slack = (math.ceil, -1e-6) if way == "up" else (math.floor, 1e-6)
        if self._feet:
            steps = turn(metres / FOOT_M / HUNDREDTH_FT + slack)
            return format_length(steps * HUNDREDTH_FT, step=HUNDREDTH_FT)
        return str(turn(metres * 100.0 + slack))

    def fine(self, metres: float) -> str:
        """Whole millimetres, or hundredths of a foot, without a unit."""
        if self._feet:
            return format_length(metres / FOOT_M, step=HUNDREDTH_FT)
        return format_length(metres * 1000.0, step=1.0)

    def finest(self, metres: float) -> str:
        """Tenths of a millimetre, or thousandths of a foot: how sure, what an input moves."""
        if self._feet:
            return format_length(metres / FOOT_M, step=0.001)
        return format_length(metres * 1000.0, step=0.1)

    def step(self, metres: float) -> str:
        """A depth that is worked to, in its unit: ``2.5 cm``, ``0.08 ft``."""
        if self._feet:
            return f"{self.small(metres)} ft"
        return f"{format_length(metres * 100.0, step=0.1)} cm"

    def of_long(self, metres: float) -> float:
        """A length, or a sum that a length is a factor of, in metres or feet, not rounded."""
        return metres / FOOT_M if self._feet else metres

    def long(self, metres: float, step: float = 0.1) -> str:
        """A length in metres by a step, or in feet: tenths, hundredths where the step is finer."""
        if self._feet:
            return format_length(metres / FOOT_M, step=0.1 if step > 0.01 else HUNDREDTH_FT)
        return format_length(metres, step=step)

    def stated(self, metres: float) -> str:
        """A setting with its unit, as short as it was typed: ``1.2 m``, ``3.94 ft``."""
        if self._feet:
            return f"{self.long(metres, 0.01)} ft"
        return f"{metres:g} m"

    def volume(self, cubic_metres: float, step: float = 0.1) -> str:
        """Cubic metres or cubic yards, without a unit."""
        return format_length(cubic_metres / YARD_M3 if self._feet else cubic_metres, step=step)

    def per_volume(self, per_cubic_metre: float) -> str:
        """A cost of a cubic metre as it was typed, or of a cubic yard to the hundredth.

        Examples
        --------
        >>> Measures().per_volume(60.0), Measures("ft").per_volume(60.0)
        ('60 per m3', '45.87 per yd3')
        """
        if self._feet:
            return f"{format_length(per_cubic_metre * YARD_M3, step=0.01)} per yd3"
        return f"{per_cubic_metre:g} per m3"

    def area(self, square_metres: float) -> str:
        """Whole square metres or square feet, without a unit."""
        whole = square_metres / FOOT_M**2 if self._feet else square_metres
        return format_length(whole, step=1.0)

    def mark(self, cut: float) -> str:
        """Cut or fill from a height as on a lath: metres to the millimetre, feet to 0.01."""
        return lath_mark(cut / FOOT_M, step=HUNDREDTH_FT) if self._feet else lath_mark(cut)


METRIC = Measures()


def measures(rounding: Rounding) -> Measures:
    """The crew's unit, as the job states it."""
    return Measures(rounding.marks_unit)
