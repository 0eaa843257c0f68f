"""How every invented job writes its tables."""

from __future__ import annotations

import math


def metres(value: float) -> str:
    """A number to the millimetre; a blank cell where it is NaN, for nobody knows it."""
    return "" if math.isnan(value) else f"{value:.3f}"


def lines(*rows: str) -> str:
    """The rows as the text of a file."""
    return "\n".join(rows) + "\n"
