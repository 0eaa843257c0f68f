"""LandXML as written: read back by a general-purpose XML parser and by our own reader."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from pipeline.deliver.landxml import NAMESPACE, chains, landxml_bytes
from pipeline.design import alignment as plan
from pipeline.design import grade_line
from pipeline.design import profile as heights
from pipeline.errors import OutputError
from pipeline.ingest.landxml.read import read_landxml
from pipeline.model import (
    Alignment,
    AlignmentRows,
    ElementRow,
    Linework,
    Mesh,
    Profile,
    ProfileRow,
    ProfileRows,
    make_shots,
)
from pipeline.settings import FileFormat, Grid, SurfaceRules
from pipeline.surface import tin

SAMPLE = Path(__file__).resolve().parent.parent / "data" / "landxml" / "line_clothoid_arc.xml"
GRID = Grid(crs="EPSG:3875", vertical_datum="N2000")
EAST, NORTH = 21_530_000.0, 6_782_000.0


def content(*surfaces, lines=(), **form):
    form = {"project": "Street", "date": "2026-05-14", "grid": GRID} | form
    return landxml_bytes(surfaces, lines=lines, **form)


def parsed(*surfaces, **form):
    return ET.fromstring(content(*surfaces, **form))


def found(root, name):
    return root.findall(f".//{{{NAMESPACE}}}{name}")


def numbers(node):
    return [float(word) for word in node.text.split()]


def read_back(tmp_path, data):
    path = tmp_path / "ground.xml"
    path.write_bytes(data)
    return read_landxml(path, FileFormat())


def pyramid(name="ground", top=104.0):
    """Analytic: 6 m by 6 m in plan, 4 m high: 36 m² in plan, 60 m² along the slopes."""
    east, north = EAST + np.array([0, 6, 6, 0, 3]), NORTH + np.array([0, 0, 6, 6, 3])
    faces = [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]
    mesh = Mesh(name, east, north, [100, 100, 100, 100, top], faces, list("abcde"))
    return tin.from_mesh(mesh)[0]


def pad():
    """A pad with a ridge that forks, from shots and breaklines."""
    rng = np.random.default_rng(7)
    ridge = np.array([[2, 5, 101], [8, 5, 101.5], [14, 5, 101.2], [18, 8, 101], [18, 2, 101]])
    others = np.column_stack([rng.uniform(0, 20, 80), rng.uniform(0, 10, 80), np.full(80, 100.0)])
    xyz = np.round(np.vstack([ridge, others]), 3) + np.array([EAST, NORTH, 0])
    rows = np.array([0, 1, 2, 3, 2, 4])
    lines = Linework(
        *xyz[rows].T, point=rows, start=[0, 4, 6], name=("R1", "R2"), kind=("break", "break")
    )
    return tin.build(make_shots(*xyz.T), lines, SurfaceRules(max_edge_m=50.0))[0]


# ---- surfaces


def test_points_stand_as_northing_easting_elevation_and_faces_name_them():
    root = parsed(pyramid())
    points = {node.get("id"): numbers(node) for node in found(root, "P")}
    faces = [node.text.split() for node in found(root, "F")]

    assert points["5"] == [NORTH + 3, EAST + 3, 104.0]
    assert len(points) == 5
    assert len(faces) == 4
    assert {corner for face in faces for corner in face} == set(points)
    for a, b, c in faces:  # counter-clockwise seen from above
        (n0, e0, _), (n1, e1, _), (n2, e2, _) = points[a], points[b], points[c]
        assert (e1 - e0) * (n2 - n0) - (n1 - n0) * (e2 - e0) > 0


def test_the_areas_declared_are_those_of_the_solid():
    (definition,) = found(parsed(pyramid()), "Definition")

    assert definition.get("surfType") == "TIN"
    assert float(definition.get("area2DSurf")) == 36.0
    assert float(definition.get("area3DSurf")) == 60.0


def test_a_surface_reads_back_with_its_counts_areas_heights_and_breaklines(tmp_path):
    surface = pad()
    got = read_back(tmp_path, content(surface, pyramid("design")))
    back, _ = tin.from_mesh(got.meshes[0])

    assert [mesh.name for mesh in got.meshes] == [surface.name, "design"]
    assert len(back.triangles) == len(surface.triangles)
    assert tin.area(back) == pytest.approx(tin.area(surface), abs=1e-6)
    assert tin.slope_area(back) == pytest.approx(tin.slope_area(surface), abs=1e-6)
    used = np.unique(surface.triangles)
    np.testing.assert_allclose(got.meshes[0].elevation, surface.z[used], atol=5.1e-5)
    np.testing.assert_allclose(
        got.meshes[0].easting, surface.x[used] + surface.origin[0], atol=5.1e-5
    )
    assert got.crs == "EPSG:3875"
    assert got.unit == "m"
    assert {f.kind for f in got.findings} == {"several surfaces", "heights"}


def test_the_ground_read_back_and_built_anew_is_the_same_ground(tmp_path):
    surface = pad()
    got = read_back(tmp_path, content(surface))
    assert set(got.lines.kind) == {"break"}
    again, _ = tin.build(got.shots, got.lines, SurfaceRules(max_edge_m=50.0))

    assert len(again.triangles) == len(surface.triangles)
    assert tin.slope_area(again) == pytest.approx(tin.slope_area(surface), abs=1e-6)


def test_every_fixed_edge_is_in_one_breakline_once():
    surface = pad()
    root = parsed(surface)
    place = {tuple(numbers(node)): int(node.get("id")) for node in found(root, "P")}
    drawn = Counter()
    for node in found(root, "PntList3D"):
        values = numbers(node)
        way = [place[tuple(values[k : k + 3])] for k in range(0, len(values), 3)]
        drawn.update(frozenset(pair) for pair in pairwise(way))
    rank = {vertex: k + 1 for k, vertex in enumerate(np.unique(surface.triangles).tolist())}
    t, k = np.nonzero(surface.fixed)
    ends = np.column_stack([surface.triangles[t, k], surface.triangles[t, (k + 1) % 3]]).tolist()
    wanted = {frozenset((rank[a], rank[b])) for a, b in ends}

    assert set(drawn) == wanted
    assert set(drawn.values()) == {1}
    # the ridge forks once, so three ways
    assert len(found(root, "Breakline")) == 3


def test_a_ring_of_fixed_edges_is_one_way_back_to_its_first_vertex():
    ring = np.array([[0, 0], [9, 0], [9, 9], [0, 9], [0, 0]]) + np.array([EAST, NORTH])
    lines = Linework(*ring.T, np.full(5, 10.0), np.full(5, -1), [0, 5], ("edge",), ("boundary",))
    shots = make_shots(EAST + np.array([4, 5]), NORTH + np.array([4, 5]), [11, 11])
    surface, _ = tin.build(shots, lines, SurfaceRules())
    (way,) = chains(surface)

    assert way[0] == way[-1]
    assert len(set(way)) == len(way) - 1 == 4


def test_a_coordinate_is_rounded_once_half_away_from_zero():
    surface = pyramid(top=104.00005)
    root = parsed(surface)

    assert found(root, "P")[4].text.split()[2] == "104.0001"
    below = parsed(
        tin.from_mesh(Mesh("b", [0, 6, 0], [0, 0, 6], [-1.00005] * 3, [[0, 1, 2]], list("abc")))[0]
    )
    assert {node.text.split()[2] for node in found(below, "P")} == {"-1.0001"}
    assert b"-0.0000" not in content(tin.from_mesh(
        Mesh("z", [-1e-9, 6, 0], [0, 0, 6], [-0.00001, 0, 0], [[0, 1, 2]], list("abc"))
    )[0])  # fmt: skip


@pytest.mark.parametrize(
    ("unit", "word", "metres"), [("ft", "foot", 0.3048), ("ftUS", "USSurveyFoot", 1200 / 3937)]
)
def test_a_file_in_feet_says_so_and_reads_back_in_metres(tmp_path, unit, word, metres):
    """Both feet are exact by definition; the words are those of the LandXML schema [memory]."""
    data = content(pyramid(), units=unit)
    got = read_back(tmp_path, data)

    assert found(ET.fromstring(data), "Imperial")[0].get("linearUnit") == word
    assert got.unit == unit
    np.testing.assert_allclose(
        got.meshes[0].northing, NORTH + np.array([0, 0, 6, 6, 3]), atol=5.1e-5 * metres
    )
    assert not [f for f in got.findings if f.kind == "declared number"]


def test_a_local_grid_has_its_name():
    root = parsed(pyramid(), grid=Grid(crs="local", vertical_datum='bench marks of "the" site'))
    (system,) = found(root, "CoordinateSystem")

    assert system.get("name") == "local"
    assert system.get("epsgCode") is None
    assert system.get("verticalCoordinateSystemName") == 'bench marks of "the" site'


@given(st.text())
def test_any_name_is_read_back_with_blanks_for_what_xml_cannot_hold(name):
    """Independent reader: the standard library's parser; XML 1.0, section 2.2, on characters."""
    (project,) = found(parsed(project=name), "Project")

    allowed = [c if c >= " " and not 0x7F <= ord(c) <= 0x9F else " " for c in name]
    want = "".join(" " if c in "\ufffe\uffff" or 0xD800 <= ord(c) < 0xE000 else c for c in allowed)
    assert project.get("name") == want


