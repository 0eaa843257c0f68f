"""The cross-sections of a road as read, and what changes them by station."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias


@dataclass(frozen=True, slots=True)
class BreakRow:
    """One break of a section as read, reached from its neighbour towards the crown.

    Exactly one of ``fall`` (m/m, + down going away from the crown) and ``step``
    (m, + up) is a number; the other is NaN. ``width`` is never negative.
    """

    name: str
    width: float
    fall: float = float("nan")
    step: float = float("nan")

    @property
    def rise(self) -> float:
        """Height above the neighbour towards the crown [m]."""
        return self.step if self.fall != self.fall else -self.fall * self.width


@dataclass(frozen=True, slots=True)
class SectionLayer:
    """One layer of one section: the crown, and the breaks outward from it on each side.

    ``drop`` is the crown below the profile [m]; ``crown_offset`` its offset [m], right +.
    """

    name: str
    right: tuple[BreakRow, ...]
    left: tuple[BreakRow, ...]
    drop: float = 0.0
    crown_offset: float = 0.0


@dataclass(frozen=True, slots=True)
class SectionRow:
    """One section as read: it holds unchanged from station ``start`` to ``end``."""

    name: str
    start: float
    end: float
    layers: tuple[SectionLayer, ...]
    where: str = ""


@dataclass(frozen=True, slots=True)
class CrownShift:
    """The crown moved across: its offset [m] at stations, linear or eased between.

    ``keep`` ``crossfall``: the crown keeps its height and each half its crossfall, so the
    edges move up or down; ``elevation``: crown and edges keep their heights. Before the
    first and after the last station the section's own crown holds.
    """

    points: tuple[tuple[float, float], ...]
    keep: Literal["crossfall", "elevation"]
    ease: Literal["linear", "smooth"] = "linear"
    where: str = ""


@dataclass(frozen=True, slots=True)
class Widening:
    """Width [m] added to the strip inside a break at stations; what lies outside moves with it.

    ``keep`` as for `CrownShift`. A layer without the break is widened at its outermost strip.
    """

    side: int
    at: str
    points: tuple[tuple[float, float], ...]
    keep: Literal["crossfall", "elevation"]
    ease: Literal["linear", "smooth"] = "linear"
    where: str = ""


@dataclass(frozen=True, slots=True)
class CrossfallChange:
    """Crossfall from the crown to a break at stations: (station, left, right), + down outward.

    NaN leaves that side its own. What lies outside the break moves with it, unchanged in
    shape. The other layers tilt by the same difference. ``pivot`` keeps its height:
    the crown, or the break on one side. The first and last stations must give what the
    section has there, or the change is abrupt.
    """

    at: str
    points: tuple[tuple[float, float, float], ...]
    pivot: Literal["crown", "left", "right"] = "crown"
    ease: Literal["linear", "smooth"] = "linear"
    where: str = ""


@dataclass(frozen=True, slots=True)
class Superelevation:
    """Crossfall turned with a curve from ``start`` to ``end``; `CrossfallChange` by rule.

    ``turn`` is that of the curve, +1 right. ``full`` and ``normal`` crossfall are m/m, ``length``
    is the runoff [m], ``share`` the part of it before the curve.
    """

    at: str
    turn: int
    start: float
    end: float
    full: float
    normal: float
    length: float
    share: float
    pivot: Literal["crown", "left", "right"] = "crown"
    where: str = ""


@dataclass(frozen=True, slots=True)
class CurbDrop:
    """A lowered curb from ``start`` to ``end``, with a taper before and after.

    ``height`` of the break ``top`` above the break ``foot`` in the opening [m]. Breaks between
    the two are lowered in proportion, those outside move with the top, foot and roadway stay.
    """

    side: int
    start: float
    end: float
    taper: float
    height: float
    top: str
    foot: str
    where: str = ""


@dataclass(frozen=True, slots=True)
class Depression:
    """The gutter lowered at a catch basin.

    The break ``foot`` lies ``depth`` [m] lower over ``length``, half of it on either side of
    ``station``, and comes back over ``taper`` at each end. Across it runs out at ``width`` from
    the foot towards the crown. What lies outside the foot keeps its height but for
    ``curb_down``. Where ``follow`` the layers beneath go down by as much, from the foot outward
    by all of it. ``basin`` is a recorded thing: it says the station where that is NaN.
    """

    side: int
    foot: str
    depth: float
    length: float
    taper: float
    width: float
    follow: bool
    station: float = float("nan")
    basin: str = ""
    curb_down: float = 0.0
    where: str = ""

    @property
    def corners(self) -> tuple[float, float, float, float]:
        """Stations at which it begins, is at full depth, begins to rise, and ends."""
        half = 0.5 * self.length
        start, end = self.station - half, self.station + half
        return start - self.taper, start, end, end + self.taper


@dataclass(frozen=True, slots=True)
class Opening:
    """Every layer ends at one break of the top layer from ``start`` to ``end``: a mouth."""

    side: int
    start: float
    end: float
    at: str
    where: str = ""


SectionChange: TypeAlias = (
    CrownShift | Widening | CrossfallChange | Superelevation | CurbDrop | Depression | Opening
)


@dataclass(frozen=True, slots=True)
class SectionTable:
    """The sections of a road as read, in order of station, and what changes them, in order."""

    name: str
    sections: tuple[SectionRow, ...]
    changes: tuple[SectionChange, ...] = ()
