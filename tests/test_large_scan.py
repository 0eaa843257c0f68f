"""A scan larger than memory gives the package of one that is not."""

from __future__ import annotations

import pytest

from benchmarks.jobs import scan_job
from pipeline import publish
from pipeline.ingest.las import spill
from pipeline.run import Stopwatch, run_day
from tests.forms import NO_NUMBA

BREAK_EVENS = tuple(
    f"pipeline.{place}.BREAK_EVEN"
    for place in (
        "compare.overlay", "compare.quantities", "surface.locate", "surface.contour",
        "surface.by_pieces",
    )
)  # fmt: skip


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return scan_job(tmp_path_factory.mktemp("scan"), 40_000, cell_m=0.3, objects=True)


def package(job):
    return publish.package_files(publish.complete(run_day(job, None, Stopwatch())))


@pytest.fixture(scope="module")
def whole(job):
    with pytest.MonkeyPatch.context() as patch:
        for place in BREAK_EVENS:
            patch.setattr(place, 1 << 62)
        return package(job)


@pytest.mark.parametrize("break_even", [0, 1 << 62])
def test_in_pieces_every_file_has_the_same_bytes(job, whole, monkeypatch, break_even):
    if break_even == 0:
        pytest.importorskip("numba", reason=NO_NUMBA)
    monkeypatch.setattr("pipeline.surface.by_pieces.BREAK_EVEN", break_even)
    monkeypatch.setattr(spill, "MOST_SHOTS", 1000)
    monkeypatch.setattr(spill, "SIDE_M", 9.0)

    pieces = package(job)

    assert sorted(pieces) == sorted(whole)
    assert [name for name in whole if pieces[name] != whole[name]] == []
    assert whole["stakes.csv"].count(b"\n") > 100


def test_by_compiled_loops_every_file_has_the_same_bytes(job, whole, monkeypatch):
    pytest.importorskip("numba", reason=NO_NUMBA)
    from pipeline.compare import overlay_kernel, parts_kernel
    from pipeline.surface import contour_kernel, locate_kernel

    for place in BREAK_EVENS:
        monkeypatch.setattr(place, 0)
    used = []
    for module, name in (
        (overlay_kernel, "fill"), (parts_kernel, "fill"), (locate_kernel, "lowest"),
        (contour_kernel, "drawn"),
    ):  # fmt: skip
        loop = getattr(module, name)

        def noted(*of, loop=loop, module=module):
            used.append(module.__name__)
            return loop(*of)

        monkeypatch.setattr(module, name, noted)

    compiled = package(job)

    assert len(set(used)) == 4
    assert sorted(compiled) == sorted(whole)
    assert [name for name in whole if compiled[name] != whole[name]] == []
