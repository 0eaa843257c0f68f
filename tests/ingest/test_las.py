"""Laser scans: every point that the header promises or a refusal, in metres, nothing in between.

Independent answers: files and columns written and read by laspy; bytes packed here by hand
from the layout of the ASPRS LAS 1.4-R15 public header block (from memory).
"""

from __future__ import annotations

import dataclasses
import io
import struct
import sys
import tracemalloc
from pathlib import Path

import laspy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyproj import CRS

from pipeline.errors import InputError
from pipeline.ingest.las import laz as las_laz
from pipeline.ingest.las.crs import geokeys
from pipeline.ingest.las.header import RECORD_LENGTH, read_header
from pipeline.ingest.las.points import frame_rows
from pipeline.ingest.las.read import LasTally, las_chunks, las_findings, read_las
from pipeline.settings import FileFormat

METRES = FileFormat()
OPEN = Path(__file__).resolve().parent.parent / "data" / "las"
US_FOOT = 1200.0 / 3937.0  # definition; see REF-CO-9
RAW = [(100, 200, 300), (1100, 2200, 310), (5000, 9000, 290), (4000, 100, 295)]


def vlr(user, number, data, *, extended=False):
    length = struct.pack("<Q" if extended else "<H", len(data))
    return b"\0\0" + user.encode().ljust(16, b"\0") + struct.pack("<H", number) + length + bytes(
        32
    ) + data  # fmt: skip


def keys(*pairs):
    """GeoTIFF key directory of codes."""
    rows = b"".join(struct.pack("<4H", key, 0, 1, value) for key, value in pairs)
    return vlr("LASF_Projection", 34735, struct.pack("<4H", 1, 1, 0, len(pairs)) + rows)


def wkt(code):
    text = CRS.from_user_input(code).to_wkt("WKT1_GDAL" if "+" not in str(code) else "WKT2_2019")
    return vlr("LASF_Projection", 2112, text.encode() + b"\0")


def las(raw=RAW, *, minor=2, classes=None, flags=0, scale=0.01, offset=(0.0, 0.0, 0.0), vlrs=b""):
    """A LAS file of point format 0 (6 where `minor` is 4), packed by hand."""
    size, head = (375, 30) if minor == 4 else (227, 20)
    classes = classes or [1] * len(raw)
    count = vlrs.count(b"LASF_") if vlrs else 0
    records = b""
    for (x, y, z), kind in zip(raw, classes, strict=True):
        tail = bytes([flags, kind]) if minor == 4 else bytes([kind | flags << 5])
        records += (struct.pack("<3i", x, y, z) + bytes(3) + tail).ljust(head, b"\0")
    place = np.array(raw) * scale + offset
    box = np.column_stack([place.max(axis=0), place.min(axis=0)]).ravel()
    block = bytearray(size)
    block[:4], block[24], block[25] = b"LASF", 1, minor
    struct.pack_into("<HIIBHI", block, 94, size, size + len(vlrs), count, 6 if minor == 4 else 0,
                     head, 0 if minor == 4 else len(raw))  # fmt: skip
    struct.pack_into("<12d", block, 131, *[scale] * 3, *offset, *box)
    if minor == 4:
        struct.pack_into("<Q", block, 247, len(raw))
    return bytes(block) + vlrs + records


def scan(version, point_format, *, compress=False, n=400):
    """A file by laspy, and what laspy reads back out of it."""
    rng = np.random.default_rng(7)
    header = laspy.LasHeader(version=version, point_format=point_format)
    header.scales, header.offsets = [0.001] * 3, [500_000.0, 6_000_000.0, 0.0]
    data = laspy.LasData(header)
    data.x = 500_000 + rng.uniform(0, 40, n)
    data.y = 6_000_000 + rng.uniform(0, 12, n)
    data.z = 101 + rng.normal(0, 0.1, n)
    data.classification = rng.choice([1, 2, 7, 11], n)
    data.withheld = rng.random(n) < 0.1
    out = io.BytesIO()
    data.write(out, do_compress=compress)
    return out.getvalue(), laspy.read(io.BytesIO(out.getvalue()))


