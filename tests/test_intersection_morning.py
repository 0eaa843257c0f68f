"""The invented intersection's own morning: what was put in it is found, part by part, and no more.

The truth is that of `pipeline.demo.intersection_clay` and `intersection_morning`: circles,
straight lines and shares of angles, without a look into the house.
"""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from pipeline import assemble, publish
from pipeline.compare import places
from pipeline.compare.streets import streets_of
from pipeline.crew.edge import table as edge
from pipeline.crew.hubs import cutsheet
from pipeline.demo import intersection as known
from pipeline.demo import intersection_clay as clay
from pipeline.demo import intersection_morning as morning
from pipeline.design import feet as feet_of
from pipeline.ingest.job.inputs import read_before_shots, read_inputs
from pipeline.judging import judge
from pipeline.ongrid import on_grid
from pipeline.run import Stopwatch, build_corridor, build_ground, run_day

FIXTURE = Path(__file__).resolve().parent.parent / "fixtures" / "intersection"
LENGTH = known.bulb_length()


@pytest.fixture(scope="module")
def day():
    return publish.complete(run_day(FIXTURE, None, Stopwatch()))


@pytest.fixture(scope="module")
def design():
    inputs = read_before_shots(FIXTURE)
    return assemble.design(inputs.design, inputs.job)[0]


def rows(table):
    """A list of the package, by the names of its columns."""
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def spots():
    """Easting, northing and clay of places of every kind, by the demo's own mathematics."""
    for y in (3.0, 47.0, 90.0):
        yield from ((x, y, clay.main_clay(x, y)) for x in (-4.9, -2.0, 0.0, 3.0, 4.9))
    for s in (4.5, 9.0, 16.0, 25.0, 41.0):
        yield from ((s, 65.0 - o, clay.side_clay(s, o)) for o in (-3.7, 0.0, 2.0))
    for side in (-1, 1):
        for angle in (0.1, 0.7, 1.3):
            for out in (0.0, 0.4, 0.94):
                yield *clay.return_place(side, angle, out), clay.return_clay(side, angle, out)
    for run in np.linspace(0.5, LENGTH - 0.5, 23).tolist():
        yield *clay.bulb_place(run, 0.5), clay.bulb_clay(run, 0.5)
    for run in np.linspace(0.3 * LENGTH, 0.7 * LENGTH, 9).tolist():
        yield clay.inside_bulb(run, 0.6)


def test_the_demo_and_the_house_agree_on_the_clay_of_every_part(design):
    east, north, height = np.array(list(spots())).T
    for e, n, z in zip(east + 1000.0, north + 2000.0, height, strict=True):
        found = places.at_grid(design, None, float(e), float(n)).layers["clay subgrade"]
        assert found == pytest.approx(z, abs=5e-4), (e, n)


def test_the_findings_are_what_was_planted(day):
    doubts = [one for one in day.findings if one.severity != "note"]
    assert not day.held
    assert sorted(one.kind for one in doubts) == sorted(
        # the truck: three lines of the left side cut, its edge, and what lies behind it
        ["line gap"] * 3
        + ["break not shot", "gap in the shots"]
        # of the design itself, and of the records
        + ["crossfall", "in reach of blade or rotor"]
    )
    (told,) = (one for one in doubts if one.kind == "break not shot")
    assert "Tarrow Court: no shot and no line on the edge of clay left, 0+018.0 to 0+038.0" in (
        told.text
    )
    # along the main street it lies where the side street leaves, 18 m out
    assert (told.station, told.offset) == pytest.approx((65.0, 18.0), abs=0.1)
    (gap,) = (one for one in doubts if one.kind == "gap in the shots")
    assert morning.TRUCK[0] < gap.offset < morning.TRUCK[1]
    (buried,) = (one for one in doubts if one.kind.startswith("in reach"))
    assert "WV2" in buried.text


def test_every_shot_has_its_fate(day):
    fate = day.morning.fate
    assert len(fate) == len(morning.shots()) + len(morning.hubs())
    assert set(fate) == {"in the surface", "hub", "lid", "control"}


def test_the_bank_that_stands_into_the_street_is_found_on_the_bulb(day):
    (row,) = (row for row in rows(edge.table(day.work)) if row["what"] == "edge")
    assert (row["street"], row["side"]) == ("bulb", "L")
    assert float(row["amount_m"]) == pytest.approx(morning.BULGE_M, abs=0.012)
    at = float(row["station"].replace("+", ""))
    # its middle, as far as shots 2.1 m apart tell
    assert at == pytest.approx(morning.BULGE_RUN, abs=1.1)


def test_the_high_spot_is_painted_on_the_side_street(day):
    spot = day.dots.take(day.dots.street == "Tarrow Court")
    cut = spot.ground - spot.design[:, 0]
    away = np.hypot(
        spot.easting - known.WEST - clay.SPOT[0], spot.northing - known.SOUTH - clay.SPOT[1]
    )
    near = int(np.argmin(away))
    # 2 m beside its top, at the crown of 0+030: the paint is on crown and edges only
    e, n = spot.easting[near] - known.WEST, spot.northing[near] - known.SOUTH
    assert cut[near] == pytest.approx(clay.left_over(float(e), float(n)), abs=0.05)
    place = places.at_grid(
        day.morning.corridor, day.ground, known.WEST + clay.SPOT[0], known.SOUTH + clay.SPOT[1]
    )
    answer = clay.left_over(*clay.SPOT)
    assert answer > clay.SPOT_M
    assert place.cut["clay subgrade"] == pytest.approx(answer, abs=0.025)


