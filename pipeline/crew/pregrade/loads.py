"""Loads out, loads in, tonnes of gravel and tankers of water: whole numbers, and how sure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pipeline.compare.bulking import in_state
from pipeline.errors import JobError
from pipeline.settings_earthwork import Bulking, Hauling

SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Loads:
    """Truck loads of a volume, and which limit decides them.

    ``count`` whole loads, ``exact`` before rounding up, ``give_or_take`` whole loads for
    one standard deviation of the volume.
    """

    volume_m3: float
    loose_m3: float
    tonnes: float
    by_box: int
    by_payload: int
    give_or_take: int
    exact: float

    @property
    def count(self) -> int:
        """Whole loads: the larger of both."""
        return max(self.by_box, self.by_payload)

    @property
    def governs(self) -> Literal["box", "payload"]:
        """What fills the truck first; the box where both say the same."""
        return "payload" if self.by_payload > self.by_box else "box"

    @property
    def words(self) -> str:
        """``3 loads +- 1 (box governs)``."""
        noun = "load" if self.count == 1 else "loads"
        more = f" +- {self.give_or_take}" if self.give_or_take else ""
        return f"{self.count} {noun}{more} ({self.governs} governs)"


def clay_loads(compacted_m3: float, sd_m3: float, hauling: Hauling, bulking: Bulking) -> Loads:
    """Loads of stabilised clay that lies compacted.

    Parameters
    ----------
    compacted_m3 : float
        Not negative.
    sd_m3 : float
        Its standard deviation.
    hauling : Hauling
        Box, fill and payload, and the wet density.
    bulking : Bulking
        Loose for compacted: the weakest number of all; count loads and correct it.

    Raises
    ------
    JobError
        A negative volume, or a truck without room.

    Examples
    --------
    16 m3 of compacted clay:

    >>> clay_loads(16.0, 0.0, Hauling(), Bulking()).words
    '3 loads (box governs)'
    """
    if not (math.isfinite(compacted_m3) and compacted_m3 >= 0 and sd_m3 >= 0):
        raise JobError(
            "loads", f"asked for {compacted_m3:g} +- {sd_m3:g} m3", "give a volume of zero or more"
        )
    box = hauling.box_m3 * hauling.fill
    if not (box > 0 and hauling.payload_t > 0):
        raise JobError(
            "hauling",
            f"found a box of {box:g} m3 and a payload of {hauling.payload_t:g} t",
            "give both, greater than zero",
        )
    loose = float(in_state(compacted_m3, "compacted", "loose", bulking))
    tonnes = compacted_m3 * hauling.clay_t_m3
    off = loads_per_m3(hauling, bulking) * sd_m3 if compacted_m3 > 0 else 0.0
    return Loads(
        volume_m3=compacted_m3,
        loose_m3=loose,
        tonnes=tonnes,
        by_box=math.ceil(loose / box - SLACK),
        by_payload=math.ceil(tonnes / hauling.payload_t - SLACK),
        give_or_take=max(math.floor(off + 0.5), 1) if off > 0 else 0,
        exact=compacted_m3 * loads_per_m3(hauling, bulking),
    )


def loads_per_m3(hauling: Hauling, bulking: Bulking) -> float:
    """Loads that a cubic metre of compacted clay makes: by box or by payload, the larger.

    Examples
    --------
    >>> round(16.0 * loads_per_m3(Hauling(), Bulking()), 2)
    2.23
    """
    loose = float(in_state(1.0, "compacted", "loose", bulking))
    return max(loose / (hauling.box_m3 * hauling.fill), hauling.clay_t_m3 / hauling.payload_t)


def gravel_tonnes(compacted_m3: float, hauling: Hauling) -> float:
    """Tonnes of gravel for a volume that it fills compacted.

    Examples
    --------
    One centimetre over 1600 m2:

    >>> round(gravel_tonnes(16.0, Hauling()))
    35
    """
    return compacted_m3 * hauling.gravel_t_m3


def tanker_loads(litres: float, hauling: Hauling) -> int:
    """Whole tankers of water."""
    return math.ceil(litres / (1000 * hauling.tanker_m3) - SLACK)
