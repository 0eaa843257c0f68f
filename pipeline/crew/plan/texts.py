"""The texts of the map: what each says, where it could stand, and who goes first."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from pipeline.crew.hubs.references import lath_name
from pipeline.crew.measures import Measures
from pipeline.crew.plan.frame import SIGN_SIZES_MM, band_span, band_within
from pipeline.crew.plan.inputs import band_side
from pipeline.crew.plan.labels import (
    NO_LABELS,
    Labels,
    Style,
    as_one,
    as_words,
    beside,
    chosen,
    join_labels,
    label_boxes,
    mark_boxes,
    take_labels,
    upright,
)
from pipeline.crew.plan.lines import DrawnStreet, label_rows, polygons_of, station_ticks
from pipeline.crew.plan.map import Base
from pipeline.crew.words import paint
from pipeline.design.equations import station_text
from pipeline.model import Corridor, Fill, Floats, Marks, Words
from pipeline.units import ground_mark

_SOFT = ("mark-shot", "mark-dot")
_FARTHER_MM = {
    "text-dot": (0.0, 0.8, 1.6),
    "text-shot": (0.0, 0.8),
    "text-stake": (0.0, 2.0, 4.0),
}
"""A number may stand this much off, where the marks of other shots lie close by."""
_SLACK_MM = 0.3
"""Marks that lie on one another on paper count as equally near."""
_APART_MM = 0.5
_PLATE_MM = 0.2
_CONTOUR_LABEL_MM = 90.0
_BREAK_LABEL_MM = 150.0
_BAND_LABEL_MM = 60.0
_BAND_WORDS_MM2 = 24.0
_GAP_LABEL_MM = 120.0
_GAP_WORDS_M2 = 2.0


def map_texts(base: Base, marks: Sequence[Marks]) -> tuple[tuple[Words, ...], tuple[Fill, ...]]:
    """The texts that find a place clear of all marks and each other, and a plate behind each."""
    wanted = join_labels([make(base) for make in _IN_ORDER])
    soft = [mark for mark in marks if mark.layer in _SOFT]
    hard = [mark for mark in marks if mark.layer not in _SOFT]
    kept = chosen(wanted, _boxes(base, hard), _boxes(base, soft), _APART_MM * base.mm)
    # a plate as wide as most letters are: more of it would only hide the map
    plates = label_boxes(kept, _PLATE_MM * base.mm, 0.9)
    return as_words(kept), tuple(Fill("label-plate", (box,)) for box in plates)


def _boxes(base: Base, marks: Sequence[Marks]) -> Floats:
    found = [mark_boxes(mark.x, mark.y, base.along(mark.x, mark.y), mark.size) for mark in marks]
    return np.concatenate([np.empty((0, 4, 2)), *found])


def _style(base: Base, layer: str, height_mm: float, mark: str = "") -> Style:
    # half the mark, then a little more than half the distance that texts keep
    clear = SIGN_SIZES_MM.get(mark, 0.0) / 2 + 0.6 * _APART_MM
    farther = tuple(more * base.mm for more in _FARTHER_MM.get(layer, (0.0,)))
    return Style(layer, height_mm * base.mm, _RANKS[layer], clear * base.mm, farther)


def gap_words(base: Base) -> Labels:
    """NOT SURVEYED on every region of some size that nobody shot.

    Wherever it lies wholly inside; where it fits nowhere, small and in the middle.
    """
    shapes = polygons_of([region.rings for region in base.inputs.not_surveyed], base.street.origin)
    found = [NO_LABELS]
    for region in cells(shapes, _GAP_LABEL_MM * base.mm, _GAP_WORDS_M2):
        spots = [region, *cells([region], _GAP_LABEL_MM / 12 * base.mm, 0.0)]
        places = _within(region, _gap_places(base, spots, 2.5))
        found.append(places if len(places) else _gap_places(base, [region], 1.8))
    return join_labels(found)


def _gap_places(base: Base, spots: Sequence[object], height_mm: float) -> Labels:
    """The words at each spot, as places for one text."""
    x, y = inside(spots)
    style = _style(base, "text-not-surveyed", height_mm)
    places = beside(x, y, base.along(x, y), ["NOT SURVEYED"] * len(x), style, "cab")
    return as_one(places, np.zeros(len(places), dtype=np.int64))


def _within(region: object, places: Labels) -> Labels:
    import shapely

    boxes = shapely.polygons(label_boxes(places))
    return take_labels(places, np.flatnonzero(shapely.contains(region, boxes)))


def hazard_words(base: Base) -> Labels:
    """Kind and id of buried things, and whether their height is not known."""
    things = base.inputs.utilities
    x, y = base.near(things.easting, things.northing)
    text = [
        f"{kind} {name}{' NO HEIGHT' if np.isnan(lid) else ''}"
        for kind, name, lid in zip(things.kind, things.id, things.lid, strict=True)
    ]
    style = _style(base, "text-hazard", 2.5, "hazard-buried")
    return beside(x, y, base.along(x, y), text, style)


def key_words(base: Base) -> Labels:
    """PC, PT, HP and their like, with the station."""
    stakes, rows = base.inputs.stakes, base.stakes(key=True)
    x, y = base.near(stakes.easting[rows], stakes.northing[rows])
    text = [
        " ".join(part for part in (str(stakes.mark[row]), *base.called(stakes, row)) if part)
        for row in rows
    ]
    style = _style(base, "text-key-point", 2.2, "key-point")
    return beside(x, y, base.along(x, y), text, style, "abrl")


def station_words(base: Base) -> Labels:
    """Stations every 20 m, along the line beside their tick; a side street's with its initials."""
    found = [_stations_along(base, (base.street, base.inputs.corridor, ""))]
    found += [
        _stations_along(base, (one.street, one.corridor, f"{one.prefix} "))
        for one in base.branches
        if one.kind == "street"
    ]
    return join_labels(found)


