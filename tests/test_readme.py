"""README says what there is: layers, files, commands, settings."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from pydantic import TypeAdapter

from pipeline.cli import main
from pipeline.model.drawing import LAYERS
from pipeline.settings import Code, FileFormat

README = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")


def test_every_layer_of_the_drawing_is_listed():
    listed = dict(re.findall(r"^\| `([a-z0-9-]+)` \| (.+?) \|$", README, re.MULTILINE))

    assert {name: listed.get(name) for name in LAYERS} == LAYERS


def test_every_command_is_listed():
    for name in main.commands:
        assert f"`lath {name} " in README


def test_the_settings_shown_are_settings():
    shown = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    formats = tomllib.loads(shown[0])["shots"]["formats"]
    codes = tomllib.loads(shown[1])["codes"]

    assert TypeAdapter(FileFormat).validate_python(FileFormat(**formats[0])).decimal == ","
    assert Code(**codes["EC"]).break_name == "edge of clay"


def test_two_commands_start_a_fresh_machine():
    blocks = re.findall(r"```sh\n(.*?)\n```", README, re.DOTALL)

    assert len(blocks) == 2
    assert all("\n" not in block for block in blocks)
