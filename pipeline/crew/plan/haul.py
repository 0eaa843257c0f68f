"""The haul plan on the map: an arrow beside the street for each move, and its words."""

from __future__ import annotations

import numpy as np

from pipeline.crew.plan.map import Base
from pipeline.model import Floats, Lines, Words, texts

HEAD_MM, HEAD_RAD, TEXT_MM, ABOVE_MM = 3.0, 0.4, 2.5, 2.4


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