def wording(value):
    """A test's name: the sentence it expects."""
    return value if isinstance(value, str) else ""


def put(tmp_path, data, name="scan.las"):
    path = tmp_path / name
    path.write_bytes(data)
    return path


def patched(data, at, layout, *values):
    changed = bytearray(data)
    struct.pack_into(layout, changed, at, *values)
    return bytes(changed)


def said(reading):
    return " | ".join(f"{f.severity}: {f.text}" for f in reading.findings)


def assert_same(shots, theirs, keep):
    np.testing.assert_allclose(shots.easting, np.asarray(theirs.x)[keep], rtol=0, atol=2e-9)
    np.testing.assert_allclose(shots.northing, np.asarray(theirs.y)[keep], rtol=0, atol=2e-9)
    np.testing.assert_allclose(shots.elevation, np.asarray(theirs.z)[keep], rtol=0, atol=2e-9)
    assert shots.line.tolist() == (np.flatnonzero(keep) + 1).tolist()


# what is read


@pytest.mark.parametrize(
    ("version", "point_format"),
    [("1.1", 0), ("1.1", 1), ("1.2", 2), ("1.2", 3), ("1.3", 4), ("1.3", 5), ("1.4", 6), ("1.4", 7),
     ("1.4", 8), ("1.4", 9), ("1.4", 10), ("1.4", 3)],
)  # fmt: skip
def test_ground_of_every_point_format_is_what_another_reader_reads(tmp_path, version, point_format):
    data, theirs = scan(version, point_format)
    reading = read_las(put(tmp_path, data), METRES)

    withheld = np.asarray(theirs.withheld) == 1
    kind = np.asarray(theirs.classification)
    assert_same(reading.shots, theirs, (kind == 2) & ~withheld)
    assert set(reading.shots.code) == {"ground"}
    assert reading.version == f"{version}, point format {point_format}"
    assert f"{withheld.sum()} withheld" in said(reading)
    assert f"{(~withheld & (kind == 7)).sum()} noise (class 7 or 18)" in said(reading)
    assert reading.refused + len(reading.shots) == 400
    assert np.isnan(reading.shots.sigma_v).all()


def test_version_1_0_is_read(tmp_path):
    shots = read_las(put(tmp_path, las(minor=0)), METRES).shots

    assert shots.easting.tolist() == [1.0, 11.0, 50.0, 40.0]
    assert shots.id.tolist() == ["1", "2", "3", "4"]


def test_record_lengths_are_those_another_reader_has():
    assert [laspy.PointFormat(k).size for k in range(11)] == list(RECORD_LENGTH)


def test_classes_that_are_asked_for_are_used_and_the_others_counted(tmp_path):
    data, theirs = scan("1.4", 6)
    reading = read_las(put(tmp_path, data), METRES, classes={2, 11})

    kind = np.asarray(theirs.classification)
    keep = np.isin(kind, (2, 11)) & (np.asarray(theirs.withheld) == 0)
    assert_same(reading.shots, theirs, keep)
    assert set(reading.shots.code) == {"ground", "road surface"}
    assert "classes used, as asked: 2 (ground), 11 (road surface)" in said(reading)


def test_a_scan_that_nobody_classified_is_used_whole_and_says_so(tmp_path):
    path = put(tmp_path, las(classes=[0, 1, 18, 0]))
    reading = read_las(path, dataclasses.replace(METRES, code="GRD"))

    assert reading.shots.id.tolist() == ["1", "2", "4"]
    assert set(reading.shots.code) == {"GRD"}
    assert "no point is classified as ground: every class but noise is used" in said(reading)
    assert "1 of 4 points left out: 1 noise (class 7 or 18)" in said(reading)


def test_a_point_at_exactly_zero_is_left_out_and_listed(tmp_path):
    reading = read_las(put(tmp_path, las([(0, 0, 0), *RAW])), METRES)

    assert reading.shots.id.tolist() == ["2", "3", "4", "5"]
    assert "person: 1 points at exactly 0, 0, 0" in said(reading)


