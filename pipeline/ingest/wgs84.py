"""From a grid to longitude and latitude on WGS 84, behind the same gate as the other way.

An operation that needs a grid file which is not installed is refused with the name of
that file: PROJ would answer all the same, some metres off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.describe.description import Box
from pipeline.ingest.field.geodetic import leaves_datum_out, missing_grids
from pipeline.ingest.whereabouts import known_crs, plan_part, whereabouts
from pipeline.model import Floats
from pipeline.model.gridsystem import GridSystem
from pipeline.offline import offline

if TYPE_CHECKING:
    from pyproj import Transformer

_STATE = "state it with --crs, such as EPSG:3875"


def grid_system(crs: str) -> GridSystem:
    """What a coordinate system is called outside; the default, a local grid, where nobody knows."""
    system = None if crs in {"", "local"} else known_crs(crs)
    plan = None if system is None else plan_part(system)
    code = None if plan is None else plan.to_epsg()
    if plan is None or code is None or not plan.is_projected:
        return GridSystem()
    metres = float(plan.axis_info[0].unit_conversion_factor)
    return GridSystem(code, str(plan.name), str(plan.to_wkt("WKT1_GDAL")), metres)


@dataclass(frozen=True, slots=True)
class ToWgs84:
    """A chosen operation. ``metres`` is the unit of the grid; ``accuracy_m`` as PROJ states it."""

    transformer: Transformer
    metres: float
    system: str
    operation: str
    accuracy_m: float

    @property
    def words(self) -> str:
        """What is done to the points, and how good it is."""
        good = f"good to {self.accuracy_m:g} m" if self.accuracy_m else "without a datum shift"
        return f"{self.operation}, {good}"

    def degrees(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """Longitude and latitude of places on the grid [m].

        Raises
        ------
        InputError
            A place that the operation cannot take.
        """
        with offline():
            x, y = np.asarray(easting) / self.metres, np.asarray(northing) / self.metres
            longitude, latitude = (np.asarray(one) for one in self.transformer.transform(x, y))
        if not (np.isfinite(longitude).all() and np.isfinite(latitude).all()):
            do = "look for the point that lies elsewhere than all others"
            raise InputError(self.system, "a point lies where this system has no place", do)
        return longitude, latitude


def to_wgs84(crs: str, box: Box, file: str) -> ToWgs84:
    """How points of a file get to WGS 84.

    Parameters
    ----------
    crs : str
        Code or name of a projected coordinate system; empty: nobody says.
    box : tuple of float
        Extents of the points [m]; they choose the operation for the place.
    file : str
        For messages.

    Returns
    -------
    ToWgs84

    Raises
    ------
    InputError
        No system, one that is not known or is no plane grid, points outside the area
        that it is made for, no operation, or one that needs a grid file.
    """
    if not crs:
        raise InputError(file, "does not say its coordinate system", _STATE)
    system = known_crs(crs)
    if system is None:
        raise InputError(file, f'its coordinate system "{crs}" is not known here', _STATE)
    place = whereabouts(system, box, 1.0)
    if place is None:
        raise InputError(file, f'"{crs}" is no plane grid', "state the grid with --crs")
    if place.oddity:
        raise InputError(file, place.oddity, "find out which system the points are in")
    plan = plan_part(system)
    from pyproj import CRS
    from pyproj.aoi import AreaOfInterest
    from pyproj.transformer import TransformerGroup

    here: Any = AreaOfInterest(place.longitude, place.latitude, place.longitude, place.latitude)
    with offline():
        group = TransformerGroup(plan, CRS.from_epsg(4326), always_xy=True, area_of_interest=here)
    name = f"{file}, {plan.name} to WGS 84"
    best = group.transformers[0] if group.transformers else None
    if best is None or not group.best_available:
        lacking = missing_grids(group) or "a grid file"
        raise InputError(name, f"needs {lacking}, not installed here", "install the grid file")
    if leaves_datum_out(best):
        found = f"no operation is known that keeps the datum ({best.description})"
        raise InputError(name, found, "state a system with a datum of its own with --crs")
    factor = float(plan.axis_info[0].unit_conversion_factor)
    return ToWgs84(best, factor, plan.name, str(best.description), float(best.accuracy))
