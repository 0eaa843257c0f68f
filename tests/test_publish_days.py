"""Two mornings of the demo street: the second one's base stands 30 mm too high, a blade worked."""

from __future__ import annotations

import csv
import json
import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline import publish, publish_days, publish_page
from pipeline.cli import main
from pipeline.compare import progress
from pipeline.deliver import history
from pipeline.errors import OutputError
from pipeline.model import Quantity
from pipeline.run import Stopwatch, run_day

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
FIRST, SECOND = "2026-05-14", "2026-05-15"
SHIFT_M, CUT_M = 0.030, 0.050
CLAY = "clay subgrade"


def two_mornings(street, shift_m):
    """The demo job with a second morning: clay cut in the east, all heights off by `shift_m`."""
    shutil.copytree(FIXTURES / "demo", street)
    shutil.copytree(street / "shots" / FIRST, street / "shots" / SECOND)
    for name, mark, columns, comma in (
        ("morning.csv", ",", ("easting", "elevation", "code"), "."),
        ("hubs.csv", ";", ("east", "height", "code"), ","),
    ):
        path = street / "shots" / SECOND / name
        text = path.read_bytes().decode("utf-8-sig")
        path.write_text(moved(text, mark, columns, comma, shift_m), encoding="utf-8")
    return street


@pytest.fixture(scope="module")
def mornings(tmp_path_factory):
    street = two_mornings(tmp_path_factory.mktemp("shifted") / "demo", SHIFT_M)
    return tuple(run_day(street, day, Stopwatch()) for day in (FIRST, SECOND))


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    return two_mornings(tmp_path_factory.mktemp("street") / "demo", 0.0)


@pytest.fixture(scope="module")
def ran(street, tmp_path_factory):
    """Both mornings run at the same moment by two processes, then the second once more."""
    out = tmp_path_factory.mktemp("packages")
    both = [start(street, day, out) for day in (FIRST, SECOND)]
    said = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0], said
    again = start(street, SECOND, out)
    words, errors = again.communicate(timeout=120)
    assert again.returncode == 0, errors
    return out, words


def start(street, day, out):
    command = [sys.executable, "-m", "pipeline.cli", "run", street, "--day", day, "--out", out]
    return subprocess.Popen(command, stdout=-1, stderr=-1, text=True, cwd=FIXTURES.parent)


def lath(*words):
    return CliRunner().invoke(main, [str(word) for word in words], prog_name="lath")


def days_kept(out):
    with closing(sqlite3.connect(out / history.HISTORY_FILE)) as plain:
        return plain.execute("SELECT day, held, package FROM day ORDER BY day").fetchall()


def moved(text, mark, columns, decimal, shift_m):
    """All heights up by `shift_m`; clay east of the street's middle 50 mm down besides.

    Without a shift the morning is one that somebody shot: under its own date, and no row as it
    was the day before to the millimetre, which would be yesterday's file again.
    """
    shake = random.Random(SECOND)
    lines = (text if shift_m else text.replace(FIRST, SECOND)).splitlines()
    start = next(k for k, line in enumerate(lines) if columns[0] in line.split(mark))
    header = lines[start].split(mark)
    east, height, code = (header.index(name) for name in columns)
    rows = []
    for row in csv.reader(lines[start + 1 :], delimiter=mark):
        try:
            z = float(row[height].replace(decimal, ".")) + shift_m
            z += 0.0 if shift_m else shake.choice([-0.002, -0.001, 0.001, 0.002])
            if float(row[east].replace(decimal, ".")) > 5480 and row[code] not in {
                "HUB", "MH", "WV", "CB", "CP",
            }:  # fmt: skip
                z -= CUT_M
            row[height] = f"{z:.3f}".replace(".", decimal)
        except ValueError:
            pass
        rows.append(mark.join(f'"{cell}"' if mark in cell else cell for cell in row))
    return "\n".join([*lines[: start + 1], *rows]) + "\n"


def test_the_base_is_told_from_the_blade(mornings):
    """A datum 30 mm up and a grader at work are told apart, on the demo's own files."""
    found = publish_days.change_object(*mornings)

    assert found["datum"]["sure"]
    assert found["datum"]["shift_m"] == pytest.approx(SHIFT_M, abs=0.001)
    assert found["datum"]["fixed_things"] > 80
    assert found["datum"]["moved_alone"] == []
    west = [row for row in found["stretches"] if row["to"] <= 220]
    east = [row for row in found["stretches"] if 300 <= row["from"] <= 380]
    assert len(west) == 11
    assert max(abs(row["mean_m"]) for row in west) < 0.001
    assert not any(row["sure"] for row in west)
    assert [row["mean_m"] for row in east] == pytest.approx([-CUT_M] * len(east), abs=0.002)
    assert all(row["sure"] for row in east)


def test_the_page_says_the_datum_before_it_says_what_moved(mornings):
    words, tables = publish_days.change_words(*mornings)
    page = publish_page.page_files(
        mornings[1], publish.plan_words(mornings[1]), changes=words, changes_tables=tables
    )["day.html"].decode("utf-8")

    assert words[0].startswith("DATUM: all fixed things stand 30 mm HIGHER on 2026-05-15")
    assert page.index("stand 30 mm HIGHER") < page.index("stretches surely moved")
    assert "down 0.050" in page
    assert ">noise<" in page
    (finding,) = publish_days.change_findings(*mornings)
    assert (finding.severity, finding.kind) == ("person", "datum shift")
    assert "30 mm higher than on 2026-05-14" in finding.text


