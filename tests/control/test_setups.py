"""A day's sightings: an open survey reduced to its own stored points, and a made-up day."""

from __future__ import annotations

import math
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from pipeline.control.reduction import Corrections
from pipeline.control.setups import reduce_observations
from pipeline.errors import InputError
from pipeline.ingest.landxml.observations import read_landxml_observations
from pipeline.model import make_observations, make_shots, texts
from pipeline.model.observations import OBSERVATION_COLUMNS

SURVEY = Path(__file__).resolve().parent.parent / "data" / "survey" / "two_setups_v11.xml"
FLAT = Corrections(curvature_refraction=False)
FOOT = 0.3048
KNOWN = {
    "A": (1000.0, 2000.0, 100.0),
    "B": (1080.0, 2060.0, 101.0),
    "C": (940.0, 2070.0, 99.5),
    "D": (1010.0, 1900.0, 100.4),
}
SHOTS = {"1": (1020.0, 2010.0, 100.1), "2": (1033.0, 1985.0, 99.9), "3": (990.0, 2040.0, 100.3)}


def control(points=KNOWN):
    return make_shots(*np.array(list(points.values())).T, id=texts(points))


def book_of(*parts):
    """One book of several set-ups, in order."""
    columns = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in OBSERVATION_COLUMNS
        if name not in ("target", "file", "line")
    }
    return make_observations(np.concatenate([part.target for part in parts]), **columns)


@pytest.fixture
def day(sight):
    """One set-up on A, backsight B, check C, three shots."""
    points = {"B": KNOWN["B"], "C": KNOWN["C"], **SHOTS}
    roles = ["backsight", "check", *["foresight"] * 3]
    return sight("S1", "A", KNOWN["A"], points, role=roles)


def off_by(book, row, **shift):
    columns = {name: np.array(getattr(book, name)) for name in OBSERVATION_COLUMNS}
    for name, size in shift.items():
        columns[name][row] += size
    return make_observations(columns.pop("target"), **columns)


@pytest.fixture(scope="module")
def open_survey():
    notes = read_landxml_observations(SURVEY)
    return notes, reduce_observations(notes.observations, notes.control, FLAT)


def test_an_open_survey_reduces_to_its_own_stored_points(open_survey):
    # independent answer: the points that the file's own program stored (tests/data/survey)
    notes, reduced = open_survey
    rows = {name: row for row, name in enumerate(notes.points.id)}
    at = [rows[name] for name in reduced.shots.id]
    assert len(at) == len(notes.points) == 125
    for name in ("easting", "northing", "elevation"):
        got, want = getattr(reduced.shots, name), getattr(notes.points, name)[at]
        np.testing.assert_allclose(got / FOOT, want / FOOT, rtol=0, atol=1e-8)


def packed(text):
    """Degrees of ``dd.mmss`` by cutting the text; written apart from the reader under test."""
    whole, _, rest = text.lstrip("-").partition(".")
    rest = (rest + "0000")[: max(4, len(rest))]
    size = int(whole) + int(rest[:2]) / 60 + float(f"{rest[2:4]}.{rest[4:]}") / 3600
    return -size if text.startswith("-") else size


def by_hand():
    """Plan misfit [ft] of every re-shot control point: plain trigonometry on ElementTree."""
    space = "{http://www.landxml.org/schema/LandXML-1.1}"
    root = ET.parse(SURVEY).getroot()
    place = {p.get("name"): [*map(float, p.text.split())] for p in root.iter(f"{space}CgPoint")}
    stands = {s.get("id"): s.get("stationName") for s in root.iter(f"{space}InstrumentSetup")}
    misfits = []
    for group in root.iter(f"{space}ObservationGroup"):
        back = group.find(f"{space}Backsight")
        n0, e0, _ = place[stands[back.get("setupID")]]
        n1, e1, _ = place[back.find(f"{space}BacksightPoint").get("pntRef")]
        zero = math.degrees(math.atan2(e1 - e0, n1 - n0)) - packed(back.get("circle"))
        for raw in group.iter(f"{space}RawObservation"):
            target = raw.find(f"{space}TargetPoint").get("pntRef")
            if target not in ("1", "2", "30", "100") or raw.get("slopeDistance") is None:
                continue
            level = float(raw.get("slopeDistance"))
            level *= math.sin(math.radians(packed(raw.get("zenithAngle"))))
            azimuth = math.radians(zero + packed(raw.get("horizAngle")))
            n2, e2, _ = place[target]
            off_e, off_n = e0 + level * math.sin(azimuth) - e2, n0 + level * math.cos(azimuth) - n2
            misfits.append(math.hypot(off_e, off_n))
    return misfits


