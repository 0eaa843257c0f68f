"""The other parts of a design on the map: lines where they rule, a patch by its outline."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline import assemble
from pipeline.crew.buried.listed import NOTHING
from pipeline.crew.hubs.patch_corners import patch_corners
from pipeline.crew.hubs.street_layout import whole_stakes
from pipeline.crew.plan.branches import branches_of, every_way, patch_outlines, with_mouths
from pipeline.crew.plan.frame import PlanWords
from pipeline.crew.plan.inputs import PlanInputs
from pipeline.crew.plan.lines import edges, street_of
from pipeline.crew.plan.map import base_of, map_marks
from pipeline.crew.plan.sheets import Shown, pages
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.model import NO_LINES, Lines, Part, Picture, Utilities, make_shots, texts
from pipeline.settings import LayoutRules, Rounding, Sheet, StakeRules, SurfaceRules
from pipeline.surface import tin
from pipeline.surface.contour import Isolines

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "intersection"
CLAY = "clay subgrade"


@pytest.fixture(scope="module")
def design():
    inputs = read_before_shots(FIXTURE)
    return assemble.design(inputs.design, inputs.job)[0]


@pytest.fixture(scope="module")
def branches(design):
    return {one.name: one for one in branches_of(design, CLAY, street_of(design).origin)}


def drawn(branch, name):
    (edge,) = (one for one in branch.edges if one.name == name and np.isfinite(one.x).any())
    here = np.isfinite(edge.x)
    return edge.x[here] + branch.street.origin[0], edge.y[here] + branch.street.origin[1]


def test_returns_and_bulb_are_drawn_on_their_circles(branches):
    """9 m less 0.95 around 1013, 2052; 11 m and 0.95 around 1056, 2065."""
    for name, radius in (("lip", 9.0), ("edge of clay", 8.05)):
        east, north = drawn(branches["south return"], name)
        assert np.hypot(east - 1013.0, north - 2052.0) == pytest.approx(radius, abs=1e-6)
    east, north = drawn(branches["bulb"], "edge of clay")
    ring = np.hypot(east - 1056.0, north - 2065.0)[east > 1056.0]
    assert ring == pytest.approx(11.95, abs=1e-6)


def test_no_edge_is_drawn_under_a_part_that_comes_before_it(design, branches):
    side = branches["Tarrow Court"]
    for edge in side.edges:
        if edge.name == "edge of clay":
            # from the end of the returns, 13 m from the crossing, to the throat
            station = side.street.station[np.isfinite(edge.x)]
            assert station.min() >= 13.0 - 1e-6
            assert station.max() <= 42.0 + 1e-6
    street = street_of(design)
    for edge in edges(design, design.layer(CLAY), street):
        cut = with_mouths(design, CLAY, street, edge)
        mouth = (street.station > 52.0) & (street.station < 78.0)
        gone = np.isnan(cut.x[mouth])
        assert gone.all() == (edge.outer and bool(np.nanmean(edge.offset) > 0))
        assert gone.any() == gone.all()


def test_match_lines_of_a_side_street_say_whose_station_and_sheet_it_is(branches):
    """Two streets may both have a station 0+025 and a sheet 2."""
    side = branches["Tarrow Court"]
    frame = Picture(lines=(Lines("frame", np.zeros(2), np.zeros(2), np.array([0, 2])),))
    found = pages(side.street, side.corridor.alignment, frame, Shown(6.0), 50, (0.0, 0.0))
    said = [text for page in found for w in page.picture.words for text in w.text
            if w.layer == "text-match"]  # fmt: skip
    assert len(found) > 1
    assert said
    for text in said:
        name, goes_on = re.fullmatch(r"MATCH LINE (TC \d\+\d{3}\.\d): (.+)", text).groups()
        assert goes_on in {"WINDOW ABOVE", "WINDOW BELOW"} or re.fullmatch(
            r"TC A3 SHEET \d", goes_on
        ), name
    assert all(page.name.startswith("TC A3 sheet") for page in found)


def test_the_station_of_a_stake_is_that_of_its_own_street(design):
    """The main street goes on as 7+000 from its 0+020 on; a side street knows nothing of that."""
    jumped = replace(design.alignment, equations=((20.0, 20.0, 7000.0),))
    whole = replace(design, alignment=jumped)
    none, rules = np.empty(0), StakeRules(reference="top back of curb")
    stakes, _ = whole_stakes(whole, rules, 0.3)
    words = dict.fromkeys(("job", "day", "layer", "grid", "heights", "shots", "package"), "")
    inputs = PlanInputs(
        corridor=whole, layer=CLAY, shots=make_shots([], [], []), used=np.empty(0, bool), cut=none,
        bands=(), contours=Isolines(none, none, none, [0]), not_surveyed=(), stakes=stakes,
        dots=stakes.take(np.empty(0, int)), utilities=NOTHING, sheet=Sheet(), rounding=Rounding(),
        words=PlanWords(**words),
    )  # fmt: skip
    (marks,) = (one for one in map_marks(base_of(inputs)) if one.layer == "mark-stake")
    told = dict(zip(marks.id, dict(marks.facts)["STATION"], strict=True))

    side = {name: at for name, at in told.items() if name.startswith("TC-")}
    assert len(side) > 4
    assert all(name == f"TC-{at.replace('+', '')}{name[-1]}" for name, at in side.items())
    assert any(name > "TC-0020.0" for name in side)
    assert told["0000.0L"] == "0+000.0"
    assert told["7010.0L"] == "7+010.0"


def test_writing_runs_along_the_nearest_street(design, branches):
    ways = every_way(street_of(design), tuple(branches.values()))
    x, y = np.array([1030.0, 1000.0]), np.array([2066.0, 2020.0])
    angle = ways.direction(x - ways.origin[0], y - ways.origin[1])
    assert np.abs(np.sin(angle)) == pytest.approx([0.0, 1.0], abs=1e-6)


def test_a_patch_is_drawn_by_its_outline(design):
    """A triangulated square of 6 m: its outline is 24 m long, whatever is inside it."""
    e, n = (v.ravel() for v in np.meshgrid(np.arange(997.0, 1003.1), np.arange(2020.0, 2026.1)))
    surface, _ = tin.build(
        make_shots(e, n, 49.0 + 0.1 * np.sin(e)), NO_LINES, SurfaceRules(max_edge_m=5.0)
    )
    patch = Part("pad", "patch", surfaces=(replace(surface, name=CLAY),))
    whole = replace(design, parts=(patch, *design.parts), rank=design.rank + 1)
    origin = street_of(whole).origin
    ((name, outline),) = patch_outlines(whole, CLAY, origin)
    x, y = outline.x + origin[0], outline.y + origin[1]
    assert name == "pad"
    assert np.hypot(np.diff(x), np.diff(y)).sum() == pytest.approx(24.0, abs=1e-9)
    assert (x.min(), x.max(), y.min(), y.max()) == (997.0, 1003.0, 2020.0, 2026.0)
    assert patch_outlines(whole, "finish", origin) == ()


def test_the_corners_of_a_patch_are_set_but_not_beside_a_recorded_thing(design):
    """Four corners of the square, clockwise from the south-west, whatever mesh is inside."""
    e, n = (v.ravel() for v in np.meshgrid(np.arange(997.0, 1003.1), np.arange(2020.0, 2026.1)))
    shots = make_shots(e, n, 49.0 + 0.01 * (e - 1000.0))
    surface, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=5.0))
    patch = Part("pad", "patch", surfaces=(replace(surface, name=CLAY),))
    valve = Utilities(
        id=texts(["WV9"]), kind=texts(["valve"]), easting=np.array([1003.2]),
        northing=np.array([2020.1]), lid=np.array([49.0]), depth_to_top=np.array([np.nan]),
        note=texts([""]),
    )  # fmt: skip
    points, told = patch_corners(design, patch, 1, (valve, LayoutRules()))
    assert points.id.tolist() == ["PATCH1-01", "PATCH1-02", "PATCH1-03"]
    places = list(zip(points.easting.tolist(), points.northing.tolist(), strict=True))
    assert places == [(997.0, 2020.0), (997.0, 2026.0), (1003.0, 2026.0)]
    assert points.offset == pytest.approx([-3.0, -3.0, 3.0])
    clay = points.design[:, points.layers.index(CLAY)]
    assert clay == pytest.approx([48.97, 48.97, 49.03], abs=1e-9)
    (finding,) = told
    assert finding.severity == "person"
    assert finding.points == ("WV9",)
