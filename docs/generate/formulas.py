"""The formulas with their sources, from docstrings and the published check values."""

from __future__ import annotations

import ast
import inspect
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from docs.generate.markdown import MADE, prose, table

ROOT = Path(__file__).resolve().parent.parent.parent
PIPELINE = ROOT / "pipeline"

INTRODUCTION = """\
# Formulas and their sources

Every public function whose formula has a source, with what its docstring says of it. `REF-...` \
are entries of the table of published check values at the end of this page: the tests compare \
with their printed figures. "From memory" means just that: nobody had the page in front of them, \
and the figures were worked out anew.

"""
ROOMS = {
    "control": "Control and reductions",
    "checks": "Checks",
    "surface": "Ground surface",
    "design": "Design",
    "compare": "Cut, fill and how sure",
    "crew": "What the crew carries",
}


@dataclass(frozen=True)
class Formula:
    """One function with a source."""

    room: str
    name: str
    summary: str
    notes: str
    references: str


def page() -> str:
    """``reference/formulas.md``."""
    found = list(formulas())
    parts = [MADE + INTRODUCTION]
    for room, heading in ROOMS.items():
        inside = [one for one in found if one.room == room]
        parts += [f"## {heading}\n\n"] if inside else []
        for one in inside:
            parts += [f"**`{one.name}`.** {one.summary}\n\n"]
            parts += [f"{one.notes}\n\n"] if one.notes else []
            parts += [f"*Source.* {one.references}\n\n"]
    return "".join([*parts, "## Published check values\n\n", _published()])


def formulas() -> Iterator[Formula]:
    """Every function with a References section, in the order of the files."""
    for path in sorted(PIPELINE.rglob("*.py")):
        room = path.relative_to(PIPELINE).parts[0].removesuffix(".py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef | ast.ClassDef):
                continue
            words = ast.get_docstring(node) or ""
            if "\nReferences\n-" in words:
                module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
                yield Formula(
                    room,
                    f"{module}.{node.name}",
                    _mathless(prose(inspect.cleandoc(words).split("\n\n", 1)[0])),
                    _mathless(section(words, "Notes")),
                    _mathless(section(words, "References")),
                )


def section(docstring: str, heading: str) -> str:
    """One section of a NumPy docstring, its paragraphs kept; empty where there is none."""
    found = re.search(
        rf"^{heading}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", docstring, re.MULTILINE | re.DOTALL
    )
    parts = found.group(1).strip().split("\n\n") if found else []
    return "\n\n".join(_paragraph(part) for part in parts)


def _paragraph(text: str) -> str:
    """One paragraph on one line, or a numbered list with an item a line; footnotes plain."""
    items = re.split(r"^(?=\d+\. )", text, flags=re.MULTILINE)
    lines = [prose(item) for item in items if item.strip()]
    return re.sub(r"(?:\.\. )?\[(\d)\]_?", r"[\1]", "\n".join(lines))


_WORDS = {
    r"\tan": "tan ", r"\sin": "sin ", r"\cos": "cos ", r"\sec": "sec ", r"\Delta": "Δ",
    r"\theta": "θ", r"\tau": "τ", r"\pi": "π", r"\sqrt": "√", r"\int": "∫", r"\cdot": "·",
    r"\,": " ", r"\alpha": "α", r"\sigma": "σ", r"\sum": "Σ", r"\times": "×", r"\phi": "φ",
    r"\kappa": "κ", r"\mp": "∓", r"\pm": "±", r"\left": "", r"\right": "", r"\frac": "",
}  # fmt: skip


def _mathless(text: str) -> str:
    """Formulas of a docstring as plain code."""

    def plain(found: re.Match[str]) -> str:
        formula = found.group(1)
        for name, sign in _WORDS.items():
            formula = re.sub(rf"(?<=\w){re.escape(name)}", f" {sign}", formula)
            formula = formula.replace(name, sign)
        return f"`{re.sub(r'  +', ' ', formula)}`"

    return re.sub(r":math:`([^`]+)`", plain, text)


def _published() -> str:
    """Id, what is checked, source, and how the printed figure was read."""
    entries = tomllib.loads((ROOT / "shared" / "references.toml").read_text(encoding="utf-8"))
    read = {
        "text": "printed figures read", "memory": "from memory",
        "derived": "question published, answer computed", "analytic": "exact, no publication",
    }  # fmt: skip
    rows = [
        (
            ref["id"],
            f"{ref['topic']}: {ref['title']}",
            ref["source"],
            read.get(ref["printed_from"], ref["printed_from"]),
        )
        for ref in entries["ref"]
    ]
    return table(("id", "what", "source", "how read"), rows)