def test_its_reshot_control_is_told_with_its_misfit(open_survey):
    _, reduced = open_survey
    plan = np.hypot(reduced.checks.along, reduced.checks.across) / FOOT
    np.testing.assert_allclose(plan, by_hand(), rtol=0, atol=1e-8)
    assert {f.severity for f in reduced.findings if f.kind == "control check"} == {"stop"}
    # every re-shot point is the backsight itself: the survey never checked a third point
    assert not reduced.checks.independent.any()
    assert sum(f.kind == "set-up unchecked" for f in reduced.findings) == 2


def test_every_sighting_is_a_shot_a_check_or_listed(open_survey):
    notes, reduced = open_survey
    rows = np.concatenate([reduced.row, reduced.checks.row, reduced.unused])
    np.testing.assert_array_equal(np.sort(rows), np.arange(len(notes.observations)))


def test_curvature_lifts_far_points_and_moves_none(open_survey):
    # (1 - 0.14) d² / 2R over 1 754.5 ft is 0.0632 ft; here the longest sight decides
    notes, flat = open_survey
    bent = reduce_observations(notes.observations, notes.control)
    place = {setup.id: (setup.easting, setup.northing) for setup in flat.setups}
    from_setup = np.array([place[name] for name in flat.shots.setup])
    d = np.hypot(flat.shots.easting - from_setup[:, 0], flat.shots.northing - from_setup[:, 1])
    lift = bent.shots.elevation - flat.shots.elevation
    np.testing.assert_allclose(lift, 0.86 * d**2 / (2 * 6_371_000.0), rtol=1e-4)
    assert np.abs(bent.shots.easting - flat.shots.easting).max() < 2e-4


def test_a_made_up_day_comes_back_as_it_was_laid_out(day):
    reduced = reduce_observations(day, control(), FLAT)
    got = np.column_stack([reduced.shots.easting, reduced.shots.northing, reduced.shots.elevation])
    np.testing.assert_allclose(got, list(SHOTS.values()), rtol=0, atol=1e-9)
    assert reduced.shots.id.tolist() == ["1", "2", "3"]
    assert reduced.findings == ()
    assert reduced.checks.target.tolist() == ["B", "C"]
    assert reduced.checks.independent.tolist() == [0, 1]
    np.testing.assert_allclose(reduced.checks.limit[1], 0.005 + 20e-6 * np.hypot(60, 70))


def test_sigmas_grow_with_the_sight(day):
    reduced = reduce_observations(day, control(), FLAT)
    d = np.hypot(reduced.shots.easting - 1000, reduced.shots.northing - 2000)
    order = np.argsort(d)
    assert (np.diff(reduced.shots.sigma_h[order]) > 0).all()
    # at 22 m centring 2 mm twice and 2 mm of distance rule: some 3 to 5 mm (analytic bound)
    assert 0.002 < reduced.shots.sigma_h.min() < 0.006


