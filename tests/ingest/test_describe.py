"""What a file holds, in its own unit, and what is odd about it.

Independent answers: laspy for scans, the standard library's XML reader and numpy for
LandXML, figures measured on the open files by other software (fixtures/open-road/README.md,
tests/data/*/ORIGIN.md), formulas of solids, and files packed here by hand.
"""

from __future__ import annotations

import io
import math
import struct
import tracemalloc
import xml.etree.ElementTree as ET
from pathlib import Path

import ezdxf
import laspy
import numpy as np
import pytest
from pyproj import CRS

from pipeline.errors import InputError, JobError
from pipeline.ingest.describe.description import Asked
from pipeline.ingest.describe.files import describe

TESTS = Path(__file__).resolve().parent.parent
OPEN = TESTS / "data"
ROAD = TESTS.parent / "fixtures" / "open-road"
TERRAIN = ROAD / "shots" / "2020-10-26" / "m3_terrain.xml"
ALIGNMENT = ROAD / "design" / "m3_alignment_main.xml"
DEMO = TESTS.parent / "fixtures" / "demo"
US_FOOT = 1200.0 / 3937.0  # definition; see REF-CO-9
SPLIT_MINUS = (
    "<Surfaces><Surface><SourceData><Breaklines><Breakline><PntList3D>1 2 -\n70.029"
    "</PntList3D></Breakline></Breaklines></SourceData></Surface></Surfaces>"
)
METRIC = '<Metric linearUnit="meter"/>'


def told(path, **stated):
    return describe(path, Asked(**stated), lambda _: None)


def put(tmp_path, content, name):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def landxml(tmp_path, body, units=METRIC, name="given.xml"):
    text = f'<LandXML version="1.2"><Units>{units}</Units>{body}</LandXML>'
    return put(tmp_path, text, name)


def surface(points, faces, name="ground"):
    rows = "".join(f'<P id="{k}">{n} {e} {z}</P>' for k, (n, e, z) in enumerate(points, start=1))
    return (
        f'<Surfaces><Surface name="{name}"><Definition surfType="TIN"><Pnts>{rows}</Pnts>'
        f"<Faces>{faces}</Faces></Definition></Surface></Surfaces>"
    )


def local(path, name):
    """Elements of a name, by the standard library's own reader."""
    return [one for one in ET.parse(path).iter() if one.tag.rpartition("}")[2] == name]


# ---- scans


def vlr(user, number, data):
    return b"\0\0" + user.encode().ljust(16, b"\0") + struct.pack("<HH", number, len(data)) + bytes(
        32
    ) + data  # fmt: skip


def keys(*pairs):
    """GeoTIFF key directory of codes."""
    rows = b"".join(struct.pack("<4H", key, 0, 1, value) for key, value in pairs)
    return vlr("LASF_Projection", 34735, struct.pack("<4H", 1, 1, 0, len(pairs)) + rows)


def wkt(code):
    return vlr(
        "LASF_Projection", 2112, CRS.from_user_input(code).to_wkt("WKT2_2019").encode() + b"\0"
    )


def las(raw, *, vlrs=b"", count=None, returns=None, scale=0.01):
    """A LAS 1.2 file of point format 0, packed by hand (ASPRS LAS 1.2 layout, from memory)."""
    count = len(raw) if count is None else count
    block = bytearray(227)
    block[:4], block[24], block[25] = b"LASF", 1, 2
    many = vlrs.count(b"LASF_")
    struct.pack_into("<HIIBHI", block, 94, 227, 227 + len(vlrs), many, 0, 20, count)
    struct.pack_into("<5I", block, 111, count if returns is None else returns, 0, 0, 0, 0)
    place = np.array(raw, dtype=float).reshape(-1, 3) * scale
    box = np.zeros(6)
    if len(raw):
        box = np.column_stack([place.max(axis=0), place.min(axis=0)]).ravel()
    struct.pack_into("<12d", block, 131, scale, scale, scale, 0, 0, 0, *box)
    records = b"".join(struct.pack("<3i", *one) + bytes(3) + b"\1" + bytes(4) for one in raw)
    return bytes(block) + vlrs + records


