"""Layers given as surfaces that lie under one that is listed below them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from pipeline.design.alignment import locate
from pipeline.design.equations import station_text
from pipeline.design.thickness import CROSSED_M
from pipeline.model import Alignment, Finding, Findings, Surface
from pipeline.surface.locate import interpolate
from pipeline.units import format_side


def order_findings(line: Alignment, surfaces: Sequence[tuple[str, Surface]]) -> Findings:
    """Every two layers of a design, asked at all corners of both.

    Parameters
    ----------
    line : Alignment
        What the place is told by, besides its coordinates.
    surfaces : sequence of (name, Surface)
        From the top down, each of the whole design.

    Returns
    -------
    Findings
        ``person``, one for two layers: at how many corners they are crossed, and where most.
        Of two that are not neighbours only what no pair between them has told already.
    """
    found: list[Finding] = []
    seen: set[tuple[int, int]] = set()
    pairs = itertools.combinations(range(len(surfaces)), 2)
    for i, j in sorted(pairs, key=lambda pair: pair[1] - pair[0]):
        if any(i <= a and b <= j for a, b in seen):
            continue
        (upper, over), (lower, under) = surfaces[i], surfaces[j]
        east = np.concatenate([one.x + one.origin[0] for one in (over, under)])
        north = np.concatenate([one.y + one.origin[1] for one in (over, under)])
        gap = interpolate(over, east, north) - interpolate(under, east, north)
        crossed = np.flatnonzero(np.nan_to_num(gap) < -CROSSED_M)
        if not len(crossed):
            continue
        seen.add((i, j))
        worst = crossed[np.argmin(gap[crossed])]
        feet = locate(line, east[[worst]], north[[worst]])
        station, offset = float(feet.station[0]), float(feet.offset[0])
        text = (
            f"{upper} lies under {lower}, which is listed below it, at {len(crossed)} corners of"
            f" the two; most, {-gap[worst]:.3f} m, at {station_text(line, station)}"
            f" {abs(offset):.2f} {format_side(offset)}, E {east[worst]:.3f}, N {north[worst]:.3f}"
        )
        do = "ask the designer which of the two is meant; list layers from the top down"
        found.append(
            Finding("person", "layers out of order", text, do, station=station, offset=offset)
        )
    return tuple(found)
