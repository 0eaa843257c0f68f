"""Areas between streets and their edges: the corner inside a return, a bulb, an eyebrow."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from pipeline.design import grade_line
from pipeline.design.alignment import point_at
from pipeline.design.area import between_lines
from pipeline.design.corridor import elevation
from pipeline.design.equations import station_text
from pipeline.design.knots import knots
from pipeline.design.returns import CurbReturn, Leg
from pipeline.design.section import between, column_of, filled, span_of
from pipeline.errors import DesignError
from pipeline.model import SIDES, Corridor, Finding, Findings, Floats, Part, Surface
from pipeline.settings import DesignRules
from pipeline.settings_design import EdgeLineRules

_CLOSED_M = 0.001
_SNAP_M = 0.02
"""A ring that misses its street by more is not closed for the designer."""


def edge_string(
    street: Corridor, layer: str, side: int, at: str, between_stations: tuple[float, float],
    rules: DesignRules,
) -> Floats:  # fmt: skip
    """A layer along one break of the top layer, cut where the street's triangles are, (n, 3).

    From the first station to the second, which may lie before it.
    """
    low, high = sorted(between_stations)
    cut = knots(street, rules)
    stations = np.concatenate([[low], cut[(cut > low + 1e-6) & (cut < high - 1e-6)], [high]])
    if between_stations[0] > between_stations[1]:
        stations = stations[::-1]
    top = street.layers[0]
    offset = between(top.offset[:, column_of(top, at, side)], span_of(top, stations))
    return _string(street, layer, stations, offset)


def _string(street: Corridor, layer: str, station: Floats, offset: Floats) -> Floats:
    e, n, _ = point_at(street.alignment, station, offset)
    return np.stack([e, n, elevation(street, station, offset, layer)], axis=1)


def curb_string(edge: Corridor, layer: str, rules: DesignRules) -> Floats:
    """The line of a return or an edge itself, at a layer's height, (n, 3)."""
    chosen = edge.layer(layer)
    station = knots(edge, rules)
    span = span_of(chosen, station)
    rise = between(chosen.rise[:, chosen.side.index(0)], span)
    e, n, _ = point_at(edge.alignment, station)
    return np.stack([e, n, grade_line.elevation(edge.profile, station) + rise], axis=1)


def corner_area(found: CurbReturn, legs: tuple[Leg, Leg], rules: DesignRules) -> Part:
    """The ground between a return and its two streets, of every layer that they share.

    ``legs`` are those of the return with the streets as they are built, mouths open.
    """
    where = f"curb return {found.name!r}"
    first, second = legs

    def ring(layer: str) -> tuple[Floats, list[Floats]]:
        arc = curb_string(found.curb, layer, rules)
        back = edge_string(
            second.street, layer, second.side, found.at, (second.tangent, second.corner), rules
        )
        home = edge_string(
            first.street, layer, first.side, found.at, (first.corner, first.tangent), rules
        )
        return np.concatenate([arc, back[1:-1], home[:-1]]), []

    return _area(f"{found.name} corner", found.curb, ring, where)


def _area(
    name: str, curb: Corridor, ring: Callable[[str], tuple[Floats, list[Floats]]], where: str
) -> Part:
    origin = np.array([curb.alignment.easting[0], curb.alignment.northing[0]])
    surfaces: list[Surface] = []
    for layer in curb.layers:
        outside, lines = ring(layer.name)
        if not np.isfinite(outside).all():
            raise DesignError(
                where, f"layer {layer.name!r} is not designed all along its edges",
                "check that the streets reach the corner with every layer",
            )  # fmt: skip
        surfaces.append(between_lines(layer.name, outside, lines, origin, where))
    return Part(name, "area", surfaces=tuple(surfaces))


def bulb_area(
    rules: EdgeLineRules, street: Corridor, edge: Corridor, cut: DesignRules
) -> tuple[Part, Findings]:
    """The ground of a cul-de-sac bulb: from its edge to the street's crown, run on to the centre.

    Parameters
    ----------
    rules : EdgeLineRules
        ``throat`` and ``centre``; the street's sections end at the throat.
    street, edge : Corridor
        The edge runs from one side of the throat around to the other.
    cut : DesignRules

    Returns
    -------
    Part
    Findings
        How the ring closes at both ends of the throat, in plan and in height; a
        ``person`` has to look where it misses by over 1 mm.

    Raises
    ------
    DesignError
        No throat or centre, a street that goes on past its throat or a ring that
        misses its street by over 20 mm.
    """
    where = f"bulb {rules.name!r}"
    if rules.throat is None or rules.centre is None:
        raise DesignError(where, "its throat or centre is missing", "give both stations")
    throat, centre = rules.throat, rules.centre
    table = street.layers[0].station
    inner = table[-1] if centre > throat else table[0]
    if abs(inner - throat) > 1e-6:
        called = partial(station_text, street.alignment, step=0.001)
        raise DesignError(
            where,
            f"the sections of {street.name!r} end at {called(float(inner))}, its throat is at"
            f" {called(throat)}",
            "let the sections end at the throat",
        )
    closing: list[Finding] = []

    def ring(layer: str) -> tuple[Floats, list[Floats]]:
        line = curb_string(edge, layer, cut)
        across, crown = _throat(street, layer, rules.at, throat)
        outside, misses = _closed(line, across)
        if layer == edge.layers[0].name:
            closing.extend(_closing(misses, where))
        return outside, [_crown(street, layer, crown, rules, cut)]

    part = _area(f"{rules.name} surface", edge, ring, where)
    return part, tuple(closing)


