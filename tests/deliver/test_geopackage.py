"""The points to set as a GeoPackage, read back by other general libraries."""

from __future__ import annotations

import json
import shutil
import sqlite3
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import CRS

from pipeline import publish
from pipeline.deliver.geopackage import GridPoints, geopackage_bytes
from pipeline.errors import OutputError
from pipeline.model import texts
from pipeline.model.gridsystem import GridSystem
from pipeline.run import Stopwatch, run_day

TABLE = "points"
FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures"
X = np.array([25_496_000.12344, 25_496_010.5, 25_495_990.0])
Y = np.array([6_672_000.5, 6_672_010.25, 6_671_980.125])
Z = np.array([12.3456, np.nan, -0.5])
NAMES, CODES, NOTES = texts(["1", "it's", "ø"]), texts(["STK", "HP", ""]), texts(["", "a", "b"])
POINTS = GridPoints(X, Y, Z, NAMES, CODES, NOTES)
GK25 = GridSystem(3879, "ETRS89 / GK25FIN", CRS.from_epsg(3879).to_wkt("WKT1_GDAL"))


def written(tmp_path, data):
    path = tmp_path / "points.gpkg"
    path.write_bytes(data)
    return path


def test_another_library_reads_the_same_points(tmp_path):
    """Independent: pyogrio, which reads with GDAL; the coordinate system by PROJ."""
    import pyogrio

    path = written(tmp_path, geopackage_bytes(POINTS, GK25, "2026-05-14"))

    meta, _, geometry, columns = pyogrio.raw.read(path)
    got = dict(zip(meta["fields"], columns, strict=True))
    places = shapely.from_wkb(geometry)
    assert pyogrio.list_layers(path).tolist() == [[TABLE, "Point"]]
    assert CRS.from_user_input(meta["crs"]).to_epsg() == 3879
    np.testing.assert_allclose(shapely.get_x(places), X, rtol=0, atol=5.1e-5)
    np.testing.assert_allclose(shapely.get_y(places), Y, rtol=0, atol=5.1e-5)
    np.testing.assert_allclose(got["elevation_m"], Z, rtol=0, atol=1e-9)
    assert got["id"].tolist() == ["1", "it's", "ø"]
    assert got["code"].tolist() == ["STK", "HP", ""]
    bounds = pyogrio.read_info(path)["total_bounds"]
    assert bounds == pytest.approx((X.min(), Y.min(), X.max(), Y.max()), abs=1e-3)


def test_what_the_standard_asks_of_the_file(tmp_path):
    """OGC 12-128r18 (from memory): application id, version, geometry header, contents."""
    path = written(tmp_path, geopackage_bytes(POINTS, GK25, "2026-05-14"))
    with sqlite3.connect(path) as base:
        # requirement 2: "GPKG" in ASCII; 6 and 7: sound, and no broken foreign keys
        assert base.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG", "big")
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []
        # requirement 10: undefined Cartesian and geographic, and WGS 84
        systems = {row[0] for row in base.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326, 3879} == systems
        contents = base.execute(
            "SELECT table_name, data_type, last_change, srs_id FROM gpkg_contents"
        ).fetchall()
        assert contents == [(TABLE, "features", "2026-05-14T00:00:00.000Z", 3879)]
        blob = base.execute(f"SELECT geom FROM {TABLE} ORDER BY fid").fetchone()[0]
    # requirement 19: magic "GP", version 0, flags, srs id, then well-known binary
    assert blob[:3] == b"GP\0"
    order = "little" if blob[3] & 1 else "big"
    assert int.from_bytes(blob[4:8], order, signed=True) == 3879
    envelope = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[(blob[3] >> 1) & 7]
    place = shapely.from_wkb(blob[8 + envelope :])
    assert (place.x, place.y) == pytest.approx((25_496_000.1234, 6_672_000.5), abs=1e-9)
    assert not place.has_z


def test_a_local_grid_is_undefined_and_a_grid_in_feet_keeps_its_own_unit(tmp_path):
    local = written(tmp_path, geopackage_bytes(POINTS, GridSystem(), "2026-05-14"))
    with sqlite3.connect(local) as base:
        assert base.execute("SELECT srs_id FROM gpkg_contents").fetchone()[0] == -1
    foot = 1200.0 / 3937.0
    feet = GridSystem(2263, "New York Long Island", "PROJCS", metres=foot)
    path = written(tmp_path, geopackage_bytes(POINTS, feet, "2026-05-14"))
    with sqlite3.connect(path) as base:
        west = base.execute("SELECT min_x FROM gpkg_contents").fetchone()[0]
    assert west == pytest.approx(X.min() / foot, abs=1e-3)


def test_the_same_points_are_the_same_bytes():
    first, second = (geopackage_bytes(POINTS, GK25, "2026-05-14") for _ in range(2))
    assert first == second


@pytest.mark.parametrize("grid", ["local", "EPSG:3879"])
def test_a_job_that_asks_for_it_gets_it_in_the_package(tmp_path, grid):
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    job = folder / "job.toml"
    text = job.read_text(encoding="utf-8").replace('crs = "local"', f'crs = "{grid}"')
    job.write_text(text + '[instrument]\nfiles = ["geopackage"]\n', encoding="utf-8")
    files = publish.package_files(publish.complete(run_day(folder, None, Stopwatch())))
    assert "instrument.geojson" not in files
    path = written(tmp_path, files["instrument.gpkg"])
    rows = files["instrument.csv"].decode("utf-8").splitlines()[1:]
    with sqlite3.connect(path) as base:
        got = base.execute("SELECT id, elevation_m FROM points_to_set ORDER BY fid").fetchall()
        system = base.execute("SELECT srs_id FROM gpkg_geometry_columns").fetchone()[0]
    assert system == (-1 if grid == "local" else 3879)
    assert [name for name, _ in got] == [row.split(",")[0] for row in rows]
    heights = [row.split(",")[3] for row in rows]
    assert all(
        z == pytest.approx(float(text), abs=6e-4) if text else z is None
        for (_, z), text in zip(got, heights, strict=True)
    )


def test_without_the_library_it_says_what_to_install(monkeypatch):
    for name in ("fudgeo.enumeration", "fudgeo.geometry", "fudgeo.geopkg"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(OutputError, match=r'needs fudgeo.*with pip install "fudgeo'):
        geopackage_bytes(POINTS, GK25, "2026-05-14")


def test_lath_read_writes_points_on_their_own_grid(tmp_path, monkeypatch):
    from click.testing import CliRunner

    from pipeline.cli import main

    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.csv").write_text(
        "id,northing,easting,elevation,code\n1,6672000.5,25496000.25,12.5,STK\n", encoding="utf-8"
    )
    told = CliRunner().invoke(
        main, ["read", "a.csv", "--unit", "m", "--crs", "EPSG:3879", "--to", "geopackage", "--json"]
    )
    assert told.exit_code == 0, told.output
    assert json.loads(told.stdout)["written"]["path"].endswith("a.gpkg")
    with sqlite3.connect(tmp_path / "a.gpkg") as base:
        row = base.execute("SELECT id, code, elevation_m FROM points").fetchone()
        assert base.execute("SELECT srs_id FROM gpkg_contents").fetchone()[0] == 3879
    assert row == ("1", "STK", 12.5)
