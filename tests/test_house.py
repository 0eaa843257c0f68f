"""The house stands as it is drawn: who may import whom, and how large a room may grow."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PIPELINE = Path(__file__).resolve().parent.parent / "pipeline"

GROUND = {
    "errors", "units", "strict", "settings", "settings_crew", "settings_design",
    "settings_earthwork", "settings_shots", "model", "offline", "compiled",
}  # fmt: skip
STAGES = {
    "ingest": set(),
    "control": set(),
    "checks": set(),
    "surface": set(),
    "design": set(),
    "compare": {"surface", "design"},
    "crew": {"surface", "design", "compare"},
    "deliver": set(),
}
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "units": set(),
    "offline": set(),
    "strict": set(),
    "settings_crew": {"strict"},
    "settings_design": {"strict"},
    "settings_earthwork": {"strict"},
    "settings_shots": {"strict", "units"},
    "settings": {
        "units",
        "strict",
        "settings_crew",
        "settings_design",
        "settings_earthwork",
        "settings_shots",
    },
    "model": {"errors", "units"},
    "compiled": {"kept"},
    **{stage: GROUND | others for stage, others in STAGES.items()},
    "demo": {"errors", "model"},
    "kept": set(),
    "cluster": {"errors"},
    "many": {"errors", "ingest", "cluster", "kept", "run", "running", "publish"},
    "running": {"run", "publish", "saying", "objects", "crew", "many", "kept", "terminal"},
    "ongrid": GROUND | {"ingest", "control", "surface", "cluster"},
    "along": GROUND | {"checks", "compare", "design"},
    "judging": GROUND | {"ingest", "checks", "compare", "design", "ongrid", "along"},
    "assemble": GROUND | {"ingest", "design", "surface", "compare"},
    "run": GROUND | set(STAGES) | {"ongrid", "along", "judging", "assemble"},
    "publish_crew": GROUND | set(STAGES) | {"judging", "run", "earthworks"},
    "publish_page": GROUND | set(STAGES) | {"judging", "run", "earthworks", "publish_crew"},
    "publish_days": GROUND | set(STAGES) | {"judging", "run", "objects"},
    "planning": GROUND | {"compare", "crew", "judging", "run"},
    "publish_pictures": GROUND | set(STAGES) | {"judging", "run", "planning"},
    "pregrading": GROUND | {"compare", "crew", "run"},
    "earthworks": GROUND | {"compare", "crew", "design", "run", "pregrading"},
    "saying": GROUND | {"compare", "crew", "design", "judging", "run"},
    "objects": GROUND | {"compare", "crew", "design", "ingest", "run", "saying", "kept"},
    "publish": GROUND
    | set(STAGES)
    | {"run", "saying", "objects", "earthworks", "publish_crew", "publish_days", "publish_page"}
    | {"publish_pictures", "planning"},
    "lookup": GROUND | {"ingest", "compare", "design", "ongrid", "judging", "run"},
    "setting_out": GROUND | set(STAGES) | {"run", "publish", "objects"},
    "proof": GROUND | {"deliver", "run", "publish", "publish_days", "objects", "setting_out"},
    "notebook": GROUND | set(STAGES) | {"run", "publish"},
    "convert_line": GROUND | {"ingest", "deliver", "design"},
    "convert": GROUND | {"ingest", "deliver", "surface", "convert_line"},
    "readout": GROUND | {"ingest", "convert"},
    "watching": {"ingest"},
    "options": {"units"},
    "terminal": {"errors", "run", "ingest", "deliver"},
    "cli": GROUND
    | set(STAGES)
    | {
        "run",
        "publish",
        "publish_days",
        "saying",
        "objects",
        "earthworks",
        "pregrading",
        "lookup",
        "setting_out",
        "proof",
        "readout",
        "demo",
        "options",
        "terminal",
        "watching",
        "cluster",
        "many",
        "running",
    },
}
for _room in (
    "cli",
    "ongrid",
    "run",
    "publish_crew",
    "publish_page",
    "planning",
    "earthworks",
    "pregrading",
    "publish",
    "options",
):
    MAY_IMPORT[_room] = MAY_IMPORT[_room] | {"kept"}
FORBIDDEN_NAMES = {"utils", "helpers", "core", "common", "base", "manager"}
TERMINAL_AND_DISK = {"ingest", "deliver", "cli", "demo", "kept"}

MODULES = sorted(PIPELINE.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(PIPELINE).parts[0].removesuffix(".py")


def imported_rooms(tree: ast.AST) -> set[str]:
    rooms = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            parts = node.module.split(".")
            if parts[0] == "pipeline":
                rooms |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            rooms |= {
                alias.name.split(".")[1]
                for alias in node.names
                if alias.name.startswith("pipeline.")
            }
    return rooms - {"__version__"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PIPELINE).as_posix())
def test_a_room_imports_only_downwards(path):
    room = room_of(path)
    if room == "__init__":
        return
    allowed = MAY_IMPORT[room] | {room}

    assert imported_rooms(ast.parse(path.read_text(encoding="utf-8"))) <= allowed


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PIPELINE).as_posix())
def test_a_module_stays_small_and_is_called_after_what_it_does(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
    assert path.stem not in FORBIDDEN_NAMES


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PIPELINE).as_posix())
def test_only_ingest_and_deliver_touch_the_disk(path):
    if room_of(path) in TERMINAL_AND_DISK:
        return
    calls = {
        node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
    }

    assert not calls & {"open", "read_text", "read_bytes", "write_text", "write_bytes", "print"}
