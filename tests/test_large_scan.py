"""A scan larger than memory gives the package of one that is not."""

from __future__ import annotations

import pytest

from benchmarks.jobs import scan_job
from pipeline import publish
from pipeline.ingest.las import spill
from pipeline.run import Stopwatch, run_day


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return scan_job(tmp_path_factory.mktemp("scan"), 40_000, cell_m=0.3, objects=True)


def package(job):
    return publish.package_files(publish.complete(run_day(job, None, Stopwatch())))


def test_in_pieces_every_file_has_the_same_bytes(job, monkeypatch):
    whole = package(job)
    monkeypatch.setattr(spill, "MOST_SHOTS", 1000)
    monkeypatch.setattr(spill, "SIDE_M", 9.0)

    pieces = package(job)

    assert sorted(pieces) == sorted(whole)
    assert [name for name in whole if pieces[name] != whole[name]] == []
    assert whole["stakes.csv"].count(b"\n") > 100
