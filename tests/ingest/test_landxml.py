"""LandXML: what the file says, in metres, each thing once; what is not read is listed."""

from __future__ import annotations

import math
import random
import xml.etree.ElementTree as ET
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import InputError, LathError
from pipeline.ingest.landxml.read import read_landxml
from pipeline.settings import FileFormat

TESTS = Path(__file__).resolve().parent.parent
OPEN = TESTS / "data" / "landxml"
ROAD = TESTS.parent / "fixtures" / "open-road"
TERRAIN = ROAD / "shots" / "2020-10-26" / "m3_terrain.xml"
ALIGNMENT = ROAD / "design" / "m3_alignment_main.xml"
TOP = ROAD / "design" / "m3_top_main.xml"
BOTTOM = ROAD / "design" / "m3_bottom_main.xml"

HEAD = '<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units>'


def read(path, **fmt):
    return read_landxml(path, FileFormat(**fmt))


def given_text(tmp_path, body, *, head=HEAD, name="given.xml", **fmt):
    path = tmp_path / name
    path.write_bytes(body if isinstance(body, bytes) else f"{head}{body}</LandXML>".encode())
    return read(path, **fmt)


def said(reading, kind):
    return [finding.text for finding in reading.findings if finding.kind == kind]


def local(element):
    return element.tag.rpartition("}")[2]


def every(path, name):
    """Elements of a name, by the standard library's own reader."""
    return [element for element in ET.parse(path).iter() if local(element) == name]


def numbers(element, size):
    return np.array(element.text.split(), dtype=float).reshape(-1, size)


# ---- a published road, read by another reader too


@pytest.mark.parametrize("path", [TERRAIN, TOP, BOTTOM], ids=lambda path: path.stem)
def test_a_published_surface_has_the_points_and_faces_that_are_in_it(path):
    reading = read(path)

    (mesh,) = reading.meshes
    points, faces = every(path, "P"), every(path, "F")
    northing, easting, height = np.concatenate([numbers(p, 3) for p in points]).T
    assert np.array_equal(mesh.easting, easting)
    assert np.array_equal(mesh.northing, northing)
    assert np.array_equal(mesh.elevation, height)
    assert mesh.id.tolist() == [p.get("id") for p in points]
    named = mesh.id[mesh.triangles]
    assert [" ".join(row) for row in named] == [" ".join(f.text.split()) for f in faces]
    assert (reading.version, reading.unit, reading.crs) == ("1.2", "m", "EPSG:3875")
    assert (mesh.hidden, reading.refused) == (0, 0)


# plan area [m2], measured on the faces by two other programs before this one was written
@pytest.mark.parametrize(
    ("path", "area"), [(TERRAIN, 69488.6133), (TOP, 22503.5393), (BOTTOM, 22249.8854)]
)
def test_a_published_surface_has_the_area_that_was_measured_before(path, area):
    (mesh,) = read(path).meshes

    x, y = mesh.easting - mesh.easting[0], mesh.northing - mesh.northing[0]
    a, b, c = mesh.triangles.T
    twice = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
    assert abs(twice).sum() / 2 == pytest.approx(area, abs=5e-4)


def test_every_surveyed_point_is_a_shot_once_and_the_breaklines_run_through_them():
    reading = read(TERRAIN)

    rows = np.concatenate([numbers(one, 3) for one in every(TERRAIN, "PntList3D")])
    surveyed = {tuple(row) for row in rows}
    shots = reading.shots
    got = list(zip(shots.northing, shots.easting, shots.elevation, strict=True))
    assert len(got) == len(set(got))
    assert surveyed <= set(got)
    lines = reading.lines
    assert len(lines) == len(every(TERRAIN, "Breakline"))
    assert set(lines.kind) == {"break"}
    np.testing.assert_array_equal(shots.easting[lines.point], lines.easting)
    np.testing.assert_array_equal(shots.elevation[lines.point], lines.elevation)
    breaklines = np.concatenate([numbers(one[0], 3) for one in every(TERRAIN, "Breakline")])
    np.testing.assert_array_equal(lines.northing, breaklines[:, 0])