UTM_17 = [(50_000_000, 431_000_000, 17_000), (50_001_000, 431_000_500, 17_100)]  # cm


@pytest.mark.parametrize("name", ["feet_in_geotiff_keys.las", "us_survey_feet_in_wkt.laz"])
def test_a_scan_is_counted_like_laspy_does_in_its_own_unit(name):
    path = OPEN / "las" / name
    theirs = laspy.read(path)
    found = told(path)
    kinds, counts = np.unique(np.asarray(theirs.classification), return_counts=True)

    assert found.points == len(theirs.points)
    assert found.version == str(theirs.header.version)
    assert found.more["point_format"] == theirs.header.point_format.id
    assert found.more["classes"] == {str(k): n for k, n in zip(kinds, counts, strict=True)}
    columns = [np.asarray(one) for one in (theirs.x, theirs.y, theirs.z)]
    np.testing.assert_allclose(found.bbox[:2], [c.min() for c in columns[:2]], rtol=0, atol=1e-7)
    np.testing.assert_allclose(found.bbox[2:], [c.max() for c in columns[:2]], rtol=0, atol=1e-7)
    ends = (columns[2].min(), columns[2].max())
    np.testing.assert_allclose(found.elevation, ends, rtol=0, atol=1e-7)


def test_the_foot_in_a_geotiff_unit_key_counts():
    # laspy's parse_crs() takes the key 3076 for nothing (measured); the file says foot by it
    found = told(OPEN / "las" / "feet_in_geotiff_keys.las")

    assert (found.units, found.crs) == ("ft", "EPSG:2994")
    assert any("nothing for heights" in text for text in found.oddities)


def test_a_unit_key_against_the_code_is_contradicted_and_the_numbers_stand(tmp_path):
    # EPSG:26917 is in metres; 9003 is the US survey foot
    path = put(tmp_path, las(UTM_17, vlrs=keys((1024, 1), (3072, 26917), (3076, 9003))), "a.las")
    found = told(path)

    assert found.units is None
    assert found.oddities[0].startswith("contradicts itself about the unit of its plan")
    assert "US survey foot" in found.oddities[0]
    assert found.bbox == (500000.0, 4310000.0, 500010.0, 4310005.0)
    assert told(path, unit="ftUS").units == "ftUS"


def test_mixed_units_are_named_for_plan_and_height(tmp_path):
    # EPSG:26917: UTM zone 17 in metres; EPSG:8228: NAVD88 height in feet
    found = told(put(tmp_path, las(UTM_17, vlrs=wkt("EPSG:26917+8228")), "a.las"))

    assert found.units == "m, heights ft"
    assert found.crs == "EPSG:26917+8228"
    assert "mixed units: metre in plan, foot in height" in found.oddities


def test_degrees_are_described_as_degrees(tmp_path):
    raw = [(-8_342_759_000, 390_126_000, 17_000)]
    with pytest.raises(struct.error):  # 1e-7 degrees do not fit 32 bits; 1e-6 do
        las(raw)
    raw = [(-83_427_590, 39_012_600, 17_000_000), (-83_427_500, 39_012_700, 17_100_000)]
    found = told(put(tmp_path, las(raw, vlrs=keys((1024, 2), (2048, 4326)), scale=1e-6), "a.las"))

    assert found.units == "degrees"
    assert found.oddities[0].startswith("coordinates in degrees")
    assert found.bbox == (-83.42759, 39.0126, -83.4275, 39.0127)


def test_degrees_that_no_earth_has_are_a_wrong_label(tmp_path):
    found = told(put(tmp_path, las(UTM_17, vlrs=keys((1024, 2), (2048, 4326))), "a.las"))

    assert "the label is wrong: no latitude or longitude is as large as these" in found.oddities


