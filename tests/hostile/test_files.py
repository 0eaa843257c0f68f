"""Hostile files in a day's folder, run by the real command within stated limits.

The limits: 1.5 GB of memory and 20 s of processor for any of these. Whatever comes, the
command ends with a documented code and a message, never with a traceback.
"""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DAY = "2026-05-14"
LIMITED = """
import sys
try:
    import resource
except ImportError:  # Windows knows no such limits
    pass
else:
    resource.setrlimit(resource.RLIMIT_DATA, (1_500_000_000, 1_500_000_000))
    resource.setrlimit(resource.RLIMIT_CPU, (20, 20))
from pipeline.cli import main
main(prog_name="lath")
"""
SCAN = (ROOT / "tests" / "data" / "las" / "feet_in_geotiff_keys.las").read_bytes()


def lath(*words):
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, *map(str, words)], cwd=ROOT, capture_output=True, text=True,
        errors="replace",
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr[-800:]
    assert done.returncode in {0, 2, 3, 4}, (done.returncode, done.stderr[-400:])
    return done


@pytest.fixture
def street(tmp_path):
    folder = tmp_path / "street"
    shutil.copytree(ROOT / "fixtures" / "demo", folder)
    return folder


def entity(text, value):
    return (
        f'<?xml version="1.0"?><!DOCTYPE LandXML [{text}]><LandXML version="1.2">{value}</LandXML>'
    )


def with_header(place, form, *values):
    twin = bytearray(SCAN)
    struct.pack_into(form, twin, place, *values)
    return bytes(twin)


