"""job.toml: what is stated is taken, what is wrong is named with its line."""

from __future__ import annotations

import re

import pytest

from pipeline.errors import InputError, JobError
from pipeline.ingest.job.control import read_control
from pipeline.ingest.job.job import job_path, read_job
from pipeline.ingest.job.morning import latest_day, morning_files, passed_over
from pipeline.settings import Job

# ruff: noqa: E501
GOOD = """\
name = "Invented street"

[[layers]]
name = "finish"

[[layers]]
name = "clay subgrade"

[surface]
max_edge_m = 12
"""


def write(folder, text):
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def test_what_is_stated_is_taken_and_the_rest_is_assumed(tmp_path):
    job = read_job(write(tmp_path, GOOD))

    assert job.surface.max_edge_m == 12
    assert "surface.max_edge_m" in job.given
    assert "surface.crossing_tolerance_m" not in job.given
    assert job.folder == tmp_path.resolve()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("max_edge_m = 12", "max_edge_m = -1", r"line 10, surface.max_edge_m = -1: .*greater than or equal to 0.1"),
        ("max_edge_m = 12", "max_edge_m = nan", r"line 10, surface.max_edge_m = nan: .*finite"),
        ("max_edge_m = 12", 'max_edge_m = "12"', r"surface.max_edge_m = '12': .*valid number"),
        ("max_edge_m", "max_egde_m", r"line 10, surface.max_egde_m: no such setting \(did you mean 'max_edge_m'\?\)"),
        ("max_edge_m = 12", "max_edge_m = 0,5", r"line 10.*point: 0.5, not 0,5"),
        ('"clay subgrade"', '"finish"', r"layer 'finish' is named twice"),
        ('"clay subgrade"', '"gravel top"', r"target.layer: found 'clay subgrade', but the layers are"),
        ('name = "Invented street"', "", r"name: missing"),
        ("max_edge_m = 12", "max_edge_m = 12\n[grid]\nunit = 'ft'", r"line 12, grid.unit = 'ft'"),
        ("[surface]", "folder = 'x'\n[surface]", r"no such setting"),
    ],
)  # fmt: skip
def test_a_wrong_setting_is_named_with_its_line(tmp_path, old, new, message):
    write(tmp_path, GOOD.replace(old, new, 1))

    with pytest.raises(JobError, match=message):
        read_job(tmp_path)


@pytest.mark.parametrize(
    ("end", "hint"),
    [
        ("shots = 'C:\\day'\nmax_edge_m 12\n", "See the place named"),
        ("# = 0,5 is wrong\nmax_edge_m 12\n", "See the place named"),
        ('shots = "C:\\day"\n', "Write paths with /"),
        ('shots = "day\\"', "Write paths with /"),
        ("max_edge_m = 0,5\n# not '\\'\n", "Write decimals with a point"),
    ],
)
def test_only_the_line_at_fault_says_what_to_do_about_it(tmp_path, end, hint):
    """A backslash is right in quotes of one stroke, and a comma in a remark."""
    with pytest.raises(JobError, match=hint):
        read_job(write(tmp_path, GOOD + end))


@pytest.mark.parametrize(
    ("table", "setting", "value"),
    [
        ("rounding", "on_grade_m", 1.0),  # everything would be GRADE
        ("rounding", "dirt_m", 1.0),  # centimetres typed for metres
        ("rounding", "curb_m", 0.0),
        ("edge", "watch_m", 20.0),  # millimetres
        ("edge", "chords_m", [0.01]),
        ("machine", "inside_m", 30.0),
        ("bank", "most_m", 25.0),
        ("hazards", "mixing_depth_m", 30.0),
        ("hazards", "worst_k", 0.1),  # no worst case at all
        ("sights", "rod_m", 120.0),
        ("stakes", "interval_m", 0.001),  # a list without end
        ("volumes", "interval_m", 0.0001),
        ("design.limits", "crossfall_most_pct", 200.0),
        ("shots.sightings", "grid_scale", 3.28),  # a foot for a scale
        ("shots.positions", "local_origin_deg", [524813.0, 60.0]),
    ],
)
def test_nonsense_is_refused_by_its_name(tmp_path, table, setting, value):
    write(tmp_path, f"{GOOD}\n[{table}]\n{setting} = {value}\n")
    with pytest.raises(JobError, match=rf"line \d+, {table}\.{setting}.*should be (less|greater)"):
        read_job(tmp_path)


