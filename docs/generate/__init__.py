"""The pages of the docs that are made from the code: ``python -m docs.generate`` writes them.

A test keeps them in step (``tests/test_docs.py``). Nothing here ships in the wheel.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from docs.generate import columns, commands, formulas, job_file, labels, manual

DOCS = Path(__file__).resolve().parent.parent

REFERENCE: dict[str, Callable[[], str]] = {
    "reference/commands.md": commands.page,
    "reference/job-file.md": job_file.page,
    "reference/formulas.md": formulas.page,
    "reference/labels.md": labels.page,
    "lath.1": manual.page,
}


def pages() -> dict[str, str]:
    """Every generated page, and every written page with its generated parts, by its path."""
    made = {name: page() for name, page in REFERENCE.items()}
    headers = columns.headers()
    made["reference/columns.md"] = columns.page(headers)
    for path in sorted((DOCS / "files").glob("*.md")):
        text = path.read_text(encoding="utf-8")
        made[f"files/{path.name}"] = columns.filled(text, headers)
    return made


def write() -> list[str]:
    """Write what has changed; the paths of it."""
    changed = []
    for name, text in pages().items():
        path = DOCS / name
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
            changed.append(name)
    return changed
