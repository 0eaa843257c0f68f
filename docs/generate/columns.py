"""The columns of every file: what the code writes and reads, and the meaning of each.

The columns come from the code: those of the package from a run of the demo, those of
inputs from the tables that their readers declare. The meanings stand in
``columns.toml`` beside this file.
"""

from __future__ import annotations

import re
import tempfile
import tomllib
from functools import cache
from pathlib import Path

from docs.generate.job_file import unit
from docs.generate.markdown import MADE, table

MEANINGS = Path(__file__).resolve().parent / "columns.toml"

INTRODUCTION = """\
# Files and their columns

CSV files are UTF-8 with a header row and decimal points, one unit a column, named at the end of \
the column's name; the separator is a comma and lines end as RFC 4180 has them. A cell that a \
spreadsheet could take for a formula begins with an apostrophe. A blank cell means: not surveyed, \
not designed, or it does not apply.

`<layer>` stands for each layer of the job, its blanks written as underscores. Which pages of \
these docs say how a file is read in the field stands at its heading.

"""
PAGES = {
    "stakes": "stakes", "cutsheet": "cutsheet", "dots": "dots", "points": "points",
    "sightlines": "sightlines", "edge": "edge", "buried": "buried", "instrument": "instrument",
    "volumes_<layer>": "volumes", "sections_<layer>": "volumes", "balance": "volumes",
    "next_shots": "volumes", "haul": "volumes",
}  # fmt: skip
_PART = re.compile(r"(<!-- columns: (\S+) -->\n).*?(<!-- end -->)", re.DOTALL)


def headers() -> dict[str, tuple[str, ...]]:
    """File without its ending -> its columns, layers written ``<layer>``."""
    found = _inputs()
    for name, (head, layers) in _package().items():
        columns = [_generic(column, layers) for column in head]
        found[_generic(name, layers)] = tuple(dict.fromkeys(columns))
    return found


def _inputs() -> dict[str, tuple[str, ...]]:
    from pipeline.ingest.csv.words import OURS
    from pipeline.ingest.job import control, design, strips, utilities

    return {
        "control": tuple(control.COLUMNS.values()),
        "utilities": utilities.COLUMNS,
        "strip": strips.COLUMNS,
        "shots": OURS,
        "alignment": (*design.ALIGNMENT_COLUMNS, *design.EQUATION_COLUMNS),
        "profile": design.PROFILE_COLUMNS,
    }


@cache
def _package() -> dict[str, tuple[list[str], tuple[str, ...]]]:
    """Every CSV of the demo's package, and of its layout."""
    from pipeline import run_day, setting_out, write_package
    from pipeline.demo import lay_down

    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "street"
        lay_down(job)
        day = run_day(job)
        out = write_package(day)
        layout = setting_out.deliver(setting_out.set_out(job), None)
        layers = tuple(layer.name.replace(" ", "_") for layer in day.morning.corridor.layers)
        found = {}
        for where in (out, layout):
            for path in sorted(where.glob("*.csv")):
                head = path.read_text(encoding="utf-8").splitlines()[0].split(",")
                name = path.stem if where == out else f"layout/{path.stem}"
                found[name] = (head, layers)
    return found


def _generic(name: str, layers: tuple[str, ...]) -> str:
    for layer in sorted(layers, key=len, reverse=True):
        if name == layer or re.search(rf"(^|_){layer}(_|$)", name):
            return name.replace(layer, "<layer>")
    return name


def meanings() -> dict[str, dict[str, str]]:
    """File -> column -> what it means."""
    loaded: dict[str, dict[str, str]] = tomllib.loads(MEANINGS.read_text(encoding="utf-8"))
    return loaded


def meaning(file: str, column: str) -> str:
    """What a column means: in this file, else in every file; empty where nobody has said it."""
    known = meanings()
    return known.get(file, {}).get(column) or known["every file"].get(column, "")


def page(found: dict[str, tuple[str, ...]]) -> str:
    """``reference/columns.md``."""
    parts = [MADE + INTRODUCTION]
    for file, columns in found.items():
        page_of = PAGES.get(file)
        link = f"How to read it: [{page_of}](../files/{page_of}.md).\n\n" if page_of else ""
        parts += [f"## {file}.csv\n\n{link}{_table(file, columns)}\n"]
    return "".join(parts).rstrip("\n") + "\n"


def filled(text: str, found: dict[str, tuple[str, ...]]) -> str:
    """A written page, the table of columns put between its marks."""

    def put(mark: re.Match[str]) -> str:
        return f"{mark.group(1)}\n{_table(mark.group(2), found[mark.group(2)])}\n{mark.group(3)}"

    return _PART.sub(put, text)


def _table(file: str, columns: tuple[str, ...]) -> str:
    rows = [(f"`{name}`", unit(name), meaning(file, name)) for name in columns]
    return table(("column", "unit", "meaning"), rows)
