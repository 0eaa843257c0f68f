"""The morning's shots of the demo street and its hubs, with the truth of each spot."""

from __future__ import annotations

import datetime as dt
import functools
import math
from typing import NamedTuple

import numpy as np

from pipeline.demo import line, section
from pipeline.demo.ground import PLANAR_TO, SEED, ground
from pipeline.demo.noise import near_normal
from pipeline.demo.plan import RODS, Plan, plans
from pipeline.model.arrays import Floats

SIGMA_H_M = 0.008
HUB_BEHIND_M = 1.50
"""Hubs behind the back of the curb [m]."""
FIRST_ID = 1001
START = dt.datetime(2026, 5, 14, 5, 5, 0)  # noqa: DTZ001  instruments write local time


class Shot(NamedTuple):
    """One shot as recorded, with the true place and height of the spot it was taken on.

    Text is empty and numbers are NaN where the instrument does not give them.
    `flaw` names the slip that the shot carries, if any.
    """

    id: str
    easting: float
    northing: float
    elevation: float
    code: str
    note: str
    row: float
    station: float
    offset: float
    true_elevation: float
    setup: str = ""
    rod: float = math.nan
    time: str = ""
    sigma_h: float = math.nan
    sigma_v: float = math.nan
    flaw: str = ""


@functools.cache
def as_shot() -> tuple[Shot, ...]:
    """Every shot of the clay, in the order taken, before any slip is put in."""
    planned = plans()
    rng = np.random.default_rng([SEED, 1])
    spots = _spots(planned, rng)
    sigma_v = 0.006 + 0.001 * np.floor(3.0 * rng.random(len(planned)))
    quiet = np.array([_quiet(plan) for plan in planned])
    sigma_h = np.full_like(sigma_v, SIGMA_H_M)
    noise = quiet * np.stack([sigma_h, sigma_h, sigma_v]) * near_normal(rng, (3, len(planned)))
    measured = (spots[2:] + noise).tolist()
    times = _times(planned, rng)
    return tuple(
        Shot(
            id=str(FIRST_ID + k),
            easting=measured[0][k],
            northing=measured[1][k],
            elevation=measured[2][k],
            code=plan.code,
            note=plan.note,
            row=plan.row,
            station=float(spots[0, k]),
            offset=float(spots[1, k]),
            true_elevation=float(spots[4, k]),
            setup=plan.setup,
            rod=RODS[plan.setup],
            time=times[k],
            sigma_h=SIGMA_H_M,
            sigma_v=float(sigma_v[k]),
        )
        for k, plan in enumerate(planned)
    )


@functools.cache
def hubs() -> tuple[Shot, ...]:
    """Hub tops behind the curb each 10 m, measured after driving, up the left and back."""
    up = np.arange(0.0, line.LENGTH + 1.0, 10.0)
    rows, sides = np.concatenate([up, up[::-1]]), np.repeat([-1, +1], len(up))
    rng = np.random.default_rng([SEED, 2])
    missed = 0.003 * near_normal(rng, (2, len(rows)))
    noise = 0.002 * near_normal(rng, (3, len(rows)))
    back = [
        section.break_at(row, int(side), section.FINISH, "top back of curb")[0]
        for row, side in zip(rows, sides, strict=True)
    ]
    station = np.clip(rows + missed[0], 0.0, line.LENGTH)
    offset = np.array(back) + sides * HUB_BEHIND_M + missed[1]
    height = ground(station, offset) + 0.02 + 0.03 * rng.random(len(rows))
    measured = (np.stack([*line.point(station, offset), height]) + noise).tolist()
    return tuple(
        Shot(
            id=f"H{k + 1:02d}",
            easting=measured[0][k],
            northing=measured[1][k],
            elevation=measured[2][k],
            code="HUB",
            note=f"{HUB_BEHIND_M:.2f} BC",
            row=float(rows[k]),
            station=float(station[k]),
            offset=float(offset[k]),
            true_elevation=float(height[k]),
        )
        for k in range(len(rows))
    )


def _spots(planned: list[Plan], rng: np.random.Generator) -> Floats:
    """Station, offset, easting, northing and true height of each spot, (5, n).

    A crew stands where it can: 15 cm along the street, 2 cm across on a line
    and 6 cm on open clay. On the planar stretch lines are hit exactly.
    """
    row = np.array([plan.row for plan in planned])
    offset = np.array([plan.offset for plan in planned])
    fixed = np.array([plan.fixed is not None for plan in planned])
    on_line = np.array([plan.code[:2] in ("CL", "EC", "BB", "TB") for plan in planned])
    along = 0.15 * (2.0 * rng.random(len(planned)) - 1.0)
    # nobody shoots off the ends, and the last row on the planes stays clear of the volume
    along = np.where((row == 0.0) | (row == 70.0), np.abs(along), along)
    along = np.where(row == line.LENGTH, -np.abs(along), along)
    across = np.where(on_line, 0.02, 0.06) * (2.0 * rng.random(len(planned)) - 1.0)
    across = np.where(on_line & (row <= PLANAR_TO), 0.0, across)
    station = np.where(fixed, row, row + along)
    offset = np.where(fixed, offset, offset + across)
    places = np.stack([station, offset, *line.point(station, offset), ground(station, offset)])
    for k, plan in enumerate(planned):
        if plan.fixed is not None:
            places[2:, k] = plan.fixed
    return places


def _quiet(plan: Plan) -> float:
    """Share of the usual noise: none on the planar stretch, little on a pin or lid."""
    if plan.fixed is not None:
        return 0.35  # with a bipod, several readings
    return 0.0 if plan.row <= PLANAR_TO else 1.0


def _times(planned: list[Plan], rng: np.random.Generator) -> list[str]:
    """When each shot was taken: 5 to 8 seconds apart, four minutes for a new set-up."""
    pauses = 5.0 + np.floor(4.0 * rng.random(len(planned)))
    setups = np.array([plan.setup for plan in planned])
    pauses[1:] += np.where(setups[1:] != setups[:-1], 240.0, 0.0)
    clock = np.cumsum(pauses).tolist()
    return [(START + dt.timedelta(seconds=int(second))).isoformat() for second in clock]
