"""Drawings: what is read, what is refused, and that nothing gets lost on the way.

Files are put together here from group codes, which the DXF reference gives
[memory]: 0 type, 5 handle, 8 layer, 10/20/30 and on coordinates, 38 elevation, 42
bulge, 70 flags, 210/220/230 extrusion.
"""

from __future__ import annotations

import io
import itertools
import math
import random
from pathlib import Path

import numpy as np
import pytest
import shapely
from ezdxf.enums import InsertUnits
from ezdxf.filemanagement import new
from ezdxf.render import MeshBuilder
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.ingest.dxf import load as dxf_load
from pipeline.ingest.dxf import walk as dxf_walk
from pipeline.ingest.dxf.chain import chain
from pipeline.ingest.dxf.read import SAGITTA_M, read_dxf
from pipeline.ingest.dxf.shapes import chorded
from pipeline.ingest.files import read
from pipeline.model import Mesh
from pipeline.settings import FileFormat, SurfaceRules
from pipeline.surface import tin

DATA = Path(__file__).resolve().parent.parent / "data" / "dxf"
METRES = FileFormat(files="*.dxf", unit="m")


def tags(*pairs):
    return "".join(f"{code}\n{value}\n" for code, value in pairs)


def entity(kind, *pairs, layer="A", handle=None):
    named = [(5, handle)] if handle else []
    return tags((0, kind), *named, (8, layer), *pairs)


def at(code, *xyz):
    return [(code + 10 * k, value) for k, value in enumerate(xyz)]


def point(*xyz, **where):
    return entity("POINT", *at(10, *xyz), **where)


def line(a, b, **where):
    return entity("LINE", *at(10, *a), *at(11, *b), **where)


def face(*corners, flags=0, **where):
    pairs = [pair for k, corner in enumerate(corners) for pair in at(10 + k, *corner)]
    return entity("3DFACE", *pairs, (70, flags), **where)


def flat_line(*rows, closed=0, elevation=0, extrusion=(0, 0, 1), **where):
    corners = [pair for x, y, bulge in rows for pair in (*at(10, x, y), (42, bulge))]
    return entity(
        "LWPOLYLINE", (100, "AcDbEntity"), (100, "AcDbPolyline"), (90, len(rows)), (70, closed),
        (38, elevation), *corners, *at(210, *extrusion), **where,
    )  # fmt: skip


def vertices(*rows, flags=0):
    parts = [entity("VERTEX", *at(10, *xyz), (70, flag)) for *xyz, flag in rows]
    return entity("POLYLINE", (66, 1), (70, flags)) + "".join(parts) + tags((0, "SEQEND"))


def drawing(*entities, unit=None, version="AC1015", header=(), blocks=""):
    pairs = [(9, "$ACADVER"), (1, version)]
    pairs += [(9, "$INSUNITS"), (70, unit)] if unit is not None else []
    return (
        tags((0, "SECTION"), (2, "HEADER"), *pairs, *header, (0, "ENDSEC"))
        + (tags((0, "SECTION"), (2, "BLOCKS")) + blocks + tags((0, "ENDSEC")) if blocks else "")
        + tags((0, "SECTION"), (2, "ENTITIES"))
        + "".join(entities)
        + tags((0, "ENDSEC"), (0, "EOF"))
    )


def written(tmp_path, content, name="site.dxf"):
    path = tmp_path / name
    path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return path


def reading(tmp_path, *entities, fmt=METRES, **form):
    return read_dxf(written(tmp_path, drawing(*entities, **form)), fmt)


def kinds(result, severity=None):
    return [f.kind for f in result.findings if severity in (None, f.severity)]


def text_of(result, kind):
    return " | ".join(f.text for f in result.findings if f.kind == kind)


def corners_of(lines, k):
    rows = slice(lines.start[k], lines.start[k + 1])
    return np.column_stack([lines.easting[rows], lines.northing[rows], lines.elevation[rows]])


def areas(mesh: Mesh):
    xyz = np.column_stack([mesh.easting, mesh.northing, mesh.elevation])[mesh.triangles]
    normal = np.cross(xyz[:, 1] - xyz[:, 0], xyz[:, 2] - xyz[:, 0])
    return np.abs(normal[:, 2]).sum() / 2, np.linalg.norm(normal, axis=1).sum() / 2


# ---- points


def test_a_point_is_a_shot_called_by_its_handle_with_its_layer_as_code_and_its_line(tmp_path):
    shots = reading(
        tmp_path,
        point(500.0, 6000.0, 101.25, layer="EC", handle="2A"),
        entity("TEXT", *at(10, 500.0, 6000.0), (1, "P104"), layer="EC"),
        point(501.0, 6001.5, 101.5, layer="GR", handle="2C"),
    ).shots

    assert shots.id.tolist() == ["site:2A", "site:2C"]
    assert shots.code.tolist() == ["EC", "GR"]
    assert (shots.easting[0], shots.northing[1], shots.elevation[0]) == (500.0, 6001.5, 101.25)
    lines = drawing(point(0, 0, 0, layer="EC", handle="2A")).splitlines()
    assert lines[shots.line[0] - 1] == "POINT"


def test_words_beside_a_point_are_listed_and_do_not_name_it(tmp_path):
    got = reading(tmp_path, point(1, 2, 3), entity("TEXT", *at(10, 1, 2, 3), (1, "P104")))

    assert "P104" not in got.shots.id[0]
    assert "TEXT 1" in text_of(got, "not read")


def test_eleven_shots_of_an_open_file_and_the_line_through_them():
    """Source: the counts of tests/data/dxf/ORIGIN.md; the heights stand in the file."""
    got = read_dxf(DATA / "shots_points_lines_r12.dxf", METRES)

    assert len(got.shots) == 11
    assert len(got.lines) == 1
    assert sorted(got.lines.point.tolist()) == list(range(11))
    np.testing.assert_array_equal(got.lines.elevation, got.shots.elevation[got.lines.point])
    assert np.ptp(got.shots.elevation) > 0
    assert got.version == "AC1009"


