"""Edge and straight-edge: worked by hand, on a straight and on true curves."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.crew.edge.line import EdgeLine, edge_lines, edge_spots, seen
from pipeline.crew.edge.straight import long_sight, mid_ordinate, residuals, straightness
from pipeline.crew.stretches import Tape
from pipeline.design import alignment, grade_line
from pipeline.errors import JobError
from pipeline.model import NO_LINES, make_shots, texts
from pipeline.settings import Code, SurfaceRules
from pipeline.settings_crew import ShotEdgeRules
from pipeline.surface import tin
from tests.streets import street

RULES = ShotEdgeRules()
CODES = {"EC": Code(what="edge of clay", line=True, break_name="edge of clay", max_step_m=15.0)}
CLAY = "clay subgrade"
EDGE = 4.85

CURVED = """\
start,,,,,1000.0,2000.0,30.0,0.0
line,40.0,,,,,,,
arc,60.0,60.0,,right,,,,
arc,20.0,9.0,,left,,,,
line,40.0,,,,,,,
"""


@pytest.fixture(scope="module")
def bend(tmp_path_factory):
    """40 m straight, 60 m of R 60 to the right, 20 m of R 9 to the left, 40 m straight."""
    from_conftest = (
        "[[section]]\nname = 'x'\nfrom = 0.0\nto = 160.0\n[section.layers.'clay subgrade']\n"
        "drop_m = 0.40\nleft = 'mirror'\n"
        "right = [{ to = 'edge of clay', width_m = 4.85, fall_pct = 2.5 }]\n"
    )
    heights = "0,50,0,0\n160,51.6,0,0\n"
    return street(tmp_path_factory.mktemp("bend"), CURVED, heights, from_conftest, [CLAY])


def nose(station, at, length, amount, ramp=0.05):
    """How far the edge stands in: `amount` over `length` about `at`, with short ramps."""
    away = np.abs(station - at) - 0.5 * length
    return amount * np.clip(1.0 - away / ramp, 0.0, 1.0)


def shot_edge(corridor, side, stations, stands_in):
    offset = side * (EDGE - stands_in)
    east, north, _ = alignment.point_at(corridor.alignment, stations, offset)
    code = texts([f"EC{1 if side < 0 else 2}"] * len(stations))
    return make_shots(east, north, np.full(len(stations), 50.0), code=code)


def flat_over(corridor, above=0.5, out=8.0):
    """Ground `above` the clay's crown everywhere, wide enough for the edge."""
    stations = np.arange(0.0, corridor.alignment.station[-1] + 0.1, 2.0)
    s, o = np.meshgrid(stations, [-out, 0.0, out], indexing="ij")
    east, north, _ = alignment.point_at(corridor.alignment, s.ravel(), o.ravel())
    z = grade_line.elevation(corridor.profile, s.ravel()) - 0.40 + above
    shots = make_shots(east, north, z)
    return tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=50.0))[0]


@pytest.mark.parametrize("side", [-1, 1], ids=["left", "right"])
@pytest.mark.parametrize("at", [20.0, 70.0], ids=["straight", "curve of R 60"])
def test_a_nose_of_60_mm_over_70_cm_is_found_where_it_is(bend, side, at):
    # a bar of our own: maximum within 10 mm, length and station within 0.1 m
    stations = np.arange(0.5, 99.0, 0.10)
    shots = shot_edge(bend, side, stations, nose(stations, at, 0.7, 0.060))
    lines = edge_lines(bend, CLAY, shots, CODES)
    spots = edge_spots((bend, CLAY), flat_over(bend), lines, RULES)

    (found,) = spots
    assert (found.side, found.verdict) == (side, "PAINT")
    assert found.amount_m == pytest.approx(0.060, abs=0.005)
    assert 0.5 * (found.start + found.end) == pytest.approx(at, abs=0.1)
    assert found.length_m == pytest.approx(0.7, abs=0.1)


def test_the_volume_of_a_nose_is_that_of_the_solid(corridor):
    stations = np.arange(0.0, 100.01, 0.05)
    shots = shot_edge(corridor, 1, stations, nose(stations, 50.0, 10.0, 0.10, ramp=0.001))
    lines = edge_lines(corridor, CLAY, shots, CODES)
    (found,) = edge_spots((corridor, CLAY), flat_over(corridor, above=0.5), lines, RULES)

    # ground 0.5 above the crown; the clay there is 2.5 % of 4.80 lower: 0.62 high, 0.1 in, 10 long
    assert found.volume_m3 == pytest.approx(0.62 * 0.10 * 10.0, rel=0.01)
    assert found.verdict == "STOP"


@pytest.mark.parametrize(
    ("amount", "length", "verdict"),
    [
        (0.030, 2.0, "WATCH"), (0.060, 0.20, "WATCH"), (0.060, 0.50, "PAINT"),
        (0.105, 0.30, "STOP"), (-0.040, 2.0, "SHORT"),
    ],
)  # fmt: skip
def test_the_verdict_looks_at_how_far_and_how_long(corridor, amount, length, verdict):
    # thresholds of job 6.1, assumed
    stations = np.arange(0.0, 100.01, 0.05)
    shots = shot_edge(corridor, -1, stations, nose(stations, 30.0, length, amount))
    lines = edge_lines(corridor, CLAY, shots, CODES)
    (found,) = edge_spots((corridor, CLAY), flat_over(corridor), lines, RULES)

    assert found.verdict == verdict
    assert found.amount_m == pytest.approx(amount, abs=0.003)


