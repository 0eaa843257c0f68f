"""A morning on the invented intersection: what was shot, what stands and lies there, and slips.

The crew walks up the through street, around the south return, out the side street, around its
bulb, back by the north return and on. A loaded truck stood on the left of the side street, the
bank stands into the street on the south of the bulb, and one spot of clay was left high.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
from typing import NamedTuple

import numpy as np

from pipeline.demo import intersection as streets
from pipeline.demo import intersection_clay as clay
from pipeline.demo.cells import lines, metres
from pipeline.demo.noise import near_normal

DAY, SEED = "2026-05-14", 20260515
START = dt.datetime(2026, 5, 14, 6, 10, 0)  # noqa: DTZ001  instruments write local time
TRUCK = (20.0, 36.0)
"""Stations of the side street between which nothing left of its crown could be shot."""
BULGE_RUN, BULGE_HALF_M, BULGE_M = 46.0, 3.0, 0.10
"""Along the bulb's lip: the middle, half the length and the most of the bank in the street."""
TOE_M, TOP_M, TOP_HIGH_M = 0.20, 0.60, 0.465
"""The bank behind the edge of clay: its toe, its top, and how high that is above the clay."""
HUB_BEHIND_M = streets.LIP_M + 0.50 + 1.50 - clay.EDGE_M
"""A hub 1.50 m behind the back of the curb, from the edge of clay."""


class Spot(NamedTuple):
    """One place that was shot: metres from 1000, 2000, its true height, and what it is."""

    x: float
    y: float
    z: float
    code: str
    note: str = ""
    part: str = ""


class Thing(NamedTuple):
    """One buried thing on record: place, lid, depth from it to what breaks (NaN unknown)."""

    id: str
    kind: str
    x: float
    y: float
    lid: float
    depth: float
    note: str
    code: str


CONTROL = (
    ("K1", -11.42, 4.318, 50.214, "pin in concrete, south end, left"),
    ("K2", 15.877, 40.122, 49.873, "steel pin, south of the corner"),
    ("K3", 16.203, 91.655, 49.301, "steel pin, north of the corner"),
    ("K4", 71.936, 80.447, 48.655, "pin in concrete, beyond the bulb"),
)
THINGS = (
    Thing("CB1", "catch basin", streets.CENTRE + streets.BULB_M + 0.3, streets.MEETING,
          clay.bulb_clay(0.5 * streets.bulb_length(), 0.3) - 0.42, 0.0,
          "at the bulb's back; lowered, plate on", "CB"),
    Thing("MH1", "manhole", -1.3, 88.0, clay.main_clay(1.3, 88.0) - 0.40, 0.0,
          "lowered, steel plate on the cone", "MH"),
    Thing("MH2", "manhole", 47.5, 65.6, streets.side_height(47.5) - streets.CLAY[0] - 0.41, 0.0,
          "lowered, steel plate on the cone", "MH"),
    Thing("WV1", "valve", 24.0, 62.4, clay.side_clay(24.0, 2.6) - 0.42, 0.000,
          "box lowered, key extension out", "WV"),
    Thing("WV2", "valve", 3.1, 24.0, clay.main_clay(3.1, 24.0) - 0.10, math.nan,
          "depth of the nut not on record", "WV"),
)  # fmt: skip


def spots() -> list[Spot]:
    """Every shot of the morning in the order taken, without the errors of measuring."""
    taken = [_control(0), _control(1)]
    taken += [spot for y in (*range(0, 51, 5), 52) for spot in _main_row(float(y))]
    taken += _return_rows(-1, [k * math.pi / 16.0 for k in range(1, 8)], 2)
    taken += [*_mouth(), *(spot for s in range(13, 39, 5) for spot in _side_row(float(s)))]
    taken += [*_high_spot(), *_bulb()]
    taken += _return_rows(1, [k * math.pi / 16.0 for k in range(7, 0, -1)], 4)
    north = (*range(55, 76, 5), *range(78, 129, 5), 130)
    taken += [spot for y in north for spot in _main_row(float(y))]
    lids = [Spot(t.x, t.y, t.lid, t.code, t.id) for t in THINGS]
    return [*taken, *lids, _control(2), _control(3)]


def hub_spots() -> list[Spot]:
    """Hubs 1.50 m behind the back of the curb, around the whole job, true height of the wood."""
    found = [_main_hub(float(y), -1) for y in range(0, 121, 20)]
    found += [_main_hub(float(y), 1) for y in (0, 20, 40, 52)]
    found += [_return_hub(-1, math.pi / 4.0)]
    found += [_side_hub(s, 1) for s in (13.0, 20.0, 30.0, 40.0)]
    length = streets.bulb_length()
    found += [_bulb_hub(share * length) for share in (0.9, 0.75, 0.6, 0.45, 0.25, 0.1)]
    found += [_side_hub(s, -1) for s in (40.0, 30.0, 20.0, 13.0)]
    found += [_return_hub(1, math.pi / 4.0)]
    return found + [_main_hub(float(y), 1) for y in (78, 100, 120)]


