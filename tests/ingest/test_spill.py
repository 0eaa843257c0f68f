"""A scan laid down in pieces loses, adds and moves nothing."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.jobs import write_las
from pipeline.errors import InputError
from pipeline.ingest.las import spill as spilling
from pipeline.ingest.las.read import las_chunks, las_findings, read_las
from pipeline.ingest.las.spill import LargeScan, is_large, spill, spilled
from pipeline.settings import FileFormat


@pytest.fixture
def scan(tmp_path):
    rng = np.random.default_rng(2)
    n = 30_000
    path = tmp_path / "scan.las"
    write_las(path, rng.uniform(5000, 5300, n), rng.uniform(100, 190, n), rng.normal(50, 1, n))
    return path


def test_every_point_lies_in_one_piece_in_the_order_of_the_scan(scan, tmp_path):
    chunks = list(las_chunks(scan, FileFormat()))
    record = np.concatenate([chunk.record for chunk in chunks])
    east = np.concatenate([chunk.easting for chunk in chunks])

    laid = spill(scan, FileFormat(), tmp_path)

    parts = [piece.points() for piece in laid.pieces]
    found = np.concatenate([part[3] for part in parts])
    assert np.sort(found).tolist() == record.tolist()
    assert all((np.diff(part[3]) > 0).all() for part in parts)
    assert (
        np.concatenate([part[0] for part in parts])[np.argsort(found)].tobytes() == east.tobytes()
    )
    assert laid.least[0] == east.min()
    for piece, (x, y, _, _) in zip(laid.pieces, parts, strict=True):
        assert piece.west <= x.min() <= x.max() < piece.west + piece.side
        assert piece.south <= y.min() <= y.max() < piece.south + piece.side


@pytest.mark.parametrize("first", [0, 29_000])
def test_only_the_ground_is_laid_down_wherever_it_begins(scan, tmp_path, monkeypatch, first):
    data = bytearray(scan.read_bytes())
    many = 30_000 - first
    data[227 + 15 + 20 * first :: 20] = bytes([2]) * many  # class 2, ground
    scan.write_bytes(bytes(data))
    # only so many points are looked at before the one pass is begun
    monkeypatch.setattr(spilling, "_SEARCHED", 10_000)

    laid = spill(scan, FileFormat(), tmp_path)

    assert sum(len(piece.points()[3]) for piece in laid.pieces) == many
    whole = read_las(scan, FileFormat())
    assert las_findings(laid.tally) == whole.findings
    assert laid.tally.used == many


def test_the_temporary_file_goes(scan):
    with spilled(LargeScan(scan, FileFormat())) as laid:
        path = spilling.Path(laid.pieces[0].path)
        assert path.exists()

    assert not path.exists()


def test_a_scan_is_large_by_its_header(scan, monkeypatch):
    assert not is_large(scan)
    monkeypatch.setattr(spilling, "MOST_SHOTS", 29_999)
    assert is_large(scan)
    assert len(read_las(scan, FileFormat()).shots) == 30_000


def test_a_scan_of_more_points_than_can_be_numbered_is_refused(scan, tmp_path, monkeypatch):
    monkeypatch.setattr(spilling, "_MOST_POINTS", 29_999)

    with pytest.raises(InputError, match=r"30,000 points, more than 29,999\. Split the scan"):
        spill(scan, FileFormat(), tmp_path)


def test_a_scan_of_noise_alone_is_refused(scan, tmp_path):
    data = bytearray(scan.read_bytes())
    data[227 + 15 :: 20] = bytes([7]) * len(data[227 + 15 :: 20])  # class 7, noise
    scan.write_bytes(bytes(data))

    with pytest.raises(InputError, match="no point to use"):
        spill(scan, FileFormat(), tmp_path)