def test_a_published_alignment_is_as_long_as_it_says_and_its_curves_agree_with_their_radii():
    reading = read(ALIGNMENT)

    (alignment,) = reading.alignments
    assert [row.kind for row in alignment.elements] == ["line", "arc"] * 7 + ["line"]
    assert alignment.declared_length == 1266.246238  # the file's own words
    assert alignment.start_station == 0.0
    assert not said(reading, "declared number")
    for row in alignment.elements:
        if row.kind == "arc":
            assert math.dist(row.start, row.centre) == pytest.approx(row.radius_start, abs=1e-5)
            # right of the way from start to end lies the centre of a curve to the right
            (e0, n0), (e1, n1), (ec, nc) = row.start, row.end, row.centre
            side = (e1 - e0) * (nc - n0) - (n1 - n0) * (ec - e0)
            assert row.turn == (1 if side < 0 else -1)
    for before, after in pairwise(alignment.elements):
        assert before.end == after.start


def test_a_published_profile_has_arcs_as_long_as_their_turn():
    ((owner, profile),) = read(ALIGNMENT).profiles

    assert (owner, len(profile.points)) == ("M3_RS - CL", 4 + 9)
    points = profile.points
    for before, at, after in zip(points, points[1:], points[2:], strict=False):
        if not math.isnan(at.radius):
            into = math.atan2(at.elevation - before.elevation, at.station - before.station)
            out = math.atan2(after.elevation - at.elevation, after.station - at.station)
            # the length of a circular arc is radius times turn; a sag has a radius above 0
            assert at.arc_length == pytest.approx(at.radius * (out - into), abs=2e-5)


# ---- other open files


def test_a_clothoid_file_keeps_its_radii_and_turns():
    reading = read(OPEN / "line_clothoid_arc.xml")

    (alignment,) = reading.alignments
    assert [row.kind for row in alignment.elements] == [
        "line",
        "clothoid",
        "arc",
        "clothoid",
        "line",
    ]
    assert [row.turn for row in alignment.elements] == [0, -1, -1, -1, 0]
    into, out = alignment.elements[1], alignment.elements[3]
    assert (into.radius_start, into.radius_end, into.length) == (math.inf, 400.0, 80.0)
    assert (out.radius_start, out.radius_end) == (400.0, math.inf)
    assert into.intersection == (5176.680648305874, 4806.019859579980)
    assert not said(reading, "declared number")  # 960 m declared, 300 + 80 + 200 + 80 + 300


def test_us_survey_feet_are_metres_to_the_last_bit_or_two():
    path = OPEN / "ussft_tin_s1.xml"

    (mesh,) = read(path).meshes

    for k, point in enumerate(every(path, "P")):
        for got, feet in zip(
            (mesh.northing[k], mesh.easting[k], mesh.elevation[k]), point.text.split(), strict=True
        ):
            exact = Fraction(feet) * Fraction(1200, 3937)  # the US survey foot, by definition
            assert abs(Fraction(float(got)) - exact) <= exact * Fraction(1, 2**51)


def test_named_points_say_their_own_heights_in_metres():
    reading = read(OPEN / "v11_points_excerpt.xml")

    # the descriptions of its control repeat the height in metres: BAR[245.538]
    stated = [float(code[4:-1]) for code in reading.shots.code[:12]]
    np.testing.assert_allclose(reading.shots.elevation[:12], stated, rtol=0, atol=0.0006)
    assert reading.unit == "ft"
    assert reading.shots.id[12] == "267"


def test_a_drawn_feature_that_is_not_straight_is_listed_not_straightened():
    reading = read(OPEN / "v11_planfeature.xml")

    assert len(reading.lines) == 0
    assert '"Parcel 3" (Curve on line 19 is not straight)' in said(reading, "feature left out")[0]


