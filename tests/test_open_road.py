"""A published road through the whole tool: data that Lath did not make.

InfraModel examples, M3_Road, CC BY 4.0 (fixtures/open-road/README.md). The figures
held against are independent measurements of those files.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from pipeline import publish
from pipeline.deliver.package import verify
from pipeline.design import alignment, feet, grade_line
from pipeline.design import corridor as sections
from pipeline.ingest.landxml.read import read_landxml
from pipeline.run import Stopwatch, run_day
from pipeline.settings import FileFormat, SurfaceRules
from pipeline.surface import locate, tin

WHOLE = SurfaceRules(max_edge_m=1e6, same_place_m=0, row_wander_m=0)
ROAD = Path(__file__).resolve().parent.parent / "fixtures" / "open-road"

# station, northing, easting, azimuth in degrees, profile: measured on the files by other software
CHECK_POINTS = [
    (100.0, 6782650.6928, 21530282.9307, 30.241629, 17.1787),
    (500.0, 6782922.7967, 21530571.3997, 37.704662, 19.4756),
    (1000.0, 6783099.9146, 21531024.0802, 76.430787, 20.0114),
]


@pytest.fixture(scope="module")
def day():
    return run_day(ROAD, None, Stopwatch())


@pytest.fixture(scope="module")
def package(day, tmp_path_factory):
    return publish.deliver(day, tmp_path_factory.mktemp("out")).folder


@pytest.mark.parametrize(("station", "north", "east", "azimuth", "height"), CHECK_POINTS)
def test_alignment_check_points(day, station, north, east, azimuth, height):
    line = day.morning.corridor.alignment
    e, n, direction = alignment.point_at(line, np.array([station]), np.array([0.0]))

    assert abs(e[0] - east) < 1e-4
    assert abs(n[0] - north) < 1e-4
    assert abs(np.degrees(direction[0]) - azimuth) < 1e-5
    assert grade_line.elevation(day.morning.corridor.profile, station) == pytest.approx(
        height, abs=1e-4
    )
    found = feet.locate(line, np.array([east]), np.array([north]))
    assert abs(found.station[0] - station) < 1e-4
    assert abs(found.offset[0]) < 1e-4


def test_our_triangulation_of_the_source_data_holds_every_face_of_the_file():
    """The file's faces are a constrained Delaunay of its own points and breaklines."""
    terrain = next((ROAD / "shots").glob("*/m3_terrain.xml"))
    reading = read_landxml(terrain, FileFormat())
    (mesh,) = reading.meshes
    surface, _ = tin.build(reading.shots, reading.lines, WHOLE)

    def faces(east, north, triangles):
        place = np.round(np.column_stack([east, north]) * 1e4).astype(np.int64)
        return {frozenset(map(tuple, place[face])) for face in triangles.tolist()}

    ours = faces(surface.x + surface.origin[0], surface.y + surface.origin[1], surface.triangles)
    theirs = faces(mesh.easting, mesh.northing, mesh.triangles)
    assert len(theirs) == 36067
    assert theirs <= ours


def test_the_finished_centreline_meets_the_published_surface_within_three_millimetres(day):
    (mesh,) = read_landxml(ROAD / "design" / "m3_top_main.xml", FileFormat()).meshes
    top, _ = tin.from_mesh(mesh)
    corridor = day.morning.corridor
    station = np.arange(1.0, 1266.0)
    e, n, _ = alignment.point_at(corridor.alignment, station, 0.0)
    gap = locate.interpolate(top, e, n) - grade_line.elevation(corridor.profile, station)
    there = gap[~np.isnan(gap)]

    assert len(there) >= 1259
    assert np.abs(there).max() <= 0.003


def test_terrain_against_the_excavation_bottom(day):
    """Exact overlay by another program: 7810.3015 and 755.7476 m3 over 22249.8854 m2."""
    (bottom,) = (row for row in day.quantities if row.layer == "excavation bottom")

    assert bottom.cut_m3 == pytest.approx(7810.3015, rel=1e-6)
    assert bottom.fill_m3 == pytest.approx(755.7476, rel=1e-6)
    assert bottom.compared_area_m2 == pytest.approx(22249.8854, rel=1e-6)


def test_the_section_as_measured_gives_the_measured_heights(day):
    """Heights 3 m left and right of the line, measured on the published surface."""
    corridor = day.morning.corridor
    heights = sections.elevation(corridor, 500.0, np.array([-3.0, 0.0, 3.0]), "finish")

    assert heights == pytest.approx([19.3860, 19.4760, 19.3852], abs=0.0025)


def test_the_whole_package_comes_out(package):
    assert verify(package) == ()
    names = {entry.name for entry in package.iterdir()}
    assert {"stakes.csv", "cutsheet.csv", "dots.csv", "cutfill.dxf", "quantities.json"} <= names
    for name, least in (("stakes.csv", 250), ("cutsheet.csv", 40), ("dots.csv", 500)):
        with (package / name).open(encoding="utf-8", newline="") as stream:
            assert len(list(csv.DictReader(stream))) >= least


def test_the_drawing_of_a_national_grid_passes_the_auditor(package):
    drawing = ezdxf.readfile(package / "cutfill.dxf")

    assert drawing.header["$INSUNITS"] == 6
    assert not drawing.audit().errors


def test_the_map_marks_only_what_people_shot_and_says_how_many_points_it_leaves_out(day, package):
    (said,) = [text for text in publish.plan_words(day).numbers if text.endswith("no mark here")]
    used = int(day.morning.used.sum())
    content = (package / "cutfill.dxf").read_bytes()
    marked = sum(
        entity.dxf.layer == "mark-shot"
        for entity in ezdxf.read(io.StringIO(content.decode())).modelspace().query("INSERT")
    )

    assert int(said.split()[0]) == used - marked
    assert used > 10_000
    assert marked < 1_000