def test_a_geocentric_label_on_a_grid_is_a_wrong_label(tmp_path):
    found = told(put(tmp_path, las(UTM_17, vlrs=wkt("EPSG:4978")), "a.las"))
    # by Pythagoras
    far = math.sqrt(500005.0**2 + 4310002.5**2 + 170.5**2)

    assert found.crs == "EPSG:4978"
    assert found.oddities[0].startswith("geocentric coordinates")
    assert f"its points lie {far:,.0f} m from the middle of the Earth" in found.oddities[1]


def test_a_scan_without_a_point_is_described(tmp_path):
    found = told(put(tmp_path, las([]), "a.las"))

    assert (found.points, found.bbox, found.elevation) == (0, None, None)
    assert found.oddities[0] == "the header counts 0 points"


def test_a_scan_that_lacks_its_last_point_is_described_without_it(tmp_path):
    whole = las([*UTM_17, (50_002_000, 431_001_000, 17_200)])
    for cut in (20, 7):  # at the end of a record, and within it
        found = told(put(tmp_path, whole[:-cut], "a.las"))
        assert found.points == 2
        assert "3 points" in found.oddities[0]
        assert "hold 2" in found.oddities[0]
        assert found.bbox == (500000.0, 4310000.0, 500010.0, 4310005.0)


def test_a_count_that_its_own_returns_contradict_is_refused(tmp_path):
    path = put(tmp_path, las(UTM_17, count=3, returns=2), "a.las")

    with pytest.raises(InputError, match=r"the header says 3 points, .* hold 2"):
        told(path)


@pytest.mark.parametrize(
    ("at", "layout", "value", "message"),
    [
        (100, "<I", 1_069_128_089, "1,069,128,089 variable-length records"),
        (107, "<I", 1_000_000_000, "the header says 1,000,000,000 points"),
        (131, "<d", 0.0, "X scale 0.0"),
        (131, "<d", math.nan, "X scale nan"),
        (96, "<I", 1 << 30, "puts the points at byte 1,073,741,824"),
    ],
    ids=["records", "points", "scale-zero", "scale-nan", "offset"],
)
def test_a_header_that_claims_what_the_file_cannot_hold_is_refused(
    tmp_path, at, layout, value, message
):
    data = bytearray(las(UTM_17))
    struct.pack_into(layout, data, at, value)

    with pytest.raises(InputError, match=message):
        told(put(tmp_path, bytes(data), "a.las"))


def test_points_at_zero_count_and_the_extent_without_them_is_told(tmp_path):
    found = told(put(tmp_path, las([(0, 0, 0), *UTM_17, (0, 0, 0)]), "a.las"))

    assert found.points == 4
    assert found.bbox == (0.0, 0.0, 500010.0, 4310005.0)
    (text,) = (one for one in found.oddities if "0, 0, 0" in one)
    assert text.startswith("2 points")
    assert "from E 500000 N 4.31e+06" in text or "from E 500000 N 4310000" in text


def test_a_box_in_the_header_that_lies_is_told_and_the_points_count(tmp_path):
    data = bytearray(las(UTM_17))
    struct.pack_into("<d", data, 179, 9e9)
    found = told(put(tmp_path, bytes(data), "a.las"))

    assert found.bbox[2] == 500010.0
    assert any(
        text.startswith("the header's box is not that of its points") for text in found.oddities
    )


def test_a_label_of_the_wrong_zone_order_or_unit_is_told_by_where_the_points_lie(tmp_path):
    # the middle of zone 17 north is (500000, 4310000), see above; each is a slip of its own
    swapped = [(n, e, z) for e, n, z in UTM_17]
    feet = [(round(e / 0.3048), round(n / 0.3048), z) for e, n, z in UTM_17]
    label = keys((1024, 1), (3072, 26917))
    good, turned, small = (
        told(put(tmp_path, las(raw, vlrs=label), "a.las")) for raw in (UTM_17, swapped, feet)
    )

    assert good.more["middle"]["longitude"] == pytest.approx(-81.0, abs=1e-3)
    assert not any("they would lie inside" in text for text in good.oddities)
    assert any("with easting and northing exchanged they would" in text for text in turned.oddities)
    assert any("read in feet they would lie inside" in text for text in small.oddities)


