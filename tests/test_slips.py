"""Slips that crews make, each planted in the demo: loud, and no number where it would be wrong."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import ezdxf
import pypdf
import pytest
from click.testing import CliRunner

from pipeline.cli import main

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY = "2026-05-14"


@pytest.fixture
def street(tmp_path):
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    return folder


def run(folder):
    result = CliRunner().invoke(main, ["run", str(folder), "--json"])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    said = json.loads(result.stdout) if result.exit_code in (0, 4) else {}
    return result, {finding["kind"] for finding in said.get("findings", [])}


def edit(path, old, new):
    text = path.read_bytes().decode("utf-8-sig")
    assert old in text
    path.write_bytes(text.replace(old, new, 1).encode("utf-8"))


def hubs_with(street, change):
    path = street / "shots" / DAY / "hubs.csv"
    rows = path.read_bytes().decode("utf-8-sig").splitlines()
    changed = [rows[0]]
    for line in rows[1:]:
        cells = line.split(";")
        cells[3] = f"{change(float(cells[3].replace(',', '.'))):.3f}".replace(".", ",")
        changed.append(";".join(cells))
    path.write_text("\n".join(changed) + "\n", encoding="utf-8")


def test_hubs_in_feet_stop_the_day(street):
    hubs_with(street, lambda z: z / 0.3048)
    result, kinds = run(street)

    assert result.exit_code == 4
    assert "hubs off the design" in kinds


def test_one_hub_metres_off_gets_no_number(street):
    edit(street / "shots" / DAY / "hubs.csv", "101,826", "113,826")
    result, kinds = run(street)

    assert result.exit_code == 0
    assert "far off the design" in kinds
    with (street / "out" / DAY / "cutsheet.csv").open(newline="", encoding="utf-8") as stream:
        assert "H01" not in {row["id"] for row in csv.DictReader(stream)}


def test_hub_tops_are_never_ground(street):
    edit(street / "job.toml", 'ground = false\nkind = "hub"', 'kind = "hub"')
    result, _ = run(street)

    assert result.exit_code == 0
    assert json.loads(result.stdout)["layers"]["clay subgrade"]["cut_m3"] < 61  # as without


def test_a_profile_that_ends_early_is_said(street):
    edit(street / "design" / "profile.csv", "420.000,102.930", "380.000,102.570")
    _, kinds = run(street)

    assert "design shorter than its line" in kinds


def test_a_line_the_wrong_way_round_stops_the_day(street):
    edit(street / "design" / "profile.csv", "120.000,103.800", "120.000,113.800")
    result, kinds = run(street)

    assert result.exit_code == 4
    assert "most of the ground not used" in kinds


def test_a_mistyped_newer_day_is_not_passed_over(street):
    shutil.copytree(street / "shots" / DAY, street / "shots" / "2026-5-15")
    result, _ = run(street)

    assert result.exit_code == 3
    assert "looks like a day and is none" in result.stderr


def test_a_thing_recorded_far_away_is_named_and_not_on_the_map(street):
    edit(street / "utilities.csv", "MH2,manhole,", "MH2,manhole,9")
    result, kinds = run(street)
    drawing = ezdxf.readfile(street / "out" / DAY / "cutfill.dxf")

    assert result.exit_code == 0
    assert "recorded thing off the job" in kinds
    assert max(one.dxf.insert.y for one in drawing.modelspace().query("INSERT")) < 5000


def test_swapped_utilities_are_refused(street):
    edit(street / "utilities.csv", "northing_m,easting_m", "easting_m,northing_m")
    result, _ = run(street)

    assert result.exit_code == 3
    assert "northing and easting exchanged" in result.stderr


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [("MH2", "MH1", "stands on line"), (",0.250,", ",-0.250,", "a depth above the lid")],
)
def test_a_slip_in_the_list_of_buried_things_is_refused(street, old, new, message):
    edit(street / "utilities.csv", old, new)
    result, _ = run(street)

    assert result.exit_code == 3
    assert message in result.stderr


def test_control_shots_without_control_are_said(street):
    edit(street / "job.toml", 'control = "control.csv"', 'control = ""')
    _, kinds = run(street)

    assert "control not checked" in kinds


def test_a_withheld_day_shows_no_number_anywhere(street):
    edit(street / "shots" / DAY / "morning.csv", "1001,3123.824", "1001,3123.924")
    result, _ = run(street)
    written = street / "out" / DAY

    assert result.exit_code == 4
    with (written / "points.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert {row["mark"] for row in rows} == {""}
    assert {row["cut_m"] for row in rows} == {""}


def test_all_codes_in_small_letters_say_so_and_not_only_that_there_is_no_ground(street):
    path = street / "shots" / DAY / "morning.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    small = [rows[0]]
    for line in rows[1:]:
        cells = line.split(",")
        cells[4] = cells[4].lower()
        small.append(",".join(cells))
    path.write_text("\n".join(small) + "\n", encoding="utf-8")
    result, _ = run(street)

    assert result.exit_code == 3
    assert "unknown code" in result.stderr


def test_ground_shot_beside_a_kept_surface_stops_the_day(tmp_path):
    folder = tmp_path / "road"
    shutil.copytree(FIXTURES / "open-road", folder)
    edit(folder / "job.toml", "[codes.HUB]", '[codes.GR]\nwhat = "ground"\n\n[codes.HUB]')
    edit(
        folder / "shots" / "2020-10-26" / "hubs.csv",
        "H01,", "G1,6782650.7,21530282.9,17.0,GR,x\nH01,",
    )  # fmt: skip
    result, kinds = run(folder)

    assert result.exit_code == 4
    assert "two grounds" in kinds


def test_a_link_that_leads_out_of_the_job_is_refused(street, tmp_path):
    outside = tmp_path / "elsewhere.csv"
    shutil.copy(street / "shots" / DAY / "morning.csv", outside)
    (street / "shots" / DAY / "morning.csv").unlink()
    (street / "shots" / DAY / "morning.csv").symlink_to(outside)
    result, _ = run(street)

    assert result.exit_code == 3
    assert "leads out of the job folder" in result.stderr


def test_a_place_on_a_held_day_says_hold(street):
    edit(street / "shots" / DAY / "morning.csv", "1001,3123.824", "1001,3123.924")
    result = CliRunner().invoke(main, ["at", str(street), "--station", "100", "--offset", "2"])

    assert result.exit_code == 4
    assert result.output.startswith("HOLD")


def test_the_day_before_is_among_the_inputs_and_repeats_are_said(street):
    before = street / "shots" / "2026-05-13"
    before.mkdir()
    shutil.copy(street / "shots" / DAY / "hubs.csv", before / "hubs.csv")
    result, _ = run(street)
    manifest = json.loads((street / "out" / DAY / "manifest.json").read_text(encoding="utf-8"))

    assert result.exit_code == 0
    assert "shots/2026-05-13/hubs.csv" in {item["file"] for item in manifest["inputs"]}


def test_an_empty_day_before_stops_nothing(street):
    (street / "shots" / "2026-05-13").mkdir()

    assert run(street)[0].exit_code == 0


def test_marks_that_today_has_overtaken_and_what_moved_are_told(street):
    """A day later the planar clay of the first stretch stands 50 mm lower."""
    later = street / "shots" / "2026-05-15"
    shutil.copytree(street / "shots" / DAY, later)
    rows = (later / "morning.csv").read_text(encoding="utf-8").splitlines()
    graded = [rows[0]]
    for line in rows[1:]:
        cells = line.split(",")
        ground = cells[4] not in {"CP", "MH", "WV", "CB"}
        # everything is shot again, so no shot stands where it stood to the millimetre
        by = -0.050 if ground and cells[6] == "S1" else 0.002
        cells[3] = f"{float(cells[3]) + by:.3f}"
        cells[8] = cells[8].replace(DAY, "2026-05-15")
        graded.append(",".join(cells))
    (later / "morning.csv").write_text("\n".join(graded) + "\n", encoding="utf-8")
    result = CliRunner().invoke(main, ["run", str(street)])
    page = (street / "out" / "2026-05-15" / "day.html").read_text(encoding="utf-8")

    assert result.exit_code in (0, 4), result.output
    assert DAY in page
    pdf = pypdf.PdfReader(street / "out" / "2026-05-15" / "crew.pdf")
    words = " ".join(sheet.extract_text() for sheet in pdf.pages)
    assert "now" in words.lower()


def control_with(street, change):
    """control.csv with each row's numbers changed; the header stands."""
    path = street / "control.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    changed = []
    for row in rows:
        name, *numbers, about = row.split(",", 4)
        changed.append(",".join([name, *change(*numbers), about]))
    path.write_text("\n".join([head, *changed]) + "\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda n, e, z: (e, n, z), "only with northing and easting exchanged"),
        (lambda n, e, z: [f"{float(x) / 0.3048:.4f}" for x in (n, e, z)], "only read as feet"),
        (lambda n, e, z: (n, e, f"{float(z) / 0.3048:.4f}"), "0.00 m if they are feet"),
    ],
)
def test_a_slip_of_the_control_file_is_named_and_is_no_bad_set_up(street, change, message):
    control_with(street, change)
    result, _ = run(street)
    assert result.exit_code == 3
    assert "control.csv: " in result.stderr
    assert message in result.stderr


