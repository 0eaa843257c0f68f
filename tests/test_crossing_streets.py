"""Two streets that cross, both with approaches on both sides: from a job file to one surface.

Invented. The main street runs due north on an even grade, the other due east across it on a
grade of its own and 0.12 m too low at the crossing, which the warp has to take up.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline import assemble
from pipeline.compare import chords, compose, ponds
from pipeline.design import corridor as sections
from pipeline.errors import DesignError
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.run import build_corridor
from pipeline.surface import tin
from pipeline.surface.locate import interpolate

LIP, CURB, RADIUS, MIDDLE = 4.0, 4.5, 8.0, 60.0
EAST, NORTH = 5240.0, 3110.0
SECTION = """
[[section]]
name = "all"
from = 0.0
to = 120.0

[section.layers."finish"]
right = [
  { to = "lip", width_m = 4.0, fall_pct = 2.0 },
  { to = "flowline", width_m = 0.3, step_m = -0.02 },
  { to = "back", width_m = 0.2, step_m = 0.15 },
]
left = "mirror"

[section.layers."clay"]
drop_m = 0.40
right = [{ to = "edge of clay", width_m = 4.8, fall_pct = 2.0 }]
left = "mirror"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    job = tmp_path_factory.mktemp("cross")
    (job / "design").mkdir()
    (job / "control.csv").write_text(
        "id,northing_m,easting_m,elevation_m,description\nK1,3100.0,5250.0,50.0,nail\n",
        encoding="utf-8",
    )
    header = "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station\n"
    for name, start, first, last in (
        ("main", f"{EAST},{NORTH - MIDDLE},0.0", 50.0, 51.2),
        ("cross", f"{EAST - MIDDLE},{NORTH},90.0", 50.0, 50.96),
    ):
        (job / "design" / f"{name}.csv").write_text(
            f"{header}start,,,,,{start},0.0\nline,120.0,,,,,,,\n", encoding="utf-8"
        )
        (job / "design" / f"{name}_profile.csv").write_text(
            "station,elevation_m,curve_in_m,curve_out_m\n"
            f"0.0,{first},,\n120.0,{last},,\n", encoding="utf-8",
        )  # fmt: skip
    (job / "design" / "sections.toml").write_text(SECTION, encoding="utf-8")
    corners = "".join(
        f'[[design.returns]]\nname = "{main} {cross}"\nfrom_side = "{main}"\n'
        f'to_street = "Hob Row"\nto_side = "{cross}"\nradius_m = {RADIUS}\n'
        for main in ("left", "right")
        for cross in ("left", "right")
    )
    (job / "job.toml").write_text(
        f"""
name = "invented crossing"
[grid]
crs = "local"
vertical_datum = "invented"
unit = "m"
[design]
alignment = "design/main.csv"
profile = "design/main_profile.csv"
sections = "design/sections.toml"
[[design.streets]]
name = "Hob Row"
alignment = "design/cross.csv"
profile = "design/cross_profile.csv"
sections = "design/sections.toml"
[[design.streets.warps]]
end = "through"
at = "lip"
length_m = 15.0
{corners}
[[layers]]
name = "finish"
[[layers]]
name = "clay"
[stakes]
reference = "back"
[target]
layer = "clay"
""",
        encoding="utf-8",
    )
    return job


@pytest.fixture(scope="module")
def inputs(folder):
    return read_before_shots(folder)


@pytest.fixture(scope="module")
def built(inputs):
    return build_corridor(inputs)


@pytest.fixture(scope="module", params=["finish", "clay"])
def whole(request, built, inputs):
    return compose.layer_surface(built[0], request.param, inputs.job.design)


def test_four_returns_stand_at_the_four_corners(built):
    curbs = {part.name: part.corridor for part in built[0].parts if part.kind == "return"}
    assert len(curbs) == 4
    for curb in curbs.values():
        # a right angle: L = R pi / 2
        assert curb.alignment.station[-1] == pytest.approx(RADIUS * math.pi / 2, abs=1e-6)


def test_every_seam_is_closed_to_a_millimetre(whole):
    pairs = {frozenset((seam.first, seam.second)) for seam in whole.seams}
    assert max(abs(seam.step) for seam in whole.seams) < 0.001
    assert len(whole.seams) >= 13, pairs


def test_the_area_is_that_worked_out_by_hand(built, inputs):
    whole = compose.layer_surface(built[0], "finish", inputs.job.design).surface
    # two roads with curbs, less the square they share, and the corners with theirs
    legs = 2 * 120.0 * 2 * CURB - 4 * CURB * CURB
    outside = RADIUS + LIP - CURB
    corners = 4 * (1 - math.pi / 4) * outside**2
    # the chords of four arcs may leave them by 2 mm
    chords_m2 = 4 * outside * math.pi / 2 * inputs.job.design.chord_m
    assert float(tin.area(whole)) == pytest.approx(legs + corners, abs=chords_m2)


