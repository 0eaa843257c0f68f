"""`from pipeline import ...`: light, typed, and the same numbers as the command."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import pipeline
from pipeline.demo import truth
from pipeline.errors import InputError, SurfaceError
from pipeline.model import make_shots

DEMO = Path(__file__).resolve().parent.parent / "fixtures" / "demo"


def test_the_package_loads_nothing_until_it_is_asked():
    code = (
        "import sys, pipeline\n"
        "print(sorted({'numpy', 'click', 'pydantic', 'pipeline.run'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


def test_every_name_is_there_and_says_what_it_does():
    names = set(pipeline.__all__) - {"__version__"}

    assert names <= set(dir(pipeline))
    assert all(getattr(pipeline, name).__doc__ for name in names)
    assert (Path(pipeline.__file__).parent / "py.typed").is_file()


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="run_night"):
        pipeline.run_night  # noqa: B018  # looking it up is what is tested


def test_volumes_of_two_level_planes_are_those_of_a_prism():
    """20 m by 10 m, 0.25 m apart: 50 m3, analytic."""
    corner = [0.0, 20.0, 20.0, 0.0], [0.0, 0.0, 10.0, 10.0]
    ground = pipeline.make_ground(make_shots(*corner, [5.25] * 4), max_edge_m=30.0)
    below = pipeline.make_ground(make_shots(*corner, [5.0] * 4), max_edge_m=30.0)
    found = pipeline.cut_and_fill(ground, below)

    assert found.cut_m3 == pytest.approx(50.0, abs=1e-6)
    assert (found.fill_m3, found.uncovered_area_m2) == pytest.approx((0.0, 0.0), abs=1e-6)
    np.testing.assert_allclose(
        pipeline.heights_at(ground, [10.0, 99.0], [5.0, 5.0]), [5.25, np.nan]
    )


def test_ground_of_two_points_is_refused():
    with pytest.raises(SurfaceError):
        pipeline.make_ground(make_shots([0.0, 1.0], [0.0, 1.0], [5.0, 5.0]))


def test_the_clay_of_the_demo_lies_where_its_own_mathematics_say():
    clay = pipeline.layer_surface(pipeline.read_design(DEMO), truth.CLAY)
    station, offset = np.array([20.0, 60.0, 150.0]), np.array([-3.0, 0.0, 3.0])
    east, north = truth.point(station, offset)

    np.testing.assert_allclose(
        pipeline.heights_at(clay, east, north),
        truth.elevation(station, offset, truth.CLAY),
        atol=0.003,  # 2 mm of chord, in plan and in height
    )


def test_a_morning_runs_and_its_package_is_written_outside_of_the_job(tmp_path):
    job = tmp_path / "street"
    shutil.copytree(DEMO, job)
    (day,) = pipeline.job_days(job)
    folder = pipeline.write_package(pipeline.run_day(job, day), tmp_path / "out")

    assert folder == tmp_path / "out" / day
    assert (folder / "manifest.json").is_file()
    assert not (job / "out").exists()


def test_a_file_is_read_and_one_that_is_none_is_refused(tmp_path):
    table = tmp_path / "shots.txt"
    table.write_text("id,northing,easting,elevation\n1,10,20,3.2808\n")

    shots = pipeline.read_file(table, unit="ft").shots
    assert shots.elevation[0] == pytest.approx(1.0, abs=1e-4)
    with pytest.raises(InputError):
        pipeline.read_file(tmp_path / "nothing.txt")
