"""The invented job folder: laid down the same every time, its files against its truth."""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from pydantic import TypeAdapter
from scipy.spatial import cKDTree
from shapely import LineString, Point

import pipeline
from pipeline.demo import lay_down, truth
from pipeline.errors import OutputError
from pipeline.settings import Job

ROOT = Path(__file__).resolve().parent.parent
FIXTURE = ROOT / "fixtures" / "demo"
MORNING = "shots/2026-05-14/morning.csv"
HUBS = "shots/2026-05-14/hubs.csv"


def on_disk(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def shots_by_id() -> dict[str, truth.Shot]:
    return {shot.id: shot for shot in truth.morning()}


def table(name: str) -> list[dict[str, str]]:
    lines = (FIXTURE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def flaw(kind: str) -> truth.Flaw:
    return next(one for one in truth.flaws() if one.kind == kind)


# the files


def test_the_fixture_is_what_the_generator_writes(tmp_path):
    lay_down(tmp_path / "new")
    assert on_disk(tmp_path / "new") == on_disk(FIXTURE)


def test_the_command_writes_the_same_bytes_under_another_hash_seed(tmp_path):
    environment = {**os.environ, "PYTHONHASHSEED": "77", "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "pipeline.demo", str(tmp_path / "new")]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert on_disk(tmp_path / "new") == on_disk(FIXTURE)


def test_the_command_refuses_with_exit_code_3(tmp_path):
    (tmp_path / "mine.txt").write_text("levels")
    command = [sys.executable, "-m", "pipeline.demo", str(tmp_path)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert "mine.txt" in done.stderr
    assert on_disk(tmp_path) == {"mine.txt": b"levels"}


def test_a_second_laying_down_completes_the_demo_and_leaves_the_rest(tmp_path):
    lay_down(tmp_path)
    (tmp_path / "control.csv").unlink()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "stakes.csv").write_text("a\n")
    lay_down(tmp_path)
    assert on_disk(tmp_path) == {**on_disk(FIXTURE), "out/stakes.csv": b"a\n"}


def test_an_interrupted_laying_down_is_completed(tmp_path):
    lay_down(tmp_path)
    (tmp_path / "job.toml").rename(tmp_path / ".job.toml.part")
    lay_down(tmp_path)
    assert on_disk(tmp_path) == on_disk(FIXTURE)


def test_a_changed_file_is_refused_by_name_and_nothing_is_written(tmp_path):
    lay_down(tmp_path)
    (tmp_path / "control.csv").write_text("my own control\n")
    (tmp_path / "utilities.csv").unlink()
    before = on_disk(tmp_path)
    with pytest.raises(OutputError, match=r"control\.csv.*not the demo's own"):
        lay_down(tmp_path)
    assert on_disk(tmp_path) == before


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "street").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        lay_down(tmp_path / "street")


def test_files_are_small_plain_utf8():
    files = on_disk(FIXTURE)
    assert sum(map(len, files.values())) < 200_000
    for name, data in files.items():
        text = data.decode("utf-8")
        assert text.endswith("\n"), name
        assert ("\r" in text) == (name == HUBS), name
        assert text.isascii() or name == HUBS, name


def test_the_hub_file_speaks_another_dialect():
    text = (FIXTURE / HUBS).read_bytes().decode("utf-8")
    assert text.startswith("\ufeffpoint;north;east;height;code;remark\r\n")
    rows = list(csv.reader(io.StringIO(text), delimiter=";"))[1:]
    assert len(rows) == len(truth.hubs()) == 86
    for row, hub in zip(rows, truth.hubs(), strict=True):
        north, east, height = (float(cell.replace(",", ".")) for cell in row[1:4])
        assert row[0] == hub.id
        # both are the same number, one rounded to the millimetre
        np.testing.assert_allclose(
            [north, east, height], [hub.northing, hub.easting, hub.elevation], rtol=0, atol=5.01e-4
        )


def test_the_job_file_holds_known_settings_only():
    # unknown keys and wrong types are refused by the settings themselves
    stated = tomllib.loads((FIXTURE / "job.toml").read_text(encoding="utf-8"))
    job = TypeAdapter(Job).validate_json(json.dumps(stated))
    assert [layer.name for layer in job.layers] == list(truth.LAYERS)
    assert job.target.layer == truth.CLAY
    assert job.stakes.reference in truth.break_names(truth.FINISH)
    assert job.stakes.hub_behind_m == truth.HUB_BEHIND_M
    for code in job.codes.values():
        known = {name for layer in truth.LAYERS for name in truth.break_names(layer)}
        assert code.break_name in {"", *known}


def test_nothing_is_borrowed_from_what_is_to_be_tested():
    allowed = {"pipeline.demo", "pipeline.errors", "pipeline.model"}
    for path in (Path(pipeline.__file__).parent / "demo").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                if name.startswith("pipeline"):
                    assert ".".join(name.split(".")[:2]) in allowed, f"{path.name}: {name}"


# the design files


def test_the_sections_file_adds_up_to_the_true_breaks():
    sections = tomllib.loads((FIXTURE / "design/sections.toml").read_text(encoding="utf-8"))
    for part in sections["section"]:
        station = 0.5 * (part["from"] + part["to"])
        assert list(part["layers"]) == list(truth.LAYERS)
        for layer, rule in part["layers"].items():
            for side, key in ((1, "right"), (-1, "left")):
                strips = rule["right"] if rule[key] == "mirror" else rule[key]
                out, z = 0.0, float(truth.profile(station)) - rule["drop_m"]
                for strip in strips:
                    out += strip["width_m"]
                    fall = strip.get("fall_pct", 0.0) / 100.0 * strip["width_m"]
                    z += strip.get("step_m", -fall)
                    got = truth.break_at(station, side, layer, strip["to"])
                    assert got == pytest.approx((side * out, z), abs=1e-12)


def test_the_profile_file_has_the_true_points():
    for row, point in zip(table("design/profile.csv"), truth.PROFILE, strict=True):
        assert [float(cell) for cell in row.values()] == [
            point.station, point.elevation, point.curve_in, point.curve_out,
        ]  # fmt: skip


def test_control_and_records_stand_where_they_should():
    control = {row["id"]: row for row in table("control.csv")}
    assert len(control) == 5
    for at in truth.control():
        east, north = truth.point(at.station, at.offset)
        row = control[at.id]
        got = float(row["easting_m"]), float(row["northing_m"])
        assert got == pytest.approx((float(east), float(north)), abs=5.01e-4)
        assert abs(at.offset) > 12.0
    rows = table("utilities.csv")
    assert Counter(row["kind"] for row in rows) == {"valve": 4, "manhole": 3, "catch basin": 2}
    assert [row["id"] for row in rows if not row["depth_to_top_m"]] == ["WV2", "WV4"]
    assert [row["id"] for row in rows if not row["lid_elevation_m"]] == ["WV4"]
    basin = next(thing for thing in truth.buried() if thing.id == "CB1")
    assert basin.station == truth.flowline_low_point(1)[0]


# the morning


def test_counts_per_code():
    # 43 rows at 10 m, 23 between them on the bends; three rows have no right side, two no bank
    # on the left; lids: one valve was not found
    assert Counter(row["code"] for row in table(MORNING)) == {
        "CL": 66, "EC1": 66, "EC2": 63, "LIP": 129, "BB1": 64, "BB2": 63, "TB1": 64, "TB2": 63,
        "GR": 43 * 4 - 2 - 1 + 1, "GX": 1, "MH": 3, "WV": 3, "CB": 2, "CP": 10,
    }  # fmt: skip


def test_the_file_is_the_truth_with_noise_and_the_named_slips():
    shots = shots_by_id()
    rows = table(MORNING)
    assert [row["id"] for row in rows] == list(shots)
    assert len(set(shots)) == len(rows)
    used = [row for row in rows if not shots[row["id"]].flaw]
    truths = [shots[row["id"]] for row in used]
    free = np.array([shot.code not in ("CP", "MH", "WV", "CB") for shot in truths])
    quiet = np.array([shot.row <= truth.PLANAR_TO for shot in truths]) & free
    dz = np.array([float(r["elevation"]) for r in used]) - [s.true_elevation for s in truths]
    east, north = truth.point([s.station for s in truths], [s.offset for s in truths])
    de = np.array([float(row["easting"]) for row in used]) - east
    dn = np.array([float(row["northing"]) for row in used]) - north
    for error in (de, dn, dz):
        # rounding to the millimetre on the planes
        assert np.abs(error[quiet]).max() < 5.01e-4
    rough = free & ~quiet
    assert 0.006 < dz[rough].std() < 0.008
    assert 0.007 < np.hypot(de, dn)[rough].mean() / np.sqrt(np.pi / 2) < 0.009
    assert np.abs(dz[rough]).max() < 4 * 0.008
    ground = truth.ground([s.station for s in truths], [s.offset for s in truths])
    recorded = np.array([s.true_elevation for s in truths])
    np.testing.assert_array_equal(ground[free], recorded[free])


def test_control_opens_and_closes_within_the_warning():
    record = {row["id"]: row for row in table("control.csv")}
    rows = table(MORNING)
    checks = [row for row in rows if row["code"] == "CP"]
    for row in checks:
        at = record[row["note"]]
        plan = np.hypot(
            float(row["easting"]) - float(at["easting_m"]),
            float(row["northing"]) - float(at["northing_m"]),
        )
        assert plan < 0.010
        # 5 mm is the job's warning for height
        assert abs(float(row["elevation"]) - float(at["elevation_m"])) <= 0.005
    for setup in truth.RODS:
        own = [row for row in rows if row["setup"] == setup]
        assert own[0]["code"] == own[1]["code"] == own[-1]["code"] == "CP"
    assert len({row["note"] for row in checks}) == 5


def test_time_runs_forward_and_the_rod_belongs_to_the_set_up():
    rows = table(MORNING)
    times = [row["time"] for row in rows]
    assert times == sorted(set(times))
    assert times[0] > "2026-05-14T05:05"
    assert times[-1] < "2026-05-14T07:00"
    assert all(float(row["rod"]) == truth.RODS[row["setup"]] for row in rows)


def test_no_coordinate_off_the_site_but_the_named_ones():
    # everything true lies within 20 m of the line: control at 15 m is the farthest
    corridor = LineString(np.stack(truth.point(np.linspace(0.0, 420.0, 841)), axis=1)).buffer(20.0)
    astray = {}
    for row in table(MORNING):
        if row["id"] in flaw("bad row").ids:
            continue
        place = Point(float(row["easting"]), float(row["northing"]))
        if not corridor.covers(place):
            astray[row["id"]] = corridor.distance(place)
    (far,), (near,) = flaw("off job far").ids, flaw("off job near").ids
    assert set(astray) == {far, near}
    assert astray[far] > 3000.0
    assert 200.0 < astray[near] < 400.0
    for hub in truth.hubs():
        assert corridor.covers(Point(hub.easting, hub.northing))


def test_each_slip_is_in_the_file_as_named():
    rows = {row["id"]: row for row in table(MORNING)}
    shots = shots_by_id()
    assert {one.kind: len(one.ids) for one in truth.flaws()} == {
        "rod": 12, "duplicate": 1, "off job far": 1, "off job near": 1, "unknown code": 1,
        "bad row": 1, "not shot": 0, "bank missing": 0, "nose": 0,
    }  # fmt: skip
    bust = flaw("rod").ids
    assert [int(name) for name in bust] == list(range(int(bust[0]), int(bust[0]) + 12))
    too_high = [float(rows[name]["elevation"]) - shots[name].true_elevation for name in bust]
    assert np.mean(too_high) == pytest.approx(truth.BUST_M, abs=0.008)
    assert len({rows[name]["setup"] for name in bust}) == 1
    (bad,) = flaw("bad row").ids
    assert rows[bad]["northing"].endswith("O")
    (odd,) = flaw("unknown code").ids
    assert rows[odd]["code"] == "GX"


def test_the_duplicate_is_one_spot_twice_and_the_only_one():
    # closer than the job's 50 mm in plan and 15 mm in height
    rows = [row for row in table(MORNING) if row["id"] not in flaw("bad row").ids]
    rows = [row for row in rows if row["code"] != "CP"]
    place = np.array([[float(row["easting"]), float(row["northing"])] for row in rows])
    pairs = cKDTree(place).query_pairs(0.05)
    assert len(pairs) == 1
    first, second = sorted(pairs.pop())
    assert rows[second]["id"] in flaw("duplicate").ids
    dz = float(rows[first]["elevation"]) - float(rows[second]["elevation"])
    assert abs(dz) < 0.015


def test_lengths_that_nobody_shot():
    shots = [shot for shot in truth.morning() if shot.code not in ("CP", "MH", "WV", "CB", "CL")]
    gap = truth.NOT_SHOT
    right = sorted(shot.station for shot in shots if shot.offset * gap.side > 0)
    assert not [s for s in right if gap.start + 0.2 < s < gap.end - 0.2]
    bank = [shot for shot in shots if shot.code in ("BB1", "TB1")]
    missing = truth.BANK_MISSING
    assert not [s for s in bank if missing.start < s.station < missing.end]
    assert max(np.diff(sorted(shot.station for shot in bank if shot.code == "TB1"))) > 15.0


def test_lines_are_shot_forward_and_do_not_cross():
    lines = []
    for code in ("CL", "EC1", "EC2", "BB1", "BB2", "TB1", "TB2"):
        own = [shot for shot in truth.morning() if shot.code == code]
        assert np.diff([shot.station for shot in own]).min() > 4.0
        lines.append(LineString([(shot.easting, shot.northing) for shot in own]))
    for k, line in enumerate(lines):
        assert line.is_simple
        assert not any(line.intersects(other) for other in lines[k + 1 :])


def test_hubs_stand_behind_the_curb_and_out_of_the_ground():
    for hub in truth.hubs():
        side = int(np.sign(hub.offset))
        back, _ = truth.break_at(hub.row, side, truth.FINISH, "top back of curb")
        assert hub.offset == pytest.approx(back + side * truth.HUB_BEHIND_M, abs=0.015)
        assert 0.015 < hub.true_elevation - truth.ground(hub.station, hub.offset) < 0.055
        assert hub.elevation == pytest.approx(hub.true_elevation, abs=0.010)
