"""The map without its texts: shaded bands, lines and marks, in metres near zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.crew.plan.branches import (
    Branch,
    branches_of,
    every_way,
    patch_outlines,
    with_mouths,
)
from pipeline.crew.plan.frame import SIGN_SIZES_MM
from pipeline.crew.plan.inputs import PlanInputs, band_side
from pipeline.crew.plan.labels import mark_boxes, one_per_cell, thin_labels, upright
from pipeline.crew.plan.lines import (
    DrawnStreet,
    Edge,
    break_lines,
    edges,
    outline,
    polygons_of,
    ring_lines,
    station_ticks,
    street_of,
    strokes,
    tick_lines,
)
from pipeline.design.equations import station_text
from pipeline.design.feet import locate
from pipeline.model import (
    Fill,
    Floats,
    Ints,
    Layer,
    Lines,
    Marks,
    Shape,
    Stakes,
    Utilities,
    texts,
)
from pipeline.units import format_length, format_side

MOST_SHOTS = 5000
"""More shots than this are drawn one in a cell of paper, and the title block says so."""
_CELLS_MM = (2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)
"""Sides of such a cell; the first that leaves no more than `MOST_SHOTS` of them."""
_DOTS_APART_MM = 2.0
_BEYOND_MM = 16.0
"""Room on the map outside the outermost stake, for its id [mm of paper]."""


@dataclass(frozen=True, slots=True, eq=False)
class Base:
    """What the map is drawn on: the street near zero and the size of a paper millimetre [m]."""

    inputs: PlanInputs
    street: DrawnStreet
    layer: Layer
    edges: tuple[Edge, ...]
    shot_rows: Ints
    shot_cell_mm: float
    dot_rows: Ints
    mm: float
    reach_m: float
    branches: tuple[Branch, ...]
    ways: DrawnStreet
    patches: tuple[tuple[str, Lines], ...]

    def near(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """From the job grid to the map's own metres."""
        return easting - self.street.origin[0], northing - self.street.origin[1]

    def along(self, x: Floats, y: Floats) -> Floats:
        """Direction of writing along the nearest street at each place [rad]."""
        return upright(self.ways.direction(x, y))

    def shots(self, *, used: bool) -> Ints:
        """Rows of the shots to draw: the used ones, or those that are only listed."""
        rows: Ints = self.shot_rows[self.inputs.used[self.shot_rows] == used]
        return rows

    def called(self, stakes: Stakes, row: int) -> tuple[str, str]:
        """Initials of a stake's street, empty for the main one, and its station along that."""
        street = str(stakes.street[row])
        prefix, corridor = next(
            ((one.prefix, one.corridor) for one in self.branches if one.name == street),
            ("", self.inputs.corridor),
        )
        return prefix, station_text(corridor.alignment, float(stakes.station[row]))

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
    found = tuple(with_mouths(inputs.corridor, shown.name, street, edge) for edge in found)
    branches = branches_of(inputs.corridor, inputs.layer, street.origin)
    others = [one.name for one in branches]
    own = inputs.stakes.offset[~np.isin(inputs.stakes.street, others)]
    offsets = np.concatenate([own, *(edge.offset for edge in found)])
    reach = float(np.max(np.abs(offsets), initial=0.0, where=~np.isnan(offsets)))
    shot_rows, cell_mm = _shots_to_draw(inputs, mm)
    return Base(
        inputs=inputs,
        street=street,
        layer=layer,
        edges=found,
        shot_rows=shot_rows,
        shot_cell_mm=cell_mm,
        dot_rows=_dots_to_draw(inputs, {edge.name for edge in found}, _DOTS_APART_MM * mm),
        mm=mm,
        reach_m=reach + _BEYOND_MM * mm,
        branches=branches,
        ways=every_way(street, branches),
        patches=patch_outlines(inputs.corridor, inputs.layer, street.origin),
    )


