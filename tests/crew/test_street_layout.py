"""The points of the invented intersection: returns at quarters, bulb, none there twice."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from pipeline import setting_out
from pipeline.crew.hubs.layout import CAUTION

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "intersection"


@pytest.fixture(scope="module")
def result():
    return setting_out.set_out(FIXTURE)


def street(result, name):
    return next(one for one in result.streets if one.name == name)


def test_returns_are_set_at_their_quarters(result):
    """9 m to the lip at a square corner: quarters of 14.137 m; hubs 2.0 m nearer the centre."""
    one = street(result, "south return")
    points = {str(what): i for i, what in enumerate(one.points.what)}
    for k, word in enumerate(("PC", "1/4", "1/2", "3/4", "PT")):
        i = points[word]
        angle = k * math.pi / 8.0
        # centre at 1013, 2052: from its west side clockwise to its north
        assert one.points.easting[i] == pytest.approx(1013.0 - 9.0 * math.cos(angle), abs=1e-6)
        assert one.points.northing[i] == pytest.approx(2052.0 + 9.0 * math.sin(angle), abs=1e-6)
    i = points["hub 1.50 behind top back of curb: 1/2"]
    away = math.hypot(one.points.easting[i] - 1013.0, one.points.northing[i] - 2052.0)
    assert away == pytest.approx(9.0 - 0.5 - 1.5, abs=1e-6)
    assert {"SR-PC0000.0", "SR-1of4-0003.5", "SR-0007.1R"} <= set(one.points.id)


def test_no_two_points_stand_on_top_of_each_other_and_no_id_is_there_twice(result):
    east = np.concatenate([one.points.easting for one in result.streets])
    north = np.concatenate([one.points.northing for one in result.streets])
    kinds = np.concatenate([one.points.kind for one in result.streets])
    ids = np.concatenate([one.points.id for one in result.streets])
    rows = np.flatnonzero(kinds == "stake")
    away = np.hypot(east[rows, None] - east[None, rows], north[rows, None] - north[None, rows])
    np.fill_diagonal(away, np.inf)

    assert away.min() >= 0.3 - 1e-6
    assert len(set(ids)) == len(ids)


def test_no_hub_stands_in_a_street_or_in_a_mouth(result):
    """By circles and rectangles: lips at 4 m, bulb of 11 m, curbs 0.5 m wide."""
    for one in result.streets:
        for i in np.flatnonzero(one.points.kind == "stake"):
            e, n = one.points.easting[i] - 1000.0, one.points.northing[i] - 2065.0
            assert not (abs(e) < 4.5 and -65.0 < n < 65.0)
            assert not (0.0 < e < 42.0 and abs(n) < 4.5)
            assert math.hypot(e - 56.0, n) > 11.5


def test_hubs_around_the_bulb_keep_their_chords_within_the_sagitta(result):
    one = street(result, "bulb")
    rows = sorted(np.flatnonzero(one.points.kind == "stake"), key=lambda i: one.points.station[i])
    ring = [
        i for i in rows
        if abs(math.hypot(one.points.easting[i] - 1056.0, one.points.northing[i] - 2065.0) - 13.0)
        < 1e-6
    ]  # fmt: skip
    chord = np.hypot(np.diff(one.points.easting[ring]), np.diff(one.points.northing[ring]))
    sagitta = 13.0 - np.sqrt(13.0**2 - (chord / 2.0) ** 2)

    assert len(ring) > 30
    # hubs are moved from the basin's zone at most
    assert np.sort(sagitta)[-3] <= 0.020
    assert sagitta.max() > 0.005


def test_the_list_names_the_street_of_every_point_and_says_what_it_is_not(result, tmp_path):
    folder = setting_out.deliver(result, tmp_path)
    rows = (folder / "layout.csv").read_text(encoding="utf-8").splitlines()

    assert rows[0].startswith("street,id,what,station,side,offset_m")
    names = {row.split(",")[0] for row in rows[1:]}
    assert names == {"Wenlow Street", "Tarrow Court", "south return", "north return", "bulb"}
    words = "\n".join(setting_out.layout_words(result, folder))
    assert CAUTION in words
    # on the bulb's lip there is no side; it is told along the bulb, placed along the main street
    assert "bulb: LP lip at 0+033.5: within the distance kept from CB1" in words
    told = [one for one in result.findings if one.kind == "point left out" and "CB1" in one.text]
    # the bulb lies 56 m to the right of station 65
    assert [(round(one.station), one.offset > 40.0) for one in told] == [(65, True)] * 2
    assert "safe to dig" not in words
