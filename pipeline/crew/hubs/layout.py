"""The points to set before anybody shoots: hubs beside the work, points on the line itself.

Hubs come up the left side and back down the right. What a hub is called comes from
where it stands, not from its place in the list, so the next list calls it the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.levels import elevations
from pipeline.compare.streets import side_word
from pipeline.crew.hubs import stakes
from pipeline.crew.hubs.basins import basins_beside
from pipeline.crew.hubs.hub_places import (
    Reason,
    bridged,
    edge_reasons,
    interval_reasons,
    line_reasons,
    merged,
    stretch,
)
from pipeline.crew.hubs.references import lath_name, layer_with, on_side, reference_line
from pipeline.crew.hubs.stakes import Marks, behind_words
from pipeline.crew.measures import METRIC, Measures
from pipeline.design import alignment as line
from pipeline.design.equations import station_text
from pipeline.errors import JobError
from pipeline.model import (
    Corridor,
    Finding,
    Findings,
    Floats,
    Stakes,
    Table,
    Utilities,
    texts,
)
from pipeline.settings import LayoutRules, StakeRules
from pipeline.units import format_side

_SHIFT_M = 0.25
"""Step by which a hub is moved along its line to come clear of a recorded thing."""
CAUTION = (
    "Recorded things are kept clear of by a distance of the job file. That is no locate:"
    " have the place marked and expose by hand as the law of the place asks."
)


@dataclass(frozen=True, slots=True)
class _Spot:
    """One point to set: ``behind`` is 0 for a point of the line or an edge itself."""

    station: float
    offset: float
    side: int
    what: str
    words: tuple[str, ...]
    behind: float
    moved: float = 0.0
    clear_of: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Zones:
    """Circles in plan in which nothing is driven."""

    things: Utilities | None
    radius: float

    def hit(self, easting: float, northing: float) -> str:
        """Id of the nearest thing whose zone holds the place; empty where none does."""
        if self.things is None or not len(self.things):
            return ""
        away = np.hypot(self.things.easting - easting, self.things.northing - northing)
        nearest = int(np.argmin(away))
        return str(self.things.id[nearest]) if away[nearest] < self.radius else ""


def points_to_set(
    corridor: Corridor, stakes: StakeRules, rules: LayoutRules, things: Utilities | None,
    marks: Marks = (), unit: Measures = METRIC,
) -> tuple[Stakes, Findings]:  # fmt: skip
    """Every point to set before the work, and which of them could not stand where they belong.

    Parameters
    ----------
    corridor : Corridor
    stakes : StakeRules
        The reference break, and how far behind it hubs stand.
    rules : LayoutRules
        Interval, tolerances, the machine's path and the distance to recorded things.
    things : Utilities or None
    marks : tuple of (station, what)
        Points that have names of their own, instead of the line's plain ends.
    unit : Measures
        What the words for the lath are in.

    Returns
    -------
    Stakes
        Up the left side, back down the right, then the points of the line and of
        the gutters by station. ``design`` of a hub is each layer at the reference
        break beside it.
    Findings
        ``note``: a hub moved along its line, clear of a recorded thing.
        ``person``: a point left out, because no place near it is clear.

    Raises
    ------
    JobError
        Hubs would stand in the machine's path.
    DesignError
        No layer has the reference break. A gutter that no layer has is not set.
    """
    if stakes.hub_behind_m < rules.machine_behind_m:
        raise JobError(
            "stakes.hub_behind_m of the job file",
            f"hubs {stakes.hub_behind_m:.2f} m behind {stakes.reference} stand in the machine's"
            f" path, which reaches {rules.machine_behind_m:.2f} m behind it",
            "set them farther out, or correct layout.machine_behind_m",
        )
    layer_with(corridor, stakes.reference)  # a hub without a named reference is refused
    zones = Zones(things, rules.utility_clear_m)
    found: list[Finding] = []
    spots: list[_Spot] = []
    reasons = line_reasons(corridor, marks)
    basins = {
        side: [Reason(*one) for one in _basins(corridor, stakes, side, unit)] for side in (-1, 1)
    }
    for side in (-1, 1):
        hubs = _hub_spots(corridor, stakes, (rules, unit), (side, [*reasons, *basins[side]]))
        kept = _cleared(corridor, hubs, zones, (rules, unit), found)
        spots += kept[::-side]
    spots += _kept_clear(corridor, _line_spots(corridor, (rules, unit), reasons), zones, found)
    return _stakes(corridor, stakes, spots, unit), tuple(found)


def _basins(
    corridor: Corridor, stakes: StakeRules, side: int, unit: Measures
) -> list[tuple[float, int, str]]:
    if not on_side(corridor, stakes.reference, side):
        return []
    beside = basins_beside(corridor, stakes.reference, side, unit)
    return [(station, 0, words) for station, words in beside]


def _hub_spots(
    corridor: Corridor,
    stakes: StakeRules,
    by: tuple[LayoutRules, Measures],
    on: tuple[int, list[Reason]],
) -> list[_Spot]:
    (rules, unit), (side, reasons) = by, on
    if not on_side(corridor, stakes.reference, side):
        return []
    breaks = (stakes.reference, *([rules.gutter] if rules.gutter else []))
    at = _reference_offsets(corridor, stakes, side, _sampled(corridor))
    if not len(at):
        return []
    out = at + side * stakes.hub_behind_m
    reasons = [*reasons, *edge_reasons(corridor, tuple(dict.fromkeys(breaks)), side)]
    reasons += interval_reasons(corridor, rules, out)
    chosen = merged(reasons, rules.apart_m * stretch(corridor, out), unit)
    chosen = bridged(corridor, rules, out, chosen)
    station = np.array([reason.station for reason, _ in chosen])
    sides = np.full(len(station), side)
    reference = reference_line(corridor, stakes.reference, station, sides)
    return [
        _Spot(reason.station, float(offset), side, reason.what, words, stakes.hub_behind_m)
        for (reason, words), offset in zip(chosen, reference.offset, strict=True)
        if not np.isnan(offset)
    ]


def _sampled(corridor: Corridor) -> Floats:
    """Stations at which the reference break reaches farthest: its offset is linear between."""
    tables = [layer.station for layer in corridor.layers if layer.surface is None]
    return np.unique(np.concatenate(tables)) if tables else np.empty(0)


def _reference_offsets(
    corridor: Corridor, stakes: StakeRules, side: int, station: Floats
) -> Floats:
    sides = np.full(len(station), side)
    offset = reference_line(corridor, stakes.reference, station, sides).offset
    return offset[~np.isnan(offset)]


def _line_spots(
    corridor: Corridor, by: tuple[LayoutRules, Measures], reasons: list[Reason]
) -> list[_Spot]:
    """Points on the crown line, and the gutters' high and low points in their place."""
    rules, unit = by
    # a change of section is set beside the work only: nobody grades to its crown
    on_line = merged([one for one in reasons if one.what != "section"], rules.apart_m, unit)
    spots = [_Spot(one.station, one.offset, 0, one.what, words, 0.0) for one, words in on_line]
    if rules.gutter:
        for side in (-1, 1):
            spots += [
                _Spot(one.station, one.offset, side, one.what, (), 0.0)
                for one in edge_reasons(corridor, (rules.gutter,), side)
            ]
    return sorted(spots, key=lambda spot: (spot.station, spot.offset))