@pytest.mark.parametrize(
    ("pairs", "kind", "said"),
    [
        (at(10, "nan", 0, 1), "bad row", "lies on no grid"),
        (at(10, 0, "inf", 1), "bad row", "lies on no grid"),
        (at(10, 1e12, 0, 1), "bad row", "lies on no grid"),
        (at(10, 1, 2, "nan"), "no height", "stands for no height"),
        (at(10, 1, 2, -9999), "no height", "stands for no height"),
        (at(10, 1, 2, 0), "no height", "exactly 0"),
        ([], "bad row", "no coordinates"),
    ],
)
def test_a_point_that_cannot_be_used_is_named_by_its_handle(tmp_path, pairs, kind, said):
    got = reading(tmp_path, point(5, 6, 101), entity("POINT", *pairs, handle="BAD1"))

    assert len(got.shots) == 1
    assert got.refused == 1
    assert kinds(got, "person") == [kind]
    assert said in text_of(got, kind)
    assert "POINT BAD1" in text_of(got, kind)


def test_places_without_levels_are_told(tmp_path):
    got = reading(tmp_path, point(1, 2, 0), point(3, 4, 0))

    assert "all 2 points is 0" in text_of(got, "zero heights")


# ---- units


@pytest.mark.parametrize(
    ("code", "name", "metres"),
    [
        # exact by definition: inch 0.0254 m, foot 0.3048 m, US survey foot 1200/3937 m
        (InsertUnits.Inches, "in", 0.0254),
        (InsertUnits.Feet, "ft", 0.3048),
        (InsertUnits.Millimeters, "mm", 0.001),
        (InsertUnits.Centimeters, "cm", 0.01),
        (InsertUnits.Meters, "m", 1.0),
        (InsertUnits.Kilometers, "km", 1000.0),
        (InsertUnits.Yards, "yd", 0.9144),
        (InsertUnits.Decimeters, "dm", 0.1),
        (InsertUnits.USSurveyFeet, "ftUS", 1200 / 3937),
    ],
)
def test_the_unit_that_the_file_states_is_obeyed(tmp_path, code, name, metres):
    """Source of the codes: the enumeration of an open DXF library."""
    got = reading(tmp_path, point(100, 200, 50), unit=int(code), fmt=FileFormat())

    assert got.unit == name
    np.testing.assert_allclose(got.shots.easting, 100 * metres, rtol=3e-16)
    np.testing.assert_allclose(got.shots.elevation, 50 * metres, rtol=3e-16)
    assert "unit" not in kinds(got)


@pytest.mark.parametrize("unit", [None, 0])
def test_a_file_without_a_unit_is_read_in_the_jobs_and_that_is_told(tmp_path, unit):
    feet = FileFormat(files="*.dxf", unit="ft")
    stated = reading(tmp_path, point(100, 200, 50), unit=unit, fmt=feet)
    silent = reading(tmp_path, point(100, 200, 50), unit=unit, fmt=FileFormat())

    np.testing.assert_allclose(stated.shots.easting, 30.48)
    assert kinds(stated, "note") == ["unit"]
    assert silent.shots.easting[0] == 100
    assert kinds(silent, "person") == ["unit"]


def test_a_file_without_a_header_states_no_unit(tmp_path):
    """The library fills in a header in metres where there is none."""
    bare = tags((0, "SECTION"), (2, "ENTITIES")) + point(100, 200, 50)
    path = written(tmp_path, bare + tags((0, "ENDSEC"), (0, "EOF")))

    assert kinds(read_dxf(path, FileFormat()), "person") == ["unit"]


def test_two_units_that_contradict_each_other_refuse_the_file(tmp_path):
    with pytest.raises(InputError, match=r"site\.dxf.*\$INSUNITS 2\) is ft, .* states m"):
        reading(tmp_path, point(1, 2, 3), unit=2)


def test_an_unknown_unit_refuses_the_file(tmp_path):
    with pytest.raises(InputError, match=r"is number 19\. Set it to one of in \(1\), ft \(2\)"):
        reading(tmp_path, point(1, 2, 3), unit=19)


def test_a_measurement_system_that_disagrees_is_told_and_the_unit_counts(tmp_path):
    header = [(9, "$MEASUREMENT"), (70, 0)]
    got = reading(tmp_path, point(1, 2, 3), unit=6, header=header)

    assert got.shots.easting[0] == 1
    assert "imperial" in text_of(got, "unit")


# ---- layers


def test_only_the_layers_of_the_job_are_read_and_the_others_listed_with_counts(tmp_path):
    fmt = FileFormat(files="*.dxf", layers={"topo-*": "ground", "nothing": "break"})
    got = reading(
        tmp_path,
        point(1, 2, 3, layer="TOPO-SPOT"),
        point(1, 2, 3, layer="OLD"),
        line((0, 0, 1), (1, 0, 1), layer="OLD"),
        fmt=fmt,
    )

    assert got.shots.code.tolist() == ["TOPO-SPOT"]
    assert len(got.lines) == 0
    assert '"OLD" (POINT 1, LINE 1)' in text_of(got, "layer not read")
    assert '"nothing"' in text_of(got, "layer missing")


def test_a_file_with_nothing_on_the_jobs_layers_is_refused_naming_its_own(tmp_path):
    fmt = FileFormat(files="*.dxf", layers={"GROUND": "ground"})

    with pytest.raises(InputError, match=r'nothing on the layers.*"A" \(POINT 1\)'):
        reading(tmp_path, point(1, 2, 3), fmt=fmt)


