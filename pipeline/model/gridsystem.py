"""What the coordinates of a file of points mean."""

from __future__ import annotations

from dataclasses import dataclass

UNDEFINED = -1
"""A grid that the world does not know: undefined Cartesian, requirement 11 of OGC 12-128r18."""


@dataclass(frozen=True, slots=True)
class GridSystem:
    """A plane coordinate system; the default is a local grid in metres.

    ``code`` is an EPSG number, ``definition`` its well-known text in the first version of
    that language, which the standard of GeoPackage wants; ``metres`` the system's own unit.
    """

    code: int = UNDEFINED
    name: str = ""
    definition: str = ""
    metres: float = 1.0
