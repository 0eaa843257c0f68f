"""A run with kept results gives the package of a run without, and redoes only what changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import publish
from pipeline.demo import lay_down
from pipeline.kept.calls import keeping
from pipeline.run import Stopwatch, run_day

MADE = "pipeline.surface.tin.build"
DRAWN = "pipeline.deliver.dxf.dxf_bytes"
DESIGNED = "pipeline.assemble.design"


def package(job: Path) -> dict[str, bytes]:
    return publish.package_files(publish.complete(run_day(job, None, Stopwatch())))


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("job")
    lay_down(folder)
    return folder


@pytest.fixture(scope="module")
def kept(job, tmp_path_factory):
    """The folder of results after a first run, and the package that none of them made."""
    folder = tmp_path_factory.mktemp("kept")
    with keeping(folder, worth_s=0.0):
        package(job)
    return folder, package(job)


def test_the_same_job_again_works_nothing_out_and_gives_the_same_bytes(job, kept):
    with keeping(kept[0], worth_s=0.0) as keeper:
        second = package(job)

    assert keeper.worked == []
    assert {MADE, DRAWN, DESIGNED} <= set(keeper.found)
    assert second == kept[1]


def test_one_changed_file_redoes_what_depends_on_it(job, kept):
    hubs = job / "shots" / "2026-05-14" / "hubs.csv"
    before = hubs.read_text("utf-8")
    lines = before.splitlines()
    try:
        hubs.write_text("\n".join([*lines[:4], *lines[5:], ""]), "utf-8")  # a hub less
        with keeping(kept[0], worth_s=0.0) as keeper:
            changed = package(job)
        without = package(job)
    finally:
        hubs.write_text(before, "utf-8")

    assert changed == without
    assert changed["cutsheet.csv"] != kept[1]["cutsheet.csv"]
    assert {MADE, DESIGNED} <= set(keeper.found)
    assert DRAWN in keeper.worked


def test_a_changed_ground_shot_is_not_answered_from_before(job, kept):
    shots = job / "shots" / "2026-05-14" / "morning.csv"
    before = shots.read_text("utf-8")
    lines = before.splitlines()
    column = lines[0].split(",").index("elevation")
    at = next(k for k, line in enumerate(lines) if ",CL" in line)
    cells = lines[at].split(",")
    cells[column] = f"{float(cells[column]) + 0.004:.3f}"
    try:
        shots.write_text("\n".join([*lines[:at], ",".join(cells), *lines[at + 1 :], ""]), "utf-8")
        with keeping(kept[0], worth_s=0.0) as keeper:
            changed = package(job)
        without = package(job)
    finally:
        shots.write_text(before, "utf-8")

    assert changed == without
    assert MADE in keeper.worked
    assert DESIGNED in keeper.found
    assert changed["quantities.json"] != kept[1]["quantities.json"]