def test_types_that_are_not_read_are_listed_and_what_could_be_ground_needs_a_person(tmp_path):
    got = reading(
        tmp_path,
        point(1, 2, 3),
        entity("TEXT", *at(10, 1, 2, 3), (1, "x")),
        entity("NEWKIND"),
        entity("NEWKIND"),
    )
    found = {f.severity: f.text for f in got.findings if f.kind == "not read"}

    assert "TEXT 1" in found["note"]
    assert "NEWKIND 2" in found["person"]


def test_frozen_layers_and_things_on_a_sheet_are_told(tmp_path):
    document = new("R2010", units=6)
    document.layers.add("OLD").freeze()
    document.modelspace().add_point((1, 2, 3), dxfattribs={"layer": "OLD"})
    document.layout("Layout1").add_point((7, 7, 7))
    got = read_dxf(written(tmp_path, as_text(document)), METRES)

    assert got.shots.easting.tolist() == [1.0]
    assert got.shots.line[0] > 0
    assert '"OLD"' in text_of(got, "hidden layer")
    assert "1 things on its sheets" in text_of(got, "on sheets")


def test_a_drawing_that_holds_nothing_says_so(tmp_path):
    assert kinds(reading(tmp_path), "person") == ["nothing read"]


# ---- lines


def test_a_line_at_height_zero_is_no_breakline_unless_the_job_says_so(tmp_path):
    drawn = [flat_line((0, 0, 0), (9, 0, 0)), line((0, 5, 0), (9, 5, 0))]
    taken = reading(tmp_path, *drawn)
    meant = reading(tmp_path, *drawn, fmt=FileFormat(files="*.dxf", layers={"*": "break"}))

    assert taken.lines.kind == ("string", "string")
    assert np.isnan(taken.lines.elevation).all()
    assert "A 2" in text_of(taken, "line at zero")
    assert meant.lines.kind == ("break", "break")
    assert not meant.lines.elevation.any()


def test_a_flat_polyline_has_one_elevation_and_a_3d_one_has_its_own(tmp_path):
    lines = reading(
        tmp_path,
        flat_line((0, 0, 0), (9, 0, 0), elevation=101.5),
        vertices((0, 0, 100, 32), (5, 0, 101, 32), (9, 0, 103, 32), flags=8),
        vertices((0, 0, 100, 32), (5, 0, 101, 32), (5, 5, 102, 32), flags=9),
    ).lines

    assert lines.kind == ("break",) * 3
    assert corners_of(lines, 0).tolist() == [[0, 0, 101.5], [9, 0, 101.5]]
    assert corners_of(lines, 1)[:, 2].tolist() == [100, 101, 103]
    assert corners_of(lines, 2)[:, 2].tolist() == [100, 101, 102, 100]


def test_what_a_fit_made_up_between_the_corners_is_skipped(tmp_path):
    """Flags of a vertex: 1 and 8 were made by fitting a curve, 16 is a corner of the frame."""
    spline = vertices((0, 0, 1, 16), (5, 5, 1, 16), (2, 2, 1, 8), (3, 1, 1, 8), flags=8 | 4)
    curve = vertices((0, 0, 7, 0), (1, 1, 7, 1), (2, 0, 7, 0), flags=2)
    got = reading(tmp_path, spline, curve)

    assert corners_of(got.lines, 0)[:, :2].tolist() == [[0, 0], [5, 5]]
    assert corners_of(got.lines, 1).tolist() == [[0, 0, 7], [2, 0, 7]]
    assert "2 fitted lines" in text_of(got, "read so")


def test_a_line_with_a_corner_that_cannot_be_used_is_left_out_by_handle(tmp_path):
    got = reading(
        tmp_path,
        line((0, 0, 100), (9, 0, 101)),
        line((0, 5, 100), (9, 5, 0), handle="E1"),
        line((0, 5, 100), (9, "nan", 100), handle="E2"),
        line((0, 5, 100), (9, 5, 32767), handle="E3"),
    )

    assert len(got.lines) == 1
    assert got.refused == 3
    for handle in ("E1", "E2", "E3"):
        assert any(f"LINE {handle}" in f.text and f.severity == "person" for f in got.findings)


def test_rings_have_the_kind_of_their_layer_and_flat_ones_no_heights(tmp_path):
    fmt = FileFormat(files="*.dxf", layers={"EDGE": "boundary", "POND": "hole", "*": "ground"})
    got = reading(
        tmp_path,
        flat_line((0, 0, 0), (9, 0, 0), (9, 9, 0), closed=1, elevation=55, layer="EDGE"),
        vertices((1, 1, 100, 32), (2, 1, 101, 32), (2, 2, 102, 32), flags=8).replace(
            "8\nA\n", "8\nPOND\n"
        ),
        point(4, 4, 4, layer="EDGE"),
        point(4, 4, 4),
        fmt=fmt,
    )

    assert got.lines.kind == ("boundary", "hole")
    assert np.isnan(corners_of(got.lines, 0)[:, 2]).all()
    assert corners_of(got.lines, 1)[:, 2].tolist() == [100, 101, 102]
    assert '"POND"' in text_of(got, "open ring")
    assert len(got.shots) == 1
    assert '"EDGE" (POINT 1)' in text_of(got, "layer not read")


def test_a_ring_needs_three_corners(tmp_path):
    fmt = FileFormat(files="*.dxf", layers={"*": "boundary"})
    got = reading(tmp_path, flat_line((0, 0, 0), (9, 0, 0), closed=1, handle="E7"), fmt=fmt)

    assert "E7" in text_of(got, "bad row")
    assert len(got.lines) == 0


# ---- loose pieces


