"""Pictures of README and the docs: there, small, shown. The page of the map knows every layer."""

from __future__ import annotations

import re
from pathlib import Path

from pipeline.model import LAYERS

ROOT = Path(__file__).resolve().parent.parent
PICTURES = sorted((ROOT / "docs" / "pictures").glob("*.png"))


def test_pictures_are_small_and_every_one_is_shown():
    pages = [ROOT / "README.md", *(ROOT / "docs").rglob("*.md")]
    shown = {
        Path(name).name
        for page in pages
        for name in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", page.read_text(encoding="utf-8"))
    }

    assert len(PICTURES) >= 5
    assert shown == {path.name for path in PICTURES}
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in PICTURES)
    assert {
        path.name: path.stat().st_size for path in PICTURES if path.stat().st_size > 200_000
    } == {}


def test_the_page_of_the_map_lists_every_layer():
    text = (ROOT / "docs" / "files" / "map.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| `([^`]+)` \| (.+) \|$", text.split("## Layers")[1], re.MULTILINE))

    assert rows == LAYERS
