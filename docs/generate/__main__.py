"""``python -m docs.generate``: write the generated pages anew."""

from __future__ import annotations

import sys

from docs.generate import write

sys.stdout.writelines(f"docs/{name}\n" for name in write())
