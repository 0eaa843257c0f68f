"""A crew that works in feet: no number in metres on anything that it reads."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from pathlib import Path

import ezdxf
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from pipeline import publish
from pipeline.cli import main
from pipeline.crew.measures import YARD_M3, Measures, measures
from pipeline.crew.words import lint, paint
from pipeline.run import Stopwatch, run_day
from pipeline.settings import Rounding

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
FOOT = 0.3048  # exact by definition, NIST SP 811 (from memory)
METRIC = re.compile(r"(?<![\w/])(?:mm|cm|m|m2|m3)(?![\w/])|\bmet(?:re|er)s?\b")
TOLD = (
    "50 mm or 1.97 in", "Stations are the design's own, in metres", "50 mm (1.97 in)",
    "1-2 cm or 0.03-0.07 ft", "6-9 mm or 0.02-0.03 ft", "build the layer 25 mm",
)  # fmt: skip
"""What may name metres: the length that tells a shrunk print, the word about stations, sources."""
SETTINGS = "WHAT IT RESTS ON"
"""Head of the pages that quote the job file, name by name: another unit there would mislead."""


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    folder = tmp_path_factory.mktemp("feet") / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    job = folder / "job.toml"
    text = job.read_text(encoding="utf-8").replace("[rounding]", '[rounding]\nmarks_unit = "ft"')
    job.write_text(text + '[slope]\nhinge = "edge of clay"\n', encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def files(street):
    day = publish.complete(run_day(street, None, Stopwatch()))
    return publish.package_files(day)


def rows_of(files, name):
    return list(csv.DictReader(io.StringIO(files[name].decode("utf-8"), newline="")))


def metric_words(lines):
    """Lines that name a metric unit, less what may."""
    may = re.compile("|".join(re.escape(told) for told in TOLD))
    return [line for line in lines if METRIC.search(may.sub("", line))]


def test_no_page_of_the_crew_has_a_metric_word(files):
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(files["crew.pdf"])).pages]
    assert len(pages) > 10
    mine = [page for page in pages if SETTINGS not in page]
    assert len(pages) - len(mine) == 2
    assert any("Values as the job file takes them, in its units." in page for page in pages)
    assert metric_words(line for page in mine for line in page.splitlines()) == []
    titles = ("take", "crest", "cover", "high or", "sd")
    assert all(any(title in page for page in pages) for title in titles)


def test_the_metric_day_is_full_of_what_the_scan_looks_for(tmp_path):
    shutil.copytree(FIXTURES / "demo", tmp_path / "street")
    day = publish.complete(run_day(tmp_path / "street", None, Stopwatch()))
    pdf = publish.package_files(day)["crew.pdf"]
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]
    assert len(metric_words(line for page in pages for line in page.splitlines())) > 50


def test_no_text_of_the_map_has_a_metric_word_but_the_grid(files, tmp_path):
    path = tmp_path / "map.dxf"
    path.write_bytes(files["cutfill.dxf"])
    drawing = ezdxf.readfile(path)
    texts = [one.dxf.text for space in drawing.layouts for one in space.query("TEXT")]
    assert set(metric_words(texts)) == {"grid metres; marks feet"}
    assert {"C  0.07 to 0.16 ft", "within 0.07 ft", "feet"} <= set(texts)
    numbers = [text for text in texts if re.fullmatch(r"[CF] [0-9.]+", text)]
    assert len(numbers) > 100
    assert all(re.fullmatch(r"[CF] \d+\.\d+", text) for text in numbers)


def test_the_page_for_the_phone_reckons_and_speaks_in_feet(files):
    page = files["day.html"].decode("utf-8")
    data = json.loads(re.search(r'<script id="data"[^>]*>(.*?)</script>', page, re.DOTALL)[1])
    assert data["rounding"]["unit"] == "ft"
    buried = re.search(r'<section id="buried".*?</section>', page, re.DOTALL)[0]
    spans = re.findall(r"<span>(.*?)</span>", buried)
    # elevations of list and shot stay those of the grid
    marks = [text for text in spans if "but list" not in text]
    assert len(marks) > 10
    assert metric_words(marks) == []
    assert "cut yd3" in page
    assert ">5 ft</option>" in page


def test_lists_carry_the_crews_marks_beside_metric_columns(files):
    """Feet are metres over 0.3048: each mark within half its step of the metric column."""
    for row in rows_of(files, "dots.csv") + rows_of(files, "points.csv"):
        mark, cut = row.get("paint") or row.get("mark"), row["cut_m"]
        if not cut or mark in ("NOT SHOT", ""):
            continue
        if mark == "GRADE":
            assert abs(float(cut)) <= 0.0105
            continue
        value = (1 if mark[0] == "C" else -1) * float(mark.split()[1])
        half = 0.05 if mark[-2] == "." else 0.005
        assert abs(value - float(cut) / FOOT) <= half + 0.002, row
    notes = [row["note"] for row in rows_of(files, "edge.csv") if row["what"] == "edge"]
    assert notes
    assert all(note.endswith(" ft") for note in notes)
    buried = rows_of(files, "buried.csv")
    assert "ties_ft" in buried[0]
    assert metric_words(row["do"] for row in buried) == []
    stakes = [row["lath"] for row in rows_of(files, "stakes.csv") if row["reference"]]
    assert set(stakes) == {"4.9 TBC"}  # 1.50 m


def test_closing_words_and_a_place_are_in_feet(street):
    said = CliRunner().invoke(main, ["check", str(street)]).output
    layers = said.splitlines()
    row = next(k for k, line in enumerate(layers) if line.startswith("Layer"))
    titles = re.split(r"  +", layers[row])
    assert titles == ["Layer", "mean ft", "cut yd3", "fill yd3", "compared ft2", "not surveyed ft2"]
    hits = [line for line in layers if "HIT: rotor" in line]
    assert hits
    assert metric_words(hits) == []
    place = CliRunner().invoke(main, ["at", str(street), "--station", "50", "--offset", "2"])
    mark = re.search(r"clay subgrade .* ([CF]) (\d+\.\d\d) ft$", place.output, re.MULTILINE)
    told = ["at", str(street), "--station", "50", "--offset", "2", "--json"]
    cut = json.loads(CliRunner().invoke(main, told).stdout)["cut"]["clay subgrade"]
    assert float(mark[2]) * FOOT == pytest.approx(abs(cut), abs=0.005 * FOOT + 0.0005)


@pytest.mark.parametrize("millimetres", range(-40, 41))
def test_a_dot_is_painted_within_the_tolerance_and_nowhere_else(millimetres):
    rounding = Rounding(marks_unit="ft")
    mark = paint(millimetres / 1000.0, rounding)
    assert (mark == "GRADE") == (abs(millimetres) <= 10)
    assert lint(mark, "dirt", "ft") == ()


def test_units_of_the_crew():
    feet = measures(Rounding(marks_unit="ft"))
    assert feet == Measures("ft")
    assert pytest.approx(0.764554857984, abs=1e-15) == YARD_M3  # 0.9144 m cubed
    assert (feet.small(0.3048), feet.fine(0.03048), feet.long(3.048), feet.long(0.3048, 0.01)) == (
        "1.00", "0.10", "10.0", "1.00",
    )  # fmt: skip
    assert (feet.volume(0.764554857984), feet.area(0.09290304)) == ("1.0", "1")
    # towards the danger: up for what is in the way, down for what is left
    assert (feet.outward(0.1, "up"), feet.outward(0.1, "down")) == ("0.33", "0.32")
    assert (Measures().outward(0.121, "up"), Measures().outward(-0.001, "down")) == ("13", "-1")
