"""Boning rods: an example worked by hand; the eye's limit by the angle it tells apart."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.crew.sights import sightline
from pipeline.crew.sights import table as sights_table
from pipeline.design import alignment
from pipeline.design import corridor as sections
from pipeline.model import NO_LINES, make_shots
from pipeline.settings import Rounding, SurfaceRules
from pipeline.settings_crew import SightRules
from pipeline.surface import tin
from tests.streets import street

CLAY = "clay subgrade"
RULES = SightRules()
EVERY_5_M = np.arange(0.0, 100.1, 5.0)


def ground_at(corridor, above=0.0, bump=None, stations=EVERY_5_M):
    """Ground `above` the clay everywhere, crown and edges shot; `bump` raises one crown shot."""
    s, o = (x.ravel() for x in np.meshgrid(stations, [-4.85, 0.0, 4.85], indexing="ij"))
    z = sections.elevation(corridor, s, o, CLAY) + above
    if bump is not None:
        z = np.where((s == bump[0]) & (o == 0.0), z + bump[1], z)
    east, north, _ = alignment.point_at(corridor.alignment, s, o)
    return tin.build(make_shots(east, north, z), NO_LINES, SurfaceRules(max_edge_m=100.0))[0]


def sights(corridor, ground, station=(20.0, 30.0), rules=RULES, on_grade=0.010):
    return sightline.sights((corridor, CLAY), ground, np.array(station), rules, on_grade)


def test_the_card_of_the_job_reads_80_mm_at_the_crown_and_nothing_on_a_one_way_fall():
    # by hand: lips 100.000 / 100.060, 8 m apart, crown 80 mm over the chord
    crown = 0.5 * (100.000 + 100.060) + 0.080
    assert sightline.correction([crown], [0.5], 100.000, 100.060)[0] == pytest.approx(0.080)
    share = np.linspace(0.0, 1.0, 9)
    one_way = 100.000 + 0.060 * share
    assert sightline.correction(one_way, share, 100.000, 100.060) == pytest.approx(0.0, abs=1e-12)


def test_the_middle_rod_shows_the_corridors_own_elevation(corridor):
    found = sights(corridor, ground_at(corridor))
    across = [sight for sight in found if sight.way == "across"]

    assert len(across) == 2
    for sight in across:
        assert not sight.why_not
        for reading in sight.readings:
            chord = np.interp(
                reading.offset,
                [sight.first.offset, sight.second.offset],
                [sight.first.design, sight.second.design],
            )
            design = float(sections.elevation(corridor, reading.station, reading.offset, CLAY))
            assert reading.delta_m == pytest.approx(design - chord, abs=1e-4)
    # by hand: a crown over two falls of 2.5 % and 4.85 m
    crown = next(r for r in across[0].readings if r.what == "crown")
    assert crown.delta_m == pytest.approx(0.025 * 4.85, abs=1e-9)
    assert {r.what for r in across[0].readings} >= {"crown", "lip", "quarter"}


@pytest.mark.parametrize(
    ("above", "works"), [(0.0, True), (0.009, True), (0.011, False), (-0.05, False)]
)
def test_a_dot_needs_ground_at_grade(corridor, above, works):
    found = sights(corridor, ground_at(corridor, above))
    assert all((not sight.why_not) == works for sight in found)
    if not works:
        assert "high" in found[0].why_not or "low" in found[0].why_not


def test_where_nobody_shot_there_is_no_dot(corridor):
    ground = ground_at(corridor, stations=np.arange(0.0, 22.0, 5.0))
    last = sights(corridor, ground, (10.0, 50.0))[1]
    assert last.why_not == "no dot: L not shot, R not shot"


def test_ground_in_the_way_and_a_long_sight_are_said(corridor):
    # rods of 1.2 m over the dots, 0.10 clear; the crown is 0.121 above the chord already
    blocked = sights(corridor, ground_at(corridor, bump=(20.0, 1.05)))[0]
    free = sights(corridor, ground_at(corridor, bump=(20.0, 0.95)))[0]
    assert blocked.why_not == "ground in the sight"
    assert free.why_not == ""
    far = [s for s in sights(corridor, ground_at(corridor), (10.0, 50.0)) if s.way == "along"]
    assert far[0].why_not == "longer than the longest sight"


def test_the_eye_tells_apart_an_arc_minute():
    # 2.3 mm at 8 m, 5.8 mm at 20 m, 11.6 mm at 40 m (tan of one minute of arc, by hand)
    exact = SightRules(dot_sigma_m=1e-12)
    got = [1000 * float(sightline.sight_error(1.0, d, exact)) for d in (8.0, 20.0, 40.0)]
    assert got == pytest.approx([2.3, 5.8, 11.6], abs=0.05)
    # half way, two dots of 5 mm each carry 5 / sqrt 2
    blind = SightRules(eye_arcmin=1e-9)
    assert float(sightline.sight_error(0.5, 8.0, blind)) == pytest.approx(0.005 / np.sqrt(2))


def test_dot_error_agrees_with_a_thousand_crews():
    rng = np.random.default_rng(3)
    dots = 0.005 * rng.standard_normal((2, 20000))
    spread = np.std(0.7 * dots[0] + 0.3 * dots[1])
    assert float(sightline.sight_error(0.3, 8.0, SightRules(eye_arcmin=1e-9))) == pytest.approx(
        spread, rel=0.03
    )


def test_a_crest_between_two_dots_needs_a_third(tmp_path):
    # a vertical curve of 2 % over 40 m: K = 20, sagitta L^2 / (800 K) = 25 mm on 20 m
    crest = street(
        tmp_path,
        "start,,,,,0,0,0,0\nline,100,,,,,,,\n",
        "0,50,0,0\n50,50.5,20,20\n100,50,0,0\n",
        "[[section]]\nname = 'x'\nfrom = 0.0\nto = 100.0\n[section.layers.'clay subgrade']\n"
        "right = [{ to = 'edge of clay', width_m = 4.85, fall_pct = 2.5 }]\nleft = 'mirror'\n",
        [CLAY],
    )
    found = sights(crest, ground_at(crest), (0.0, 20.0, 40.0, 60.0))
    along = {s.first.station: s for s in found if s.way == "along" and s.first.offset < 0}
    middle = {start: s.readings[1] for start, s in along.items()}

    assert middle[40.0].delta_m == pytest.approx(0.025, abs=1e-9)
    assert middle[40.0].extra
    assert not middle[0.0].extra  # straight grade
    assert sights_table.delta_words(middle[40.0].delta_m, Rounding()) == "25 ABOVE"
    assert sights_table.rod_words(middle[40.0], RULES, Rounding()) == "1.175"


def test_the_table_has_a_row_a_reading(corridor):
    found = sights(corridor, ground_at(corridor))
    table = sights_table.table(corridor, found, RULES, Rounding())

    assert len(table.rows) == sum(len(sight.readings) for sight in found)
    crown = next(row for row in table.rows if row[8] == "CL")
    assert crown[table.columns.index("above_sight_m")] == "0.1213"
    assert crown[table.columns.index("shows")] == "120 ABOVE"
    assert crown[table.columns.index("rod_reading_m")] == "1.080"