def test_both_faces_give_one_shot_with_the_row_of_the_earlier(day):
    right = {name: np.array(getattr(day, name)) for name in OBSERVATION_COLUMNS}
    right["horizontal"] = np.mod(right["horizontal"] + np.pi, 2 * np.pi)
    right["zenith"] = 2 * np.pi - right["zenith"]
    right["face"][:] = "right"
    left = {name: np.array(getattr(day, name)) for name in OBSERVATION_COLUMNS}
    left["face"][:] = "left"
    parts = [make_observations(part.pop("target"), **part) for part in (left, right)]
    reduced = reduce_observations(book_of(*parts), control(), FLAT)
    assert reduced.row.tolist() == [2, 3, 4]
    assert len(reduced.faces) == 5
    np.testing.assert_allclose(reduced.shots.easting, [p[0] for p in SHOTS.values()], atol=1e-9)


@pytest.mark.parametrize(
    ("row", "shift", "severity"),
    [
        (1, {"slope_distance": 0.004}, None),
        (1, {"slope_distance": 0.020}, "stop"),
        (1, {"target_height": 0.100}, "stop"),
        (1, {"horizontal": 0.0005}, "stop"),
        (0, {"slope_distance": 0.020}, "stop"),
    ],
)
def test_a_check_beyond_5_mm_and_20_ppm_stops_the_day(day, row, shift, severity):
    reduced = reduce_observations(off_by(day, row, **shift), control(), FLAT)
    said = [f.severity for f in reduced.findings if f.kind == "control check"]
    assert said == ([severity] if severity else [])


def test_a_wrong_rod_on_the_check_shows_its_own_size(day):
    reduced = reduce_observations(off_by(day, 1, target_height=0.10), control(), FLAT)
    assert reduced.checks.rise[1] == pytest.approx(-0.10, abs=1e-9)
    finding = next(f for f in reduced.findings if f.kind == "control check")
    assert "-0.100 m in height" in finding.text
    assert finding.points == ("C",)


def test_a_check_on_the_backsight_alone_is_no_check(day):
    reduced = reduce_observations(day.take([0, 2, 3, 4]), control(), FLAT)
    assert [f.kind for f in reduced.findings] == ["set-up unchecked"]
    assert "besides B" in reduced.findings[0].text


def test_a_backsight_without_distance_is_told(day):
    blind = off_by(day, 0, slope_distance=np.nan)
    reduced = reduce_observations(blind, control(), FLAT)
    assert [f.kind for f in reduced.findings] == ["backsight distance"]
    assert reduced.unused.tolist() == [0]
    np.testing.assert_allclose(reduced.shots.easting, [p[0] for p in SHOTS.values()], atol=1e-9)


def test_a_free_station_is_resected_and_its_shots_stand(sight):
    station = (1005.0, 2003.0, 100.2)
    points = {**{name: KNOWN[name] for name in "BCD"}, **SHOTS}
    roles = ["backsight"] * 3 + ["foresight"] * 3
    book = sight("S2", "", station, points, role=roles)
    reduced = reduce_observations(book, control(), FLAT)
    assert [setup.method for setup in reduced.setups] == ["resection"]
    assert len(reduced.resections) == 1
    np.testing.assert_allclose(reduced.shots.northing, [p[1] for p in SHOTS.values()], atol=1e-6)


def test_a_second_set_up_on_a_shot_point_is_an_open_leg(sight, day):
    second = sight("S2", "1", SHOTS["1"], {"A": KNOWN["A"], "9": (1050.0, 2030.0, 100.0)},
                   role=["backsight", "foresight"], orientation=2.0)  # fmt: skip
    reduced = reduce_observations(book_of(day, second), control(), FLAT)
    assert [setup.method for setup in reduced.setups] == ["occupied", "open leg"]
    assert reduced.shots.easting[-1] == pytest.approx(1050.0, abs=1e-6)
    assert any(f.kind == "open leg" and "stands on 1" in f.text for f in reduced.findings)
    assert reduced.shots.sigma_h[-1] > reduced.shots.sigma_h[:3].max()


