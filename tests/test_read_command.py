"""`lath read` as a person types it: every file told, bad ones in one line, conversions whole."""

from __future__ import annotations

import csv
import json
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from pipeline import terminal
from pipeline.cli import main
from pipeline.ingest.landxml.read import read_landxml
from pipeline.settings import FileFormat

ROOT = Path(__file__).resolve().parent.parent
OPEN = ROOT / "tests" / "data"
ROAD = ROOT / "fixtures" / "open-road"
TERRAIN = ROAD / "shots" / "2020-10-26" / "m3_terrain.xml"
TOP = ROAD / "design" / "m3_top_main.xml"
ALIGNMENT = ROAD / "design" / "m3_alignment_main.xml"
SCAN = OPEN / "las" / "feet_in_geotiff_keys.las"
SURVEY = OPEN / "points" / "survey_no_header_ft_excerpt.csv"
SURVEY_COLUMNS = ("--columns", "id,northing,easting,elevation,code", "--unit", "ft")
KEYS = {
    "file", "format", "version", "points", "faces", "breaklines", "alignments", "profiles",
    "bbox", "elevation", "units", "crs", "oddities",
}  # fmt: skip


def lath(*words):
    return CliRunner().invoke(main, ["read", *map(str, words)], prog_name="lath")


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


# ---- told


def test_one_file_is_one_object_with_the_keys_that_others_rely_on():
    result = lath(ALIGNMENT, "--json")
    said = json.loads(result.stdout)

    assert result.exit_code == 0
    assert set(said) >= KEYS
    (line,) = said["alignments"]
    # declared in the file
    assert line["length"] == pytest.approx(1266.246238, abs=1e-6)
    assert (line["name"], line["elements"], line["start_station"]) == ("M3_RS - CL", 15, 0.0)
    assert said["units"] == "m"
    assert said["elevation"] is None
    assert result.stderr == ""


def test_several_files_are_a_list_in_their_order():
    result = lath(TOP, SCAN, "--json")
    said = json.loads(result.stdout)

    assert [one["file"] for one in said] == [TOP.name, SCAN.name]
    assert [one["units"] for one in said] == ["m", "ft"]
    # measured on the file by other software
    assert said[0]["surfaces"][0]["area2d"] == pytest.approx(22503.5393, abs=1e-4)


def test_words_for_a_person_say_what_is_odd_first():
    lines = lath(SURVEY).output.splitlines()

    assert lines[0].startswith(f"{SURVEY.name}: text table, ")
    assert lines[1].startswith("  odd ")
    assert "no header" in lines[1]
    assert any(line.split() == ["holds", "13", "points"] for line in lines)
    assert any("13 numbers, 1 to 267" in line for line in lines)


def test_a_bad_file_does_not_hide_the_others(tmp_path):
    bad = tmp_path / "bad.xml"
    bad.write_text("<LandXML><Surfaces>")
    result = lath(bad, SCAN, tmp_path / "none.las")

    assert result.exit_code == 3
    assert f"{SCAN.name}: LAS 1.2" in result.stdout
    lines = result.stderr.splitlines()
    assert [line.split(" ")[1] for line in lines] == ["bad.xml", "none.las:"]
    listed = json.loads(lath(bad, SCAN, "--json").stdout)
    assert set(listed[0]) == {"file", "refused"}
    assert listed[1]["points"] == 106


def test_a_single_bad_file_prints_nothing_but_the_refusal(tmp_path):
    for words in ((), ("--json",)):
        result = lath(tmp_path / "none.xml", *words)
        assert result.exit_code == 3
        assert result.stdout == ""
        assert result.stderr == "lath: none.xml: no such file. Check the name and the folder.\n"


def test_progress_goes_to_standard_error_for_a_big_file(monkeypatch):
    monkeypatch.setattr(terminal, "BIG_BYTES", 1000)
    result = lath(TERRAIN, "--json")

    assert json.loads(result.stdout)["points"] == 19872
    assert result.stderr.startswith("  m3_terrain.xml: reading 4 MB ...\n")


def test_a_name_that_could_steer_a_terminal_is_shown_without_its_marks(tmp_path):
    path = tmp_path / "a\x1b[31m.csv"
    path.write_text("id,north,east,height\n1,2,3,4\n")
    result = lath(path, "--json")

    assert "\x1b" not in result.output
    assert json.loads(result.stdout)["points"] == 1


