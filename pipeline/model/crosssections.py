"""Cross-sections as a file gives them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.model.arrays import Floats, Texts, lock_fields


@dataclass(frozen=True, slots=True, eq=False)
class CrossSection:
    """One line across an alignment, in the order of the file.

    ``offset`` is right +, left - [m]; ``height`` [m] as the file has it: an
    elevation where ``relative`` is False, above the profile where it is True.
    ``kind`` is ``ground`` or ``design``; ``code`` is empty where a point has none.
    """

    alignment: str
    station: float
    name: str
    kind: str
    offset: Floats
    height: Floats
    code: Texts
    relative: bool
    line: int

    def __post_init__(self) -> None:
        n = len(self.offset)
        lock_fields(self, dict.fromkeys(("offset", "height"), (np.float64, (n,))))
        lock_fields(self, {"code": (object, (n,))})
