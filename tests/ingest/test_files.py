"""The reader is picked by what a file holds, then by what it is called."""

from __future__ import annotations

import sys
import types

import pytest

from pipeline.errors import InputError
from pipeline.ingest.files import read
from pipeline.settings import FileFormat

TABLE = "id,N,E,Z,Code\n1,10.5,20.5,5.25,GR\n"
XML = (
    '<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units>'
    '<CgPoints><CgPoint name="1">10.5 20.5 5.25</CgPoint></CgPoints></LandXML>'
)


def written(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize(
    ("name", "content", "format_"),
    [
        ("shots.csv", TABLE, "CSV"),
        ("shots.TXT", TABLE, "CSV"),
        ("shots", TABLE, "CSV"),
        ("shots.asc", "\ufeff" + TABLE, "CSV"),
        ("shots.txt", TABLE.encode("utf-16"), "CSV"),
        ("ground.xml", XML, "LandXML"),
        ("ground.txt", "\n  " + XML, "LandXML"),  # what it holds counts, not its name
        ("ground.xml", ("\ufeff" + XML), "LandXML"),
        ("ground.xml", XML.encode("utf-16"), "LandXML"),
        ("ground.xml", XML.encode("utf-16-le"), "LandXML"),
    ],
)
def test_text_and_landxml_are_told_apart_by_what_they_hold(tmp_path, name, content, format_):
    reading = read(written(tmp_path, name, content), FileFormat())

    assert reading.format == format_
    assert reading.file == name
    shots = reading.shots
    assert (shots.northing[0], shots.easting[0], shots.elevation[0]) == (10.5, 20.5, 5.25)
    assert shots.where(0).startswith(f"{name} line ")


@pytest.mark.parametrize(
    ("name", "content", "module", "function"),
    [
        ("scan.laz", b"LASF\0\0", "pipeline.ingest.las.read", "read_las"),
        ("scan.las", b"not a scan", "pipeline.ingest.las.read", "read_las"),
        ("scan.bin", b"LASF\0\0", "pipeline.ingest.las.read", "read_las"),
        (
            "plan.txt",
            b"999\r\nby hand\r\n  0\r\nSECTION\r\n",
            "pipeline.ingest.dxf.read",
            "read_dxf",
        ),
        ("plan.DXF", b"\x01\x02", "pipeline.ingest.dxf.read", "read_dxf"),
    ],
)
def test_other_kinds_go_to_their_own_reader(tmp_path, monkeypatch, name, content, module, function):
    asked = []
    stand_in = types.ModuleType(module)
    setattr(stand_in, function, lambda path, fmt: asked.append((path.name, fmt.unit)))
    monkeypatch.setitem(sys.modules, module, stand_in)

    read(written(tmp_path, name, content), FileFormat(unit="ftUS"))

    assert asked == [(name, "ftUS")]


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("shots.csv", b"", "shots.csv: empty"),
        ("shots.csv", b"\r\n \x1a", "shots.csv: empty"),
        ("shots.csv", b"PK\x03\x04\x14", "an archive or a workbook"),
        ("shots.csv", b"\x1f\x8b\x08", "a compressed file"),
        ("sheet.pdf", b"%PDF-1.7", "a PDF"),
        ("ground.xml", b"no xml", "ground.xml line 1, column 1: not well-formed XML"),
        ("photo.jpg", b"\xff\xd8\xff\xe0\0\x10", "a zero byte"),
    ],
)
def test_what_no_reader_takes_is_refused_by_what_it_is(tmp_path, name, content, message):
    with pytest.raises(InputError, match=message):
        read(written(tmp_path, name, content), FileFormat())


def test_a_name_that_could_steer_a_terminal_is_shown_without_its_marks(tmp_path):
    path = written(tmp_path, "a\x1b[31m.csv", "")

    with pytest.raises(InputError, match=r"a \[31m\.csv: empty"):
        read(path, FileFormat())
