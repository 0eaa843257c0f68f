import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.compare.differences import at_points, summary
from pipeline.model import Feet

NAN = float("nan")


def test_cut_is_ground_minus_design_and_nan_stays():
    """Analytic: 0.12 m too high is a cut, 0.03 m too low a fill."""
    rows = at_points(
        "gravel", [10, 11, 12, 13], [20, 20, 20, 20], None,
        [5.12, 4.97, NAN, 5.0], [5.0, 5.0, 5.0, NAN],
    )  # fmt: skip
    np.testing.assert_allclose(rows.cut, [0.12, -0.03, NAN, NAN], atol=1e-12)
    assert np.isnan([rows.station, rows.offset]).all()
    assert rows.layer == "gravel"
    assert rows.easting.tolist() == [10, 11, 12, 13]


def test_station_and_offset_come_from_feet_or_from_columns():
    feet = Feet(station=[7.0], offset=[-2.0], feet=[1], beyond=[0])
    for along in (feet, ([7.0], [-2.0])):
        rows = at_points("clay", [0], [0], along, [1.0], [2.0])
        assert (rows.station.tolist(), rows.offset.tolist()) == ([7.0], [-2.0])
        assert rows.cut.tolist() == [-1.0]


def test_columns_of_different_length_are_refused():
    with pytest.raises(ValueError, match=r"ground has shape \(2,\), design \(1,\)"):
        at_points("clay", [0, 1], [0, 1], None, [1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match=r"northing has shape \(1,\), expected \(2,\)"):
        at_points("clay", [0, 1], [0], None, [1.0, 2.0], [1.0, 2.0])


def test_summary_counts_what_is_missing_and_why():
    """By hand: +0.3 and -0.1, three places without an answer."""
    rows = at_points(
        "clay", np.zeros(5), np.zeros(5), None, [1.3, 0.9, NAN, 1.0, NAN], [1, 1, 1, NAN, NAN]
    )
    got = summary(rows)
    assert (got.compared, got.no_ground, got.no_design) == (2, 2, 1)
    assert (got.mean, got.least, got.greatest) == pytest.approx((0.1, -0.1, 0.3))
    assert got.rms == pytest.approx(np.sqrt(0.05))


def test_summary_of_nothing_is_not_zero():
    got = summary(at_points("clay", [0], [0], None, [NAN], [1.0]))
    assert (got.compared, got.no_ground, got.no_design) == (0, 1, 0)
    assert np.isnan([got.mean, got.least, got.greatest, got.rms]).all()


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=30))
def test_rms_is_mean_and_spread_together(values):
    """Source: rms^2 = mean^2 + variance (statistics), the latter two by numpy."""
    n = len(values)
    got = summary(at_points("clay", np.zeros(n), np.zeros(n), None, values, np.zeros(n)))
    assert got.rms**2 == pytest.approx(np.mean(values) ** 2 + np.var(values), abs=1e-9)
    assert got.compared == n


def test_a_place_with_neither_ground_nor_design_counts_as_not_surveyed():
    nothing = float("nan")
    rows = at_points(
        "clay", range(4), range(4), None, [1.5, nothing, 2.0, nothing], [nothing, 1.0, 1.0, nothing]
    )
    found = summary(rows)

    assert (found.compared, found.no_ground, found.no_design) == (1, 2, 1)
    assert (found.mean, found.least, found.greatest) == (1.0, 1.0, 1.0)