def test_loose_pieces_are_joined_only_where_their_ends_are_the_same(tmp_path):
    got = reading(
        tmp_path,
        line((0, 0, 100), (5, 0, 101)),
        line((9, 0, 102), (5, 0, 101)),  # drawn the other way round
        line((9.0001, 0, 102), (12, 0, 103)),  # 0.1 mm off
        line((0, 0, 100), (5, 0, 101)),  # there before
        line((3, 3, 100), (3, 3, 100)),
    )

    assert len(got.lines) == 2
    assert corners_of(got.lines, 0)[:, 0].tolist() == [0, 5, 9]
    assert "5 loose pieces of line make 2 lines" in text_of(got, "joined")
    assert "1 lines without length" in text_of(got, "no length")
    assert "1 pieces of line" in text_of(got, "drawn twice")


def test_pieces_of_two_layers_are_not_joined(tmp_path):
    got = reading(tmp_path, line((0, 0, 1), (5, 0, 1)), line((5, 0, 1), (9, 0, 1), layer="B"))

    assert got.lines.name == ("A", "B")


@given(
    st.lists(
        st.tuples(*[st.integers(0, 3)] * 4).filter(lambda e: e[:2] != e[2:]),
        min_size=1,
        max_size=14,
    )
)
def test_joined_pieces_are_those_of_an_independent_line_merger(edges):
    """Independent answer: shapely's line_merge, which joins at nodes of two as well."""
    pieces = np.array([[[a, b, 0.0], [c, d, 0.0]] for a, b, c, d in edges])
    once = {frozenset((edge[:2], edge[2:])) for edge in edges}
    merged = shapely.line_merge(shapely.MultiLineString([tuple(sorted(edge)) for edge in once]))
    want = shapely.get_parts(merged)
    got = chain(pieces)

    assert len(got.lines) == len(want)
    assert got.twice == len(edges) - len(once)
    mine = [shapely.LineString(way[:, :2]) for way in got.lines]

    def bare(part):  # a ring may begin anywhere
        return sorted(set(part.coords)) if part.is_closed else shapely.normalize(part).wkt

    assert sorted(map(str, map(bare, mine))) == sorted(map(str, map(bare, want)))
    assert sum(part.length for part in mine) == pytest.approx(sum(part.length for part in want))


# ---- arcs


@given(
    bulge=st.floats(-8, 8).filter(lambda b: abs(b) > 1e-3),
    end=st.tuples(st.floats(-50, 50), st.floats(-50, 50)).filter(lambda p: math.hypot(*p) > 0.1),
)
def test_a_bulge_becomes_chords_on_its_circle_within_the_sagitta(bulge, end):
    """Independent answer: the circle through the ends and a point b·c/2 off the chord's middle."""
    start = np.array([21_530_000.0, 6_782_000.0])
    way = chorded([(*start, bulge), (*(start + end), 0)], False, SAGITTA_M) - start
    chord = np.hypot(*end)
    left = np.array([-end[1], end[0]]) / chord
    top = np.array(end) / 2 - left * bulge * chord / 2
    # centre from three points, by perpendicular bisectors
    centre = np.linalg.solve(2 * np.array([end, top]), [np.dot(end, end), np.dot(top, top)])
    radius = np.hypot(*centre)

    np.testing.assert_allclose(way[[0, -1]], [[0, 0], end], atol=1e-8)
    np.testing.assert_allclose(np.hypot(*(way - centre).T), radius, atol=2e-7 * max(1, radius))
    middles = (way[1:] + way[:-1]) / 2
    sagitta = radius - np.hypot(*(middles - centre).T)
    assert sagitta.max() <= max(SAGITTA_M, 0) + 1e-6 or radius <= SAGITTA_M
    length = np.hypot(*np.diff(way, axis=0).T).sum()
    # half a chord's angle x has the sagitta R x^2 / 2, and its chord is short by x^2 / 6
    short = 2e-3 + SAGITTA_M / (3 * radius)
    assert length == pytest.approx(radius * 4 * math.atan(abs(bulge)), rel=short)


@pytest.mark.parametrize("unit", [6, 2, 4])
def test_a_circle_keeps_its_area_to_a_millimetre_of_radius_in_any_unit(tmp_path, unit):
    metres = {6: 1.0, 2: 0.3048, 4: 0.001}[unit]
    circle = entity("CIRCLE", *at(10, 5 / metres, 5 / metres, 100 / metres), (40, 9 / metres))
    got = reading(tmp_path, circle, unit=unit, fmt=FileFormat())
    ring = corners_of(got.lines, 0)

    assert ring[0].tolist() == ring[-1].tolist()
    area = shapely.Polygon(ring[:, :2]).area
    assert math.pi * (9 - SAGITTA_M) ** 2 <= area < math.pi * 9**2


def test_an_arc_runs_counter_clockwise_from_its_first_angle(tmp_path):
    arc = entity("ARC", *at(10, 0, 0, 100), (40, 10), (50, 350), (51, 80))
    way = corners_of(reading(tmp_path, arc).lines, 0)

    angle = np.degrees(np.unwrap(np.arctan2(way[:, 1], way[:, 0])))
    np.testing.assert_allclose(angle[[0, -1]] % 360, [350, 80])
    assert (np.diff(angle) > 0).all()


def test_an_extrusion_straight_down_mirrors_east_and_turns_the_height_round(tmp_path):
    """The arbitrary axis algorithm of the DXF reference [memory]: x of (0, 0, -1) is (-1, 0, 0)."""
    got = reading(tmp_path, flat_line((1, 2, 0), (5, 6, 0), elevation=-100, extrusion=(0, 0, -1)))

    assert corners_of(got.lines, 0).tolist() == [[-1, 2, 100], [-5, 6, 100]]


def arbitrary_axes(extrusion):
    """The arbitrary axis algorithm of the DXF reference [memory]."""
    z = np.array(extrusion) / np.linalg.norm(extrusion)
    near = abs(z[0]) < 1 / 64 and abs(z[1]) < 1 / 64
    x = np.cross([0, 1, 0] if near else [0, 0, 1], z)
    x /= np.linalg.norm(x)
    return np.array([x, np.cross(z, x), z])


