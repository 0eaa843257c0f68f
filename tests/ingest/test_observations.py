"""Sightings and level books from tables, and the survey part of LandXML."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.ingest.field.angles import parse_dms, parse_gon, parse_packed
from pipeline.ingest.field.observations import read_level_book, read_observations
from pipeline.ingest.landxml.observations import read_landxml_observations

SURVEY = Path(__file__).resolve().parent.parent / "data" / "survey" / "two_setups_v11.xml"
HEADER = (
    "setup,occupied,target,role,face,instrument_height_m,target_height_m,horizontal_dms,"
    "zenith_dms,slope_distance_m,prism_constant_mm,ppm,code,note,time\n"
)
ROWS = (
    "S1,A,B,backsight,left,1.520,1.600,0-00-00,90-15-30,120.345,-34,12.5,,,06:12\n"
    'S1,A,104,foresight,,1.520,1.600,123-45-06.7,88-30-00,35.120,-34,12.5,EC1,"edge, low",06:14\n'
)


def write(tmp_path, text, name="book.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode())
    return path


# angles


@given(
    sign=st.sampled_from(["", "-"]),
    d=st.integers(0, 359),
    m=st.integers(0, 59),
    s=st.floats(0.0, 59.99),
)
@settings(max_examples=60, deadline=None)
def test_degrees_minutes_seconds_in_every_dress(sign, d, m, s):
    seconds = f"{s:05.2f}"
    want = math.radians((d + m / 60 + float(seconds) / 3600) * (-1 if sign else 1))
    dressed = [
        f"{sign}{d}-{m:02d}-{seconds}",
        f"{sign}{d} {m} {seconds}",
        f"{sign}{d}:{m}:{seconds}",
    ]
    dressed.append(f"{sign}{d}°{m:02d}'{seconds}\"")
    for text in dressed:
        assert parse_dms(text) == pytest.approx(want, abs=1e-12)
    packed = f"{sign}{d}.{m:02d}{seconds.replace('.', '')}"
    assert parse_packed(packed) == pytest.approx(want, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("-359.5958", -(359 + 59 / 60 + 58 / 3600)), ("89.5", 89 + 50 / 60), ("0.", 0.0), ("7", 7.0)],
)
def test_packed_angles_of_the_open_survey(text, degrees):
    # seen in tests/data/survey: the sign belongs to all parts, digits are padded on the right
    assert math.degrees(parse_packed(text)) == pytest.approx(degrees, abs=1e-10)


def test_a_circle_has_400_gon():
    assert parse_gon("400") == pytest.approx(2 * math.pi)


@pytest.mark.parametrize(
    "text", ["12.6000", "12.0060", "12,30", "1e2", "", "12.30.15", "nan", "１２.30"]
)
def test_what_is_no_packed_angle_is_refused(text):
    with pytest.raises(ValueError, match=r"dd\.mmss|reach 60"):
        parse_packed(text)


@pytest.mark.parametrize("text", ["123.4506", "12-60-00", "12-30-60", "12-30", "12-30-15 N", "abc"])
def test_what_is_no_dms_is_refused(text):
    with pytest.raises(ValueError, match=r"123-45-06\.7|reach 60|cannot stand"):
        parse_dms(text)


def test_a_letter_and_a_sign_contradict():
    with pytest.raises(ValueError, match="the letter S where it cannot stand"):
        parse_dms("-33 15 00 S", sides="NS")


# the table of sightings


def test_a_table_is_read_into_metres_and_radians(tmp_path):
    notes = read_observations(write(tmp_path, HEADER + ROWS))
    book = notes.observations
    assert book.target.tolist() == ["B", "104"]
    assert book.role.tolist() == ["backsight", "foresight"]
    assert book.face.tolist() == ["left", "left"]
    assert math.degrees(book.horizontal[1]) == pytest.approx(123 + 45 / 60 + 6.7 / 3600)
    assert math.degrees(book.zenith[0]) == pytest.approx(90 + 15.5 / 60)
    np.testing.assert_allclose(book.prism_constant, -0.034)
    np.testing.assert_allclose(book.ppm, 12.5)
    assert book.note[1] == "edge, low"
    assert book.where(1) == "book.csv line 3 (S1 to 104)"
    assert notes.refused == 0
    assert notes.findings == ()


def test_the_name_of_a_column_says_its_unit(tmp_path):
    text = (
        "setup,target,role,instrument_height_ft,target_height_m,horizontal_gon,zenith_deg,"
        "slope_distance_ftUS\nA,B,foresight,5,1.6,100,90.5,1000\n"
    )
    book = read_observations(write(tmp_path, text)).observations
    assert book.instrument_height[0] == pytest.approx(5 * 0.3048)
    assert book.slope_distance[0] == pytest.approx(1000 * 1200 / 3937, abs=1e-12)
    assert book.horizontal[0] == pytest.approx(math.pi / 2)
    # without the column, a set-up is named after its point
    assert book.occupied.tolist() == ["A"]


def test_a_zenith_past_180_is_face_right(tmp_path):
    text = HEADER + ROWS.replace("88-30-00", "271-30-00")
    book = read_observations(write(tmp_path, text)).observations
    assert book.face.tolist() == ["left", "right"]


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("88-30-00", "88-61-00", 'line 3, column "zenith_dms": 61 minutes'),
        ("88-30-00", "0-00-00", 'line 3, column "zenith_dms": a zenith angle of 0.0000'),
        ("88-30-00", "", 'line 3, column "zenith_dms": is empty though a distance'),
        ("123-45-06.7", "", 'line 3, column "horizontal_dms": is empty'),
        ("35.120", "35,120", "line 3"),
        ("35.120", "-35.120", 'column "slope_distance_m": a distance of -35.12 m'),
        ("35.120", "35120", 'column "slope_distance_m": 35120, beyond 10000'),
        ("1.520,1.600,123", "1.520,1600,123", 'column "target_height_m": 1600, beyond 30'),
        ("35.120", "nan", "'nan' is not a plain number"),
        ("foresight", "sideshot", 'column "role": found "sideshot"'),
        ("foresight,", "foresight,right", 'column "face": "right" against a zenith angle of 88.5'),
        ("S1,A,104", ",A,104", 'column "setup": is empty'),
        ("35.120,-34", "35.120,-34 mm", 'column "prism_constant_mm"'),
        (',"edge, low"', ",edge, low", "the row has 16 cells, the header 15"),
    ],
)
def test_a_bad_cell_is_a_finding_by_line_and_column_and_reading_goes_on(tmp_path, old, new, found):
    notes = read_observations(write(tmp_path, HEADER + ROWS.replace(old, new)))
    first = notes.findings[0]
    assert found in first.text
    assert first.line == 3
    assert first.severity == "person"
    assert notes.refused == 1
    assert notes.observations.target.tolist() == ["B"]


def test_a_direction_needs_no_distance(tmp_path):
    text = "setup,target,role,horizontal_deg\nS1,B,backsight,12.5\n"
    book = read_observations(write(tmp_path, text)).observations
    assert math.isnan(book.slope_distance[0])
    assert math.isnan(book.zenith[0])


def test_what_is_not_stated_is_said(tmp_path):
    head = "setup,target,role,horizontal_deg,zenith_deg,slope_distance_m,instrument_height_m,"
    text = head + "target_height_m,battery\nS1,B,check,10,90,50,1.5,1.6,80\n"
    notes = read_observations(write(tmp_path, text))
    said = {f.kind: f.text for f in notes.findings}
    assert "no column prism_constant or ppm; taken as applied" in said["distance correction"]
    assert "columns not read: battery" in said["column not read"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("setup,target,horizontal_deg\nA,B,1\n", 'line 1: no column "role"'),
        ("setup,target,role,horizontal\nA,B,check,1\n", 'column "horizontal" states no unit'),
        (
            "setup,target,role,horizontal_deg,prism_constant_cm\nA,B,check,1,-3.4\n",
            'column "prism_constant_cm" is in a unit that is not read',
        ),
        (
            "setup,target,role,horizontal_deg,horizontal_gon\nA,B,check,1,1\n",
            "columns horizontal_deg and horizontal_gon say the same thing twice",
        ),
        ("setup,target,role,setup\n", 'column "setup" stands there twice'),
        ("setup,,role\n", "a column has no name"),
        ("", "has no header row"),
        ("setup,target,role,horizontal_deg\n", "a header and no rows"),
        ("setup,target,role,horizontal_deg\nA,B,check,x\n", "no row can be used; the first"),
        ('setup,target,role,horizontal_deg\nA,"B,check,1\n', "line 2: unexpected end of data"),
        ("setup,target,role,horizontal_deg\nA,B\0,check,1\n", "line 2: holds a zero byte"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(tmp_path, text, found):
    with pytest.raises(InputError, match=re.escape(found)):
        read_observations(write(tmp_path, text))


def test_another_encoding_is_refused_by_line(tmp_path):
    path = tmp_path / "book.csv"
    path.write_bytes(b"setup,target,role,horizontal_deg\nA,Gr\xfcn,check,1\n")
    with pytest.raises(InputError, match=r"book\.csv line 2: byte 0xfc is not UTF-8"):
        read_observations(path)


def test_marks_comments_and_line_ends_do_not_matter(tmp_path):
    text = "\ufeff# morning\r\n" + (HEADER + "\n" + ROWS).replace("\n", "\r\n")
    notes = read_observations(write(tmp_path, text))
    assert notes.observations.line.tolist() == [4, 5]


# level books


def test_a_level_book_is_read(tmp_path):
    text = (
        "point,backsight_m,intermediate_m,foresight_m,distance_m,elevation_m\n"
        "BM1,1.512,,,,100.000\nhub 4,,1.204,,,100.308\n"
        "TP1,1.420,,1.350,60,100.162\nBM2,,,1.300,55,\n"
    )
    book = read_level_book(write(tmp_path, text))
    assert book.point.tolist() == ["BM1", "hub 4", "TP1", "BM2"]
    np.testing.assert_array_equal(book.backsight, [1.512, math.nan, 1.420, math.nan])
    np.testing.assert_array_equal(book.booked, [100.0, 100.308, 100.162, math.nan])


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("point,backsight_m\nA,1\n", 'no column "foresight"'),
        (
            "point,backsight_m,foresight_m\nA,1.2,\nB,,1.x\n",
            "line 3, column \"foresight_m\": '1.x'",
        ),
        ("point,backsight_m,foresight_m\nA,1.2,\n", "1 rows"),
    ],
)
def test_a_level_book_with_a_bad_row_is_refused(tmp_path, text, found):
    with pytest.raises(InputError, match=re.escape(found)):
        read_level_book(write(tmp_path, text))


# LandXML


def survey(
    body, *, units='linearUnit="meter" angularUnit="decimal degrees"', kind="Metric", doc=""
):
    return (
        f'<?xml version="1.0"?>{doc}<LandXML version="1.2"><Units><{kind} {units}/></Units>'
        '<CgPoints><CgPoint name="A" pntSurv="control">200 100 50</CgPoint>'
        '<CgPoint name="B" pntSurv="control">300 100 51</CgPoint></CgPoints>'
        f"<Survey>{body}</Survey></LandXML>"
    )


SETUP = '<InstrumentSetup id="s" stationName="A" instrumentHeight="1.5"/>'
RAW = (
    '<RawObservation targetHeight="1.6" horizAngle="90" slopeDistance="50" zenithAngle="90.5">'
    '<TargetPoint pntRef="7"/></RawObservation>'
)
GROUP = (
    '<ObservationGroup id="g"><Backsight circle="0" setupID="s"><BacksightPoint pntRef="B"/>'
    f"</Backsight>{RAW}</ObservationGroup>"
)


def test_an_open_survey_is_read_whole():
    # counts taken with grep on the excerpt
    text = SURVEY.read_text(encoding="utf-8")
    notes = read_landxml_observations(SURVEY)
    assert notes.format == "LandXML"
    assert notes.version == "1.1"
    assert notes.unit == "foot"
    assert notes.refused == 0
    assert len(notes.control) == text.count('pntSurv="control"') == 4
    assert len(notes.points) == text.count('pntSurv="sideShot"') == 125
    raw = text.count("<RawObservation ")
    assert len(notes.observations) == raw + text.count("<Backsight ")
    measured = np.count_nonzero(~np.isnan(notes.observations.slope_distance))
    assert measured == text.count("slopeDistance=")


def test_northing_comes_first_and_feet_are_international():
    notes = read_landxml_observations(SURVEY)
    point = notes.control.take(notes.control.id == "100")
    assert point.northing[0] == pytest.approx(32808.398950131232 * 0.3048)
    # this one stands at 10000, 10000 m: the code repeats its height in metres
    assert point.easting[0] == pytest.approx(10_000.0, abs=1e-6)
    assert point.code[0] == f"BAR[{point.elevation[0]:.3f}]"


def test_the_circle_orients_and_the_sighting_of_the_backsight_checks(tmp_path):
    body = SETUP + GROUP.replace('pntRef="7"', 'pntRef="B"')
    book = read_landxml_observations(write(tmp_path, survey(body), "s.xml")).observations
    assert book.role.tolist() == ["backsight", "check"]
    # without a circle the sighting itself is the backsight
    bare = body.replace(' circle="0"', "")
    book = read_landxml_observations(write(tmp_path, survey(bare), "s.xml")).observations
    assert book.role.tolist() == ["backsight"]


@pytest.mark.parametrize(
    ("units", "kind", "distance", "angle"),
    [
        ('linearUnit="meter" angularUnit="grads"', "Metric", 50.0, 90 * math.pi / 200),
        ('linearUnit="millimeter" angularUnit="radians"', "Metric", 0.05, 90.0),
        ('linearUnit="USSurveyFoot" angularUnit="decimal degrees"', "Imperial",
         50 * 1200 / 3937, math.pi / 2),
        ('linearUnit="foot" angularUnit="decimal  dd.mm.ss"', "Imperial", 15.24, math.pi / 2),
    ],
)  # fmt: skip
def test_units_are_those_of_the_file(tmp_path, units, kind, distance, angle):
    text = survey(SETUP + GROUP, units=units, kind=kind)
    book = read_landxml_observations(write(tmp_path, text, "s.xml")).observations
    assert book.slope_distance[1] == pytest.approx(distance)
    assert book.horizontal[1] == pytest.approx(angle)


def test_a_foreign_namespace_and_a_setup_after_its_group_are_no_hindrance(tmp_path):
    text = survey(GROUP + SETUP).replace("<LandXML ", '<x:LandXML xmlns:x="urn:else" ')
    text = text.replace("</LandXML>", "</x:LandXML>")
    book = read_landxml_observations(write(tmp_path, text, "s.xml")).observations
    assert book.occupied.tolist() == ["A", "A"]
    np.testing.assert_array_equal(book.instrument_height, 1.5)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('horizAngle="90"', 'horizAngle="9O"', "horizAngle: '9O' is not a plain number"),
        ('horizAngle="90"', "", "no horizontal angle"),
        ('zenithAngle="90.5"', "", "a distance without zenith angle"),
        ('slopeDistance="50"', 'slopeDistance="-50"', "not positive"),
        ('slopeDistance="50"', 'slopeDistance="5e9"', "slope distance 5e+09 m, beyond 10000"),
        ('<TargetPoint pntRef="7"/>', "", "names no target point"),
        ('setupID="s"', 'setupID="t"', 'no InstrumentSetup with the id "t"'),
    ],
)
def test_a_bad_observation_is_a_finding_by_line(tmp_path, old, new, found):
    text = survey("\n" + SETUP + "\n" + GROUP.replace(old, new, 1))
    notes = read_landxml_observations(write(tmp_path, text, "s.xml"))
    assert notes.refused >= 1
    assert any(found in f.text and f.line == 3 for f in notes.findings)


def test_points_without_height_or_that_only_point_elsewhere(tmp_path):
    more = '<CgPoint name="P">1 2</CgPoint><CgPoint pntRef="A"/></CgPoints>'
    text = survey(SETUP + GROUP).replace("</CgPoints>", more)
    notes = read_landxml_observations(write(tmp_path, text, "s.xml"))
    assert notes.control.id.tolist() == ["A", "B"]
    assert len(notes.points) == 0
    assert any('point "P" with 2 coordinates' in f.text for f in notes.findings)
    assert notes.refused == 1


def test_coordinates_under_the_instrument_are_control(tmp_path):
    inline = '<InstrumentSetup id="s" instrumentHeight="1.5"><InstrumentPoint name="Q">1 2 3'
    text = survey(inline + "</InstrumentPoint></InstrumentSetup>" + GROUP)
    notes = read_landxml_observations(write(tmp_path, text, "s.xml"))
    point = notes.control.take(notes.control.id == "Q")
    assert (point.northing[0], point.easting[0], point.elevation[0]) == (1.0, 2.0, 3.0)
    assert notes.observations.occupied.tolist() == ["Q", "Q"]


def test_a_point_that_is_no_number_is_a_finding(tmp_path):
    text = survey(SETUP + GROUP).replace("300 100 51", "300 -\n100 51")
    notes = read_landxml_observations(write(tmp_path, text, "s.xml"))
    assert notes.control.id.tolist() == ["A"]
    assert any("point B: '-' is not a plain number" in f.text for f in notes.findings)


def test_reduced_observations_are_counted_and_not_read(tmp_path):
    text = survey(SETUP + GROUP.replace("</Obs", '<ReducedObservation horizDistance="1"/></Obs'))
    notes = read_landxml_observations(write(tmp_path, text, "s.xml"))
    assert any("1 reduced observations are not read" in f.text for f in notes.findings)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (survey(SETUP, doc="<!DOCTYPE LandXML [<!ENTITY a 'b'>]>"), "document type declaration"),
        (survey(SETUP)[:-20], "line 1, column"),
        ("<a>" * 80 + "</a>" * 80, "elements 64 deep"),
        (survey(SETUP, units='linearUnit="furlong"'), 'the linear unit "furlong"'),
        (survey(SETUP + GROUP, units='linearUnit="meter" angularUnit="mil"'), 'unit "mil"'),
        (survey(SETUP, units=""), "states no linear unit"),
        ('<LandXML><Units><Metric linearUnit="meter"/></Units></LandXML>', "holds no survey"),
        ('<?xml version="1.0" encoding="klingon"?><a/>', "unknown encoding"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused(tmp_path, text, found):
    with pytest.raises(InputError, match=re.escape(found)):
        read_landxml_observations(write(tmp_path, text, "s.xml"))


def test_one_endless_token_is_refused_early(tmp_path):
    # expat takes quadratic time on one long tag (measured: 12.9 s for 8 MB)
    text = survey(SETUP).replace('stationName="A"', f'stationName="{"x" * 9_000_000}"')
    with pytest.raises(InputError, match="more than 4 MB"):
        read_landxml_observations(write(tmp_path, text, "s.xml"))


def test_a_unit_is_taken_from_the_job_only_where_the_file_has_none(tmp_path):
    bare = write(tmp_path, survey(SETUP, units='angularUnit="radians"'), "s.xml")
    assert read_landxml_observations(bare, unit="ft").control.northing[0] == pytest.approx(60.96)
    stated = write(tmp_path, survey(SETUP), "t.xml")
    with pytest.raises(InputError, match='states "meter", the job says "ft"'):
        read_landxml_observations(stated, unit="ft")
