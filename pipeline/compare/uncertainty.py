"""How sure a volume is: the instrument, the bench, and the ground between the shots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.compare.missed import missed
from pipeline.compare.quantities import plan_area
from pipeline.compare.roughness import Model, Roughness, correlation, fit
from pipeline.design.alignment import locate as along_line
from pipeline.model import Alignment, Bools, Floats, Indices, Quantity, Surface
from pipeline.model.arrays import lock_fields
from pipeline.settings_earthwork import Volumes
from pipeline.surface import locate
from pipeline.surface.thin import thin

POINTS_PER_SHOT = 6
LEAST_POINTS, MOST_POINTS = 600, 9000
BLOCK_POINTS = 1200
MOST_SHOTS = 6000
"""More shots than this are thinned before it is asked how sure they are, which errs on the
safe side: as if only these had been shot."""
FITTED = 12
"""Numbers that are learned from the shots: mean, sill and two ranges for each of three models."""
WITHIN_CELL = 0.5214
"""Mean distance of two places in a square of side one (known constant, from memory)."""


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


@dataclass(frozen=True, slots=True)
class StandardError:
    """Standard error of one volume [m3] in its three parts, one standard deviation each.

    ``instrument`` comes of the single shots and averages out, ``between`` of the
    ground that no shot tells about, ``systematic`` of bench and set-up; that part
    does not average out. NaN where the shots are too few to tell.
    """

    area_m2: float
    instrument: float
    between: float
    systematic: float
    missed: float = 0.0
    """What the triangles are likely to miss of it [m3], + where the true volume is larger."""

    @property
    def total(self) -> float:
        """All three together [m3]."""
        return math.sqrt(self.instrument**2 + self.between**2 + self.systematic**2)

    @property
    def mean_m(self) -> float:
        """The same of the mean over the area [m]."""
        return self.total / self.area_m2 if self.area_m2 > 0 else float("nan")


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard errors of cut, fill and their difference, and what they were worked out from."""

    layer: str
    cut: StandardError
    fill: StandardError
    net: StandardError
    roughness: Roughness
    thinned: bool


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
    weight = _barycentric(surface, corner, east, north)
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
    cell = math.sqrt(max(plan_area(design), 1e-6 * box, 1e-6) / places)
    east, north = _cells(design, cell)
    inside = locate.find(design, east, north) >= 0
    found = _places(alignment, east[inside], north[inside])
    return found[:, np.lexsort(found[::-1])]


def learned(spread: Sample) -> Roughness:
    """How the ground varies between the shots of a sample."""
    return fit(spread.place[0], spread.place[1], spread.residual, spread.sigma)


def standard_errors(
    quantity: Quantity, spread: Sample, roughness: Roughness, rules: Volumes
) -> Uncertainty:
    r"""Standard errors of cut, of fill and of cut less fill.

    Parameters
    ----------
    quantity : Quantity
        The exact volumes and areas of the layer.
    spread : Sample
    roughness : Roughness
        From `learned`; that of today's layer serves the others, which differ from it
        by a smooth design.
    rules : Volumes
        The systematic part.

    Returns
    -------
    Uncertainty
        The errors of cut and of fill are those of the volume over the ground that is
        cut, or filled; where the two meet, the line itself is unsure and so are both.
        Without models in `roughness` the parts are NaN.

    Notes
    -----
    The volume is a weighted sum of the shots' heights, the weights being the
    integrals of the triangles' hat functions, :math:`w_i`. Its error is

    - instrument: :math:`\sum w_i^2 \sigma_i^2`;
    - between the shots, the extension variance
      :math:`w^T C_{ss} w - 2 w^T C_{sg} a + a^T C_{gg} a` with the covariances among
      shots s and cells g of area a, of the triangulation as it is, not of a best one;
    - systematic: area times the common error.

    The variance between the shots is raised by n / (n - `FITTED`) for the n shots that
    the models were learned from; without it 95 % intervals of simulated rough streets
    of 91 shots held the truth in 92 of 100. The cells are taken in blocks of
    `BLOCK_POINTS` along the street that do not know of one another; against one block
    this changes the result by a few per cent.

    References
    ----------
    A. G. Journel and C. J. Huijbregts, "Mining Geostatistics" (1978), extension
    variance, from memory. Checked by simulated streets whose volume is known.
    """
    wanted = np.stack((spread.cut > 0, spread.cut < 0, np.ones(len(spread.cut), dtype=bool)))
    areas = (quantity.cut_area_m2, quantity.fill_area_m2, quantity.compared_area_m2)
    cut, fill, net = region_errors(spread, wanted, areas, roughness, rules)
    each = quantity.compared_area_m2 / max(len(spread.cut), 1)
    hidden = missed(spread, np.full(len(spread.cut), each), roughness)
    return Uncertainty(
        quantity.layer,
        replace(cut, missed=hidden),
        replace(fill, missed=hidden),
        net,
        roughness,
        spread.thinned,
    )


