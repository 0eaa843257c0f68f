"""The rows of a section layer: where they stand, which a stretch holds, what a side has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.design.section import SLACK_M, between, span_of
from pipeline.errors import DesignError
from pipeline.model import SIDE_WORDS, Bools, Floats, Layer


def owner_of(layers: Sequence[Layer], name: str, side: int, where: str) -> str:
    """The first layer that has the break on that side."""
    for layer in layers:
        if any(n == name and s == side for n, s in zip(layer.breaks, layer.side, strict=True)):
            return layer.name
    known = sorted({n for layer in layers for n in layer.breaks})
    raise DesignError(
        where,
        f"no layer has a break {name!r} on the {SIDE_WORDS[side]}; there are"
        f" {', '.join(known)}",
        "name one of them",
    )  # fmt: skip


def with_rows(layer: Layer, stations: Sequence[float] | Floats, *, twice: bool = False) -> Layer:
    """The layer with a row at each station that lies within it; two where `twice`."""
    at = np.unique(np.asarray(stations, dtype=np.float64))
    first, last = layer.station[0], layer.station[-1]
    at = at[(at >= first - SLACK_M) & (at <= last + SLACK_M)]
    near = np.abs(layer.station[None, :] - at[:, None]) <= SLACK_M
    have = near.sum(axis=1)
    wanted = np.where(have, 0, 1)
    if twice:
        inner = (at > first + SLACK_M) & (at < last - SLACK_M)
        wanted = np.where(inner, np.maximum(2 - have, 0), wanted)
    # a row put beside one that stands a micrometre off is that row again
    exact = np.where(have > 0, layer.station[np.argmax(near, axis=1)], at)
    new = np.repeat(exact, wanted)
    if not len(new):
        return layer
    span = span_of(layer, new)
    offset = np.concatenate([layer.offset, between(layer.offset, span)])
    rise = np.concatenate([layer.rise, between(layer.rise, span)])
    station = np.concatenate([layer.station, new])
    order = np.argsort(station, kind="stable")
    return replace(layer, station=station[order], offset=offset[order], rise=rise[order])


def columns_of(layer: Layer, side: int) -> list[int]:
    """Columns of one side from the crown outward."""
    crown = layer.side.index(0)
    outward = range(crown + 1, len(layer.breaks)) if side > 0 else range(crown - 1, -1, -1)
    return list(outward)


def within(station: Floats, start: float, end: float) -> Bools:
    """Rows of a stretch: of two at its start the second, of two at its end the first."""
    inside = (station > start + SLACK_M) & (station < end - SLACK_M)
    at_start = np.flatnonzero(np.abs(station - start) <= SLACK_M)
    at_end = np.flatnonzero(np.abs(station - end) <= SLACK_M)
    if len(at_start):
        inside[at_start[-1]] = True
    elif start < station[0]:
        inside[0] = end > station[0]
    if len(at_end):
        inside[at_end[0]] = True
    elif end > station[-1]:
        inside[-1] = start < station[-1]
    return inside
