"""What every table of settings shares."""

from __future__ import annotations

from typing import Annotated, ClassVar

from annotated_types import Ge, Gt, Interval, Len


class Settings:
    """What every table of settings shares: nothing unknown, nothing coerced, nothing infinite."""

    __slots__ = ()
    __pydantic_config__: ClassVar[dict[str, object]] = {
        "strict": True,
        "extra": "forbid",
        "allow_inf_nan": False,
    }


Name = Annotated[str, Len(1, 80)]
Positive = Annotated[float, Gt(0)]
NotNegative = Annotated[float, Ge(0)]

# Ranges that leave room for every crew and refuse a slip: centimetres or feet typed for
# metres, a point in the wrong place. Common practice, no source, where none is named.

Tolerance = Annotated[float, Interval(ge=0.0005, le=0.1)]
"""A height or place that is held or told apart [m]. Half a millimetre is less than a rod
reads; more than a decimetre holds nothing: published rough grade is within 50 mm."""
ToleranceOrNone = Annotated[float, Interval(ge=0, le=0.1)]
Known = Annotated[float, Interval(gt=0, le=0.5)]
"""A standard deviation [m]: what is known no better than half a metre is not surveyed."""
KnownOrExact = Annotated[float, Interval(ge=0, le=0.5)]
Height = Annotated[float, Interval(ge=0.005, le=3)]
"""A pass, a bank, a step, a margin [m]: a street has none higher than a man can reach."""
HeightOrNone = Annotated[float, Interval(ge=0, le=3)]
Across = Annotated[float, Interval(ge=0.01, le=50)]
"""A distance across the street [m]: no residential street is wider."""
AcrossOrNone = Annotated[float, Interval(ge=0, le=50)]
Spacing = Annotated[float, Interval(ge=0.1, le=200)]
"""A step along the street [m]: closer ones are no list for a person, wider ones miss a curve."""
Percent = Annotated[float, Interval(ge=0, le=20)]
"""A fall or a change of grade [%]: no street is steeper across, few along."""
Ratio = Annotated[float, Interval(ge=0.1, le=20)]
"""A side slope, horizontal to one vertical: from almost upright to almost flat."""