def _stations_along(base: Base, along: tuple[DrawnStreet, Corridor, str]) -> Labels:
    street, corridor, prefix = along
    station = station_ticks(corridor.alignment, 20.0)
    x = np.interp(station, street.station, street.x)
    y = np.interp(station, street.station, street.y)
    text = [f"{prefix}{station_text(corridor.alignment, at, step=1.0)}" for at in station.tolist()]
    return beside(x, y, base.along(x, y), text, _style(base, "text-station", 2.5), "abrl")


def refused_words(base: Base) -> Labels:
    """Ids of shots that are listed and not used."""
    shots, rows = base.inputs.shots, base.shots(used=False)
    x, y = base.near(shots.easting[rows], shots.northing[rows])
    style = _style(base, "text-shot-refused", 1.8, "mark-shot-refused")
    return beside(x, y, base.along(x, y), list(shots.id[rows]), style)


def stake_words(base: Base) -> Labels:
    """Ids of stakes and hubs, square to the street and away from it."""
    stakes, rows = base.inputs.stakes, base.stakes(key=False)
    x, y = base.near(stakes.easting[rows], stakes.northing[rows])
    out = base.ways.direction(x, y) - np.sign(stakes.offset[rows]) * np.pi / 2
    angle = upright(out)
    outward = np.cos(out - angle) > 0
    style = _style(base, "text-stake", 1.8, "mark-stake")
    found = []
    for letter, side in (("r", outward), ("l", ~outward)):
        words = list(stakes.id[rows[side]])
        found.append(beside(x[side], y[side], angle[side], words, style, letter))
    return join_labels(found)


def contour_words(base: Base) -> Labels:
    """``C 5``, ``F 10``, ``0``: the cut along its contour."""
    contours = base.inputs.contours
    found = [NO_LABELS]
    for k, level in enumerate(contours.level):
        rows = slice(int(contours.start[k]), int(contours.start[k + 1]))
        x, y = base.near(contours.x[rows], contours.y[rows])
        text = _contour_text(float(level), base.inputs.words.unit)
        found.append(_along_contour(base, x, y, text))
    return join_labels(found)


def _contour_text(level: float, unit: Measures) -> str:
    """The cut along a contour as the legend has it: ``C 5`` [cm], or feet to the hundredth."""
    if level == 0:
        return "0"
    if unit.unit == "ft":
        return unit.mark(level)
    return ground_mark(level, step=0.001).removesuffix(".0")


def _along_contour(base: Base, x: Floats, y: Floats, text: str) -> Labels:
    length = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    if length[-1] < 12 * base.mm:
        return NO_LABELS
    count = max(1, round(length[-1] / (_CONTOUR_LABEL_MM * base.mm)))
    at = (np.arange(count) + 0.5) * length[-1] / count
    back, ahead = (
        (np.interp(at + d, length, x), np.interp(at + d, length, y))
        for d in (-1.5 * base.mm, 1.5 * base.mm)
    )
    angle = upright(np.arctan2(ahead[1] - back[1], ahead[0] - back[0]))
    spot = np.interp(at, length, x), np.interp(at, length, y)
    return beside(*spot, angle, [text] * count, _style(base, "text-contour", 1.8), "c")


def band_texts(base: Base) -> Labels:
    """Letter and limits inside each shaded region, so that it reads without colour."""
    limits, unit = base.inputs.sheet.bands_m, base.inputs.words.unit
    found = [NO_LABELS]
    for band in base.inputs.bands:
        shapes = polygons_of([region.rings for region in band.regions], base.street.origin)
        x, y = inside(cells(shapes, _BAND_LABEL_MM * base.mm, _BAND_WORDS_MM2 * base.mm**2))
        side, number = band_side(band, limits)
        text = (
            f"{side[0].upper()} {band_span(limits, number, unit)}"
            if side
            else f"{band_within(limits, unit)}"
        )
        style = _style(base, "text-band", 1.8)
        found.append(beside(x, y, base.along(x, y), [text] * len(x), style, "c"))
    return join_labels(found)