def test_limits_of_one_thing_have_to_rise(tmp_path):
    write(tmp_path, GOOD + "\n[edge]\nwatch_m = 0.06\n")
    with pytest.raises(JobError, match=r"edge.paint_m = 0.05: is less than edge.watch_m = 0.06"):
        read_job(tmp_path)


def test_every_number_of_the_job_has_a_least_and_a_most():
    """By the schema that the settings give of themselves: costs and stations are open."""
    from pydantic import TypeAdapter

    open_ended = re.compile(r"per_m3|near_station|throat|centre|start|end$|layers$|points$")
    schema = TypeAdapter(Job).json_schema()
    tables = [schema, *schema["$defs"].values()]
    unbounded, seen = [], 0
    for table in tables:
        for name, rule in table.get("properties", {}).items():
            parts = [rule, *rule.get("anyOf", []), rule.get("items", {})]
            for part in [part for part in parts if part.get("type") in ("number", "integer")]:
                seen += 1
                lower = {"minimum", "exclusiveMinimum"} & part.keys()
                upper = {"maximum", "exclusiveMaximum"} & part.keys()
                if not (lower and upper) and "enum" not in part and not open_ended.search(name):
                    unbounded.append(f"{table['title']}.{name}")
    assert unbounded == []
    assert seen > 120


def test_all_mistakes_are_listed_at_once(tmp_path):
    write(tmp_path, GOOD + "max_edge = 1\n[stakes]\ninterval_m = 0\n")

    with pytest.raises(JobError, match=r"max_edge: no such.*interval_m = 0.*Correct 2"):
        read_job(tmp_path)


def test_a_folder_without_a_job_is_refused(tmp_path):
    with pytest.raises(JobError, match="no such file"):
        read_job(tmp_path)


@pytest.mark.parametrize("path", ["../control.csv", "/etc/hosts", "a/../../b"])
def test_a_path_that_leaves_the_job_folder_is_refused(tmp_path, path):
    job = read_job(write(tmp_path, GOOD))

    with pytest.raises(JobError, match="out of the job folder"):
        job_path(job, path)


def test_a_job_may_say_that_its_files_lie_outside(tmp_path):
    job = read_job(write(tmp_path, "outside = true\n" + GOOD))

    assert job_path(job, "../control.csv") == tmp_path.resolve().parent / "control.csv"


@pytest.mark.parametrize(
    "day", ["yesterday", "2026-13-01", "2026-05-14/..", "../2026-05-14", "2026-5-14"]
)
def test_a_day_that_is_no_date_is_refused(tmp_path, day):
    job = read_job(write(tmp_path, GOOD))

    with pytest.raises(InputError, match="is no date"):
        morning_files(job, day)


def test_the_latest_day_is_the_last_date_and_other_folders_are_no_days(tmp_path):
    job = read_job(write(tmp_path, GOOD))
    for name in ("2026-05-13", "2026-05-14", "old", ".2026-05-15"):
        (tmp_path / "shots" / name).mkdir(parents=True)

    assert latest_day(job) == "2026-05-14"


def test_what_lies_in_the_days_folder_and_is_not_read_is_told(tmp_path):
    """A folder of photos is no matter; one with a table in it may be half of the morning."""
    job, day = read_job(write(tmp_path, GOOD)), tmp_path / "shots" / "2026-05-14"
    for name in ("photos/a.jpg", "card/b/more.csv", ".trash/old.csv", "morning.csv"):
        (day / name).parent.mkdir(parents=True, exist_ok=True)
        (day / name).write_bytes(b"1,2,3,4\n")
    (day / "gone.csv").symlink_to(day / "away.csv")
    told = passed_over(job, "2026-05-14")

    assert [(one.severity, one.text) for one in told] == [
        ("person", "card is a folder with 1 file: not read"),
        ("person", "gone.csv is no plain file: not read"),
        ("note", "photos is a folder with 1 file: not read"),
    ]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "K1,5000,8000,100,pin,-0.004",
            r"^control.csv line 2: sigma_h is negative \(line 2\)\. Correct it\.$",
        ),
        ("K1,5000,8000,100,pin,good", r"line 2: sigma_h is no number"),
        ("K1,5000,8000,1O0,pin,0.004", r'^control.csv line 2: column "elevation_m": found "1O0"'),
    ],
)
def test_control_with_a_cell_that_cannot_be_read_is_refused_once_by_its_line(
    tmp_path, row, message
):
    path = tmp_path / "control.csv"
    good = "K2,5010,8000,100,pin,0.004"
    path.write_text(f"id,northing_m,easting_m,elevation_m,description,sigma_h_m\n{row}\n{good}\n")

    with pytest.raises(InputError, match=message):
        read_control(path)
