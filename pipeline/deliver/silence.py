"""A stream of words that failed, put to silence."""

from __future__ import annotations

import os
from contextlib import suppress


def hush(handle: int) -> None:
    """From here on words for this handle go nowhere, those that its stream still holds too."""
    with suppress(OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, handle)
        os.close(nowhere)
