"""Ground against design at points: one row a place, nothing interpolated here."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model import Differences, Feet


def at_points(
    layer: str,
    easting: ArrayLike,
    northing: ArrayLike,
    along: Feet | tuple[ArrayLike, ArrayLike] | None,
    ground: ArrayLike,
    design: ArrayLike,
) -> Differences:
    """Cut or fill to one layer at places whose elevations are known.

    Parameters
    ----------
    layer : str
        Name of the design layer.
    easting, northing : array_like, shape (n,)
        The places on the job grid [m].
    along : Feet or (station, offset) or None
        Where they lie along the alignment [m]; None where there is none, NaN
        then stands in both columns.
    ground, design : array_like, shape (n,)
        Elevations there [m]; NaN where not surveyed or not designed.

    Returns
    -------
    Differences
        ``cut`` is ground minus design [m]: + to take away, - to put on. NaN
        stays NaN; it is neither filled in nor left out.

    Raises
    ------
    ValueError
        Columns of different length.

    Examples
    --------
    >>> at_points("gravel", [0, 1], [0, 0], None, [10.2, float("nan")], [10.0, 10.0]).cut.round(3)
    array([0.2, nan])
    """
    upper = np.asarray(ground, dtype=np.float64)
    lower = np.asarray(design, dtype=np.float64)
    if upper.shape != lower.shape:
        raise ValueError(f"ground has shape {upper.shape}, design {lower.shape}")
    if along is None:
        station: ArrayLike = np.full(upper.shape, np.nan)
        offset: ArrayLike = np.full(upper.shape, np.nan)
    elif isinstance(along, Feet):
        station, offset = along.station, along.offset
    else:
        station, offset = along
    return Differences(
        layer=layer,
        easting=np.asarray(easting, dtype=np.float64),
        northing=np.asarray(northing, dtype=np.float64),
        station=np.asarray(station, dtype=np.float64),
        offset=np.asarray(offset, dtype=np.float64),
        ground=upper,
        design=lower,
        cut=upper - lower,
    )
