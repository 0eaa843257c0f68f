"""Latitude and longitude to the job grid, behind a gate that never guesses.

PROJ falls back in silence: without its grid file it answers with the datum shift
left out. So the operation is chosen here, looked at, and only then used.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import InputError, JobError
from pipeline.model import Floats
from pipeline.offline import offline

if TYPE_CHECKING:
    from pyproj import CRS, Transformer
    from pyproj.transformer import TransformerGroup

ROUND_TRIP_M = 1e-4
MARGIN_DEG = 1.0
"""A real job may lie a little outside the strip that its grid is made for; farther is a
slip [assumed]."""
_EARTH_M_PER_RAD = 6.378e6


def _crs(name: str, what: str) -> CRS:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_user_input(name)
    except CRSError:
        do = "state an authority code such as EPSG:3875"
        raise JobError(what, f'"{name}" is no coordinate system known here', do) from None


def _geographic(name: str) -> CRS:
    """The system that a receiver worked in, one of latitudes and longitudes."""
    system = _crs(name, "source_crs")
    if not system.is_geographic:
        do = "state a geographic system such as EPSG:4258"
        raise JobError("source_crs", f"{name} has no latitude and longitude", do)
    return system


def local_grid(source_crs: str, latitude_deg: float, longitude_deg: float) -> str:
    """WKT of a plane grid about one point of `source_crs`, scale 1, origin 0, 0 there.

    A transverse Mercator on the datum of `source_crs`: for a local job whose control
    then fits it by `control.localise`. Distances are those on the ellipsoid; 1 km
    from the origin the projection itself adds 0.01 ppm.

    Raises
    ------
    JobError
        `source_crs` is not known, or has no latitude and longitude.
    """
    from pyproj.crs import ProjectedCRS
    from pyproj.crs.coordinate_operation import TransverseMercatorConversion

    geodetic = _geographic(source_crs).to_2d().geodetic_crs
    conversion = TransverseMercatorConversion(
        latitude_natural_origin=latitude_deg,
        longitude_natural_origin=longitude_deg,
        false_easting=0.0,
        false_northing=0.0,
        scale_factor_natural_origin=1.0,
    )
    grid = ProjectedCRS(conversion, name="local plane grid", geodetic_crs=geodetic)
    return str(grid.to_wkt())


def _metres_per_axis(grid: CRS, name: str) -> float:
    """Metres in the grid's unit; both plan axes must share it."""
    factors = {axis.unit_conversion_factor for axis in grid.axis_info[:2]}
    if not grid.is_projected or len(factors) != 1:
        found = f"{name} is not a plane grid with one unit"
        raise JobError("grid crs", found, "state a projected system")
    return float(factors.pop())


def missing_grids(group: TransformerGroup) -> str:
    """Which grid files are not installed, and what each would be good for."""
    said = []
    for operation in group.unavailable_operations:
        names = [grid.short_name for grid in operation.grids if not grid.available]
        if names and operation.accuracy >= 0:
            said.append(f"{' and '.join(names)} (good to {operation.accuracy:g} m)")
    return "; ".join(sorted(set(said))[:3])


def leaves_datum_out(operation: Transformer) -> bool:
    """Whether PROJ answers without the shift from one datum to the other."""
    return bool(operation.accuracy < 0 or "ballpark" in operation.description.lower())


def _chosen(group: TransformerGroup, names: tuple[str, str], accuracy_m: float) -> Transformer:
    """The best operation, if it is good enough to put a point on the ground with."""
    source, grid = names
    what = f"{source} to {grid}"
    if not group.transformers:
        raise InputError(what, "PROJ knows no way", "state the datum that the receiver worked in")
    best = group.transformers[0]
    blind = leaves_datum_out(best)
    if not blind and group.best_available and best.accuracy <= accuracy_m:
        return best
    without = "leaves the datum shift out" if blind else f"is good to {best.accuracy:g} m only"
    lacking = missing_grids(group)
    if lacking:
        found = f"needs the grid file {lacking}, not installed here; what is left {without}"
        do = "install the grid file, or localise on control from a local grid"
        raise InputError(what, found, do)
    found = f"the best operation {without} ({best.description}); {accuracy_m:g} m asked for"
    do = "state the datum that the receiver worked in, not a general one"
    raise InputError(what, found, do)


