"""The clay of the invented intersection, worked out part by part, and what the blade left of it.

Metres east of 1000 and north of 2000. Circles, straight lines and shares of angles only: the
house is measured against it.
"""

from __future__ import annotations

import math

from pipeline.demo import intersection as streets

EDGE_M = streets.CLAY[1]
"""Edge of clay from a street's line."""
OUT_M = EDGE_M - streets.LIP_M
"""Edge of clay from the lip."""
DROP_M = streets.CLAY[0]
RETURN_M = 9.0
TANGENT = streets.LIP_M + RETURN_M
"""Where a return meets the side street: its station there."""
WARP_M = 15.0
SPOT = (30.0, streets.MEETING - 2.0)
SPOT_M, SPOT_WIDE_M = 0.120, 3.0
"""Here the clay of the side street stands high, as a dome that is gone this far out."""


def main_clay(x: float, y: float) -> float:
    """Clay of the through street, carried on past its edge."""
    crown = streets.MAIN_START_Z + streets.MAIN_GRADE * y - DROP_M
    return crown - streets.LAYER_FALL * abs(x)


def side_clay(station: float, right: float) -> float:
    """Clay of the side street, laid onto the through street's at its lip and free 15 m on.

    The crown and both edges are lifted to the through street's clay there; between them
    the lift is even.
    """
    own = streets.side_height(station) - DROP_M - streets.LAYER_FALL * abs(right)
    start = streets.LIP_M
    share = min(1.0, abs(right) / EDGE_M)
    level = streets.side_height(start) - DROP_M
    crown = main_clay(start, streets.MEETING) - level
    edge = math.copysign(EDGE_M, right)
    out = main_clay(start, streets.MEETING - edge) - (level - streets.LAYER_FALL * EDGE_M)
    lift = crown + share * (out - crown)
    return own + lift * min(1.0, max(0.0, 1.0 - (station - start) / WARP_M))


def return_place(side: int, angle: float, out: float) -> tuple[float, float]:
    """Beside the lip of a return, `out` behind it; the angle runs from the through street."""
    radius = RETURN_M - out
    north = side * (TANGENT - radius * math.sin(angle))
    return TANGENT - radius * math.cos(angle), streets.MEETING + north


def return_clay(side: int, angle: float, out: float) -> float:
    """Clay of a return behind its lip: along each circle evenly from street to street."""
    share = angle / (math.pi / 2.0)

    def at(away: float) -> float:
        first = main_clay(away, streets.MEETING + side * TANGENT)
        return first + share * (side_clay(TANGENT, -side * away) - first)

    lip, edge = at(streets.LIP_M), at(EDGE_M)
    return lip + out / OUT_M * (edge - lip)


def corner_clay(side: int, angle: float, share: float) -> tuple[float, float, float]:
    """A place inside a return and its clay: `share` of the way from the lip to the streets' lips.

    On a ray from the centre of the circle, evenly.
    """
    long = RETURN_M / max(math.cos(angle), math.sin(angle))
    x, y = return_place(side, angle, (RETURN_M - long) * share)
    if angle < math.pi / 4.0:
        end = main_clay(streets.LIP_M, streets.MEETING + side * (TANGENT - long * math.sin(angle)))
    else:
        end = side_clay(TANGENT - long * math.cos(angle), -side * streets.LIP_M)
    lip = return_clay(side, angle, 0.0)
    return x, y, lip + share * (end - lip)


def bulb_place(run: float, out: float) -> tuple[float, float]:
    """Beside the lip of the bulb, `out` behind it; `run` is from the throat's north side."""
    turn, length = streets.bulb_turn(), streets.bulb_length()
    if run > 0.5 * length:
        x, y = bulb_place(length - run, out)
        return x, 2.0 * streets.MEETING - y
    throat, small = streets.THROAT_M, streets.THROAT_M * turn
    start = streets.CENTRE - (streets.BULB_M + throat) * math.sin(turn)
    if run < small:
        angle, radius = run / throat, throat - out
        x = start + radius * math.sin(angle)
        return x, streets.MEETING + streets.LIP_M + throat - radius * math.cos(angle)
    angle = 0.5 * math.pi + turn - (run - small) / streets.BULB_M
    radius = streets.BULB_M + out
    return streets.CENTRE + radius * math.cos(angle), streets.MEETING + radius * math.sin(angle)


def bulb_clay(run: float, out: float) -> float:
    """Clay at the lip of the bulb and behind it."""
    length = streets.bulb_length()
    turn = streets.bulb_turn()
    start = streets.CENTRE - (streets.BULB_M + streets.THROAT_M) * math.sin(turn)
    away = abs(run - 0.5 * length)
    lip = streets.side_height(start) - streets.FALL * streets.LIP_M
    lip += streets.EDGE_GRADE * (0.5 * length - away)
    # the vertical curve of 2 m and 2 m at the back
    lip += -streets.EDGE_GRADE * max(0.0, 2.0 - away) ** 2 / 4.0
    below = DROP_M + (streets.LAYER_FALL - streets.FALL) * streets.LIP_M
    return lip - below - streets.LAYER_FALL * out


def inside_bulb(run: float, share: float) -> tuple[float, float, float]:
    """A place inside the bulb and its clay: `share` of the way from the centre to the lip."""
    x, y = bulb_place(run, 0.0)
    centre = streets.side_height(streets.CENTRE) - DROP_M
    east = streets.CENTRE + share * (x - streets.CENTRE)
    north = streets.MEETING + share * (y - streets.MEETING)
    return east, north, centre + share * (bulb_clay(run, 0.0) - centre)


def left_over(x: float, y: float) -> float:
    """How much clay the blade left, -10 to 30 mm in long waves, and the high spot."""
    waves = 0.010 + 0.012 * math.sin(0.11 * x + 0.05 * y) + 0.008 * math.cos(0.07 * y - 0.13 * x)
    away = math.hypot(x - SPOT[0], y - SPOT[1]) / SPOT_WIDE_M
    return waves + (SPOT_M * 0.5 * (1.0 + math.cos(math.pi * away)) if away < 1.0 else 0.0)
