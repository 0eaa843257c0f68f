"""A test strip as it was measured: the same places before mixing and after compaction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.model.arrays import Floats, Texts, lock_fields


@dataclass(frozen=True, slots=True, eq=False)
class StripHeights:
    """n places of a strip with both heights [m], NaN where one was not measured."""

    file: str
    id: Texts
    easting: Floats
    northing: Floats
    before: Floats
    after: Floats

    def __post_init__(self) -> None:
        n = len(self.easting)
        names = ("easting", "northing", "before", "after")
        lock_fields(self, {"id": (object, (n,)), **dict.fromkeys(names, (np.float64, (n,)))})

    def __len__(self) -> int:
        return len(self.easting)