@functools.cache
def shots() -> tuple[tuple[str, Spot, str], ...]:
    """Id, spot as measured and time of every shot of the clay."""
    taken = spots()
    rng = np.random.default_rng(SEED)
    noise = near_normal(rng, (len(taken), 3))
    clock, rows = START, []
    for k, spot in enumerate(taken):
        clock += dt.timedelta(seconds=5 + int(4.0 * rng.random()))
        x, y, z = noise[k]
        quiet = 0.3 if spot.note else 1.0
        moved = spot._replace(
            x=spot.x + 0.003 * quiet * x, y=spot.y + 0.003 * quiet * y,
            z=spot.z + 0.004 * quiet * z,
        )  # fmt: skip
        rows.append((str(1001 + k), moved, clock.isoformat()))
    return tuple(rows)


@functools.cache
def hubs() -> tuple[tuple[str, Spot], ...]:
    """Id and hub as measured."""
    driven = hub_spots()
    rng = np.random.default_rng([SEED, 2])
    tops = 0.10 * rng.random(len(driven))
    noise = 0.002 * near_normal(rng, (len(driven), 3))
    return tuple(
        (f"H{k + 1:02d}", hub._replace(x=hub.x + e[0], y=hub.y + e[1], z=hub.z + up + e[2]))
        for k, (hub, up, e) in enumerate(zip(driven, tops.tolist(), noise.tolist(), strict=True))
    )


def bulge(run: float) -> float:
    """How far the bank stands into the street along the bulb's lip [m]."""
    away = abs(run - BULGE_RUN) / BULGE_HALF_M
    return BULGE_M * 0.5 * (1.0 + math.cos(math.pi * away)) if away < 1.0 else 0.0


def files() -> dict[str, str]:
    """Control, records and the morning's two files."""
    return {
        "control.csv": lines(
            "id,northing_m,easting_m,elevation_m,description",
            *(f'{n},{y + streets.SOUTH:.3f},{x + streets.WEST:.3f},{z:.3f},"{what}"'
              for n, x, y, z, what in CONTROL),
        ),
        "utilities.csv": lines(
            "# Records, not a locate: request the locate, expose by hand.",
            "id,kind,northing_m,easting_m,lid_elevation_m,depth_to_top_m,note",
            *(f"{t.id},{t.kind},{t.y + streets.SOUTH:.3f},{t.x + streets.WEST:.3f},{t.lid:.3f},"
              f'{metres(t.depth)},"{t.note}"' for t in THINGS),
        ),
        f"shots/{DAY}/hubs.csv": lines(
            "id,northing,easting,elevation,code,note",
            *(f"{name},{_place(hub)},HUB,1.50 BC" for name, hub in hubs()),
        ),
        f"shots/{DAY}/morning.csv": lines(
            "id,northing,easting,elevation,code,note,setup,rod,time",
            *(f"{name},{_place(spot)},{spot.code},{spot.note},S1,1.800,{time}"
              for name, spot, time in shots()),
        ),
    }  # fmt: skip


def _place(spot: Spot) -> str:
    return f"{spot.y + streets.SOUTH:.3f},{spot.x + streets.WEST:.3f},{spot.z:.3f}"


def _control(number: int) -> Spot:
    name, x, y, z, _ = CONTROL[number]
    return Spot(x, y, z, "CP", name)


def _ground(place: tuple[float, float], level: float, code: str, part: str) -> Spot:
    return Spot(*place, level + clay.left_over(*place), code, part=part)


def _main_row(y: float) -> list[Spot]:
    """Across the through street from left to right; in the mouth as far as its lip."""
    mouth = streets.MEETING - clay.TANGENT < y < streets.MEETING + clay.TANGENT
    number = 2 if y < streets.MEETING else 4

    def at(x: float, code: str) -> Spot:
        return _ground((x, y), clay.main_clay(x, y), code, "main")

    def edge(side: int, code: str) -> list[Spot]:
        ends = [(side * (clay.EDGE_M + out), y) for out in (0.0, TOE_M, TOP_M)]
        return _bank(ends, clay.main_clay(clay.EDGE_M, y), code, "main")

    left = [*edge(-1, "1")[::-1], at(-streets.LIP_M, "LIP"), at(-2.0, "GR"), at(0.0, "CL1")]
    right = [at(2.0, "GR"), at(streets.LIP_M, "LIP")]
    return [*left, *right, *([] if mouth else edge(1, str(number)))]


def _bank(
    places: list[tuple[float, float]], edge: float, number: str, part: str, bulged: float = 0.0
) -> list[Spot]:
    """Edge of clay, toe and top of the bank behind it."""
    level = edge + streets.LAYER_FALL * bulged
    toe = level - streets.LAYER_FALL * TOE_M
    found = [_ground(places[0], level, f"EC{number}", part)]
    found.append(_ground(places[1], toe, f"BB{number}", part))
    return [*found, Spot(*places[2], edge + TOP_HIGH_M, f"TB{number}", part=part)]


