"""The slip table as text: what the command prints and ``docs/slips.md`` holds."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.slips.slip import Slip
from tests.slips.table import SLIPS

PAGE = Path(__file__).resolve().parents[2] / "docs" / "slips.md"
HEAD = """# Slips that crews make

Each of these is planted in the demo street, or in the invented intersection, by `tests/slips`,
which also proves that the job without it says nothing of the kind. `python -m tests.slips` runs
them all and prints what came of each; `--write` writes this page.

**refused**: nothing is written, one message says what is wrong. **held**: a finding stops the
day, the lists are withheld. **told**: the lists are written, with the finding first in the
closing words, on the phone page and in `findings.json`: a person has to look before anybody
marks. **not catchable**: why, and what covers it.

"""


def caught(slips: tuple[Slip, ...] = SLIPS) -> int:
    """How many are refused, held or told."""
    return sum(slip.comes_to != "not catchable" for slip in slips)


def page() -> str:
    """All of ``docs/slips.md``."""
    rows = ["| slip | comes to | by |", "| --- | --- | --- |"]
    for slip in SLIPS:
        by = f"{slip.says}. Covered by: {slip.caution}" if slip.caution else f"`{slip.says}`"
        rows.append(f"| {slip.name} | {slip.comes_to} | {by} |")
    counted = Counter(slip.comes_to for slip in SLIPS)
    parts = ", ".join(f"{number} {name}" for name, number in counted.items())
    total = f"{len(SLIPS)} slips, {caught()} caught: {parts}."
    return HEAD + "\n".join(rows) + f"\n\n{total}\n"