def _cleared(
    corridor: Corridor, spots: list[_Spot], zones: Zones, by: tuple[LayoutRules, Measures],
    found: list[Finding],
) -> list[_Spot]:  # fmt: skip
    """Hubs moved along their line, clear of recorded things, or left out and told."""
    rules, unit = by
    kept: list[_Spot] = []
    taken = [spot.station for spot in spots]
    for spot in spots:
        hit = zones.hit(*_place(corridor, spot))
        if not hit:
            kept.append(spot)
            continue

        def free(at: float, moved: _Spot = spot) -> bool:
            others = (s for s in taken if s != moved.station)
            return all(abs(at - s) >= rules.apart_m for s in others)

        moved = _moved(corridor, spot, zones, (0.5 * rules.interval_m, free))
        if moved is None:
            found.append(_left_out(corridor, spot, hit))
            continue
        taken.append(moved.station)
        kept.append(replace(moved, clear_of=hit))
        found.append(
            Finding(
                "note", "hub moved",
                f"hub {_called(corridor, spot)}: {_note(kept[-1], unit)}",
                "set it where the list says", points=(hit,), station=spot.station,
            )
        )  # fmt: skip
    return sorted(kept, key=lambda spot: spot.station)


def _moved(
    corridor: Corridor, spot: _Spot, zones: Zones, within: tuple[float, Callable[[float], bool]]
) -> _Spot | None:
    """The nearest clear place along the hub line, ahead before back; None where there is none."""
    farthest, free = within
    first, last = corridor.alignment.station[0], corridor.alignment.station[-1]
    for step in np.arange(_SHIFT_M, farthest + 1e-9, _SHIFT_M):
        for shift in (float(step), -float(step)):
            at = spot.station + shift
            if not (first <= at <= last and free(at)):
                continue
            there = replace(spot, station=at, moved=shift)
            if not zones.hit(*_place(corridor, there)):
                return there
    return None


