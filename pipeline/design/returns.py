"""Curb returns: the arc between the edges of two streets, its heights, and the curb along it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import build, locate, point_at
from pipeline.design.corridor import elevation
from pipeline.design.equations import station_text
from pipeline.design.section import SLACK_M, between, column_of, filled, span_of
from pipeline.errors import DesignError
from pipeline.model import (
    SIDES,
    Alignment,
    AlignmentRows,
    Corridor,
    ElementRow,
    Floats,
    Layer,
    Opening,
    Profile,
)
from pipeline.settings_design import ReturnRules

_STEP_M = 0.5
_CLOSE_M = 1e-10
_PIECES = 64
"""Parabolas that stand for a cubic of heights: 14 m are then true to a micrometre."""


@dataclass(frozen=True, slots=True)
class Leg:
    """Where a return touches one of its streets: tangent point, corner, and the break's offset.

    ``other`` is the street it leads to.
    """

    street: Corridor
    side: int
    tangent: float
    corner: float
    offset: float
    other: str = ""


@dataclass(frozen=True, slots=True)
class CurbReturn:
    """A return: its legs, and its arc with the curb as a corridor of its own."""

    name: str
    at: str
    legs: tuple[Leg, Leg]
    curb: Corridor


def curb_return(rules: ReturnRules, first: Corridor, second: Corridor) -> CurbReturn:
    """The return of two streets, tangent to the same break of both.

    Parameters
    ----------
    rules : ReturnRules
        Sides, break, radius and how the heights run.
    first, second : Corridor
        Before their mouths are opened; both with the break on their top layer.

    Returns
    -------
    CurbReturn
        The arc runs from the first street's tangent point to the second's.

    Raises
    ------
    DesignError
        No place for such an arc, several and none is named, a taper there, or curbs
        whose breaks differ.

    Notes
    -----
    The centre lies the radius outside both edges: found on the first street's parallel
    to 1e-9 m. Straight grade, or the cubic that has both end heights and both edges'
    grades. What lies outside the break is taken from each street's section and
    runs linearly from one to the other.
    """
    where = f"curb return {rules.name!r}"
    sides = SIDES[rules.from_side], SIDES[rules.to_side]
    legs = _legs(rules, (first, second), sides, where)
    arc = _arc(rules, legs, where)
    length = float(arc.alignment.station[-1])
    heights = [edge_height(leg) for leg in legs]
    profile = _profile(rules, legs, length, heights)
    layers = _layers(arc, legs, heights, rules.at, where)
    curb = Corridor(rules.name, arc.alignment, profile, layers, on=rules.at)
    return CurbReturn(rules.name, rules.at, legs, curb)


@dataclass(frozen=True, slots=True)
class _Arc:
    alignment: Alignment
    turn: int


def _edge(street: Corridor, at: str, side: int, station: Floats) -> Floats:
    layer = street.layers[0]
    return between(layer.offset[:, column_of(layer, at, side)], span_of(layer, station))


def edge_height(leg: Leg) -> float:
    """Height of the leg's edge at its tangent point [m]."""
    return float(elevation(leg.street, leg.tangent, leg.offset, leg.street.layers[0].name))


def _legs(
    rules: ReturnRules, streets: tuple[Corridor, Corridor], sides: tuple[int, int], where: str
) -> tuple[Leg, Leg]:
    centres = _crossings(streets, sides, rules.at, rules.radius_m)
    line = streets[0].alignment
    centre = _one(centres, line, rules, where)
    corner = _one(_crossings(streets, sides, rules.at, 0.0), line, rules, where, near=centre[0])
    legs = []
    for k in (0, 1):
        offset = float(_edge(streets[k], rules.at, sides[k], np.array([centre[k]]))[0])
        at_corner = float(_edge(streets[k], rules.at, sides[k], np.array([corner[k]]))[0])
        if math.isnan(offset) or abs(offset - at_corner) > 0.001:
            raise DesignError(
                where,
                f"the {rules.at} of {streets[k].name!r} lies {offset:.3f} m out at its tangent"
                f" point and {at_corner:.3f} m at the corner",
                "let the section be even there, or give the corner as a surface",
            )
        legs.append(Leg(streets[k], sides[k], centre[k], corner[k], offset, streets[1 - k].name))
    return legs[0], legs[1]


def _one(
    found: list[tuple[float, float]],
    line: Alignment,
    rules: ReturnRules,
    where: str,
    near: float | None = None,
) -> tuple[float, float]:
    """The crossing nearest to a station of the first street; the only one where none is named."""
    wanted = rules.near_station if near is None else near
    if not found:
        raise DesignError(
            where,
            f"no arc of {rules.radius_m} m touches the {rules.at} of both streets on these sides",
            "check the sides, the radius, and that both streets reach the corner",
        )
    if len(found) > 1 and wanted is None:
        at = " and ".join(station_text(line, s) for s, _ in found)
        raise DesignError(where, f"it could stand at {at}", "name one with near_station")
    return min(found, key=lambda pair: abs(pair[0] - (wanted or 0.0)))


