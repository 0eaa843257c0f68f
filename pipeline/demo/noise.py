"""The noise of measuring, the same bytes wherever it is drawn."""

from __future__ import annotations

import numpy as np

from pipeline.model.arrays import Floats


def near_normal(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Near-normal numbers of variance 1: twelve uniform ones added up, less six.

    Exact additions of the generator's plain draw, so the bytes depend on no
    library's logarithm and not on how numpy draws normals this year.
    """
    return np.asarray(rng.random((12, *shape)).sum(axis=0) - 6.0)
