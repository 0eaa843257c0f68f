"""Lots along the street: where each lies, by which rules it goes, which strip speaks for it."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.crew.pregrade.lots import lot_places, with_strips
from pipeline.design.alignment import build
from pipeline.errors import InputError, JobError
from pipeline.model import AlignmentRows, ElementRow, texts
from pipeline.model.strip import StripHeights
from pipeline.settings import Job
from pipeline.settings_earthwork import LotRule, Stabilising, Strip, StripFile

REACH = (0.0, 200.0)
EAST, _ = build(
    AlignmentRows("x", (ElementRow("line", 200.0, start=(1000.0, 500.0)),), 0.0, np.pi / 2)
)


def job(lots=(), given=frozenset(), **stabilising):
    rules = Stabilising(lots=[LotRule(**lot) for lot in lots], **stabilising)
    return Job(name="street", layers=[{"name": "clay"}], stabilising=rules, given=given)


def strip(stations, offset=0.0, rise=0.02, name="S"):
    at = np.asarray(stations, dtype=float)
    before = 100 + 0.01 * at
    return StripHeights(
        file="strip.csv", id=texts(f"{name}{k}" for k in range(len(at))),
        easting=1000.0 + at, northing=np.full(len(at), 500.0 - offset),
        before=before, after=before + rise,
    )  # fmt: skip


FILE = StripFile(file="strip.csv", spread_kg_m2=12.5, method="one set-up, one bench")


def test_without_lots_the_street_is_one():
    (got,) = lot_places(job(), REACH)
    assert (got.name, got.start, got.end) == ("street", 0.0, 200.0)


def test_lots_and_what_lies_between_them_cover_the_street_once():
    lots = [
        {"name": "sag", "start": 120.0, "end": 160.0, "moisture": "wet"},
        {"name": "hill", "start": 0.0, "end": 80.0},
    ]
    got = lot_places(job(lots), REACH)
    assert [(one.name, one.start, one.end) for one in got] == [
        ("hill", 0.0, 80.0), ("rest 1", 80.0, 120.0), ("sag", 120.0, 160.0),
        ("rest 2", 160.0, 200.0),
    ]  # fmt: skip
    assert [one.job.stabilising.moisture for one in got] == ["dry", "dry", "wet", "dry"]


def test_a_lot_past_the_end_of_the_street_ends_with_it():
    (got,) = lot_places(job([{"name": "all", "start": -5.0, "end": 210.0}]), REACH)
    assert (got.start, got.end) == REACH


def test_a_lot_states_what_it_states_and_the_rest_is_the_streets():
    given = frozenset({"stabilising", "stabilising.mixing_depth_m", "stabilising.spread_kg_m2"})
    lots = [{"name": "a", "start": 0.0, "end": 200.0, "spread_kg_m2": 20.0}]
    (got,) = lot_places(job(lots, given, mixing_depth_m=0.25, spread_kg_m2=10.0), REACH)
    rules = got.job.stabilising
    assert (rules.spread_kg_m2, rules.mixing_depth_m, rules.soil) == (20.0, 0.25, "lean clay")
    assert "stabilising.spread_kg_m2" in got.job.given


def test_what_was_measured_on_one_clay_is_not_taken_for_another():
    """The street's Proctor density is that of its own clay, not of the lot of silt."""
    given = frozenset({"stabilising.max_density_kg_m3", "stabilising.moisture_before"})
    lots = [
        {"name": "silt", "start": 0.0, "end": 50.0, "soil": "silt"},
        {"name": "wet", "start": 50.0, "end": 100.0, "moisture": "wet"},
        {"name": "same", "start": 100.0, "end": 200.0, "soil": "lean clay"},
    ]
    silt, wet, same = lot_places(
        job(lots, given, max_density_kg_m3=1800.0, moisture_before=0.14), REACH
    )
    assert silt.job.stabilising.max_density_kg_m3 is None
    assert "stabilising.max_density_kg_m3" not in silt.job.given
    assert wet.job.stabilising.max_density_kg_m3 == 1800.0
    assert wet.job.stabilising.moisture_before is None
    assert same.job.stabilising.max_density_kg_m3 == 1800.0