@dataclass(frozen=True, slots=True, eq=False)
class Projected:
    """Positions on a grid, n rows, metres whatever unit the grid has.

    ``operation`` is PROJ's words for what was done; ``outside_deg`` how far the
    farthest position lies outside the area that the grid is made for, 0 inside.
    """

    easting: Floats
    northing: Floats
    operation: str
    outside_deg: float


def project(
    latitude: ArrayLike,
    longitude: ArrayLike,
    crs: tuple[str, str],
    *,
    accuracy_m: float = 0.05,
    epoch: float | None = None,
) -> Projected:
    """Easting and northing [m] on a grid, and what was done to get there.

    Parameters
    ----------
    latitude, longitude : array_like, shape (n,)
        Radians, north and east positive.
    crs : tuple of str
        (geographic system of the positions, projected system of the grid).
    accuracy_m : float
        Worst accuracy of the datum operation that is taken [m, assumed].
    epoch : float, optional
        Decimal year of the positions; needed where the datums drift apart.

    Returns
    -------
    Projected
        Coordinates in the order of the positions.

    Raises
    ------
    JobError
        A system that is not known or not of the right kind.
    InputError
        A missing grid file, named with what it costs; an operation worse than
        `accuracy_m`; no epoch where one is needed; a position more than a degree
        outside the area that the grid is made for; a result that does not lead back
        within 0.1 mm.

    Notes
    -----
    Plan only: heights are never taken from one datum to another here. Checked against
    REF-CO-1 to REF-CO-4.
    """
    from pyproj.aoi import AreaOfInterest
    from pyproj.transformer import TransformerGroup

    lat, lon = (np.degrees(np.asarray(part, dtype=np.float64)) for part in (latitude, longitude))
    source, grid = _geographic(crs[0]), _crs(crs[1], "grid crs")
    factor = _metres_per_axis(grid, crs[1])
    outside = _outside(lat, lon, grid)
    area: Any = AreaOfInterest(lon.min(), lat.min(), lon.max(), lat.max())
    with offline():
        group = TransformerGroup(
            source.to_2d(), grid.to_2d(), always_xy=True, area_of_interest=area
        )
        chosen = _chosen(group, (source.name, grid.name), accuracy_m)
        if "t_epoch=" in chosen.definition and epoch is None:
            found = f"{chosen.description} moves with time"
            raise InputError(f"{crs[0]} to {crs[1]}", found, "state the epoch of the positions")
        east, north = _through(chosen, lon, lat, epoch)
    return Projected(east * factor, north * factor, str(chosen.description), outside)


def _bounds(crs: CRS) -> tuple[float, float, float, float]:
    """West, south, east, north of the area of use [deg]; east over 180 across the date line."""
    if crs.area_of_use is None:
        return -180.0, -90.0, 180.0, 90.0
    west, south, east, north = crs.area_of_use.bounds
    return west, south, east + 360.0 if west > east else east, north


def degrees_outside(latitude: Floats, longitude: Floats, crs: CRS) -> Floats:
    """How far each place lies outside of a system's area of use, shape (n,) [deg].

    Parameters
    ----------
    latitude, longitude : ndarray, shape (n,)
        Degrees, finite.
    crs : CRS
        One without an area of use is for the whole Earth.

    Returns
    -------
    ndarray, shape (n,)
        0 or less inside, infinite where no such latitude or longitude is.
    """
    west, south, east, north = _bounds(crs)
    over = np.maximum(south - latitude, latitude - north)
    # the short way round to the nearer edge of the strip
    middle, half = (west + east) / 2.0, (east - west) / 2.0
    over = np.maximum(over, np.abs((longitude - middle + 180.0) % 360.0 - 180.0) - half)
    over[(np.abs(latitude) > 90.0) | (np.abs(longitude) > 180.0)] = np.inf
    return np.asarray(over)