def test_arcs_in_a_tilted_plane_of_an_open_file_pass_through_their_corners():
    """Independent answer: corners taken from the bare text, turned by the DXF reference's rule."""
    rows = (DATA / "tilted_bulges_r12.dxf").read_text("ascii").split("\n")
    pairs = list(zip((row.strip() for row in rows[::2]), rows[1::2], strict=False))
    begins = [k for k, pair in enumerate(pairs) if pair[0] == "0"]
    entities = [
        (pairs[a][1].strip(), dict(pairs[a + 1 : b]))
        for a, b in zip(begins, [*begins[1:], len(pairs)], strict=True)
    ]
    corners, bulges = [], 0
    for kind, values in entities:
        if kind == "POLYLINE":
            tilt = [float(values[code]) for code in ("210", "220", "230")]
            up = float(values["30"])
            corners.append([])
        elif kind == "VERTEX":
            place = np.array([float(values["10"]), float(values["20"]), up])
            corners[-1].append(place @ arbitrary_axes(tilt))
            bulges += "42" in values
    got = read_dxf(DATA / "tilted_bulges_r12.dxf", METRES)

    assert (len(corners), sum(map(len, corners)), bulges) == (30, 101, 37)
    assert len(got.lines) == 30
    for k, want in enumerate(corners):
        way = corners_of(got.lines, k)
        gaps = np.linalg.norm(way[:, None] - np.array(want)[None], axis=2)
        assert (gaps.min(axis=0) < 1e-6).all()
        assert (np.diff(gaps.argmin(axis=0)[: len(want)]) > 0).all()
        off_plane = (way - way[0]) @ arbitrary_axes(tilt)[2]
        assert np.abs(off_plane).max() < 1e-6


def test_a_type_that_the_version_does_not_know_is_refused_by_handle(tmp_path):
    """The library reads such a line without its elevation, its plane and its closing side."""
    got = reading(tmp_path, flat_line((0, 0, 0), (9, 0, 0), elevation=5, handle="E4"),
                  version="AC1009")  # fmt: skip

    assert "LWPOLYLINE E4" in text_of(got, "bad row")
    assert len(got.lines) == 0


def test_an_arc_larger_than_any_street_is_refused_by_handle(tmp_path):
    got = reading(tmp_path, flat_line((0, 0, 1e-9), (5e7, 0, 0), elevation=5, handle="E9"))
    circle = reading(tmp_path, entity("CIRCLE", *at(10, 0, 0, 5), (40, 5e7), handle="E9"))

    assert len(got.lines) == 1
    assert "E9" in text_of(circle, "bad row")


# ---- faces


def test_a_face_whose_fourth_corner_is_its_third_is_one_triangle(tmp_path):
    (mesh,) = reading(tmp_path, face((0, 0, 5), (4, 0, 5), (4, 3, 6), (4, 3, 6))).meshes

    assert mesh.triangles.tolist() == [[0, 1, 2]]
    assert areas(mesh)[0] == 6.0
    assert mesh.name == "A"


def test_a_four_sided_face_is_split_along_its_shorter_diagonal(tmp_path):
    """(0, 0) to (4.5, 4.5) is longer than (4, 0) to (0, 4), which cross at (2, 2)."""
    got = reading(tmp_path, face((0, 0, 10), (4, 0, 10), (4.5, 4.5, 10), (0, 4, 11)))
    (mesh,) = got.meshes
    edges = {frozenset(pair) for t in mesh.triangles.tolist() for pair in itertools.pairwise(t)}

    assert len(mesh.triangles) == 2
    assert frozenset((1, 3)) in edges | {frozenset((t[0], t[2])) for t in mesh.triangles.tolist()}
    assert areas(mesh)[0] == pytest.approx(
        shapely.Polygon([(0, 0), (4, 0), (4.5, 4.5), (0, 4)]).area
    )
    # on 4,0,10 - 0,4,11 the middle 2,2 is 10.5 high, on 0,0,10 - 4.5,4.5,10 it is 10
    assert "0.500 m off" in text_of(got, "split faces")
    assert "split faces" in kinds(got, "person")


def test_a_face_whose_sides_cross_is_refused_by_handle(tmp_path):
    got = reading(
        tmp_path, face((0, 0, 5), (4, 4, 5), (4, 0, 5), (0, 4, 5), handle="F1"), point(1, 1, 1)
    )

    assert "3DFACE F1" in text_of(got, "bad row")
    assert got.meshes == ()


def test_an_arrowhead_is_split_inside(tmp_path):
    (mesh,) = reading(tmp_path, face((0, 0, 5), (4, 1, 5), (1, 1, 5), (1, 4, 5))).meshes

    assert areas(mesh)[0] == pytest.approx(shapely.Polygon([(0, 0), (4, 1), (1, 1), (1, 4)]).area)


def test_corners_closer_than_a_tenth_of_a_millimetre_are_one(tmp_path):
    drawn = [
        face((0, 0, 5), (4, 0, 5), (4, 3, 5), (4, 3, 5)),
        face((0, 0, 5.00006), (4.00005, 3, 5), (0, 3, 5), (0, 3, 5)),
    ]
    apart = [drawn[0], face((0, 0, 5.0003), (4, 3, 5.0003), (0, 3, 5), (0, 3, 5))]

    (mesh,) = reading(tmp_path, *drawn).meshes
    assert len(mesh.easting) == 4
    assert mesh.elevation[0] == 5
    (mesh,) = reading(tmp_path, *apart).meshes
    assert len(mesh.easting) == 6


