"""How sure a volume is: against simulated streets whose volume is known, and by brute force."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from pipeline.compare.intervals import by_interval
from pipeline.compare.next_shots import next_shots
from pipeline.compare.overlay import overlay
from pipeline.compare.quantities import quantity
from pipeline.compare.roughness import (
    Model,
    Roughness,
    correlation,
    fit,
)
from pipeline.compare.sampling import sample, shot_sigma, whole_design
from pipeline.compare.stretch_errors import by_stretch, layer_errors
from pipeline.compare.uncertainty import learned, standard_errors
from pipeline.design.alignment import build
from pipeline.model import AlignmentRows, ElementRow
from pipeline.settings_earthwork import Volumes
from pipeline.surface.mesh import area
from tests.compare.simulated import (
    FIELDS,
    HALF,
    NINETY,
    NINETY_FIVE,
    NO_BENCH,
    errors_in_standard_errors,
    held,
    roots,
    street_of,
)


@pytest.fixture(scope="module")
def street(surface_of):
    return street_of(surface_of)


def test_the_stated_interval_holds_the_true_volume(surface_of):
    """400 simulated streets of four kinds, 100 each, against volumes that are known.

    Shown, over all kinds together: 90 % intervals of net, cut and fill hold 85-95 % of the
    true volumes, 95 % intervals of the net volume 93-97 %. 400 streets know a share of 95 %
    to 1.1 %. Intervals of cut and of fill hold 93 to 94 of 100 in the 2000 streets of
    RECORD.md, too near the limit for 400 to tell, so they are asked for 91-97 here.
    """
    street = street_of(surface_of, seed=5)
    off = np.concatenate([errors_in_standard_errors(street, name, 100) for name in FIELDS], axis=1)
    assert off.shape == (3, 400)
    ninety = held(off, NINETY)
    assert ((ninety >= 0.85) & (ninety <= 0.95)).all(), ninety
    net, *parts = held(off, NINETY_FIVE)
    assert 0.93 <= net <= 0.97
    assert all(0.91 <= share <= 0.97 for share in parts), parts


def test_errors_of_a_known_ground_against_its_own_scatter(street):
    """Monte Carlo: with the true model given, the error of the mean is as large as stated."""
    sill = 0.02**2
    root = roots(street, "rough")
    rough = Roughness((Model("exponential", sill, 8.0, 8.0, 1.0),), 1_000_000)
    errors = []
    for _ in range(300):
        ground = 0.02 * (root @ street.rng.standard_normal(len(root)))
        found, spread, (cut, fill) = street.measured(ground, 0.007)
        errors.append(found.cut_m3 - found.fill_m3 - cut + fill)
    known = standard_errors(found, spread, rough, NO_BENCH).net.total
    # 300 draws know a standard deviation to 4 %
    assert np.std(errors) == pytest.approx(known, rel=0.12)


def test_the_instruments_part_is_that_of_the_exact_volume(street):
    """Brute force: every shot raised by a millimetre in turn, the volume worked out anew."""
    ground = np.zeros(len(street.shots) + len(street.cells)) + 0.05
    found, spread, _ = street.measured(ground, 1e-9)
    sure = standard_errors(found, spread, Roughness((), 0), NO_BENCH)
    weights = []
    for k in range(len(street.shots)):
        raised = ground.copy()
        raised[k] += 0.001
        weights.append((street.measured(raised, 0.0)[0].cut_m3 - found.cut_m3) / 0.001)
    assert sum(weights) == pytest.approx(990.0, rel=1e-4)
    assert sure.net.instrument == pytest.approx(1e-9 * np.linalg.norm(weights), rel=0.02)


def test_the_systematic_part_does_not_average_out(street):
    found, spread, _ = street.measured(np.full(len(street.shots) + len(street.cells), 0.1), 0.004)
    sure = standard_errors(found, spread, Roughness((), 0), Volumes(systematic_m=0.003))
    assert sure.net.systematic == pytest.approx(0.003 * 990.0)
    assert sure.cut.systematic == pytest.approx(0.003 * 990.0)
    assert sure.fill.systematic == 0.0
    assert np.isnan(sure.net.total)


def test_too_few_shots_say_nothing():
    assert fit(np.arange(11.0), np.zeros(11), np.arange(11.0), np.full(11, 0.01)).models == ()
    level = fit(np.arange(30.0), np.zeros(30), np.zeros(30), np.full(30, 0.01))
    assert (level.models, level.shots) == ((), 30)


def test_roughness_finds_the_ground_it_was_given():
    """Ranges 20 m along and 5 m across, 15 mm: found within the scatter of one street."""
    rng = np.random.default_rng(12)
    places = np.stack((rng.uniform(0, 400, 600), rng.uniform(-5, 5, 600)), axis=1)
    scaled = places / [20.0, 5.0]
    root = np.linalg.cholesky(np.exp(-cdist(scaled, scaled)) + 1e-9 * np.eye(600))
    z = 0.015 * (root @ rng.standard_normal(600)) + 0.006 * rng.standard_normal(600)
    got = max(fit(*places.T, z, np.full(600, 0.006)).models, key=lambda model: model.share)
    assert got.kernel == "exponential"
    assert np.sqrt(got.sill_m2) == pytest.approx(0.015, rel=0.25)
    assert got.along_m == pytest.approx(20.0, rel=0.5)
    assert got.across_m == pytest.approx(5.0, rel=0.5)


def test_the_sigma_of_a_shot_is_its_own_or_the_jobs(surface_of):
    ground = surface_of([0, 1, 0, 1], [0, 0, 1, 1], np.zeros(4))
    got = shot_sigma(ground, np.array([0.006, np.nan, 0.008]), Volumes())
    assert got.tolist() == [0.006, 0.009, 0.008, 0.009]


# --- the next shots ---------------------------------------------------------------------------


def test_each_next_shot_is_the_one_that_brute_force_would_choose(street):
    """Brute force: the variance of the best linear mean solved anew for every candidate."""
    _, spread, _ = street.measured(np.zeros(len(street.shots) + len(street.cells)), 0.007)
    model = Model("Matern 3/2", 4e-4, 9.0, 4.0, 1.0)
    whole = whole_design(street.design, None, 200)
    got = next_shots(spread, whole, Roughness((model,), 77), 0.009, 3)

    def variance(extra):
        at = np.concatenate((spread.place, extra), axis=1)
        noise = np.concatenate((spread.sigma**2, np.full(extra.shape[1], 0.009**2)))
        k = 4e-4 * correlation(model, at, at) + np.diag(noise)
        c = 4e-4 * correlation(model, at, whole).mean(axis=1)
        return 4e-4 * correlation(model, whole, whole).mean() - c @ np.linalg.solve(k, c)

    chosen = np.empty((2, 0))
    before = variance(chosen)
    for k in range(3):
        tried = [variance(np.hstack((chosen, whole[:, [j]]))) for j in range(whole.shape[1])]
        best = int(np.argmin(tried))
        assert (got.station[k], got.offset[k]) == pytest.approx(tuple(whole[:, best]))
        assert got.left[k] == pytest.approx(np.sqrt(tried[best] / before), rel=1e-4)
        chosen = np.hstack((chosen, whole[:, [best]]))


def test_the_first_next_shot_lies_where_nobody_shot(surface_of, street):
    """Half of the street without shots: that is where the first five go."""
    near = street.shots[street.shots[:, 0] < 55]
    ground = surface_of(*near.T, 0.01 * np.sin(near[:, 0]))
    found = quantity("clay", overlay(ground, street.design), area(street.design))
    spread = sample(ground, street.design, np.full(len(near), 0.007), None, found.compared_area_m2)
    rough = Roughness((Model("exponential", 4e-4, 8.0, 8.0, 1.0),), len(near))
    got = next_shots(spread, whole_design(street.design, None), rough, 0.009, 5)
    assert (got.station > 55).all()
    assert (np.diff(got.left) < 0).all()
    assert len(next_shots(spread, whole_design(street.design, None), Roughness((), 3), 0.009)) == 0


def test_a_dense_scan_is_thinned_and_says_so(surface_of, monkeypatch):
    monkeypatch.setattr("pipeline.compare.sampling.MOST_SHOTS", 200)
    rng = np.random.default_rng(4)
    e, n = rng.uniform(0, 40, 2000), rng.uniform(0, 10, 2000)
    ground = surface_of(e, n, 0.02 * np.sin(e / 3))
    design = surface_of([1, 39, 39, 1], [1, 1, 9, 9], np.zeros(4), [[0, 1, 2], [0, 2, 3]])
    found = quantity("clay", overlay(ground, design), area(design))
    spread = sample(ground, design, np.full(2000, 0.01), None, found.compared_area_m2)
    assert spread.thinned
    assert 50 < len(spread.sigma) <= 300
    sure = standard_errors(found, spread, learned(spread), Volumes())
    assert sure.thinned
    assert sure.net.total > sure.net.systematic == pytest.approx(0.003 * 304.0)


def test_the_stated_interval_of_each_stretch_holds_its_true_volume(street):
    """24 simulated streets in stretches of 20 m: 90 % intervals hold 85-95 % of 120 volumes.

    Rows of shots stand on the ends of the stretches, as a crew shoots them.
    """
    line, _ = build(
        AlignmentRows("x", (ElementRow("line", 100.0, start=(0.0, 0.0)),), 0.0, np.pi / 2)
    )
    stations = np.linspace(0.0, 100.0, 6)
    inside = street.cells[:, 0]
    off = []
    for name in FIELDS:
        root = roots(street, name)
        for _ in range(6):
            ground = 0.02 * (root @ street.rng.standard_normal(len(root)))
            _, spread, _ = street.measured(ground, 0.007)
            pieces = street.pieces[-1]
            rows = by_interval("clay", pieces, street.design, line, stations)
            sure = by_stretch(spread, rows, learned(spread), NO_BENCH)
            each = ground[len(street.shots) :] * 2 * HALF * 100.0 / len(street.cells)
            true = [each[(inside >= a) & (inside < b)].sum() for a, b in pairwise(stations)]
            off += ((rows.cut_m3 - rows.fill_m3 - true) / sure.net_m3).tolist()
            assert sure.mean_m == pytest.approx(sure.net_m3 / rows.compared_area_m2)
    held = np.mean(np.abs(off) < 1.645)
    assert 0.85 <= held <= 0.95, held


def test_a_stretch_that_is_the_whole_street_is_as_sure_as_the_street(street):
    ground = np.zeros(len(street.shots) + len(street.cells)) + 0.05
    found, spread, _ = street.measured(ground, 0.007)
    line, _ = build(
        AlignmentRows("x", (ElementRow("line", 100.0, start=(0.0, 0.0)),), 0.0, np.pi / 2)
    )
    rough = learned(spread)
    rows = by_interval("clay", street.pieces[-1], street.design, line, np.array([0.0, 100.0]))
    one = by_stretch(spread, rows, rough, Volumes())
    whole = standard_errors(found, spread, rough, Volumes())
    both = layer_errors(found, spread, rows, rough, Volumes())
    assert both[0].net.total == pytest.approx(whole.net.total, rel=1e-12)
    np.testing.assert_allclose(both[1].fill_m3, one.fill_m3, rtol=1e-12)
    assert one.net_m3[0] == pytest.approx(whole.net.total, rel=1e-6)
    assert one.cut_m3[0] == pytest.approx(whole.cut.total, rel=1e-6)