def _crossings(
    streets: tuple[Corridor, Corridor], sides: tuple[int, int], at: str, beyond: float
) -> list[tuple[float, float]]:
    """Stations on both where their edges, moved outward by `beyond`, cross."""
    first, second = streets
    line = first.alignment
    reach = np.array([line.station[0], line.station[-1]])
    table = first.layers[0].station
    low, high = max(reach[0], table[0]), min(reach[1], table[-1])
    s = np.linspace(low, high, max(2, int(np.ceil((high - low) / _STEP_M)) + 1))

    def away(station: Floats) -> tuple[Floats, Floats]:
        out = _edge(first, at, sides[0], station) + sides[0] * beyond
        e, n, _ = point_at(line, station, out)
        feet = locate(second.alignment, e, n, reach=200.0)
        own = _edge(second, at, sides[1], feet.station) + sides[1] * beyond
        apart = np.where(feet.beyond == 0, feet.offset - own, np.nan)
        return apart, feet.station

    apart, _ = away(s)
    found = []
    with np.errstate(invalid="ignore"):
        turns = np.flatnonzero((apart[:-1] > 0.0) != (apart[1:] > 0.0))
    for i in turns:
        if not np.isfinite(apart[i] + apart[i + 1]):
            continue
        a, b = float(s[i]), float(s[i + 1])
        for _ in range(80):
            middle = 0.5 * (a + b)
            if (away(np.array([middle]))[0][0] > 0.0) == (apart[i] > 0.0):
                a = middle
            else:
                b = middle
            if abs(b - a) < _CLOSE_M:
                break
        gap, on = away(np.array([0.5 * (a + b)]))
        # a jump from one foot to another across the second street's line is no crossing
        if abs(gap[0]) < 1e-6:
            found.append((0.5 * (a + b), float(on[0])))
    return found


def _arc(rules: ReturnRules, legs: tuple[Leg, Leg], where: str) -> _Arc:
    ends, out = [], []
    for leg in legs:
        e, n, azimuth = point_at(leg.street.alignment, leg.tangent, leg.offset)
        ends.append((float(e), float(n)))
        out.append(float(azimuth) + leg.side * math.pi / 2.0)
    radius = rules.radius_m
    centre = (
        ends[0][0] + radius * math.sin(out[0]), ends[0][1] + radius * math.cos(out[0])
    )  # fmt: skip
    turned = math.atan2(math.sin(out[1] - out[0]), math.cos(out[1] - out[0]))
    turn = 1 if turned > 0.0 else -1
    # from the centre a point goes round by what the outward directions differ
    begins = out[0] + math.pi + turn * math.pi / 2.0
    row = ElementRow(
        "arc", radius * abs(turned), radius, radius, turn, start=ends[0], end=ends[1],
        centre=centre,
    )  # fmt: skip
    alignment, _ = build(AlignmentRows(rules.name, (row,), 0.0, begins))
    x, y, _ = point_at(alignment, alignment.station[-1])
    if math.dist((float(x), float(y)), ends[1]) > 1e-6:
        raise DesignError(where, "its arc misses the second street", "check the two streets")
    return _Arc(alignment, turn)


def grade_along(leg: Leg, step: float = 0.01) -> float:
    """Grade of the leg's edge with rising station, at the tangent point [m/m]."""
    at = np.array([leg.tangent - step, leg.tangent + step])
    z = elevation(leg.street, at, np.full(2, leg.offset), leg.street.layers[0].name)
    e, n, _ = point_at(leg.street.alignment, at, np.full(2, leg.offset))
    return float((z[1] - z[0]) / np.hypot(e[1] - e[0], n[1] - n[0]))


def edge_grades(legs: tuple[Leg, Leg]) -> tuple[float, float]:
    """Grades of the edges along the way: to the corner on the first, from it on the other [m/m]."""
    first, second = legs
    return (
        math.copysign(1.0, first.corner - first.tangent) * grade_along(first),
        math.copysign(1.0, second.tangent - second.corner) * grade_along(second),
    )


def _profile(
    rules: ReturnRules, legs: tuple[Leg, Leg], length: float, heights: list[float]
) -> Profile:
    straight = (heights[1] - heights[0]) / length
    slopes = (straight, straight) if rules.grade == "straight" else edge_grades(legs)
    return fitted_profile(rules.name, length, (heights[0], heights[1]), slopes)