def _outside(lat: Floats, lon: Floats, grid: CRS) -> float:
    """Degrees that the farthest position lies outside the grid's area; over a degree: refused."""
    over = degrees_outside(lat, lon, grid)
    far = over > MARGIN_DEG
    if far.any():
        k = int(np.flatnonzero(far)[0])
        west, south, east, north = _bounds(grid)
        found = (
            f"latitude {lat[k]:.5f}, longitude {lon[k]:.5f} lies outside {grid.name}"
            f" ({south:g} to {north:g} north, {west:g} to {east:g} east)"
        )
        do = "look whether latitude and longitude are swapped, or state the right grid"
        raise InputError(f"position {k + 1}", found, do)
    return max(0.0, float(over.max()))


def _through(
    chosen: Transformer, lon: Floats, lat: Floats, epoch: float | None
) -> tuple[Floats, Floats]:
    run: Callable[..., tuple[Any, ...]] = chosen.transform
    from pyproj.exceptions import ProjError

    when = () if epoch is None else (np.zeros_like(lon), np.full_like(lon, epoch))
    try:
        out = run(lon, lat, *when, errcheck=True)
        east, north = np.asarray(out[0]), np.asarray(out[1])
        up = () if epoch is None else (np.asarray(out[2]), np.full_like(lon, epoch))
        back = run(east, north, *up, direction="INVERSE", errcheck=True)
    except ProjError as why:
        raise InputError("projection", f"{why}", "look at the positions and the grid") from None
    off_n = np.radians(np.asarray(back[1]) - lat) * _EARTH_M_PER_RAD
    off_e = np.radians(np.asarray(back[0]) - lon) * _EARTH_M_PER_RAD * np.cos(np.radians(lat))
    worst = float(np.hypot(off_e, off_n).max()) if len(lon) else 0.0
    if not (np.isfinite(east).all() and np.isfinite(north).all()) or not worst < ROUND_TRIP_M:
        found = f"the way there and back ends {worst:.4g} m off"
        raise InputError("projection", found, "the positions are too far from the grid's middle")
    return east, north


def moves_datum(operation: str) -> bool:
    """Whether an operation changes datum, so that ellipsoid heights would change too."""
    quiet = ("axis order change", "null geographic offset", "conversion from")
    steps = [step.strip().lower() for step in operation.split(" + ")]
    return any(
        " to " in step and not step.removeprefix("inverse of ").startswith(quiet) for step in steps
    )


def separation_elevation(ellipsoid_height: ArrayLike, separation: ArrayLike) -> Floats:
    """Elevation above the geoid [m]: H = h - N, N negative where the geoid lies below.

    Checked against REF-CO-10.

    Examples
    --------
    >>> float(separation_elevation(66.75, -33.25))
    100.0
    """
    h = np.asarray(ellipsoid_height, dtype=np.float64)
    return np.asarray(h - np.asarray(separation, dtype=np.float64))


def degrees_minutes(text: str, side: str, sides: str) -> float:
    """Radians from the ``ddmm.mmmm`` or ``dddmm.mmmm`` of a satellite sentence and its letter.

    Parameters
    ----------
    text, side : str
    sides : str
        Letters that it may be: ``NS`` of a latitude, ``EW`` of a longitude.

    Raises
    ------
    ValueError
        Another form, minutes of 60 or more, or a wrong letter.

    Examples
    --------
    >>> round(math.degrees(degrees_minutes("4807.038", "N", "NS")), 6)
    48.1173
    """
    width, example = (2, "4807.038 N") if sides == "NS" else (3, "01131.000 E")
    head, tail = text[:width], text[width:]
    plain = head.isascii() and head.isdigit() and len(head) == width
    if side not in tuple(sides) or not plain or not _minutes(tail) or float(tail) >= 60.0:
        raise ValueError(f'"{text}" "{side}" is not degrees and minutes such as {example}')
    value = int(head) + float(tail) / 60.0
    return math.radians(-value if side in ("S", "W") else value)


def _minutes(text: str) -> bool:
    whole, _, part = text.partition(".")
    return text.isascii() and len(whole) == 2 and whole.isdigit() and (not part or part.isdigit())