def test_points_that_were_made_and_not_measured_need_a_person(tmp_path):
    reading = read_las(put(tmp_path, las(minor=4, flags=1)), METRES)

    assert "person: 4 points used are marked as made, not measured" in said(reading)


def test_a_box_that_is_not_that_of_the_points_needs_a_person(tmp_path):
    reading = read_las(put(tmp_path, patched(las(), 179, "<d", 51.0)), METRES)

    assert "box is not that of its points: X from 1.000 to 51.000, points from 1.000 to 50.000" in (
        said(reading)
    )
    assert "box" not in said(read_las(put(tmp_path, las()), METRES))
    assert "box" in said(read_las(put(tmp_path, patched(las(), 187, "<d", np.nan)), METRES))


def test_memory_is_that_of_the_piece_and_not_of_the_file(tmp_path):
    n = 120_000
    points = np.zeros(n, dtype=[("xyz", "<3i4"), ("rest", "V8")])
    points["xyz"] = np.arange(1, 3 * n + 1).reshape(n, 3)
    path = put(tmp_path, patched(las([(1, 1, 1)])[:227] + points.tobytes(), 107, "<I", n))
    tally = LasTally()
    tracemalloc.start()
    sizes, total = [], 0.0
    for chunk in las_chunks(path, METRES, chunk_points=2_000, tally=tally):
        sizes.append(len(chunk.record))
        total += chunk.easting.sum()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert sizes == [2_000] * 60
    # sum of 1, 4, 7, ... in hundredths
    assert total == pytest.approx(0.01 * n * (2 + 3 * (n - 1)) / 2, rel=1e-12)
    # the search for ground reads up to 50 000 records, here 2 000; the file holds 2.4 MB
    assert peak < 1_000_000
    assert tally.used == n
    assert "every class but noise is used" in " ".join(f.text for f in las_findings(tally))


def test_long_records_are_read_in_smaller_pieces():
    assert frame_rows(20, 1_000_000) == 1_000_000
    assert frame_rows(4_116, 1_000_000) * 4_116 <= 64 << 20


# units


@pytest.mark.parametrize(
    ("vlrs", "plan", "height", "text"),
    [
        (b"", 1.0, 1.0, "does not say its unit; read as metre, as the job says"),
        (wkt("EPSG:2903"), US_FOOT, US_FOOT, "US survey foot, converted to metres"),
        (wkt("EPSG:2994"), 0.3048, 0.3048, "1 ft = 381/1250 m"),
        (wkt("EPSG:26910+6360"), 1.0, US_FOOT, "metre in plan, US survey foot in height"),
        (keys((1024, 1), (3072, 26910), (3076, 9001), (4099, 9003)), 1.0, US_FOOT, "in height"),
        (keys((1024, 1), (3072, 32767), (3076, 9002)), 0.3048, 0.3048, "nothing for heights"),
        (keys((3072, 2903), (3076, 9003)) + wkt("EPSG:2903"), US_FOOT, US_FOOT, "1200/3937"),
        (vlr("LASF_Projection", 2112, b"\0"), 1.0, 1.0, "(WKT) is empty"),
        (vlr("LASF_Projection", 2112, b"PROJCS[junk"), 1.0, 1.0, "(WKT) cannot be read"),
        (keys((3072, 17), (3076, 9003)), US_FOOT, US_FOOT, "(17) is not a coordinate system"),
    ],
    ids=wording,
)
def test_each_axis_is_converted_by_what_the_file_says(tmp_path, vlrs, plan, height, text):
    reading = read_las(put(tmp_path, las(vlrs=vlrs, offset=(2e6, 6e5, 300.0))), METRES)

    exact = np.array(RAW) / 100 + [2e6, 6e5, 300.0]
    np.testing.assert_allclose(reading.shots.easting, exact[:, 0] * plan, rtol=0, atol=2e-9)
    np.testing.assert_allclose(reading.shots.northing, exact[:, 1] * plan, rtol=0, atol=2e-9)
    np.testing.assert_allclose(reading.shots.elevation, exact[:, 2] * height, rtol=0, atol=2e-9)
    assert text in said(reading)


