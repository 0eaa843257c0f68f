"""Slope distances and circle readings to distances, rises and face means.

Nothing is corrected that is not stated: prism constant and ppm come with the
sighting, curvature, refraction and the combined factor with `Corrections`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import JobError
from pipeline.model import (
    FacePairs,
    Finding,
    Findings,
    Floats,
    Observations,
    make_observations,
)
from pipeline.model.observations import OBSERVATION_COLUMNS

EARTH_RADIUS_M = 6_371_000.0
ARCSECOND = math.pi / (180.0 * 3600.0)
SPLIT_M = 0.010
"""Distances on two faces that differ by more are of two marks [assumed]: what 2 mm each allow,
three times over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """What is applied between the instrument and the job grid.

    The combined factor, grid scale times elevation factor, turns a distance on the
    ground into one on the grid; both 1 means that the grid is the ground.
    """

    curvature_refraction: bool = True
    refraction: float = 0.14
    """Coefficient k [assumed]; near hot ground at noon it is often zero or negative."""
    earth_radius_m: float = EARTH_RADIUS_M
    grid_scale: float = 1.0
    elevation_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse factors that can only be a slip."""
        for name in ("grid_scale", "elevation_factor"):
            value = getattr(self, name)
            if not 0.99 < value < 1.01:
                do = "state the factor itself, near 1, not its ppm or its inverse distance"
                raise JobError(name, f"{value} is no scale of a grid", do)
        if not -10.0 <= self.refraction <= 10.0 or not 6.3e6 < self.earth_radius_m < 6.5e6:
            found = f"k {self.refraction}, earth radius {self.earth_radius_m} m"
            raise JobError("curvature and refraction", found, "state k near 0.14 and R in metres")

    @property
    def combined_factor(self) -> float:
        """Distance on the grid over distance on the ground."""
        return self.grid_scale * self.elevation_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """What one sighting is worth; every figure is assumed until the job states its own."""

    angle_arcsec: float = 5.0
    distance_m: float = 0.002
    distance_ppm: float = 2.0
    centring_m: float = 0.002
    """Instrument and target over their points, together."""
    height_m: float = 0.002
    """Heights of instrument and target, together."""

    def __post_init__(self) -> None:
        """Refuse a precision of nothing: it would weigh without end."""
        small = min(self.angle_arcsec, self.distance_m, self.centring_m, self.height_m)
        if not small > 0 or self.distance_ppm < 0:
            do = "state every part as its standard deviation, greater than zero"
            raise JobError("precision", f"a part of {small}", do)

    def direction(self, distance: ArrayLike) -> Floats:
        """Standard deviation of a direction [rad] over `distance` [m]."""
        d = np.maximum(np.asarray(distance, dtype=np.float64), 1e-3)
        return np.asarray(np.hypot(self.angle_arcsec * ARCSECOND, self.centring_m / d))

    def length(self, distance: ArrayLike) -> Floats:
        """Standard deviation of a horizontal distance [m]."""
        d = np.asarray(distance, dtype=np.float64)
        edm = self.distance_m + self.distance_ppm * 1e-6 * d
        return np.asarray(np.hypot(edm, self.centring_m))

    def rise(self, distance: ArrayLike) -> Floats:
        """Standard deviation of a height difference [m] over `distance` [m]."""
        d = np.asarray(distance, dtype=np.float64)
        return np.asarray(np.hypot(self.angle_arcsec * ARCSECOND * d, self.height_m))


def curvature_and_refraction(
    distance: ArrayLike, *, refraction: float = 0.14, earth_radius: float = EARTH_RADIUS_M
) -> Floats:
    """How much higher a target stands than a straight level line says.

    Parameters
    ----------
    distance : array_like, shape (n,)
        Horizontal distance, in any unit that `earth_radius` shares.
    refraction : float
        Coefficient k; 0 gives curvature alone.

    Notes
    -----
    (1 - k) d² / 2R. The first term left out is d⁴ / 8R³, 5e-9 m at 1 km. Checked
    against REF-TS-2 and REF-TS-3.

    Examples
    --------
    >>> float(curvature_and_refraction([1000.0])[0].round(4))
    0.0675
    """
    d = np.asarray(distance, dtype=np.float64)
    return np.asarray((1.0 - refraction) * d * d / (2.0 * earth_radius))


def elevation_factor(height: ArrayLike, *, earth_radius: float = EARTH_RADIUS_M) -> Floats:
    """Ellipsoid distance over ground distance at ellipsoid height [m]: R / (R + h).

    Checked against REF-TS-7.

    Examples
    --------
    >>> float(elevation_factor(1000.0).round(6))
    0.999843
    """
    return np.asarray(earth_radius / (earth_radius + np.asarray(height, dtype=np.float64)))


def level_and_rise(
    slope: ArrayLike, zenith: ArrayLike, corrections: Corrections
) -> tuple[Floats, Floats]:
    """Horizontal distance at the height of the instrument, and rise of the target.

    Parameters
    ----------
    slope : array_like, shape (n,)
        Slope distance [m], prism constant and ppm applied.
    zenith : array_like, shape (n,)
        Zenith angle [rad] on face left.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Distance on the ground [m] (no grid factor) and rise from the instrument's
        axis to the target's [m], up positive; NaN where either reading is missing.

    Notes
    -----
    With Y = S sin z and X = S cos z: distance Y - (1 - k/2) X Y / R and rise
    X + (1 - k) Y² / 2R, the first terms of plane geometry on a round earth. Against
    the exact circle the error is under 0.01 mm at 500 m and 10 % of slope (tests).
    """
    s, z = np.asarray(slope, dtype=np.float64), np.asarray(zenith, dtype=np.float64)
    level, rise = s * np.sin(z), s * np.cos(z)
    if not corrections.curvature_refraction:
        return level, rise
    k, radius = corrections.refraction, corrections.earth_radius_m
    lift = curvature_and_refraction(level, refraction=k, earth_radius=radius)
    return level - (1.0 - k / 2.0) * rise * level / radius, rise + lift


def corrected_distance(observations: Observations) -> Floats:
    """Slope distances [m], shape (n,), with ppm and then prism constant added."""
    return np.asarray(
        observations.slope_distance * (1.0 + observations.ppm * 1e-6) + observations.prism_constant
    )


def sights(observations: Observations, corrections: Corrections) -> tuple[Floats, Floats]:
    """Grid distance and rise between ground marks of each sighting, shape (n,) each.

    Both [m], NaN where no distance was measured. Rise is from the mark under the
    instrument to the mark under the target: instrument height on, target height off.
    """
    level, rise = level_and_rise(corrected_distance(observations), observations.zenith, corrections)
    rise = rise + observations.instrument_height - observations.target_height
    return level * corrections.combined_factor, rise


def turn(angle: ArrayLike) -> Floats:
    """Angles [rad] as the short way round, in (-pi, pi]."""
    a = np.asarray(angle, dtype=np.float64)
    return np.asarray(-(np.mod(np.pi - a, 2.0 * np.pi) - np.pi))


def _pairs(observations: Observations) -> list[tuple[int, int]]:
    """Rows (left, right) of one target seen on both faces, each row used once."""
    waiting: dict[tuple[object, ...], list[int]] = {}
    found: list[tuple[int, int]] = []
    for row in range(len(observations)):
        face = observations.face[row]
        if face not in ("left", "right"):
            continue
        height = round(float(np.nan_to_num(observations.target_height[row], nan=-99.0)), 4)
        measured = not np.isnan(observations.slope_distance[row])
        key = (
            observations.setup[row], observations.target[row], observations.role[row],
            height, measured,
        )  # fmt: skip
        other = waiting.setdefault((*key, "right" if face == "left" else "left"), [])
        if other:
            first = other.pop(0)
            found.append((row, first) if face == "left" else (first, row))
        else:
            waiting.setdefault((*key, face), []).append(row)
    return found


def mean_faces(
    observations: Observations, *, limit_arcsec: float = 30.0
) -> tuple[Observations, FacePairs, Findings]:
    """Both faces of a target as one sighting, free of collimation and index error.

    Parameters
    ----------
    observations : Observations
        Faces stated; a left and a right of the same set-up, target, role and target
        height belong together in the order taken.
    limit_arcsec : float
        A pair farther than this from the set-up's median index or collimation is
        doubted [assumed].

    Returns
    -------
    Observations
        Pairs first become one row of face ``mean``, at the place of the earlier; a
        right face alone is turned to left. Rows keep their order.
    FacePairs
        Collimation and index error of each pair.
    findings
        Doubted pairs, also those whose distances are over 10 mm apart [assumed].

    Notes
    -----
    H = (L + R - pi) / 2, Z = (ZL + 2 pi - ZR) / 2, index (ZL + ZR - 2 pi) / 2,
    collimation sin z (L - (R - pi)) / 2: common practice, no source needed for a mean.
    """
    columns = {name: np.array(getattr(observations, name)) for name in OBSERVATION_COLUMNS}
    right_face = observations.face == "right"
    columns["horizontal"][right_face] -= np.pi
    columns["zenith"][right_face] = 2.0 * np.pi - columns["zenith"][right_face]
    columns["face"][right_face] = "left"
    pairs = np.array(_pairs(observations), dtype=np.int64).reshape(-1, 2)
    left, right = pairs[:, 0], pairs[:, 1]
    half = turn(columns["horizontal"][left] - columns["horizontal"][right]) / 2.0
    zenith = (columns["zenith"][left] + columns["zenith"][right]) / 2.0
    # right is turned over already, so left minus right is twice the index error
    index = (columns["zenith"][left] - columns["zenith"][right]) / 2.0
    first, second = pairs.min(axis=1), pairs.max(axis=1)
    slope = columns["slope_distance"]
    split = slope[left] - slope[right]
    columns["horizontal"][first] = columns["horizontal"][left] - half
    columns["zenith"][first] = zenith
    slope[first] = (slope[left] + slope[right]) / 2.0
    columns["face"][first] = "mean"
    sine = np.where(np.isnan(zenith), 1.0, np.sin(zenith))
    faces = FacePairs(
        setup=observations.setup[left],
        target=observations.target[left],
        left=left,
        right=right,
        collimation=half * sine,
        index=index,
        distance_split=split,
    )
    keep = np.ones(len(observations), dtype=np.bool_)
    keep[second] = False
    whole = make_observations(**columns, files=observations.files).take(keep)
    return whole, faces, _doubted(faces, limit_arcsec * ARCSECOND)


def _doubted(faces: FacePairs, limit: float) -> Findings:
    found: list[Finding] = []
    for setup in dict.fromkeys(faces.setup):
        rows = np.flatnonzero(faces.setup == setup)
        for name in ("collimation", "index"):
            errors = getattr(faces, name)[rows]
            off = np.abs(errors - np.nanmedian(errors)) if np.isfinite(errors).any() else errors
            for k in np.flatnonzero(off > limit):
                seconds = errors[k] / ARCSECOND
                median = float(np.nanmedian(errors)) / ARCSECOND
                text = (
                    f"{setup} to {faces.target[rows[k]]}: {name} {seconds:.0f} seconds of arc,"
                    f" {median:.0f} over the set-up"
                )
                do = "the two faces do not see the same mark: sight it again"
                found.append(Finding("person", "face pair", text, do, (faces.target[rows[k]],)))
    for k in np.flatnonzero(np.abs(faces.distance_split) > SPLIT_M):
        text = (
            f"{faces.setup[k]} to {faces.target[k]}: the distances on the two faces differ by"
            f" {abs(faces.distance_split[k]):.3f} m; their mean is used"
        )
        do = "the two faces do not see the same mark: sight it again"
        found.append(Finding("person", "face pair", text, do, (faces.target[k],)))
    return tuple(found)