def _throat(
    street: Corridor, layer: str, at: str, station: float
) -> tuple[Floats, tuple[float, float]]:
    """Section of a layer from one edge to the other at the throat, and its crown's offset, rise."""
    top, chosen = street.layers[0], street.layer(layer)
    here = np.array([station])
    # on the street's side of its end
    ends = [
        float(between(top.offset[:, column_of(top, at, side)], span_of(top, here))[0])
        for side in (-1, 1)
    ]
    span = span_of(chosen, here)
    offset, rise = (between(values, span)[0] for values in filled(chosen))
    crown = chosen.side.index(0)
    inside = offset[(offset > ends[0] + 1e-6) & (offset < ends[1] - 1e-6)]
    offsets = np.concatenate([[ends[0]], np.unique(inside), [ends[1]]])
    return (
        _string(street, layer, np.full(len(offsets), station), offsets),
        (float(offset[crown]), float(rise[crown])),
    )


def _crown(
    street: Corridor, layer: str, crown: tuple[float, float], rules: EdgeLineRules,
    cut: DesignRules,
) -> Floats:  # fmt: skip
    """The crown line from the throat to the centre, at a layer's height."""
    throat, centre = float(rules.throat or 0.0), float(rules.centre or 0.0)
    count = max(2, int(np.ceil(abs(centre - throat) / cut.max_step_m)) + 1)
    line = np.concatenate([street.alignment.station, street.profile.station])
    low, high = sorted((throat, centre))
    station = np.unique(
        [*np.linspace(low, high, count), *line[(line > low + 0.01) & (line < high - 0.01)]]
    )
    if throat > centre:
        station = station[::-1]
    e, n, _ = point_at(street.alignment, station, np.full(len(station), crown[0]))
    z = grade_line.elevation(street.profile, station) + crown[1]
    if not np.isfinite(z).all():
        raise DesignError(
            f"bulb {rules.name!r}, layer {layer!r}",
            f"the profile of {street.name!r} does not reach its centre",
            "run the profile on to the centre",
        )
    return np.stack([e, n, z], axis=1)


def _closed(line: Floats, own: Floats) -> tuple[Floats, Floats]:
    """An edge and its street's own line as one ring, and what the edge misses at its two ends.

    Both (n, 3), `own` in either direction; at the ends the street's points are kept.
    """
    if np.hypot(*(line[0] - own[0])[:2]) < np.hypot(*(line[0] - own[-1])[:2]):
        own = own[::-1]
    return np.concatenate([own[-1:], line[1:-1], own[:-1]]), line[[0, -1]] - own[[-1, 0]]


def _closing(misses: Floats, where: str) -> list[Finding]:
    plan = np.hypot(misses[:, 0], misses[:, 1])
    if plan.max() > _SNAP_M or np.abs(misses[:, 2]).max() > _SNAP_M:
        raise DesignError(
            where,
            f"its edge misses the street by {plan.max():.3f} m in plan and"
            f" {np.abs(misses[:, 2]).max():.3f} m in height",
            "let it begin and end on the street's edge",
        )
    worst = max(float(plan.max()), float(np.abs(misses[:, 2]).max()))
    # what rounds to nothing has no sign
    away = np.round(1000 * np.column_stack([plan, misses[:, 2]]), 1) + 0.0
    text = (
        f"{where}: the ring closes to {away[0, 0]:.1f} and {away[1, 0]:.1f} mm in plan,"
        f" {away[0, 1]:+.1f} and {away[1, 1]:+.1f} mm in height"
    )
    if worst <= _CLOSED_M:
        return [Finding("note", "ring closure", text, "nothing to do")]
    return [Finding("person", "ring closure", text, "ask the designer which height is meant")]


def eyebrow_area(
    rules: EdgeLineRules, street: Corridor, edge: Corridor, cut: DesignRules
) -> tuple[Part, Findings]:
    """The ground of an eyebrow: between the street's own edge, run through, and the bay's.

    The street is given with its curb opened along the bay; see `bulb_area` for the rest.
    """
    where = f"eyebrow {rules.name!r}"
    if rules.side is None or rules.start is None or rules.end is None:
        raise DesignError(where, "its side, start or end is missing", "give all three")
    side, start, end = SIDES[rules.side], rules.start, rules.end
    closing: list[Finding] = []

    def ring(layer: str) -> tuple[Floats, list[Floats]]:
        line = curb_string(edge, layer, cut)
        own = edge_string(street, layer, side, rules.at, (end, start), cut)
        outside, misses = _closed(line, own)
        if layer == edge.layers[0].name:
            closing.extend(_closing(misses, where))
        return outside, []

    return _area(f"{rules.name} surface", edge, ring, where), tuple(closing)
