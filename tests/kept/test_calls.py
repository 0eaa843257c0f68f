"""A kept result is the result, or it is not believed."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.kept import calls
from pipeline.kept.calls import keep, keeping
from pipeline.kept.digest import NotDigestedError, digest
from pipeline.kept.encoding import NotKeptError, Shared, decoded, encoded
from pipeline.kept.store import MAGIC, Store
from pipeline.model import Finding, Shots, make_shots
from pipeline.model.arrays import texts

WORKED: list[float] = []


def work(shots: Shots, factor: float) -> tuple[Shots, np.ndarray, tuple[Finding, ...]]:
    """Something with nouns, arrays, texts and a part of its own arguments in it."""
    WORKED.append(factor)
    return shots, shots.elevation * factor, (Finding("note", "k", "über", "", station=np.nan),)


@pytest.fixture
def shots():
    return make_shots([1.0, 2.0], [3.0, 4.0], [5.0, -0.0], code=np.array(["GR", ""], dtype=object))


@pytest.fixture(autouse=True)
def _nothing_worked():
    WORKED.clear()


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def again(folder, shots, factor=2.0, **how):
    with keeping(folder, worth_s=0.0, **how):
        return keep(work, shots, factor)


def test_a_second_call_is_not_worked_and_gives_the_same(tmp_path, shots):
    first, second = again(tmp_path, shots), again(tmp_path, shots)

    assert WORKED == [2.0]
    assert second[0] is shots
    assert second[1].tobytes() == first[1].tobytes()
    assert repr(second[2]) == repr(first[2])


def test_equal_content_is_the_same_argument_and_other_content_is_not(tmp_path, shots):
    again(tmp_path, shots)
    again(tmp_path, shots.take([0, 1]))
    again(tmp_path, shots.take([1, 0]))
    again(tmp_path, shots, 2.5)

    assert WORKED == [2.0, 2.0, 2.5]


def test_fresh_reads_nothing_kept(tmp_path, shots):
    again(tmp_path, shots)
    again(tmp_path, shots, fresh=True)

    assert WORKED == [2.0, 2.0]


def test_another_program_finds_nothing(tmp_path, shots, monkeypatch):
    again(tmp_path, shots)
    monkeypatch.setattr(calls, "program", lambda: "another")
    again(tmp_path, shots)

    assert WORKED == [2.0, 2.0]


@pytest.mark.parametrize("damage", ["cut", "flipped", "longer", "empty", "another's"])
def test_what_is_not_whole_is_worked_anew(tmp_path, shots, damage):
    whole = again(tmp_path, shots)
    (path,) = files(tmp_path)
    data = path.read_bytes()
    if damage == "another's":
        again(tmp_path, shots, 3.0)
        (other,) = set(files(tmp_path)) - {path}
        data = other.read_bytes()
        WORKED.clear()
    bad = {"cut": data[:-1], "longer": data + b"x", "empty": b"", "another's": data}
    path.write_bytes(bad.get(damage) or data[:-3] + bytes([data[-3] ^ 1]) + data[-2:])
    if damage == "empty":
        path.write_bytes(b"")

    told = again(tmp_path, shots)

    assert WORKED[-1] == 2.0
    assert told[1].tobytes() == whole[1].tobytes()


def test_a_file_may_name_nothing_but_a_noun_of_this_package(tmp_path, shots):
    """A sum over a forged file is right; what it asks to be made is still refused."""
    again(tmp_path, shots)
    (path,) = files(tmp_path)
    key = path.parent.name + path.name
    marker = tmp_path / "ran"
    for noun, parts in (
        (["os", "system"], {"command": f"touch {marker}"}),
        (["pipeline.cli", "main"], {}),
        (["pipeline.kept.store", "Path"], {}),
        (["pipeline.model.shots", "make_shots"], {}),
    ):
        head = json.dumps([{"noun": noun, "parts": parts}, []]).encode()
        result = len(head).to_bytes(8, "little") + head
        total = hashlib.sha256(key.encode() + result).digest()
        path.write_bytes(MAGIC + total + result)
        WORKED.clear()

        told = again(tmp_path, shots)

        assert WORKED == [2.0]
        assert len(told) == 3
    assert not marker.exists()


def test_a_disk_that_refuses_is_no_fault(tmp_path, shots):
    (tmp_path / "file").write_text("in the way")

    assert len(again(tmp_path / "file" / "below", shots)) == 3


def test_nothing_is_kept_outside(shots):
    keep(work, shots, 2.0)
    keep(work, shots, 2.0)

    assert WORKED == [2.0, 2.0]


def test_the_longest_unused_go_first(tmp_path):
    store = Store(tmp_path)
    for number in range(4):
        store.write(f"{number:064d}", [b"x" * 400, b"x" * 600])
        os.utime(store.path(f"{number:064d}"), (number, number))
    assert store.read(f"{0:064d}") == b"x" * 1000  # used: now the latest

    store.bound(most=2500)

    assert [store.read(f"{n:064d}") is not None for n in range(4)] == [True, False, False, True]


def test_what_a_killed_run_left_half_written_goes_after_a_day(tmp_path):
    store = Store(tmp_path)
    store.write("0" * 64, [b"x"])
    for name, age_s in ((".part-today", 60), (".part-old", 90_000)):
        (tmp_path / name).write_bytes(b"half")
        then = (tmp_path / name).stat().st_mtime - age_s
        os.utime(tmp_path / name, (then, then))
    store.bound()

    assert {path.name for path in files(tmp_path)} == {".part-today", "0" * 62}


@dataclass(frozen=True)
class Strange:
    what: object


def test_what_has_no_digest_or_no_form_is_worked_each_time(tmp_path):
    with pytest.raises(NotDigestedError):
        digest(Strange(object()))
    with pytest.raises(NotKeptError):
        encoded(object(), Shared(()))
    with keeping(tmp_path, worth_s=0.0):
        assert keep(Strange, len).what is len  # a function without a module of its own
    assert not files(tmp_path)


def test_functions_of_modules_have_a_digest_and_others_have_none():
    assert digest(partial(work, 1)) != digest(partial(work, 2))
    assert digest(work) != digest(again)
    assert digest(partial(work, factor=1)) == digest(partial(work, factor=1))
    for made in (lambda: 1, partial(lambda x: x, 1)):
        with pytest.raises(NotDigestedError):
            digest(made)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (1, True), (1, 1.0), (1, "1"), (0.0, -0.0), (None, "None"), (("ab", "c"), ("a", "bc")),
        ((1, 2), [1, 2]), (np.zeros(2), np.zeros((2, 1))), (np.zeros(2), np.zeros(2, np.float32)),
        (texts(["ab", "c"]), texts(["a", "bc"])), (texts(["\ud800"]), texts(["?"])),
        ({"a": 1}, {"a": 2}), (b"a", "a"), (Path("a"), "a"), (((), 1), ((1,),)),
    ],
)  # fmt: skip
def test_digests_tell_apart(one, other):
    assert digest(one) != digest(other)
    assert digest(one) == digest(one)


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.binary()
    | st.lists(st.floats(), max_size=3).map(np.array)
    | st.lists(st.integers(-9, 9), max_size=3).map(lambda v: np.array(v, dtype=np.int32))
    | st.floats().map(np.float64),
    lambda inner: st.lists(inner, max_size=3) | st.lists(inner, max_size=3).map(tuple)
    | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=12,
)  # fmt: skip


@given(values)
def test_a_value_comes_back_as_it_was(value):
    back = decoded(b"".join(encoded(value, Shared(()))), Shared(()))

    assert digest(back) == digest(value)
    assert type(back) is type(value)
