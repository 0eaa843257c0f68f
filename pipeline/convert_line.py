"""Lines on their way into another format: drawn ones, alignments, breaklines along faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from pipeline.deliver.geojson import Way
from pipeline.design import alignment as design_alignment
from pipeline.design import profile as design_profile
from pipeline.errors import DesignError
from pipeline.ingest.wgs84 import ToWgs84
from pipeline.model import (
    Alignment,
    AlignmentRows,
    Bools,
    Floats,
    Linework,
    Profile,
    ProfileRows,
    Reading,
    Surface,
)

STEP_M = 1.0
"""An alignment is drawn by a point a metre: its chords lie within s²/8R of an arc, 13 mm at
a radius of 10 m."""
MOST_STATIONS = 100_000
"""A longer alignment is drawn by so many points."""

_SAME_M = 1e-4
"""A vertex of a line this near a corner in plan is at that corner."""


@dataclass(frozen=True, slots=True, eq=False)
class GridWay:
    """A line on the grid [m]."""

    name: str
    kind: str
    easting: Floats
    northing: Floats
    elevation: Floats = field(default_factory=lambda: np.empty(0))

    def on(self, onto: ToWgs84) -> Way:
        """The same line in degrees."""
        longitude, latitude = onto.degrees(self.easting, self.northing)
        return Way(self.name, self.kind, longitude, latitude, self.elevation)


def ways_of(reading: Reading) -> tuple[list[GridWay], list[str]]:
    """Every line of a file, alignments as chords of `STEP_M`, and what is not among them."""
    lines = reading.lines
    ways = [
        GridWay(name, kind, *(column[lines.start[k] : lines.start[k + 1]] for column in (
            lines.easting, lines.northing, lines.elevation
        )))
        for k, (name, kind) in enumerate(zip(lines.name, lines.kind, strict=True))
    ]  # fmt: skip
    doubts = []
    for rows in reading.alignments:
        line, said = line_of(rows, ())
        doubts += said
        if line is not None:
            ways.append(_drawn(line[0]))
    return ways, doubts


def _drawn(alignment: Alignment) -> GridWay:
    first, last = float(alignment.station[0]), float(alignment.station[-1])
    count = min(MOST_STATIONS, int(np.ceil((last - first) / STEP_M)) + 1)
    stations = np.union1d(np.linspace(first, last, count), alignment.station)
    easting, northing, _ = design_alignment.point_at(alignment, stations)
    return GridWay(alignment.name, "alignment", easting, northing)


def line_of(
    rows: AlignmentRows, profiles: Sequence[tuple[str, ProfileRows]]
) -> tuple[tuple[Alignment, Profile | None] | None, list[str]]:
    """An alignment with the first profile of its name, and what cannot be used of them."""
    doubts: list[str] = []
    try:
        alignment, _ = design_alignment.build(rows)
    except DesignError as refusal:
        return None, [f'alignment "{rows.name}" is left out: {refusal.found}']
    mine = [profile for name, profile in profiles if name == rows.name]
    profile = None
    if mine:
        try:
            profile, _ = design_profile.build(mine[0])
        except DesignError as refusal:
            doubts.append(f'profile "{mine[0].name}" is left out: {refusal.found}')
    if len(mine) > 1:
        doubts.append(f'{len(mine) - 1} more profiles of "{rows.name}" are left out')
    return (alignment, profile), doubts


def edges_on_lines(surface: Surface, lines: Linework) -> Bools:
    """Which edges of a surface's triangles a breakline runs along, shape (m, 3).

    An edge counts where both its corners are neighbouring vertices of a line, within
    `_SAME_M` in plan.
    """
    n = len(surface.x)
    place = np.round(np.column_stack([surface.x, surface.y]) / _SAME_M).astype(np.int64)
    corner = {(int(x), int(y)): k for k, (x, y) in enumerate(place)}
    keys = set()
    for k, kind in enumerate(lines.kind):
        if kind != "break":
            continue
        span = slice(int(lines.start[k]), int(lines.start[k + 1]))
        near = np.column_stack([lines.easting[span], lines.northing[span]]) - surface.origin
        at = [
            corner.get((int(x), int(y)), -1) for x, y in np.round(near / _SAME_M).astype(np.int64)
        ]
        for a, b in pairwise(at):
            if a >= 0 and b >= 0 and a != b:
                keys.add(min(a, b) * n + max(a, b))
    first = surface.triangles.astype(np.int64)
    then = np.roll(first, -1, axis=1)
    edges = np.minimum(first, then) * n + np.maximum(first, then)
    return np.isin(edges, np.array(sorted(keys), dtype=np.int64))
