"""The watch: what makes it run, what it waits for; and as a process of its own, to its end."""

from __future__ import annotations

import json
import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from pipeline.errors import JobError
from pipeline.ingest.laid import Stamp
from pipeline.watching import PATIENT_LOOKS, STILL_LOOKS, Watch, days_to_run, watch

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY = "2026-05-14"
OLD, NEW = Stamp(1, 1, 1), Stamp(2, 2, 1)
A, B, JOB = f"shots/{DAY}/a.csv", "shots/2026-05-15/b.csv", "job.toml"


@pytest.mark.parametrize(
    ("done", "seen", "day", "wanted"),
    [
        ({}, {JOB: OLD}, None, ()),
        ({}, {JOB: OLD, A: OLD, B: OLD}, None, ("2026-05-15",)),
        ({}, {JOB: OLD, A: OLD, B: OLD}, DAY, (DAY,)),
        ({JOB: OLD, A: OLD, B: OLD}, {JOB: OLD, A: OLD, B: OLD}, None, ()),
        ({JOB: OLD, A: OLD, B: OLD}, {JOB: OLD, A: NEW, B: OLD}, None, (DAY,)),
        ({JOB: OLD, A: OLD, B: OLD}, {JOB: NEW, A: OLD, B: OLD}, None, ("2026-05-15",)),
        ({JOB: OLD, A: OLD, B: OLD}, {JOB: NEW, A: OLD, B: OLD}, DAY, (DAY,)),
        ({JOB: OLD, A: OLD}, {JOB: OLD, A: NEW, B: OLD}, None, (DAY, "2026-05-15")),
        ({JOB: OLD, A: OLD, B: OLD}, {JOB: OLD, A: OLD}, None, ()),
        ({JOB: OLD, A: OLD, B: OLD}, {JOB: OLD, A: OLD, B: NEW}, DAY, ()),
        ({JOB: OLD, A: OLD}, {}, None, ()),
    ],
)
def test_which_days_a_change_concerns(done, seen, day, wanted):
    assert days_to_run(done, seen, day) == wanted


def a_job(folder):
    (folder / "shots" / DAY).mkdir(parents=True)
    (folder / JOB).write_text("name = 'x'\n")
    return folder / "shots" / DAY / "a.csv"


def looks(watched, count):
    return [watched.look() for _ in range(count)]


def test_a_growing_file_is_waited_for_and_then_run_once(tmp_path):
    path = a_job(tmp_path)
    said = []
    watched = Watch(tmp_path, tmp_path / "out", None, said.append)
    for k in range(5):
        with path.open("a") as stream:
            stream.write(f"{k},1,2,3\n")
        assert watched.look() == ()
    assert looks(watched, STILL_LOOKS + 4) == [()] * (STILL_LOOKS - 1) + [(DAY,)] + [()] * 4
    assert said == []


def test_a_copy_that_stands_still_in_the_middle_is_waited_for(tmp_path):
    path = a_job(tmp_path)
    said = []
    watched = Watch(tmp_path, tmp_path / "out", None, said.append)
    path.with_suffix(".xml").write_text("<LandXML><Surf")
    assert set(looks(watched, 3 * PATIENT_LOOKS)) == {()}
    assert said == [f"Waiting for shots/{DAY}/a.xml: the closing tag of LandXML is missing"]
    path.with_suffix(".xml").write_text("<LandXML><Surface/></LandXML>")
    assert (DAY,) in looks(watched, 4)


def test_a_table_without_a_last_line_end_is_taken_after_a_while(tmp_path):
    path = a_job(tmp_path)
    said = []
    watched = Watch(tmp_path, tmp_path / "out", None, said.append)
    path.write_text("1,2,3,4")

    assert looks(watched, PATIENT_LOOKS + 1) == [()] * PATIENT_LOOKS + [(DAY,)]
    assert said == [f"Waiting for shots/{DAY}/a.csv: its last row has no line end"]


def test_a_folder_that_goes_away_and_comes_back_is_no_news(tmp_path):
    path = a_job(tmp_path / "street")
    path.write_text("1,2,3,4\n")
    watched = Watch(tmp_path / "street", tmp_path / "street" / "out", None, print)
    assert (DAY,) in looks(watched, 4)
    (tmp_path / "street").rename(tmp_path / "unplugged")
    assert set(looks(watched, 4)) == {()}
    (tmp_path / "unplugged").rename(tmp_path / "street")
    assert set(looks(watched, 4)) == {()}


def test_there_has_to_be_a_job_to_begin_with(tmp_path):
    with pytest.raises(JobError, match="no such file"):
        watch(Watch(tmp_path, tmp_path / "out", None, print), 0.01, print, looks=1)


class Process:
    """``lath watch`` as a child, its words as they come."""

    def __init__(self, street):
        # a shell's background job ignores Ctrl-C, and so would this child of it
        start = (
            "import signal; signal.signal(signal.SIGINT, signal.default_int_handler);"
            " from pipeline.cli import main; main(prog_name='lath')"
        )
        command = [sys.executable, "-u", "-c", start, "watch", street, "--every", "0.2"]
        self.child = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            cwd=FIXTURES.parent,
        )  # fmt: skip
        self.lines = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()
        self.said = []

    def _read(self):
        for line in self.child.stdout:
            self.lines.put(line.rstrip())

    def until(self, text, seconds=60):
        """Lines up to the one that holds `text`."""
        end = time.monotonic() + seconds
        got = []
        while time.monotonic() < end:
            try:
                got.append(self.lines.get(timeout=0.2))
            except queue.Empty:
                continue
            self.said.append(got[-1])
            if text in got[-1]:
                return got
        raise AssertionError("\n".join(self.said))


@pytest.fixture
def street(tmp_path):
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    return folder


def used_shots(street, day=DAY):
    with (street / "out" / day / "points.csv").open(encoding="utf-8") as rows:
        return sum(",in the surface," in row for row in rows)


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C of a child is told otherwise there")
def test_a_watch_from_its_start_to_ctrl_c(street):
    morning = street / "shots" / DAY / "morning.csv"
    content = morning.read_bytes()
    morning.unlink()
    process = Process(street)
    try:
        # hubs alone give no ground: a refusal, and the watch goes on
        process.until("no shot is left for it")
        process.until("watching on")
        assert not (street / "out" / DAY).exists()
        # a copy in two halves, cut in the middle of a row
        half = content.rindex(b"\n", 0, len(content) // 2) + 9
        morning.write_bytes(content[:half])
        process.until("Waiting for shots/2026-05-14/morning.csv: its last row has no line end")
        with morning.open("ab") as stream:
            stream.write(content[half:])
        process.until("Package ")
        process.until("watching on")
        first = used_shots(street)
        # a shorter file under another name, renamed into place
        fewer = content[: content.rindex(b"\n", 0, len(content) * 3 // 4) + 1]
        beside = street / "shots" / DAY / ".morning.csv.Xy12"
        beside.write_bytes(fewer)
        beside.rename(morning)
        process.until("Package ")
        process.until("watching on")
        assert 0 < used_shots(street) < first
        os.kill(process.child.pid, signal.SIGINT)
        process.until("watch ended")
        assert process.child.wait(30) == 0
    finally:
        process.child.kill()
        process.child.wait(30)
        process.child.stdout.close()
    assert not [line for line in process.said if "Traceback" in line]
    assert json.loads((street / "out" / DAY / "manifest.json").read_text())["day"] == DAY
    assert sorted(entry.name for entry in (street / "out").iterdir()) == [DAY, "history.sqlite"]
