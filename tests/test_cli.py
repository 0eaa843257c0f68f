"""The commands as a person types them: help, exit codes, one message, no traceback."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import click
import ezdxf
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


def lath(*words):
    return CliRunner().invoke(main, [str(word) for word in words], prog_name="lath")


def edit(path, old, new, count=-1):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, count), encoding="utf-8")


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_has_help_with_an_example(name):
    result = lath(name, "--help")

    assert result.exit_code == 0
    assert "Example:" in result.output
    assert f"lath {name} " in result.output
    assert "--json" in result.output


def test_help_imports_nothing_heavy():
    code = (
        "import sys; sys.argv = ['lath', '--help']\n"
        "from pipeline.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'ezdxf', 'laspy', 'pyproj', 'pydantic', 'shapely'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert "Exit codes" in done.stdout
    assert done.stderr.strip() == "[]"


def test_demo_lays_down_the_job_and_runs_it(tmp_path):
    result = lath("demo", tmp_path / "demo")

    assert result.exit_code == 0, result.output
    assert "To paint" in result.output
    assert "Caution" in result.output
    assert (tmp_path / "demo" / "out" / DAY / "cutfill.dxf").is_file()


def test_run_prints_what_the_package_holds_as_json(street):
    result = lath("run", street, "--json")
    said = json.loads(result.stdout)

    assert result.exit_code == 0
    assert set(said) >= {"day", "package", "folder", "shots", "layers", "findings", "seconds"}
    assert said["shots"]["read"] == said["shots"]["used"] + said["shots"]["refused"]
    kept = json.loads((Path(said["folder"]) / "quantities.json").read_text(encoding="utf-8"))
    manifest = json.loads((Path(said["folder"]) / "manifest.json").read_text(encoding="utf-8"))
    assert said["package"] == manifest["package"]
    for name, row in said["layers"].items():
        assert row["cut_m3"] == pytest.approx(kept["layers"][name]["cut_m3"], abs=6e-4)


def test_check_writes_nothing(street):
    result = lath("check", street)

    assert result.exit_code == 0
    assert "Nothing written." in result.output
    assert not (street / "out").exists()


def test_at_tells_the_design_at_a_place_both_ways(street):
    by_station = json.loads(
        lath("at", street, "--station", "0+120", "--offset", "-3.5", "--json").stdout
    )
    by_grid = json.loads(
        lath(
            "at",
            street,
            "--east",
            by_station["easting"],
            "--north",
            by_station["northing"],
            "--json",
        ).stdout
    )

    assert set(by_station) >= {
        "station", "offset", "easting", "northing", "ground", "layers", "cut",
    }  # fmt: skip
    assert by_grid["station"] == pytest.approx(120.0, abs=0.001)
    assert by_grid["offset"] == pytest.approx(-3.5, abs=0.001)
    for name, height in by_station["layers"].items():
        assert by_station["cut"][name] == pytest.approx(by_station["ground"] - height, abs=0.0011)


def test_heights_beside_marks_in_feet_name_their_unit(street):
    job = street / "job.toml"
    asked = "at", street, "--station", "0+120", "--offset", "-3.5"
    metric = lath(*asked).stdout.splitlines()[-1].split()
    job.write_text(
        job.read_text(encoding="utf-8").replace("[rounding]", '[rounding]\nmarks_unit = "ft"'),
        encoding="utf-8",
    )
    feet = lath(*asked).stdout.splitlines()[-1].split()

    # "clay subgrade", its height, C or F, how much
    assert feet[:4] == [*metric[:3], "m"]
    assert feet[4::2] == [metric[3], "ft"]
    assert float(feet[5]) == pytest.approx(float(metric[4]) / 0.3048, abs=0.0067)


def test_what_is_mistyped_is_refused_in_words_that_help(street):
    no_place = lath("at", street, "--station", "12O")
    one_day = lath("compare-days", street, "2026-05-14", "2026-05-14")
    no_package = lath("verify", street)
    control = street / "control.csv"
    text = control.read_text(encoding="utf-8")
    control.write_text(text.replace("elevation_m", "height"), encoding="utf-8")
    no_column = lath("check", street)

    told = no_place, one_day, no_package, no_column
    assert [x.exit_code for x in told] == [2, 2, 3, 3]
    assert "'12O' is no station such as 123.4 or 0+123.4" in no_place.output
    assert "give two days" in one_day.output
    assert "Name a folder with a manifest.json" in no_package.output
    assert "control.csv: elevation = 'elevation_m' is not in the header: id, " in no_column.output
    assert "Head its columns id,northing_m,easting_m,elevation_m,description." in no_column.output


def test_at_with_an_elevation_needs_no_ground(street):
    said = json.loads(
        lath("at", street, "--station", "10", "--offset", "2", "--elev", "103", "--json").stdout
    )

    assert said["ground"] == 103.0
    assert said["cut"]["finish"] == pytest.approx(103 - said["layers"]["finish"], abs=0.0011)


def test_at_outside_the_section_says_null_not_zero(street):
    said = json.loads(lath("at", street, "--station", "10", "--offset", "40", "--json").stdout)

    assert set(said["layers"].values()) == {None}
    assert set(said["cut"].values()) == {None}


@pytest.mark.parametrize(
    "words",
    [
        ("at", "{street}"),
        ("at", "{street}", "--station", "nan"),
        ("at", "{street}", "--station", "1_0"),
        ("at", "{street}", "--station", "10", "--east", "5"),
        ("run",),
        ("stake",),
    ],
)
def test_a_mistyped_command_ends_with_two(street, words):
    result = lath(*(word.format(street=street) for word in words))

    assert result.exit_code == 2
    assert result.exception is None or isinstance(
        result.exception, SystemExit | click.ClickException
    )


def missing_alignment(street):
    (street / "design" / "alignment.csv").unlink()


def swapped_columns(street):
    edit(street / "shots" / DAY / "morning.csv", "id,northing,easting", "id,easting,northing", 1)


def unknown_setting(street):
    edit(street / "job.toml", "max_edge_m", "max_egde_m")


def empty_day(street):
    for path in (street / "shots" / DAY).iterdir():
        path.unlink()


def other_job(street):
    # every easting 100 km off: another job's file
    path = street / "shots" / DAY / "morning.csv"
    head, *body = path.read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in body]
    far = [",".join([r[0], r[1], f"9{r[2]}", *r[3:]]) for r in rows]
    path.write_text("\n".join([head, *far]) + "\n", encoding="utf-8")


def bad_utility(street):
    edit(street / "utilities.csv", "manhole", "manhole,extra", 1)


def nameless_reference(street):
    edit(street / "job.toml", 'reference = "top back of curb"', 'reference = "curb"')


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (missing_alignment, "alignment.csv (design.alignment of the job file): no such file"),
        (swapped_columns, "only if the file has northing and easting exchanged"),
        (unknown_setting, "did you mean 'max_edge_m'"),
        (empty_day, "no file"),
        (other_job, "another origin: -90000 m in easting"),
        (bad_utility, "utilities.csv line"),
        (nameless_reference, "no section has a break of that name"),
    ],
)
def test_what_cannot_be_used_is_refused_and_the_old_package_stands(street, damage, message):
    assert lath("run", street).exit_code == 0
    package = street / "out" / DAY
    before = {path.name: path.read_bytes() for path in package.iterdir()}
    damage(street)
    result = lath("run", street)

    assert result.exit_code == 3, result.output
    assert message in result.stderr
    assert result.stderr.count("lath: ") == 1
    assert "Traceback" not in result.output
    assert {path.name: path.read_bytes() for path in package.iterdir()} == before


def test_a_shot_a_thousand_kilometres_away_is_a_finding_and_the_rest_is_used(street):
    path = street / "shots" / DAY / "morning.csv"
    edit(path, "1003,3117.295,", "1003,1003117.295,", 1)
    result = lath("run", street, "--json")
    said = json.loads(result.stdout)

    assert result.exit_code == 0
    (far,) = (f for f in said["findings"] if f["points"] == ["1003"])
    assert far["kind"] == "off the job"
    assert "999.9 km outside" in far["text"]


def test_the_map_can_be_written_near_zero_and_says_what_to_add(street):
    lath("run", street)
    plain = ezdxf.readfile(street / "out" / DAY / "cutfill.dxf")
    edit(street / "job.toml", "[sheet]", "[sheet]\nlocal_shift = true")
    lath("run", street)
    near = ezdxf.readfile(street / "out" / DAY / "cutfill.dxf")
    words = " ".join(text.dxf.text for text in near.modelspace().query("TEXT"))
    told = re.search(r"add to every coordinate: E (\d+) N (\d+)", words)
    assert told is not None
    stakes = [doc.modelspace().query('INSERT[layer=="mark-stake"]') for doc in (plain, near)]

    assert len(stakes[0]) > 100
    for was, now in zip(*stakes, strict=True):
        assert now.dxf.insert.x + float(told[1]) == pytest.approx(was.dxf.insert.x, abs=0.001)
        assert now.dxf.insert.y + float(told[2]) == pytest.approx(was.dxf.insert.y, abs=0.001)
        assert abs(now.dxf.insert.x) < 1000


def test_control_over_the_limit_stops_the_day_and_withholds_the_lists(street):
    path = street / "control.csv"
    text = path.read_text(encoding="utf-8").splitlines()
    row = next(k for k, line in enumerate(text) if line.startswith("K1,"))
    cells = text[row].split(",")
    cells[3] = f"{float(cells[3]) + 0.1:.3f}"
    text[row] = ",".join(cells)
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    result = lath("run", street)

    assert result.exit_code == 4
    assert "STOP" in result.output
    written = {entry.name for entry in (street / "out" / DAY).iterdir()}
    assert written == {"day.html", "findings.json", "manifest.json", "points.csv"}
    assert "HOLD" in (street / "out" / DAY / "points.csv").read_text(encoding="utf-8")


def hold(street):
    """The names of two control points exchanged in the list: a stop."""
    for old, new in (("K1", "K0"), ("K2", "K1"), ("K0", "K2")):
        edit(street / "control.csv", f"\n{old},", f"\n{new},")


def test_a_held_day_gives_no_height_to_leave_the_clay_at_without_saying_hold(street):
    hold(street)

    result = lath("pregrade", street)
    assert result.exit_code == 4
    assert result.stdout.startswith("HOLD: ")
    as_json = lath("pregrade", street, "--json")
    assert (as_json.exit_code, json.loads(as_json.stdout)["held"]) == (4, True)


@pytest.mark.skipif(sys.platform == "win32", reason="a closed pipe is told otherwise there")
@pytest.mark.parametrize(("held", "code"), [(True, 4), (False, 0)])
def test_a_reader_that_goes_away_changes_nothing_of_the_exit_code(street, held, code):
    if held:
        hold(street)
    command = [sys.executable, "-m", "pipeline.cli", "check", street]
    child = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=FIXTURES.parent
    )
    # as `| head` does once it has its lines
    child.stdout.close()
    said = child.stderr.read()
    child.stderr.close()

    assert child.wait(60) == code
    assert "Traceback" not in said


def test_a_job_may_write_held_lists_marked(street):
    edit(street / "job.toml", "[target]", "[target]\nwithhold = false")
    path = street / "shots" / DAY / "morning.csv"
    edit(path, "1001,3123.824", "1001,3123.924", 1)
    result = lath("run", street)

    assert result.exit_code == 4
    stakes = (street / "out" / DAY / "stakes.csv").read_text(encoding="utf-8").splitlines()
    assert all(line.endswith("HOLD") for line in stakes[1:])
    package = street / "out" / DAY
    assert json.loads((package / "quantities.json").read_text(encoding="utf-8"))["held"] is True
    names = re.findall(r'name="([^"]*)"', (package / "ground.xml").read_text(encoding="utf-8"))
    assert sum(name.startswith("HOLD ") for name in names) == 3
    points = (package / "instrument.csv").read_text(encoding="utf-8").splitlines()
    assert all("HOLD" in line for line in points[1:])


def test_held_points_say_hold_in_whatever_columns_the_instrument_takes(street):
    edit(street / "job.toml", "[target]", "[target]\nwithhold = false")
    with (street / "job.toml").open("a", encoding="utf-8") as stream:
        stream.write('[instrument]\ncolumns = ["id", "easting", "northing"]\nid_limit = 16\n')
    edit(street / "shots" / DAY / "morning.csv", "1001,3123.824", "1001,3123.924", 1)
    assert lath("run", street).exit_code == 4
    points = (street / "out" / DAY / "instrument.csv").read_text(encoding="utf-8").splitlines()
    ids = [line.split(",")[0] for line in points[1:]]
    assert all(name.startswith("HOLD ") and len(name) <= 16 for name in ids)
    assert len(set(ids)) == len(ids)


def with_equation(street):
    """0+120 back = 0+080 ahead: 0+080 to 0+120 is there twice."""
    table = street / "design" / "alignment.csv"
    rows = table.read_text(encoding="utf-8").splitlines()
    head = next(k for k, row in enumerate(rows) if row.startswith("kind"))
    longer = [
        row if row.startswith("#") else row + (",station_back,station_ahead" if k == head else ",,")
        for k, row in enumerate(rows)
    ]
    blanks = "," * (rows[head].count(",") + 1)
    text = "\n".join([*longer, f"equation{blanks}0+120,0+080"])
    table.write_text(text + "\n", encoding="utf-8")


def test_at_takes_a_station_of_either_region_and_refuses_one_of_both(street):
    with_equation(street)

    refused = lath("at", street, "--station", "0+100", "--elev", "102")
    plain = lath("at", street, "--station", "0+100 (1)", "--elev", "102", "--json")
    ahead = lath("at", street, "--station", "0+100 (2)", "--elev", "102", "--json")

    assert refused.exit_code == 3
    assert "0+100.000 (1), 100.000 m from the start or 0+100.000 (2), 140.000 m" in refused.output
    assert json.loads(plain.stdout)["station"] == 100.0
    assert json.loads(ahead.stdout)["station"] == 140.0
    assert json.loads(ahead.stdout)["station_text"] == "0+100.000 (2)"


def test_lists_name_stations_after_the_equations(street):
    with_equation(street)
    result = lath("run", street)

    assert result.exit_code == 0, result.output
    package = street / "out" / DAY
    for name in ("stakes.csv", "cutsheet.csv", "dots.csv", "points.csv"):
        text = (package / name).read_text(encoding="utf-8")
        assert re.search(r",0\+(0[89]|1[01])\d\.\d+ \(1\),", text), name
        assert re.search(r",0\+(0[89]|1[01])\d\.\d+ \(2\),", text), name
        # the street is 420 m long and its last station 0+380
        assert not re.search(r",0\+(39|4\d)\d\.\d", text), name
    words = "\n".join(
        entity.dxf.text
        for entity in ezdxf.readfile(package / "cutfill.dxf").modelspace().query("TEXT")
    )
    assert "0+100 (1)" in words
    assert "0+100 (2)" in words


def test_layout_writes_its_list_without_shots_and_tells_the_formula(street):
    shutil.rmtree(street / "shots")

    result = lath("layout", street, "--json")
    said = lath("layout", street)
    told = " ".join(lath("layout", "--help").output.split())

    assert result.exit_code == 0, result.output
    report = json.loads(result.output)
    text = (street / "out" / "layout" / "layout.csv").read_text(encoding="utf-8")
    assert len(text.splitlines()) == 1 + len(report["points"])
    assert report["counts"]["hubs"] > 80
    # truth of the demo's crest: crown high point at 116.667
    assert any(p["what"] == "HP crown" and p["station"] == 116.667 for p in report["points"])
    assert "no locate" in said.output
    assert "s = sqrt(8 R m)" in told
    assert "0.020" in told


def test_a_second_layout_is_the_same_to_the_byte(street):
    lath("layout", street)
    first = (street / "out" / "layout" / "layout.csv").read_bytes()
    lath("layout", street)

    assert (street / "out" / "layout" / "layout.csv").read_bytes() == first


def test_a_design_answers_before_anybody_has_shot(tmp_path):
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder, ignore=shutil.ignore_patterns("shots"))
    asked = ["at", str(folder), "--station", "100", "--elev", "103.0"]

    assert CliRunner().invoke(main, asked).exit_code == 0
    assert CliRunner().invoke(main, asked[:-2]).exit_code == 3


def test_tab_offers_the_commands():
    """Click's own completion, as `docs/how-to/install.md` sets it up."""
    asked = {"_LATH_COMPLETE": "bash_complete", "COMP_WORDS": "lath ru", "COMP_CWORD": "1"}

    assert CliRunner().invoke(main, prog_name="lath", env=asked).output == "plain,run\n"