def test_the_same_input_gives_the_same_bytes_and_the_day_that_was_given():
    first = content(pad(), lines=[(s_curve(), None)])

    assert first == content(pad(), lines=[(s_curve(), None)])
    assert ET.fromstring(first).get("date") == "2026-05-14"


@pytest.mark.parametrize(
    ("make", "form", "said"),
    [
        (list, {"date": "14.5.2026"}, r'the date "14\.5\.2026"'),
        (list, {"date": "20260514"}, r'the date "20260514"'),
        (lambda: [pyramid(), pyramid()], {}, 'surface "ground": there are two'),
        (lambda: [bare("x", [])], {}, 'surface "x": it has no triangles'),
        (lambda: [bare("x", [[0, 1, 2]], math.nan)], {}, 'surface "x": a corner'),
    ],
)
def test_what_cannot_be_written_is_refused_by_name(make, form, said):
    with pytest.raises(OutputError, match=said):
        content(*make(), **form)


def bare(name, triangles, height=1.0):
    surface = pyramid(name)
    columns = {field: getattr(surface, field) for field in ("origin", "x", "y", "point")}
    empty = np.array(triangles, dtype=np.int32).reshape(-1, 3)
    return type(surface)(
        name=name, **columns, z=np.full(5, height), triangles=empty,
        neighbours=np.full_like(empty, -1), fixed=np.zeros(empty.shape, dtype=bool),
    )  # fmt: skip


