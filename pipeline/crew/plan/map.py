"""The map without its texts: shaded bands, lines and marks, in metres near zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.plan.frame import SIGN_SIZES_MM
from pipeline.crew.plan.inputs import PlanInputs, band_side
from pipeline.crew.plan.labels import mark_boxes, one_per_cell, thin_labels, upright
from pipeline.crew.plan.lines import (
    Edge,
    Street,
    edge_lines,
    edges,
    outline,
    polygons_of,
    ring_lines,
    station_ticks,
    street_of,
    strokes,
    tick_lines,
)
from pipeline.model import Fill, Floats, Ints, Layer, Lines, Marks, Shape

MOST_SHOTS = 5000
"""More shots than this are drawn one in every 2 mm of paper, and the title block says so."""
_DOTS_APART_MM = 2.0
_BEYOND_MM = 16.0
"""Room on the map outside the outermost stake, for its id [mm of paper]."""


@dataclass(frozen=True, slots=True, eq=False)
class Base:
    """What the map is drawn on: the street near zero and the size of a paper millimetre [m]."""

    inputs: PlanInputs
    street: Street
    layer: Layer
    edges: tuple[Edge, ...]
    shot_rows: Ints
    dot_rows: Ints
    mm: float
    reach_m: float

    def near(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """From the job grid to the map's own metres."""
        return easting - self.street.origin[0], northing - self.street.origin[1]

    def along(self, x: Floats, y: Floats) -> Floats:
        """Direction of writing along the street at each place [rad]."""
        return upright(self.street.direction(x, y))

    def shots(self, *, used: bool) -> Ints:
        """Rows of the shots to draw: the used ones, or those that are only listed."""
        rows: Ints = self.shot_rows[self.inputs.used[self.shot_rows] == used]
        return rows

    def stakes(self, *, key: bool) -> Ints:
        """Rows of the line's own points, or of the stakes and hubs."""
        return np.flatnonzero((self.inputs.stakes.kind == "point") == key)


def base_of(inputs: PlanInputs) -> Base:
    """Everything that the parts of the map have in common."""
    mm = inputs.sheet.scale / 1000.0
    street = street_of(inputs.corridor)
    layer = inputs.corridor.layer(inputs.layer)
    # a surface layer has no breaks of its own: the uppermost sections show the street
    shown = next((each for each in (layer, *inputs.corridor.layers) if each.breaks), layer)
    found = edges(inputs.corridor, shown, street)
    offsets = np.concatenate([inputs.stakes.offset, *(edge.offset for edge in found)])
    reach = float(np.max(np.abs(offsets), initial=0.0, where=~np.isnan(offsets)))
    return Base(
        inputs=inputs,
        street=street,
        layer=layer,
        edges=found,
        shot_rows=_shots_to_draw(inputs, 2 * mm),
        dot_rows=_dots_to_draw(inputs, {edge.name for edge in found}, _DOTS_APART_MM * mm),
        mm=mm,
        reach_m=reach + _BEYOND_MM * mm,
    )


def _shots_to_draw(inputs: PlanInputs, cell: float) -> Ints:
    """All shots, or of a great many the deepest cut or fill in every cell; refused ones stay."""
    shots = inputs.shots
    used = np.flatnonzero(inputs.used)
    if len(shots) <= MOST_SHOTS:
        return np.arange(len(shots))
    x = shots.easting[used] - shots.easting.min()
    y = shots.northing[used] - shots.northing.min()
    depth = np.nan_to_num(np.abs(inputs.cut[used]), nan=-1.0)
    kept = used[one_per_cell(x, y, cell, depth)]
    return np.sort(np.concatenate([kept, np.flatnonzero(~inputs.used)]))


def _dots_to_draw(inputs: PlanInputs, breaks: set[str], apart_m: float) -> Ints:
    """Dots that do not lie on one another on paper, those on the layer's own breaks first.

    Lip, flowline and back of curb are a millimetre apart at 1:500.
    """
    dots = inputs.dots
    x = dots.easting - np.min(dots.easting, initial=np.inf)
    y = dots.northing - np.min(dots.northing, initial=np.inf)
    boxes = mark_boxes(x, y, np.zeros(len(dots)), apart_m)
    own = np.array([what in breaks for what in dots.what], dtype=bool)
    return np.flatnonzero(thin_labels(boxes, np.where(own, 0, 1)))