# ---- every element once; expected values read off the file by hand


@pytest.fixture(scope="module")
def whole():
    return read(OPEN / "every_element.xml")


def test_named_points_carry_code_note_time_and_group(whole):
    shots = whole.shots

    assert shots.id[:3].tolist() == ["1", "3", "005"]
    assert shots.code[:3].tolist() == ["EC", "MH", "GR"]
    assert shots.note[:3].tolist() == ["edge", "", ""]
    assert shots.time[1] == "2026-05-14T07:00:00Z"
    assert (shots.easting[0], shots.northing[0], shots.elevation[0]) == (200.0, 100.0, 10.0)
    assert shots.line[:3].tolist() == [7, 9, 12]


def test_the_other_points_follow_each_once(whole):
    # P 5 is the named point 1; P 9 has two numbers; the first data point is P 5 again, the
    # third the contour's first but for its height; two of three curb vertices are points of faces
    assert whole.shots.id[3:].tolist() == [
        "P007", "Pa", "Pb", "D2", "D3", "B1.3", "B2.1", "B2.2", "B2.3",
    ]  # fmt: skip
    assert whole.shots.code[6] == "GR"


def test_rows_that_cannot_be_used_are_listed_by_line(whole):
    listed = {f.line: f.text for f in whole.findings if f.kind in ("bad row", "no height")}

    assert sorted(listed) == [8, 10, 14, 40]
    assert 'point "2": northing and easting without a height' in listed[8]
    assert "-9999 stands for no height" in listed[10]
    assert 'refers to "none", which is not there' in listed[14]
    assert 'point 9 of surface "ground": northing and easting without a height' in listed[40]
    assert whole.refused == 4


def test_faces_are_kept_hidden_or_listed_by_what_is_wrong(whole):
    (mesh,) = whole.meshes

    assert mesh.id[mesh.triangles].tolist() == [["5", "007", "b"], ["5", "a", "007"]]
    assert mesh.hidden == 2
    assert [text.partition(": ")[2] for text in said(whole, "bad face")] == [
        'surface "ground": 1 faces that are not three points, lines 50',
        'surface "ground": 1 faces to points that are not there, lines 48',
        'surface "ground": 1 faces to points that cannot be used, lines 49',
        'surface "ground": 1 faces that name a point twice, lines 47',
        'surface "ground": 1 faces with a mark that is neither hidden nor visible, lines 51',
    ]


def test_declared_numbers_that_the_faces_do_not_bear_out_are_told(whole):
    # lowest corner 10, not 0; highest 12 as declared. Plan areas by the shoelace rule, corners
    # (E, N): (200,100) (220,120) (210,140) gives 300; (200,100) (225,110) (220,120) gives 150
    told = said(whole, "declared number")

    assert any("declares elevMin 0.000, its faces give 10.0000" in text for text in told)
    assert any("declares area2DSurf 500.000, its faces give 450.0000" in text for text in told)
    assert not any("elevMax" in text for text in told)


def test_lines_carry_their_kind_and_the_shots_they_run_through(whole):
    lines, shots = whole.lines, whole.shots

    assert lines.kind == ("break", "break", "boundary", "hole", "boundary", "string")
    assert lines.name == ("curb", "", "", "", "", "fence")
    assert np.diff(lines.start).tolist() == [4, 3, 4, 3, 3, 3]
    assert shots.id[lines.point[:4]].tolist() == ["1", "P007", "B1.3", "1"]
    assert lines.elevation[4:7].tolist() == [10.5] * 3  # the contour's own
    assert np.isnan(lines.elevation[7:11]).all()  # a boundary in plan
    assert (lines.point[7:17] == -1).all()
    assert shots.id[lines.point[17:19]].tolist() == ["1", "3"]
    assert (lines.point[19], lines.elevation[19]) == (-1, 10.7)


