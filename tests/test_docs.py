"""The docs say what the code is: generated pages in step, names explained, links whole."""

from __future__ import annotations

import re
import shlex
import tomllib
from dataclasses import fields, is_dataclass

import pytest

from docs.generate import DOCS, columns, commands, job_file, pages
from pipeline import (
    settings,
    settings_crew,
    settings_design,
    settings_earthwork,
    settings_shots,
)
from pipeline.cli import main
from pipeline.ingest.job.job import OWN_FIELDS
from pipeline.strict import Settings

ROOT = DOCS.parent
WRITTEN = sorted(path.relative_to(DOCS).as_posix() for path in DOCS.rglob("*.md"))


@pytest.fixture(scope="module")
def made():
    return pages()


def test_generated_pages_are_in_step_with_the_code(made):
    stale = [
        name
        for name, text in made.items()
        if not (DOCS / name).is_file() or (DOCS / name).read_text(encoding="utf-8") != text
    ]

    assert not stale, "run python -m docs.generate"


def test_every_setting_has_a_meaning_and_every_table_a_sentence():
    assert not [f"{one.table}.{one.name}" for one in job_file.settings() if not one.meaning]
    assert not [group.heading for group in job_file.groups() if not group.about]


def test_every_setting_of_every_table_is_in_the_reference():
    tables = [
        table
        for module in (settings, settings_crew, settings_design, settings_earthwork, settings_shots)
        for table in vars(module).values()
        if isinstance(table, type) and issubclass(table, Settings) and is_dataclass(table)
    ]
    names = {item.name for table in tables for item in fields(table)} - OWN_FIELDS
    listed = {one.name for one in job_file.settings()}
    headings = " ".join(group.heading for group in job_file.groups())

    assert [name for name in names - listed if not re.search(rf"\b{name}\b", headings)] == []


def test_every_column_has_a_meaning():
    assert not [
        f"{file}: {name}"
        for file, names in columns.headers().items()
        for name in names
        if not columns.meaning(file, name)
    ], "say it in docs/generate/columns.toml"


def test_no_meaning_is_left_of_a_column_that_is_gone():
    known = columns.headers()
    said = columns.meanings()

    assert not said.keys() - known.keys() - {"every file"}
    assert not [
        f"{file}: {name}"
        for file, names in said.items()
        for name in names
        if file in known and name not in known[file]
    ]


def test_every_command_says_what_it_does_and_shows_an_example():
    for name, command in commands.commands(main, "lath"):
        words, example = commands.told(command)
        assert words, name
        assert example, name
        assert all(option.help for option in commands.options(command)), name


def test_every_example_of_a_command_can_be_typed():
    """Click reads each, options and arguments, without running it."""
    for name, command in commands.commands(main, "lath"):
        for line in commands.told(command)[1]:
            words = shlex.split(line)[len(name.split()) :]
            command.make_context(name, words)


def test_every_link_between_pages_leads_somewhere():
    broken = []
    for name in WRITTEN:
        text = re.sub(r"```.*?```", "", (DOCS / name).read_text(encoding="utf-8"), flags=re.DOTALL)
        targets = re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", text)
        broken += [
            f"{name}: {target}"
            for target in targets
            if "://" not in target and not ((DOCS / name).parent / target).is_file()
        ]

    assert not broken


def test_every_page_is_in_the_navigation():
    listed = set(
        re.findall(r": (\S+\.md)$", (ROOT / "mkdocs.yml").read_text("utf-8"), re.MULTILINE)
    )

    assert set(WRITTEN) == listed, "name it in mkdocs.yml"


def test_the_extra_for_docs_holds_what_the_build_needs():
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"][
        "optional-dependencies"
    ]

    wanted = {re.split(r"[^\w-]", name)[0] for name in extras["docs"]}
    config = (ROOT / "mkdocs.yml").read_text("utf-8")
    assert wanted == {"mkdocs", "pygments", "pymdown-extensions"}
    assert "  - pymdownx." in config
    assert "  name: mkdocs\n" in config
