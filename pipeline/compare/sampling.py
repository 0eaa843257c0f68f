"""Places spread over what is compared, each with the shots that give its height."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.compare.pieces import corner_weights
from pipeline.design.alignment import locate as along_line
from pipeline.model import Alignment, Floats, Indices, Surface
from pipeline.model.arrays import lock_fields
from pipeline.settings_earthwork import Volumes
from pipeline.surface import locate
from pipeline.surface.mesh import area
from pipeline.surface.thin import thin

POINTS_PER_SHOT = 6
LEAST_POINTS, MOST_POINTS = 600, 9000
MOST_SHOTS = 6000
"""More shots than this are thinned before it is asked how sure they are, which errs on the
safe side: as if only these had been shot."""


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Places spread evenly over what is compared, each with the three shots that give its height.

    Shots: ``place`` (2, v) station and offset, ``sigma`` (v,), ``residual`` (v,) ground
    less design, NaN off the design. Cells: ``grid`` (2, g), ``corner`` (g, 3) rows in the
    shots, ``weight`` (g, 3) adding up to 1, ``cut`` (g,); ``cell_m`` is the side of a cell.
    ``thinned``: so many shots that only some of them were taken.
    """

    place: Floats
    sigma: Floats
    residual: Floats
    grid: Floats
    corner: Indices
    weight: Floats
    cut: Floats
    cell_m: float
    thinned: bool = False

    def __post_init__(self) -> None:
        v, g = len(self.sigma), len(self.cut)
        lock_fields(
            self,
            {
                "place": (np.float64, (2, v)),
                "sigma": (np.float64, (v,)),
                "residual": (np.float64, (v,)),
                "grid": (np.float64, (2, g)),
                "corner": (np.int32, (g, 3)),
                "weight": (np.float64, (g, 3)),
                "cut": (np.float64, (g,)),
            },
        )


def shot_sigma(ground: Surface, sigma_v: Floats, rules: Volumes) -> Floats:
    """Standard error of the height of every vertex [m].

    Parameters
    ----------
    ground : Surface
    sigma_v : ndarray, shape (n,)
        Of the shots that the surface was made of, NaN where the file gives none.
    rules : Volumes
        The value for shots without one.
    """
    known = np.full(len(ground.x), rules.shot_sigma_m)
    rows = ground.point
    of_shot = (rows >= 0) & (rows < len(sigma_v))
    known[of_shot] = sigma_v[rows[of_shot]]
    return np.where(np.isnan(known), rules.shot_sigma_m, known)


def sample(
    ground: Surface,
    design: Surface,
    sigma: Floats,
    alignment: Alignment | None,
    compared_m2: float,
) -> Sample:
    """The places at which the error of a volume is worked out.

    Parameters
    ----------
    ground, design : Surface
        Or any two surfaces that are compared.
    sigma : ndarray, shape (v,)
        Standard error of each vertex of the ground [m], see `shot_sigma`.
    alignment : Alignment, optional
        Along and across the street; east and north where there is none.
    compared_m2 : float
        The area that the overlay covers.
    """
    surface, sigma = _thinned(ground, sigma)
    shots = max(_used(surface, design), 1)
    cells = min(max(POINTS_PER_SHOT * shots, LEAST_POINTS), MOST_POINTS)
    cell = math.sqrt(compared_m2 / cells) if compared_m2 > 0 else 1.0
    east, north = _cells(design, cell)
    triangle = locate.find(surface, east, north)
    target = locate.interpolate(design, east, north)
    inside = (triangle >= 0) & ~np.isnan(target)
    if surface is not ground:
        inside &= locate.find(ground, east, north) >= 0
    east, north, target = east[inside], north[inside], target[inside]
    triangle = triangle[inside]
    corner = surface.triangles[triangle]
    x, y = east - surface.origin[0], north - surface.origin[1]
    weight = corner_weights(surface.x[corner] - x[:, None], surface.y[corner] - y[:, None])
    used, flat = np.unique(corner, return_inverse=True)
    height = surface.z[used]
    cut = (weight * surface.z[corner]).sum(axis=1) - target
    at = surface.x[used] + surface.origin[0], surface.y[used] + surface.origin[1]
    grid = _places(alignment, east, north)
    order = np.lexsort(grid[::-1])
    return Sample(
        place=_places(alignment, *at),
        sigma=sigma[used],
        residual=height - locate.interpolate(design, *at),
        grid=grid[:, order],
        corner=flat.reshape(-1, 3)[order].astype(np.int32),
        weight=weight[order],
        cut=cut[order],
        cell_m=cell,
        thinned=surface is not ground,
    )


def whole_design(design: Surface, alignment: Alignment | None, places: int = 2500) -> Floats:
    """Station and offset of places spread evenly over a whole design, shot or not, (2, g)."""
    box = float(np.ptp(design.x) * np.ptp(design.y))
    cell = math.sqrt(max(area(design), 1e-6 * box, 1e-6) / places)
    east, north = _cells(design, cell)
    inside = locate.find(design, east, north) >= 0
    found = _places(alignment, east[inside], north[inside])
    return found[:, np.lexsort(found[::-1])]


def _places(alignment: Alignment | None, east: Floats, north: Floats) -> Floats:
    """Along and across, (2, n)."""
    if alignment is None:
        return np.stack((east, north))
    feet = along_line(alignment, east, north)
    return np.stack((feet.station, feet.offset))


def _cells(design: Surface, cell: float) -> tuple[Floats, Floats]:
    """Middles of square cells over the design's box."""
    axes = [
        origin + np.arange(values.min() + cell / 2, values.max(), cell)
        for origin, values in zip(design.origin, (design.x, design.y), strict=True)
    ]
    east, north = np.meshgrid(*axes, indexing="ij")
    return east.ravel(), north.ravel()


def _used(ground: Surface, design: Surface) -> int:
    """How many vertices of the ground lie on the design."""
    east, north = ground.x + ground.origin[0], ground.y + ground.origin[1]
    return int((locate.find(design, east, north) >= 0).sum())


def _thinned(ground: Surface, sigma: Floats) -> tuple[Surface, Floats]:
    """The ground itself, or a triangulation of some of its vertices where they are too many."""
    if len(ground.x) <= MOST_SHOTS:
        return ground, sigma
    from scipy.spatial import Delaunay

    area = float(np.ptp(ground.x) * np.ptp(ground.y))
    rows = thin(ground.x, ground.y, ground.z, math.sqrt(area / MOST_SHOTS))
    triangles = Delaunay(np.stack((ground.x[rows], ground.y[rows]), axis=1)).simplices
    outside = np.full(triangles.shape, -1)
    return (
        Surface(
            ground.name, ground.origin, ground.x[rows], ground.y[rows], ground.z[rows],
            triangles, outside, outside < -1, ground.point[rows],
        ),
        sigma[rows],
    )  # fmt: skip
