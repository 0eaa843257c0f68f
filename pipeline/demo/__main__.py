"""``python -m pipeline.demo DIR``: lay the demo job down in DIR."""

from __future__ import annotations

import sys
from pathlib import Path

from pipeline.demo.folder import lay_down
from pipeline.errors import LathError


def main(arguments: list[str]) -> int:
    """Exit code 0, or 2 for a mistyped command and 3 for a folder that is refused."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m pipeline.demo DIR\n")
        return 2
    try:
        lay_down(Path(arguments[0]))
    except LathError as refusal:
        sys.stderr.write(f"{refusal}\n")
        return refusal.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
