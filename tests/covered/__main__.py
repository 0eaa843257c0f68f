"""`python -m tests.covered [ROOM...]`: lines and branches of each room run by its own tests.

Tests of the roof run much of the rooms besides; they do not count here, so that a room can be
trusted without them. `coverage` comes with the extra `check`. `--missing` names the lines and
branches left out.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
ROOMS = {
    **{
        room: (f"pipeline/{room}/*", (f"tests/{room}", f"pipeline/{room}"))
        for room in ("design", "surface", "control", "checks", "compare", "crew", "kept")
    },
    "ongrid": ("pipeline/ongrid.py", ("tests/test_ongrid.py", "tests/test_large_scan.py")),
    "units": ("pipeline/units.py", ("tests/test_units.py", "pipeline/units.py")),
    "model": ("pipeline/model/*", ("tests/test_model.py", "pipeline/model")),
}
"""Files of each room, and the tests that are its own."""


def main(arguments: Sequence[str]) -> int:
    """Run the tests of the rooms asked for, print a row for each."""
    parser = argparse.ArgumentParser(prog="python -m tests.covered", description=__doc__)
    parser.add_argument("rooms", nargs="*", help=f"of {', '.join(ROOMS)}; all without one")
    parser.add_argument("--missing", action="store_true", help="name what is not run")
    asked = parser.parse_args(arguments)
    if unknown := set(asked.rooms) - set(ROOMS):
        parser.error(f"{', '.join(sorted(unknown))}: the rooms are {', '.join(ROOMS)}")
    print(f"{'room':10}{'lines':>14}{'branches':>14}{'both':>9}")
    failed = 0
    for room in asked.rooms or ROOMS:
        with tempfile.TemporaryDirectory(prefix="lath-covered-") as folder:
            failed |= _measured(room, Path(folder), missing=asked.missing)
    return failed


def _measured(room: str, folder: Path, *, missing: bool) -> int:
    files, tests = ROOMS[room]
    data, report = f"--data-file={folder / 'data'}", folder / "report.json"
    tool = [sys.executable, "-m", "coverage"]
    run = [*tool, "run", "--branch", data, f"--include={files}", "-m", "pytest", "-q",
           "-p", "no:cacheprovider", *tests]  # fmt: skip
    done = subprocess.run(run, cwd=ROOT, capture_output=True, text=True)
    if done.returncode:
        print(f"{room}: the tests fail\n{done.stdout[-2000:]}{done.stderr[-500:]}")
        return 1
    subprocess.run([*tool, "json", "-q", data, "-o", str(report)], cwd=ROOT, check=True)
    t = json.loads(report.read_text(encoding="utf-8"))["totals"]
    lines = f"{100 * t['covered_lines'] / t['num_statements']:.1f} %"
    branches = f"{100 * t['covered_branches'] / max(t['num_branches'], 1):.1f} %"
    print(f"{room:10}{lines:>14}{branches:>14}{t['percent_covered']:7.1f} %", flush=True)
    if missing:
        subprocess.run([*tool, "report", data, "-m", "--skip-covered"], cwd=ROOT, check=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
