"""Texts that stand beside things, and the choice of those that do not cover each other."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model import Bools, Floats, Ints, Texts, Words, plain_text, texts
from pipeline.model.arrays import lock_fields

_WIDE = {**dict.fromkeys("mMW@%", 1.4), **dict.fromkeys("w+<=>~#&ABDGHKNOQRUVXYZ", 1.15)}


def text_width(text: str) -> float:
    """Width of a text in text heights, on the large side.

    Plotter letters step by one text height; of outline letters the wide ones
    step by up to 1.4 capital heights and most by less than one.
    """
    return sum(_WIDE.get(letter, 1.0) for letter in text)


WARNING = 5
"""Texts of this rank or less are not left out for the sake of a shot's or a dot's mark."""

_ANCHORS = ("left", "centre", "right")


@dataclass(frozen=True, slots=True, eq=False)
class Labels:
    """Texts wanted on the map, n of them, each with the places it could stand at.

    Rows of one ``group`` are places for one text: at most one is used, the first
    that is free. A low ``rank`` goes first. ``anchor`` is 0 where the text begins
    at (x, y), 1 where its middle lies there, 2 where it ends there.
    """

    layer: Texts
    text: Texts
    x: Floats
    y: Floats
    height: Floats
    angle: Floats
    anchor: Ints
    group: Ints
    rank: Ints

    def __post_init__(self) -> None:
        n = len(self.x)
        lock_fields(self, dict.fromkeys(("layer", "text"), (object, (n,))))
        lock_fields(self, dict.fromkeys(("x", "y", "height", "angle"), (np.float64, (n,))))
        lock_fields(self, dict.fromkeys(("anchor", "group", "rank"), (np.int64, (n,))))

    def __len__(self) -> int:
        return len(self.x)


NO_LABELS = Labels(
    layer=texts([]), text=texts([]), x=np.empty(0), y=np.empty(0), height=np.empty(0),
    angle=np.empty(0), anchor=np.empty(0, int), group=np.empty(0, int), rank=np.empty(0, int),
)  # fmt: skip


def upright(angle: ArrayLike) -> Floats:
    """The same direction of writing, never upside down: above -90 to 90 degrees [rad]."""
    turned = np.asarray(angle, dtype=np.float64)
    # a hair of slack, so that writing due north does not flip with the last bit
    return np.asarray(turned - np.pi * np.round(turned / np.pi - 1e-9), dtype=np.float64)


def label_boxes(labels: Labels, pad: float = 0.0, share: float = 1.0) -> Floats:
    """Corners of the rectangle that each text fills, shape (n, 4, 2), counter-clockwise.

    ``pad`` is added on every side [m]; ``share`` of `text_width` is taken.
    """
    width = np.array([text_width(text) for text in labels.text], dtype=np.float64)
    width *= labels.height * share
    left = -0.5 * width * labels.anchor - pad
    right = left + width + 2 * pad
    half = labels.height / 2 + pad
    across = np.stack([left, right, right, left], axis=1)
    up = np.stack([-half, -half, half, half], axis=1)
    cos, sin = np.cos(labels.angle)[:, None], np.sin(labels.angle)[:, None]
    east = labels.x[:, None] + across * cos - up * sin
    north = labels.y[:, None] + across * sin + up * cos
    return np.stack([east, north], axis=2)


def mark_boxes(x: Floats, y: Floats, angle: Floats, size: float) -> Floats:
    """Squares about n places, turned by `angle` each, shape (n, 4, 2): what a mark fills."""
    half = size / 2
    along = np.array([-half, half, half, -half])
    up = np.array([-half, -half, half, half])
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    east = x[:, None] + along * cos - up * sin
    north = y[:, None] + along * sin + up * cos
    return np.stack([east, north], axis=2)


def thin_labels(boxes: Floats, rank: Ints, group: Ints | None = None) -> Bools:
    """Which boxes stay so that none touches another.

    Parameters
    ----------
    boxes : ndarray, shape (n, 4, 2)
        Corners of convex boxes, in order around each.
    rank : ndarray of int, shape (n,)
        Low goes first; equal ranks in the order given.
    group : ndarray of int, shape (n,), optional
        Of the boxes in one group at most one stays: they are places for one text.

    Returns
    -------
    ndarray of bool, shape (n,)
        A box is dropped only if it touches one that went before, or one of its
        group stays: nothing is shrunk or moved, and no free place is left empty.
    """
    import shapely

    n = len(boxes)
    shapes = shapely.polygons(boxes) if n else np.empty(0, dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    near = _neighbours(first, second, n)
    groups = np.arange(n) if group is None else np.asarray(group)
    alike = _members(groups)
    free = np.ones(n, dtype=bool)
    kept = np.zeros(n, dtype=bool)
    for row in np.lexsort((np.arange(n), rank)).tolist():
        if free[row]:
            kept[row] = True
            free[near[row]] = False
            free[alike[int(groups[row])]] = False
    return kept


def _neighbours(first: Ints, second: Ints, n: int) -> list[Ints]:
    order = np.argsort(first, kind="stable")
    cuts = np.searchsorted(first[order], np.arange(1, n))
    return np.split(second[order], cuts) if n else []


def _members(groups: Ints) -> dict[int, Ints]:
    order = np.argsort(groups, kind="stable")
    names, starts = np.unique(groups[order], return_index=True)
    parts = np.split(order, starts[1:]) if len(names) else []
    return dict(zip(names.tolist(), parts, strict=True))


def one_per_cell(x: Floats, y: Floats, cell: float, importance: Floats) -> Ints:
    """Rows of the most important place in each square cell, in the order given.

    What a morning with a scanner brings would bury the map: this thins it
    before anything is drawn.
    """
    column = np.floor(x / cell).astype(np.int64)
    row = np.floor(y / cell).astype(np.int64)
    order = np.lexsort((np.arange(len(x)), -importance, row, column))
    new = np.ones(len(x), dtype=bool)
    ahead, behind = order[1:], order[:-1]
    new[1:] = (column[ahead] != column[behind]) | (row[ahead] != row[behind])
    return np.sort(order[new])


@dataclass(frozen=True, slots=True)
class Style:
    """How one kind of label looks: layer, text height [m], rank, gap to its mark's middle [m].

    ``farther`` are distances [m] by which it may stand off more, in the order tried.
    """

    layer: str
    height: float
    rank: int
    gap: float
    farther: tuple[float, ...] = (0.0,)


def beside(
    x: Floats, y: Floats, angle: Floats, words: Sequence[str], style: Style, sides: str = "rlab"
) -> Labels:
    """Labels beside n marks: at the right, left, above or below along `angle`, in that order.

    ``sides`` names the places tried: ``r l a b``, ``c`` for the mark's own place;
    all of them close by, then all of them farther off. Empty words make no label.
    """
    plain = [plain_text(word) for word in words]
    rows = np.array([i for i, word in enumerate(plain) if word], dtype=np.int64)
    tried = [_place(side, style, more) for more in style.farther for side in sides]
    at = np.repeat(rows, len(tried))
    along, up, anchor = (np.tile(column, len(rows)) for column in np.array(tried).T)
    cos, sin = np.cos(angle[at]), np.sin(angle[at])
    return Labels(
        layer=texts([style.layer] * len(at)),
        text=texts(plain[row] for row in at),
        x=x[at] + along * cos - up * sin,
        y=y[at] + along * sin + up * cos,
        height=np.full(len(at), style.height),
        angle=angle[at],
        anchor=anchor,
        group=at,
        rank=np.full(len(at), style.rank),
    )


def _place(side: str, style: Style, more: float) -> tuple[float, float, int]:
    """Along, up and anchor of one place beside a mark."""
    gap = style.gap + more
    step = gap + style.height / 2
    return {
        "r": (gap, 0.0, 0),
        "l": (-gap, 0.0, 2),
        "a": (0.0, step, 1),
        "b": (0.0, -step, 1),
        "c": (0.0, 0.0, 1),
    }[side]


def as_one(labels: Labels, group: Ints) -> Labels:
    """The same labels with other groups: rows of one group become places for one text."""
    return replace(labels, group=group)


def join_labels(parts: Sequence[Labels]) -> Labels:
    """All labels in order, each group still apart from those of the other parts."""
    sizes = [int(part.group.max()) + 1 if len(part) else 0 for part in parts]
    shifts = itertools.accumulate([0, *sizes[:-1]])
    columns = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in ("layer", "text", "x", "y", "height", "angle", "anchor", "rank")
    }
    groups = [part.group + shift for part, shift in zip(parts, shifts, strict=True)]
    return Labels(**columns, group=np.concatenate(groups))


def chosen(labels: Labels, hard: Floats, soft: Floats, pad: float) -> Labels:
    """The labels that find a place, `pad` apart, clear of marks.

    Parameters
    ----------
    labels : Labels
    hard, soft : ndarray, shape (m, 4, 2)
        Boxes of marks. No label touches a hard one. A label with a rank of
        `WARNING` or less goes over a soft one where every other place is worse;
        the mark is drawn on top of it.
    pad : float
        Least distance between two texts [m].
    """
    boxes = label_boxes(labels, pad / 2)
    covers = _touches(boxes, soft)
    allowed = ~_touches(boxes, hard) & (~covers | (labels.rank <= WARNING))
    rows = np.flatnonzero(allowed)
    # of one text's places, those that cover no mark come first
    rows = rows[np.lexsort((covers[rows], labels.group[rows]))]
    kept = thin_labels(boxes[rows], labels.rank[rows], labels.group[rows])
    return take_labels(labels, np.sort(rows[kept]))


def _touches(boxes: Floats, marks: Floats) -> Bools:
    import shapely

    touched = np.zeros(len(boxes), dtype=bool)
    if len(marks) and len(boxes):
        tree = shapely.STRtree(shapely.polygons(marks))
        hit, _ = tree.query(shapely.polygons(boxes), predicate="intersects")
        touched[hit] = True
    return touched


def take_labels(labels: Labels, rows: Ints) -> Labels:
    """The labels at `rows`, in that order."""
    names = ("layer", "text", "x", "y", "height", "angle", "anchor", "group", "rank")
    return Labels(**{name: getattr(labels, name)[rows] for name in names})


def as_words(labels: Labels) -> tuple[Words, ...]:
    """The labels as the drawing takes them, by layer and anchor."""
    kinds = sorted(set(zip(labels.layer.tolist(), labels.anchor.tolist(), strict=True)))
    out = []
    for layer, anchor in kinds:
        part = take_labels(
            labels, np.flatnonzero((labels.layer == layer) & (labels.anchor == anchor))
        )
        out.append(
            Words(
                layer=layer,
                text=part.text,
                x=part.x,
                y=part.y,
                height=part.height,
                angle=part.angle,
                anchor=_ANCHORS[anchor],  # type: ignore[arg-type]  # the three names of Anchor
            )
        )
    return tuple(out)