def test_a_morning_against_itself_has_not_moved(mornings):
    found = publish_days.change_object(mornings[0], mornings[0])

    assert found["datum"]["shift_m"] == 0.0
    assert not any(row["sure"] for row in found["stretches"])
    assert sum(row["raised_m3"] + row["lowered_m3"] for row in found["stretches"]) == 0.0


def test_two_runs_that_meet_are_both_kept_and_a_day_run_again_replaces_its_row(ran, street):
    out, _ = ran

    assert [row[:2] for row in days_kept(out)] == [(FIRST, 0), (SECOND, 0)]
    manifests = [json.loads((out / day / "manifest.json").read_text()) for day in (FIRST, SECOND)]
    assert [row[2] for row in days_kept(out)] == [one["package"] for one in manifests]
    # a run writes beside its packages and nowhere else
    assert not (street / "out").exists()
    assert not list(street.rglob(history.HISTORY_FILE))


def test_the_closing_words_and_the_page_say_how_far_it_is(ran):
    out, words = ran
    layers = {
        day: json.loads((out / day / "quantities.json").read_text())["layers"]
        for day in (FIRST, SECOND)
    }
    left = {
        day: (row["cut_m3"] + row["fill_m3"]) / row["compared_area_m2"]
        for day in layers
        for row in [layers[day][CLAY]]
    }
    # the second morning's blade went 50 mm down where nearly all was at grade
    more = 100 * (left[SECOND] / left[FIRST] - 1)
    done = f"{CLAY}: {more:.0f} % more to do than on {FIRST}, {1000 * left[SECOND]:.0f} mm left"

    assert done in words
    assert words.count("Progress ") == 1
    page = (out / SECOND / "day.html").read_text(encoding="utf-8")
    assert done in page
    assert "Progress by day and layer" in page
    assert "Progress by day and layer" not in (out / FIRST / "day.html").read_text()


def test_the_first_day_run_again_gives_the_page_that_it_gave(ran, street):
    out, _ = ran
    before = (out / FIRST / "day.html").read_bytes()
    assert lath("run", street, "--day", FIRST, "--out", out).exit_code == 0

    assert (out / FIRST / "day.html").read_bytes() == before


def test_what_moved_is_among_the_findings_of_the_day(mornings):
    before, after = mornings
    found = publish.complete(after).findings

    (shift,) = [one for one in found if one.kind == "datum shift"]
    assert f"30 mm higher than on {FIRST}" in shift.text
    assert not [one for one in publish.complete(before).findings if one.kind == "datum shift"]


def test_a_history_that_cannot_be_used_is_said_and_the_package_is_made(street, tmp_path):
    (tmp_path / history.HISTORY_FILE).write_text("notes of the crew" * 100)
    result = lath("run", street, "--day", FIRST, "--out", tmp_path)

    assert result.exit_code == 0
    assert "file is not a database; what it held is unchanged" in result.stdout
    assert "Move it away" in result.stdout
    assert (tmp_path / FIRST / "stakes.csv").is_file()
    assert (tmp_path / history.HISTORY_FILE).read_text().startswith("notes of the crew")


def test_a_history_that_cannot_be_written_is_said_after_the_package(street, tmp_path, monkeypatch):
    def full(*_):
        raise OutputError("history", "disk full", "free the disk")

    monkeypatch.setattr(history, "record", full)
    result = lath("run", street, "--day", FIRST, "--out", tmp_path)

    assert result.exit_code == 0
    assert "the package is whole, but not in the history. history: disk full" in result.stderr
    assert (tmp_path / FIRST / "manifest.json").is_file()


def test_the_history_gives_the_progress(mornings):
    # a base 30 mm off is a stop, and a day that is stopped is kept as such
    kept = [publish_days.history_record(day, "0123456789") for day in mornings]
    assert [one.held for one in kept] == [False, True]
    kept[1] = replace(kept[1], held=False)
    rows = publish_days.trend(kept, kept[1])
    (table,) = publish_days.trend_tables(rows)

    assert [row[0] for row in table.rows[:4]] == [FIRST] * 4
    assert [row[-1] for row in table.rows[:4]] == ["0"] * 4
    assert publish_days.trend_tables(publish_days.trend(kept[:1], kept[0])) == ()
    # a day of the past knows nothing of what came after, a held one says nothing
    assert publish_days.trend(kept, kept[0]) == ()
    assert publish_days.trend(kept, replace(kept[1], held=True)) == ()


def test_progress_is_said_in_per_cent_of_the_first_day():
    """Cut and fill over the area compared: 0.1 m on the first day, 0.025 m today, so 75 %."""
    days = [("1", [Quantity("clay", 90.0, 10.0, 0, 0, 1000.0, 0, 0.08)])]
    days += [("2", [Quantity("clay", 7.5, 5.0, 0, 0, 500.0, 0, 0.005)])]
    (said,) = publish_days.progress_words(progress.trend(days))

    assert said == "clay: 75 % of the work of 1 done, 25 mm left on average"
    days.append(("3", [Quantity("clay", 0.0, 0.0, 0, 0, 0.0, 0, float("nan"))]))
    assert publish_days.progress_words(progress.trend(days)) == ("clay: nothing compared today",)


def test_a_long_trend_shows_its_last_days(mornings):
    kept = [
        replace(publish_days.history_record(mornings[0], "p"), day=f"2026-04-{k:02d}")
        for k in range(1, 31)
    ]
    (table,) = publish_days.trend_tables(publish_days.trend(kept, kept[-1]))

    assert table.name.endswith("the last 10 of 30 days")
    assert {row[0] for row in table.rows} == {f"2026-04-{k}" for k in range(21, 31)}
