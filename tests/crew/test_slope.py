"""Slope stakes: the catch point against closed form and a published field-book table."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.crew.hubs import slope
from pipeline.errors import DesignError
from pipeline.model import NO_LINES, make_shots
from pipeline.settings import Rounding, SurfaceRules
from pipeline.settings_crew import SlopeRules
from pipeline.surface import tin

RULES = SlopeRules(hinge="edge of clay", cut_slope=2.0, fill_slope=1.5, reach_m=20.0)


def test_cross_sloping_ground_meets_the_closed_form(published):
    # x = (w/2 + s h0)/(1 - s m) uphill, (w/2 + s h0)/(1 + s m) downhill; w the whole width
    ref = published("REF-GS-14")
    s, m = ref.inputs["s"], ref.inputs["ground_slope"]
    half, h0 = ref.inputs["width"] / 2.0, ref.inputs["h_centre"]
    for way, key, cut in ((1.0, "x_up", "cut_up"), (-1.0, "x_down", "cut_down")):
        above = lambda out, way=way: h0 + way * m * (half + out) - out / s  # noqa: E731
        out = slope.first_catch(above, 1, 100.0)
        assert half + float(out[0]) == pytest.approx(ref.expected[key], abs=0.002)
        assert float(out[0]) / s == pytest.approx(ref.expected[cut], abs=0.002)


def test_level_ground_meets_the_field_book_table(published):
    ref = published("REF-GS-6")
    height = np.array(ref.inputs["h"])
    ratio = ref.inputs["slope"]
    out = slope.first_catch(lambda x: height - x / ratio, len(height), 25.0)
    ref.check("out", out)


def test_the_iteration_of_the_textbook_runs_away_where_this_does_not():
    # ground rises at 60 % over a 2 : 1 slope: they never meet; at 45 % they do, 20 h out
    assert np.isnan(slope.first_catch(lambda x: 1.0 + 0.6 * x - x / 2.0, 1, 50.0)[0])
    assert slope.first_catch(lambda x: 1.0 + 0.45 * x - x / 2.0, 1, 50.0)[0] == pytest.approx(
        20.0, abs=0.002
    )


def test_of_several_crossings_the_first_is_staked():
    # roots at 2, 5 and 9
    found = slope.first_catch(lambda x: -(x - 2.0) * (x - 5.0) * (x - 9.0), 1, 20.0)
    assert found[0] == pytest.approx(2.0, abs=0.001)


def test_ground_that_ends_before_the_slope_gives_no_stake():
    found = slope.first_catch(lambda x: np.where(x < 3.0, 2.0 - x / 2.0, np.nan), 1, 20.0)
    assert np.isnan(found[0])


@pytest.fixture(scope="module")
def level():
    east, north = np.meshgrid([980.0, 1020.0], [2000.0, 2100.0])
    shots = make_shots(east.ravel(), north.ravel(), np.full(4, 51.0))
    return tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=200.0))[0]


def test_stakes_stand_where_the_slope_meets_the_tin(corridor, level):
    stakes = slope.slope_stakes(corridor, level, np.array([20.0, 90.0]), RULES)
    # conftest: edge of clay at 4.85, 50 + 2 % of the station - 0.40 - 0.12125
    hinge = 50.0 + 0.02 * np.array([20.0, 90.0]) - 0.52125
    low, high = 51.0 - hinge

    assert stakes.station.tolist() == [20.0, 90.0, 90.0, 20.0]
    assert low > 0 > high  # cut at 20, fill at 90
    assert stakes.out[[0, 3]] == pytest.approx(2.0 * low, abs=0.002)
    assert stakes.out[[1, 2]] == pytest.approx(1.5 * -high, abs=0.002)
    assert stakes.cut[[0, 1]] == pytest.approx([low, high], abs=0.001)
    # 51.000 - 49.87875 = 1.121; catch 4.85 + 2.2425 = 7.09 from the centreline
    assert slope.mark(stakes, 0, Rounding()) == ("SS", "C 1.12 @ 7.1", "2:1")


def test_slope_stakes_are_set_only_where_the_job_asks(corridor, level):
    assert len(slope.slope_stakes(corridor, level, np.array([20.0]), SlopeRules())) == 0
    with pytest.raises(DesignError, match="no section has a break of that name"):
        slope.slope_stakes(corridor, level, np.array([20.0]), SlopeRules(hinge="shoulder"))