def test_faces_there_before_or_without_area_are_counted(tmp_path):
    got = reading(
        tmp_path,
        face((0, 0, 5), (4, 0, 5), (4, 3, 5), (4, 3, 5)),
        face((4, 3, 5), (0, 0, 5), (4, 0, 5), (4, 0, 5)),
        face((0, 0, 5), (0, 0, 5), (4, 3, 5), (4, 3, 5)),
        face((7, 0, 5), (9, 0, 5), (9, 3, 5), (9, 3, 5), flags=5),
    )

    assert len(got.meshes[0].triangles) == 2
    assert "1 triangles without three corners apart" in text_of(got, "bad face")
    assert "1 triangles that stand there before" in text_of(got, "bad face")
    assert "1 faces with edges marked invisible" in text_of(got, "read so")


def test_the_corners_of_one_surface_are_shots_but_for_those_that_are_points(tmp_path):
    got = reading(
        tmp_path, point(4, 0, 5, handle="1F"), face((0, 0, 5), (4, 0, 5), (4, 3, 6), (4, 3, 6))
    )

    assert got.shots.id.tolist() == ["site:1F", "site:F1", "site:F3"]
    assert set(got.shots.code) == {"A"}


def test_surfaces_on_two_layers_are_no_shots_until_one_is_named(tmp_path):
    drawn = [
        face((0, 0, 5), (4, 0, 5), (4, 3, 6), layer="EG"),
        face((0, 0, 7), (4, 0, 7), (4, 3, 8), layer="FG"),
    ]
    both = reading(tmp_path, *drawn)
    one = reading(tmp_path, *drawn, fmt=FileFormat(files="*.dxf", surface="EG"))

    assert [mesh.name for mesh in both.meshes] == ["EG", "FG"]
    assert len(both.shots) == 0
    assert "several surfaces" in kinds(both, "person")
    assert [mesh.name for mesh in one.meshes] == ["EG"]
    assert one.shots.elevation.tolist() == [5, 5, 6]
    with pytest.raises(InputError, match=r'no faces on layer "XX"; there are faces on "EG", "FG"'):
        reading(tmp_path, *drawn, fmt=FileFormat(files="*.dxf", surface="XX"))


@pytest.mark.parametrize("made_as", ["mesh", "polyface", "faces"])
def test_a_pyramid_has_its_area_however_its_faces_are_written(tmp_path, made_as):
    """Analytic: base 6 m, height 4 m, so four slopes of 6 · 5 / 2 = 15 m² over 36 m²."""
    builder = MeshBuilder()
    builder.vertices = [(0, 0, 100), (6, 0, 100), (6, 6, 100), (0, 6, 100), (3, 3, 104)]
    builder.faces = [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)]
    document = new("R2010", units=6)
    to = {"mesh": "render_mesh", "polyface": "render_polyface", "faces": "render_3dfaces"}
    getattr(builder, to[made_as])(document.modelspace(), dxfattribs={"layer": "EG"})
    (mesh,) = read_dxf(written(tmp_path, as_text(document)), METRES).meshes

    assert areas(mesh) == pytest.approx((36.0, 60.0))
    assert len(mesh.easting) == 5


def test_a_mesh_of_rows_and_columns_and_a_face_of_five_corners(tmp_path):
    document = new("R2010", units=6)
    grid = document.modelspace().add_polymesh((3, 4), dxfattribs={"layer": "GRID"})
    for m in range(3):
        for n in range(4):
            grid.set_mesh_vertex((m, n), (2 * n, 5 * m, 100 + m))
    five = [(0, 0, 90), (4, 0, 90), (4, 4, 91), (2, 6, 91), (0, 4, 91)]
    pad = document.modelspace().add_mesh(dxfattribs={"layer": "PAD"})
    with pad.edit_data() as data:
        data.vertices, data.faces = five, [(0, 1, 2, 3, 4)]
    grid_mesh, pad_mesh = read_dxf(written(tmp_path, as_text(document)), METRES).meshes

    assert areas(grid_mesh)[0] == pytest.approx(6 * 10)
    assert len(grid_mesh.triangles) == 12
    assert areas(pad_mesh)[0] == pytest.approx(shapely.Polygon([p[:2] for p in five]).area)


# ---- blocks


def as_text(document):
    out = io.StringIO()
    document.write(out)
    return document.encode(out.getvalue())


def as_binary(document):
    out = io.BytesIO()
    document.write(out, fmt="bin")
    return out.getvalue()


def test_a_block_is_turned_stretched_and_moved_to_where_it_is_shown(tmp_path):
    """Analytic: (2, 1) from the base, doubled and turned a quarter left is (-2, 4)."""
    document = new("R2010", units=6)
    block = document.blocks.new("B", base_point=(10, 10, 0))
    block.add_point((12, 11, 1), dxfattribs={"layer": "0"})
    block.add_point((12, 11, 2), dxfattribs={"layer": "OWN"})
    document.modelspace().add_blockref(
        "B", (500, 600, 100), dxfattribs={"layer": "REF", "rotation": 90, "xscale": 2, "yscale": 2}
    )
    got = read_dxf(written(tmp_path, as_text(document)), METRES)

    np.testing.assert_allclose(got.shots.easting, [498, 498])
    np.testing.assert_allclose(got.shots.northing, [604, 604])
    assert got.shots.elevation.tolist() == [101, 102]
    assert got.shots.code.tolist() == ["REF", "OWN"]


