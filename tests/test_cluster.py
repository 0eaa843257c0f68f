"""Work on a cluster of two workers, one of which is killed in the middle: the same bytes."""

from __future__ import annotations

import os
import shutil
import signal
import warnings
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchmarks.jobs import scan_job
from pipeline import cluster, many, publish
from pipeline.cli import main
from pipeline.demo import lay_down
from pipeline.ingest.las import spill
from pipeline.run import Stopwatch, run_day

distributed = pytest.importorskip(
    "distributed", reason="needs pip install 'lath[cluster]', which the extra test brings along"
)
pytestmark = pytest.mark.filterwarnings("default")


@pytest.fixture(scope="module")
def two_workers(tmp_path_factory):
    os.environ["DASK_TEMPORARY_DIRECTORY"] = str(tmp_path_factory.mktemp("dask"))
    with warnings.catch_warnings():
        warnings.simplefilter("default")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as made:
            yield made


class KilledOnce:
    """A worker's work, but the first worker that gets to task `number` is killed there."""

    def __init__(self, function, marker: Path, number: int) -> None:
        self.function, self.marker, self.number = function, marker, number

    def __call__(self, numbered, whole):
        number, task = numbered
        if number == self.number and not self.marker.exists():
            self.marker.write_text(str(os.getpid()))
            os.kill(os.getpid(), signal.SIGKILL)
        return self.function(task, whole)


def package(job: Path) -> dict[str, bytes]:
    return publish.package_files(publish.complete(run_day(job, None, Stopwatch())))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no such signal")
def test_a_street_in_pieces_survives_a_killed_worker(two_workers, tmp_path, monkeypatch):
    job = scan_job(tmp_path / "job", 15_000, cell_m=0.5, objects=True)
    whole = package(job)
    monkeypatch.setattr(spill, "MOST_SHOTS", 1000)
    monkeypatch.setattr(spill, "SIDE_M", 40.0)
    marker, calls = tmp_path / "killed", []

    def killing(function, tasks, whole):
        calls.append(len(tasks))
        return cluster.work(KilledOnce(function, marker, 3), list(enumerate(tasks)), whole)

    monkeypatch.setattr("pipeline.ongrid.work", killing)
    with cluster.working_on(two_workers.scheduler_address):
        found = package(job)

    assert marker.exists()
    assert (
        calls[0] > 5
    )  # where the worker was killed; nothing stands here, so some asks have no task
    assert [name for name in whole if found[name] != whole[name]] == []


def test_many_jobs_at_once(two_workers, tmp_path):
    for name in ("a", "broken"):
        lay_down(tmp_path / "streets" / name)
    shutil.rmtree(tmp_path / "streets" / "broken" / "design")
    here = tmp_path / "here"

    alone = many.run_many(many.jobs_in(tmp_path / "streets"), None, here, fresh=True)
    told = CliRunner().invoke(
        main,
        ["run", str(tmp_path / "streets"), "--out", str(tmp_path / "there"), "--fresh",
         "--cluster", two_workers.scheduler_address],
    )  # fmt: skip

    assert told.exit_code == 3
    assert "1 done" in told.output or "1 held" in told.output
    assert "design/alignment.csv" in told.output
    assert [one.job for one in alone] == ["a", "broken"]
    for one in alone[:1]:
        mine, theirs = Path(one.folder), tmp_path / "there" / one.job / one.day
        names = sorted(path.name for path in mine.iterdir())
        assert names == sorted(path.name for path in theirs.iterdir())
        for name in names:
            if name != "manifest.json":  # it says when it was written
                assert (mine / name).read_bytes() == (theirs / name).read_bytes()


def test_no_cluster_there_is_a_refusal(tmp_path):
    lay_down(tmp_path / "street")

    told = CliRunner().invoke(main, ["run", str(tmp_path / "street"), "--cluster", "nonsense"])

    assert told.exit_code == 3
    assert "nonsense" in told.output
