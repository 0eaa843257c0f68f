"""A break that nobody shot is found and costed."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator

from pipeline.checks.coverage import (
    Placed,
    Street,
    joined_rows,
    missing_breaks,
    missing_findings,
)
from pipeline.model import BreakLine, Linework
from pipeline.settings import CheckRules

RULES = CheckRules()


@pytest.fixture
def section(break_line):
    """8 m of street at 2 %: crown 80 mm above the edges."""
    return (
        break_line("edge of clay", "clay", -1, -4.0, -0.08),
        break_line("crown", "clay", 0, 0.0, 0.0),
        break_line("edge of clay", "clay", +1, 4.0, -0.08),
    )


@pytest.fixture
def street(section):
    return Street(tuple((line,) for line in section), section)


def rows(*, offsets=(-4.0, 0.0, 4.0), step=10.0, drop=lambda s, o: np.zeros(len(s), dtype=bool)):
    station = np.repeat(np.arange(0.0, 100.1, step), len(offsets))
    offset = np.tile(np.array(offsets), len(station) // len(offsets))
    keep = ~drop(station, offset)
    return Placed(station[keep], offset[keep], np.empty((0, 2), dtype=np.int64))


def lost_by_scipy(placed):
    """Design less scipy's triangulation of it through the shots, sampled: an independent volume."""
    s, o = np.meshgrid(np.arange(0.25, 100, 0.5), np.arange(-3.95, 4.0, 0.1))
    heights = -0.02 * np.abs(placed.offset)
    made = LinearNDInterpolator(np.column_stack([placed.station, placed.offset]), heights)(s, o)
    return float(np.nansum(-0.02 * np.abs(o) - made)) * 0.5 * 0.1


def test_a_street_that_is_met_everywhere_has_nothing_missing(street):
    assert missing_breaks(street, rows(), RULES) == ()


def test_a_missing_crown_costs_3_2_cubic_metres_each_ten_metres(street):
    placed = rows(drop=lambda s, o: o == 0)
    (missing,) = missing_breaks(street, placed, RULES)

    # by hand: 3.2 m3 per 10 m within 5 %; 0.5 W (e W / 2) = 0.32 m2
    assert missing.lost_m3 / 10 == pytest.approx(3.2, rel=0.05)
    assert missing.lost_m3 == pytest.approx(lost_by_scipy(placed), rel=0.01)
    assert missing.sag_m == pytest.approx(0.080, abs=1e-9)
    assert missing.low
    (finding,) = missing_findings((missing,), RULES)
    assert "no shot and no line on the crown, 0+000.0 to 0+100.0" in finding.text
    assert "80 mm too low, 32.0 m3 (4.4 loads) in all, 3.2 m3 per 10 m" in finding.text
    assert finding.severity == "person"


@pytest.mark.parametrize(("first", "last"), [(50, 50), (40, 60), (30, 80), (0, 20), (70, 100)])
def test_a_stretch_without_crown_costs_what_the_triangles_lose(street, first, last):
    placed = rows(drop=lambda s, o: (o == 0) & (s >= first) & (s <= last))
    (missing,) = missing_breaks(street, placed, RULES)

    assert missing.start == max(first - 10, 0)
    assert missing.end == min(last + 10, 100)
    assert missing.lost_m3 == pytest.approx(lost_by_scipy(placed), rel=0.02)


def test_quarter_shots_make_a_missing_crown_cheaper(street):
    placed = rows(offsets=(-4, -2, 0, 2, 4), drop=lambda s, o: o == 0)
    (missing,) = missing_breaks(street, placed, RULES)

    # between shots at 2 m: 0.5 x 4 m x 40 mm, a quarter of it
    assert missing.lost_m3 == pytest.approx(8.0, rel=0.01)


def test_a_line_that_passes_meets_the_break_between_its_shots(street):
    def without(s, o):
        return (o == 0) & ((s == 40) | (s == 50))

    placed = rows(drop=without)
    crown = np.flatnonzero(placed.offset == 0)
    drawn = Placed(placed.station, placed.offset, np.column_stack([crown[:-1], crown[1:]]))

    assert [m.start for m in missing_breaks(street, placed, RULES)] == [30.0]
    assert missing_breaks(street, drawn, RULES) == ()


def test_a_shot_beside_the_break_does_not_meet_it(street):
    # 0.5 m is the reach that is assumed
    def moved(by):
        placed = rows()
        offset = np.where(placed.offset == 0, by, placed.offset)
        return missing_breaks(street, Placed(placed.station, offset, placed.joined), RULES)

    assert moved(0.45) == ()
    assert len(moved(0.55)) == 1


def test_a_missing_edge_says_that_the_end_of_the_ground_is_not_known(street):
    placed = rows(drop=lambda s, o: (o == 4) & (s > 30) & (s < 60))
    (missing,) = missing_breaks(street, placed, RULES)
    (finding,) = missing_findings((missing,), RULES)

    assert (missing.side, missing.start, missing.end) == (1, 30.0, 60.0)
    assert np.isnan(missing.lost_m3)
    assert "edge of clay right, 0+030.0 to 0+060.0: how the ground ends there" in finding.text


def test_lip_or_flow_line_is_one_requirement_and_costs_nothing_on_even_clay(section, break_line):
    lip = break_line("lip", "finish", 1, 3.0, 0.2)
    flow = break_line("flowline", "finish", 1, 3.4, 0.2)
    street = Street(((lip, flow),), section)
    both = rows(offsets=(-4.0, 0.0, 2.6, 4.0), drop=lambda s, o: (o == 2.6) & (s % 20 == 0))
    flows = np.where((both.offset == 4.0) & (both.station % 20 == 0), 3.4, both.offset)

    assert missing_breaks(street, Placed(both.station, flows, both.joined), RULES) == ()
    (missing,) = missing_breaks(street, rows(), RULES)
    assert missing.lost_m3 == 0.0
    (finding,) = missing_findings((missing,), RULES)
    assert finding.severity == "note"
    assert "lip or flowline right" in finding.text


def test_bends_ask_for_closer_rows(section):
    bent = Street(((section[1],),), section, bends=((20.0, 60.0),))

    assert [m.start for m in missing_breaks(bent, rows(), RULES)] == [20.0, 30.0, 40.0, 50.0]
    assert missing_breaks(bent, rows(step=5.0), RULES) == ()


def test_a_break_that_the_section_has_only_further_on_is_not_asked_for_before(section):
    walk = BreakLine("walk", "clay", 1, [0.0, 50.0, 51.0, 100.0], [np.nan, np.nan, 2, 2], [0.0] * 4)
    street = Street(((walk,),), section)
    found = missing_breaks(street, rows(), RULES)

    assert [(m.start, m.end) for m in found] == [(51.0, 100.0)]


def test_joined_rows_are_those_of_each_line_and_not_between_two():
    lines = Linework(
        easting=np.zeros(6), northing=np.zeros(6), elevation=np.zeros(6),
        point=[4, 5, 6, -1, 1, 2], start=[0, 3, 6], name=("CL", "EC"), kind=("break", "break"),
    )  # fmt: skip

    assert joined_rows(lines).tolist() == [[4, 5], [5, 6], [1, 2]]
