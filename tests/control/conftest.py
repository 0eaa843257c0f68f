"""A made-up instrument: exact readings from known places, on a flat earth or a round one."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.model import make_observations, texts

RADIUS = 6_371_000.0


def readings(station, points, orientation, *, hi=1.5, ht=1.6, lift=0.0):
    """Horizontal, zenith and slope from `station` to `points` (n, 3); azimuth = orientation + H.

    `lift` is (1 - k) / 2R: what curvature and refraction take off the rise per m².
    """
    points = np.atleast_2d(np.asarray(points, dtype=float))
    dx, dy, dz = (points - np.asarray(station, dtype=float)).T
    level = np.hypot(dx, dy)
    rise = dz - hi + ht - lift * level**2
    return (
        np.mod(np.arctan2(dx, dy) - orientation, 2 * np.pi),
        np.arctan2(level, rise),
        np.hypot(level, rise),
    )


@pytest.fixture(scope="session")
def sight():
    """`sight("S1", "A", station, {"B": (e, n, z)}, ...)`: exact observations of one set-up."""

    def build(setup, occupied, station, points, *, orientation=0.4, role="foresight", **more):
        names = list(points)
        hi, ht = more.pop("hi", 1.5), more.pop("ht", 1.6)
        h, z, s = readings(station, list(points.values()), orientation, hi=hi, ht=ht)
        n = len(names)
        roles = [role] * n if isinstance(role, str) else list(role)
        columns = {
            "setup": texts([setup] * n),
            "occupied": texts([occupied] * n),
            "role": texts(roles),
            "horizontal": h,
            "zenith": z,
            "slope_distance": s,
            "instrument_height": np.full(n, hi),
            "target_height": np.full(n, ht),
        }
        return make_observations(texts(names), **{**columns, **more})

    return build
