"""day.html of the demo street shot as densely as a scanner shoots it: over 200 000 triangles.

.venv/bin/python tests/browser/large_page.py FOLDER_OF_THE_DEMO_JOB day-large.html
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from pipeline import publish, publish_page
from pipeline.design import alignment as line
from pipeline.model import NO_LINES, make_shots
from pipeline.run import Stopwatch, compare_layers, run_day
from pipeline.settings import SurfaceRules
from pipeline.surface import locate, tin


def large_page(job: Path) -> bytes:
    """The page, with 100 000 vertices of the demo's own ground and 6 mm of noise on them."""
    day = run_day(job, None, Stopwatch())
    station, offset = (v.ravel() for v in np.meshgrid(
        np.linspace(1.0, 419.0, 1717), np.linspace(-6.0, 6.0, 60), indexing="ij"
    ))  # fmt: skip
    shake = np.random.default_rng(11)
    east, north, _ = line.point_at(day.morning.corridor.alignment, station, offset)
    east, north = (np.round(v + shake.uniform(-0.05, 0.05, len(v)), 3) for v in (east, north))
    height = locate.interpolate(day.ground, east, north)
    known = np.isfinite(height)
    height = np.round(height[known] + shake.normal(0.0, 0.006, known.sum()), 3)
    shots = make_shots(east[known], north[known], height)
    rules = SurfaceRules(same_place_m=0.01, same_height_m=0.0)
    ground, _ = tin.build(shots, NO_LINES, rules)
    sys.stdout.write(f"{len(ground.triangles)} triangles\n")
    day = replace(day, ground=ground, compared=compare_layers(day.morning, ground))
    return publish_page.page_files(day, publish.plan_words(day))["day.html"]


if __name__ == "__main__":
    Path(sys.argv[2]).write_bytes(large_page(Path(sys.argv[1])))