def test_the_two_feet_part_by_four_feet_at_two_million(tmp_path, published):
    reference = published("REF-CO-9")
    raw = [(int(reference.inputs["ft"]), 1, 1)]
    east = [
        read_las(put(tmp_path, las(raw, scale=1.0)), FileFormat(unit=unit)).shots.easting[0]
        for unit in ("ftUS", "ft")
    ]

    reference.check("shift_ft", (east[0] - east[1]) / 0.3048)
    reference.check("ratio", east[0] / east[1])


@pytest.mark.parametrize(
    ("vlrs", "unit", "message"),
    [
        # so in a public file, whose companion WKT proves the foot
        (keys((3072, 26995), (3076, 9003)), "m",
         r"key 3072 \(26995\): metre; GeoTIFF key 3076: US survey foot"),
        (keys((3072, 32104)) + wkt("EPSG:6880"), "m",
         r"contradicts itself about the unit of its plan \(WKT: US survey foot; GeoTIFF key 3072"),
        (wkt("EPSG:2903"), "ft", r"job says foot for its plan, the file does not \(WKT: US survey"),
        (wkt("EPSG:4326"), "m", r"coordinates in degrees \(WKT: EPSG:4326\)\. Project the scan"),
        (wkt("EPSG:4978"), "m", "geocentric coordinates"),
        (keys((1024, 2), (2048, 4269)), "m", "coordinates in degrees"),
        (keys((1024, 3), (2048, 4978)), "m", "geocentric coordinates"),
        (keys((3072, 26910), (3076, 9036)), "m", "unit code 9036"),
        (wkt(CRS.from_proj4("+proj=utm +zone=10 +units=km")), "m", r"a unit of 1000\.0 m"),
    ],
    ids=wording,
)  # fmt: skip
def test_a_unit_that_is_not_certain_is_refused_with_both_sources_named(
    tmp_path, vlrs, unit, message
):
    with pytest.raises(InputError, match=message):
        read_las(put(tmp_path, las(vlrs=vlrs)), FileFormat(unit=unit))


def test_a_foot_stated_by_the_job_settles_a_file_that_contradicts_itself(tmp_path):
    path = put(tmp_path, las(vlrs=keys((3072, 26995), (3076, 9003))))
    reading = read_las(path, FileFormat(unit="ftUS"))

    assert reading.shots.easting[0] == pytest.approx(US_FOOT, abs=1e-15)
    assert "person: contradicts itself" in said(reading)


def test_two_names_of_the_coordinate_system_need_a_person(tmp_path):
    path = put(tmp_path, las(vlrs=keys((3072, 26910), (3076, 9001)) + wkt("EPSG:26911")))
    reading = read_las(path, METRES)

    assert "person: WKT: EPSG:26911; GeoTIFF key 3072 (26910): EPSG:26910" in said(reading)
    assert reading.crs == "EPSG:26911"


def test_keys_that_point_nowhere_are_left_out(tmp_path):
    row = struct.pack("<4H", 3077, 34736, 1, 5) + struct.pack("<4H", 3076, 0, 1, 9001)
    directory = struct.pack("<4H", 1, 1, 0, 40) + row
    path = put(tmp_path, las(vlrs=vlr("LASF_Projection", 34735, directory)))

    assert geokeys(read_header(path)) == {3076: 9001}


def test_open_scan_with_its_unit_only_in_the_geotiff_keys():
    path = OPEN / "feet_in_geotiff_keys.las"
    reading, theirs = read_las(path, METRES), laspy.read(path)

    ground = np.asarray(theirs.classification) == 2
    assert (len(reading.shots), reading.refused) == (24, 82)
    # the file carries a second, informal WKT that says UNIT["foot",0.3048]
    assert b'UNIT["foot",0.3048' in path.read_bytes()
    feet = np.asarray(theirs.xyz)[ground]
    np.testing.assert_allclose(reading.shots.elevation, feet[:, 2] * 0.3048, rtol=0, atol=1e-9)
    np.testing.assert_allclose(reading.shots.northing, feet[:, 1] * 0.3048, rtol=0, atol=1e-9)
    assert (reading.unit, reading.crs) == ("ft", "EPSG:2994")


