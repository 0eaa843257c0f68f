"""The page of the demo's day: what its script is given is the design and the ground, exactly."""

from __future__ import annotations

import itertools
import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from pipeline import publish, publish_page
from pipeline.compare import places
from pipeline.crew.page import whereami
from pipeline.demo import truth
from pipeline.model import Finding
from pipeline.run import Stopwatch, run_day
from pipeline.surface import locate
from tests.packed import unpacked

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    folder = tmp_path_factory.mktemp("street") / "demo"
    shutil.copytree(FIXTURES / "demo", folder)
    return run_day(folder, None, Stopwatch())


@pytest.fixture(scope="module")
def content(day):
    return publish_page.page_files(day, publish.plan_words(day))["day.html"]


@pytest.fixture(scope="module")
def data(content):
    begin = rb'<script id="data" type="application/json">'
    return json.loads(re.search(begin + rb"(.*?)</script>", content, re.DOTALL)[1])


def whole(coded):
    return np.array(unpacked(coded))


def test_the_demo_page_is_below_a_megabyte(content):
    """A bar of our own: a single file below 1 MB, no network request."""
    assert len(content) < 1_000_000
    assert content.count(b"<script") == 2


def test_the_ground_of_the_page_is_the_ground_of_lath_at(day, data):
    """Barycentric heights of the page's own triangles against `lath at` at 200 places."""
    tin, (e0, n0) = data["ground"], data["origin"]
    x, y, z = (whole(tin[name]) * tin["step"] for name in ("x", "y", "z"))
    corner = whole(tin["triangles"]).reshape(-1, 3)
    shake = np.random.default_rng(7)
    station, offset = shake.uniform(1, 419, 200), shake.uniform(-5, 5, 200)
    met = 0
    for s, o in zip(station, offset, strict=True):
        at = places.at_station(day.morning.corridor, day.ground, float(s), float(o))
        px, py = at.easting - e0, at.northing - n0
        weights = np.stack([
            (x[corner[:, k - 2]] - px) * (y[corner[:, k - 1]] - py)
            - (x[corner[:, k - 1]] - px) * (y[corner[:, k - 2]] - py)
            for k in range(3)
        ])  # fmt: skip
        inside = np.flatnonzero((weights >= 0).all(axis=0))
        if np.isnan(at.ground):
            assert not len(inside)
            continue
        w = weights[:, inside[0]] / weights[:, inside[0]].sum()
        assert w @ z[corner[inside[0]]] == pytest.approx(at.ground, abs=2e-6)
        met += 1
    assert met > 180


def test_profile_and_sections_of_the_page_are_the_truth_of_the_demo(data):
    """The tables of the page, worked by hand, against the generator's closed form."""
    profile = data["profile"]
    clay = next(layer for layer in data["layers"] if layer["name"] == truth.CLAY)
    breaks, shown = len(clay["breaks"]), 0
    for station in (12.5, 100.0, 250.0, 300.0, 333.3):
        k = max(i for i, s in enumerate(profile["station"][:-1]) if s <= station)
        length = profile["station"][k + 1] - profile["station"][k]
        x = station - profile["station"][k]
        g0, g1 = profile["grade_start"][k], profile["grade_end"][k]
        crown = profile["elevation"][k] + g0 * x + (g1 - g0) * x * x / (2 * length)
        rows = clay["station"]
        r = max(i for i, s in enumerate(rows[:-1]) if s <= station)
        share = (station - rows[r]) / (rows[r + 1] - rows[r])
        for column in range(breaks):
            offset, rise = (
                clay[name][r * breaks + column] * (1 - share)
                + clay[name][(r + 1) * breaks + column] * share
                for name in ("offset", "rise")
            )
            true = float(truth.elevation(station, offset, truth.CLAY))
            assert crown + rise == pytest.approx(true, abs=1e-6)
            shown += 1
    assert shown == 5 * breaks


