"""Buried and standing things that the blade or the mixer can hit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.model.arrays import Floats, Texts, lock_fields


@dataclass(frozen=True, slots=True, eq=False)
class Utilities:
    """Things that records or locates give, n rows.

    ``lid`` is the elevation of the lid or top, ``depth_to_top`` how far below
    the lid the part lies that breaks [m]; NaN where the record does not say,
    which is treated as shallow, never as deep.
    """

    id: Texts
    kind: Texts
    easting: Floats
    northing: Floats
    lid: Floats
    depth_to_top: Floats
    note: Texts

    def __post_init__(self) -> None:
        n = len(self.easting)
        lock_fields(self, dict.fromkeys(("id", "kind", "note"), (object, (n,))))
        names = ("easting", "northing", "lid", "depth_to_top")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))

    def __len__(self) -> int:
        return len(self.easting)