@pytest.mark.parametrize("seed", range(4))
def test_blocks_in_blocks_lie_where_the_library_itself_opens_them_out(tmp_path, seed):
    """Independent answer: ezdxf's own explosion of references, which copies and transforms."""
    rnd = random.Random(seed)
    document = new("R2010", units=6)
    inner, outer = document.blocks.new("IN", base_point=(1, 2, 3)), document.blocks.new("OUT")
    for _ in range(3):
        inner.add_point([rnd.uniform(-9, 9) for _ in range(3)])

    def form(across, up):
        return {
            "rotation": rnd.uniform(0, 360), "xscale": across, "yscale": up, "zscale": abs(up),
            "extrusion": rnd.choice([(0, 0, 1), (0, 0, -1), (0.1, 0.2, 0.9)]),
        }  # fmt: skip

    # a reference stretched more one way than the other cannot hold a turned one: the copy shears
    grid = {"row_count": 2, "column_count": 3, "row_spacing": 4, "column_spacing": 5}
    outer.add_blockref("IN", (3, 1, 2), dxfattribs=form(rnd.uniform(-2, 2), 1.5))
    shown = document.modelspace().add_blockref(
        "OUT", (500, 600, 100), dxfattribs=form(1.5, 1.5) | grid
    )
    got = read_dxf(written(tmp_path, as_text(document)), METRES).shots

    def opened(insert):
        for one in insert.multi_insert():
            for entity in one.virtual_entities():
                if entity.dxftype() == "INSERT":
                    yield from opened(entity)
                else:
                    yield entity.dxf.location.xyz

    want = np.array(sorted(opened(shown)))
    mine = np.column_stack([got.easting, got.northing, got.elevation])
    assert len(want) == 3 * 6
    np.testing.assert_allclose(mine[np.lexsort(mine.T[::-1])], want, atol=1e-9)
    assert len(set(got.id)) == len(got.id)


def test_an_arc_in_a_stretched_block_keeps_its_sagitta(tmp_path):
    """Analytic: a circle stretched to an ellipse of 10 m by 30 m has the area 300π."""
    document = new("R2010", units=6)
    document.blocks.new("B").add_circle((0, 0, 100), 0.01)
    form = {"xscale": 1000, "yscale": 3000}
    document.modelspace().add_blockref("B", (0, 0), dxfattribs=form)
    ring = corners_of(read_dxf(written(tmp_path, as_text(document)), METRES).lines, 0)

    area = shapely.Polygon(ring[:, :2]).area
    assert math.pi * (10 - SAGITTA_M) * (30 - SAGITTA_M) < area < math.pi * 300


def block(name, *entities):
    begin = tags((0, "BLOCK"), (8, "0"), (2, name), (70, 0), *at(10, 0, 0, 0))
    return begin + "".join(entities) + tags((0, "ENDBLK"), (8, "0"))


def insert(name, *pairs, **where):
    return entity("INSERT", (2, name), *at(10, 0, 0, 0), *pairs, **where)


def test_a_block_in_itself_refuses_the_file(tmp_path):
    with pytest.raises(InputError, match='block "LOOP" stands 16 blocks deep or in itself'):
        reading(tmp_path, insert("LOOP"), blocks=block("LOOP", insert("LOOP"), point(1, 2, 3)))


def test_blocks_that_multiply_refuse_the_file_before_they_fill_the_memory(tmp_path, monkeypatch):
    monkeypatch.setattr(dxf_walk, "MOST_VISITS", 20_000)
    blocks = block("B0", point(1, 2, 3))
    for k in range(1, 9):
        blocks += block(f"B{k}", *[insert(f"B{k - 1}")] * 10)
    with pytest.raises(InputError, match="more than 20,000 things drawn, blocks opened out"):
        reading(tmp_path, insert("B8"), blocks=blocks)
    grid = insert("B0", (70, 30000), (71, 30000), (44, 1), (45, 1))
    with pytest.raises(InputError, match="more than 20,000 copies of one block"):
        reading(tmp_path, grid, blocks=block("B0", point(1, 2, 3)))


def test_a_block_that_is_not_there_is_told(tmp_path):
    got = reading(tmp_path, point(1, 2, 3), insert("GONE"))

    assert "GONE 1" in text_of(got, "block missing")


# ---- files


def everything(version):
    document = new(version, units=6)
    model = document.modelspace()
    for k in range(5):
        model.add_point((500000 + k, 6780000 + k * k, 100 + k / 10), dxfattribs={"layer": "SPOT"})
    model.add_line((0, 0, 101), (10, 0, 102))
    model.add_polyline3d([(0, 5, 101), (5, 5, 102), (9, 5, 103)])
    model.add_polyline2d([(0, 0, 1), (2, 0, 0)], format="xyb", dxfattribs={"elevation": (0, 0, 9)})
    model.add_3dface([(0, 0, 100), (4, 0, 100), (4, 3, 101), (0, 3, 101)])
    document.blocks.new("B").add_point((1, 2, 3))
    model.add_blockref("B", (100, 200, 50), dxfattribs={"rotation": 30})
    return document


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_a_binary_file_reads_like_its_text(tmp_path, version):
    document = everything(version)
    text = read_dxf(written(tmp_path, as_text(document)), METRES)
    binary = read_dxf(written(tmp_path, as_binary(document)), METRES)

    assert len(text.shots) == 5 + 1 + 4
    assert len(text.lines) == 3
    for name in ("easting", "northing", "elevation"):
        np.testing.assert_allclose(
            getattr(binary.shots, name), getattr(text.shots, name), rtol=1e-15
        )
        np.testing.assert_allclose(
            getattr(binary.lines, name), getattr(text.lines, name), rtol=1e-15
        )
    assert binary.shots.id.tolist() == text.shots.id.tolist()
    assert binary.meshes[0].triangles.tolist() == text.meshes[0].triangles.tolist()


def test_a_drawing_is_known_by_its_first_lines_and_reads_the_same_twice(tmp_path):
    path = written(tmp_path, as_text(everything("R2010")), name="site.txt")
    first, second = read(path, FileFormat()), read(path, FileFormat())

    assert first.format == "DXF"
    assert first.findings == second.findings
    assert first.shots.easting.tobytes() == second.shots.easting.tobytes()


