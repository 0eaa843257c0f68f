"""Our small design tables: what they say is taken, what is wrong is named with its place."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import DesignError
from pipeline.ingest.job.design import read_alignment, read_profile
from pipeline.ingest.job.sections import read_sections

# ruff: noqa: E501
ALIGNMENT = """\
# invented
kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station
start,,,,,5240.000,3110.000,62.5,0+100
line,85.000,,,,,,,
clothoid,30.0,inf,120.0,right,,,,

arc,75.0,120.0,,right,,,,
# a comment between rows
clothoid,30.0,120.0,inf,right,,,,
arc,90,200,,left,,,,
"""

PROFILE = """\
station,elevation_m,curve_in_m,curve_out_m,radius_m
0+000,102.000,,,
0+120,103.800,30.0,50,
290.5,101.760,,,800
0+420,102.930,0,0.0,
"""

SECTIONS = """\
[[section]]
name = "A"
from = "0+000"
to = 270

[section.layers.finish]
right = [
  {to = "lip", width_m = 3.5, fall_pct = 2.0},
  {to = "flowline", width_m = 0.30, step_m = -0.024},
]
left = "mirror"

[section.layers."clay subgrade"]
drop_m = 0.335
crown_offset_m = -0.2
right = [{to = "edge of clay", width_m = 4.9, fall_pct = 2.5}]
left = []
"""


@pytest.fixture
def write(tmp_path):
    def write(name, text):
        path = tmp_path / name
        if isinstance(text, bytes):
            path.write_bytes(text)
        else:
            path.write_text(text, encoding="utf-8", newline="")
        return path

    return write


def test_an_alignment_is_read(write):
    rows = read_alignment(write("alignment.csv", ALIGNMENT))

    assert (rows.name, rows.start_station) == ("alignment", 100.0)
    assert rows.azimuth == pytest.approx(math.radians(62.5))
    assert [e.kind for e in rows.elements] == ["line", "clothoid", "arc", "clothoid", "arc"]
    assert [e.length for e in rows.elements] == [85.0, 30.0, 75.0, 30.0, 90.0]
    assert [e.turn for e in rows.elements] == [0, 1, 1, 1, -1]
    assert rows.elements[0].start == (5240.0, 3110.0)
    assert all(e.start is None for e in rows.elements[1:])
    radii = [(e.radius_start, e.radius_end) for e in rows.elements]
    assert radii[1:4] == [(math.inf, 120.0), (120.0, 120.0), (120.0, math.inf)]
    # lines are counted as an editor counts them
    assert [e.where for e in rows.elements][1:4] == [
        "alignment.csv line 5", "alignment.csv line 7", "alignment.csv line 9",
    ]  # fmt: skip


def test_a_profile_is_read(write):
    rows = read_profile(write("profile.csv", PROFILE))

    assert [(p.station, p.elevation) for p in rows.points] == [
        (0.0, 102.0), (120.0, 103.8), (290.5, 101.76), (420.0, 102.93),
    ]  # fmt: skip
    assert [(p.length_in, p.length_out) for p in rows.points] == [(0, 0), (30, 50), (0, 0), (0, 0)]
    assert [p.radius for p in rows.points][2] == 800.0
    assert math.isnan(rows.points[1].radius)
    assert rows.points[3].where == "profile.csv line 5"


def test_a_profile_needs_no_radius_column(write):
    text = "station,elevation_m,curve_in_m,curve_out_m\n0,1,,\n9,2,,\n"

    assert len(read_profile(write("profile.csv", text)).points) == 2


def test_sections_are_read(write):
    table = read_sections(write("sections.toml", SECTIONS))

    (row,) = table.sections
    assert (row.name, row.start, row.end) == ("A", 0.0, 270.0)
    finish, clay = row.layers
    assert [(b.name, b.width, b.rise) for b in finish.right] == [
        ("lip", 3.5, pytest.approx(-0.07)), ("flowline", 0.3, -0.024),
    ]  # fmt: skip
    assert finish.left == finish.right
    assert (finish.drop, finish.crown_offset) == (0.0, 0.0)
    assert (clay.name, clay.drop, clay.crown_offset) == ("clay subgrade", 0.335, -0.2)
    assert clay.left == ()


def test_a_byte_order_mark_and_other_line_ends_are_read(write):
    text = b"\xef\xbb\xbf" + ALIGNMENT.replace("\n", "\r\n").encode()

    assert len(read_alignment(write("alignment.csv", text)).elements) == 5


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("start,,,,,5240.000", "line,5,,,,,,,\nstart,,,,,5240.000",
         r"alignment.csv line 3, column \"kind\": found 'line'. Write start"),
        ("line,85", "spline,85", r"line 4, column \"kind\": found 'spline'. Write line or arc or cl"),
        ("line,85", "start,85", r"line 4, column \"kind\": found 'start'"),
        ("line,85.000", "line,85.0m", r"line 4, column \"length_m\": found '85.0m'. Write a length"),
        ("line,85.000", "line,", r"line 4, column \"length_m\": the cell is blank"),
        ("line,85.000", "line,-85", r"line 4, column \"length_m\": found '-85'. Write a length abo"),
        ("line,85.000", "line,nan", r"column \"length_m\": found 'nan'"),
        ("line,85.000,", "line,85.000,120", r"column \"radius_m\": found '120'. Write nothing: a r"),
        ("75.0,120.0,,right", "75.0,120.0,,", r"line 7, column \"turn\": the cell is blank. Write r"),
        ("75.0,120.0,,right", "75.0,120.0,,R", r"line 7, column \"turn\": found 'R'"),
        ("75.0,120.0,,right", "75.0,inf,,right", r"line 7, column \"radius_m\": found 'inf'. Write"),
        ("75.0,120.0,,right", "75.0,0,,right", r"column \"radius_m\": found '0'. Write a radius ab"),
        ("75.0,120.0,,right", "75.0,120.0,120,right", r"column \"radius_end_m\": found '120'"),
        ("30.0,inf,120.0", "30.0,Inf,120.0", r"line 5, column \"radius_m\": found 'Inf'. Write a r"),
        ("30.0,inf,120.0", "30.0,inf,inf", r"column \"radius_end_m\": found 'inf'. Write another"),
        ("30.0,inf,120.0", "30.0,inf,", r"column \"radius_end_m\": the cell is blank"),
        (",62.5,", ",N62E,", r"line 3, column \"azimuth_deg\": found 'N62E'. Write decimal degrees"),
        (",62.5,", ",399.9,", r"line 3, column \"azimuth_deg\": found '399.9'. Write decimal degre"),
        (",0+100", ",", r"line 3, column \"station\": the cell is blank. Write a station such as"),
        (",0+100", ",0+1000.5", r"line 3, column \"station\": found '0\+1000.5'"),
        ("5240.000", "5.240,000", r"line 3: found 10 cells under 9 columns"),
        ("5240.000", "٥", r"line 3, column \"easting_m\": found '٥'. Write metres"),
        ("line,85.000,,,,,,,", "line,85.000", r"line 4: found 2 cells under 9 columns. Give every"),
        ("radius_end_m", "radius2", r"line 2, header: found 'radius2'. Write each column once: ki"),
        ("radius_end_m,", "", r"line 2, header: 'radius_end_m' is missing"),
        ("turn,easting", "turn,turn,easting", r"line 2, header: found 'turn'. Write each column"),
        ("left,,,,", '"left,,,,', r"alignment.csv line 10: not a CSV row: unexpected end of data"),
    ],
)  # fmt: skip
def test_a_slip_in_an_alignment_is_named(write, old, new, message):
    assert old in ALIGNMENT

    with pytest.raises(DesignError, match=message):
        read_alignment(write("alignment.csv", ALIGNMENT.replace(old, new, 1)))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("103.800", "103,800", r"profile.csv line 3: found 6 cells under 5 columns"),
        (
            "103.800",
            "",
            r"profile.csv line 3, column \"elevation_m\": the cell is blank. Write met",
        ),
        (
            "30.0,50",
            "30.0,-50",
            r"line 3, column \"curve_out_m\": found '-50'. Write half the curv",
        ),
        ("30.0,50", "30.0,x", r"line 3, column \"curve_out_m\": found 'x'. Write half the curve's"),
        (
            "30.0,50,",
            "30.0,50,900",
            r"line 3, column \"radius_m\": found '900'. Write nothing, or l",
        ),
        (",800", ",-800", r"line 4, column \"radius_m\": found '-800'. Write a radius above zero"),
        (
            "290.5",
            "two",
            r"line 4, column \"station\": found 'two'. Write a station such as 0\+120",
        ),
        ("radius_m", "k", r"line 1, header: found 'k'"),
        ("curve_in_m,", "", r"line 1, header: 'curve_in_m' is missing"),
    ],
)
def test_a_slip_in_a_profile_is_named(write, old, new, message):
    assert old in PROFILE

    with pytest.raises(DesignError, match=message):
        read_profile(write("profile.csv", PROFILE.replace(old, new, 1)))


LIP = 'to = "lip", width_m = 3.5, fall_pct = 2.0'


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[[section]]", "[section]", r"sections.toml, key 'section': found \{'name'.*a list of"),
        ("[[section]]", "units = 'ft'\n[[section]]", r"sections.toml, key 'units': it is not known"),
        ('name = "A"', "", r"sections.toml, section entry 1, key 'name': it is missing"),
        ('name = "A"', "name = 1", r"entry 1, key 'name': found 1. Write a name in quotes"),
        ("to = 270", "to = 270\nuntil = 3", r"entry 1, key 'until': it is not known here. Use only"),
        ("to = 270", "to = true", r"section entry 1 'A', key 'to': found True. Write a number"),
        ("to = 270", "to = nan", r"entry 1 'A', key 'to': found nan. Write a finite number"),
        ("to = 270", 'to = "x"', r"key 'to': found 'x'. Write a station such as"),
        ("to = 270", "to = 0", r"key 'to': found 0. Write a station past 0"),
        ("to = 270", "to = " + "9" * 400, r"key 'to': found 9+\.\.\.\. Write a number"),
        ("to = 270", "", r"key 'to': it is missing"),
        ("drop_m", "drop", r"layer 'clay subgrade', key 'drop': it is not known here"),
        ("0.335", '"0.335"', r"layer 'clay subgrade', key 'drop_m': found '0.335'. Write a number"),
        ("left = []", "", r"layer 'clay subgrade', key 'left': it is missing. Write a list"),
        ('"mirror"', '"same"', r"layer 'finish', key 'left': found 'same'. Write a list of entries"),
        ('right = [{to = "edge', 'rigth = [{to = "edge', r"key 'rigth': it is not known here"),
        ('[{to = "edge of clay", width_m = 4.9, fall_pct = 2.5}]', "[]",
         r"layer 'clay subgrade', key 'right': found \[\]. Write at least one entry"),
        (LIP, 'to = "lip", width_m = 3.5', r"right entry 1 to 'lip': it gives neither of fall_pct"),
        (LIP, LIP + ", step_m = 0.1", r"right entry 1 to 'lip': it gives both of fall_pct and ste"),
        (LIP, 'to = "lip", width_m = -1, fall_pct = 2', r"entry 1, key 'width_m': found -1. Write a"),
        (LIP, 'to = "lip", fall_pct = 2', r"right entry 1, key 'width_m': it is missing"),
        (LIP, 'to = " ", width_m = 1, fall_pct = 2', r"right entry 1, key 'to': found ' '. Write a"),
        (LIP, LIP + ", note = 1", r"layer 'finish', right entry 1, key 'note': it is not known"),
        ("width_m = 3.5", "width_m = 3,5", r"sections.toml: it is not TOML: .*line 8"),
        ("[section.layers.finish]", "[section.layers]\nfinish = 3\n[section.layers.x]",
         r"key 'layers': found .*Write a named table for each layer"),
    ],
)  # fmt: skip
def test_a_slip_in_the_sections_is_named(write, old, new, message):
    assert old in SECTIONS

    with pytest.raises(DesignError, match=message):
        read_sections(write("sections.toml", SECTIONS.replace(old, new, 1)))


def test_a_section_without_layers_is_refused(write):
    text = '[[section]]\nname = "A"\nfrom = 0\nto = 9\n'

    with pytest.raises(
        DesignError, match=r"entry 1 'A', key 'layers': it is missing. Write at lea"
    ):
        read_sections(write("sections.toml", text))


@pytest.mark.parametrize("read", [read_alignment, read_profile, read_sections])
def test_a_file_that_is_not_there_or_not_text_is_refused(read, write, tmp_path):
    with pytest.raises(DesignError, match=r"it cannot be read: No such file or directory. Put the"):
        read(tmp_path / "design.x")
    with pytest.raises(DesignError, match=r"it cannot be read: Is a directory"):
        read(tmp_path)
    with pytest.raises(DesignError, match=r"design.x: byte 2 is not UTF-8. Save the file as UTF-8"):
        read(write("design.x", b"ab\xff"))


@pytest.mark.parametrize(
    ("read", "message"),
    [
        (read_alignment, "it has no header row. Begin with kind,length_m"),
        (read_profile, "it has no header row. Begin with station,elevation_m"),
        (read_sections, "key 'section': it is missing. Write a list of tables"),
    ],
)
def test_an_empty_file_is_refused(read, message, write):
    with pytest.raises(DesignError, match=message):
        read(write("empty", "# nothing\n\n"))


def test_a_start_without_elements_is_refused(write):
    with pytest.raises(DesignError, match=r"it has 1 rows. Give a start and its elements"):
        read_alignment(write("alignment.csv", "".join(ALIGNMENT.splitlines(True)[:3])))


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    kind=st.sampled_from([(read_alignment, ALIGNMENT), (read_profile, PROFILE), (read_sections, SECTIONS)]),
    at=st.floats(0.0, 1.0),
    cut=st.integers(0, 6),
    junk=st.binary(max_size=6) | st.text(max_size=4).map(lambda t: t.encode("utf-8", "ignore")),
)  # fmt: skip
def test_a_damaged_file_is_read_or_refused_and_nothing_else(tmp_path: Path, kind, at, cut, junk):
    read, text = kind
    data = text.encode()
    place = int(at * len(data))
    path = tmp_path / "damaged"
    path.write_bytes(data[:place] + junk + data[place + cut :])

    try:
        said = read(path).name
    except DesignError as error:
        said = str(error)
    assert said.startswith("damaged")


EQUATION_HEADER = "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station,station_back,station_ahead\n"
EQUATION_TABLE = (
    EQUATION_HEADER
    + "start,,,,,5240,3110,62.5,1+000,,\nline,500,,,,,,,,,\n"
    + "equation,,,,,,,,,1+240,1+200\nequation,,,,,,,,,1+300,2+000\n"
)


def test_equations_stand_where_the_stations_before_them_say(tmp_path):
    path = tmp_path / "alignment.csv"
    path.write_text(EQUATION_TABLE, encoding="utf-8")

    rows = read_alignment(path)

    # 240 m on to the first; from 1+200 to 1+300 another 100 m
    assert rows.equations == ((1240.0, 1240.0, 1200.0), (1340.0, 1300.0, 2000.0))
    assert len(rows.elements) == 1


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("1+300,2+000", "1+100,2+000", 'line 5, column "station_back".*not before 1200'),
        ("1+300,2+000", ",2+000", 'column "station_back".*blank'),
        ("line,500,,,,,,,,,", "line,500,,,,,,,,1+000,", 'column "station_back".*does not use'),
    ],
)
def test_an_equation_that_cannot_stand_there_is_refused(tmp_path, old, new, message):
    path = tmp_path / "alignment.csv"
    assert old in EQUATION_TABLE
    path.write_text(EQUATION_TABLE.replace(old, new), encoding="utf-8")

    with pytest.raises(DesignError, match=message):
        read_alignment(path)
