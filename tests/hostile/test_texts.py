"""Texts of a job that would be something else in another program: a formula, a script, a tag.

A street whose every text is hostile is run by the real command; then each file of the
package is read by a library of its own kind, and the texts have to be texts.
"""

from __future__ import annotations

import csv
import html.parser
import json
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import ezdxf
import pypdf
import pytest

ROOT = Path(__file__).resolve().parents[2]
DAY = "2026-05-14"
SCRIPT = "</script><script>alert(1)</script><img src=x onerror=alert(2)>"
FORMULA = "=HYPERLINK(A1)"
RECORD = "%%u \\\\P{\\\\H9;x}"
EVIL = '\\"><b>&amp;]]> '


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    street = tmp_path_factory.mktemp("hostile") / "street"
    shutil.copytree(ROOT / "fixtures" / "demo", street)
    job = (street / "job.toml").read_text(encoding="utf-8")
    job = job.replace("Thrumbel Lane, 0+000 to 0+420 (invented demo)", f"{SCRIPT} {RECORD}"[:80])
    job = job.replace("invented demo, not for construction", f"{FORMULA} {EVIL}")
    job = job.replace('"clay on the centreline"', f'"{SCRIPT[:60]}"')
    job = job.replace('"site bench marks, invented"', f'"{EVIL}"')
    (street / "job.toml").write_text(job, encoding="utf-8")
    path = street / "shots" / DAY / "morning.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    notes = ("=1+1", "+1-1", "-2+3", "@SUM(A1)", "\t=1", SCRIPT, "a\x0b\x0c\x1b[31mb", "0\u202e1")
    for k, note in enumerate(notes):
        cells = rows[20 + k].split(",")
        cells[5] = f'"{note}"'
        rows[20 + k] = ",".join(cells)
    cells = rows[40].split(",")
    rows[40] = ",".join([f"{FORMULA}", *cells[1:4], "<script>", *cells[5:]])
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    hubs = street / "shots" / DAY / "hubs.csv"
    text = hubs.read_text(encoding="utf-8-sig").replace("H05;", "=H05;").replace("H06;", "<i>H06;")
    hubs.write_text(text, encoding="utf-8")
    list_ = street / "utilities.csv"
    text = list_.read_text(encoding="utf-8").replace("MH1,manhole", '"<script>MH1",manhole')
    list_.write_text(text.replace("box lowered, key", "=cmd|x, key"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "run", str(street), "--json"], cwd=ROOT,
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode in {0, 4}, done.stderr[-600:]
    return Path(json.loads(done.stdout)["folder"])


def test_no_cell_begins_like_a_formula(package):
    """The characters are those of the OWASP page "CSV Injection" (from memory)."""
    for path in package.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as stream:
            for row in csv.reader(stream):
                for cell in row:
                    number = re.fullmatch(r"[-+]?\d+(\.\d+)?", cell)
                    assert number or cell[:1] not in {"=", "+", "-", "@", "\t", "\r"}, (path, cell)


class Tags(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.scripts, self.bad = 0, []

    def handle_starttag(self, tag, attrs):
        self.scripts += tag == "script"
        names = {name for name, _ in attrs}
        if tag in {"img", "iframe", "object"} or any(name.startswith("on") for name in names):
            self.bad.append((tag, names))


def tags(path):
    found = Tags()
    found.feed(path.read_text(encoding="utf-8"))
    return found


def test_the_page_has_the_scripts_that_it_has_without(package, tmp_path):
    street = tmp_path / "street"
    shutil.copytree(ROOT / "fixtures" / "demo", street)
    subprocess.run([sys.executable, "-m", "pipeline.cli", "run", str(street)], cwd=ROOT,
                   capture_output=True, check=True)  # fmt: skip
    clean, found = tags(street / "out" / DAY / "day.html"), tags(package / "day.html")

    assert found.scripts == clean.scripts
    assert found.bad == clean.bad


def test_the_drawing_is_whole_and_its_texts_are_texts(package):
    document = ezdxf.readfile(package / "cutfill.dxf")

    assert not document.audit().errors
    for text in document.modelspace().query("TEXT"):
        assert not re.search(r"[\x00-\x1f]", text.dxf.text)


def test_xml_json_and_pdf_are_read_by_others(package):
    ET.parse(package / "ground.xml")
    for path in package.glob("*.json"):
        json.loads(path.read_text(encoding="utf-8"))
    assert len(pypdf.PdfReader(package / "crew.pdf").pages) > 3


def test_the_terminal_gets_no_control_characters(package):
    street = package.parent.parent
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "check", str(street)], cwd=ROOT, capture_output=True
    )

    assert not re.search(rb"[\x00-\x08\x0b-\x1f\x7f]", done.stdout + done.stderr)