def region_errors(
    spread: Sample,
    wanted: Bools,
    areas: Sequence[float],
    roughness: Roughness,
    rules: Volumes,
) -> tuple[StandardError, ...]:
    """Standard errors of the volume over each of several regions, as in `standard_errors`.

    Parameters
    ----------
    spread : Sample
    wanted : ndarray of bool, shape (r, g)
        The cells of each region.
    areas : sequence of float, length r
        Exact area of each [m2].
    roughness : Roughness
    rules : Volumes

    Returns
    -------
    tuple of StandardError
        NaN for a region with an area that no cell lies in: too small to say.
    """
    count = wanted.sum(axis=1)
    share = np.array(areas) / np.maximum(count, 1)
    cells = wanted * share[:, None]
    instrument = np.sqrt(_shot_weights(spread, cells) ** 2 @ spread.sigma**2)
    between = np.sqrt(_between(spread, cells, roughness) * _learned_from(roughness.shots))
    instrument[(count == 0) & (np.array(areas) > 0)] = np.nan
    return tuple(
        StandardError(float(area), float(one), float(two), float(area) * rules.systematic_m)
        for area, one, two in zip(areas, instrument, between, strict=True)
    )


def _learned_from(shots: int) -> float:
    """Factor on a variance for what the models themselves are unsure of, at most 2."""
    return shots / max(shots - FITTED, shots / 2, 1)


def _shot_weights(spread: Sample, cells: Floats) -> Floats:
    """Area that each shot stands for, (regions, v), of areas of cells (regions, g)."""
    corner = spread.corner.ravel()
    return np.stack(
        [
            np.bincount(corner, (each[:, None] * spread.weight).ravel(), len(spread.sigma))
            for each in cells
        ]
    )


def _between(spread: Sample, cells: Floats, roughness: Roughness) -> Floats:
    """Variance of each region's volume that comes of the ground between the shots [m6]."""
    if not roughness.models:
        return np.full(len(cells), np.nan)
    total = np.zeros(len(cells))
    for begin in range(0, len(spread.cut), BLOCK_POINTS):
        rows = slice(begin, begin + BLOCK_POINTS)
        used, flat = np.unique(spread.corner[rows], return_inverse=True)
        part = Sample(
            place=spread.place[:, used],
            sigma=spread.sigma[used],
            residual=spread.residual[used],
            grid=spread.grid[:, rows],
            corner=flat.reshape(-1, 3).astype(np.int32),
            weight=spread.weight[rows],
            cut=spread.cut[rows],
            cell_m=spread.cell_m,
        )
        for model in roughness.models:
            total += model.share * _extension(part, cells[:, rows], model)
    return np.maximum(total, 0.0)


def _extension(part: Sample, cells: Floats, model: Model) -> Floats:
    """Extension variance of each region of one block under one model."""
    weight = _shot_weights(part, cells)
    shots = correlation(model, part.place, part.place)
    both = correlation(model, part.place, part.grid)
    among = correlation(model, part.grid, part.grid)
    # a cell is alike with itself on average over itself, not as a point is
    own = WITHIN_CELL * part.cell_m * np.array([[0.0, 1.0], [0.0, 0.0]])
    among[np.diag_indices(len(among))] = correlation(model, own[:, :1], own[:, 1:])[0, 0]
    quadratic = ((weight @ shots) * weight).sum(axis=1) + ((cells @ among) * cells).sum(axis=1)
    return np.asarray(model.sill_m2 * (quadratic - 2 * ((weight @ both) * cells).sum(axis=1)))


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


def _barycentric(surface: Surface, corner: Indices, east: Floats, north: Floats) -> Floats:
    """Weights of the corners of the triangle that each place lies in, (n, 3)."""
    x = surface.x[corner] - (east - surface.origin[0])[:, None]
    y = surface.y[corner] - (north - surface.origin[1])[:, None]
    twice = np.roll(x, -1, axis=1) * np.roll(y, -2, axis=1)
    twice -= np.roll(y, -1, axis=1) * np.roll(x, -2, axis=1)
    return np.asarray(twice / twice.sum(axis=1, keepdims=True))


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
