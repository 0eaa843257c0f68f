"""When compiled loops are used, and that what is kept of them is not believed once it is torn."""

from __future__ import annotations

import importlib.util
import json
import threading

import numpy as np
import pytest

from pipeline import compiled
from pipeline.kept import machine
from tests.forms import NO_NUMBA

numba_wanted = pytest.mark.skipif(importlib.util.find_spec("numba") is None, reason=NO_NUMBA)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A user's folder that is new to this process."""
    monkeypatch.setenv("LATH_CACHE", str(tmp_path))
    machine.machine_folder.cache_clear()
    compiled.numba_is_there.cache_clear()
    monkeypatch.setattr(compiled, "_loaded", threading.Event())
    yield tmp_path
    machine.machine_folder.cache_clear()
    compiled.numba_is_there.cache_clear()


def doubled(values):
    total = 0.0
    for k in range(len(values)):
        total += 2.0 * values[k]
    return total


def run():
    """As a process would have it that has loaded nothing yet."""
    machine.machine_folder.cache_clear()
    return compiled.kernel(doubled)(compiled.given(np.arange(5.0)))


def kept(folder):
    return [path for path in folder.rglob("*.nbc") if path.is_file()]


@numba_wanted
def test_worth_it_from_the_break_even_on(folder, monkeypatch):
    assert compiled.worth(10, 10)
    assert not compiled.worth(9, 10)
    assert run() == 20.0
    assert compiled.worth(1, 20)
    assert not compiled.worth(1, 21)
    monkeypatch.setenv("LATH_COMPILED", "off")
    compiled.numba_is_there.cache_clear()
    assert not compiled.worth(10, 10)


@numba_wanted
def test_nothing_is_compiled_where_nothing_may_be_kept(folder, monkeypatch):
    monkeypatch.setenv("LATH_CACHE", "off")
    assert not compiled.worth(10, 10)
    assert run() == 20.0


def test_without_numba_a_kernel_is_plain_python(folder, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert not compiled.worth(10, 10)
    assert compiled.kernel(doubled) is doubled
    assert compiled.inlined(doubled) is doubled
    assert run() == 20.0


@numba_wanted
def test_what_is_kept_is_sealed_and_found_again(folder):
    assert run() == 20.0
    (path,) = kept(folder)
    sums = json.loads(next(folder.rglob(machine.SUMS)).read_text("utf-8"))
    before = path.stat().st_mtime_ns

    assert any(name.endswith(path.name) for name in sums)
    assert run() == 20.0
    assert path.stat().st_mtime_ns == before


@numba_wanted
@pytest.mark.parametrize("hurt", ["changed", "cut", "empty", "unsealed"])
def test_what_is_not_as_it_was_is_compiled_anew(folder, hurt):
    assert run() == 20.0
    (path,) = kept(folder)
    whole = path.read_bytes()
    half = len(whole) // 2
    if hurt == "unsealed":
        next(folder.rglob(machine.SUMS)).unlink()
    elif hurt == "changed":
        path.write_bytes(whole[:half] + bytes([whole[half] ^ 1]) + whole[half + 1 :])
    else:
        path.write_bytes(whole[: half if hurt == "cut" else 0])
    stale = path.stat().st_mtime_ns

    assert run() == 20.0
    (path,) = kept(folder)
    assert path.stat().st_mtime_ns != stale
    assert len(path.read_bytes()) > half
