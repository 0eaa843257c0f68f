"""Every example of README and the docs runs and prints what it is said to print."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

from examples import BLOCK, ELSEWHERE, ROOT, Page

PAGES = [
    path
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md")))
    if BLOCK.search(path.read_text(encoding="utf-8"))
    and path.name not in {"commands.md", "labels.md"}
]


@pytest.mark.skipif(sys.platform == "win32", reason="the blocks are written for a Unix shell")
@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_the_examples_of_a_page_run(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    assert Page(path.read_text(encoding="utf-8"), tmp_path).run() > 0


def test_commands_that_set_up_a_machine_are_those_that_ci_runs():
    """README's two; a page may show only these again."""
    known = {body for kind, _, body in _blocks(ROOT / "README.md") if kind == "sh"}
    shown = {
        body
        for path in PAGES
        if path.parent != ROOT
        for kind, _, body in _blocks(path)
        if kind == "sh" and ELSEWHERE.search(body)
    }

    assert shown <= known


def _blocks(path):
    return BLOCK.findall(path.read_text(encoding="utf-8"))
