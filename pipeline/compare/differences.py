"""Ground against design at points: one row a place, nothing interpolated here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.model import Differences, Feet


@dataclass(frozen=True, slots=True)
class Summary:
    """Differences in a few numbers, and how many places have none.

    ``compared`` places have a difference; the others are counted apart:
    ``no_ground`` not surveyed, ``no_design`` not designed (a place with neither
    counts as not surveyed). Means and extremes are metres, cut +, NaN where
    nothing is compared.
    """

    compared: int
    no_ground: int
    no_design: int
    mean: float
    least: float
    greatest: float
    rms: float


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


def summary(differences: Differences) -> Summary:
    """Mean, extremes and root mean square of the differences that there are.

    Examples
    --------
    >>> rows = at_points("clay", [0, 1, 2], [0, 0, 0], None, [1.3, 0.9, float("nan")], [1, 1, 1])
    >>> found = summary(rows)
    >>> found.compared, found.no_ground, round(found.mean, 6), round(found.rms, 6)
    (2, 1, 0.1, 0.223607)
    """
    known = differences.cut[~np.isnan(differences.cut)]
    unsurveyed = np.isnan(differences.ground)
    undesigned = np.isnan(differences.design) & ~unsurveyed
    nothing = float("nan")
    return Summary(
        compared=len(known),
        no_ground=int(unsurveyed.sum()),
        no_design=int(undesigned.sum()),
        mean=float(known.mean()) if len(known) else nothing,
        least=float(known.min()) if len(known) else nothing,
        greatest=float(known.max()) if len(known) else nothing,
        rms=float(np.sqrt(np.mean(known**2))) if len(known) else nothing,
    )