@pytest.mark.parametrize(
    "words",
    [
        (),
        (SCAN, "--unit", "yd"),
        (SCAN, "--out", "x.csv"),
        (SCAN, "--classes", "2"),
        (SCAN, TOP, "--to", "csv", "--out", "x.csv"),
        (SCAN, "--to", "csv", "--classes", "300"),
        (SURVEY, "--columns", "northing=X,easting"),
        (SCAN, "--to", "shp"),
    ],
)
def test_a_mistyped_command_ends_with_two(here, words):
    assert lath(*words).exit_code == 2
    assert list(here.iterdir()) == []


# ---- written


def test_points_of_a_survey_in_feet_are_metres_in_csv(here):
    result = lath(SURVEY, *SURVEY_COLUMNS, "--to", "csv", "--json")
    rows = list(csv.DictReader((here / SURVEY.name).read_text("utf-8").splitlines()))

    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["written"]["holds"] == "13 points"
    assert list(rows[0]) == ["id", "northing_m", "easting_m", "elevation_m", "code", "note"]
    # the control codes of this survey carry the height in metres: BAR[245.538]
    control = [row for row in rows if row["code"].startswith("BAR[")]
    assert len(control) >= 2
    for row in control:
        assert float(row["elevation_m"]) == pytest.approx(float(row["code"][4:-1]), abs=6e-4)


def test_nothing_is_overwritten_without_force(here):
    assert lath(SURVEY, *SURVEY_COLUMNS, "--to", "csv").exit_code == 0
    written = here / SURVEY.name
    before = written.read_bytes()
    written.write_bytes(b"mine")
    again = lath(SURVEY, *SURVEY_COLUMNS, "--to", "csv")

    assert again.exit_code == 3
    assert "it is there already" in again.stderr
    assert written.read_bytes() == b"mine"
    assert lath(SURVEY, *SURVEY_COLUMNS, "--to", "csv", "--force").exit_code == 0
    assert written.read_bytes() == before
    itself = lath(written, "--to", "csv", "--unit", "m", "--force")
    assert itself.exit_code == 3
    assert "it is the file that is read" in itself.stderr
    assert written.read_bytes() == before


def test_a_unit_that_nobody_states_is_asked_for(here):
    table = here / "a.csv"
    table.write_text("id,north,east,height\n1,2,3,4\n")
    for words in ((table, "--out", "b.csv"), (OPEN / "dxf" / "shots_points_lines_r12.dxf",)):
        result = lath(*words, "--to", "csv")
        assert result.exit_code == 3
        assert "does not say its unit. State it with --unit m, ft or ftUS." in result.stderr
    assert [entry.name for entry in here.iterdir()] == ["a.csv"]


@pytest.mark.parametrize(
    ("classes", "points"), [((), 24), (("--classes", "all"), 106), (("--classes", "1"), 82)]
)
def test_a_scan_gives_its_ground_or_the_classes_asked_for(here, classes, points):
    # 24 of 106 points are of class 2 (tests/data/las/ORIGIN.md)
    result = lath(SCAN, "--to", "csv", "--out", "scan.csv", *classes, "--json")
    rows = (here / "scan.csv").read_text().splitlines()

    assert result.exit_code == 0, result.output
    assert len(rows) == points + 1


def test_geojson_lies_where_the_road_lies(here):
    result = lath(ALIGNMENT, "--to", "geojson")
    read = json.loads((here / "m3_alignment_main.geojson").read_text("utf-8"))
    (feature,) = read["features"]
    line = shapely.from_geojson(json.dumps(feature["geometry"]))

    assert result.exit_code == 0, result.output
    # by pyproj: the road begins at 61.1520 N 21.5616 E, to the digits given
    assert line.coords[0] == pytest.approx((21.5616, 61.1520), abs=6e-5)
    # a degree of latitude is 111.4 km here, of longitude 53.8 km (WGS 84 ellipsoid, from memory)
    metres = shapely.transform(line, lambda xy: xy * [53_830.0, 111_440.0]).length
    assert metres == pytest.approx(1266.246, rel=2e-3)
    assert "ETRS89 to WGS 84" in read["about"]["operation"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((SURVEY, *SURVEY_COLUMNS), "does not say its coordinate system"),
        ((SURVEY, *SURVEY_COLUMNS, "--crs", "EPSG:26910"), "outside the area"),
        ((SCAN, "--crs", "our own"), '"our own" is not known here'),
    ],
)
def test_geojson_without_a_known_place_is_refused_by_name(here, words, message):
    result = lath(*words, "--to", "geojson")

    assert result.exit_code == 3
    assert message in result.stderr
    assert list(here.iterdir()) == []