def test_an_alignment_keeps_its_elements_references_and_equations(whole):
    (alignment,) = whole.alignments

    kinds = [row.kind for row in alignment.elements]
    assert kinds == ["line", "arc", "clothoid", "line", "line", "line", "line"]
    assert alignment.elements[0].start == (201.0, 101.0)  # point 2, which has no height
    assert alignment.elements[1].turn == 1
    assert alignment.elements[1].where == "every_element.xml line 61"
    assert alignment.elements[4].end == (321.0, 50.0)
    assert [row.end for row in alignment.elements[5:]] == [(201.0, 101.0), (202.0, 102.0)]
    assert alignment.start_station == 100.0
    # where staBack is missing it follows from the equation before: 200 + (180 - 150)
    assert alignment.equations == ((150.0, 150.0, 200.0), (180.0, 230.0, 300.0))
    # line 49√2, quarter circle 25π, clothoid 30, two irregular pieces, chain 2√2
    pieces = (49 * 2**0.5, 25 * math.pi, 30, math.hypot(10.1, 4), math.hypot(10, 16), 2 * 2**0.5)
    assert f"its elements have {sum(pieces):.3f} m" in said(whole, "declared number")[-1]


def test_a_profile_is_in_order_of_station_with_its_own_kinds_of_curve(whole):
    ((owner, profile),) = whole.profiles

    assert (owner, profile.name) == ("Lane", "lane top")
    got = [(p.station, p.length_in, p.length_out) for p in profile.points]
    assert got == [(100, 0, 0), (130, 10, 10), (170, 10, 25), (200, 0, 0), (240, 0, 0)]
    assert (profile.points[3].radius, profile.points[3].arc_length) == (-500.0, 10.0)
    assert (
        'profile "short" of "Lane" is left out: it has 1 points'
        in (said(whole, "profile left out")[0])
    )


def test_nothing_is_dropped_in_silence(whole):
    assert (
        "Feature 1, ProfSurf 1, PntList2D 1, CrossSects 1, CrossSect 2"
        in (said(whole, "not read")[0])
    )
    assert "RetWall 1" in said(whole, "points not read")[0]
    assert "wall 1" in said(whole, "breakline type")[0]
    assert "texture 1" in said(whole, "boundary type")[0]
    assert 'breakline "flat" has no heights and is left out' in said(whole, "line left out")[0]
    assert whole.crs == "EPSG:25832"
    assert said(whole, "heights") == ['every_element.xml: heights in "site bench marks"']


# ---- surfaces


def surface(name, height, *, extra=""):
    return (
        f'<Surface name="{name}"><Definition surfType="TIN"><Pnts>'
        f'<P id="1">0 0 {height}</P><P id="2">0 9 {height}</P><P id="3">9 0 {height}</P>{extra}'
        "</Pnts><Faces><F>1 2 3</F></Faces></Definition></Surface>"
    )


def test_of_several_surfaces_the_points_of_none_are_shots_until_one_is_named(tmp_path):
    body = f"<Surfaces>{surface('before', 50)}{surface('after', 5)}</Surfaces>"

    both = given_text(tmp_path, body)
    one = given_text(tmp_path, body, surface="after")

    assert [mesh.name for mesh in both.meshes] == ["before", "after"]
    assert len(both.shots) == 0
    assert 'holds 2 surfaces ("before", "after")' in said(both, "several surfaces")[0]
    assert said(both, "heights apart")
    assert one.shots.elevation.tolist() == [5.0] * 3
    with pytest.raises(InputError, match=r'0 surfaces are called "x"; there are "before", "after"'):
        given_text(tmp_path, body, surface="x")


def test_data_points_in_plan_only_are_left_out_by_name_and_one_with_a_height_is_read(tmp_path):
    """The schema allows either list there (LandXML 1.2, from memory)."""
    source = (
        '<SourceData><DataPoints name="flat"><PntList2D>1 2 3 4</PntList2D></DataPoints>'
        '<DataPoints name="one"><PntList3D>5 6 7</PntList3D></DataPoints></SourceData>'
    )
    body = surface("s", 1).replace("<Definition", f"{source}<Definition")

    reading = given_text(tmp_path, f"<Surfaces>{body}</Surfaces>")

    left = 'list of data points "flat" has no heights and is left out'
    assert [text.partition(": ")[2] for text in said(reading, "line left out")] == [left]
    assert reading.shots.elevation.tolist() == [1.0, 1.0, 1.0, 7.0]