def _shots_to_draw(inputs: PlanInputs, mm: float) -> tuple[Ints, float]:
    """All shots, or of a great many the deepest cut or fill in every cell; refused ones stay.

    The second value is the side of a cell [mm of paper], 0 where all are drawn.
    """
    shots = inputs.shots
    used = np.flatnonzero(inputs.used)
    if len(shots) <= MOST_SHOTS:
        return np.arange(len(shots)), 0.0
    x = shots.easting[used] - shots.easting.min()
    y = shots.northing[used] - shots.northing.min()
    depth = np.nan_to_num(np.abs(inputs.cut[used]), nan=-1.0)
    kept, cell = used, 0.0
    for cell in _CELLS_MM:
        kept = used[one_per_cell(x, y, cell * mm, depth)]
        if len(kept) <= MOST_SHOTS:
            break
    return np.sort(np.concatenate([kept, np.flatnonzero(~inputs.used)])), cell


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
        *break_lines(base.edges),
        *(() if own is None else (outline(own, street.origin),)),
        *(drawn for one in base.branches for drawn in _branch_lines(base, one)),
        *(drawn for _, drawn in base.patches),
    )


def _branch_lines(base: Base, one: Branch) -> tuple[Lines, ...]:
    """A side street as the main one; of a return or an edge its breaks."""
    breaks = tuple(drawn for drawn in break_lines(one.edges) if len(drawn.x))
    if one.kind != "street":
        return breaks
    street, every = one.street, station_ticks(one.corridor.alignment, 10.0)
    return (
        Lines("centreline", street.x, street.y, np.array([0, len(street.x)])),
        tick_lines(one.corridor, street, every, 2 * base.mm),
        *breaks,
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
    found = (
        _shot_marks(base, "mark-shot", "plus", base.shots(used=True)),
        _shot_marks(base, "mark-shot-refused", "cross", base.shots(used=False)),
        _stake_marks(base, "mark-dot", "circle", base.inputs.dots, base.dot_rows),
        _stake_marks(base, "mark-stake", "triangle", base.inputs.stakes, base.stakes(key=False)),
        _stake_marks(base, "key-point", "square", base.inputs.stakes, base.stakes(key=True)),
        _hazard_marks(base, base.inputs.utilities),
    )
    return tuple(mark for mark in found if len(mark.x))


def _shot_marks(base: Base, layer: str, shape: Shape, rows: Ints) -> Marks:
    shots = base.inputs.shots.take(rows)
    x, y = base.near(shots.easting, shots.northing)
    feet = locate(base.inputs.corridor.alignment, shots.easting, shots.northing)
    return Marks(
        layer, shape, SIGN_SIZES_MM[layer] * base.mm, x, y, shots.elevation,
        id=shots.id, station=feet.station,
    )  # fmt: skip


def _stake_marks(base: Base, layer: str, shape: Shape, stakes: Stakes, rows: Ints) -> Marks:
    """Dots have their ground's height; stakes and key points carry facts in its stead."""
    x, y = base.near(stakes.easting[rows], stakes.northing[rows])
    dots = layer == "mark-dot"
    facts = (
        ()
        if dots
        else (
            ("ID", stakes.id[rows]),
            ("STATION", texts(base.called(stakes, row)[1] for row in rows)),
            ("OFFSET", texts(_beside(offset) for offset in stakes.offset[rows].tolist())),
            ("WHAT", stakes.what[rows]),
            ("MARK", stakes.mark[rows]),
        )
    )
    return Marks(
        layer, shape, SIGN_SIZES_MM[layer] * base.mm, x, y,
        stakes.ground[rows] if dots else np.full(len(rows), np.nan),
        id=stakes.id[rows], station=stakes.station[rows], facts=facts,
    )  # fmt: skip


def _hazard_marks(base: Base, things: Utilities) -> Marks:
    x, y = base.near(things.easting, things.northing)
    alignment = base.inputs.corridor.alignment
    feet = locate(alignment, things.easting, things.northing)
    facts = (
        ("ID", things.id),
        ("STATION", texts(station_text(alignment, s) for s in feet.station.tolist())),
        ("OFFSET", texts(_beside(offset) for offset in feet.offset.tolist())),
        ("KIND", things.kind),
        ("LID", texts(format_length(z) or "not known" for z in things.lid)),
        ("COVER", texts(format_length(z) or "not known" for z in things.depth_to_top)),
        ("NOTE", things.note),
    )
    size = SIGN_SIZES_MM["hazard-buried"] * base.mm
    return Marks(
        "hazard-buried", "diamond", size, x, y, things.lid,
        id=things.id, station=feet.station, facts=facts,
    )  # fmt: skip


def _beside(offset: float) -> str:
    """``R 3.500``, ``CL``: an offset as a person reads it."""
    side = format_side(offset)
    return side if side in {"", "CL"} else f"{side} {format_length(abs(offset))}"