# "a" of one kilobyte told a hundred thousand times: no nesting, and 100 MB all the same
QUADRATIC = entity(f'<!ENTITY a "{"x" * 1000}">', "&a;" * 100_000)
FILES = {
    "external.xml": entity('<!ENTITY a SYSTEM "file:///etc/passwd">', "&a;").encode(),
    "quadratic.xml": QUADRATIC.encode(),
    "parameter.xml": entity('<!ENTITY % p SYSTEM "http://127.0.0.1:9/x">%p;', "").encode(),
    "wide.xml": entity('<!ENTITY a "b">', "&a;").encode("utf-16"),
    "deep.xml": (b"<LandXML>" + b"<a>" * 200_000 + b"</a>" * 200_000 + b"</LandXML>"),
    "attribute.xml": b'<LandXML a="' + b"x" * 30_000_000 + b'"/>',
    "many.xml": b"<LandXML>" + b"<a b='1'/>" * 500_000 + b"</LandXML>",
    # places of the LAS header: public header block of the LAS 1.2 specification
    "points.las": with_header(107, "<I", 4_000_000_000),
    "records.las": with_header(100, "<I", 4_000_000_000),
    "offset.las": with_header(96, "<I", 4_000_000_000),
    "length.las": with_header(105, "<H", 0),
    "scale.las": with_header(131, "<ddd", float("nan"), float("inf"), 5e-324),
    "origin.las": with_header(155, "<ddd", 1e308, -1e308, float("nan")),
    "inserts.dxf": b"0\nSECTION\n2\nENTITIES\n" + b"0\nINSERT\n2\nA\n" * 50_000
    + b"0\nENDSEC\n0\nEOF\n",
    "pairs.dxf": b"0\nSECTION\n2\nHEADER\n" + b"9\n$X\n1\ny\n" * 300_000,
    "values.csv": b"id,northing,easting,elevation,code\n" + b"".join(
        f"{k},{a},{a},{a},GR\n".encode()
        for k, a in enumerate(["nan", "inf", "-inf", "1e308", "5e-324", "1e12", "-1e12", "0x1p3",
                               "1_000", "\u0661\u0662", "1e", "--1", "1e99999999", ""])
    ),
    "quote.csv": b'id,northing,easting,elevation,code\n1,"' + b"x" * 20_000_000,
    "sightings.csv": b"setup,target,role,horizontal_deg\n" + b"1," * 5_000_000 + b"\n",
    "levels.csv": b"point,backsight_m,foresight_m\n" + b"1," * 5_000_000 + b"\n",
    "fixes.txt": b"$GPGGA," + b"1," * 5_000_000 + b"\n",
    "line.csv": b"id,northing,easting,elevation,code\n" + b"1," * 10_000_000 + b"\n",
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_a_hostile_file_is_described_or_refused_within_limits(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(FILES[name])
    done = lath("read", path)

    assert "root:" not in done.stdout + done.stderr  # of /etc/passwd
    assert len(done.stdout) + len(done.stderr) < 20_000


@pytest.mark.parametrize("name", ["values.csv", "deep.xml", "points.las", "quadratic.xml"])
def test_a_day_with_a_hostile_file_is_refused_or_goes_on_without(street, name):
    (street / "shots" / DAY / name).write_bytes(FILES[name])
    done = lath("run", street)

    if done.returncode == 3:
        assert not (street / "out").exists()
        assert done.stderr.count("lath: ") == 1


def test_a_line_of_a_gigabyte_is_refused_within_limits(street):
    path = street / "shots" / DAY / "morning.csv"
    with path.open("ab") as stream:
        block = b"1" * (1 << 24)
        for _ in range(64):
            stream.write(block)
    for words in (["read", path], ["check", street]):
        done = lath(*words)
        assert done.returncode == 3
        assert "memory" in done.stderr or "longer" in done.stderr
    path.unlink()


@pytest.mark.parametrize(
    "change",
    [
        ('alignment = "design/alignment.csv"', 'alignment = "../../../etc/passwd"'),
        ('alignment = "design/alignment.csv"', 'alignment = "/etc/passwd"'),
        ('control = "control.csv"', 'control = "design/../../control.csv"'),
        ('utilities = "utilities.csv"', 'utilities = "/dev/zero"'),
        ('utilities = "utilities.csv"', r'utilities = "C:\\Windows\\win.ini"'),
        ('utilities = "utilities.csv"', r'utilities = "a\u0000b.csv"'),
        ('folder = "shots"', 'folder = "../.."'),
        ('folder = "shots"', 'folder = "/"'),
    ],
    ids=str,
)
def test_a_path_that_leads_out_of_the_job_is_refused(street, change):
    job = street / "job.toml"
    text = job.read_text(encoding="utf-8")
    assert change[0] in text
    job.write_text(text.replace(*change), encoding="utf-8")
    done = lath("run", street)

    assert done.returncode == 3
    assert "root:" not in done.stderr


def test_links_that_go_round_in_a_ring_are_refused(street):
    (street / "control.csv").unlink()
    (street / "control.csv").symlink_to(street / "ring.csv")
    (street / "ring.csv").symlink_to(street / "control.csv")

    assert lath("run", street).returncode == 3


def test_a_path_outside_is_taken_where_the_job_says_so(street, tmp_path):
    shutil.move(street / "control.csv", tmp_path / "control.csv")
    job = street / "job.toml"
    text = job.read_text(encoding="utf-8").replace('"control.csv"', '"../control.csv"')
    job.write_text("outside = true\n" + text, encoding="utf-8")

    assert lath("check", street).returncode == 0


@pytest.mark.parametrize(
    "text",
    ["a = " + "[" * 100_000, "[" + "a." * 50_000 + "a]", "name = '" + "x" * 5_000_000 + "'",
     "a = 1" + "0" * 100_000, "a = 1e999999", "\ufeff" * 1000, "a = 1979-05-27T99:99:99Z"],
    ids=lambda text: text[:12],
)  # fmt: skip
def test_a_hostile_job_file_is_refused_within_limits(street, text):
    (street / "job.toml").write_text(text, encoding="utf-8")
    done = lath("check", street)

    assert done.returncode == 3
    assert len(done.stderr) < 20_000


@pytest.mark.parametrize("day", ["../../etc", "/etc", "..", "2026-05-14/../..", "-", "a\nb", ""])
def test_a_day_is_a_date_and_no_path(street, day):
    assert lath("run", street, "--day", day).returncode in ({3} if day else {0, 3})


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_in_the_days_folder_does_not_hang(street):
    os.mkfifo(street / "shots" / DAY / "morning-pipe.csv")
    done = lath("check", street)

    assert done.returncode == 0
    assert "morning-pipe.csv is no plain file: not read" in done.stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is always full")
@pytest.mark.parametrize(
    ("words", "full", "code"),
    [
        (["at", "--station", "100"], "stdout", 1),
        (["--help"], "stdout", 1),
        (["at", "--station", "100"], "stderr", 0),
        (["check", "--day", "1999-01-01"], "stderr", 3),
    ],
)  # fmt: skip
def test_words_that_cannot_be_printed_are_no_traceback_and_no_other_code(words, full, code):
    """On Linux a write to /dev/full fails as on a full disk: full(4)."""
    job = [str(ROOT / "fixtures" / "demo")] if words[0] != "--help" else []
    with Path("/dev/full").open("w", encoding="utf-8") as stream:
        done = subprocess.run(
            [sys.executable, "-m", "pipeline.cli", words[0], *job, *words[1:]], cwd=ROOT, text=True,
            **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, full: stream},
        )  # fmt: skip

    assert done.returncode == code
    if full == "stdout":
        assert done.stderr.strip().splitlines()[-1].startswith("lath: the words of this command: ")
        assert "Traceback" not in done.stderr