def test_a_set_up_that_cannot_be_placed_stops_and_lists_its_shots(day, sight):
    lost = sight("S7", "Q", (1.0, 2.0, 3.0), {"B": KNOWN["B"], "7": (9.0, 9.0, 9.0)},
                 role=["backsight", "foresight"])  # fmt: skip
    reduced = reduce_observations(book_of(day, lost), control(), FLAT)
    stop = next(f for f in reduced.findings if f.kind == "set-up")
    assert stop.severity == "stop"
    assert "stands on Q, which nobody knows" in stop.text
    assert reduced.unused.tolist() == [5, 6]
    assert len(reduced.shots) == 3


def test_two_heights_of_instrument_in_one_set_up_stop_it(day):
    reduced = reduce_observations(off_by(day, 3, instrument_height=0.05), control(), FLAT)
    stop = next(f for f in reduced.findings if f.kind == "set-up")
    assert "heights of instrument from 1.500 to 1.550 m" in stop.text
    assert len(reduced.shots) == 0


def test_a_check_of_an_unknown_point_is_listed(day):
    roles = np.array(["backsight", "check", "check", "foresight", "foresight"], dtype=object)
    columns = {name: getattr(day, name) for name in OBSERVATION_COLUMNS}
    book = make_observations(columns.pop("target"), **{**columns, "role": roles})
    reduced = reduce_observations(book, control(), FLAT)
    said = next(f for f in reduced.findings if f.kind == "sighting not used")
    assert "check to 1, a point that nobody knows" in said.text
    assert reduced.unused.tolist() == [2]


def test_readings_either_side_of_zero_are_averaged_the_short_way(sight):
    # two backsight readings of 359.9999 and 0.0001 degrees mean zero, not 180
    tiny = np.radians(0.0001)
    azimuth = float(np.arctan2(80.0, 60.0))
    book = sight("S1", "A", KNOWN["A"], {"B": KNOWN["B"]}, role="backsight", orientation=azimuth)
    twice = book_of(off_by(book, 0, horizontal=tiny), off_by(book, 0, horizontal=-tiny))
    wrapped = off_by(twice, 1, horizontal=2 * np.pi)
    reduced = reduce_observations(wrapped, control(), FLAT)
    assert reduced.setups[0].orientation == pytest.approx(azimuth, abs=1e-12)


def test_a_control_point_given_twice_is_refused(day):
    double = make_shots([1000.0, 1000.5], [2000.0, 2000.0], [100.0, 100.0], id=texts(["A", "A"]))
    with pytest.raises(InputError, match="stands there twice with different coordinates"):
        reduce_observations(day, double, FLAT)


def test_one_set_up_on_two_points_stops(day):
    where = np.array(["A", "A", "A", "A", "D"], dtype=object)
    columns = {name: getattr(day, name) for name in OBSERVATION_COLUMNS}
    book = make_observations(columns.pop("target"), **{**columns, "occupied": where})
    stop = next(
        f for f in reduce_observations(book, control(), FLAT).findings if f.kind == "set-up"
    )
    assert "set-up S1: stands on A and on D" in stop.text


def test_a_known_point_without_a_backsight_stops(day):
    reduced = reduce_observations(day.take([1, 2, 3, 4]), control(), FLAT)
    stop = next(f for f in reduced.findings if f.kind == "set-up")
    assert "on A has no backsight to a known point; its shots are left out" in stop.text


def test_a_new_point_under_a_free_station_serves_as_backsight_later(sight):
    new = (1005.0, 2003.0, 100.2)
    first = sight("S1", "N1", new, {name: KNOWN[name] for name in "BCD"}, role="backsight")
    second = sight("S2", "A", KNOWN["A"], {"N1": new, **SHOTS}, orientation=1.1,
                   role=["backsight", *["foresight"] * 3])  # fmt: skip
    reduced = reduce_observations(book_of(first, second), control(), FLAT)
    np.testing.assert_allclose(reduced.shots.easting, [p[0] for p in SHOTS.values()], atol=1e-5)
