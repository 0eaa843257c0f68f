"""The slip table: `python -m tests.slips [--write]`.

Every slip is planted in the demo and run; the table says what came of it.
"""

from __future__ import annotations

import sys

from tests.slips.outcome import outcome
from tests.slips.page import PAGE, page
from tests.slips.table import SLIPS


def main() -> None:
    """Run them all, and say how many were caught."""
    caught = wrong = 0
    for slip in SLIPS:
        if slip.comes_to == "not catchable":
            print(f"{'not catchable':15s}{slip.name}: {slip.says}; {slip.caution}")
            continue
        came = outcome(slip)
        caught += came.came_to != "silent"
        wrong += came.came_to != slip.comes_to
        mark = "" if came.came_to == slip.comes_to else f"  EXPECTED {slip.comes_to}"
        print(f"{came.came_to:15s}{slip.name}: {came.words[:160]}{mark}", flush=True)
    print(f"slips tried {len(SLIPS)}, caught {caught}, not catchable {len(SLIPS) - caught}")
    if "--write" in sys.argv:
        PAGE.parent.mkdir(exist_ok=True)
        PAGE.write_text(page(), encoding="utf-8")
    sys.exit(wrong > 0)


if __name__ == "__main__":
    main()
