import numpy as np
import pytest

from pipeline.compare.differences import at_points
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
