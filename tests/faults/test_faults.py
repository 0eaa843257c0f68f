"""A part of the fault suite in every test run; all of it is `python -m tests.faults`."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a run is killed in a copy of the process")
def test_the_quick_part_of_the_fault_suite_is_survived():
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults", "--quick"], cwd=ROOT, capture_output=True, text=True
    )
    said = re.search(r"^faults tried (\d+), survived (\d+)$", done.stdout, re.MULTILINE)

    assert done.returncode == 0, done.stdout + done.stderr
    assert said is not None
    assert said[1] == said[2]
    assert int(said[1]) > 30