def test_memory_of_a_scan_is_bounded_by_a_piece(tmp_path):
    n = 3_000_000
    record = struct.pack("<3i", *UTM_17[0]) + bytes(8)
    path = put(tmp_path, las(UTM_17[:1], count=n, returns=n)[:227] + record * n, "a.las")
    heard = []
    tracemalloc.start()
    found = describe(path, Asked(), heard.append)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert found.points == n
    assert heard[-1] == "3,000,000 of 3,000,000 points"
    assert len(heard) > 1
    assert peak < path.stat().st_size


# ---- LandXML


def test_the_published_terrain_is_counted_and_measured():
    found = told(TERRAIN)
    (facts,) = found.surfaces
    faces = local(TERRAIN, "F")

    assert (found.points, found.faces, found.hidden_faces) == (19872, len(faces), 0)
    assert found.breaklines == len(local(TERRAIN, "Breakline")) == 175
    # measured on the file by other software: areas, heights, data points
    assert facts.area2d == pytest.approx(69488.6133, abs=1e-4)
    assert facts.area3d == pytest.approx(70602.8982, abs=1e-4)
    assert found.elevation == (14.817, 22.814773)
    assert found.more["data_points"] == 14235
    places = np.array([one.text.split() for one in local(TERRAIN, "P")], dtype=float)
    low, high = places.min(axis=0), places.max(axis=0)
    np.testing.assert_allclose(found.bbox, (low[1], low[0], high[1], high[0]), rtol=0, atol=1e-7)
    assert (found.units, found.crs) == ("m", "EPSG:3875")
    # by pyproj, of the road's start: 61.1520 N 21.5616 E; the middle is half a kilometre on
    assert found.more["middle"]["latitude"] == pytest.approx(61.152, abs=0.01)


def test_the_published_alignment_has_the_length_it_declares():
    found = told(ALIGNMENT)
    (line,), (heights,) = found.alignments, found.profiles

    # declared in the file, and summed from its geometry by other software
    assert line.length == pytest.approx(1266.246238, abs=1e-6)
    assert (line.elements, line.kinds) == (15, {"line": 8, "curve": 7})
    assert line.start_station == 0.0
    assert (heights.points, heights.curves) == (13, 9)
    assert heights.end_station == pytest.approx(1266.246171, abs=1e-6)
    assert found.points == found.faces == 0
    assert found.elevation is None


def test_us_survey_feet_stay_us_survey_feet():
    found = told(OPEN / "landxml" / "ussft_tin_s1.xml")
    (facts,) = found.surfaces

    assert found.units == "ftUS"
    # measured on the file by other software, in its own foot
    assert facts.area2d == pytest.approx(3031369.1208, abs=1e-4)
    assert facts.area3d == pytest.approx(3044068.1674, abs=1e-4)
    assert (found.points, found.faces) == (17, 24)


def test_the_two_feet_are_told_apart(tmp_path):
    # a square of 3000 by 3000: the same numbers in either foot, whichever is declared
    corners = [(0, 0, 1), (0, 3000, 1), (3000, 3000, 1), (3000, 0, 1)]
    body = surface(corners, "<F>1 2 3</F><F>1 3 4</F>")
    units = {}
    for word in ("foot", "USSurveyFoot"):
        path = landxml(tmp_path, body, f'<Imperial linearUnit="{word}"/>')
        found = told(path)
        units[word] = found.units
        assert found.bbox == (0.0, 0.0, 3000.0, 3000.0)
        assert found.surfaces[0].area2d == pytest.approx(9_000_000.0, abs=1e-4)

    assert units == {"foot": "ft", "USSurveyFoot": "ftUS"}