@pytest.mark.parametrize(
    ("lots", "message"),
    [
        ([("a", 0, 50), ("a", 60, 90)], "'a': is named twice"),
        ([("a", 50, 50)], r"'a': found 0\+050.0 to 0\+050.0"),
        ([("a", 90, 20)], "Let its stations rise"),
        ([("a", 250, 300)], "off the street"),
        ([("a", 0, 80), ("b", 60, 120)], r"'b': begins at 0\+060.0, inside 'a'"),
    ],
)
def test_lots_that_cannot_be_are_refused_by_name(lots, message):
    rules = [{"name": name, "start": float(a), "end": float(b)} for name, a, b in lots]
    with pytest.raises(JobError, match=message):
        lot_places(job(rules), REACH)


def test_a_refusal_beside_an_equation_says_the_station_that_people_read():
    """60 m along is 5+010 ahead of 0+050 = 5+000, by hand."""
    line = replace(EAST, equations=((50.0, 50.0, 5000.0),))
    lots = [{"name": "a", "start": 0.0, "end": 80.0}, {"name": "b", "start": 60.0, "end": 120.0}]
    with pytest.raises(JobError, match=r"'b': begins at 5\+010\.0, inside 'a'"):
        lot_places(job(lots), REACH, line)


def test_a_stated_strip_belongs_to_its_lot_only():
    lots = [{"name": "a", "start": 0.0, "end": 100.0}]
    strips = [Strip(spread_kg_m2=12.5, rise_m=0.02, lot="a")]
    a, rest = lot_places(job(lots, strips=strips), REACH)
    assert (len(a.job.stabilising.strips), len(rest.job.stabilising.strips)) == (1, 0)
    with pytest.raises(JobError, match=r"strip 1: found lot ''; the lots are: a, rest 1"):
        lot_places(job(lots, strips=[replace(strips[0], lot="")]), REACH)
    with pytest.raises(JobError, match=r"found lot 'a'; the lots are: none is stated"):
        lot_places(job(strips=strips), REACH)


def test_a_measured_strip_finds_its_lot_by_its_points():
    lots = [{"name": "a", "start": 0.0, "end": 100.0}]
    places = lot_places(job(lots), REACH)
    heights = strip(np.linspace(110.0, 150.0, 10), offset=2.0, rise=0.018)
    a, rest = with_strips(places, [(FILE, heights)], EAST, 50.0)
    assert a.job.stabilising.strips == []
    (got,) = rest.job.stabilising.strips
    assert (got.name, got.points, got.rise_m) == ("strip.csv", 10, pytest.approx(0.018))


def test_what_a_strip_left_out_is_said():
    heights = strip(np.linspace(10.0, 50.0, 12))
    after = heights.after.copy()
    after[3] -= 0.05
    after[7] = np.nan
    (got,) = with_strips(
        lot_places(job(), REACH), [(FILE, replace(heights, after=after))], EAST, 50.0
    )
    assert got.left_out == (
        "strip.csv: bladed between, left out: S3",
        "strip.csv: 1 of 12 points not measured twice",
    )
    assert got.job.stabilising.strips[0].points == 10


def test_points_of_two_lots_or_of_another_street_are_refused():
    places = lot_places(job([{"name": "a", "start": 0.0, "end": 100.0}]), REACH)
    with pytest.raises(InputError, match="its points lie in the lots a, rest 1"):
        with_strips(places, [(FILE, strip([90.0, 110.0]))], EAST, 50.0)
    with pytest.raises(InputError, match="point 'S0' lies 300 m off the street"):
        with_strips(places, [(FILE, strip([10.0, 20.0], offset=300.0))], EAST, 50.0)
    with pytest.raises(InputError, match="point 'S1' lies 400 m off the street"):
        with_strips(places, [(FILE, strip([10.0, 600.0]))], EAST, 50.0)


def test_a_metre_is_no_rise():
    with pytest.raises(JobError, match=r"rises by 1\.000 m on average, which no layer does"):
        with_strips(lot_places(job(), REACH), [(FILE, strip([10.0, 20.0], rise=1.0))], EAST, 50.0)
