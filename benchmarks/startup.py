"""The command as a technician meets it: a process of its own, started and ended."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

from pipeline.demo import lay_down


def startup(kept: Path) -> list[tuple[str, float, float, float]]:
    """Rows (what, limit, wall s, CPU s): medians of five, after one that warms the disk."""
    job = kept / "demo"
    lay_down(job)
    os.environ["LATH_CACHE"] = str(kept / "kept")
    lath = [sys.executable, "-m", "pipeline.cli"]
    again = [*lath, "run", str(job), "--out", str(kept / "out")]
    return [
        ("`lath --help`", 0.2, *timed([*lath, "--help"])),
        ("`lath run --fresh` on the demo", 2.0, *timed([*again, "--fresh"])),
        ("`lath run` on the demo again", 2.0, *timed(again)),
    ]


def timed(command: list[str]) -> tuple[float, float]:
    walls, cpus = [], []
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    for k in range(6):
        before = os.times()
        begun = time.perf_counter()
        done = subprocess.run(command, capture_output=True, check=False, env=environment)
        wall = time.perf_counter() - begun
        after = os.times()
        if done.returncode not in {0, 4}:
            raise SystemExit(done.stderr.decode())
        if k:
            walls.append(wall)
            cpus.append(
                after.children_user + after.children_system
                - before.children_user - before.children_system
            )  # fmt: skip
    return statistics.median(walls), statistics.median(cpus)
