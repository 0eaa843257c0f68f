"""Where the next shots would make the volume surest: a walk worth its minutes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.compare.roughness import Model, Roughness, correlation, mean_correlation
from pipeline.compare.sampling import Sample
from pipeline.model import Floats, Ints
from pipeline.model.arrays import lock_fields

MOST_SHOTS, MOST_CELLS, MOST_CANDIDATES = 2500, 2500, 900


@dataclass(frozen=True, slots=True, eq=False)
class NextShots:
    """Places to shoot, the most useful first, and what is left of the error after each.

    ``left`` (n,) is the standard error of the volume after this shot as a share of
    that before the first; of the part that shots can cut, not of the bench's.
    """

    station: Floats
    offset: Floats
    left: Floats

    def __post_init__(self) -> None:
        n = len(self.station)
        lock_fields(self, dict.fromkeys(("station", "offset", "left"), (np.float64, (n,))))

    def __len__(self) -> int:
        return len(self.station)


def next_shots(
    spread: Sample, whole: Floats, roughness: Roughness, sigma_m: float, count: int = 10
) -> NextShots:
    r"""The places whose shots would cut the variance of the volume most, one after the other.

    Parameters
    ----------
    spread : Sample
        The shots there are.
    whole : ndarray, shape (2, g)
        Station and offset of places spread evenly over the whole design, also where
        nobody shot: `whole_design`.
    roughness : Roughness
    sigma_m : float
        Standard error of a new shot's height [m].
    count : int
        How many places.

    Returns
    -------
    NextShots
        Empty where `roughness` has no models.

    Notes
    -----
    Each place is the one that lowers the variance of the area's best linear mean
    most, given the shots there are and the places already chosen (greedy). With
    c the covariance of a place with the mean and v its own variance, both given the
    shots, the variance falls by :math:`c^2 / (v + \sigma^2)`; choosing updates c and v by
    one step of elimination. Exact for the likeliest model; where there are more
    than `MOST_SHOTS` shots or cells, every so many-th is used.

    References
    ----------
    Block kriging and its update by one datum: A. G. Journel and C. J. Huijbregts,
    "Mining Geostatistics" (1978), from memory. Checked by brute force.
    """
    none = np.empty(0)
    if not roughness.models or not whole.shape[1]:
        return NextShots(none, none, none)
    model = max(roughness.models, key=lambda each: each.share)
    shots = _every(spread.place.shape[1], MOST_SHOTS)
    cells = whole[:, _every(whole.shape[1], MOST_CELLS)]
    places = whole[:, _every(whole.shape[1], MOST_CANDIDATES)]
    variance = spread.sigma[shots] ** 2 / model.sill_m2
    pull, own, solved, before = _given_shots(model, spread.place[:, shots], variance, cells, places)
    noise, left = sigma_m**2 / model.sill_m2, before
    chosen: list[int] = []
    after: list[float] = []
    for _ in range(min(count, places.shape[1])):
        gain = pull**2 / (own + noise)
        gain[chosen] = -1.0
        best = int(np.argmax(gain))
        chosen.append(best)
        left -= gain[best]
        after.append(math.sqrt(max(left, 0.0) / before))
        toward = correlation(model, places, places[:, best : best + 1])[:, 0]
        toward -= solved.T @ solved[:, best]
        scaled = toward / math.sqrt(own[best] + noise)
        pull = pull - scaled * (pull[best] / math.sqrt(own[best] + noise))
        own = np.maximum(own - scaled**2, 0.0)
        # one more row of the elimination, so that later places see this one
        solved = np.vstack((solved, scaled))
    return NextShots(places[0, chosen], places[1, chosen], np.array(after))


def _given_shots(
    model: Model, shots: Floats, variance: Floats, cells: Floats, places: Floats
) -> tuple[Floats, Floats, Floats, float]:
    """Covariance with the mean and variance of each place, given the shots, in units of the sill.

    Also the solved rows that give covariances of places, and the mean's own variance.
    """
    from scipy.linalg import cholesky, solve_triangular

    among = correlation(model, shots, shots)
    among[np.diag_indices(len(among))] += variance + 1e-9
    root = cholesky(among, lower=True, overwrite_a=True, check_finite=False)
    solved = solve_triangular(root, correlation(model, shots, places), lower=True)
    mean = mean_correlation(model, shots, cells)
    solved_mean = solve_triangular(root, mean, lower=True)
    pull = mean_correlation(model, places, cells) - solved.T @ solved_mean
    own = np.maximum(1.0 - (solved**2).sum(axis=0), 0.0)
    before = float(mean_correlation(model, cells, cells).mean() - solved_mean @ solved_mean)
    return pull, own, solved, max(before, 1e-300)


def _every(total: int, most: int) -> Ints:
    """Rows of at most `most` of `total`, evenly spread."""
    return np.unique(np.linspace(0, total - 1, min(total, most)).round().astype(np.int64))