# compressed


def test_open_compressed_scan_in_us_survey_feet():
    path = OPEN / "us_survey_feet_in_wkt.laz"
    reading, theirs = read_las(path, METRES, classes=(2,)), laspy.read(path)

    assert len(reading.shots) == 1000
    np.testing.assert_allclose(
        reading.shots.easting, np.asarray(theirs.x) * US_FOOT, rtol=0, atol=1e-9
    )
    assert (reading.format, reading.unit) == ("LAZ", "ftUS")


@pytest.mark.parametrize("point_format", [1, 7])
def test_compressed_points_are_those_of_another_reader(tmp_path, point_format):
    data, theirs = scan("1.4" if point_format > 5 else "1.2", point_format, compress=True)
    chunks = list(las_chunks(put(tmp_path, data), METRES, classes=(1, 2, 11), chunk_points=150))

    keep = (np.asarray(theirs.classification) != 7) & (np.asarray(theirs.withheld) == 0)
    height = np.concatenate([chunk.elevation for chunk in chunks])
    np.testing.assert_allclose(height, np.asarray(theirs.z)[keep], rtol=0, atol=1e-9)
    assert len(chunks) == 3


@pytest.mark.parametrize("point_format", [3, 6])
@pytest.mark.parametrize(
    ("n", "chunk_points"),
    [
        pytest.param(100_000, 60_000, id="by several cores, the last chunk whole"),
        pytest.param(120_001, 80_000, id="by several cores, the last chunk in part"),
        pytest.param(60_000, 40_000, id="a chunk is larger than a frame"),
    ],
)
def test_chunks_decoded_at_a_time_are_those_of_another_reader(
    tmp_path, point_format, n, chunk_points
):
    # chunks of this writer have 50 000 points
    version = "1.4" if point_format > 5 else "1.2"
    data, theirs = scan(version, point_format, compress=True, n=n)
    path = put(tmp_path, data)

    points = np.concatenate(list(las_laz.laz_points(path, read_header(path), chunk_points)))

    np.testing.assert_array_equal(points["x"], theirs.X)
    np.testing.assert_array_equal(points["z"], theirs.Z)
    np.testing.assert_array_equal(points["class"], np.asarray(theirs.classification))
    np.testing.assert_array_equal(points["flags"] & 4 > 0, np.asarray(theirs.withheld) > 0)


@pytest.mark.parametrize("n", [100_000, 120_000])
def test_one_point_too_few_is_found_behind_chunks_decoded_at_a_time(tmp_path, n):
    data, _ = scan("1.2", 1, compress=True, n=n)

    with pytest.raises(InputError, match=f"{n - 1:,} points do not end where the compressed"):
        read_las(put(tmp_path, patched(data, 107, "<I", n - 1)), METRES, classes=(2,))


@pytest.mark.parametrize(
    ("point_format", "more", "message"),
    [
        (1, -1, "399 points do not end where the compressed bytes end"),
        (1, 1, "401 points do not end|cannot be decoded"),
        (6, -7, "the header says 393 points, the chunks hold 400"),
    ],
)
def test_a_compressed_file_that_holds_another_number_of_points_is_refused(
    tmp_path, point_format, more, message
):
    version, at, layout = ("1.4", 247, "<Q") if point_format > 5 else ("1.2", 107, "<I")
    data, _ = scan(version, point_format, compress=True)

    with pytest.raises(InputError, match=message):
        read_las(put(tmp_path, patched(data, at, layout, 400 + more)), METRES, classes=(2,))


