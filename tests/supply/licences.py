"""Every library that comes with Lath, its licence, and whether that goes with ours.

`python -m tests.supply.licences` writes ``docs/licences.md``. The licence is what the
library's own metadata says: the expression (PEP 639), else its classifiers, else the
field of free text, read once by a person and noted below.
"""

from __future__ import annotations

import re
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "licences.md"
OURS = "Apache-2.0"
CLASSIFIED = {
    "BSD License": "BSD",
    "MIT License": "MIT",
    "Apache Software License": "Apache-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
FREE_TEXT = {"Simplified BSD": "BSD-2-Clause"}
"""What free text means; the licence's other name, as SPDX lists it."""
MAY_COME_ALONG = {
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "HPND", "MIT",
    "MIT-CMU", "MPL-2.0", "PSF-2.0", "Zlib", "Apache-2.0 WITH LLVM-exception",
}  # fmt: skip
"""Permissive, or copyleft by file (MPL-2.0: its own files stay under it, ours do not come under
it). All may be used by, and shipped beside, an Apache-2.0 program that does not change them."""
HEAD = """# Libraries and their licences

What `pip install lath` brings along, and what tests and checks add, each with the licence that
its own metadata states. Lath itself is Apache-2.0. None of these is copied into Lath or changed;
the typeface in `pipeline/deliver/fonts/` has its licence beside it. MPL-2.0 covers the files of
that library alone. Wheels of numpy, scipy, shapely, pyproj and pillow hold compiled parts of
others (BLAS, GEOS, PROJ and so on) under terms that stand inside the wheel; Lath does not pass
wheels on.

Written by `python -m tests.supply.licences`; a test fails when a library is missing or its
licence is not one of those that may come along.
"""


def licence(found: Distribution) -> str:
    """The licence as the library's metadata states it."""
    stated = found.metadata.get("License-Expression")
    if stated:
        return str(stated)
    told = [
        CLASSIFIED.get(one.rsplit(" :: ", 1)[1], one)
        for one in found.metadata.get_all("Classifier") or ()
        if one.startswith("License :: OSI Approved :: ")
    ]
    text = str(found.metadata.get("License") or "not stated")
    return " AND ".join(told) if told else FREE_TEXT.get(text, text)


def parts(expression: str) -> list[list[str]]:
    """Choices of an expression, each a list of licences that all hold."""
    bare = expression.replace("(", "").replace(")", "")
    return [[one.strip() for one in choice.split(" AND ")] for choice in bare.split(" OR ")]


def goes_with_ours(expression: str) -> bool:
    """True where at least one choice is made of licences that may come along."""
    return any(all(one in MAY_COME_ALONG for one in choice) for choice in parts(expression))


def libraries(extra: str | None = None) -> dict[str, Distribution]:
    """Everything that `pip install lath` needs, or with an extra; by name."""
    found: dict[str, Distribution] = {}
    wanted = [("lath", extra)]
    while wanted:
        name, chosen = wanted.pop()
        for text in distribution(name).requires or ():
            need = Requirement(text)
            here = need.marker is None or need.marker.evaluate({"extra": chosen or ""})
            key = re.sub(r"[-_.]+", "-", need.name).lower()
            if here and key not in found:
                found[key] = distribution(key)
                wanted.append((key, next(iter(sorted(need.extras)), None)))
    return dict(sorted(found.items()))


def page() -> str:
    """All of ``docs/licences.md``; without versions, which the lock file has."""
    along = libraries()
    tests = {name: one for name, one in (libraries("test") | libraries("check")).items()
             if name not in along}  # fmt: skip
    blocks = [HEAD]
    for title, group in (("Comes along", along), ("Tests and checks only", tests)):
        rows = [f"| {name} | {licence(found)} |" for name, found in sorted(group.items())]
        blocks.append("\n".join([f"## {title}\n", "| library | licence |", "| --- | --- |", *rows]))
    return "\n\n".join(block.strip() for block in blocks) + "\n"


if __name__ == "__main__":
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page(), encoding="utf-8")