def test_a_photo_beside_the_shots_is_named_and_the_morning_goes_on(street):
    folder = street / "shots" / DAY
    (folder / "IMG_0412.JPG").write_bytes(b"\xff\xd8\xff\xe0\0\x10JFIF")
    (folder / "plan sheet.pdf").write_bytes(b"%PDF-1.7\n")
    (folder / "from the office").write_bytes(b"PK\x03\x04\x14\0\0\0")
    result, _ = run(street)
    said = json.loads(result.stdout)["findings"]
    found = {one["file"]: one for one in said if one["kind"] == "not read"}
    assert {name: one["severity"] for name, one in found.items()} == {
        "IMG_0412.JPG": "note", "plan sheet.pdf": "person", "from the office": "person",
    }  # fmt: skip
    assert found["IMG_0412.JPG"]["text"] == "IMG_0412.JPG is a picture: not read"
    assert "an archive or a workbook" in found["from the office"]["text"]


def test_what_looks_like_data_and_cannot_be_read_stays_a_refusal(street):
    folder = street / "shots" / DAY
    (folder / "more.csv").write_bytes(b"PK\x03\x04\x14\0\0\0")
    result, _ = run(street)
    assert result.exit_code == 3
    assert "more.csv: an archive or a workbook" in result.stderr


def test_a_day_of_pictures_alone_is_refused(street):
    folder = street / "shots" / "2026-05-15"
    folder.mkdir()
    (folder / "a.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    result, _ = run(street)
    assert result.exit_code == 3
    assert "a.png: hold no shots" in result.stderr
