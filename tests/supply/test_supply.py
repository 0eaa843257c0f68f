"""What comes from others: licences, the lock file, and no network while it runs."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

from pipeline.cli import main
from tests.supply.licences import PAGE, ROOT, goes_with_ours, libraries, licence

LOCK = (ROOT / "requirements-lock.txt").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PINNED = {
    name: (Version(version), re.findall(r"--hash=sha256:[0-9a-f]{64}", rest))
    for name, version, rest in re.findall(
        r"^([a-z0-9-]+)==([^\s\\]+)(.*?)(?=^[a-z0-9-]+==|\Z)", LOCK, re.MULTILINE | re.DOTALL
    )
}
LOCKED = ("test", "check", "plot")
ALL = PROJECT["dependencies"] + [
    one for group in LOCKED for one in PROJECT["optional-dependencies"][group]
]
LATER = "2026-05-15"
# every way that Python has to a network, shut; an attempt ends the process with a code of its own
SHUT = """
import os, socket, sys
def shut(event, args):
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.getaddrinfo",
                 "socket.gethostbyname", "urllib.Request", "http.client.connect"):
        sys.stderr.write(f"NETWORK: {event} {args[-1:]}\\n")
        sys.stderr.flush()
        os._exit(99)
sys.addaudithook(shut)
from pipeline.cli import main
main()
"""


@pytest.mark.parametrize("name", sorted(libraries() | libraries("test")))
def test_a_library_has_a_licence_that_may_come_along(name):
    found = (libraries() | libraries("test"))[name]

    assert goes_with_ours(licence(found)), licence(found)


def test_every_library_stands_on_the_page_with_its_licence():
    said = dict(
        re.findall(r"^\| ([a-z0-9-]+) \| (.+) \|$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    )
    here = libraries() | libraries("test")
    assert here.keys() <= said.keys(), "run -m tests.supply.licences"
    # the page is that of the locked versions; a newer one may word its licence otherwise
    wanted = {
        name: licence(found)
        for name, found in here.items()
        if Version(found.version) == PINNED[name][0]
    }

    assert {name: said.get(name) for name in wanted} == wanted, "run -m tests.supply.licences"


@pytest.mark.parametrize("text", ALL, ids=lambda text: Requirement(text).name)
def test_what_is_asked_for_is_locked_with_its_hash_and_not_below_the_lower_bound(text):
    need = Requirement(text)
    version, hashes = PINNED[need.name.lower()]

    assert any(one.operator in {">=", "=="} for one in need.specifier)
    assert need.specifier.contains(version)
    assert hashes


def test_the_lock_holds_what_those_need_as_well():
    assert libraries().keys() | libraries("test").keys() <= PINNED.keys()
    assert all(hashes for _, hashes in PINNED.values())


def a_day_later(shots, day):
    """The same morning shot once more, two millimetres off."""
    shutil.copytree(shots / day, shots / LATER)
    path = shots / LATER / "morning.csv"
    rows = [line.split(",") for line in path.read_text("utf-8").replace(day, LATER).splitlines()]
    for row in rows[1:]:
        row[2] = f"{float(row[2]) + 0.002:.3f}"
    path.write_text("\n".join(map(",".join, rows)) + "\n", "utf-8")


@pytest.mark.parametrize("projected", [False, True])
def test_nothing_is_sent_or_fetched_while_it_runs(tmp_path, projected):
    """An audit hook (PEP 578) sees every socket that Python opens; PROJ is asked by itself."""
    street = tmp_path / "street"
    shutil.copytree(ROOT / "fixtures" / ("open-road" if projected else "demo"), street)
    day = next(one.name for one in (street / "shots").iterdir())
    commands = (
        ["run", str(street)], ["run", str(street), "--pictures"], ["check", str(street)],
        ["layout", str(street)], ["read", str(next((street / "shots" / day).iterdir()))],
        ["verify", str(street / "out" / day), "--job", str(street)],
        ["at", str(street), "--station", "100"], ["pregrade", str(street)],
        ["compare-days", str(street), day, LATER],
        ["demo", str(tmp_path / "laid")],
    )  # fmt: skip
    # a watch is `run` again and again, and looks at files in between
    assert {words[0] for words in commands} | {"watch"} == set(main.commands)
    for words in commands if not projected else commands[:1]:
        if LATER in words:
            a_day_later(street / "shots", day)
        done = subprocess.run(
            [sys.executable, "-c", SHUT, *words], cwd=ROOT, capture_output=True, text=True,
            env={**os.environ, "PROJ_NETWORK": "ON"},
        )  # fmt: skip
        assert "NETWORK" not in done.stderr, done.stderr[-300:]
        assert done.returncode in {0, 4}, done.stderr[-500:]


def test_the_page_asks_nobody_either(tmp_path):
    """Nothing in the phone's page has an address of another computer."""
    street = tmp_path / "street"
    shutil.copytree(ROOT / "fixtures" / "demo", street)
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "run", str(street), "--json"], cwd=ROOT,
        capture_output=True, text=True,
    )  # fmt: skip
    folder = Path(json.loads(done.stdout)["folder"])
    text = (folder / "day.html").read_text(encoding="utf-8")
    asks = re.findall(r"(?:src|href|action)=\"(?!#|data:)[^\"]*\"|fetch\(|XMLHttp|WebSocket", text)

    assert asks == []