def band_fills(base: Base) -> tuple[Fill, ...]:
    """Shaded regions; the band about zero stays unfilled."""
    found = []
    for band in base.inputs.bands:
        side, number = band_side(band, base.inputs.sheet.bands_m)
        if side:
            found += [
                Fill(
                    f"band-{side}-{number}",
                    tuple(ring - base.street.origin for ring in region.rings),
                )
                for region in band.regions
            ]
    return tuple(found)


def design_lines(base: Base) -> tuple[Lines, ...]:
    """Centreline, ticks every 10 m and longer ones every 20 m, edges and breaks."""
    street, corridor = base.street, base.inputs.corridor
    short, long = (station_ticks(corridor.alignment, every) for every in (10.0, 20.0))
    own = base.layer.surface
    return (
        Lines("centreline", street.x, street.y, np.array([0, len(street.x)])),
        tick_lines(corridor, street, np.setdiff1d(short, long), 2 * base.mm),
        tick_lines(corridor, street, long, 4 * base.mm),
        *edge_lines(base.edges),
        *(() if own is None else (outline(own, street.origin),)),
    )


def level_lines(base: Base) -> tuple[Lines, ...]:
    """Contours of the difference, apart for cut, fill and zero."""
    contours = base.inputs.contours
    x, y = base.near(contours.x, contours.y)
    sign = np.sign(contours.level)
    found = []
    for layer, wanted in (("contour-cut", 1), ("contour-fill", -1), ("contour-zero", 0)):
        rows = np.flatnonzero(sign == wanted)
        if len(rows):
            parts = [np.arange(contours.start[k], contours.start[k + 1]) for k in rows]
            start = np.concatenate([[0], np.cumsum([len(part) for part in parts])])
            at = np.concatenate(parts)
            found.append(Lines(layer, x[at], y[at], start))
    return tuple(found)


def gap_lines(base: Base) -> tuple[Lines, ...]:
    """Strokes and outline of every region that nobody shot."""
    rings = [region.rings for region in base.inputs.not_surveyed]
    if not rings:
        return ()
    shapes = polygons_of(rings, base.street.origin)
    near = [ring - base.street.origin for each in rings for ring in each]
    return (
        strokes(shapes, 2.5 * base.mm, np.pi / 4),
        ring_lines(near, "gap-not-surveyed"),
    )


def map_marks(base: Base) -> tuple[Marks, ...]:
    """Symbols of shots, dots, stakes, key points and buried things."""
    inputs = base.inputs
    shots, dots, stakes, things = inputs.shots, inputs.dots, inputs.stakes, inputs.utilities
    used, refused = base.shots(used=True), base.shots(used=False)
    hubs, key = base.stakes(key=False), base.stakes(key=True)
    found = [
        _marks(base, "mark-shot", "plus", (shots.easting, shots.northing, shots.elevation), used),
        _marks(
            base, "mark-shot-refused", "cross",
            (shots.easting, shots.northing, shots.elevation), refused,
        ),
        _marks(
            base, "mark-dot", "circle", (dots.easting, dots.northing, dots.ground), base.dot_rows
        ),
        _marks(base, "mark-stake", "triangle", (stakes.easting, stakes.northing), hubs),
        _marks(base, "key-point", "square", (stakes.easting, stakes.northing), key),
    ]  # fmt: skip
    if things is not None:
        places = (things.easting, things.northing, things.lid)
        found.append(_marks(base, "hazard-buried", "diamond", places))
    return tuple(mark for mark in found if len(mark.x))


def _marks(
    base: Base, layer: str, shape: Shape, places: tuple[Floats, ...], rows: Ints | None = None
) -> Marks:
    at = np.arange(len(places[0])) if rows is None else rows
    x, y = base.near(places[0][at], places[1][at])
    z = places[2][at] if len(places) == 3 else np.full(len(at), np.nan)
    return Marks(layer, shape, SIGN_SIZES_MM[layer] * base.mm, x, y, z)
