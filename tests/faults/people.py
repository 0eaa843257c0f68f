"""What other people and programs do at the same time, and names that some systems refuse."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.faults.bench import DAY, ROOT, Bench, Fault

INPUTS = (
    "job.toml", "design/alignment.csv", "design/profile.csv", "design/sections.toml",
    "control.csv", "utilities.csv", f"shots/{DAY}/hubs.csv", f"shots/{DAY}/morning.csv",
)  # fmt: skip
RESERVED = ("CON", "prn", "AUX", "nul", "COM1", "LPT9", "con.csv", "2026-05-14.", "2026-05-14 ")
# a copy program is still at it: the file grows, or is put there anew, once it has been read
CHANGED = """
import os, sys
from pathlib import Path
from pipeline.ingest.job import inputs
path, how = Path(sys.argv[1]), sys.argv[2]
real = inputs._shots_of
def later(files):
    data = path.read_bytes()
    if how == "grown":
        path.write_bytes(data + b"\\n")
    elif how == "put anew":
        path.with_name("copy").write_bytes(data.replace(b"1", b"2", 1))
        path.with_name("copy").replace(path)
    else:
        path.unlink()
    return real(files)
inputs._shots_of = later
sys.argv[1:3] = []
from pipeline.cli import main
main()
"""


def changed_while_read(*, quick: bool) -> Iterator[Fault]:
    """A file that changes after it was read and before the day is told from it."""
    tries = [(name, how) for name in INPUTS for how in ("grown", "put anew", "taken away")]
    for name, how in tries[1::9] if quick else tries:
        with tempfile.TemporaryDirectory(prefix="faults-") as scratch:
            job = Path(scratch) / "street"
            shutil.copytree(ROOT / "fixtures" / "demo", job)
            done = subprocess.run(
                [sys.executable, "-c", CHANGED, str(job / name), how, "run", str(job)],
                cwd=ROOT, capture_output=True, text=True,
            )  # fmt: skip
            wrong = ""
            if done.returncode != 3 or Path(name).name not in done.stderr:
                wrong = f"exit code {done.returncode}: {done.stderr[-300:]}"
            elif "Traceback" in done.stderr or (job / "out").exists():
                wrong = "a traceback, or a package after all"
            yield Fault("a file changed while it was read", f"{name} {how}", wrong)


def two_at_once(bench: Bench, *, turns: int) -> Iterator[Fault]:
    """Three runs started together: each is done or told of another, and one package stands."""
    command = [sys.executable, "-m", "pipeline.cli", "run", str(bench.job), "--out"]
    for turn in range(turns):
        out = bench.out()
        runs = [
            subprocess.Popen(
                [*command, str(out)], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                text=True,
            )
            for _ in range(3)
        ]  # fmt: skip
        ended = [(one.communicate()[1], one.returncode) for one in runs]
        told = [said for said, code in ended if code == 3 and "another run is writing it" in said]
        done = [code for _, code in ended if code == 0]
        wrong = bench.wrong_with(out)
        if not done or len(done) + len(told) != len(runs):
            wrong = f"ended with {[code for _, code in ended]}: {ended[0][0][-200:]}"
        yield Fault("two runs at once", f"turn {turn}", wrong)


def held_lock(bench: Bench) -> Iterator[Fault]:
    """A run while another holds the package; and after one was killed with it in hand."""
    from pipeline.deliver.lock import locked

    out = bench.out()
    with locked(out / f".{DAY}.lock", out / DAY):
        ended = bench.run(out)
    wrong = bench.wrong_with(out, must_be_old=True)
    if ended.code != 3 or f"another run is writing it (process {os.getpid()}" not in ended.said:
        wrong = f"exit code {ended.code}: {ended.said[-200:]}"
    yield Fault("two runs at once", "one holds the package", wrong)
    (out / f".{DAY}.lock").write_text("process 1 on elsewhere\n", encoding="utf-8")
    yield Fault("two runs at once", "a lock file left by a kill", bench.next_run_is_clean(out))


def reserved_names(bench: Bench) -> Iterator[Fault]:
    """Names that another system cannot bear are refused here, before anything is written."""
    for name in RESERVED:
        done = subprocess.run(
            [sys.executable, "-m", "pipeline.cli", "check", str(bench.job), "--day", name],
            cwd=ROOT, capture_output=True, text=True,
        )  # fmt: skip
        wrong = "" if done.returncode == 3 and "lath: " in done.stderr else f"{done.returncode}"
        yield Fault("a reserved name of a day", name, wrong)
