"""The haul plan on the map: an arrow beside the street for each move, and its words."""

from __future__ import annotations

import numpy as np

from pipeline.crew.plan.map import Base
from pipeline.crew.plan.sheets import Shown
from pipeline.design import feet as feet_of
from pipeline.model import Floats, Lines, Picture, Words, texts

HEAD_MM, HEAD_RAD, TEXT_MM, ABOVE_MM = 3.0, 0.4, 2.5, 2.4
ON_HAUL = frozenset({
    "back-paper", "centreline", "centreline-tick", "edge-outer", "frame", "gap-not-surveyed",
    "haul-arrow", "label-plate", "text-caution", "text-haul", "text-not-surveyed",
    "text-station", "text-title",
})  # fmt: skip
"""Layers of the haul plan by itself: the street, the arrows, the title block."""


def haul_shown(base: Base, ground: Picture) -> Shown | None:
    """What the sheets of the haul plan show of the map; None without an arrow."""
    arrows = base.inputs.haul
    if not arrows:
        return None
    every = np.concatenate([arrow.path for arrow in arrows])
    offset = feet_of.locate(base.inputs.corridor.alignment, *every.T).offset
    room = (ABOVE_MM + TEXT_MM) * base.mm
    layers = {one.layer for one in ground.fills} | {one.layer for one in ground.lines}
    layers |= {one.layer for one in ground.words} | {one.layer for one in ground.marks}
    # a plate without its label would be a hole in the street's lines
    hidden = tuple(sorted(layers - (ON_HAUL - {"label-plate"})))
    return Shown(max(float(np.max(np.abs(offset))) + room, base.reach_m), "haul", hidden)


def haul_lines(base: Base) -> tuple[Lines, ...]:
    """One line an arrow: along its path, then its head."""
    parts: list[Floats] = []
    for arrow in base.inputs.haul:
        path = arrow.path - base.street.origin
        back = path[-2] - path[-1]
        heading = np.arctan2(back[1], back[0])
        ends = [
            path[-1]
            + HEAD_MM * base.mm * np.array([np.cos(heading + turn), np.sin(heading + turn)])
            for turn in (-HEAD_RAD, HEAD_RAD)
        ]
        parts.append(np.concatenate([path, ends[:1], path[-1:], ends[1:]]))
    if not parts:
        return ()
    every = np.concatenate(parts)
    start = np.concatenate([[0], np.cumsum([len(part) for part in parts])])
    return (Lines("haul-arrow", every[:, 0], every[:, 1], start),)


def haul_words(base: Base) -> tuple[Words, ...]:
    """How much goes, and by what, above the middle of each arrow."""
    arrows = base.inputs.haul
    if not arrows:
        return ()
    middle = np.array([arrow.path[len(arrow.path) // 2] for arrow in arrows]) - base.street.origin
    angle = base.along(middle[:, 0], middle[:, 1])
    above = ABOVE_MM * base.mm
    return (
        Words(
            "text-haul",
            texts(arrow.text for arrow in arrows),
            middle[:, 0] - above * np.sin(angle),
            middle[:, 1] + above * np.cos(angle),
            np.full(len(arrows), TEXT_MM * base.mm),
            angle,
            "centre",
        ),
    )
