"""What a test strip is worth, and when it is worth nothing."""

import numpy as np
import pytest

from pipeline.crew.measures import Measures
from pipeline.crew.pregrade.strip import Belief, fit, mean_error, measured, strip_words, update
from pipeline.errors import JobError
from pipeline.settings_earthwork import Strip

RULES = {"spread_kg_m2": 12.5, "per_kg_m": 0.0012, "limit_m": 0.007, "lot_error_m": 0.003}
PRIOR = Belief(0.015, 0.009)


def test_the_worked_example():
    """Two normal beliefs weighed by hand: 15 +- 9 and a strip of 22 give 20.7 +- 3.8."""
    got = update(PRIOR, [Strip(spread_kg_m2=12.5, rise_m=0.022)], **RULES)
    assert 1000 * got.after.mean == pytest.approx(20.7, abs=0.05)
    assert 1000 * got.after.sd == pytest.approx(3.8, abs=0.05)
    assert got.refused == ()
    rose = "rose 22.0 mm at 12.5 kg/m2, +-3.0 (40 points, one set-up, one bench)"
    assert rose in strip_words(got)[0]


def test_two_satellite_sessions_are_refused_and_why_is_said():
    """The mean of two raw sessions is known to 17 mm."""
    strip = Strip(name="strip A", spread_kg_m2=12.5, rise_m=0.022, method="satellite")
    got = update(PRIOR, [strip], **RULES)
    assert got.after == PRIOR
    assert got.used == ()
    assert strip_words(got)[0].startswith(
        "strip A NOT USED: its mean is known to +-17.0 mm, more than the 7 mm allowed;"
        " surveyed by satellite, which alone leaves +-17 mm"
    )


def test_a_crew_in_feet_reads_of_strips_in_feet():
    strips = [
        Strip(name="A", spread_kg_m2=12.5, rise_m=0.03048, points=40),
        Strip(name="B", spread_kg_m2=12.5, rise_m=0.022, method="satellite"),
        Strip(name="C", spread_kg_m2=12.5, rise_m=0.022, scatter_m=0.03048, points=4),
    ]
    used, shared, scattered = strip_words(update(PRIOR, strips, **RULES), Measures("ft"))
    assert used.startswith("A: rose 0.100 ft at 12.5 kg/m2, +-0.010 (40 points")
    # 17 mm are 0.0558 ft and the 7 mm allowed 0.0230, by the foot of 0.3048 m
    assert shared.startswith("B NOT USED: its mean is known to +-0.056 ft, more than the 0.02 ft")
    assert "4 points that scatter by 0.10 ft" in scattered
    assert "mm" not in used + shared + scattered


def test_too_few_scattered_points_are_refused_for_their_scatter():
    strip = Strip(spread_kg_m2=12.5, rise_m=0.022, scatter_m=0.020, points=8)
    got = update(PRIOR, [strip], **RULES)
    assert "8 points that scatter by 20 mm" in strip_words(got)[0]
    assert mean_error(strip) == pytest.approx(np.hypot(0.003, 0.020 / np.sqrt(8)))


def test_fewer_points_than_asked_for_are_used_and_said():
    got = update(PRIOR, [Strip(spread_kg_m2=12.5, rise_m=0.02, points=12)], **RULES)
    assert strip_words(got)[1] == "strip 1: 12 points; 40 are better"


def test_two_strips_count_for_more_than_one():
    """Normal with normal, worked out as a weighted mean by numpy."""
    strips = [Strip(spread_kg_m2=12.5, rise_m=r) for r in (0.022, 0.018)]
    got = update(PRIOR, strips, **RULES)
    weight = 1 / np.array([0.009**2, 0.003**2 + 0.003**2, 0.003**2 + 0.003**2])
    assert got.after.mean == pytest.approx(np.average([0.015, 0.022, 0.018], weights=weight))
    assert got.after.sd == pytest.approx(weight.sum() ** -0.5)


def test_a_strip_at_another_rate_is_moved_to_this_one():
    at_ten = update(PRIOR, [Strip(spread_kg_m2=10.0, rise_m=0.019)], **RULES)
    here = update(PRIOR, [Strip(spread_kg_m2=12.5, rise_m=0.019 + 2.5 * 0.0012)], **RULES)
    assert at_ten.after.mean == pytest.approx(here.after.mean)


def test_points_that_were_bladed_between_are_dropped():
    rng = np.random.default_rng(6)
    before = 100 + rng.normal(0, 0.05, 42)
    after = before + 0.018 + rng.normal(0, 0.003, 42)
    after[[3, 30]] += -0.05, 0.08
    after[11] = np.nan
    got = measured(before, after, spread_kg_m2=12.5, method="one set-up, one bench")
    assert np.flatnonzero(got.regraded).tolist() == [3, 30]
    kept = np.delete(after - before, [3, 11, 30])
    assert got.strip.rise_m == pytest.approx(kept.mean())
    assert got.strip.scatter_m == pytest.approx(kept.std(ddof=1))
    assert got.strip.points == 39


def test_a_strip_of_one_point_is_refused():
    with pytest.raises(JobError, match=r"strip test A: 1 points measured before and after"):
        measured(
            [1.0, 2.0], [1.02, np.nan], spread_kg_m2=12.5, method="one set-up, one bench", name="A"
        )


def test_a_line_through_strips_at_several_rates():
    """Independent: numpy.polyfit with the same weights and unscaled covariance."""
    strips = [
        Strip(spread_kg_m2=q, rise_m=r, scatter_m=s, points=20)
        for q, r, s in ((8.0, 0.012, 0.004), (12.5, 0.016, 0.010), (20.0, 0.027, 0.006))
    ]
    got = fit(strips)
    errors = [mean_error(strip) for strip in strips]
    line, covariance = np.polyfit(
        [8.0, 12.5, 20.0], [0.012, 0.016, 0.027], 1, w=1 / np.array(errors), cov="unscaled"
    )
    assert (got.per_kg, got.mismatch) == pytest.approx(tuple(line))
    assert got.per_kg_error == pytest.approx(np.sqrt(covariance[0, 0]))
    assert got.mismatch_error == pytest.approx(np.sqrt(covariance[1, 1]))


def test_a_line_needs_two_rates():
    with pytest.raises(JobError, match="strip tests: 2 at one spread rate"):
        fit([Strip(spread_kg_m2=10.0, rise_m=0.01), Strip(spread_kg_m2=10.0, rise_m=0.02)])
