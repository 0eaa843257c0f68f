"""One measurement in a process of its own: ``python -m benchmarks.one CASE N``."""

from __future__ import annotations

import json
import os
import resource
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command has it

from benchmarks.cases import CASES


def main() -> None:
    name, n = sys.argv[1], int(sys.argv[2])
    work, part = CASES[name](n)
    before = resource.getrusage(resource.RUSAGE_SELF)
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    after = resource.getrusage(resource.RUSAGE_SELF)
    print(json.dumps({
        "cpu": cpu / part, "wall": wall / part, "part": part,
        "before_mb": before.ru_maxrss / 1024, "peak_mb": after.ru_maxrss / 1024,
    }))  # fmt: skip


if __name__ == "__main__":
    main()