def test_a_surface_comes_back_from_landxml_as_it_went(here):
    result = lath(TOP, "--to", "landxml")
    (mesh,) = read_landxml(here / TOP.name, FileFormat()).meshes
    (theirs,) = read_landxml(TOP, FileFormat()).meshes

    assert result.exit_code == 0, result.output
    assert len(mesh.triangles) == len(theirs.triangles) == 11959
    corners = [
        np.sort(
            np.column_stack([one.easting, one.northing, one.elevation]).view("f8,f8,f8"), axis=0
        )
        for one in (mesh, theirs)
    ]
    for name in ("f0", "f1", "f2"):
        np.testing.assert_allclose(corners[0][name], corners[1][name], rtol=0, atol=0.6e-4)
    told = json.loads(lath(here / TOP.name, "--json").stdout)
    assert told["surfaces"][0]["area2d"] == pytest.approx(22503.5393, abs=0.05)
    assert told["breaklines"] > 0
    assert told["crs"] == "EPSG:3875"


def test_an_alignment_comes_back_from_landxml_as_it_went(here):
    result = lath(ALIGNMENT, "--to", "landxml")
    told = json.loads(lath(here / ALIGNMENT.name, "--json").stdout)

    assert result.exit_code == 0, result.output
    assert told["alignments"][0]["length"] == pytest.approx(1266.246238, abs=1e-5)
    assert told["profiles"][0]["end_station"] == pytest.approx(1266.246171, abs=1e-5)
    assert told["alignments"][0]["kinds"] == {"line": 8, "curve": 7}


def test_landxml_of_points_alone_is_refused(here):
    result = lath(SURVEY, *SURVEY_COLUMNS, "--to", "landxml")

    assert result.exit_code == 3
    assert "holds no surface and no alignment" in result.stderr
    assert list(here.iterdir()) == []


def test_several_files_are_converted_each_under_its_own_name(here):
    result = lath(SCAN, TOP, "--to", "csv")

    assert result.exit_code == 0, result.output
    assert sorted(entry.name for entry in here.iterdir()) == [
        "feet_in_geotiff_keys.csv",
        "m3_top_main.csv",
    ]
    assert "6,547 points" in result.stdout


# ---- malformed twins, in a process with limits

LIMITED = """
import sys
try:
    import resource
except ImportError:  # Windows knows no such limits
    pass
else:
    resource.setrlimit(resource.RLIMIT_DATA, (500 << 20, 500 << 20))
    resource.setrlimit(resource.RLIMIT_CPU, (2, 2))
from pipeline.cli import main
main(["read", *sys.argv[1:]], prog_name="lath")
"""


def flipped(data, *places):
    twin = bytearray(data)
    for place in places:
        twin[place] ^= 0x40
    return bytes(twin)


def counted(data, count):
    twin = bytearray(data)
    struct.pack_into("<I", twin, 107, count)
    return bytes(twin)


def bomb(data):
    at = data.index(b"<LandXML")
    steps = b"".join(
        b'<!ENTITY e%d "%s">' % (k, b"&e%d;" % (k - 1) * 10 if k else b"lath") for k in range(12)
    )
    return data[:at] + b"<!DOCTYPE LandXML [" + steps + b"]>" + data[at:]


TWINS = {
    "half.las": (SCAN, lambda data: data[: len(data) // 2]),
    "billion.las": (SCAN, lambda data: counted(data, 1_000_000_000)),
    "few.las": (SCAN, lambda data: counted(data, 50)),
    "version.las": (SCAN, lambda data: flipped(data, 24)),
    "half.laz": (
        OPEN / "las" / "us_survey_feet_in_wkt.laz",
        lambda data: data[: len(data) // 2],
    ),
    "half.xml": (TERRAIN, lambda data: data[: len(data) // 2]),
    "flipped.xml": (TERRAIN, lambda data: flipped(data, data.index(b"<Faces>"))),
    "bomb.xml": (TERRAIN, bomb),
    "half.dxf": (
        OPEN / "dxf" / "tilted_bulges_r12.dxf",
        lambda data: data[: len(data) // 2],
    ),
    "zero.csv": (SURVEY, lambda data: flipped(data, 3).replace(b"\n", b"\0", 1)),
}


@pytest.mark.parametrize("name", TWINS)
def test_a_malformed_twin_is_refused_in_one_line_within_limits(tmp_path, name):
    whole, damage = TWINS[name]
    path = tmp_path / name
    path.write_bytes(damage(whole.read_bytes()))
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, check=False
    )

    assert done.returncode == 3, done.stderr
    assert done.stdout == ""
    (line,) = [row for row in done.stderr.splitlines() if not row.endswith(" ...")]
    assert line.startswith(f"lath: {name}")
    assert line.endswith(".")