def fitted_profile(
    name: str, length: float, heights: tuple[float, float], slopes: tuple[float, float]
) -> Profile:
    r"""The cubic of given heights and slopes at both ends, as parabolas end to end.

    Notes
    -----
    :math:`z = h_{00} z_0 + h_{10} L g_0 + h_{01} z_1 + h_{11} L g_1`, Hermite's cubic. Each
    of 64 parabolas has its height and both its grades; it leaves the cubic by at most
    :math:`|z'''| (L/64)^3 / 12`. Where the cubic is a straight grade there is one piece.
    """
    z0, z1 = heights
    g0, g1 = slopes
    rise = (z1 - z0) / length
    if max(abs(g0 - rise), abs(g1 - rise)) < 1e-12:
        u = np.array([0.0, 1.0])
    else:
        u = np.linspace(0.0, 1.0, _PIECES + 1)
    z = (
        z0 * (2 * u**3 - 3 * u**2 + 1) + length * g0 * (u**3 - 2 * u**2 + u)
        + z1 * (-2 * u**3 + 3 * u**2) + length * g1 * (u**3 - u**2)
    )  # fmt: skip
    g = (
        z0 * (6 * u**2 - 6 * u) + length * g0 * (3 * u**2 - 4 * u + 1)
        + z1 * (-6 * u**2 + 6 * u) + length * g1 * (3 * u**2 - 2 * u)
    ) / length  # fmt: skip
    return Profile(name, u * length, z[:-1], g[:-1], g[1:], np.full(len(u) - 1, np.inf))


def _layers(
    arc: _Arc, legs: tuple[Leg, Leg], heights: list[float], at: str, where: str
) -> tuple[Layer, ...]:
    shared = [
        layer.name
        for layer in legs[0].street.layers
        if layer.surface is None
        and any(o.name == layer.name and o.surface is None for o in legs[1].street.layers)
    ]
    length = float(arc.alignment.station[-1])
    layers = []
    for name in shared:
        halves = [_beyond(leg, name, height) for leg, height in zip(legs, heights, strict=True)]
        names = [tuple(half) for half in halves]
        if names[0] != names[1]:
            # the first, without a name, is the line itself
            one, other = (", ".join(half[1:]) or "nothing" for half in names)
            raise DesignError(
                where,
                f"outside the {at} layer {name!r} has {one} on one street and {other} on the other",
                "give both streets the same breaks there",
            )
        layers.append(_layer(legs, name, halves, (arc.turn, length)))
    return tuple(layers)


def _layer(
    legs: tuple[Leg, Leg], name: str, halves: list[dict[str, tuple[float, float]]],
    arc: tuple[int, float],
) -> Layer:  # fmt: skip
    turn, length = arc
    breaks = list(halves[0])
    offset = np.array([[0.0, *(turn * half[n][0] for n in breaks[1:])] for half in halves])
    rise = np.array([[half[n][1] for n in breaks] for half in halves])
    order = slice(None) if turn > 0 else slice(None, None, -1)
    title = legs[0].street.layer(name).title
    return Layer(
        name=name,
        title=title,
        breaks=tuple(["crown", *breaks[1:]][order]),
        side=tuple([0, *(turn for _ in breaks[1:])][order]),
        station=np.array([0.0, length]),
        offset=offset[:, order],
        rise=rise[:, order],
    )


def _beyond(leg: Leg, name: str, height: float) -> dict[str, tuple[float, float]]:
    """Breaks of a layer from the return's line outward: name -> width and rise from its height."""
    layer = leg.street.layer(name)
    span = span_of(layer, np.array([leg.tangent]))
    offsets, rises = filled(layer)
    o, z = between(offsets, span)[0], between(rises, span)[0]
    on_line = float(grade_line.elevation(leg.street.profile, leg.tangent))
    own = float(elevation(leg.street, leg.tangent, leg.offset, name))
    found = {"": (0.0, own - height)}
    crown = layer.side.index(0)
    outward = range(crown + leg.side, len(o) if leg.side > 0 else -1, leg.side)
    missing = np.isnan(between(layer.offset, span)[0])
    for j in outward:
        width = (o[j] - leg.offset) * leg.side
        if missing[j] or width < -SLACK_M:
            continue
        if width <= SLACK_M and abs(on_line + z[j] - own) <= SLACK_M:
            continue  # the line itself
        found[layer.breaks[j]] = (max(float(width), 0.0), float(on_line + z[j] - height))
    return found


def merged_openings(legs: list[Leg], at: str, where: str) -> list[Opening]:
    """Openings of one street: between two returns that face each other it is open throughout."""
    found = []
    for side in (-1, 1):
        mine = sorted((leg for leg in legs if leg.side == side), key=lambda leg: leg.tangent)
        taken = set()
        for i, leg in enumerate(mine):
            if i in taken:
                continue
            low, high = sorted((leg.tangent, leg.corner))
            after = mine[i + 1] if i + 1 < len(mine) else None
            # its corner lies ahead, the next one's behind: the mouth of one side street
            faces = after is not None and after.other == leg.other
            if after and faces and leg.corner > leg.tangent and after.corner < after.tangent:
                high = max(high, after.tangent)
                taken.add(i + 1)
            found.append(Opening(side, low, high, at, where))
    return found


def fractions(curb: Corridor) -> tuple[tuple[float, str], ...]:
    """The points of a return that are set: both ends, quarters and the middle."""
    length = float(curb.alignment.station[-1])
    words = ("PC", "1/4", "1/2", "3/4", "PT")
    return tuple((length * k / 4.0, word) for k, word in enumerate(words))
