"""Two mornings of the demo street: the second one's base stands 30 mm too high, a blade worked."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest

from pipeline import publish, publish_days, publish_page
from pipeline.deliver import history
from pipeline.run import Stopwatch, run_day

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
FIRST, SECOND = "2026-05-14", "2026-05-15"
SHIFT_M, CUT_M = 0.030, 0.050


@pytest.fixture(scope="module")
def mornings(tmp_path_factory):
    street = tmp_path_factory.mktemp("street") / "demo"
    shutil.copytree(FIXTURES / "demo", street)
    shutil.copytree(street / "shots" / FIRST, street / "shots" / SECOND)
    for name, mark, columns, comma in (
        ("morning.csv", ",", ("easting", "elevation", "code"), "."),
        ("hubs.csv", ";", ("east", "height", "code"), ","),
    ):
        path = street / "shots" / SECOND / name
        text = path.read_bytes().decode("utf-8-sig")
        path.write_text(moved(text, mark, columns, comma), encoding="utf-8")
    return tuple(run_day(street, day, Stopwatch()) for day in (FIRST, SECOND))


def moved(text, mark, columns, decimal):
    """All heights 30 mm up; clay east of the street's middle 50 mm down besides."""
    lines = text.splitlines()
    start = next(k for k, line in enumerate(lines) if columns[0] in line.split(mark))
    header = lines[start].split(mark)
    east, height, code = (header.index(name) for name in columns)
    rows = []
    for row in csv.reader(lines[start + 1 :], delimiter=mark):
        try:
            z = float(row[height].replace(decimal, ".")) + SHIFT_M
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
    """Row 50 of the acceptance table, on the demo's own files."""
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


def test_the_history_gives_the_progress(mornings, tmp_path):
    path = tmp_path / history.HISTORY_FILE
    for day in mornings:
        history.record(path, publish_days.history_record(day, "0123456789"))
    (table,) = publish_days.trend_tables(history.records(path))

    assert [row[0] for row in table.rows[:4]] == [FIRST] * 4
    assert [row[-1] for row in table.rows[:4]] == ["0"] * 4
    assert publish_days.trend_tables(history.records(path)[:1]) == ()
