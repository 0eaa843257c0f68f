"""The demo's morning from file to mark, held against what its generator knows to be true."""

from __future__ import annotations

import csv
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from pipeline import publish, saying
from pipeline.compare import overlay, quantities
from pipeline.crew.hubs import cutsheet
from pipeline.deliver.package import verify
from pipeline.demo import truth
from pipeline.design import strips
from pipeline.ingest.landxml.read import read_landxml
from pipeline.model import Corridor, Layer, make_shots, texts
from pipeline.run import Stopwatch, run_day
from pipeline.settings import DesignRules, FileFormat, SurfaceRules
from pipeline.surface import lines, tin

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY = "2026-05-14"


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    folder = tmp_path_factory.mktemp("street") / "demo"
    shutil.copytree(FIXTURES / "demo", folder)
    return folder


@pytest.fixture(scope="module")
def day(street):
    return run_day(street, None, Stopwatch())


@pytest.fixture(scope="module")
def package(day, tmp_path_factory):
    return publish.deliver(day, tmp_path_factory.mktemp("out")).folder


def rows_of(package, name):
    with (package / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def station_of(text):
    kilo, rest = text.split("+")
    return 1000 * int(kilo) + float(rest)


def test_every_hub_to_set_lies_within_a_millimetre_of_the_truth(package):
    hubs = [row for row in rows_of(package, "stakes.csv") if row["reference"]]
    assert len(hubs) == 132
    for row in hubs:
        station, offset = station_of(row["station"]), float(row["offset_m"])
        side = -1 if row["side"] == "L" else 1
        curb, top = truth.break_at(station, side, truth.FINISH, "top back of curb")
        assert abs(offset - (float(curb) + side * truth.HUB_BEHIND_M)) < 0.001
        east, north = truth.point(station, float(curb) + side * truth.HUB_BEHIND_M)
        assert math.hypot(float(row["easting_m"]) - east, float(row["northing_m"]) - north) < 0.001
        assert abs(float(row["finish_elevation_m"]) - float(top)) < 0.001
        clay = float(truth.elevation(station, float(curb), truth.CLAY))
        assert abs(float(row["clay_subgrade_elevation_m"]) - clay) < 0.001


def test_numbers_to_paint_on_planar_ground_are_true_to_two_millimetres(package):
    dots = [
        row
        for row in rows_of(package, "dots.csv")
        if station_of(row["station"]) <= truth.PLANAR_TO - 5
    ]
    assert len(dots) > 60
    for row in dots:
        true = float(truth.difference(station_of(row["station"]), float(row["offset_m"])))
        # the end row wanders 0.15 m along the line, and the bank begins beside its edge
        limit = 0.002 if station_of(row["station"]) > 0 else 0.006
        assert abs(float(row["cut_m"]) - true) <= limit, row


def test_a_dot_is_painted_only_on_grade(package, day):
    limit = day.morning.inputs.job.rounding.on_grade_m
    for row in rows_of(package, "dots.csv"):
        if row["kind"] == "dot":
            assert abs(float(row["cut_m"])) <= limit + 0.0005
            assert row["paint"] == "GRADE"
        elif row["kind"] == "number":
            assert row["paint"][0] == ("C" if float(row["cut_m"]) > 0 else "F")
            centimetres = float(row["paint"].split()[1])
            assert abs(centimetres - abs(100 * float(row["cut_m"]))) <= 0.55


def test_where_nobody_shot_there_is_no_number(package):
    unshot = truth.NOT_SHOT
    middle = [
        row
        for row in rows_of(package, "dots.csv")
        if row["kind"] == "unshot" and row["side"] == ("R" if unshot.side > 0 else "L")
    ]
    assert {row["paint"] for row in middle} == {"NOT SHOT"}
    assert {row["ground_m"] for row in middle} == {""}
    assert any(unshot.start < station_of(row["station"]) < unshot.end for row in middle)


def test_cut_and_fill_of_exact_shots_meet_the_closed_form(day):
    """Shots without rounding on the planar stretch against the generator's closed form."""
    corridor, volumes = day.morning.corridor, truth.volumes(10.0, 70.0)
    clay = corridor.layer(truth.CLAY)
    stretch = Layer(
        name=clay.name, title=clay.title, breaks=clay.breaks, side=clay.side,
        station=np.array([10.0, 70.0]), offset=clay.offset[:2], rise=clay.rise[:2],
    )  # fmt: skip
    part = Corridor(corridor.name, corridor.alignment, corridor.profile, (stretch,))
    design = strips.triangulate(part, clay.name, DesignRules())
    found = quantities.quantity(
        clay.name, overlay.overlay(exact_ground(day), design), tin.area(design)
    )

    assert found.cut_m3 == pytest.approx(volumes.cut_m3, rel=1e-3)
    assert found.fill_m3 == pytest.approx(volumes.fill_m3, rel=1e-3)
    assert found.uncovered_area_m2 == pytest.approx(0.0, abs=1e-6)


def exact_ground(day):
    half = abs(float(truth.edge(0.0, 1, truth.CLAY)))
    station = np.repeat(np.arange(0.0, 76.0, 5.0), 5)
    offset = np.tile([-half - 1.0, -half, 0.0, half, half + 1.0], 16)
    east, north = truth.point(station, offset)
    inside = np.clip(offset, -half, half)
    height = truth.elevation(station, inside, truth.CLAY) + truth.difference(station, inside)
    shots = make_shots(
        east, north, height, code=texts(["GR", "EC1", "CL", "EC2", "GR"] * 16),
    )  # fmt: skip
    drawn, _ = lines.breaklines(shots, day.morning.inputs.job.codes)
    return tin.build(shots, drawn, SurfaceRules())[0]


def test_every_planted_flaw_is_found_and_nothing_is_deleted(day, package):
    planted = {flaw.kind: set(flaw.ids) for flaw in truth.flaws() if flaw.ids}
    said: dict[str, set[str]] = {}
    for finding in day.findings:
        said.setdefault(finding.kind, set()).update(finding.points)

    assert planted["rod"] == said["suspected bust"]
    assert planted["off job far"] | planted["off job near"] == said["off the job"]
    assert planted["unknown code"] == said["unknown code"]
    assert planted["duplicate"] <= said["shot twice"]
    assert planted["bad row"] <= said["bad row"]
    summary = saying.summary_of(day)
    assert summary.read == len(truth.morning()) + len(truth.hubs())
    assert summary.used + summary.refused == summary.read
    # used + listed = read: every row that could be read stands in points.csv with its fate
    assert len(rows_of(package, "points.csv")) == summary.read - 1
    assert all(row["fate"] for row in rows_of(package, "points.csv"))


def test_a_suspected_bust_says_how_much_and_what_it_equals(day):
    (bust,) = (finding for finding in day.findings if finding.kind == "suspected bust")

    assert "0.151 m high" in bust.text or "0.150 m high" in bust.text or "0.149 m high" in bust.text
    assert "rod step 0.15 m" in bust.text


def test_high_and_low_points_stand_where_the_profile_turns(package):
    points = {
        row["what"]: row
        for row in rows_of(package, "stakes.csv")
        if row["what"].endswith("of crown")
    }
    for what, (station, height) in {
        "high point of crown": truth.high_point(), "low point of crown": truth.low_point(),
    }.items():  # fmt: skip
        assert abs(station_of(points[what]["station"]) - station) <= 0.001
        assert abs(float(points[what]["finish_elevation_m"]) - height) <= 0.001


def test_hubs_as_shot_are_cut_to_their_named_reference(package):
    measured = {shot.id: shot for shot in truth.hubs()}
    sheet = rows_of(package, "cutsheet.csv")
    assert len(sheet) == len(measured)
    for row in sheet:
        station = min(max(station_of(row["station"]), 0.0), truth.LENGTH)
        side = -1 if row["side"] == "L" else 1
        _, top = truth.break_at(station, side, truth.FINISH, "top back of curb")
        true = measured[row["id"]].elevation - float(top)
        letter, figure = row["to_reference"].split()
        # station is printed to 0.1 m: 50 mm along a 3 % grade is 1.5 mm
        assert abs((1 if letter == "C" else -1) * float(figure) - true) <= 0.003
        assert row["lath_front"].endswith(f"/ {row['to_reference']} TBC")


def test_the_package_is_whole_and_the_same_again(day, package, tmp_path):
    again = publish.deliver(day, tmp_path).folder
    names = sorted(entry.name for entry in package.iterdir())

    assert verify(package) == ()
    assert names == [
        "balance.csv", "buried.csv", "crew.pdf", "cutfill.dxf", "cutsheet.csv", "day.html",
        "dots.csv", "edge.csv", "findings.json", "ground.xml", "haul.csv", "instrument.csv",
        "manifest.json", "next_shots.csv", "points.csv", "quantities.json",
        "sections_clay_subgrade.csv", "sightlines.csv", "stakes.csv", "volumes_clay_subgrade.csv",
        "volumes_finish.csv", "volumes_gravel_top.csv", "volumes_stabilised_top.csv",
    ]  # fmt: skip
    for name in names:
        if name != "manifest.json":
            assert (package / name).read_bytes() == (again / name).read_bytes()


def test_the_ground_comes_back_from_its_landxml(day, package):
    reading = read_landxml(package / "ground.xml", FileFormat())
    ground, layer = reading.meshes
    again, _ = tin.from_mesh(ground)

    assert ground.name == f"ground {DAY}"
    assert layer.name == truth.CLAY
    assert len(again.triangles) == len(day.ground.triangles)
    # points are written to 0.1 mm
    assert tin.area(again) == pytest.approx(tin.area(day.ground), rel=1e-6)


def test_the_manifest_names_every_input_and_which_settings_are_assumed(package, street):
    manifest = json.loads((package / "manifest.json").read_text(encoding="utf-8"))
    files = {item["file"] for item in manifest["inputs"]}

    assert files == {
        path.relative_to(street).as_posix()
        for path in street.rglob("*")
        if path.is_file() and "out" not in path.parts
    }
    assert manifest["settings"]["surface.max_edge_m"]["origin"] == "job"
    assert manifest["settings"]["surface.crossing_tolerance_m"]["origin"] == "assumed"


def test_a_job_far_from_the_origin_gets_the_same_marks(street, day, tmp_path):
    far = tmp_path / "far"
    shutil.copytree(street, far)
    move_everything(far, east=500_000.0, north=6_000_000.0)
    moved = run_day(far, None, Stopwatch())

    assert moved.dots.mark.tolist() == day.dots.mark.tolist()
    assert moved.dots.id.tolist() == day.dots.id.tolist()
    assert (
        cutsheet.table(moved.sheet, moved.morning.inputs.job.rounding).rows[5][10:17]
        == (cutsheet.table(day.sheet, day.morning.inputs.job.rounding).rows[5][10:17])
    )
    for before, after in zip(day.quantities, moved.quantities, strict=True):
        assert after.cut_m3 == pytest.approx(before.cut_m3, abs=0.02)
        assert after.fill_m3 == pytest.approx(before.fill_m3, abs=0.02)


def move_everything(folder, *, east, north):
    """Shift every coordinate in the job's text files, in each file's own dialect."""
    columns = {
        "control.csv": ("northing_m", "easting_m"),
        "utilities.csv": ("northing_m", "easting_m"),
        "design/alignment.csv": ("northing_m", "easting_m"),
        f"shots/{DAY}/morning.csv": ("northing", "easting"),
        f"shots/{DAY}/hubs.csv": ("north", "east"),
    }
    for name, (north_column, east_column) in columns.items():
        path = folder / name
        text = path.read_bytes().decode("utf-8-sig")
        mark = ";" if "hubs" in name else ","
        head, *body = [line for line in text.splitlines() if not line.startswith("#")]
        header = head.split(mark)
        at = header.index(north_column), header.index(east_column)
        moved = [head, *(shifted(line, mark, at, (north, east)) for line in body)]
        path.write_text("\n".join(moved) + "\n", encoding="utf-8")


def shifted(line, mark, columns, by):
    cells = line.split(mark)
    for column, shift in zip(columns, by, strict=True):
        decimal = "," if mark == ";" else "."
        try:
            value = float(cells[column].replace(decimal, "."))
        except (ValueError, IndexError):
            continue
        cells[column] = f"{value + shift:.3f}".replace(".", decimal)
    return mark.join(cells)
