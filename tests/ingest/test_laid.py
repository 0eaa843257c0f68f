"""A copy that is half done is told from a file, at whatever byte it is cut."""

from __future__ import annotations

import shutil
from pathlib import Path

import ezdxf
import laspy
import numpy as np
import pytest

from pipeline.ingest.laid import NO_LINE_END, day_of, laid_files, why_not_whole

ROOT = Path(__file__).resolve().parents[2]
ROWS = "".join(f"{k},5200.{k},3100.{k},98.{k}\n" for k in range(40)).encode()
XML = b'<?xml version="1.0"?>\n<!-- of a test -->\n<a:Land xmlns:a="u"><P>1 2</P></a:Land>\n'


def scan(path, version, kind):
    """A scan as laspy, a general-purpose library, writes it."""
    data = laspy.LasData(laspy.LasHeader(version=version, point_format=kind))
    data.x = data.y = data.z = np.arange(500) / 7.0
    data.write(path)
    return path.read_bytes()


def whole(path):
    """A file of each kind that has an end of its own."""
    if path.suffix in {".las", ".laz"}:
        return scan(path, "1.4" if path.stem == "new" else "1.2", 6 if path.stem == "new" else 1)
    if path.suffix == ".dxf":
        ezdxf.new().saveas(path)
        return path.read_bytes()
    return {".csv": ROWS, ".xml": XML}[path.suffix]


@pytest.mark.parametrize(
    "name", ["a.csv", "a.xml", "a.dxf", "old.las", "new.las", "old.laz", "new.laz"]
)
def test_a_file_is_whole_and_none_of_its_beginnings_is(tmp_path, name):
    path = tmp_path / name
    content = whole(path)
    path.write_bytes(content)
    assert why_not_whole(path) == ""

    # a line of a table that ends with its line is a whole table of fewer rows
    # the table at the very end of a LAZ has no end of its own
    known = len(content) - (24 if path.suffix == ".laz" else 2)
    cuts = [int(k) for k in np.linspace(0, known, 60)]
    for cut in cuts:
        path.write_bytes(content[:cut])
        if not content[:cut].endswith(b"\n") or path.suffix != ".csv":
            assert why_not_whole(path), f"cut at {cut} of {len(content)}"


def test_the_demo_and_the_published_road_are_whole():
    files = [ROOT / "fixtures" / job / name for job in ("demo", "open-road")
             for name in laid_files(ROOT / "fixtures" / job, Path("none"))]  # fmt: skip

    assert len(files) > 10
    assert {why_not_whole(path) for path in files} == {""}


def test_names_of_copies_on_their_way_are_waited_for(tmp_path):
    for name in ("a.csv.part", "a.las.crdownload", "a.csv~", "a.tmp"):
        (tmp_path / name).write_bytes(ROWS)
        assert why_not_whole(tmp_path / name) == "its name is that of a copy on its way"
    (tmp_path / "a.csv").write_bytes(ROWS[:-1])
    assert why_not_whole(tmp_path / "a.csv") == NO_LINE_END
    assert why_not_whole(tmp_path / "gone.csv") == ""


def test_files_are_seen_but_for_packages_and_hidden_ones(tmp_path):
    for name in ("job.toml", "shots/2026-05-14/a.csv", "out/2026-05-14/stakes.csv", ".git/config",
                 "shots/2026-05-14/.a.csv.Xy", "out/history.sqlite"):  # fmt: skip
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(ROWS)
    before = laid_files(tmp_path, tmp_path / "out")
    assert list(before) == ["job.toml", "shots/2026-05-14/a.csv"]

    # another file of the same size and time, renamed into place
    other = tmp_path / "other"
    shutil.copy2(tmp_path / "job.toml", other)
    other.rename(tmp_path / "job.toml")
    after = laid_files(tmp_path, tmp_path / "out")
    assert after["job.toml"].size == before["job.toml"].size
    assert after["job.toml"] != before["job.toml"]
    assert laid_files(tmp_path / "unplugged", tmp_path / "out") == {}


def test_the_day_of_a_file_is_its_folder():
    assert day_of("shots/2026-05-14b/a.csv") == "2026-05-14b"
    assert day_of("2026-05-14") == ""
    assert day_of("shots/2026-13-14/a.csv") == ""