def test_hidden_faces_count_and_have_no_area(tmp_path):
    # a roof: two visible slopes 3-4-5 over 6 by 10, and a hidden floor
    ridge = [(0, 0, 0), (10, 0, 0), (0, 3, 4), (10, 3, 4), (0, 6, 0), (10, 6, 0)]
    slopes = "<F>1 3 2</F><F>2 3 4</F><F>3 5 4</F><F>4 5 6</F>"
    path = landxml(tmp_path, surface(ridge, slopes + '<F i="1">1 5 2</F><F i="true">2 5 6</F>'))
    found = told(path)
    (facts,) = found.surfaces

    assert (found.faces, found.hidden_faces) == (6, 2)
    assert facts.area2d == pytest.approx(60.0, abs=1e-4)
    assert facts.area3d == pytest.approx(100.0, abs=1e-4)
    assert any("2 hidden faces" in text for text in found.oddities)


@pytest.mark.parametrize(
    ("units", "shown", "oddity"),
    [
        ('<Metric linearUnit="meter" elevationUnit="feet"/>', "meter, heights feet", "heights in"),
        ('<Imperial linearUnit="chain"/>', "chain", 'declares the unit "chain"'),
        ("<Metric/>", None, "declares no unit of length"),
        (METRIC + '<Imperial linearUnit="foot"/>', "meter, foot", "declares foot and meter"),
    ],
    ids=["mixed", "unknown", "missing", "two"],
)
def test_units_that_a_job_refuses_leave_the_numbers_as_they_stand(tmp_path, units, shown, oddity):
    corners = [(0, 0, 1), (0, 4, 1), (3, 0, 1)]
    found = told(landxml(tmp_path, surface(corners, "<F>1 2 3</F>"), units))
    (facts,) = found.surfaces

    assert found.units == shown
    assert oddity in found.oddities[0]
    assert found.bbox == (0.0, 0.0, 4.0, 3.0)
    assert facts.area2d == 6.0
    assert math.isnan(facts.area3d) == ("heights" in (shown or ""))


def test_a_missing_unit_is_told_as_stated(tmp_path):
    path = landxml(
        tmp_path, "<CgPoints><CgPoint name='1'>10 20 3</CgPoint></CgPoints>", "<Metric/>"
    )
    found = told(path, unit="ft")

    assert found.units == "ft"
    assert found.bbox == (20.0, 10.0, 20.0, 10.0)
    assert "as stated" in found.oddities[0]


def test_an_arc_reaches_as_far_as_its_circle_does(tmp_path):
    # a half circle of radius 50 about (E 100, N 200) from due south, turning right: by west
    arc = (
        '<Alignments><Alignment name="bulb"><CoordGeom><Curve rot="cw"><Start>150 100</Start>'
        "<Center>200 100</Center><End>250 100</End></Curve></CoordGeom></Alignment></Alignments>"
    )
    found = told(landxml(tmp_path, arc))

    assert found.bbox == (50.0, 150.0, 100.0, 250.0)
    assert found.alignments[0].length == pytest.approx(50 * math.pi, abs=1e-6)


def test_an_alignment_that_cannot_be_used_is_listed_without_a_length(tmp_path):
    pieces = '<Spiral spiType="bloss" length="30" rot="cw" radiusStart="INF" radiusEnd="60"/>'
    body = f'<Alignments><Alignment name="A" staStart="12.5"><CoordGeom>{pieces}</CoordGeom>'
    body += '</Alignment><Alignment name="B"><CoordGeom><Line><Start>0 0</Start><End>3 4</End>'
    found = told(landxml(tmp_path, body + "</Line></CoordGeom></Alignment></Alignments>"))
    first, second = found.alignments

    assert (first.name, first.elements, first.start_station) == ("A", 1, 12.5)
    assert math.isnan(first.length)
    assert (second.name, second.length) == ("B", 5.0)
    assert 'alignment "A" is left out' in found.oddities[0]


def test_sightings_are_counted():
    path = OPEN / "survey" / "two_setups_v11.xml"
    found = told(path)
    raw = local(path, "RawObservation")

    assert found.units == "ft"
    assert found.points == len(local(path, "CgPoint"))
    assert found.more["sightings"] == {
        "setups": len(local(path, "InstrumentSetup")),
        "observations": len(raw),
        "with_distance": sum("slopeDistance" in one.attrib for one in raw),
        "control_points": sum(
            one.get("pntSurv") == "control" for one in local(path, "CgPoint") if one.text
        ),
    }
    assert not any("RawObservation" in text for text in found.oddities)


