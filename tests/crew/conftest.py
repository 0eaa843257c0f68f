"""A straight street on the job's own tables, simple enough to compute by hand.

100 m due north from (1000, 2000) at 2 % up from 50.000. Finish: 2 % crossfall to the
lip at 3.70, a pan of 0.30 at 6 %, a straight face of 150 mm to the top back of curb at
4.25. Clay: 0.40 below the crown, 2.5 % to 4.85.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.model import NO_LINES, make_shots, texts
from pipeline.settings import SurfaceRules
from pipeline.surface import tin
from tests.streets import curbed_sections, street


@pytest.fixture(scope="session")
def corridor(tmp_path_factory):
    found = street(
        tmp_path_factory.mktemp("design"),
        "start,,,,,1000.0,2000.0,0.0,0.0\nline,100.0,,,,,,,\n",
        "0,50.0,0,0\n100,52.0,0,0\n",
        curbed_sections(100.0),
        ["finish", "clay subgrade"],
    )
    return replace(found, name="straight street")


@pytest.fixture(scope="session")
def flat_ground():
    """Level ground at 51.000 over stations 20 to 80 and 6 m each side."""
    east = np.array([994.0, 1006.0, 1006.0, 994.0, 1000.0])
    north = np.array([2020.0, 2020.0, 2080.0, 2080.0, 2050.0])
    shots = make_shots(east, north, np.full(5, 51.0), code=texts(["GR"] * 5))
    surface, _ = tin.build(shots, NO_LINES, SurfaceRules(max_edge_m=100.0))
    return surface