# ---- the line


def test_an_alignment_has_the_points_of_the_open_sample(tmp_path):
    """Source: tests/data/landxml/line_clothoid_arc.xml, whose points its author computed."""
    rows = read_landxml(SAMPLE, FileFormat()).alignments[0]
    lengths_only = AlignmentRows(
        rows.name,
        tuple(
            ElementRow(
                row.kind, length=row.length, radius_start=row.radius_start,
                radius_end=row.radius_end, turn=row.turn,
                start=rows.elements[0].start if k == 0 else None,
            )
            for k, row in enumerate(rows.elements)
        ),
        azimuth=math.atan2(150.0, 259.807621135332),
    )  # fmt: skip
    line, _ = plan.build(lengths_only)
    mine = parsed(lines=[(line, None)])
    sample = ET.parse(SAMPLE).getroot()

    for name in ("Start", "End", "Center"):
        want = [numbers(node) for node in found(sample, name)]
        np.testing.assert_allclose([numbers(node) for node in found(mine, name)], want, atol=2e-6)
    # the sample has a point of intersection on the arc too, which LandXML does not need
    spirals = [numbers(found(node, "PI")[0]) for node in found(sample, "Spiral")]
    np.testing.assert_allclose([numbers(node) for node in found(mine, "PI")], spirals, atol=2e-6)
    for name in ("length", "radiusStart", "constant", "chord", "radius"):
        for kind in ("Line", "Spiral", "Curve"):
            for one, other in zip(found(mine, kind), found(sample, kind), strict=True):
                if one.get(name):
                    assert float(one.get(name)) == pytest.approx(float(other.get(name)), abs=2e-6)
    assert [node.get("rot") for node in found(mine, "Curve")] == ["ccw"]


def test_an_alignment_reads_back_to_the_micrometre(tmp_path):
    rows = AlignmentRows(
        "centre & line",
        (
            ElementRow("line", 50.0, start=(EAST, NORTH)),
            ElementRow("clothoid", 40.0, math.inf, 80.0, turn=1),
            ElementRow("arc", 60.0, 80.0, 80.0, turn=1),
            ElementRow("clothoid", 20.0, 80.0, 30.0, turn=1),
            ElementRow("arc", 9.0, 9.0, 9.0, turn=-1),
            ElementRow("line", 12.0),
        ),
        start_station=-90.0,
        azimuth=1.0,
        equations=((0.0, 0.0, 100.0),),
    )
    line, _ = plan.build(rows)
    got = read_back(tmp_path, content(lines=[(line, None)])).alignments[0]
    again, about = plan.build(got)
    station = np.linspace(-90.0, line.station[-1], 500)

    assert got.name == "centre & line"
    assert got.equations == rows.equations
    assert got.start_station == -90.0
    np.testing.assert_allclose(again.station, line.station, atol=2e-6)
    for mine, other in zip(
        plan.point_at(again, station)[:2], plan.point_at(line, station)[:2], strict=True
    ):
        np.testing.assert_allclose(mine, other, atol=1e-5)
    # the reverse arc of 9 m follows a clothoid that ends at 30 m, the one thing there is to say
    assert {f.kind for f in about} == {"clothoid radius"}


