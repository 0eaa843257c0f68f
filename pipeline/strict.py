"""What every table of settings shares."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Annotated, Any, ClassVar

from annotated_types import Ge, Interval, Len


class Settings:
    """What every table of settings shares: nothing unknown, nothing coerced, nothing infinite."""

    __slots__ = ()
    __pydantic_config__: ClassVar[dict[str, object]] = {
        "strict": True,
        "extra": "forbid",
        "allow_inf_nan": False,
    }


def dotted(
    settings: object, around: frozenset[str] = frozenset(), prefix: str = ""
) -> list[tuple[str, Any]]:
    """Dotted key and value of every setting; of a list of tables, with its place in the list.

    ``around`` are fields of the outermost table that are no settings.
    """
    rows: list[tuple[str, Any]] = []
    for item in fields(settings):  # type: ignore[arg-type]  # only settings dataclasses come here
        value = getattr(settings, item.name)
        key = f"{prefix}{item.name}"
        if item.name in around:
            continue
        if is_dataclass(value):
            rows += dotted(value, prefix=f"{key}.")
        elif any(is_dataclass(part) for _, part in _parts(value)):
            for name, part in _parts(value):
                rows += dotted(part, prefix=f"{key}.{name}.")
        else:
            rows.append((key, value))
    return rows


def _parts(value: Any) -> list[tuple[Any, Any]]:
    if isinstance(value, Mapping):
        return list(value.items())
    return list(enumerate(value, 1)) if isinstance(value, list | tuple) else []


Name = Annotated[str, Len(1, 80)]
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
Spacing = Annotated[float, Interval(ge=0.1, le=200)]
"""A step along the street [m]: closer ones are no list for a person, wider ones miss a curve."""
Percent = Annotated[float, Interval(ge=0, le=20)]
"""A fall or a change of grade [%]: no street is steeper across, few along."""
Ratio = Annotated[float, Interval(ge=0.1, le=20)]
"""A side slope, horizontal to one vertical: from almost upright to almost flat."""
