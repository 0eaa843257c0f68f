"""Coverage-guided fuzzing of every reader: `python -m tests.fuzz [READER...] [--seconds N]`.

Needs `pip install atheris` (Linux). Each reader gets its share of the time, over and over
until the time is up; every share adds a line to SCRATCH/record.csv: reader, seed, tries,
seconds, places reached, kinds of crashes so far. The corpus grows in SCRATCH, not here.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import time
from pathlib import Path

from tests.fuzz.readers import READERS, ROOT

MAX_BYTES = 4096
LONGER = {"dxf": 8192, "las": 5200, "landxml": 4400, "any-file": 8192}
"""Readers whose smallest whole file is longer."""


def share(reader: str, seed: int, seconds: int, scratch: Path) -> str:
    """Mutate for one reader for a while; the line for the record."""
    command = [
        sys.executable, "-m", "tests.fuzz.child", reader, str(scratch), f"-seed={seed}",
        f"-max_total_time={seconds}", f"-max_len={LONGER.get(reader, MAX_BYTES)}", "-timeout=20",
        "-rss_limit_mb=3000", f"-artifact_prefix={scratch}/crashes/{reader}-",
    ]  # fmt: skip
    begun = time.monotonic()
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, errors="replace")
    said = done.stdout + done.stderr
    tries = max((int(n) for n in re.findall(r"^#(\d+)", said, re.MULTILINE)), default=0)
    reached = re.findall(r"cov: (\d+)", said)
    crashes = len(list((scratch / "crashes").glob(f"{reader}-*")))
    ended = "" if done.returncode == 0 else said.strip().splitlines()[-1][:60].replace(",", " ")
    spent = time.monotonic() - begun
    return f"{reader},{seed},{tries},{spent:.0f},{reached[-1] if reached else 0},{crashes},{ended}"


def main() -> None:
    """Share the time out among the readers."""
    ask = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    ask.add_argument("readers", nargs="*", metavar="READER", choices=[*READERS, []])
    ask.add_argument("--seconds", type=int, default=600, help="in all")
    ask.add_argument("--share", type=int, default=60, help="seconds a reader at a time")
    ask.add_argument("--seed", type=int, default=1, help="of the first share; then one more each")
    ask.add_argument("--scratch", type=Path, default=Path("/tmp/lath-fuzz"))
    asked = ask.parse_args()
    asked.scratch.mkdir(parents=True, exist_ok=True)
    record, ends, seed = asked.scratch / "record.csv", time.monotonic() + asked.seconds, asked.seed
    while time.monotonic() < ends:
        for reader in asked.readers or READERS:
            line = share(reader, seed, asked.share, asked.scratch)
            with record.open("a", encoding="utf-8") as stream:
                stream.write(line + "\n")
            print(line, flush=True)
            if time.monotonic() >= ends:
                break
        seed += 1


if __name__ == "__main__":
    main()