def test_the_area_is_the_sum_of_its_parts(whole):
    t, surface = whole.surface.triangles, whole.surface
    x, y = surface.x[t], surface.y[t]
    each = 0.5 * np.abs(
        (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])
    )
    parts = [each[whole.owner == k].sum() for k in range(len(whole.names))]
    assert sum(parts) == pytest.approx(float(tin.area(surface)), abs=1e-6)


def test_between_the_lips_the_main_street_keeps_its_crown(built, inputs):
    whole = compose.layer_surface(built[0], "finish", inputs.job.design).surface
    offset = np.linspace(-LIP + 0.01, LIP - 0.01, 41)
    for station in (57.0, 60.0, 63.0):
        z = interpolate(whole, EAST + offset, np.full(41, NORTH - MIDDLE + station))
        by_hand = 50.0 + 0.01 * station - 0.02 * np.abs(offset)
        np.testing.assert_allclose(z, by_hand, rtol=0, atol=1e-6)


@pytest.mark.parametrize("side", [-1, 1])
def test_both_approaches_come_flush_to_the_lip_and_are_free_after_the_warp(built, side):
    street = next(part.corridor for part in built[0].parts if part.name == "Hob Row")
    at_lip = MIDDLE + side * LIP
    offset = np.linspace(-LIP, LIP, 17)
    z = sections.elevation(street, np.full(17, at_lip), offset, "finish")
    # the main lip: its station falls with the other street's offset
    np.testing.assert_allclose(z, 50.0 + 0.01 * (MIDDLE - offset) - 0.08, rtol=0, atol=1e-9)
    free = at_lip + side * 15.0
    z = sections.elevation(street, np.full(17, free), offset, "finish")
    np.testing.assert_allclose(z, 50.0 + 0.008 * free - 0.02 * np.abs(offset), rtol=0, atol=1e-9)


def test_triangles_and_exact_surface_agree_within_the_chord(built, inputs, whole):
    layer = built[0].layer(whole.surface.name)
    found = chords.largest_difference(built[0], layer, whole.surface)
    assert found.places > 1000
    assert found.difference <= inputs.job.design.chord_m


def test_what_stands_of_water_is_told_with_its_place(built, inputs):
    whole = compose.layer_surface(built[0], "finish", inputs.job.design).surface
    told = [one for one in built[1] if one.kind == "pond"]
    assert len(told) == len(ponds.ponds(whole, inputs.job.design.limits.pond_m, []))


def test_each_quadrant_lists_its_high_and_low_points(built):
    told = [one.text for one in built[1] if one.kind == "corner"]
    assert len(told) == 4
    # south-west, by hand: the main lip rises 1 % into it, 50 + 0.01 x 48 - 0.08 at its PC
    south_west = next(text for text in told if "'left right'" in text)
    assert "PC 50.400" in south_west
    assert "the edge before it rises 1.00 %" in south_west
    # the return rises or falls on to the other street; every corner says where it is high or low
    assert all(" high " in text or " low " in text or "neither" in text for text in told)


def test_curb_grades_that_miss_each_other_at_the_corner_are_told(folder, inputs):
    """Laid on, the two lips meet exactly; without the warp they are as far apart as the streets.

    By hand, at the corner 4 m before and beside the middle: main 50 + 0.01 s - 0.08, Hob Row
    50 + 0.008 s - 0.08, s = 56 or 64.
    """
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    asked = text + "\n[design.limits]\ncurb_pi_m = 0.002\n"
    kind = "curb grades at a corner"
    try:
        path.write_text(asked, encoding="utf-8")
        _, found = build_corridor(read_before_shots(folder))
        assert [one for one in found if one.kind == kind] == []
        path.write_text(
            asked.replace('[[design.streets.warps]]\nend = "through"\nat = "lip"\n', "")
            .replace("length_m = 15.0\n", ""), encoding="utf-8",
        )  # fmt: skip
        _, found = build_corridor(read_before_shots(folder))
    finally:
        path.write_text(text, encoding="utf-8")
    told = [one.text for one in found if one.kind == kind]
    assert len(told) == 4
    apart = sorted(
        round(abs(0.01 * main - 0.008 * other), 3) for main in (56, 64) for other in (56, 64)
    )
    assert sorted(float(one.split(" m apart")[0].split()[-1]) for one in told) == apart


def test_a_street_that_only_ends_there_cannot_go_through(folder, inputs):
    path = folder / "design" / "cross.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("line,120.0", "line,61.0"), encoding="utf-8")
    try:
        with pytest.raises(DesignError, match=r"does not come out again|does not cross|touches"):
            assemble.design(read_before_shots(folder).design, inputs.job)
    finally:
        path.write_text(text, encoding="utf-8")
