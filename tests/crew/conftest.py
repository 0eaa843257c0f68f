"""A straight street on the job's own tables, simple enough to compute by hand.

100 m due north from (1000, 2000) at 2 % up from 50.000. Finish: 2 % crossfall to the
lip at 3.70, a pan of 0.30 at 6 %, a straight face of 150 mm to the top back of curb at
4.25. Clay: 0.40 below the crown, 2.5 % to 4.85.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.design import alignment, profile, section
from pipeline.ingest.job.design import read_alignment, read_profile
from pipeline.ingest.job.sections import read_sections
from pipeline.model import NO_LINES, Corridor, make_shots, texts
from pipeline.settings import LayerRule, SurfaceRules
from pipeline.surface import tin
from tests.streets import curbed_sections

ALIGNMENT = """\
kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station
start,,,,,1000.0,2000.0,0.0,0.0
line,100.0,,,,,,,
"""
PROFILE = "station,elevation_m,curve_in_m,curve_out_m\n0,50.0,0,0\n100,52.0,0,0\n"


@pytest.fixture(scope="session")
def corridor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("design")
    for name, text in (
        ("a.csv", ALIGNMENT),
        ("p.csv", PROFILE),
        ("s.toml", curbed_sections(100.0)),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    line, _ = alignment.build(read_alignment(folder / "a.csv"))
    heights, _ = profile.build(read_profile(folder / "p.csv"))
    rules = [LayerRule(name="finish"), LayerRule(name="clay subgrade")]
    layers = section.layers(read_sections(folder / "s.toml"), rules)
    return Corridor("straight street", line, heights, layers)


@pytest.fixture(scope="session")
def flat_ground():
    """Level ground at 51.000 over stations 20 to 80 and 6 m each side."""
    east = np.array([994.0, 1006.0, 1006.0, 994.0, 1000.0])
    north = np.array([2020.0, 2020.0, 2080.0, 2080.0, 2050.0])
    shots = make_shots(east, north, np.full(5, 51.0), code=texts(["GR"] * 5))
    surface, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=100.0))
    return surface
