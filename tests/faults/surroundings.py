"""The same morning in other surroundings: same bytes, whatever machine it is."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from pipeline.deliver.package import MANIFEST, verify
from tests.faults.bench import DAY, ROOT, Fault

LOCALES = ("C", "de_DE.UTF-8", "tr_TR.UTF-8", "ja_JP.UTF-8", "ja_JP.EUC-JP")
"""Decimal comma, dotless i, another script; and bytes that are not UTF-8."""
ZONES = ("America/St_Johns", "Asia/Kolkata", "Pacific/Apia", "Antarctica/Troll")
START = """
import locale, sys
locale.setlocale(locale.LC_ALL, "")
{before}
from pipeline.cli import main
main()
"""
# the clock of the manifest's one line, set to a year before the shots were taken
BACK = """
import datetime, pipeline.publish as publish
class Back(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls(2001, 1, 1, tzinfo=tz)
publish.datetime = Back
"""


def surroundings(*, quick: bool) -> Iterator[tuple[str, str, dict[str, str], str]]:
    """Kind, name, environment, and what is done before the command starts."""
    yield "hash seed", "1", {"PYTHONHASHSEED": "1"}, ""
    yield "clock", "set back to 2001", {}, BACK
    if quick:
        yield "locale", "de_DE.UTF-8", {"LC_ALL": "de_DE.UTF-8", "TZ": "Asia/Kolkata"}, ""
        return
    yield "hash seed", "4000000000", {"PYTHONHASHSEED": "4000000000"}, ""
    for threads in ("2", "4"):
        names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
        yield "threads", threads, dict.fromkeys(names, threads), ""
    for zone in ZONES:
        yield "time zone", zone, {"TZ": zone}, ""
    for name in LOCALES:
        yield "locale", name, {"LC_ALL": name, "LANG": name, "PYTHONUTF8": "0"}, ""


def tried(*, quick: bool) -> Iterator[Fault]:
    """A run in each of them beside a run in this one."""
    with tempfile.TemporaryDirectory(prefix="faults-") as scratch:
        folder = Path(scratch)
        job = folder / "street"
        shutil.copytree(ROOT / "fixtures" / "demo", job)
        made = locales(folder / "locales")
        _, plain = run(job, folder / "plain", {}, "")
        for number, (kind, name, environment, before) in enumerate(surroundings(quick=quick)):
            wanted = environment.get("LC_ALL", "C")
            if wanted != "C" and wanted not in made:
                yield Fault(kind, name, untried="localedef could not make this locale here")
                continue
            # another folder, another name of it: neither may be in the package
            name_there = "street" if "EUC" in name else "Straße İstanbul 道"
            elsewhere = folder / f"{number}" / name_there
            shutil.copytree(job, elsewhere)
            around = {"LOCPATH": str(folder / "locales"), **environment}
            said, found = run(elsewhere, folder / f"out-{number}", around, before)
            wrong = "" if found else f"no package: {said[-300:]}"
            if found and (differ := [one for one in plain if plain[one] != found.get(one)]):
                wrong = f"other bytes in {', '.join(differ)}"
            yield Fault(kind, name, wrong)


def run(
    job: Path, out: Path, environment: dict[str, str], before: str
) -> tuple[str, dict[str, bytes]]:
    """What the command said, and the files of the package, the manifest without its one line."""
    done = subprocess.run(
        [sys.executable, "-c", START.format(before=before), "run", str(job), "--out", str(out)],
        cwd=out.parent, capture_output=True, text=True, encoding="utf-8", errors="replace",
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip
    said = done.stdout + done.stderr
    if done.returncode != 0 or verify(out / DAY):
        return f"exit code {done.returncode}: {said}", {}
    files = {one.name: one.read_bytes() for one in (out / DAY).iterdir()}
    manifest = json.loads(files[MANIFEST])
    del manifest["written"], manifest["seal"]
    files[MANIFEST] = json.dumps(manifest).encode()
    return said, files


def locales(folder: Path) -> set[str]:
    """The locales that could be made here, under `folder`."""
    folder.mkdir()
    made = set()
    for name in LOCALES:
        language, _, charset = name.partition(".")
        if not charset or shutil.which("localedef") is None:
            continue
        command = ["localedef", "-i", language, "-f", charset, str(folder / name)]
        # 1: warnings only
        if subprocess.run(command, capture_output=True).returncode in (0, 1):
            made.add(name)
    return made
