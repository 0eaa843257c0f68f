"""One file, whole or not at all: what stood there stands there after every fault."""

from __future__ import annotations

import os

import pytest

from pipeline.deliver.file import check_free, write_file
from pipeline.errors import OutputError


def names(folder):
    return sorted(entry.name for entry in folder.iterdir())


def test_the_pieces_are_written_in_order_and_counted(tmp_path):
    path = tmp_path / "a.csv"

    assert write_file(path, iter([b"one\n", b"", b"two\n"])) == 8
    assert path.read_bytes() == b"one\ntwo\n"
    assert names(tmp_path) == ["a.csv"]


def test_a_file_that_is_there_stays(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"mine")

    with pytest.raises(OutputError, match=r"a\.csv: it is there already.*--force"):
        write_file(path, [b"yours"])
    assert path.read_bytes() == b"mine"
    write_file(path, [b"yours"], force=True)
    assert path.read_bytes() == b"yours"
    assert names(tmp_path) == ["a.csv"]


def test_a_file_that_comes_while_ours_is_made_stays(tmp_path):
    path = tmp_path / "a.csv"

    def pieces():
        yield b"yours"
        path.write_bytes(b"mine")

    with pytest.raises(OutputError, match="it is there already"):
        write_file(path, pieces())
    assert path.read_bytes() == b"mine"
    assert names(tmp_path) == ["a.csv"]


@pytest.mark.parametrize("force", [False, True])
def test_a_fault_halfway_leaves_nothing_new(tmp_path, force):
    path = tmp_path / "a.csv"
    if force:
        path.write_bytes(b"mine")

    def pieces():
        yield b"half"
        raise OutputError("the rest", "was not there", "look for it")

    before = names(tmp_path)
    with pytest.raises(OutputError, match="the rest"):
        write_file(path, pieces(), force=force)
    assert names(tmp_path) == before
    assert not force or path.read_bytes() == b"mine"


def test_a_folder_and_a_missing_folder_are_refused(tmp_path):
    with pytest.raises(OutputError, match="it is a folder"):
        check_free(tmp_path, force=True)
    with pytest.raises(OutputError, match=r"No such file or directory.*[Mm]ake the folder first"):
        write_file(tmp_path / "not" / "there.csv", [b"x"])
    assert names(tmp_path) == []


def test_what_another_program_of_our_number_is_writing_stays(tmp_path):
    """On a shared disk two machines may give two programs one number."""
    theirs = tmp_path / f".a.csv.{os.getpid()}.new"
    theirs.write_bytes(b"half of theirs")

    with pytest.raises(OutputError, match=r"\.new: it is there already.*[Tt]ake it away"):
        write_file(tmp_path / "a.csv", [b"ours"])
    assert theirs.read_bytes() == b"half of theirs"
    assert names(tmp_path) == [theirs.name]