def _return_rows(side: int, angles: list[float], number: int) -> list[Spot]:
    part = "south return" if side < 0 else "north return"
    found = []
    for k, angle in enumerate(angles):
        lip = clay.return_place(side, angle, 0.0), clay.return_clay(side, angle, 0.0)
        found.append(_ground(*lip, "LIP", part))
        outs = [clay.OUT_M + out for out in (0.0, TOE_M, TOP_M)]
        places = [clay.return_place(side, angle, out) for out in outs]
        edge = clay.return_clay(side, angle, clay.OUT_M)
        found += _bank(places, edge, str(number), part)
        if k in (2, 4):
            x, y, z = clay.corner_clay(side, angle, 0.6)
            found.append(_ground((x, y), z, "GR", part))
    return found


def _at_side(station: float, right: float, code: str) -> Spot:
    place = station, streets.MEETING - right
    return _ground(place, clay.side_clay(station, right), code, "side")


def _mouth() -> list[Spot]:
    """Between the through street's lip and the ends of the returns."""
    return [
        _at_side(station, right, "CL2" if right == 0.0 else "GR")
        for station in (5.0, 9.0)
        for right in (3.6, 0.0, -3.6)
    ]


def _side_row(station: float) -> list[Spot]:
    """Across the side street; left of its crown only where the truck did not stand."""

    def edge(side: int, number: str) -> list[Spot]:
        places = [
            (station, streets.MEETING - side * (clay.EDGE_M + out)) for out in (0.0, TOE_M, TOP_M)
        ]
        return _bank(places, clay.side_clay(station, side * clay.EDGE_M), number, "side")

    found = [*edge(1, "2")[::-1], _at_side(station, streets.LIP_M, "LIP")]
    found += [_at_side(station, 2.0, "GR"), _at_side(station, 0.0, "CL2")]
    if TRUCK[0] < station < TRUCK[1]:
        return found
    found += [_at_side(station, -2.0, "GR"), _at_side(station, -streets.LIP_M, "LIP")]
    return [*found, *edge(-1, "3")]


def _high_spot() -> list[Spot]:
    """Somebody saw that it is high: over its top along the street."""
    x, y = clay.SPOT
    around = [(-1.2, 0.0), (0.0, 0.0), (1.2, 0.0)]
    return [_at_side(x + east, streets.MEETING - y - north, "GR") for east, north in around]


def _bulb() -> list[Spot]:
    """Around its lip from the south side of the throat to the north, then the middle."""
    length = streets.bulb_length()
    found = []
    for run in np.linspace(length, 0.0, 33).tolist():
        inner = bulge(run)
        found.append(_ground(clay.bulb_place(run, 0.0), clay.bulb_clay(run, 0.0), "LIP", "bulb"))
        places = [clay.bulb_place(run, clay.OUT_M - inner + out) for out in (0.0, TOE_M, TOP_M)]
        edge = clay.bulb_clay(run, clay.OUT_M)
        found += _bank(places, edge, "2", "bulb", inner)
    for share, count in ((0.7, 14), (0.35, 7)):
        for run in np.linspace(0.15 * length, 0.85 * length, count).tolist():
            x, y, z = clay.inside_bulb(run, share)
            found.append(_ground((x, y), z, "GR", "bulb"))
    for station in (42.0, 47.0, 52.0, streets.CENTRE):
        place = station, streets.MEETING
        level = streets.side_height(station) - streets.CLAY[0]
        found.append(_ground(place, level, "CL2", "side"))
    return found


def _hub(place: tuple[float, float], edge: float, part: str) -> Spot:
    return Spot(*place, edge + TOP_HIGH_M - 0.03, "HUB", part=part)


def _main_hub(y: float, side: int) -> Spot:
    place = side * (clay.EDGE_M + HUB_BEHIND_M), y
    return _hub(place, clay.main_clay(clay.EDGE_M, y), "main")


def _side_hub(station: float, side: int) -> Spot:
    place = station, streets.MEETING - side * (clay.EDGE_M + HUB_BEHIND_M)
    return _hub(place, clay.side_clay(station, side * clay.EDGE_M), "side")


def _return_hub(side: int, angle: float) -> Spot:
    place = clay.return_place(side, angle, clay.OUT_M + HUB_BEHIND_M)
    part = "south return" if side < 0 else "north return"
    return _hub(place, clay.return_clay(side, angle, clay.OUT_M), part)


def _bulb_hub(run: float) -> Spot:
    place = clay.bulb_place(run, clay.OUT_M + HUB_BEHIND_M)
    return _hub(place, clay.bulb_clay(run, clay.OUT_M), "bulb")
