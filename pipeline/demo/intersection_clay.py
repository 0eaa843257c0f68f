"""The clay of the invented intersection, worked out part by part, and what the blade left of it.

Metres east of 1000 and north of 2000. Circles, straight lines and shares of angles only: the
house is measured against it.
"""

from __future__ import annotations

import math

from pipeline.demo import intersection as known

EDGE_M = known.CLAY[1]
"""Edge of clay from a street's line."""
OUT_M = EDGE_M - known.LIP_M
"""Edge of clay from the lip."""
DROP_M = known.CLAY[0]
RETURN_M = 9.0
TANGENT = known.LIP_M + RETURN_M
"""Where a return meets the side street: its station there."""
WARP_M = 15.0
SPOT = (30.0, known.MEETING - 2.0)
SPOT_M, SPOT_WIDE_M = 0.120, 3.0
"""Here the clay of the side street stands high, as a dome that is gone this far out."""


def main_clay(x: float, y: float) -> float:
    """Clay of the through street, carried on past its edge."""
    crown = known.MAIN_START_Z + known.MAIN_GRADE * y - DROP_M
    return crown - known.LAYER_FALL * abs(x)


def side_clay(station: float, right: float) -> float:
    """Clay of the side street, laid onto the through street's at its lip and free 15 m on.

    The crown and both edges are lifted to the through street's clay there; between them
    the lift is even.
    """
    own = known.side_height(station) - DROP_M - known.LAYER_FALL * abs(right)
    start = known.LIP_M
    share = min(1.0, abs(right) / EDGE_M)
    level = known.side_height(start) - DROP_M
    crown = main_clay(start, known.MEETING) - level
    edge = math.copysign(EDGE_M, right)
    out = main_clay(start, known.MEETING - edge) - (level - known.LAYER_FALL * EDGE_M)
    lift = crown + share * (out - crown)
    return own + lift * min(1.0, max(0.0, 1.0 - (station - start) / WARP_M))


def return_place(side: int, angle: float, out: float) -> tuple[float, float]:
    """Beside the lip of a return, `out` behind it; the angle runs from the through street."""
    radius = RETURN_M - out
    north = side * (TANGENT - radius * math.sin(angle))
    return TANGENT - radius * math.cos(angle), known.MEETING + north


def return_clay(side: int, angle: float, out: float) -> float:
    """Clay of a return behind its lip: along each circle evenly from street to street."""
    share = angle / (math.pi / 2.0)

    def at(away: float) -> float:
        first = main_clay(away, known.MEETING + side * TANGENT)
        return first + share * (side_clay(TANGENT, -side * away) - first)

    lip, edge = at(known.LIP_M), at(EDGE_M)
    return lip + out / OUT_M * (edge - lip)


def corner_clay(side: int, angle: float, share: float) -> tuple[float, float, float]:
    """A place inside a return and its clay: `share` of the way from the lip to the streets' lips.

    On a ray from the centre of the circle, evenly.
    """
    long = RETURN_M / max(math.cos(angle), math.sin(angle))
    x, y = return_place(side, angle, (RETURN_M - long) * share)
    if angle < math.pi / 4.0:
        end = main_clay(known.LIP_M, known.MEETING + side * (TANGENT - long * math.sin(angle)))
    else:
        end = side_clay(TANGENT - long * math.cos(angle), -side * known.LIP_M)
    lip = return_clay(side, angle, 0.0)
    return x, y, lip + share * (end - lip)


def bulb_place(run: float, out: float) -> tuple[float, float]:
    """Beside the lip of the bulb, `out` behind it; `run` is from the throat's north side."""
    turn, length = known.bulb_turn(), known.bulb_length()
    if run > 0.5 * length:
        x, y = bulb_place(length - run, out)
        return x, 2.0 * known.MEETING - y
    throat, small = known.THROAT_M, known.THROAT_M * turn
    start = known.CENTRE - (known.BULB_M + throat) * math.sin(turn)
    if run < small:
        angle, radius = run / throat, throat - out
        x = start + radius * math.sin(angle)
        return x, known.MEETING + known.LIP_M + throat - radius * math.cos(angle)
    angle = 0.5 * math.pi + turn - (run - small) / known.BULB_M
    radius = known.BULB_M + out
    return known.CENTRE + radius * math.cos(angle), known.MEETING + radius * math.sin(angle)


def bulb_clay(run: float, out: float) -> float:
    """Clay at the lip of the bulb and behind it."""
    length = known.bulb_length()
    turn = known.bulb_turn()
    start = known.CENTRE - (known.BULB_M + known.THROAT_M) * math.sin(turn)
    away = abs(run - 0.5 * length)
    lip = known.side_height(start) - known.FALL * known.LIP_M
    lip += known.EDGE_GRADE * (0.5 * length - away)
    # the vertical curve of 2 m and 2 m at the back
    lip += -known.EDGE_GRADE * max(0.0, 2.0 - away) ** 2 / 4.0
    below = DROP_M + (known.LAYER_FALL - known.FALL) * known.LIP_M
    return lip - below - known.LAYER_FALL * out


def inside_bulb(run: float, share: float) -> tuple[float, float, float]:
    """A place inside the bulb and its clay: `share` of the way from the centre to the lip."""
    x, y = bulb_place(run, 0.0)
    centre = known.side_height(known.CENTRE) - DROP_M
    east = known.CENTRE + share * (x - known.CENTRE)
    north = known.MEETING + share * (y - known.MEETING)
    return east, north, centre + share * (bulb_clay(run, 0.0) - centre)


def left_over(x: float, y: float) -> float:
    """How much clay the blade left, -10 to 30 mm in long waves, and the high spot."""
    waves = 0.010 + 0.012 * math.sin(0.11 * x + 0.05 * y) + 0.008 * math.cos(0.07 * y - 0.13 * x)
    away = math.hypot(x - SPOT[0], y - SPOT[1]) / SPOT_WIDE_M
    return waves + (SPOT_M * 0.5 * (1.0 + math.cos(math.pi * away)) if away < 1.0 else 0.0)