def test_pieces_of_the_page_end_where_the_next_begins(day, data):
    """Places of the demo's generator, which draws the line by its own series."""
    e0, n0 = data["line"]["origin"]
    pieces = data["line"]["pieces"]
    for piece, after in itertools.pairwise(pieces):
        assert piece[6:8] == pytest.approx(after[2:4], abs=1e-9)
    for piece in pieces:
        east, north = truth.point(piece[0], 0.0)
        assert (e0 + piece[2], n0 + piece[3]) == pytest.approx((east, north), abs=1e-4)


def test_what_nobody_shot_is_said_on_the_map(day, data):
    """The demo's planted gap on the right, about 27 m2 of clay."""
    labels = data["gaps"]["labels"]
    assert all(text.startswith("NOT SURVEYED") for text, _, _ in labels)
    e0, n0 = data["origin"]
    for _, x, y in labels:
        assert np.isnan(locate.interpolate(day.ground, [e0 + x], [n0 + y]))[0]


def test_every_class_has_a_letter_and_its_own_hatch(data):
    """A letter or hatch besides the colour."""
    words = [band["words"] for band in data["bands"]]
    assert len(set(words)) == len(words)
    for band in data["bands"]:
        assert band["words"][:2] == ("C " if band["side"] == "cut" else "F ")
    hatches = {(band["side"], band["number"]) for band in data["bands"]}
    assert len(hatches) == len(data["bands"])


def test_all_that_needs_a_person_and_all_buried_things_are_on_the_page(day, content):
    shown = content.decode("utf-8")
    asked = [one for one in day.findings if one.severity != "note"]
    assert shown.count("LOOK: ") >= len(asked)
    for thing in day.morning.inputs.utilities.id:
        assert f"<strong>{thing}, " in shown
    assert "safe to dig" not in shown.lower()


def test_a_stop_holds_the_page_and_withholds_every_number(day):
    from dataclasses import replace

    stop = Finding("stop", "control check", "K1 is 30 mm off", "set up again")
    held = replace(day, findings=(stop, *day.findings))
    content = publish_page.page_files(held, publish.plan_words(held))["day.html"].decode("utf-8")

    assert "HOLD" in content
    assert "STOP: control check" in content
    assert 'id="data"' not in content


def test_the_page_and_the_crew_say_the_same_of_every_buried_thing(day, content, data):
    """The one list of `crew.buried`; a thing whose height nobody knows is treated as a hit."""
    shown = content.decode("utf-8")
    assert len(data["hazards"]["words"]) == len(data["hazards"]["id"]) >= 9
    for words in data["hazards"]["words"]:
        assert words.split(":")[0].split(",")[0] in {"UNKNOWN", "HIT", "HAND", "SLOW", "CLEAR"}
        assert words in shown
    assert "UNKNOWN, treat as HIT" in shown
    assert "no clearance to dig" in shown


def test_a_local_grid_has_no_place_on_the_earth():
    assert whereami.fit("local", np.array([0.0]), np.array([0.0])) is None


@pytest.mark.parametrize(
    ("crs", "east", "north"),
    [("EPSG:32633", 455240.0, 5803110.0), ("EPSG:32617", 630000.0, 3950000.0)],
)
def test_the_polynomial_stands_for_the_projection(crs, east, north):
    """pyproj at places that the fit has not seen, within a millimetre."""
    from pyproj import Transformer

    fit = whereami.fit(crs, np.array([east, east + 400.0]), np.array([north, north + 300.0]))
    assert fit is not None
    assert fit.residual_m < 0.001
    shake = np.random.default_rng(5)
    at_e, at_n = (v + shake.uniform(-1500, 1500, 50) for v in (east, north))
    lon, lat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(at_e, at_n)
    u = (lon - fit.longitude) / fit.reach_longitude
    v = (lat - fit.latitude) / fit.reach_latitude
    terms = np.stack([u**i * v**j for i, j in fit.powers], axis=1)
    assert np.abs(fit.easting + terms @ fit.east - at_e).max() < 0.001
    assert np.abs(fit.northing + terms @ fit.north - at_n).max() < 0.001


@pytest.mark.parametrize("crs", ["EPSG:2264", "EPSG:4258", "no such grid"])
def test_a_grid_in_feet_in_degrees_or_unknown_offers_no_position(crs):
    assert whereami.fit(crs, np.array([0.0]), np.array([0.0])) is None