def compression(data):
    """First byte of the record that says how the points are compressed."""
    return data.index(b"laszip encoded") + 52


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda d: patched(d, compression(d), "<H", 1), "compression 1 .* without chunks"),
        (lambda d: patched(d, compression(d) + 12, "<I", 0), "in chunks of 0 points"),
        (lambda d: patched(d, compression(d) + 12, "<I", 2**32 - 2), "in chunks of 4,294,967,294"),
        (lambda d: patched(d, compression(d) + 32, "<H", 99), "that names 99 items"),
        (lambda d: patched(d, compression(d) + 34, "<H", 10), "compressed item 10"),
        (lambda d: patched(d, compression(d) + 38, "<H", 7), "version 7, not a published one"),
        (lambda d: patched(d, compression(d) - 52, "<B", 0), "no whole record of how"),
        (lambda d: patched(d, 105, "<H", 30), "items of 28 bytes together, points of 30"),
        (lambda d: patched(d, 107, "<I", 60_000), "1 chunks for 60,000 points in chunks of 50,000"),
        (lambda d: patched(d, points_at(d), "<q", 2**40), "chunk table at byte 1,099,511,627,776"),
        (lambda d: patched(d, table_at(d) + 4, "<I", 2**32 - 1), "4,294,967,295 chunks for 400"),
        (lambda d: d[: table_at(d) - 40], "chunk table at byte"),
        (
            lambda d: patched(d, table_at(d) - 900, "<200B", *range(200)),
            "cannot be decoded|not end",
        ),
    ],
    ids=wording,
)
def test_a_damaged_compressed_file_is_refused(tmp_path, compressed, change, message):
    with pytest.raises(InputError, match=message):
        read_las(put(tmp_path, change(compressed)), METRES, classes=(2,))


@pytest.fixture(scope="module")
def compressed():
    return scan("1.2", 1, compress=True)[0]


def points_at(data):
    return struct.unpack_from("<I", data, 96)[0]


def table_at(data):
    return struct.unpack_from("<q", data, points_at(data))[0]


def test_a_small_file_that_unfolds_to_millions_of_points_is_refused(tmp_path):
    header = laspy.LasHeader(version="1.4", point_format=6)
    out = io.BytesIO()
    with laspy.open(out, "w", header=header, do_compress=True, closefd=False) as writer:
        same = laspy.ScaleAwarePointRecord.zeros(100_000, header=header)
        for _ in range(11):
            writer.write_points(same)

    assert len(out.getvalue()) < 20_000
    with pytest.raises(InputError, match=r"1,100,000 points in .* far fewer than a scan needs"):
        read_las(put(tmp_path, out.getvalue()), METRES)


@pytest.mark.parametrize(
    ("script", "message"),
    [
        ("import os; os.abort()", r"decoding broke off \(signal 6"),
        ("raise SystemExit(3)", r"decoding broke off \(exit code 3\)"),
        ("import numpy; raise RuntimeError('no room')", "exit code 1: RuntimeError: no room"),
        ("import time; time.sleep(60)", r"longer than 0\.3 s without a result"),
        ("import sys; sys.stdout.buffer.write(b'\\x07' * 64)", "the decoder answered with"),
        ("import sys; sys.stdout.buffer.write((9).to_bytes(8, 'little') + bytes(20))", "broke off"),
    ],
    ids=wording,
)
def test_a_decoder_that_dies_loops_or_talks_nonsense_ends_nothing_but_itself(
    tmp_path, monkeypatch, compressed, script, message
):
    monkeypatch.setattr(las_laz, "_command", lambda path, rows: [sys.executable, "-c", script])
    monkeypatch.setattr(las_laz, "PATIENCE_S", 0.3 if "sleep" in script else 30.0)

    with pytest.raises(InputError, match=message):
        read_las(put(tmp_path, compressed), METRES, classes=(2,))


