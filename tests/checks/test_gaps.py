"""Places far from every shot: area and extent against plane geometry by another library."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.affinity import scale

from pipeline.checks.coverage import Placed
from pipeline.checks.gaps import gap_findings, gaps
from pipeline.settings import CheckRules


@pytest.fixture
def section(break_line):
    return (
        break_line("edge", "clay", -1, -5.0, 0.0),
        break_line("edge", "clay", +1, 5.0, 0.0),
    )


def placed(station, offset):
    return Placed(np.array(station, float), np.array(offset, float), np.empty((0, 2), np.int64))


def test_rows_ten_metres_apart_leave_no_gap(section):
    station = np.repeat(np.arange(0.0, 101.0, 10.0), 3)

    assert gaps(section, placed(station, np.tile([-4.5, 0.0, 4.5], 11)), CheckRules()) == ()


def test_a_hole_in_the_shots_has_the_area_of_what_no_ellipse_reaches(section):
    station = np.repeat([0.0, 10.0, 20.0, 60.0, 70.0, 80.0, 90.0, 100.0], 5)
    shots = placed(station, np.tile([-4.5, -2.0, 0.0, 2.0, 4.5], 8))
    (gap,) = gaps(section, shots, CheckRules())

    # shapely: the street less the ellipses of 8 m by 4 m about the shots
    discs = [
        shapely.Point(s, o).buffer(1.0, 64)
        for s, o in np.column_stack([shots.station, shots.offset])
    ]
    reached = shapely.union_all([scale(disc, 8.0, 4.0) for disc in discs])
    open_ = shapely.box(0, -5, 100, 5).difference(reached)
    assert gap.area_m2 == pytest.approx(open_.area, rel=0.03)
    assert (gap.start, gap.end) == pytest.approx((open_.bounds[0], open_.bounds[2]), abs=1.0)
    (finding,) = gap_findings((gap,), CheckRules())
    assert f"{gap.area_m2:.0f} m2 of the street" in finding.text
    assert f"{gap.area_m2 / 100:.1f} m3" in finding.text
    assert "not surveyed" in finding.do


def test_one_side_that_nobody_shot_is_a_gap_across(section):
    station = np.arange(0.0, 101.0, 5.0)
    (gap,) = gaps(section, placed(station, np.full(21, -4.5)), CheckRules())

    assert gap.right > 4.0
    assert gap.left == pytest.approx(-0.5, abs=0.5)


def test_no_shots_at_all_are_one_gap_and_no_street_is_none(section):
    (gap,) = gaps(section, placed([], []), CheckRules())

    assert gap.area_m2 == pytest.approx(1000.0, rel=0.01)
    assert gaps((), placed([1.0], [0.0]), CheckRules()) == ()
