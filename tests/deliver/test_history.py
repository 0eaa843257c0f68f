"""The history: one file, whole after every run, readable by anyone."""

from __future__ import annotations

import math
import multiprocessing
import sqlite3
import time

import pytest

from pipeline.deliver.history import APPLICATION_ID, DayRecord, record, records
from pipeline.errors import OutputError
from pipeline.model import Quantity

JOB = "the street"


def a_day(day, *, cut=1.5, package="p", held=False):
    clay = Quantity("clay", cut, 0.25, 10.0, 5.0, 15.0, 0.0, 0.1)
    bare = Quantity("finish", 0.0, 0.0, 0.0, 0.0, 0.0, 20.0, math.nan)
    return DayRecord(day, package, held, 700, (bare, clay))


def test_days_come_back_in_order_whatever_the_order_they_were_run_in(tmp_path):
    path = tmp_path / "history.sqlite"
    for day in ("2026-05-15", "2026-05-14"):
        record(path, JOB, a_day(day, held=day.endswith("5")))
    found = records(path, JOB)

    assert [one.day for one in found] == ["2026-05-14", "2026-05-15"]
    assert [one.held for one in found] == [False, True]
    assert [row.layer for row in found[0].quantities] == ["finish", "clay"]
    assert math.isnan(found[0].quantities[0].mean_cut_m)
    assert found[0].quantities[1] == a_day("x").quantities[1]


def test_a_day_run_again_replaces_itself(tmp_path):
    path = tmp_path / "history.sqlite"
    record(path, JOB, a_day("2026-05-14", cut=1.0))
    record(path, JOB, a_day("2026-05-14", cut=2.0, package="q"))
    (found,) = records(path, JOB)

    assert (found.package, found.quantities[1].cut_m3, len(found.quantities)) == ("q", 2.0, 2)


def test_no_file_is_no_history(tmp_path):
    assert records(tmp_path / "none.sqlite", JOB) == ()


def test_anybody_can_read_it_with_plain_sql(tmp_path):
    path = tmp_path / "history.sqlite"
    record(path, JOB, a_day("2026-05-14"))
    # nothing but the one file is left beside it
    assert [entry.name for entry in tmp_path.iterdir()] == ["history.sqlite"]
    plain = sqlite3.connect(path)
    rows = plain.execute("SELECT layer, cut_m3, mean_cut_m FROM quantity ORDER BY layer").fetchall()
    assert rows == [("clay", 1.5, 0.1), ("finish", 0.0, None)]
    assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT value in REAL column"):
        plain.execute("UPDATE quantity SET cut_m3 = 'many'")
    plain.close()


def write_many(path, name, count):
    for k in range(count):
        record(path, JOB, a_day(f"2026-{name}-{k:02d}"))


def test_runs_that_meet_wait_for_one_another(tmp_path):
    path = tmp_path / "history.sqlite"
    context = multiprocessing.get_context("spawn")
    runs = [context.Process(target=write_many, args=(path, name, 12)) for name in ("05", "06")]
    for run in runs:
        run.start()
    for run in runs:
        run.join(60)
    assert [run.exitcode for run in runs] == [0, 0]
    assert len(records(path, JOB)) == 24


def test_a_killed_run_leaves_whole_days(tmp_path):
    path = tmp_path / "history.sqlite"
    record(path, JOB, a_day("2026-01-01"))
    context = multiprocessing.get_context("spawn")
    run = context.Process(target=write_many, args=(path, "05", 5000))
    run.start()
    while len(records(path, JOB)) < 4:
        time.sleep(0.01)
    run.kill()
    run.join(60)
    found = records(path, JOB)

    assert len(found) >= 4
    assert all(len(one.quantities) == 2 for one in found)


def test_what_is_no_history_is_refused_and_left_alone(tmp_path):
    text = tmp_path / "text.sqlite"
    text.write_text("a page of notes, long enough not to be taken for an empty file" * 40)
    with pytest.raises(OutputError, match="file is not a database; what it held is unchanged"):
        record(text, JOB, a_day("2026-05-14"))
    other = tmp_path / "other.sqlite"
    foreign = sqlite3.connect(other)
    foreign.execute("CREATE TABLE mine (x)")
    foreign.commit()
    foreign.close()
    with pytest.raises(OutputError, match="it is a database of another program"):
        record(other, JOB, a_day("2026-05-14"))
    assert text.read_text().startswith("a page of notes")


def test_a_newer_history_and_a_link_are_refused(tmp_path):
    path = tmp_path / "history.sqlite"
    record(path, JOB, a_day("2026-05-14"))
    newer = sqlite3.connect(path)
    assert newer.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    for act in (lambda: record(path, JOB, a_day("x")), lambda: records(path, JOB)):
        with pytest.raises(OutputError, match="version 99, this program knows up to 1"):
            act()
    link = tmp_path / "link.sqlite"
    link.symlink_to(path)
    with pytest.raises(OutputError, match="it is not a plain file"):
        record(link, JOB, a_day("2026-05-14"))


def test_the_history_of_another_job_is_refused_by_name(tmp_path):
    path = tmp_path / "history.sqlite"
    record(path, JOB, a_day("2026-05-14"))
    for act in (lambda: record(path, "the lane", a_day("x")), lambda: records(path, "the lane")):
        with pytest.raises(OutputError, match="it belongs to 'the street', not to 'the lane'"):
            act()
    assert [one.day for one in records(path, JOB)] == ["2026-05-14"]


def test_a_file_that_may_only_be_read_is_read(tmp_path):
    path = tmp_path / "history.sqlite"
    record(path, JOB, a_day("2026-05-14"))
    # immutable is what a read-only disk is to SQLite; a log written ahead would need more files
    plain = sqlite3.connect(f"file:{path}?immutable=1", uri=True)
    assert plain.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert plain.execute("SELECT day FROM day").fetchall() == [("2026-05-14",)]
    plain.close()
