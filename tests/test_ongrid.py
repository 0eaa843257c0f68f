"""Sightings, satellite positions and scans of the demo street end at the same marks as its shots.

The files are made here from the demo's own truth by formulas of the test's own, so a
slip on the way to the grid shows as a mark that is off.
"""

from __future__ import annotations

import math
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from pipeline.demo import truth
from pipeline.errors import InputError
from pipeline.ingest.job.inputs import read_inputs
from pipeline.ongrid import on_grid
from pipeline.run import Stopwatch, run_day

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DAY = "2026-05-14"
FORMATS = '[[shots.formats]]\nfiles = "morning*.csv"'


def street_with(tmp_path, name, text, table):
    """The demo with its morning replaced by a file of another kind."""
    folder = tmp_path / "street"
    shutil.copytree(FIXTURES / "demo", folder)
    (folder / "shots" / DAY / "morning.csv").unlink()
    (folder / "shots" / DAY / name).write_text(text, encoding="utf-8")
    job = folder / "job.toml"
    job.write_text(
        job.read_text(encoding="utf-8").replace(FORMATS, table + "\n" + FORMATS, 1),
        encoding="utf-8",
    )
    return folder


def planar_rows(step=5.0):
    """Places and true heights on the planar stretch, with the codes a crew gives."""
    station = np.repeat(np.arange(0.0, 76.0, step), 5)
    half = abs(float(truth.edge(0.0, 1, truth.CLAY)))
    offset = np.tile([-half, -2.0, 0.0, 2.0, half], len(station) // 5)
    east, north = truth.point(station, offset)
    height = truth.elevation(station, offset, truth.CLAY) + truth.difference(station, offset)
    codes = ["EC1", "GR", "CL", "GR", "EC2"] * (len(station) // 5)
    return east, north, height, codes


def assert_true_marks(day):
    dots = day.dots
    rows = [k for k in range(len(dots)) if 5 <= dots.station[k] <= 70 and abs(dots.offset[k]) < 4.9]
    assert len(rows) > 40
    for k in rows:
        true = float(truth.difference(dots.station[k], dots.offset[k]))
        assert abs(dots.ground[k] - dots.design[k, 0] - true) <= 0.002


def sighting(name, frm, to, ground, role):
    """One row by plane trigonometry and the earth's curve, instrument 1.600, target 1.800."""
    de, dn = to[0] - frm[0], to[1] - frm[1]
    flat = math.hypot(de, dn)
    # curvature less refraction lifts the far end out of the level by (1 - k) d^2 / 2R
    rise = to[2] - frm[2] + 1.800 - 1.600 - (1 - 0.14) * flat**2 / (2 * 6371000.0)
    azimuth = math.degrees(math.atan2(de, dn)) % 360
    slope = math.hypot(flat, rise)
    zenith = math.degrees(math.acos(rise / slope))
    return f"A,K1,1.600,{name},1.800,{role},{azimuth:.7f},{zenith:.7f},{slope:.5f},0,{ground}"


def test_sightings_of_the_planar_stretch_give_true_marks(tmp_path):
    points = {
        point.id: (point.easting, point.northing, point.elevation) for point in truth.control()
    }
    head = (
        "setup,occupied,instrument_height_m,target,target_height_m,role,horizontal_deg,zenith_deg,"
        "slope_distance_m,prism_constant_mm,code"
    )
    rows = [sighting("K2", points["K1"], points["K2"], "CP", "backsight")]
    rows.append(sighting("K3", points["K1"], points["K3"], "CP", "check"))
    east, north, height, codes = planar_rows()
    for k, code in enumerate(codes):
        rows.append(
            sighting(f"P{k}", points["K1"], (east[k], north[k], height[k]), code, "foresight")
        )
    folder = street_with(
        tmp_path, "sightings.csv", "\n".join([head, *rows]) + "\n",
        '[[shots.formats]]\nfiles = "sightings.csv"\nkind = "sightings"',
    )  # fmt: skip
    day = run_day(folder, None, Stopwatch())

    assert not [finding for finding in day.findings if finding.severity == "stop"]
    assert_true_marks(day)


def test_positions_are_tied_to_control_and_give_true_marks(tmp_path):
    """Positions on a grid turned by 12 degrees, far away and 31.4 m too high in height."""
    turn, far = math.radians(12.0), (700_000.0, 5_000_000.0)
    control = truth.control()
    centre = control[0].easting, control[0].northing

    def elsewhere(east, north):
        x, y = east - centre[0], north - centre[1]
        return (
            far[0] + x * math.cos(turn) + y * math.sin(turn),
            far[1] + y * math.cos(turn) - x * math.sin(turn),
        )

    rows = ["id,easting_m,northing_m,elevation_m,code,sigma_h_m,sigma_v_m"]
    for point in control:
        e, n = elsewhere(point.easting, point.northing)
        rows.append(f"{point.id},{e:.4f},{n:.4f},{point.elevation + 31.4:.4f},CP,0.008,0.012")
    east, north, height, codes = planar_rows()
    for k, code in enumerate(codes):
        e, n = elsewhere(east[k], north[k])
        rows.append(f"P{k},{e:.4f},{n:.4f},{height[k] + 31.4:.4f},{code},0.008,0.012")
    table = (
        "[shots.positions]\nlocalise = true\n\n"
        '[[shots.formats]]\nfiles = "positions.csv"\nkind = "positions"'
    )
    folder = street_with(tmp_path, "positions.csv", "\n".join(rows) + "\n", table)
    day = run_day(folder, None, Stopwatch())

    assert not [finding for finding in day.findings if finding.severity == "stop"]
    assert_true_marks(day)


def test_ellipsoid_heights_that_control_has_tied_are_nobodys_worry_any_more(tmp_path):
    """A plane about 52 N 5 E (by PROJ), heights 43.2 m above those of the job."""
    from pyproj import Proj

    plane = Proj(proj="tmerc", lat_0=52.0, lon_0=5.0, ellps="GRS80")
    rows = ["id,latitude_deg,longitude_deg,ellipsoid_height_m,code"]
    east, north, height, codes = planar_rows()
    marks = [(p.id, p.easting, p.northing, p.elevation, "CP") for p in truth.control()]
    marks += [(f"P{k}", east[k], north[k], height[k], codes[k]) for k in range(len(codes))]
    for name, e, n, z, code in marks:
        longitude, latitude = plane(e - 5300.0, n - 3150.0, inverse=True)
        rows.append(f"{name},{latitude:.10f},{longitude:.10f},{z + 43.2:.4f},{code}")
    table = (
        '[shots.positions]\nlocalise = true\nsource_crs = "EPSG:4258"\n'
        "local_origin_deg = [52.0, 5.0]\n\n"
        '[[shots.formats]]\nfiles = "positions.csv"\nkind = "positions"'
    )
    day = run_day(
        street_with(tmp_path, "positions.csv", "\n".join(rows) + "\n", table), None, Stopwatch()
    )

    assert not {"ellipsoid heights", "not localised"} & {one.kind for one in day.findings}
    assert_true_marks(day)


def test_positions_without_control_are_refused(tmp_path):
    rows = "id,easting_m,northing_m,elevation_m,code\nP1,1,2,3,GR\nP2,4,5,6,GR\n"
    table = (
        "[shots.positions]\nlocalise = true\n\n"
        '[[shots.formats]]\nfiles = "positions.csv"\nkind = "positions"'
    )
    folder = street_with(tmp_path, "positions.csv", rows, table)
    job = folder / "job.toml"
    text = job.read_text(encoding="utf-8")
    job.write_text(text.replace('control = "control.csv"', 'control = ""', 1), encoding="utf-8")

    with pytest.raises(InputError, match="positions need the job's control"):
        run_day(folder, None, Stopwatch())


def test_a_scan_with_a_machine_on_it_gives_the_clay_below(tmp_path):
    """A point every 0.2 m on the planar stretch, and a 2 x 5 x 2.5 m box standing on it."""
    from laspy import LasData, LasHeader

    half = abs(float(truth.edge(0.0, 1, truth.CLAY)))
    station, offset = (
        grid.ravel() for grid in np.meshgrid(np.arange(0, 76, 0.2), np.arange(-half, half, 0.2))
    )
    east, north = truth.point(station, offset)
    height = truth.elevation(station, offset, truth.CLAY) + truth.difference(station, offset)
    machine = (np.abs(station - 40) < 2.5) & (np.abs(offset + 2) < 1.0)
    height = np.where(machine, height + 2.5, height)
    header = LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [5000.0, 3000.0, 100.0]
    las = LasData(header)
    las.x, las.y, las.z = east, north, height
    table = '[[shots.formats]]\nfiles = "scan.las"\nkind = "scan"'
    folder = street_with(tmp_path, "scan.las", "", table)
    las.write(str(folder / "shots" / DAY / "scan.las"))
    day = run_day(folder, None, Stopwatch())

    taken = [finding for finding in day.findings if "stand above the ground" in finding.text]
    assert len(taken) == 1
    east_of_it, north_of_it = truth.point(np.array([40.0]), np.array([-2.0]))
    said = re.search(r"at E ([0-9.]+) N ([0-9.]+)", taken[0].text)
    assert float(said[1]) == pytest.approx(float(east_of_it[0]), abs=0.5)
    assert float(said[2]) == pytest.approx(float(north_of_it[0]), abs=0.5)
    assert day.ground.z.max() < height[~machine].max() + 0.01
    rows = (day.dots.station > 5) & (day.dots.station < 70) & (np.abs(day.dots.offset) < 4.5)
    true = truth.difference(day.dots.station[rows], day.dots.offset[rows])
    got = day.dots.ground[rows] - day.dots.design[rows, 0]
    # under the machine the ground is carried over from its sides; planar here, so still true
    assert np.nanmax(np.abs(got - true)) < 0.010


def planar_scan(folder, step=0.3):
    """A LAS file of the clay on the planar stretch, none of its points above it."""
    from laspy import LasData, LasHeader

    half = abs(float(truth.edge(0.0, 1, truth.CLAY)))
    station, offset = (
        grid.ravel() for grid in np.meshgrid(np.arange(0, 76, step), np.arange(-half, half, step))
    )
    header = LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [5000.0, 3000.0, 100.0]
    las = LasData(header)
    las.x, las.y = truth.point(station, offset)
    las.z = truth.elevation(station, offset, truth.CLAY) + truth.difference(station, offset)
    las.write(str(folder / "shots" / DAY / "scan.las"))
    return len(station)


def test_a_scan_is_not_looked_through_for_machines_where_the_job_does_not_want_it(tmp_path):
    table = (
        "[shots.scans]\ntake_out_objects = false\ncell_m = 0.05\n\n"
        '[[shots.formats]]\nfiles = "scan.las"\nkind = "scan"'
    )
    folder = street_with(tmp_path, "scan.las", "", table)
    points = planar_scan(folder)
    placed = on_grid(read_inputs(folder, None))

    # cells are smaller than the points' distance, so that all are kept
    assert len(placed.shots) - int(placed.by_hand.sum()) == points
    assert not [one for one in placed.findings if "stand above the ground" in one.text]


def test_positions_on_the_job_grid_already_stay_where_they_are_and_get_the_files_code(tmp_path):
    rows = ["id,easting_m,northing_m,elevation_m,code"]
    east, north, height, codes = planar_rows()
    for k, code in enumerate(codes):
        rows.append(f"P{k},{east[k]:.4f},{north[k]:.4f},{height[k]:.4f},{'' if k % 2 else code}")
    table = '[[shots.formats]]\nfiles = "positions.csv"\nkind = "positions"\ncode = "GR"'
    folder = street_with(tmp_path, "positions.csv", "\n".join(rows) + "\n", table)
    placed = on_grid(read_inputs(folder, None))

    mine = placed.satellite
    assert mine.sum() == len(codes)
    np.testing.assert_allclose(placed.shots.easting[mine], east, rtol=0, atol=6e-5)
    np.testing.assert_allclose(placed.shots.northing[mine], north, rtol=0, atol=6e-5)
    assert placed.shots.code[mine].tolist() == [
        "GR" if k % 2 else code for k, code in enumerate(codes)
    ]