def test_what_nobody_reads_is_listed(tmp_path):
    found = told(landxml(tmp_path, "<Parcels><Parcel/><Parcel/></Parcels>"))

    assert "elements not read here: Parcels 1, Parcel 2" in found.oddities


def test_a_text_of_more_than_ten_megabytes_is_read(tmp_path):
    # 400 000 points in one list: lxml stops at 10 MB by default (measured)
    count = 400_000
    body = (
        f'<Surfaces><Surface name="a"><SourceData><DataPoints><PntList3D>'
        f"{'100.0000 200.0000 10.0000 ' * count}</PntList3D></DataPoints></SourceData></Surface>"
        "</Surfaces>"
    )
    path = landxml(tmp_path, body)
    found = told(path)

    assert path.stat().st_size > 10_000_000
    assert found.more["data_points"] == count
    assert found.bbox == (200.0, 100.0, 200.0, 100.0)


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("<Surfaces>", "not well-formed|ends in the middle"),
        (
            SPLIT_MINUS,
            'line 2, column .*"-" is not a number',
        ),
        ("<a>" * 80 + "</a>" * 80, "deep"),
    ],
    ids=["cut", "split-minus", "deep"],
)
def test_a_broken_landxml_is_refused_with_its_place(tmp_path, body, message):
    with pytest.raises(InputError, match=message):
        told(landxml(tmp_path, body))


def test_entities_are_refused(tmp_path):
    bomb = (
        '<!DOCTYPE L [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'
        '<LandXML version="1.2">&b;</LandXML>'
    )
    with pytest.raises(InputError, match="a document type declaration"):
        told(put(tmp_path, bomb, "bomb.xml"))


# ---- drawings


def test_a_drawing_is_counted_by_type():
    # counted in the file by its origin's tests and by the listing beside it (ORIGIN.md)
    found = told(OPEN / "dxf" / "shots_points_lines_r12.dxf")

    assert found.points == 11
    assert found.more["entities"] == {"POINT": 11, "LINE": 10, "TEXT": 11}
    assert found.units is None
    assert "states no unit" in found.oddities[0]
    assert found.elevation[0] < 0 < found.elevation[1]
    assert told(OPEN / "dxf" / "shots_points_lines_r12.dxf", unit="ft").units == "ft"


def test_faces_of_a_drawing_in_inches_are_measured_in_inches(tmp_path):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"], document.header["$MEASUREMENT"] = 1, 0
    space = document.modelspace()
    space.add_3dface([(0, 0, 5), (120, 0, 5), (120, 60, 5), (0, 60, 5)], dxfattribs={"layer": "G"})
    space.add_polyline3d([(0, 0, 1), (200, 0, 2)])
    text = io.StringIO()
    document.write(text)
    found = told(put(tmp_path, text.getvalue(), "plan.dxf"))

    assert (found.units, found.faces, found.breaklines) == ("in", 1, 1)
    assert found.bbox == (0.0, 0.0, 200.0, 60.0)
    assert found.elevation == (1.0, 5.0)
    assert found.surfaces[0].area2d == pytest.approx(7200.0, abs=1e-3)


def test_the_unit_of_a_drawing_wins_against_the_one_stated_and_both_are_told(tmp_path):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6  # metres
    document.modelspace().add_point((1, 2, 3))
    text = io.StringIO()
    document.write(text)
    found = told(put(tmp_path, text.getvalue(), "plan.dxf"), unit="ft")

    assert found.units == "m"
    assert found.bbox == (1.0, 2.0, 1.0, 2.0)
    assert "its unit ($INSUNITS 6) is m, not ft" in found.oddities