def s_curve():
    """One clothoid that turns left, then right."""
    return Alignment(
        "S", station=[0.0, 60.0], easting=[EAST], northing=[NORTH], azimuth=[0.3],
        curvature_start=[-1 / 50], curvature_end=[1 / 100],
    )  # fmt: skip


def test_a_curve_that_changes_sides_is_two_spirals_that_end_where_an_integral_says(tmp_path):
    """Independent answer: scipy's adaptive quadrature of the direction, k = -1/50 + s·(3/6000)."""
    first, second = found(parsed(lines=[(s_curve(), None)]), "Spiral")

    assert (first.get("rot"), first.get("radiusStart"), first.get("radiusEnd")) == (
        "ccw", "50.000000", "INF",
    )  # fmt: skip
    assert (second.get("rot"), second.get("radiusEnd")) == ("cw", "100.000000")
    assert float(first.get("length")) == pytest.approx(40.0)
    for node, end in ((first, 40.0), (second, 60.0)):
        want = [
            base + quad(lambda s, f=f: f(0.3 - s / 50 + s * s * 3 / 12000), 0, end, epsabs=1e-12)[0]
            for base, f in ((NORTH, math.cos), (EAST, math.sin))
        ]
        np.testing.assert_allclose(numbers(found(node, "End")[0]), want, atol=1e-6)


PROFILE = ProfileRows(
    "grade line",
    (
        ProfileRow(0.0, 100.0),
        ProfileRow(100.0, 102.0, 30.0, 30.0),
        ProfileRow(200.0, 101.0, 20.0, 45.0),
        ProfileRow(300.0, 103.0),
        ProfileRow(400.0, 103.5, radius=-2000.0, arc_length=69.98),
        ProfileRow(560.0, 98.7),
    ),
)


def test_a_profile_is_written_as_the_curves_it_was_made_of(tmp_path):
    profile, _ = heights.build(PROFILE)
    data = content(lines=[(s_curve(), profile)])
    root = ET.fromstring(data)
    ((owner, got),) = read_back(tmp_path, data).profiles

    assert owner == "S"
    assert got.name == "grade line"
    assert found(root, "ParaCurve")[0].attrib == {"length": "60.000000"}
    assert found(root, "UnsymParaCurve")[0].attrib == {
        "lengthIn": "20.000000", "lengthOut": "45.000000",
    }  # fmt: skip
    # arc length is radius times the difference of the slope angles, + 0.5 % to - 3 %
    arc = 2000 * (math.atan(0.005) + math.atan(0.03))
    (circle,) = found(root, "CircCurve")
    assert float(circle.get("radius")) == -2000.0
    assert float(circle.get("length")) == pytest.approx(arc, abs=1e-6)
    for mine, row in zip(got.points, PROFILE.points, strict=True):
        assert (mine.station, mine.elevation) == pytest.approx(
            (row.station, row.elevation), abs=2e-6
        )
    station = np.linspace(0, 560, 1121)
    np.testing.assert_allclose(
        grade_line.elevation(heights.build(got)[0], station),
        grade_line.elevation(profile, station),
        atol=5e-6,
    )


def test_a_stretch_without_heights_parts_a_profile_in_two():
    profile = Profile(
        "p", station=[0.0, 50.0, 60.0, 100.0], elevation=[10.0, math.nan, 12.0],
        grade_start=[0.02, math.nan, 0.01], grade_end=[0.02, math.nan, 0.01],
        radius=[math.inf] * 3,
    )  # fmt: skip
    parts = found(parsed(lines=[(s_curve(), profile)]), "ProfAlign")

    assert [part.get("name") for part in parts] == [
        "p, part 1", "p, part 2",
    ]  # fmt: skip
    assert [[numbers(row) for row in part] for part in parts] == [
        [[0, 10], [50, 11]], [[60, 12], [100, 12.4]],
    ]  # fmt: skip


def test_a_profile_without_any_height_is_refused():
    profile = Profile("p", [0.0, 1.0], [math.nan], [math.nan], [math.nan], [math.inf])

    with pytest.raises(OutputError, match='profile "p": it has no height anywhere'):
        content(lines=[(s_curve(), profile)])


def test_no_lines_and_no_surfaces_make_no_such_elements():
    root = parsed()

    assert [node.tag.rpartition("}")[2] for node in root] == [
        "Units", "CoordinateSystem", "Project", "Application",
    ]  # fmt: skip