def test_faces_on_an_id_that_two_points_have_are_left_out(tmp_path):
    twice = surface("s", 1, extra='<P id="3">9 1 1</P><P id="2">0 9 1</P>')

    reading = given_text(tmp_path, f"<Surfaces>{twice}</Surfaces>")

    assert reading.meshes == ()
    assert "ids given twice to different points" in said(reading, "bad face")[0]
    assert said(reading, "repeated id")[0].endswith("ids given twice: 3")


def test_an_empty_surface_is_no_mesh_and_no_error(tmp_path):
    reading = given_text(tmp_path, '<Surfaces><Surface name="e"><SourceData/></Surface></Surfaces>')

    assert (reading.meshes, len(reading.shots)) == ((), 0)


def test_a_hundred_thousand_points_in_one_list_are_read_across_every_piece(tmp_path):
    values = np.random.default_rng(8).uniform(0, 9e6, (100_000, 3)) % [1e7, 1e7, 300]
    text = "\n".join(" ".join(map(repr, row)) for row in values.tolist())
    source = f"<SourceData><DataPoints><PntList3D>{text}</PntList3D></DataPoints></SourceData>"
    body = f'<Surfaces><Surface name="s">{source}</Surface></Surfaces>'

    shots = given_text(tmp_path, body).shots

    got = np.stack([shots.northing, shots.easting, shots.elevation], axis=1)
    assert np.array_equal(got, values)


# ---- alignments that are not read


# common spiral names of the schemas; only the clothoid has curvature linear along its length
@pytest.mark.parametrize("form", ["bloss", "sinusoid", "cubicParabola", "biquadraticParabola", ""])
def test_a_spiral_that_is_no_clothoid_is_never_drawn_as_one(tmp_path, form):
    spiral = (
        f'<Spiral length="30" radiusStart="INF" radiusEnd="50" rot="cw" spiType="{form}">'
        "<Start>0 0</Start><PI>0 20</PI><End>1 30</End></Spiral>"
    )
    body = (
        f'<Alignments><Alignment name="A"><CoordGeom>{spiral}</CoordGeom></Alignment></Alignments>'
    )

    reading = given_text(tmp_path, body)

    assert reading.alignments == ()
    (finding,) = [f for f in reading.findings if f.kind == "alignment left out"]
    assert finding.severity == "stop"
    assert f'Spiral on line 1: a spiral of the type "{form}"' in finding.text


PIECES = {
    "an arc that does not say its turn": (
        '<Curve radius="5"><Start>0 0</Start><End>5 5</End></Curve>',
        "whether it turns cw or ccw",
    ),
    "an arc without radius or centre": (
        '<Curve rot="cw"><Start>0 0</Start><End>5 5</End></Curve>',
        "neither radius nor Center",
    ),
    "a radius below zero": (
        '<Curve rot="cw" radius="-5"><Start>0 0</Start><End>5 5</End></Curve>',
        "radius is -5",
    ),
    "a line without an end": ("<Line><Start>0 0</Start></Line>", "no Start or no End"),
    "a point that is not there": (
        '<Line><Start pntRef="7"/><End>1 1</End></Line>',
        'point "7" is not in the file',
    ),
    "a name that two points have": (
        '<Line><Start pntRef="8"/><End>1 1</End></Line>',
        'point "8" is there twice',
    ),
    "a point that is no point": ("<Line><Start>0 O</Start><End>1 1</End></Line>", '"O" is not'),
    "nothing": ("", "no geometry"),
}


