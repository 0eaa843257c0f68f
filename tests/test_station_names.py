"""Station equations from file to mark: whatever prints a station prints the one that people read.

The demo's street gets a gap (0+018 back = 7+100 ahead) and an overlap (7+300 back = 7+220
ahead). What a station may then be follows from those two rows by hand: 0 to 18, or 7+100 to
7+422, with its region from 7+220 to 7+300. A station as it is counted on from the start,
18 to 420, is none of these, so any text that shows one is found.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from pipeline import earthworks, objects, pregrading, publish, publish_days, saying, setting_out
from pipeline.checks.constants import Constant, constant_findings
from pipeline.checks.facets import Facets, facet_findings, long_findings
from pipeline.checks.runs import Run
from pipeline.checks.runs import findings as run_findings
from pipeline.checks.spikes import Spikes, spike_findings
from pipeline.cli import main
from pipeline.crew.page import charts
from pipeline.crew.summary import words
from pipeline.design import feet as feet_of
from pipeline.design import profile
from pipeline.model import Feet, ProfileRow, ProfileRows, make_shots
from pipeline.run import Stopwatch, run_day
from pipeline.settings import CheckRules

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY, BEFORE = "2026-05-14", "2026-05-13"
STATION = re.compile(r"(?<![\d.+])(\d+)\+(\d{3}(?:\.\d+)?)(?!\d)(?P<behind>(?:\s\(\d\))?)")
IN_AN_ID = re.compile(
    r"(?:(?<=[A-Z])(\d{4}\.\d)[A-Z]*|(?<![\w.+])(\d{4}\.\d)[A-Z]+)(?P<behind>(?:-\d)?)\b"
)


def wrong(text):
    """Stations in a text that nobody on this street reads, with what stands about them."""
    hits = [(match, 1000 * int(match[1]) + float(match[2])) for match in STATION.finditer(text)] + [
        (match, float(match[1] or match[2])) for match in IN_AN_ID.finditer(text)
    ]
    return [
        text[max(0, match.start() - 50) : match.end() + 20]
        for match, value in hits
        if not _read(value, bool(match["behind"]))
    ]


def _read(value, with_region):
    """True for a station of the three regions, by hand; half a metre for rounded ones."""
    if 7220.5 < value < 7299.5:
        return with_region
    return -0.001 <= value <= 18.5 or 7099.9 <= value <= 7422.5


@pytest.mark.parametrize(
    "text",
    ["at 0+250.0, R", "0250.0L", "PC0085.0", "7+250.0 L", "7250.0L", "7+090.0", "7+423.0"],
)
def test_the_scan_finds_what_it_should(text):
    assert wrong(text)


def test_the_scan_passes_over_what_is_right():
    assert not wrong("0+010.0 to 7+150, 7+250.0 (2), 7+250 (3) L, 7250.0L-2, 0010.0L, PC7167.0")


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    """The demo with equations, faults for the checks to tell, and a morning before."""
    folder = tmp_path_factory.mktemp("street") / "demo"
    shutil.copytree(FIXTURES / "demo", folder)
    alignment = folder / "design" / "alignment.csv"
    rows = []
    for line in alignment.read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            continue
        rows.append(line + (",station_back,station_ahead" if line.startswith("kind") else ",,"))
    rows += ["equation,,,,,,,,,0+018,7+100", "equation,,,,,,,,,7+300,7+220"]
    alignment.write_text("\n".join(rows) + "\n", encoding="utf-8")
    job = folder / "job.toml"
    text = job.read_text(encoding="utf-8").replace("Thrumbel Lane, 0+000 to 0+420", "Thrumbel Lane")
    # limits nobody keeps, so that every check of the design has something to say
    job.write_text(
        text
        + "\n[design.limits]\ngrade_break_pct = 0.1\nspeed_mph = 70\ncrossfall_least_pct = 3.0\n"
        "gutter_least_pct = 1.5\nflat_pct = 2.6\n",
        encoding="utf-8",
    )
    (folder / "utilities.csv").write_text(
        "".join(
            line
            for line in (folder / "utilities.csv").read_text(encoding="utf-8").splitlines(True)
            if ",catch basin," not in line
        ),
        encoding="utf-8",
    )
    _shots(folder)
    return folder


def _shots(folder):
    """Today without a stretch of crown and one of everything; a morning before, 4 cm higher."""
    from pipeline.ingest.job.inputs import read_inputs
    from pipeline.run import build_corridor

    line = build_corridor(read_inputs(folder, DAY))[0].alignment
    today = folder / "shots" / DAY
    shutil.copytree(today, folder / "shots" / BEFORE)
    with (today / "morning.csv").open(encoding="utf-8", newline="") as stream:
        header, *rows = list(csv.reader(stream))
    kept, old = [], []
    for row in rows:
        old_row = list(row)
        if row[4].split()[0][:2] in ("CL", "GR", "EC", "TB", "BB") and "O" not in row[1]:
            old_row[3] = f"{float(row[3]) + 0.04:.3f}"
        old_row[8] = row[8].replace(DAY, BEFORE)
        old.append(old_row)
        try:
            at = feet_of.locate(line, np.array([float(row[2])]), np.array([float(row[1])]))
        except ValueError:
            kept.append(row)
            continue
        s, o = float(at.station[0]), float(at.offset[0])
        if abs(o) > 100:
            continue  # far off the street a station is only measured on past its end
        if (60 < s < 95 and row[4] == "CL") or (215 < s < 245 and o > -1 and row[4] != "HUB"):
            continue
        if 300 < s < 306 and row[4] == "GR":
            row[3] = f"{float(row[3]) + 0.30:.3f}"
        kept.append(row)
    for place, found in ((today, kept), (folder / "shots" / BEFORE, old)):
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator="\n").writerows([header, *found])
        (place / "morning.csv").write_text(text.getvalue(), encoding="utf-8")


@pytest.fixture(scope="module")
def day(street):
    return publish.complete(run_day(street, DAY, Stopwatch()))


@pytest.fixture(scope="module")
def files(day):
    return publish.package_files(day)


def _texts_of(name, data):
    """Every text of a file of the package that a person can come to read."""
    if name.endswith(".pdf"):
        return [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    if name.endswith(".dxf"):
        drawing = ezdxf.read(io.StringIO(data.decode("utf-8")))
        return [
            entity.plain_text() if hasattr(entity, "plain_text") else entity.dxf.text
            for space in (drawing.modelspace(), *drawing.layouts)
            for entity in space.query("TEXT MTEXT")
        ]
    text = data.decode("utf-8-sig")
    if name.endswith(".html"):
        # the program and an example in an empty field are not of this street
        text = re.sub(r'placeholder="[^"]*"', "", text)
        text = re.sub(r"<script>.*?</script>", "", text, flags=re.DOTALL)
    return [text]


def test_no_file_of_the_package_shows_a_station_that_nobody_reads(files):
    shown = {}
    for name, data in files.items():
        texts = _texts_of(name, data)
        assert [hit for text in texts for hit in wrong(text)] == [], name
        shown[name] = sum(len(STATION.findall(text)) for text in texts)
    # and they do show stations: a scan of nothing finds nothing
    silent = {name for name, count in shown.items() if not count}
    assert silent <= {"ground.xml", "instrument.csv", "instrument.geojson"}
    assert shown["crew.pdf"] > 300
    assert min(shown["cutfill.dxf"], shown["day.html"]) > 20


def test_every_station_column_is_filled_with_stations(files):
    seen = 0
    for name, data in files.items():
        if not name.endswith(".csv"):
            continue
        for row in csv.DictReader(io.StringIO(data.decode("utf-8-sig"))):
            for column, cell in row.items():
                if "station" in column and cell not in ("", "before", "after", "outside"):
                    assert STATION.fullmatch(cell), (name, column, cell)
                    seen += 1
    assert seen > 3000


def test_findings_of_every_kind_name_their_stations(day, files):
    findings = json.loads(files["findings.json"])["findings"]
    told = {one["kind"] for one in findings if STATION.search(one["text"])}
    assert told >= {
        "break not shot", "gap in the shots", "suspected bust", "vertical curve",
        "crossfall", "flat gutter", "flat spot",
        "low point without inlet", "in reach of blade or rotor",
    }  # fmt: skip
    for one in findings:
        # the number is counted on from the start; beside it stands what it is called
        assert (one["station"] is None) == (one["station_text"] is None)
        assert not wrong(one["station_text"] or "")


def test_what_commands_print_names_its_stations(day, street, tmp_path):
    work = earthworks.earthworks(day)
    height, haul = earthworks.pregrade_asked(day, pregrading.Asked(22.0, equal_costs=True))
    moved, tables = publish_days.change_words(day.before, day)
    layout = setting_out.set_out(street)
    said = [
        *words(saying.summary_of(day)),
        json.dumps(objects.run_object(day, None, {})),
        *earthworks.earthworks_words(work, day),
        json.dumps(objects.pregrade_object(day, height, haul)),
        *saying.pregrade_words(height, haul, held=day.held), *moved,
        *(cell for table in tables for row in table.rows for cell in row),
        json.dumps(publish_days.change_object(day.before, day)),
        *setting_out.layout_words(layout, tmp_path),
        json.dumps(setting_out.layout_object(layout, tmp_path)),
        *(cell for row in layout.table.rows for cell in row),
    ]  # fmt: skip
    assert [hit for text in said for hit in wrong(text)] == []
    assert sum(len(STATION.findall(text)) for text in said) > 300
    assert haul.table.rows
    assert tables[0].rows


@pytest.mark.parametrize(
    ("asked", "counted"),
    [("0+010", 10.0), ("7+150", 68.0), ("7+250 (2)", 168.0), ("7+250 (3)", 248.0)],
)
def test_at_takes_a_station_as_it_is_read_and_says_it_back(street, asked, counted):
    told = CliRunner().invoke(main, ["at", str(street), "--station", asked, "--elev", "102"])
    assert told.exit_code == 0
    station, _, region = asked.partition(" ")
    assert told.output.startswith(f"Station {station}.000 {region}".rstrip() + ",")
    again = CliRunner().invoke(
        main, ["at", str(street), "--station", asked, "--elev", "102", "--json"]
    )
    assert json.loads(again.output)["station"] == counted


@pytest.mark.parametrize(
    ("asked", "answers"),
    [
        ("7+250", ["7+250.000 (2), 168.000 m", "7+250.000 (3), 248.000 m"]),
        ("0+050", ["gap", "0+018.000 back = 7+100.000 ahead"]),
        ("7+450", ["not on the alignment", "7+220.000 to 7+422.000 (3)"]),
    ],
)
def test_at_refuses_a_station_that_means_no_one_place(street, asked, answers):
    told = CliRunner().invoke(main, ["at", str(street), "--station", asked, "--elev", "102"])
    assert told.exit_code == 3
    for answer in answers:
        assert answer in " ".join(told.output.split())


def test_pictures_name_their_stations(day):
    corridor, job = day.morning.corridor, day.morning.inputs.job
    used = day.morning.rows("in the surface")
    along = charts.profile_chart(
        corridor, job.target.layer, day.ground, (day.morning.shots, day.morning.feet, used)
    )
    assert [along.called(s) for s in (10.0, 68.0, 168.0)] == ["0+010.0", "7+150.0", "7+250.0 (2)"]
    sections = charts.section_charts(corridor, job.target.layer, day.ground, job.stakes)
    assert not wrong(" ".join(f"{one.title}, " for one in sections))
    assert len(sections) > 20


def called(station):
    return f"<{station:.0f}>"


def test_checks_say_what_a_station_is_called():
    """Those that the street above may not bring about."""
    shots = make_shots(np.arange(3.0), np.zeros(3), np.zeros(3))
    feet = Feet(np.array([30.0, 40.0, 50.0]), np.zeros(3), np.ones(3), np.zeros(3))
    rules = CheckRules()
    constant = Constant(
        "S1", ("curb", "lip"), (0, 1, 2), 0.15, 0.002, 0.01, ("top back of curb for lip",)
    )
    (told,) = constant_findings(shots, feet, (constant,), rules, called)
    assert "<30> to <50>" in told.text
    run = Run((0, 1, 2), 0.15, 0.004)
    (told,) = run_findings(shots, feet, (run,), {}, set_aside=True, called=called)
    assert "<30> to <50>" in told.text
    spikes = Spikes(
        np.full(3, 0.2), np.zeros(3, bool), np.zeros(3, np.int64), np.array([True]), np.zeros(3)
    )
    (told,) = spike_findings(shots, feet, spikes, {}, rules, called)
    assert "<30> to <50>" in told.text
    net = Facets(feet.station, np.array([0.0, 1.0, 0.0]), np.array([[0, 1, 2]]))
    (told,) = long_findings(net, np.array([True]), 15.0, rules, called)
    assert "<30> to <50>" in told.text
    (told,) = facet_findings(net, np.array([True]), np.array([1.0]), (), rules, called)
    assert "<40>, most at <40>" in told.text


def test_the_profile_names_its_points_as_people_read_them():
    rows = ProfileRows(
        "p",
        (
            ProfileRow(0.0, 10.0), ProfileRow(40.0, 11.0, 30.0, 30.0),
            ProfileRow(80.0, 10.0, 30.0, 30.0), ProfileRow(120.0, 11.0),
        ),
    )  # fmt: skip
    _, (told,) = profile.build(rows, called)
    assert "PVI at station <40> reaches to station <70>" in told.text
    assert "PVI at station <80> at <50>" in told.text
