"""Traverses: published closures, and a made-up one that must come back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.control.reduction import ARCSECOND, Corrections
from pipeline.control.traverse import balance_angles, compass_rule, ratio_text, traverse
from pipeline.errors import InputError
from pipeline.model import make_observations, make_shots, texts
from pipeline.model.observations import OBSERVATION_COLUMNS

FLAT = Corrections(curvature_refraction=False)


def test_a_closed_traverse_by_the_compass_rule(published):
    ref = published("REF-TS-9")
    azimuth, length = np.radians(ref.inputs["az_deg"]), np.array(ref.inputs["length"])
    got = compass_rule(azimuth, length, (0.0, 0.0), (0.0, 0.0))
    ref.check("perimeter", got.perimeter)
    ref.check("lat", length * np.cos(azimuth))
    ref.check("dep", length * np.sin(azimuth))
    ref.check("sum_lat", got.misclosure_n)
    ref.check("sum_dep", got.misclosure_e)
    ref.check("LC", math.hypot(got.misclosure_e, got.misclosure_n))
    ref.check("precision", got.ratio)
    ref.check("adj_lat", got.latitude)
    ref.check("adj_dep", got.departure)
    ref.check("adj_len", np.hypot(got.latitude, got.departure))
    ref.check("adj_az", np.degrees(np.arctan2(got.departure, got.latitude)) % 360.0)
    assert got.findings == ()
    assert ratio_text(got.ratio) == "1/15 100"


def test_a_traverse_that_closes_badly_is_a_stop_with_its_ratio(published):
    ref = published("REF-TS-10")
    azimuth, length = np.radians(ref.inputs["az_deg"]), np.array(ref.inputs["length"])
    got = compass_rule(azimuth, length, (0.0, 0.0), (0.0, 0.0), tuple("ABCDA"))
    ref.check("perimeter", got.perimeter)
    ref.check("lat", length * np.cos(azimuth))
    ref.check("CL", got.misclosure_n)
    ref.check("CD_abs", abs(got.misclosure_e))
    ref.check("corr_lat", length * np.cos(azimuth) - got.latitude)
    ref.check("adj_lat", got.latitude)
    (finding,) = got.findings
    assert finding.severity == "stop"
    assert "traverse A to A closes 0.421 m off, 1/635" in finding.text


@given(
    legs=st.lists(st.tuples(st.floats(0.0, 6.28), st.floats(5.0, 400.0)), min_size=2, max_size=8),
    east=st.floats(-0.05, 0.05),
    north=st.floats(-0.05, 0.05),
)
@settings(max_examples=50, deadline=None)
def test_it_ends_on_its_known_point_and_no_leg_moves_more_than_the_closure(legs, east, north):
    azimuth, length = np.array(legs).T
    true = np.array([np.sum(length * np.sin(azimuth)), np.sum(length * np.cos(azimuth))])
    end = true + np.array([east, north])
    got = compass_rule(azimuth, length, (100.0, 200.0), (100.0 + end[0], 200.0 + end[1]))
    assert (got.easting[-1], got.northing[-1]) == pytest.approx(
        end + np.array([100.0, 200.0]), abs=1e-8
    )
    moved = np.hypot(
        got.departure - length * np.sin(azimuth), got.latitude - length * np.cos(azimuth)
    )
    assert moved.sum() == pytest.approx(math.hypot(east, north), abs=1e-8)


def test_angles_take_equal_shares():
    # interior angles of a quadrilateral add up to 360 degrees (geometry); 20 seconds too much;
    # the last foresight looks along the first backsight, the other way
    angles = np.radians([80.0, 95.0, 100.0, 85.0]) + 5 * ARCSECOND
    azimuths, off = balance_angles(math.radians(30.0), angles, math.radians(210.0))
    assert off / ARCSECOND == pytest.approx(20.0, abs=1e-6)
    exact, none = balance_angles(
        math.radians(30.0), np.radians([80.0, 95.0, 100.0, 85.0]), math.radians(210.0)
    )
    assert none == pytest.approx(0.0, abs=1e-12)
    np.testing.assert_allclose(azimuths, exact, atol=1e-12)


POINTS = {
    "BS": (900.0, 1900.0, 100.0),
    "A": (1000.0, 2000.0, 101.0),
    "T1": (1120.0, 2050.0, 102.5),
    "T2": (1190.0, 1960.0, 101.4),
    "B": (1300.0, 2010.0, 100.2),
    "FS": (1400.0, 2100.0, 100.9),
}
ROUTE = ("A", "T1", "T2", "B")


@pytest.fixture
def book(sight):
    names = list(POINTS)
    parts = []
    for k, name in enumerate(ROUTE, start=1):
        seen = {other: POINTS[other] for other in (names[k - 1], names[k + 1])}
        roles = ["backsight", "foresight"]
        parts.append(sight(f"S{k}", name, POINTS[name], seen, role=roles, orientation=0.9 * k))
    return {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in OBSERVATION_COLUMNS
        if name not in ("file", "line")
    }


def control(*without):
    kept = {name: POINTS[name] for name in ("BS", "A", "B", "FS") if name not in without}
    return make_shots(*np.array(list(kept.values())).T, id=texts(kept))


def observed(columns):
    return make_observations(
        columns["target"], **{k: v for k, v in columns.items() if k != "target"}
    )


def test_an_exact_traverse_gives_its_stations_back(book):
    got = traverse(observed(book), ROUTE, ("BS", "FS"), control(), FLAT)
    want = np.array([POINTS[name] for name in ROUTE])
    np.testing.assert_allclose(
        np.column_stack([got.easting, got.northing, got.elevation]), want, atol=1e-9
    )
    assert got.angular_misclosure == pytest.approx(0.0, abs=1e-10)
    assert got.misclosure_z == pytest.approx(0.0, abs=1e-10)
    assert got.findings == ()


def test_distances_there_and_back_and_heights_are_meaned(book):
    # +6 mm on one of two measurements of a leg: 3 mm of closure, of which the leg keeps its share
    book["slope_distance"] = np.array(book["slope_distance"])
    book["slope_distance"][1] += 0.006
    got = traverse(observed(book), ROUTE, ("BS", "FS"), control(), FLAT)
    assert math.hypot(got.misclosure_e, got.misclosure_n) == pytest.approx(0.003, abs=2e-5)
    assert got.ratio > 100_000


def test_a_direction_sighted_once_more_without_a_distance_takes_no_height_away(book):
    book["slope_distance"] = np.array(book["slope_distance"])
    for name, values in book.items():
        book[name] = np.append(values, values[1:2], axis=0)  # A to T1 again
    book["slope_distance"][[2, -1]] = np.nan  # T1 to A, and the second A to T1
    got = traverse(observed(book), ROUTE, ("BS", "FS"), control(), FLAT)
    np.testing.assert_allclose(got.elevation, [POINTS[name][2] for name in ROUTE], atol=1e-9)


def test_a_sighting_a_minute_off_is_a_stop(book):
    book["horizontal"] = np.array(book["horizontal"])
    book["horizontal"][3] += 60 * ARCSECOND
    got = traverse(observed(book), ROUTE, ("BS", "FS"), control(), FLAT)
    assert got.angular_misclosure / ARCSECOND == pytest.approx(60.0, abs=1e-4)
    assert "traverse A to B: angles close +60 seconds off, 20 allowed" in [
        f.text for f in got.findings
    ]


def test_a_wrong_rod_shows_in_the_height_closure(book):
    book["target_height"] = np.array(book["target_height"])
    book["target_height"][1] += 0.10
    got = traverse(observed(book), ROUTE, ("BS", "FS"), control(), FLAT)
    # one of the two sightings of the leg: half of it is left in the mean
    assert got.misclosure_z == pytest.approx(-0.05, abs=1e-9)
    assert any(f.kind == "traverse heights" and f.severity == "stop" for f in got.findings)


def test_what_is_missing_is_named(book):
    with pytest.raises(InputError, match="traverse point FS: is not among the control"):
        traverse(observed(book), ROUTE, ("BS", "FS"), control("FS"), FLAT)
    with pytest.raises(InputError, match="traverse at T1: no foresight from T1 to B"):
        traverse(observed(book), ("A", "T1", "B"), ("BS", "FS"), control(), FLAT)
    with pytest.raises(InputError, match="a route of 1 points"):
        traverse(observed(book), ("A",), ("BS", "FS"), control(), FLAT)
    with pytest.raises(InputError, match="2 azimuths and 1 lengths"):
        compass_rule([0.0, 1.0], [5.0], (0.0, 0.0), (0.0, 0.0))
    with pytest.raises(InputError, match="traverse: no angle"):
        balance_angles(0.0, [], 0.0)
