"""``python -m pipeline.demo DIR [KIND]``: lay the demo job down in DIR."""

from __future__ import annotations

import sys
from pathlib import Path

from pipeline.demo.folder import KINDS, lay_down
from pipeline.errors import LathError


def main(arguments: list[str]) -> int:
    """Exit code 0, or 2 for a mistyped command and 3 for a folder that is refused."""
    wrong = len(arguments) not in {1, 2} or any(kind not in KINDS for kind in arguments[1:])
    # an option is asked about the command, and is no folder
    if wrong or arguments[0].startswith("-"):
        sys.stderr.write(f"usage: python -m pipeline.demo DIR [{'|'.join(KINDS)}]\n")
        return 2
    try:
        lay_down(Path(arguments[0]), *arguments[1:])
    except LathError as refusal:
        sys.stderr.write(f"{refusal}\n")
        return refusal.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