@pytest.mark.parametrize("case", PIECES)
def test_an_alignment_that_cannot_be_read_exactly_is_left_out_by_name(tmp_path, case):
    piece, why = PIECES[case]
    points = '<CgPoint name="8">1 1 1</CgPoint><CgPoint name="8">2 2 2</CgPoint>'

    reading = given_text(
        tmp_path,
        f"<CgPoints>{points}</CgPoints><Alignments><Alignment name='A'><CoordGeom>{piece}"
        "</CoordGeom></Alignment></Alignments>",
    )

    assert reading.alignments == ()
    assert why in said(reading, "alignment left out")[0]


def test_an_arc_that_contradicts_itself_is_told(tmp_path):
    curve = (
        '<Curve rot="cw" radius="50" length="90"><Start>50 0</Start><Center>0 0</Center>'
        "<End>0 50.1</End></Curve>"
    )

    reading = given_text(
        tmp_path,
        f'<Alignments><Alignment name="A"><CoordGeom>{curve}</CoordGeom></Alignment></Alignments>',
    )

    told = " ".join(said(reading, "declared number"))
    assert "from its centre 50.000 m to the start and 50.100 m to the end" in told
    assert f"declares 90.000 m, its points give {25 * math.pi:.3f} m" in told


# ---- units


def units(attributes, kind="Imperial"):
    return f'<LandXML version="1.2"><Units><{kind} {attributes}/></Units>'


POINT = '<CgPoints><CgPoint name="1">1000 2000 100</CgPoint></CgPoints>'


@pytest.mark.parametrize(
    ("head", "unit", "metres"),
    [
        (units('linearUnit="foot"'), "ft", 0.3048),
        (units('linearUnit="USSurveyFoot" elevationUnit="feet"'), "ftUS", 1200 / 3937),
        (units('linearUnit="millimeter"', "Metric"), "mm", 0.001),
    ],
)
def test_the_unit_is_the_one_that_the_file_declares(tmp_path, head, unit, metres):
    reading = given_text(tmp_path, POINT, head=head)

    assert reading.unit == unit
    assert reading.shots.northing[0] == pytest.approx(1000 * metres, rel=1e-15)


def test_a_unit_in_the_job_file_counts_only_where_the_file_has_none(tmp_path):
    none = given_text(tmp_path, POINT, head='<LandXML version="1.2">', unit="ft")
    other = given_text(tmp_path, POINT, unit="ft")

    assert none.shots.easting[0] == pytest.approx(609.6)
    assert "read in ft as the job file states" in said(none, "unit")[0]
    assert other.shots.easting[0] == 2000.0
    assert "declares meter, the job file ft" in said(other, "unit")[0]


DATA = (
    "<Surfaces><Surface><SourceData><DataPoints><PntList3D>{}</PntList3D></DataPoints>"
    "</SourceData></Surface></Surfaces>"
)

