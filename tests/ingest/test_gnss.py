"""Satellite positions: published projections, a gate that refuses, heights that say their datum."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError, JobError
from pipeline.ingest.field.geodetic import (
    degrees_minutes,
    local_grid,
    moves_datum,
    project,
    separation_elevation,
)
from pipeline.ingest.field.gnss import GnssRules, read_gnss
from pipeline.ingest.field.nmea import checksum, parse_fixes

ETRS = GnssRules(source_crs="EPSG:4258", grid_crs="EPSG:3875", separation_m=19.5)
HEAD = (
    "id,latitude_deg,longitude_deg,ellipsoid_height_m,sigma_e_m,sigma_n_m,sigma_v_m,code,quality\n"
)
ROW = "101,61.152,21.5616,40.125,0.006,0.008,0.015,EC1,fixed\n"


def write(tmp_path, text, name="fixes.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode())
    return path


def rules(**changes):
    stated = {name: getattr(ETRS, name) for name in GnssRules.__dataclass_fields__}
    return GnssRules(**{**stated, **changes})


# projection


@pytest.mark.parametrize("name", ["REF-CO-1", "REF-CO-2", "REF-CO-3", "REF-CO-4"])
def test_published_projections(published, name):
    ref = published(name)
    source, grid = ref.inputs["crs"].split(" to ")
    lat, lon = math.radians(ref.inputs["lat"]), math.radians(ref.inputs["lon"])
    got = project([lat], [lon], (source, grid))
    # ours are metres whatever the grid's unit; REF-CO-2 prints US survey feet
    unit = 1200 / 3937 if name == "REF-CO-2" else 1.0
    ref.check("E", got.easting[0] / unit)
    ref.check("N", got.northing[0] / unit)
    assert not moves_datum(got.operation)
    assert got.outside_deg == 0.0


def test_a_missing_grid_file_is_named_with_what_it_is_worth():
    # PROJ alone answers with NAD27 taken for NAD83 here (measured with PROJ 9.5.1)
    with pytest.raises(InputError, match=r"us_noaa_\w+\.tif \(good to 0\.15 m\).*leaves the datum"):
        project([math.radians(40.0)], [math.radians(-87.0)], ("EPSG:4267", "EPSG:26916"))


def test_a_datum_known_to_a_metre_is_not_good_enough():
    with pytest.raises(InputError, match=r"good to 1 m only .*; 0\.05 m asked for"):
        project([math.radians(61.0)], [math.radians(21.5)], ("EPSG:4326", "EPSG:3875"))
    got = project(
        [math.radians(61.0)], [math.radians(21.5)], ("EPSG:4326", "EPSG:3875"), accuracy_m=2.0
    )
    assert 21_000_000 < got.easting[0] < 22_000_000
    assert moves_datum(got.operation)


def test_datums_that_drift_need_an_epoch():
    # measured with PROJ 9.5.1: at -100, 40 and 2026.9 the shift is 1.3 m E-W and 0.6 m N-S
    place = [math.radians(40.0)], [math.radians(-100.0)]
    crs = ("EPSG:9000", "EPSG:6343")
    with pytest.raises(InputError, match="moves with time"):
        project(*place, crs)
    moved = project(*place, crs, epoch=2026.9)
    still = project(*place, ("EPSG:6318", "EPSG:6343"))
    assert abs(moved.easting[0] - still.easting[0]) == pytest.approx(1.3, abs=0.1)
    assert abs(moved.northing[0] - still.northing[0]) == pytest.approx(0.6, abs=0.1)


def test_swapped_latitude_and_longitude_fall_outside_the_grid():
    with pytest.raises(InputError, match="Look whether latitude and longitude are swapped"):
        project([math.radians(21.56)], [math.radians(61.15)], ("EPSG:4258", "EPSG:3875"))


@pytest.mark.parametrize(
    ("crs", "found"),
    [
        (("EPSG:999999", "EPSG:3875"), 'source_crs: "EPSG:999999" is no coordinate system'),
        (("EPSG:3875", "EPSG:3875"), "has no latitude and longitude"),
        (("EPSG:4258", "EPSG:4258"), "is not a plane grid with one unit"),
    ],
)
def test_systems_of_the_wrong_kind_are_refused(crs, found):
    with pytest.raises(JobError, match=found):
        project([1.06], [0.37], crs)


@given(north=st.floats(-3000.0, 3000.0), east=st.floats(-3000.0, 3000.0))
@settings(max_examples=10, deadline=None)
def test_a_local_plane_keeps_distances(north, east):
    # independent answer: radii of curvature of GRS 80 (geodesy textbooks) at 61.15 N
    lat0, lon0 = math.radians(61.15), math.radians(21.56)
    a, e2 = 6378137.0, 0.00669438002290
    w = 1 - e2 * math.sin(lat0) ** 2
    m, n = a * (1 - e2) / w**1.5, a / math.sqrt(w)
    lat, lon = lat0 + north / m, lon0 + east / (n * math.cos(lat0))
    grid = local_grid("EPSG:4258", 61.15, 21.56)
    got = project([lat], [lon], ("EPSG:4258", grid))
    # second order: meridians converge by d tan(lat) / R, 2.6 m at 3 km
    assert math.hypot(got.easting[0], got.northing[0]) == pytest.approx(
        math.hypot(east, north), abs=3.0
    )
    small = project(
        [lat0 + north * 1e-3 / m], [lon0 + east * 1e-3 / (n * math.cos(lat0))], ("EPSG:4258", grid)
    )
    assert (small.easting[0], small.northing[0]) == pytest.approx(
        (east * 1e-3, north * 1e-3), abs=1e-5
    )


def test_height_above_the_geoid(published):
    ref = published("REF-CO-10")
    ref.check("h", ref.inputs["H"] + ref.inputs["N"])
    assert float(separation_elevation(ref.expected["h"], ref.inputs["N"])) == ref.inputs["H"]


# the table


def test_a_table_comes_onto_the_grid(tmp_path):
    # an open road job (buildingSMART-Finland/InfraModel, M3_Road, CC-BY-4.0) lies about 61.1520 N,
    # 21.5616 E; its main line passes E 21 530 282.93, N 6 782 650.69 at station 0+100
    reading = read_gnss(write(tmp_path, HEAD + ROW), ETRS)
    shots = reading.shots
    assert shots.easting[0] == pytest.approx(21_530_282.93, abs=500)
    assert shots.northing[0] == pytest.approx(6_782_650.69, abs=500)
    assert shots.elevation[0] == pytest.approx(40.125 - 19.5)
    assert shots.sigma_h[0] == pytest.approx(0.010)
    assert shots.code[0] == "EC1"
    assert reading.crs == "EPSG:3875"
    # that job really lies 0.06 degrees outside the strip of its own grid: told, not refused
    assert [f.kind for f in reading.findings] == ["projection", "outside the grid"]
    assert "0.06 degrees outside the area of EPSG:3875" in reading.findings[1].text


def test_degrees_minutes_seconds_with_letters(tmp_path):
    text = "id,latitude_dms,longitude_dms,elevation_m\n1,61 09 07.2 N,21-33-41.76 E,20.6\n"
    dms = read_gnss(write(tmp_path, text), ETRS).shots
    plain = read_gnss(write(tmp_path, HEAD + ROW, "b.csv"), ETRS).shots
    assert dms.easting[0] == pytest.approx(plain.easting[0], abs=1e-6)
    assert dms.elevation[0] == 20.6


def test_a_projected_table_is_taken_as_it_is(tmp_path):
    text = "id,northing_m,easting_m,elevation_m,sigma_h_m\n1,6782800.1,21530300.2,20.6,0.012\n"
    reading = read_gnss(write(tmp_path, text), GnssRules())
    assert reading.shots.easting[0] == 21530300.2
    assert reading.shots.northing[0] == 6782800.1
    assert reading.shots.sigma_h[0] == 0.012


def test_a_local_job_asks_for_its_origin_and_for_control(tmp_path):
    path = write(tmp_path, HEAD + ROW)
    with pytest.raises(JobError, match="local_origin_deg: is not stated"):
        read_gnss(path, rules(grid_crs="local"))
    reading = read_gnss(path, rules(grid_crs="local", local_origin_deg=(61.15, 21.56)))
    # 0.002 degrees of latitude is 222.9 m on GRS 80 (111.44 km a degree at 61 N)
    assert reading.shots.northing[0] == pytest.approx(222.9, abs=0.3)
    assert "not localised" in [f.kind for f in reading.findings]
    with pytest.raises(JobError, match="a position lies 111 km from"):
        read_gnss(path, rules(grid_crs="local", local_origin_deg=(62.15, 21.56)))


def test_the_receivers_datum_is_never_assumed(tmp_path):
    with pytest.raises(JobError, match="source_crs: is not stated"):
        read_gnss(write(tmp_path, HEAD + ROW), rules(source_crs=""))


def test_ellipsoid_heights_need_a_separation(tmp_path):
    path = write(tmp_path, HEAD + ROW)
    with pytest.raises(InputError, match="ellipsoid heights without a geoid separation"):
        read_gnss(path, rules(separation_m=None))
    tied = read_gnss(path, rules(separation_m=None, tie_to_control=True))
    assert tied.shots.elevation[0] == 40.125
    assert "ellipsoid heights" in [f.kind for f in tied.findings]


def test_a_column_of_separations_must_agree_with_the_job(tmp_path):
    text = HEAD.replace(",code", ",geoid_separation_m,code") + ROW.replace(",EC1", ",19.502,EC1")
    reading = read_gnss(write(tmp_path, text), ETRS)
    assert reading.shots.elevation[0] == pytest.approx(40.125 - 19.502)
    with pytest.raises(
        InputError, match=r"line 2: geoid separation 19\.502 m, the job says -19\.5"
    ):
        read_gnss(write(tmp_path, text), rules(separation_m=-19.5))


def test_a_change_of_datum_warns_about_heights(tmp_path):
    reading = read_gnss(write(tmp_path, HEAD + ROW), rules(source_crs="EPSG:4326", accuracy_m=2.0))
    assert "height datum" in [f.kind for f in reading.findings]


def test_positions_that_are_not_fixed_are_kept_and_named(tmp_path):
    text = HEAD + ROW + ROW.replace("101", "102").replace("fixed", "Float")
    reading = read_gnss(write(tmp_path, text), ETRS)
    assert len(reading.shots) == 2
    finding = next(f for f in reading.findings if f.kind == "satellite quality")
    assert finding.points == ("102",)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("61.152", "61,152", "the row has 10 cells"),
        ("61.152", "", 'line 3, column "latitude_deg": is empty'),
        ("21.5616", "x", 'line 3, column "longitude_deg"'),
        ("40.125", "", 'line 3, column "ellipsoid_height_m": is empty'),
        ("40.125", "40125", 'line 3, column "ellipsoid_height_m": 40125 m'),
        ("40.125", "-9999", '"ellipsoid_height_m": -9999 m stands for no height'),
        ("0.015", "-0.015", 'line 3, column "sigma_v_m": is negative'),
        ("101,", ",", 'line 3, column "id": is empty'),
    ],
)
def test_a_bad_row_is_a_finding_and_the_rest_is_read(tmp_path, old, new, found):
    reading = read_gnss(write(tmp_path, HEAD + ROW + ROW.replace(old, new, 1)), ETRS)
    assert len(reading.shots) == 1
    assert reading.refused == 1
    assert found in reading.findings[0].text


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("id,latitude_deg,elevation_m\n1,2,3\n", 'no column "longitude"'),
        ("id,latitude_deg,longitude_deg\n1,2,3\n", "needs one column of heights"),
        ("id,latitude_deg,longitude_deg,elevation_m,ellipsoid_height_m\n", "one column of heights"),
        ("id,latitude_deg,longitude_deg,elevation_m\n", "no row can be used"),
        (HEAD + ROW.replace("61.152", "x"), "no row can be used; fixes.csv line 2"),
    ],
)
def test_a_table_that_says_too_little_is_refused(tmp_path, text, found):
    with pytest.raises(InputError, match=re.escape(found)):
        read_gnss(write(tmp_path, text), ETRS)


# fix sentences


SAMPLE = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
"""The sentence that public descriptions of the standard share (from memory; its own checksum
proves the memory)."""


def sentence(lat="6109.1200000", lon="02133.6960000", quality="4", alt="22.125", sep="19.500"):
    body = f"GNGGA,061500.00,{lat},N,{lon},E,{quality},18,0.7,{alt},M,{sep},M,1.0,0001"
    return f"${body}*{checksum(body):02X}"


def test_the_shared_sample_of_the_standard():
    fixes = parse_fixes("a.nmea", SAMPLE)
    assert math.degrees(fixes.latitude[0]) == pytest.approx(48 + 7.038 / 60)
    assert math.degrees(fixes.longitude[0]) == pytest.approx(11 + 31 / 60)
    assert (fixes.altitude[0], fixes.separation[0]) == (545.4, 46.9)
    assert fixes.quality.tolist() == ["single"]
    assert fixes.time.tolist() == ["12:35:19"]


def test_fixes_come_onto_the_grid_with_the_antenna_taken_off(tmp_path):
    path = write(tmp_path, sentence() + "\r\n", "a.nmea")
    reading = read_gnss(path, rules(separation_m=None, antenna_height_m=1.8))
    table = read_gnss(write(tmp_path, HEAD + ROW), ETRS)
    assert reading.shots.easting[0] == pytest.approx(table.shots.easting[0], abs=1e-4)
    assert reading.shots.elevation[0] == pytest.approx(22.125 - 1.8)
    assert "receiver geoid" in [f.kind for f in reading.findings]
    own = read_gnss(path, rules(separation_m=19.6, antenna_height_m=1.8))
    assert own.shots.elevation[0] == pytest.approx(22.125 + 19.5 - 19.6 - 1.8)
    with pytest.raises(JobError, match="antenna_height_m: is not stated"):
        read_gnss(path, ETRS)


def test_damaged_sentences_are_findings_and_others_are_counted(tmp_path):
    lines = [
        sentence(),
        sentence().replace("22.125", "22.126"),
        sentence()[:40],
        sentence(quality="0"),
        "$GNRMC,061500.00,A*00",
        "noise",
        sentence(quality="5"),
        "",
    ]
    reading = read_gnss(write(tmp_path, "\n".join(lines), "a.nmea"), rules(antenna_height_m=0.0))
    assert reading.shots.line.tolist() == [1, 7]
    assert reading.refused == 3
    told = [(f.line, f.text) for f in reading.findings if f.kind == "unreadable row"]
    assert [line for line, _ in told] == [2, 3, 4]
    assert "checksum" in told[0][1]
    assert "cut or has no checksum" in told[1][1]
    assert "no fix" in told[2][1]
    assert any("1 other sentence and 1 line that is no" in f.text for f in reading.findings)
    quality = next(f for f in reading.findings if f.kind == "satellite quality")
    assert quality.points == ("2",)


def remade(old, new):
    body = sentence()[1:].partition("*")[0].replace(old, new)
    return f"${body}*{checksum(body):02X}"


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("061500.00", "6:15", 'time "6:15" is not hhmmss'),
        (",1.0,0001", "", "13 fields, a fix has 15"),
        ("22.125,M", "22.125,F", "heights are not in metres"),
        ("22.125", "", "'' is not a plain number"),
        ("6109.1200000,N", "02133.6960000,E", '"02133.6960000" "E" is not degrees and minutes'),
    ],
)
def test_a_sentence_of_another_make_is_a_finding(old, new, found):
    fixes = parse_fixes("a.nmea", f"{remade(old, new)}\n{sentence()}")
    assert found in fixes.findings[0].text
    assert fixes.refused == 1


def test_fixes_may_stay_on_the_ellipsoid_for_control_to_shift(tmp_path):
    stated = rules(separation_m=None, tie_to_control=True, antenna_height_m=2.0)
    reading = read_gnss(write(tmp_path, sentence(), "a.nmea"), stated)
    assert reading.shots.elevation[0] == pytest.approx(22.125 + 19.5 - 2.0)
    assert "ellipsoid heights" in [f.kind for f in reading.findings]


def test_a_local_plane_needs_latitudes():
    with pytest.raises(JobError, match="EPSG:3875 has no latitude and longitude"):
        local_grid("EPSG:3875", 61.0, 21.0)


def test_a_file_without_one_good_fix_is_refused(tmp_path):
    path = write(tmp_path, sentence(quality="0"), "a.nmea")
    with pytest.raises(InputError, match=r"no fix can be used; a\.nmea line 1: quality"):
        read_gnss(path, rules(antenna_height_m=0.0))


@pytest.mark.parametrize(
    ("text", "side", "sides"),
    [
        ("4860.000", "N", "NS"),
        ("4807", "X", "NS"),
        ("0131.000", "E", "EW"),
        ("48-7.0", "N", "NS"),
        ("", "N", "NS"),
        ("01131.000", "E", "NS"),
        ("4807.038", "N", "EW"),
        ("4807.038", "", "NS"),
    ],
)
def test_what_is_no_ddmm_is_refused(text, side, sides):
    with pytest.raises(ValueError, match="is not degrees and minutes"):
        degrees_minutes(text, side, sides)


@given(d=st.integers(0, 179), m=st.floats(0.0, 59.9999), side=st.sampled_from(["E", "W"]))
@settings(max_examples=50, deadline=None)
def test_degrees_and_minutes(d, m, side):
    got = math.degrees(degrees_minutes(f"{d:03d}{m:010.7f}", side, "EW"))
    assert got == pytest.approx((d + round(m, 7) / 60) * (1 if side == "E" else -1), abs=1e-9)


def test_a_changed_letter_changes_the_checksum():
    body = SAMPLE[1:].partition("*")[0]
    assert checksum(body) == 0x47
    assert all(checksum(body.replace("4807", f"480{k}")) != 0x47 for k in (1, 2, 3))
    np.testing.assert_equal(checksum(""), 0)
