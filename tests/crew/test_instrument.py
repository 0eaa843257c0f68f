"""The list for the instrument, and the high and low points with their inlets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew import lows
from pipeline.crew.hubs import instrument, stakes
from pipeline.errors import JobError
from pipeline.model import Utilities, texts
from pipeline.settings import StakeRules
from pipeline.settings_crew import HazardRules, InstrumentRules
from tests.streets import street

RULES = StakeRules(interval_m=20.0, hub_behind_m=1.5, reference="top back of curb")


@given(st.lists(st.text("ABC0123", min_size=1, max_size=24), unique=True, max_size=40))
def test_short_ids_stay_different_and_short(ids):
    short = instrument.short_ids(ids, 16)
    assert len(set(short)) == len(ids)
    assert all(0 < len(name) <= 16 for name in short)
    assert all(a == b for a, b in zip(ids, short, strict=True) if len(a) <= 16)


def test_the_columns_stand_in_the_order_that_the_job_names(corridor):
    points = stakes.points_to_set(corridor, RULES)
    rules = InstrumentRules(columns=["id", "easting", "northing", "elevation"], id_limit=16)
    table = instrument.table(instrument.set_out(corridor, points, rules, RULES), rules)

    assert table.columns == ("id", "easting", "northing", "elevation")
    # conftest by hand: hub 1.50 behind 4.25 on the left at the start, curb 0.058 over the crown
    assert table.rows[0] == ("0000.0L", "994.250", "2000.000", "50.058")


def test_the_elevation_says_what_it_is_of(corridor):
    points = stakes.points_to_set(corridor, RULES)
    found = instrument.set_out(corridor, points, InstrumentRules(layer="clay subgrade"), RULES)

    assert found.elevation[0] == pytest.approx(50.0 - 0.40 - 0.025 * 4.25)
    assert found.note[0] == (
        "hub 1.50 behind top back of curb; height of clay subgrade at top back of curb"
    )
    with pytest.raises(JobError, match="found 'asphalt', but the layers are finish"):
        instrument.set_out(corridor, points, InstrumentRules(layer="asphalt"), RULES)


@pytest.fixture(scope="module")
def sag(tmp_path_factory):
    """A sag with its low at station 50 on both gutters."""
    return street(
        tmp_path_factory.mktemp("sag"),
        "start,,,,,1000,2000,0,0\nline,100,,,,,,,\n",
        "0,50.5,0,0\n50,50,20,20\n100,50.5,0,0\n",
        "[[section]]\nname = 'x'\nfrom = 0.0\nto = 100.0\n[section.layers.finish]\n"
        "right = [{ to = 'flowline', width_m = 4.0, fall_pct = 2.0 }]\nleft = 'mirror'\n",
        ["finish"],
    )


def basin(name, station, offset, kind="catch basin"):
    return Utilities(
        id=texts([name]), kind=texts([kind]), easting=np.array([1000.0 + offset]),
        northing=np.array([2000.0 + station]), lid=np.array([49.0]),
        depth_to_top=np.array([0.0]), note=texts([""]),
    )  # fmt: skip


def test_a_low_point_without_its_inlet_is_told(sag):
    turns = lows.turns(sag, basin("CB1", 51.0, 4.1), "flowline", HazardRules())
    gutters = {round(t.offset): t for t in turns if t.what == "flowline"}

    assert {t.mark for t in turns} == {"LP"}
    assert gutters[4].inlet == "CB1"
    assert gutters[4].inlet_off_m == pytest.approx(1.0, abs=1e-6)
    assert lows.turn_words(gutters[4]) == "CB1 1.0 m ahead"
    assert lows.turn_words(gutters[-4]).startswith("NO INLET")
    (said,) = lows.findings(turns)
    assert said.station == pytest.approx(50.0)
    assert said.offset == pytest.approx(-4.0)


@pytest.mark.parametrize(
    "listed",
    [None, basin("MH", 50.0, 4.0, "manhole"), basin("CB", 55.0, 4.0), basin("CB", 50.0, 9.0)],
    ids=["no list", "no inlet", "too far along", "another line"],
)
def test_nothing_else_takes_the_water(sag, listed):
    assert len(lows.findings(lows.turns(sag, listed, "flowline", HazardRules()))) == 2