def test_a_drawing_without_its_end_is_refused(tmp_path):
    data = (OPEN / "dxf" / "shots_points_lines_r12.dxf").read_bytes()

    with pytest.raises(InputError, match="cut short or no DXF"):
        told(put(tmp_path, data[: len(data) // 2], "plan.dxf"))


# ---- text


@pytest.mark.parametrize(
    ("name", "rows"),
    [("pdal_utm17_1.txt", 10), ("pdal_utm17_2.txt", 10), ("pdal_crlf_test.txt", 10)],
)
def test_columns_that_do_not_say_which_is_north_are_told_one_by_one(name, rows):
    path = OPEN / "points" / name
    found = told(path)
    text = path.read_text().replace(",", " ").splitlines()
    numbers = np.array([line.split() for line in text[1:] if line.strip()], dtype=float)

    assert found.points == len(numbers) == rows
    assert found.bbox is None
    assert "X and Y do not say which is north" in found.oddities[0]
    for k, column in enumerate(found.more["columns"][:3]):
        assert column["name"] == "XYZ"[k]
        assert (column["low"], column["high"]) == (numbers[:, k].min(), numbers[:, k].max())


def test_columns_stated_in_order_or_by_the_header_give_the_extent():
    listed = told(
        OPEN / "points" / "survey_no_header_ft_excerpt.csv",
        columns=["id", "northing", "easting", "elevation", "code"],
        unit="ft",
    )
    named = told(
        OPEN / "points" / "pdal_utm17_1.txt",
        columns={"northing": "Y", "easting": "X", "elevation": "Z"},
    )
    rows = (OPEN / "points" / "survey_no_header_ft_excerpt.csv").read_text().splitlines()
    north, east = (np.array([float(row.split(",")[k]) for row in rows]) for k in (1, 2))

    assert listed.points == len(rows) == 13
    assert listed.units == "ft"
    np.testing.assert_allclose(
        listed.bbox, (east.min(), north.min(), east.max(), north.max()), rtol=0, atol=1e-7
    )
    assert named.bbox[0] == 289814.15
    assert named.units is None


def test_columns_stated_wrongly_are_refused():
    with pytest.raises(JobError, match="no elevation"):
        told(OPEN / "points" / "pdal_utm17_1.txt", columns=["northing", "easting", "-"])


@pytest.mark.parametrize(
    ("head", "stated", "units"),
    [
        ("id,northing_m,easting_m,elevation_m", None, "m"),
        ("id,northing (ftUS),easting (ftUS),elevation (ftUS)", None, "ftUS"),
        ("id,northing_ft,easting_ft,elevation_ft", None, "feet"),
        ("id,northing_ft,easting_ft,elevation_ft", "ftUS", "ftUS"),
        ("id,northing,easting,elevation", None, None),
        ("id,northing,easting,elevation", "ft", "ft"),
    ],
)
def test_the_unit_is_the_header_s_or_the_stated_one(tmp_path, head, stated, units):
    found = told(put(tmp_path, f"{head}\n1,10,20,3\n2,11,22,4\n", "a.csv"), unit=stated)

    assert found.units == units
    assert found.bbox == (20.0, 10.0, 22.0, 11.0)
    assert found.elevation == (3.0, 4.0)
    unsaid = any("does not say its unit" in text for text in found.oddities)
    assert unsaid == (units is None)
    assert any("not whether international" in text for text in found.oddities) == (units == "feet")


def test_decimal_commas_are_read_and_told():
    found = told(DEMO / "shots" / "2026-05-14" / "hubs.csv")
    rows = (DEMO / "shots" / "2026-05-14" / "hubs.csv").read_text("utf-8-sig").splitlines()[1:]
    east = [float(row.split(";")[2].replace(",", ".")) for row in rows]

    assert found.points == len(rows)
    assert (found.bbox[0], found.bbox[2]) == (min(east), max(east))
    assert any("decimals with a comma" in text for text in found.oddities)
    assert found.more["codes"] == {"HUB": len(rows)}


def test_bad_rows_are_told_and_the_others_read(tmp_path):
    rows = [f"{k},{10 + k},20,3" for k in range(40)]
    rows[7] = "7,1O,20,3"
    found = told(put(tmp_path, "id,north,east,height\n" + "\n".join(rows), "a.csv"))

    assert found.points == 39
    assert found.more["refused"] == 1
    assert any(text.startswith('line 9: column "north"') for text in found.oddities)


@pytest.mark.parametrize(
    "content",
    ["a letter to nobody\nabout no numbers 1 2\n", b"\x93\xfa\x96{" * 50, "1 2\n3 4\n"],
    ids=["prose", "bytes", "two-columns"],
)
def test_text_that_is_no_table_is_refused(tmp_path, content):
    with pytest.raises(InputError, match="no row holds three numbers"):
        told(put(tmp_path, content, "a.txt"))


def test_field_tables_are_known_by_their_header(tmp_path):
    sights = told(
        put(
            tmp_path,
            "setup,target,role,horizontal_deg,zenith_deg,slope_distance_ft,instrument_height_m,"
            "target_height_m\nS1,B,backsight,0,90,50,1.5,1.5\nS1,1,foresight,10,,,1.5,1.5\n",
            "sights.csv",
        )
    )
    levels = told(
        put(tmp_path, "point,backsight_ft,foresight_ft,elevation_ft\nA,1.2,,100\nB,,1,\n", "l.csv")
    )

    assert sights.format == "sightings table"
    assert sights.more["sightings"]["observations"] == 2
    assert sights.more["sightings"]["with_distance"] == 1
    assert sights.more["sightings"]["longest"] == 50.0
    assert sights.units == "ft"
    assert (levels.format, levels.units, levels.elevation) == ("level book", "ft", (100.0, 100.0))


def test_positions_are_told_in_degrees(tmp_path):
    table = told(
        put(
            tmp_path,
            "id,latitude_deg,longitude_deg,ellipsoid_height_m,quality\n"
            "1,61.15,21.57,36.1,fixed\n2,61.16,21.58,36.2,float\n",
            "p.csv",
        )
    )
    # the sample sentence of the public descriptions of NMEA 0183 (from memory)
    fixes = told(
        put(
            tmp_path,
            "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n",
            "n.txt",
        )
    )

    assert table.units == "degrees, heights m"
    assert table.bbox == (21.57, 61.15, 21.58, 61.16)
    assert table.more["quality"] == {"fixed": 1, "float": 1}
    assert fixes.points == 1
    assert fixes.bbox[:2] == pytest.approx((11.0 + 31.0 / 60.0, 48.0 + 7.038 / 60.0), abs=1e-7)


def test_design_tables_of_the_demo_are_told():
    line = told(DEMO / "design" / "alignment.csv")
    heights = told(DEMO / "design" / "profile.csv")
    rows = (DEMO / "design" / "alignment.csv").read_text().splitlines()
    lengths = [
        row.split(",")[1] for row in rows if row.split(",")[0] in ("line", "arc", "clothoid")
    ]

    assert line.alignments[0].length == pytest.approx(sum(map(float, lengths)), abs=1e-6)
    assert heights.profiles[0].points == 4
    assert heights.profiles[0].curves == 2


# ---- what is no file of a crew


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.csv", b"", "empty"),
        ("a.zip", b"PK\x03\x04", "an archive or a workbook"),
        ("a.xml", b"<schema/>", 'the root element is "schema"'),
        ("a.las", b"LASF", "shorter than any LAS header"),
    ],
)
def test_what_cannot_be_read_is_refused(tmp_path, name, content, message):
    with pytest.raises(InputError, match=message):
        told(put(tmp_path, content, name))


def test_many_oddities_end_in_a_count(tmp_path):
    rows = [f"{k},x,20,3" for k in range(9)] + [f"g{k},1,20,3" for k in range(20)]
    found = told(put(tmp_path, "id,north,east,height\n" + "\n".join(rows), "a.csv"))

    assert sum(text.startswith("line ") for text in found.oddities) == 5
    assert any(text == "and 4 more like the last" for text in found.oddities)