def _kept_clear(
    corridor: Corridor, spots: list[_Spot], zones: Zones, found: list[Finding]
) -> list[_Spot]:
    """Points that mean their very place: outside the zones, or left out and told."""
    kept = []
    for spot in spots:
        hit = zones.hit(*_place(corridor, spot))
        if hit:
            found.append(_left_out(corridor, spot, hit))
        else:
            kept.append(spot)
    return kept


def _left_out(corridor: Corridor, spot: _Spot, hit: str) -> Finding:
    what = spot.what or "hub"
    return Finding(
        "person", "point left out",
        f"{what} at {_called(corridor, spot)}: within the distance kept from {hit}, and"
        + (" no place near it is clear" if spot.behind else " it cannot be moved"),
        "mark it by ties from clear ground", points=(hit,), station=spot.station,
    )  # fmt: skip


def _place(corridor: Corridor, spot: _Spot) -> tuple[float, float]:
    offset = spot.offset + spot.side * spot.behind
    easting, northing, _ = line.point_at(corridor.alignment, spot.station, offset)
    return float(easting), float(northing)


def _called(corridor: Corridor, spot: _Spot) -> str:
    """``0+120.0 L``; on the line of a return there is no side to name."""
    at = station_text(corridor.alignment, spot.station)
    return f"{at} {side_word(corridor, spot.side)}".rstrip()


def _stakes(corridor: Corridor, stakes: StakeRules, spots: list[_Spot], unit: Measures) -> Stakes:
    station = np.array([spot.station for spot in spots])
    side = np.array([spot.side for spot in spots], dtype=np.int64)
    hub = np.array([spot.behind > 0.0 for spot in spots], dtype=bool)
    at = np.array([spot.offset for spot in spots])
    if hub.any():
        # a moved hub stands beside another place of the reference break
        beside = reference_line(corridor, stakes.reference, station[hub], side[hub])
        at[hub] = beside.offset
    offset = at + side * np.array([spot.behind for spot in spots])
    easting, northing, _ = line.point_at(corridor.alignment, station, offset)
    east, north, _ = line.point_at(corridor.alignment, station, at)
    behind = behind_words(stakes, unit)
    lath = f"{behind} {lath_name(stakes.reference)}"
    return Stakes(
        layers=tuple(layer.name for layer in corridor.layers),
        id=texts([_id(corridor, spot) for spot in spots]),
        kind=texts(["stake" if spot.behind else "point" for spot in spots]),
        what=texts([_what(spot, f"hub {behind} behind {stakes.reference}") for spot in spots]),
        station=station,
        offset=offset,
        easting=easting,
        northing=northing,
        ground=np.full(len(spots), np.nan),
        design=elevations(corridor, station, at, east, north),
        mark=texts([lath if spot.behind else _short(spot.what) for spot in spots]),
        note=texts([_note(spot, unit) for spot in spots]),
    )


def _id(corridor: Corridor, spot: _Spot) -> str:
    """``0120.0L`` for a hub, ``PC0085.0`` for a point; the region behind where it is needed."""
    short = "" if spot.behind else _short(spot.what)
    side = format_side(spot.side) if spot.side else ""
    return stakes.point_id(corridor.alignment, spot.station, short, side)


def _short(what: str) -> str:
    """``LP`` of ``LP flowline``: what fits on a lath."""
    return what.partition(" ")[0] if what.startswith(("HP ", "LP ")) else what


def _what(spot: _Spot, hub: str) -> str:
    told = "; ".join(word for word in (spot.what, *spot.words) if word)
    if not spot.behind:
        return told
    return f"{hub}: {told}" if told else hub


def _note(spot: _Spot, unit: Measures) -> str:
    if not spot.moved:
        return ""
    way = "ahead" if spot.moved > 0 else "back"
    return f"moved {unit.long(abs(spot.moved), 0.01)} {unit.unit} {way}, clear of {spot.clear_of}"


def table(corridor: Corridor, points: Stakes, rules: StakeRules) -> Table:
    """``layout.csv``: a row a point, elevations of every layer, final text."""
    lines = dict.fromkeys(set(points.street.tolist()), corridor)
    return stakes.table(points, rules, lines, name="layout")