def test_a_decoder_that_aborts_for_want_of_memory_says_so(tmp_path, monkeypatch):
    """The first layer of the first chunk of format 6 says that it has four gigabytes."""
    monkeypatch.setenv("RUST_BACKTRACE", "1")
    data, _ = scan("1.4", 6, compress=True)
    lies = patched(data, points_at(data) + 8 + 30 + 4, "<I", 4_009_754_651)

    with pytest.raises(InputError, match=r"signal 6: memory allocation of 40\d+ bytes failed\)"):
        read_las(put(tmp_path, lies), METRES, classes=(2,))


def test_a_panic_in_the_decoder_is_told_and_not_thrown(tmp_path, monkeypatch, compressed):
    script = (
        "import sys, pipeline.ingest.las.child as c\n"
        "class Panic(BaseException): pass\n"
        "def boom(*_): raise Panic('index out of bounds')\n"
        "c._decode = boom\nsys.exit(c.main(sys.argv[1:]))"
    )
    monkeypatch.setattr(
        las_laz, "_command", lambda path, rows: [sys.executable, "-c", script, str(path), "9"]
    )

    with pytest.raises(InputError, match="cannot be decoded: Panic: index out of bounds"):
        read_las(put(tmp_path, compressed), METRES, classes=(2,))


def test_the_decoder_cannot_take_all_memory(tmp_path, monkeypatch, compressed):
    script = (
        "import sys, pathlib, pipeline.ingest.las.child as c\n"
        "def greedy(path, rows, out):\n"
        "    c._limit(c.read_header(path)); bytearray(1 << 36)\n"
        "c._decode = greedy\nsys.exit(c.main(sys.argv[1:]))"
    )
    monkeypatch.setattr(
        las_laz, "_command", lambda path, rows: [sys.executable, "-c", script, str(path), "9"]
    )

    with pytest.raises(InputError, match="cannot be decoded: MemoryError"):
        read_las(put(tmp_path, compressed), METRES, classes=(2,))


def test_several_cores_decode_in_little_more_memory_than_one(tmp_path, monkeypatch):
    script = (
        "import sys, pipeline.ingest.las.child as c\n"
        "c._MEMORY = 100 << 20\nsys.exit(c.main(sys.argv[1:]))"
    )
    monkeypatch.setattr(
        las_laz,
        "_command",
        lambda path, rows: [sys.executable, "-c", script, str(path), str(rows)],
    )
    data, _ = scan("1.4", 10, compress=True, n=250_000)  # five chunks, 17 MB
    path = put(tmp_path, data)

    assert sum(map(len, las_laz.laz_points(path, read_header(path), 1_000_000))) == 250_000


