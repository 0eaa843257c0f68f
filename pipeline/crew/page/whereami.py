"""From a phone's latitude and longitude to the job grid, as a polynomial a page can reckon with.

A phone in a browser has no projection library. Over one street a projection is so
smooth that a cubic stands for it to a fraction of a millimetre; what is wrong
with the dot on the map is the phone and, up to a metre or two, its datum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.model import Floats
from pipeline.model.arrays import lock_fields
from pipeline.offline import offline

WORST_OPERATION_M = 5.0
"""A datum operation worse than this, or of unknown worth, is not used [assumed]: the
phone's own error is of that size."""
_MARGIN_M = 2000.0
_POWERS = tuple((i, j) for i in range(4) for j in range(4) if i + j <= 3)
_EARTH_M = 6.371e6


@dataclass(frozen=True, slots=True, eq=False)
class GridFit:
    """Easting and northing as cubics of longitude and latitude.

    With u = (longitude - ``longitude``) / ``reach_longitude`` and v likewise,
    easting = ``easting`` + the sum of ``east[k]`` u^i v^j over ``powers``.
    ``residual_m`` is the largest misfit on places that the fit did not see,
    ``accuracy_m`` what PROJ says its operation is good for.
    """

    longitude: float
    latitude: float
    reach_longitude: float
    reach_latitude: float
    easting: float
    northing: float
    powers: tuple[tuple[int, int], ...]
    east: Floats
    north: Floats
    residual_m: float
    accuracy_m: float
    operation: str

    def __post_init__(self) -> None:
        n = len(self.powers)
        lock_fields(self, {"east": (np.float64, (n,)), "north": (np.float64, (n,))})


def fit(crs: str, easting: Floats, northing: Floats) -> GridFit | None:
    """The polynomial for a job on the grid `crs`, or None where there can be none.

    Parameters
    ----------
    crs : str
        Authority code of the job grid; ``local`` gives None.
    easting, northing : ndarray, shape (n,)
        Places of the job [m]; the fit holds to 2 km beyond them.

    Returns
    -------
    GridFit or None
        None for a grid without a code, one whose unit is not the metre, and where
        PROJ knows no operation from WGS 84 that is good to 5 m: a dot that may be
        a hundred metres off is worse than none.

    Notes
    -----
    Least squares over a 9 x 9 lattice of the area, checked on the 8 x 8 lattice between.
    The network stays off: the answer must not hang on a grid file fetched by chance.
    """
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if crs == "local" or not len(easting):
        return None
    try:
        grid = CRS.from_user_input(crs).to_2d()
    except CRSError:
        return None
    if not grid.is_projected or any(a.unit_conversion_factor != 1.0 for a in grid.axis_info[:2]):
        return None
    middle = (
        float(np.round((easting.min() + easting.max()) / 2)),
        float(np.round((northing.min() + northing.max()) / 2)),
    )
    half = _MARGIN_M + float(max(np.ptp(easting), np.ptp(northing))) / 2
    return _fitted(grid, middle, half)


def _fitted(grid: object, middle: tuple[float, float], half: float) -> GridFit | None:
    from pyproj.transformer import TransformerGroup

    # the operation's accuracy decides whether a grid file is missed
    with offline():
        group = TransformerGroup("EPSG:4326", grid, always_xy=True)
        if not group.transformers:
            return None
        best = group.transformers[0]
        if not 0.0 <= best.accuracy <= WORST_OPERATION_M:
            return None
        longitude, latitude = best.transform(*middle, direction="INVERSE")
        if not (np.isfinite(longitude) and np.isfinite(latitude) and abs(latitude) < 85.0):
            return None
        reach = (
            float(np.degrees(half / (_EARTH_M * np.cos(np.radians(latitude))))),
            float(np.degrees(half / _EARTH_M)),
        )
        steps = np.linspace(-1, 1, 9)
        seen = _lattice(best, (longitude, latitude), reach, steps)
        unseen = _lattice(best, (longitude, latitude), reach, steps[:-1] + 0.125)
    return _polynomial((longitude, latitude), reach, middle, (seen, unseen), best)


def _lattice(
    operation: object, at: tuple[float, float], reach: tuple[float, float], steps: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """u, v of a lattice and its easting and northing."""
    u, v = (axis.ravel() for axis in np.meshgrid(steps, steps))
    east, north = operation.transform(  # type: ignore[attr-defined]
        at[0] + u * reach[0], at[1] + v * reach[1]
    )
    return u, v, np.asarray(east), np.asarray(north)


def _polynomial(
    at: tuple[float, float],
    reach: tuple[float, float],
    middle: tuple[float, float],
    lattices: tuple[tuple[Floats, Floats, Floats, Floats], tuple[Floats, Floats, Floats, Floats]],
    operation: object,
) -> GridFit | None:
    (u, v, east, north), (u2, v2, east2, north2) = lattices
    terms, terms2 = (
        np.stack([a**i * b**j for i, j in _POWERS], axis=1) for a, b in ((u, v), (u2, v2))
    )
    known = np.stack([east - middle[0], north - middle[1]], axis=1)
    if not np.isfinite(known).all():
        return None
    found = np.asarray(np.linalg.lstsq(terms, known, rcond=None)[0], dtype=np.float64)
    misfit = terms2 @ found - np.stack([east2 - middle[0], north2 - middle[1]], axis=1)
    return GridFit(
        longitude=at[0],
        latitude=at[1],
        reach_longitude=reach[0],
        reach_latitude=reach[1],
        easting=middle[0],
        northing=middle[1],
        powers=_POWERS,
        east=found[:, 0],
        north=found[:, 1],
        residual_m=float(np.hypot(*misfit.T).max()),
        accuracy_m=float(operation.accuracy),  # type: ignore[attr-defined]
        operation=str(operation.description),  # type: ignore[attr-defined]
    )