def test_line_ends_marks_and_what_stands_behind_the_end_do_not_matter(tmp_path):
    plain = drawing(point(1, 2, 3, layer="Ö"))
    for content in (
        plain.replace("\n", "\r\n").encode(),
        plain.replace("\n", "\r").encode(),
        b"\xef\xbb\xbf" + plain.encode(),
        plain.encode() + b"anything\x1a\n0\nPOINT",
    ):
        got = read_dxf(written(tmp_path, content), METRES)
        assert got.shots.easting.tolist() == [1.0]


def test_a_file_cut_short_anywhere_is_refused(tmp_path):
    whole = drawing(*[point(k, k, 100 + k) for k in range(9)], line((0, 0, 1), (1, 1, 1))).encode()
    end = whole.index(b"ENDSEC", whole.index(b"LINE")) + len(b"ENDSEC")
    for cut in [*range(20, len(whole), 23), end - 1]:
        if end <= cut < len(whole) and cut < len(whole) - 4:
            continue
        with pytest.raises(InputError, match=r"site\.dxf"):
            read_dxf(written(tmp_path, whole[: min(cut, end - 1)]), METRES)
    got = read_dxf(written(tmp_path, whole[:end] + b"\n"), METRES)
    assert len(got.shots) == 9
    assert "repaired" in kinds(got, "person")


def test_a_file_that_does_not_keep_to_the_format_is_repaired_and_every_repair_told():
    """Source of the counts: tests/data/dxf/ORIGIN.md."""
    got = read_dxf(DATA / "broken_r12.dxf", METRES)

    assert "repaired" in kinds(got, "person")
    assert len(got.lines) == 2 + 3 + 5


def test_repairs_are_listed(tmp_path):
    loose = drawing(point(1, 2, 3)).replace("0\nENDSEC\n0\nEOF", "0\nENDSEC\n0\nENDSEC\n0\nEOF")
    got = read_dxf(written(tmp_path, loose), METRES)

    assert len(got.shots) == 1
    assert "missing SECTION tag" in text_of(got, "repair")


def test_a_number_that_could_only_be_guessed_refuses_the_file(tmp_path):
    for word in ("12x5", "1,5", "12 345.6", ""):
        with pytest.raises(InputError, match=r"site\.dxf: damaged"):
            reading(tmp_path, point(1, 2, 3), point(word, 2, 3))


def test_drawn_things_that_get_lost_refuse_the_file(tmp_path):
    renamed = drawing(point(1, 2, 3), point(4, 5, 6)).replace("ENTITIES", "ENTITIEZ")

    with pytest.raises(InputError, match="2 POINT stand in it, 0 can be read"):
        read_dxf(written(tmp_path, renamed), METRES)


def test_what_the_library_remarks_is_a_finding_and_not_on_the_terminal(tmp_path, capfd):
    got = reading(tmp_path, point(1, 2, 3, handle="2A"), point(1, 5, 3, handle="2A"))

    assert "non-unique" in text_of(got, "oddity")
    assert len(set(got.shots.id)) == 2
    assert capfd.readouterr() == ("", "")


def test_limits(tmp_path, monkeypatch):
    path = written(tmp_path, drawing(*[point(k, k, k + 1) for k in range(9)]))
    for module, name, value, said in (
        (dxf_load, "MAX_BYTES", 50, "larger than"),
        (dxf_load, "MOST_LINES", 20, "more than 20 lines"),
        (dxf_load, "MOST_ENTITIES", 8, "more than 8 entities"),
        (dxf_walk, "MOST_VISITS", 8, "more than 8 things drawn"),
        (dxf_walk, "MOST_VERTICES", 8, "more than 8 corners"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(module, name, value)
            with pytest.raises(InputError, match=said):
                read_dxf(path, METRES)


@pytest.mark.parametrize("form", ["text", "binary"])
def test_damage_gives_a_reading_or_one_refusal_and_nothing_else(tmp_path, form):
    """Seeded, so that a failure comes back."""
    rnd = random.Random(20261125)
    whole = (as_text if form == "text" else as_binary)(everything("R12"))
    words = [b"nan", b"1e400", b"-1", b"32767", b"12x", b"\xff", b"LINE", b"70", b"0"]
    for _ in range(120):
        data = bytearray(whole)
        at_byte = rnd.randrange(len(data))
        match rnd.randrange(4):
            case 0:
                data[at_byte] ^= 1 << rnd.randrange(8)
            case 1:
                del data[at_byte : at_byte + rnd.randrange(1, 40)]
            case 2:
                data[at_byte:at_byte] = data[at_byte : at_byte + 30] * 3
            case _:
                rows = bytes(data).split(b"\n")
                rows[rnd.randrange(len(rows))] = rnd.choice(words)
                data = bytearray(b"\n".join(rows))
        try:
            got = read_dxf(written(tmp_path, bytes(data)), METRES)
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017 - what is refused is refused in one line
        else:
            assert np.isfinite(got.shots.elevation).all()


def test_a_drawn_street_corner_makes_a_surface(tmp_path):
    """Analytic: a pad of 20 m by 10 m at 100 m, its ridge along the middle at 101 m."""
    fmt = FileFormat(files="*.dxf", layers={"EDGE": "boundary", "RIDGE": "break", "*": "ground"})
    corners = [(0, 0), (20, 0), (20, 10), (0, 10)]
    got = reading(
        tmp_path,
        *[point(x, y, 100, layer="SPOT") for x, y in corners],
        line((0, 5, 101), (12, 5, 101), layer="RIDGE"),
        line((12, 5, 101), (20, 5, 101), layer="RIDGE"),
        flat_line((0, 0, 0), (20, 0, 0), (20, 10, 0), (0, 10, 0), closed=1, layer="EDGE"),
        fmt=fmt,
    )
    surface, _ = tin.build(got.shots, got.lines, SurfaceRules(max_edge_m=50.0))

    assert tin.area(surface) == pytest.approx(200)
    assert tin.slope_area(surface) == pytest.approx(2 * 20 * math.hypot(5, 1))