def test_the_worst_comes_first(corridor):
    stations = np.arange(0.0, 100.01, 0.05)
    stands_in = nose(stations, 20.0, 1.0, 0.03) + nose(stations, 60.0, 1.0, 0.12)
    stands_in += nose(stations, 80.0, 1.0, 0.07)
    lines = edge_lines(corridor, CLAY, shot_edge(corridor, 1, stations, stands_in), CODES)
    spots = edge_spots((corridor, CLAY), flat_over(corridor), lines, RULES)

    assert [round(spot.station) for spot in spots] == [60, 80, 20]
    assert [spot.verdict for spot in spots] == ["STOP", "PAINT", "WATCH"]


def test_the_smallest_nose_is_the_widest_gap_and_a_wide_one_cuts_the_line(corridor):
    stations = np.array([0.0, 1.0, 2.0, 7.0, 8.0, 40.0, 41.0])
    lines = edge_lines(corridor, CLAY, shot_edge(corridor, 1, stations, stations * 0), CODES)

    assert [(one.start, one.end, one.shots) for one in seen(lines)] == [(0, 8, 5), (40, 41, 2)]
    assert seen(lines)[0].smallest_nose_m == pytest.approx(5.0)
    assert seen(lines)[0].usual_gap_m == pytest.approx(1.0)


def test_only_shots_on_the_edge_make_the_edge(corridor):
    stations = np.arange(0.0, 50.0, 1.0)
    edge = shot_edge(corridor, 1, stations, stations * 0)
    assert edge_lines(corridor, CLAY, edge, {"EC": Code(what="x", break_name="lip")}) == ()


@pytest.mark.parametrize(
    ("radius", "millimetres"), [(9.0, 125.9), (60.0, 18.8), (150.0, 7.5)]
)  # R (1 - cos(D / 2)), by hand
def test_the_sagitta_of_a_three_metre_chord(radius, millimetres):
    assert 1000.0 * mid_ordinate(radius, 3.0) == pytest.approx(millimetres, abs=0.05)


def test_the_sagitta_agrees_with_the_circle_itself():
    # three points on a circle of R 9, the independent answer from the law of cosines
    half = np.arcsin(1.5 / 9.0)
    assert mid_ordinate(9.0, 3.0) == pytest.approx(9.0 - 9.0 * np.cos(half), rel=1e-12)


@pytest.mark.parametrize("chord", [3.0, 10.0])
def test_a_true_curve_is_no_fault(bend, chord):
    stations = np.arange(0.0, 159.9, 0.25)
    for side in (-1, 1):
        (edge,) = edge_lines(bend, CLAY, shot_edge(bend, side, stations, stations * 0), CODES)
        inside = np.arange(10.0, 150.0, 0.5)
        off, tested = residuals(bend, CLAY, edge, inside, chord)
        assert tested.all()
        assert np.abs(off).max() < 1e-6


def test_a_bow_shows_by_its_own_sagitta_on_a_curve(bend):
    # 30 mm out over a wave 6 m long: on a 3 m chord from crest to zero, 30 mm exactly
    stations = np.arange(45.0, 95.0, 0.10)
    wave = 0.030 * np.sin(2.0 * np.pi * (stations - 60.0) / 6.0) * (np.abs(stations - 70.0) < 10.0)
    (edge,) = edge_lines(bend, CLAY, shot_edge(bend, 1, stations, -wave), CODES)
    # half a chord on the line of R 60 is longer than on the edge, 4.85 m nearer to the centre
    crest = np.array([61.5])
    off, tested = residuals(bend, CLAY, edge, crest, 3.0 * (60.0 - 4.85) / 60.0)

    assert tested.all()
    assert off[0] == pytest.approx(0.030, abs=0.0005)
    found = straightness(bend, CLAY, (edge,), RULES)
    assert all(58.0 < w.station < 82.0 for one in found for w in one.wobbles)
    # 5 m either way is most of a wave on: 30 mm less half of that again, within 40 mm
    assert {w.chord_m for one in found for w in one.wobbles} == {3.0}


def test_where_shots_are_far_apart_a_short_straight_edge_says_nothing(corridor):
    # three places within the chord need shots at most half a chord apart: 1.5 m and 5 m
    stations = np.arange(0.0, 100.1, 2.0)
    (edge,) = edge_lines(corridor, CLAY, shot_edge(corridor, 1, stations, stations * 0), CODES)
    short, long = straightness(corridor, CLAY, (edge,), RULES)

    assert short.tested_m == 0.0
    assert np.isnan(short.worst_m)
    assert long.tested_m == pytest.approx(90.0, abs=0.3)  # 10 m chord: 5 m of each end is lost


def test_a_slow_snake_is_seen_down_the_line_and_not_by_a_short_chord(corridor):
    stations = np.arange(0.0, 100.1, 1.0)
    snake = 0.06 * np.sin(np.pi * stations / 100.0)
    (edge,) = edge_lines(corridor, CLAY, shot_edge(corridor, 1, stations, -snake), CODES)

    assert [one.wobbles for one in straightness(corridor, CLAY, (edge,), RULES)] == [(), ()]
    (found,) = long_sight(corridor, edge, 0.04)
    assert found.amount_m == pytest.approx(0.06, abs=1e-6)
    assert found.station == pytest.approx(50.0, abs=1e-6)


def test_every_chord_needs_its_limit(corridor):
    rules = ShotEdgeRules(chords_m=[3.0], chord_limits_m=[0.02, 0.04])
    ends = np.array([0.0, 1.0])
    edge = EdgeLine(1, ends, np.zeros(2), Tape(ends, ends))
    with pytest.raises(JobError, match="1 chords but 2 limits"):
        straightness(corridor, CLAY, (edge,), rules)