REFUSED = {
    "no unit": (POINT, '<LandXML version="1.2">', "declares no unit of length"),
    "an unknown unit": (POINT, units('linearUnit="rod"'), 'declares the unit "rod"'),
    "two units": (
        POINT,
        '<LandXML><Units><Metric linearUnit="meter"/><Imperial linearUnit="foot"/></Units>',
        "declares foot and meter",
    ),
    "heights in another unit": (
        POINT,
        units('linearUnit="meter" elevationUnit="feet"', "Metric"),
        'lengths in "meter" and heights in "feet"',
    ),
    "a minus sign cut from its number": (
        DATA.format("1 2 3\n4 -\n5 6"),
        HEAD,
        r'line 3.*"-" is not a number',
    ),
    "a number cut in two": (
        DATA.format("1 2 3 4\n.5 5 6"),
        HEAD,
        "line 1: a list of 3D points with 7 numbers",
    ),
    "a document type": (
        b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bbbb">]><LandXML>&b;</LandXML>',
        "",
        "line 1.*a document type declaration",
    ),
    "elements without end": ("<a>" * 70 + "</a>" * 70, HEAD, "elements more than 64 deep"),
    "tags without end": ("".join(f"<a{k}/>" for k in range(6000)), HEAD, "too many elements or"),
    "an attribute of megabytes": (
        f'<a b="{"x" * (6 << 20)}"/>',
        HEAD,
        "one tag, comment or entity of more than 4 MB",
    ),
    "a comment of megabytes": (f"<!--{'x' * (6 << 20)}-->", HEAD, "one tag, comment or entity"),
    "another kind of XML": (b"<html/>", "", 'the root element is "html"'),
    "cut off": (HEAD.encode() + b"<Surf", "", "the file ends in the middle"),
    "two tags crossed": ("<a><b></a></b>", HEAD, "not well-formed XML: mismatched tag"),
    "accents without an encoding": (
        HEAD.encode() + b'<a n="\xe4"/></LandXML>',
        "",
        "its first line must state the encoding",
    ),
    "an encoding nobody knows": (
        b'<?xml version="1.0" encoding="klingon"?><LandXML/>',
        "",
        "cannot be decoded",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_file_that_cannot_be_trusted_is_refused_in_one_sentence(tmp_path, case):
    body, head, message = REFUSED[case]

    with pytest.raises(InputError, match=message) as refusal:
        given_text(tmp_path, body, head=head)

    assert refusal.value.which.startswith("given.xml")


@pytest.mark.parametrize(
    ("version", "namespace"),
    [
        ("1.0", "http://www.landxml.org/schema/LandXML-1.0"),
        ("1.1", "http://www.landxml.org/schema/LandXML-1.1"),
        ("2.0", "http://www.landxml.org/schema/LandXML-2.0"),
        ("1.2", "urn:anything"),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "iso-8859-1", "windows-1252"])
def test_any_namespace_prefix_and_declared_encoding_is_read(tmp_path, version, namespace, encoding):
    text = (
        f'<?xml version="1.0" encoding="{encoding}"?>'
        f'<x:LandXML xmlns:x="{namespace}" version="{version}"><x:Units>'
        '<x:Metric linearUnit="meter"/></x:Units><x:CgPoints>'
        '<x:CgPoint name="Höhe">1 2 3</x:CgPoint></x:CgPoints></x:LandXML>'
    )

    reading = given_text(tmp_path, text.encode(encoding))

    assert reading.shots.id.tolist() == ["Höhe"]
    assert reading.version == version
    assert not said(reading, "version")


def test_an_unknown_version_is_read_and_told(tmp_path):
    head = '<LandXML version="-99.0"><Units><Metric linearUnit="meter"/></Units>'

    reading = given_text(tmp_path, POINT, head=head)

    assert len(reading.shots) == 1
    assert 'states the version "-99.0"' in said(reading, "version")[0]


def test_a_damaged_file_is_read_or_refused_but_never_falls_over(tmp_path):
    whole = [
        (OPEN / name).read_bytes()
        for name in ("every_element.xml", "line_clothoid_arc.xml", "ussft_tin_s1.xml")
    ]
    # invented damage, seeded: bits flipped, pieces cut out, doubled or replaced
    dice = random.Random(20260514)
    words = [
        b"",
        b"-",
        b"nan",
        b"1e400",
        b"INF",
        b"<",
        b"&",
        b'"',
        b"\xff",
        b"-\n1",
        b"pntRef",
        b"0",
    ]
    refusals = []
    for _ in range(250):
        data = bytearray(dice.choice(whole))
        for _ in range(dice.choice((1, 1, 2, 5))):
            at = dice.randrange(len(data))
            if dice.random() < 0.3:
                data[at] ^= 1 << dice.randrange(8)
            else:
                data[at : at + dice.randrange(12)] = dice.choice(words)
        try:
            reading = given_text(tmp_path, bytes(data))
        except LathError as refusal:
            refusals.append(str(refusal))
        else:
            assert np.isfinite(reading.shots.easting).all()
    assert 25 < len(refusals) < 250
    assert max(map(len, refusals)) < 600
