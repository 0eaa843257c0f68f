"""Pictures of the demo's day: the right curves, gaps left open, the same bytes again."""

from __future__ import annotations

import shutil
import struct
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline import publish, publish_pictures
from pipeline.crew.page import charts
from pipeline.deliver.pictures import profile_picture, section_pictures
from pipeline.demo import truth
from pipeline.model import Finding
from pipeline.model.charts import Chart, Curve
from pipeline.run import Stopwatch, run_day

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    folder = tmp_path_factory.mktemp("street") / "demo"
    shutil.copytree(FIXTURES / "demo", folder)
    return run_day(folder, None, Stopwatch())


@pytest.fixture(scope="module")
def pictures(day):
    return publish_pictures.pictures(day, publish.plan_words(day))


def svg_texts(content):
    return ["".join(one.itertext()) for one in ET.fromstring(content).iter(f"{SVG}text")]


def test_every_picture_is_there_twice_and_is_what_its_name_says(pictures):
    names = {name.rpartition(".")[0] for name in pictures}
    assert names == {"plan", "profile", "sections-1", "sections-2"}
    for name in names:
        png = pictures[f"{name}.png"]
        assert png[:8] == b"\x89PNG\r\n\x1a\n"  # PNG specification (W3C), 5.2
        width, height = struct.unpack(">II", png[16:24])
        assert 600 < height < width < 6000
        ET.fromstring(pictures[f"{name}.svg"])
        assert b"NaN" not in pictures[f"{name}.svg"]


def test_the_plan_says_what_the_drawing_says(day, pictures):
    texts = svg_texts(pictures["plan.svg"])
    assert "NOT SURVEYED" in texts
    assert publish.package_id(day.morning.inputs) in texts
    assert any(text.startswith("C ") for text in texts)
    # 1:500: a metre of street is 2 mm of paper, 420 m of it some 400 m across
    (box,) = (
        float(v.removesuffix("pt")) for v in [ET.fromstring(pictures["plan.svg"]).get("width")]
    )
    assert 700 < box / 72 * 25.4 < 1000


def test_profile_and_sections_are_the_truth_of_the_demo(day):
    morning = day.morning
    chart = charts.profile_chart(
        morning.corridor, truth.CLAY, day.ground,
        (morning.shots, morning.feet, morning.rows("in the surface")),
    )  # fmt: skip
    clay = next(curve for curve in chart.curves if curve.label == truth.CLAY)
    true = [float(truth.elevation(s, 0.0, truth.CLAY)) for s in clay.x[1:-1]]
    assert clay.look == "today"
    assert np.abs(clay.z[1:-1] - true).max() < 1e-6
    sections = charts.section_charts(
        morning.corridor, truth.CLAY, day.ground, morning.inputs.job.stakes
    )
    assert [one.title for one in sections][:3] == ["0+000.0", "0+010.0", "0+020.0"]
    for one in sections[1:7]:
        station = float(one.title.split("+")[1])
        cut = float(truth.difference(station, 0.0))
        assert one.note.split()[0] == ("C" if cut > 0 else "F")
        assert float(one.note.split()[1]) == pytest.approx(abs(cut), abs=0.003)


def paths_of(content, points):
    """The numbers of pen-downs in every line of a chart that has more than `points` corners."""
    found = []
    for one in ET.fromstring(content).iter(f"{SVG}path"):
        drawn = one.get("d", "")
        if drawn.count("L") >= points:
            found.append(drawn.count("M"))
    return found


def test_ground_that_nobody_shot_is_a_gap_in_the_curve():
    x = np.arange(0.0, 50.0)
    whole = Curve("clay", "today", x, 10.0 + 0.01 * x)
    broken = Curve("ground as shot", "ground", x, np.where((x > 20) & (x < 30), np.nan, 10.2))
    content = profile_picture(Chart("a", "station", (whole, broken)))["profile.svg"]

    assert sorted(paths_of(content, 30)) == [1, 2]


def test_a_section_without_anything_says_so():
    x = np.array([-1.0, 0.0, 1.0])
    nothing = Chart("0+100.0", "offset", (Curve("clay", "today", x, np.full(3, np.nan)),))
    content = section_pictures([nothing])["sections-1.svg"]

    assert "NOT SURVEYED" in svg_texts(content)


def test_the_same_charts_have_the_same_bytes_and_a_dollar_is_a_dollar():
    x = np.array([0.0, 1.0])
    chart = Chart("lane $x^2$", "station", (Curve("clay", "today", x, x),))
    first, second = profile_picture(chart), profile_picture(chart)

    assert first == second
    assert "lane $x^2$" in svg_texts(first["profile.svg"])


def test_a_day_that_is_withheld_has_no_pictures(day):
    stop = Finding("stop", "control check", "K1 is 30 mm off", "set up again")
    assert publish_pictures.pictures(replace(day, findings=(stop,)), publish.plan_words(day)) == {}
