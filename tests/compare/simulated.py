"""Invented streets whose true volume is known, and how often a stated interval holds it.

The ground is a random field of stated correlation, known at the shots and at cells of
1 m2; the shots have noise; the pipeline sees the shots only. ``python -m tests.compare``
runs as many streets as one likes; RECORD.md has what came out.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from scipy.spatial.distance import cdist

from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import quantity
from pipeline.compare.sampling import sample
from pipeline.compare.uncertainty import learned, standard_errors
from pipeline.settings_earthwork import Volumes
from pipeline.surface.mesh import area

HALF = 4.95
NO_BENCH = Volumes(systematic_m=0.0)
NINETY, NINETY_FIVE = 1.645, 1.960
"""Standard errors either way that hold 90 and 95 of 100 cases of a normal distribution."""
FIELDS = {
    # correlation of the invented ground by distance; spherical is none of the models fitted
    "rough": lambda p: np.exp(-cdist(p, p) / 8.0),
    "spherical": lambda p: _spherical(cdist(p, p) / 20.0),
    "smooth": lambda p: (1 + cdist(p, p) / 6.0) * np.exp(-cdist(p, p) / 6.0),
    "longer along": lambda p: np.exp(-cdist(p * [1, 2], p * [1, 2]) / 15.0),
}


def _spherical(h):
    return np.where(h < 1, 1 - 1.5 * h + 0.5 * h**3, 0.0)


def shot_places(length, rng):
    """Rows 10 m apart, seven shots each, nobody stands exactly on the row."""
    s, o = (
        v.ravel()
        for v in np.meshgrid(
            np.arange(0.0, length + 1, 10.0),
            [-HALF, -3.3, -1.7, 0.0, 1.7, 3.3, HALF],
            indexing="ij",
        )
    )
    inner = (s > 0) & (s < length)
    return np.stack((s + inner * rng.uniform(-0.15, 0.15, len(s)), o), axis=1)


def street_of(surface_of, seed=2):
    """100 m of street: shots, cells of 1 m2 that tell the truth, and a level design."""
    rng = np.random.default_rng(seed)
    length = 100.0
    shots = shot_places(length, rng)
    s, o = np.meshgrid(np.arange(0.5, length), (np.arange(10) + 0.5) * 0.99 - HALF, indexing="ij")
    cells = np.stack((s.ravel(), o.ravel()), axis=1)
    box = np.array([[0, -HALF], [length, -HALF], [length, HALF], [0, HALF]])
    design = surface_of(*box.T, np.zeros(4), [[0, 1, 2], [0, 2, 3]])
    triangles = surface_of(*shots.T, np.zeros(len(shots))).triangles

    latest = []

    def measured(ground, noise):
        """Quantity, sample and true (cut, fill) of a ground known at shots and cells."""
        z = ground[: len(shots)] + noise * rng.standard_normal(len(shots))
        surface = surface_of(*shots.T, z, triangles)
        pieces = overlay(surface, design)
        latest[:] = [pieces]
        found = quantity("clay", pieces, area(design))
        sigma = np.full(len(shots), noise)
        spread = sample(surface, design, sigma, None, found.compared_area_m2)
        each = ground[len(shots) :] * 2 * HALF * length / len(cells)
        return found, spread, (np.maximum(each, 0).sum(), np.maximum(-each, 0).sum())

    return SimpleNamespace(shots=shots, cells=cells, design=design, rng=rng, measured=measured,
        pieces=latest,
    )  # fmt: skip


def roots(street, name):
    """Lower triangle that turns independent numbers into a ground of this kind."""
    both = np.concatenate((street.shots, street.cells))
    return np.linalg.cholesky(FIELDS[name](both) + 1e-8 * np.eye(len(both)))


def errors_in_standard_errors(street, name, count):
    """Stated less true volume of `count` streets of a kind, (3, count): net, cut, fill."""
    root = roots(street, name)
    off = []
    for _ in range(count):
        ground = 0.02 * (root @ street.rng.standard_normal(len(root)))
        found, spread, (cut, fill) = street.measured(ground, 0.007)
        sure = standard_errors(found, spread, learned(spread), NO_BENCH)
        off.append(
            (
                (found.cut_m3 - found.fill_m3 - cut + fill) / sure.net.total,
                (found.cut_m3 + sure.cut.missed - cut) / sure.cut.total,
                (found.fill_m3 + sure.fill.missed - fill) / sure.fill.total,
            )
        )
    return np.array(off).T


def held(off, either_way):
    """Share of the streets whose true volume lies within so many standard errors."""
    return np.mean(np.abs(off) < either_way, axis=-1)
