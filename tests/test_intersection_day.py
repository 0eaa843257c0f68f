"""A morning on the invented intersection: the clay of streets, corners and bulb as one surface."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from pipeline import assemble
from pipeline.cli import main
from pipeline.compare import compose
from pipeline.demo import intersection as known
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.surface.locate import interpolate
from pipeline.surface.mesh import area

OVER_M = 0.050
CODES = '\n[codes.GR]\nwhat = "ground"\n\n[surface]\nmax_edge_m = 4.0\n'


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The fixture with a morning of its own: the clay everywhere 50 mm high, every 1 m."""
    folder = tmp_path_factory.mktemp("intersection") / "job"
    known.lay_down(folder)
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(CODES)
    inputs = read_before_shots(folder)
    corridor, _ = assemble.design(inputs.design, inputs.job)
    clay = compose.layer_surface(corridor, "clay subgrade", inputs.job.design).surface
    e, n = np.meshgrid(np.arange(995.1, 1068.9, 1.0), np.arange(2000.1, 2129.9, 1.0))
    z = interpolate(clay, e.ravel(), n.ravel()) + OVER_M
    rows = [
        f"{k},{north:.3f},{east:.3f},{height:.4f},GR"
        for k, (east, north, height) in enumerate(zip(e.ravel(), n.ravel(), z, strict=True))
        if np.isfinite(height)
    ]
    path = folder / "shots" / "2026-05-14" / "morning.csv"
    path.parent.mkdir(parents=True)
    path.write_text("\n".join(["point,northing,easting,elevation,code", *rows]) + "\n", "utf-8")
    return folder, area(clay), len(rows)


def test_the_day_compares_every_street_corner_and_bulb(job):
    folder, ground, shots = job
    result = CliRunner().invoke(main, ["check", str(folder), "--json"])

    assert result.exit_code == 0, result.output
    report = json.loads(result.stdout)
    assert report["shots"]["read"] == shots
    assert report["shots"]["used"] == shots
    clay = report["layers"]["clay subgrade"]
    # 50 mm over all of it; crowns and edges that fall between shots take some millimetres
    assert clay["mean_cut_m"] == pytest.approx(OVER_M, abs=0.004)
    assert clay["uncovered_m2"] < 0.15 * ground
    assert clay["fill_m3"] < 0.5
    kinds = {finding["kind"] for finding in report["findings"]}
    assert "pond" not in kinds
    assert "design step" not in kinds
    assert "crossfall" in kinds


def test_a_place_in_the_bulb_has_its_design(job):
    folder, _, _ = job
    words = ["at", str(folder), "--east", "1056", "--north", "2065", "--json"]
    result = CliRunner().invoke(main, words)

    assert result.exit_code == 0, result.output
    place = json.loads(result.stdout)
    # the crown runs on from the street: 49.22 less 2 % of 56 m; the clay 0.335 below
    assert place["layers"]["finish"] == pytest.approx(49.22 - 1.12, abs=1e-3)
    assert place["layers"]["clay subgrade"] == pytest.approx(49.22 - 1.12 - 0.335, abs=1e-3)
    assert place["cut"]["clay subgrade"] == pytest.approx(OVER_M, abs=0.01)
