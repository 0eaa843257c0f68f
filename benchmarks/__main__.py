"""Measure all and say what is met: ``python -m benchmarks [--most N] [--write] [WORD...]``."""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks import report
from benchmarks.plan import GROUPS, Group
from benchmarks.startup import startup


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("words", nargs="*", help="Only groups with such a word in their title.")
    parser.add_argument("--most", type=int, default=1_000_000, help="Largest size.")
    parser.add_argument("--rounds", type=int, default=3, help="Of sizes up to 100 000.")
    parser.add_argument("--write", action="store_true", help="Write benchmarks/RESULTS.md.")
    asked = parser.parse_args()
    kept = Path(tempfile.mkdtemp(prefix="lath-benchmarks-"))
    os.environ["LATH_BENCHMARKS"] = str(kept)
    try:
        found = measured(asked.words, asked.most, asked.rounds)
        starts = [] if asked.words else startup(kept)
    finally:
        shutil.rmtree(kept, ignore_errors=True)
    text = report.text(found, starts)
    print(text)
    if asked.write:
        (Path(__file__).parent / "RESULTS.md").write_text(text, "utf-8")


def measured(words: list[str], most: int, times: int) -> report.Found:
    found: report.Found = {}
    for group in GROUPS:
        if words and not any(word.lower() in group.title.lower() for word in words):
            continue
        for n in (size for size in group.sizes if size <= most):
            runs = rounds(group, n, times if n < 1_000_000 else 1)
            for name, each in runs.items():
                found[name, n] = {
                    key: statistics.median(one[key] for one in each) for key in each[0]
                }
                print(f"{name} {n}: {found[name, n]['cpu']:.3f} s", file=sys.stderr, flush=True)
    return found


def rounds(group: Group, n: int, times: int) -> dict[str, list[dict[str, float]]]:
    """Each case some times, in turn, so that a busy machine is busy for all of them."""
    runs: dict[str, list[dict[str, float]]] = {}
    for _ in range(times):
        for name in group.cases:
            if n > (group.most or {}).get(name, n):
                continue
            command = [sys.executable, "-m", "benchmarks.one", name, str(n)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                print(f"{name} {n}: {done.stderr.strip().splitlines()[-1]}", file=sys.stderr)
                continue
            runs.setdefault(name, []).append(report.read(done.stdout))
    return runs


if __name__ == "__main__":
    main()