def test_every_hub_is_measured_to_the_curb_of_its_own_part(day):
    """Top back of curb 0.132 m over the lip, which is 0.355 m over the clay there."""
    parts = {"main": "Wenlow Street", "side": "Tarrow Court"}
    hubs = dict(morning.hubs())
    sheet = rows(cutsheet.table(day.sheet, day.morning.inputs.job.rounding))
    assert {row["id"] for row in sheet} == set(hubs)
    for row in sheet:
        hub = hubs[row["id"]]
        ends = abs(hub.x - 13.0) < 0.05 or abs(hub.x - 42.0) < 0.05 or abs(hub.y - 52.0) < 0.05
        if not (ends or abs(hub.y - 78.0) < 0.05):
            assert row["street"] == parts.get(hub.part, hub.part), row["id"]
        assert float(row["behind_reference_m"]) == pytest.approx(1.5, abs=0.01)


# what is not shot, along each line


def findings(tmp_path, keep):
    """Doubts of the checks and the surface where only the kept spots were shot."""
    folder = tmp_path / "job"
    shutil.copytree(FIXTURE, folder)
    path = folder / "shots" / morning.DAY / "morning.csv"
    head, *taken = path.read_text(encoding="utf-8").splitlines()
    pairs = zip(taken, morning.shots(), strict=True)
    kept = [row for row, (_, spot, _) in pairs if keep(spot)]
    path.write_text("\n".join([head, *kept]) + "\n", encoding="utf-8")
    inputs = read_inputs(folder, None)
    judged = judge(inputs, on_grid(inputs), build_corridor(inputs))
    found, _ = build_ground(judged)
    planted = ("Tarrow Court: no shot and no line on the edge of clay left",)
    return [
        one for one in found.findings
        if one.severity != "note" and one.kind in {"break not shot", "gap in the shots",
                                                   "break not followed", "not surveyed",
                                                   "code away from its break"}
        and not one.text.startswith(planted)
    ]  # fmt: skip


def stretch(finding):
    """The two stations of a finding's words."""
    words = finding.text.replace(",", " ").replace(":", " ").split()
    return [float(word.replace("+", "")) for word in words if "+" in word and word[0].isdigit()][:2]


def edge_code(spot):
    return spot.code[:2] in {"EC", "BB", "TB"}


def test_an_edge_of_the_bulb_that_nobody_shot_is_told_by_its_own_stations(tmp_path):
    turned = lambda s: math.atan2(s.y - 65.0, s.x - 56.0)  # noqa: E731
    found = findings(
        tmp_path, lambda s: not (s.part == "bulb" and edge_code(s) and 0.5 < turned(s) < 1.5)
    )
    (told,) = (one for one in found if one.kind == "break not shot")
    assert told.text.startswith("bulb: no shot and no line on the edge of clay left")
    # station 33.5 at the back, 11 m to a radian from there
    start, end = stretch(told)
    spacing = LENGTH / 32
    assert start == pytest.approx(0.5 * LENGTH - 11.0 * 1.5, abs=spacing)
    assert end == pytest.approx(0.5 * LENGTH - 11.0 * 0.5, abs=spacing)


def test_a_return_without_its_edge_is_told(tmp_path):
    found = findings(tmp_path, lambda s: not (s.part == "north return" and edge_code(s)))
    (told,) = (one for one in found if one.kind == "break not shot")
    assert told.text.startswith("north return: no shot and no line on the edge of clay")
    assert stretch(told) == pytest.approx([0.0, 9.0 * math.pi / 2.0], abs=0.1)


def test_an_edge_is_asked_for_up_to_the_mouth_and_no_farther(tmp_path):
    found = findings(
        tmp_path, lambda s: not (s.part == "main" and edge_code(s) and s.x > 0 and 22 < s.y < 60)
    )
    (told,) = (one for one in found if one.kind == "break not shot")
    assert told.text.startswith("Wenlow Street: no shot and no line on the edge of clay right")
    assert stretch(told) == pytest.approx([20.0, 52.0], abs=0.15)


def test_the_crown_of_the_side_street_is_asked_for_into_the_bulb(tmp_path):
    found = findings(tmp_path, lambda s: not (s.code == "CL2" and s.x > 24.0))
    (crown,) = (one for one in found if "the crown" in one.text and "no line" in one.text)
    assert crown.text.startswith("Tarrow Court: ")
    assert stretch(crown) == pytest.approx([23.0, 56.0], abs=0.1)


def test_the_middle_of_a_bulb_that_nobody_shot_is_a_gap(tmp_path):
    inner = lambda s: math.hypot(s.x - 56.0, s.y - 65.0) < 9.5  # noqa: E731
    found = findings(tmp_path, lambda s: not inner(s) or s.code == "MH")
    told = [one for one in found if one.kind == "gap in the shots" and "of 4 m2" not in one.text]
    areas = [float(one.text.split(" m2 of")[0].split()[-1]) for one in told]
    # what lies more than 4 m inside the lip that was shot every 2.1 m: a circle of 7 m, less its
    # west, which the last row of the side street and the throat's lips see
    assert 0.8 * math.pi * 49.0 < sum(areas) < 1.1 * math.pi * 49.0


def test_shots_of_every_part_lie_on_its_own_line(design):
    """The demo's places, by the house's stations: the edge of clay 0.95 m behind each lip."""
    streets = {one.name: one.corridor for one in streets_of(design)}
    for run in (3.0, 20.0, 40.0, 64.0):
        x, y = clay.bulb_place(run, clay.OUT_M)
        at = feet_of.locate(streets["bulb"].alignment, [1000.0 + x], [2000.0 + y])
        assert (at.station[0], at.offset[0]) == pytest.approx((run, -clay.OUT_M), abs=1e-6)