# damaged


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "an empty file"),
        (b"PK\x03\x04" + bytes(400), r"begins with b'PK\\x03\\x04', not with LASF"),
        (las()[:200], "200 bytes, shorter than any LAS header"),
        (las(minor=4)[:300], "shorter than a version 1.4 header"),
        (patched(las(), 25, "<B", 9), r"version 1\.9 at byte 24"),
        (patched(las(), 94, "<H", 100), "a header of 100 bytes; version 1.2 has 227"),
        (patched(las(), 96, "<I", 0), "puts the points at byte 0"),
        (patched(las(), 96, "<I", 2**32 - 1), "puts the points at byte 4,294,967,295"),
        # the count in a public file that laspy 2.7 did not finish with in a minute
        (patched(las(), 100, "<I", 1_069_128_089), "counts 1,069,128,089 variable-length records"),
        (patched(las(vlrs=wkt("EPSG:2994")), 227 + 20, "<H", 65_535), "record 1 of 1 .* runs past"),
        (patched(las(), 104, "<B", 11), "point format 11 at byte 104"),
        (patched(las(), 104, "<B", 6), r"point format 6 in a version 1\.2 file"),
        (patched(las(), 105, "<H", 0), "points of 0 bytes; format 0 has 20"),
        (patched(las(), 105, "<H", 65_535), "points of 65535 bytes"),
        (patched(las(), 107, "<I", 0), "the header counts 0 points"),
        (
            patched(las(), 107, "<I", 5),
            "says 5 points, the 80 bytes of points hold 4: .* cut short",
        ),
        (patched(las(), 107, "<I", 3), "says 3 points, .* hold 4: the count is too small"),
        (patched(las(), 107, "<I", 2**32 - 1), "says 4,294,967,295 points, .* hold 4"),
        (las()[:-1], "hold 3: the file is cut short"),
        (las()[:-20], "hold 3: the file is cut short"),
        (las() + bytes(20), "hold 5: the count is too small"),
        (patched(las(minor=4), 107, "<I", 3), "two counts that disagree: 3 points at byte 107, 4"),
        (patched(las(minor=4), 247, "<Q", 2**63), "says 9,223,372,036,854,775,808 points"),
        (patched(las(minor=4), 235, "<QI", 2**50, 1), "1 extended records from byte"),
        (patched(las(minor=4), 235, "<QI", 375, 2**31), "2,147,483,648 extended records"),
        (patched(las(), 131, "<d", 0.0), r"X scale 0\.0"),
        (patched(las(), 139, "<d", float("nan")), "Y scale nan"),
        (patched(las(), 147, "<d", -0.01), r"Z scale -0\.01"),
        (patched(las(), 131, "<d", 1e-300), "X scale 1e-300"),
        (patched(las(), 155, "<d", float("inf")), "X offset inf"),
        (patched(las(), 171, "<d", 1e300), r"Z offset 1e\+300"),
        (las([(0, 0, 0)]), "no point to use among 1: 1 at 0, 0, 0"),
        (las(classes=[7] * 4), r"no point to use among 4: 4 noise"),
    ],
    ids=wording,
)
def test_a_damaged_file_is_refused_by_what_was_found(tmp_path, data, message):
    with pytest.raises(InputError, match=message) as refusal:
        read_las(put(tmp_path, data), METRES)

    assert refusal.value.which == "scan.las"
    assert refusal.value.do


def test_what_is_not_a_file_is_refused(tmp_path):
    with pytest.raises(InputError, match=f"{tmp_path.name}: not a regular file"):
        read_las(tmp_path, METRES)
    with pytest.raises(InputError, match=r"none\.las: no such file"):
        read_las(tmp_path / "none.las", METRES)


def test_a_file_that_shrinks_while_it_is_read_is_refused(tmp_path):
    path = put(tmp_path, las(RAW * 500))
    chunks = las_chunks(path, METRES, classes=(1,), chunk_points=100)
    next(chunks)
    path.write_bytes(las(RAW * 500)[: 227 + 20 * 150])

    with pytest.raises(InputError, match=r"the header says 2,000 points, 15\d were read"):
        list(chunks)


def test_more_points_than_a_morning_can_hold_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.ingest.las.read.MOST_SHOTS", 3)

    with pytest.raises(InputError, match=r"more than 3 points to use, of 4\. Cut the scan"):
        read_las(put(tmp_path, las()), METRES)


BASES = [las(RAW * 10, vlrs=wkt("EPSG:2903")), las(RAW * 10, minor=4, vlrs=keys((3072, 2994)))]
WIDTH = st.sampled_from([1, 2, 4, 8])
AWKWARD = st.sampled_from([0, 1, 0x7F, 0xFF, 0xFFFF, 2**31, 2**32 - 1, 2**63, 2**64 - 1])


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    base=st.sampled_from(BASES),
    changes=st.lists(st.tuples(st.integers(0, 420), AWKWARD, WIDTH), max_size=4),
    cut=st.one_of(st.none(), st.integers(0, 1_400)),
)
def test_a_file_changed_anywhere_gives_all_its_points_or_a_refusal(tmp_path, base, changes, cut):
    data = bytearray(base)
    for at, value, width in changes:
        data[at : at + width] = (value % 256**width).to_bytes(width, "little")
    path = put(tmp_path, bytes(data if cut is None else data[:cut]), "mutant.las")

    try:
        reading = read_las(path, METRES)
    except InputError:
        return
    assert len(reading.shots) + reading.refused == 40
    assert np.isfinite(reading.shots.elevation).all()
