"""The texts of a drawing as rectangles, by hand from anchor, height and width."""

from __future__ import annotations

from collections.abc import Collection, Iterator

import shapely

from pipeline.crew.plan.labels import text_width
from pipeline.model import Picture


def text_boxes(
    picture: Picture, leave_out: Collection[str] = ()
) -> Iterator[tuple[str, str, shapely.Polygon]]:
    """Layer, text and rectangle of every text but those on the layers left out."""
    for words in picture.words:
        if words.layer in leave_out:
            continue
        shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[words.anchor]
        for text, x, y, h, angle in zip(
            words.text, words.x, words.y, words.height, words.angle, strict=True
        ):
            w = text_width(text) * h
            box = shapely.box(x - shift * w, y - h / 2, x + (1 - shift) * w, y + h / 2)
            yield (
                words.layer,
                text,
                shapely.affinity.rotate(box, angle, origin=(x, y), use_radians=True),
            )
