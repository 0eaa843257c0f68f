"""Every file of the fuzzing corpus through its reader: read, or refused by name, never a crash."""

from __future__ import annotations

import os
import random

import pytest

from tests.fuzz.readers import CORPUS, READERS, Bench, seeds

WITHOUT_FORK = ("laz", "laz-chunk") if not hasattr(os, "fork") else ()
"""Readers whose decoder runs in a copy of the process, where the system makes none."""
FILES = [(reader, path) for reader in READERS for path in seeds(reader)]


def can_fork(reader):
    if reader in WITHOUT_FORK:
        pytest.skip("the decoder runs in a copy of the process")


@pytest.mark.parametrize(("reader", "path"), FILES, ids=lambda one: getattr(one, "name", one))
def test_a_file_of_the_corpus_is_read_or_refused(reader, path):
    can_fork(reader)
    bench = Bench(reader)
    try:
        assert bench.try_bytes(path.read_bytes()) in {"read", "refused"}
    finally:
        bench.close()


@pytest.mark.parametrize("reader", READERS)
def test_files_cut_and_damaged_at_random_are_read_or_refused(reader):
    """The simplest of mutations, the same every time, for readers without a fuzzer at hand."""
    can_fork(reader)
    chance = random.Random(reader)
    bench = Bench(reader)
    given = [path.read_bytes() for path in seeds(reader)] or [b""]
    try:
        for _ in range(25):
            data = bytearray(chance.choice(given)[: 1 << 16])
            for _ in range(chance.randrange(1, 6)):
                if data:
                    data[chance.randrange(len(data))] = chance.randrange(256)
            cut = chance.randrange(len(data) + 1)
            for one in (bytes(data), bytes(data[:cut])):
                assert bench.try_bytes(one) in {"read", "refused"}
    finally:
        bench.close()


def test_a_crash_is_no_refusal(monkeypatch):
    """The bench itself: whatever is not a refusal comes out of it."""

    def crashes(path):
        raise ZeroDivisionError(path.name)

    monkeypatch.setitem(READERS, "numbers", ("words.txt", crashes))
    bench = Bench("numbers")
    with pytest.raises(ZeroDivisionError):
        bench.try_bytes(b"1")
    bench.close()


def test_the_corpus_stays_small():
    sizes = [path.stat().st_size for path in CORPUS.rglob("*") if path.is_file()]

    assert sum(sizes) < 200_000
    assert len(sizes) < 150