def break_words(base: Base) -> Labels:
    """Lath names of the breaks beside them, once in every 150 mm of paper."""
    found = [NO_LABELS]
    lines = [(base.street, edge) for edge in base.edges]
    lines += [(one.street, edge) for one in base.branches for edge in one.edges]
    for street, edge in lines:
        designed = ~np.isnan(edge.offset)
        every = _BREAK_LABEL_MM * base.mm
        rows, stretch = label_rows(street.station, every, designed)
        x, y = edge.x[rows], edge.y[rows]
        words = [lath_name(edge.name)] * len(rows)
        # clear of the dots, which lie on the break itself
        style = _style(base, "text-break", 1.8, "mark-dot")
        places = beside(x, y, base.along(x, y), words, style, "ab")
        found.append(as_one(places, stretch[places.group]))
    for name, drawn in base.patches:
        x, y = drawn.x[:1], drawn.y[:1]
        style = _style(base, "text-break", 1.8)
        found.append(beside(x, y, base.along(x, y), [f"PATCH {name}"], style, "abrl"))
    return join_labels(found)


def dot_words(base: Base) -> Labels:
    """What is painted on the ground."""
    dots, rows = base.inputs.dots, base.dot_rows
    x, y = base.near(dots.easting[rows], dots.northing[rows])
    style = _style(base, "text-dot", 1.8, "mark-dot")
    return _own(base, beside(x, y, base.along(x, y), list(dots.mark[rows]), style), x, y)


def shot_words(base: Base) -> Labels:
    """Cut or fill at the shots, the largest first."""
    shots, rounding = base.inputs.shots, base.inputs.rounding
    rows = base.shots(used=True)
    depth = np.nan_to_num(np.abs(base.inputs.cut[rows]))
    rows = rows[np.argsort(-depth, kind="stable")]
    x, y = base.near(shots.easting[rows], shots.northing[rows])
    text = [
        paint(float(cut), rounding) if np.isfinite(cut) else "" for cut in base.inputs.cut[rows]
    ]
    style = _style(base, "text-shot", 1.8, "mark-shot")
    return _own(base, beside(x, y, base.along(x, y), text, style), x, y)


def _own(base: Base, labels: Labels, x: Floats, y: Floats) -> Labels:
    """The places at which no other shot or dot is nearer to the number than its own mark.

    A number that seems to belong to its neighbour would be dug by.
    """
    import shapely

    shots, dots = base.inputs.shots, base.inputs.dots
    others = [
        np.column_stack(base.near(part.easting[rows], part.northing[rows]))
        for part, rows in ((shots, base.shot_rows), (dots, base.dot_rows))
    ]
    marks = shapely.points(np.concatenate(others))
    boxes = shapely.polygons(label_boxes(labels))
    row = labels.group
    mine = shapely.distance(boxes, shapely.points(x[row], y[row]))
    if len(boxes) == 0:
        return labels
    which, nearest = shapely.STRtree(marks).query_nearest(
        boxes, return_distance=True, all_matches=False
    )
    least = np.full(len(boxes), np.inf)
    least[which[0]] = nearest
    return take_labels(labels, np.flatnonzero(mine <= least + _SLACK_MM * base.mm))


def cells(polygons: Sequence[object], cell: float, least_m2: float) -> list[object]:
    """The polygons, those larger than a cell cut into cells; parts below `least_m2` left out."""
    import shapely

    found: list[object] = []
    for polygon in polygons:
        west, south, east, north = shapely.bounds(polygon)
        columns = max(1, int(np.ceil((east - west) / cell)))
        rows = max(1, int(np.ceil((north - south) / cell)))
        if columns * rows == 1:
            parts = np.array([polygon], dtype=object)
        else:
            column, row = (part.ravel() for part in np.meshgrid(range(columns), range(rows)))
            wide, high = (east - west) / columns, (north - south) / rows
            x, y = west + column * wide, south + row * high
            parts = shapely.intersection(polygon, shapely.box(x, y, x + wide, y + high))
        area = shapely.area(parts)
        found += parts[(area >= least_m2) & (area > 0)].tolist()
    return found


def inside(polygons: Sequence[object]) -> tuple[Floats, Floats]:
    """A place inside each polygon."""
    import shapely

    points = shapely.point_on_surface(np.array(polygons, dtype=object))
    return shapely.get_x(points), shapely.get_y(points)


_IN_ORDER: tuple[Callable[[Base], Labels], ...] = (
    gap_words, hazard_words, key_words, station_words, refused_words, stake_words, contour_words,
    break_words, band_texts, dot_words, shot_words,
)  # fmt: skip
_RANKS = {
    layer: rank
    for rank, layer in enumerate(
        (
            "text-not-surveyed", "text-hazard", "text-key-point", "text-station",
            "text-shot-refused", "text-stake", "text-contour", "text-break", "text-band",
            "text-dot", "text-shot",
        )
    )
}  # fmt: skip
"""Who goes first where two texts want one place: warnings, then places, then numbers."""
