"""PROJ asked without its network: what it would fetch is not known to us."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def offline() -> Iterator[None]:
    """PROJ without its network while we ask: a grid that is fetched is no grid that is known."""
    from pyproj.network import (  # type: ignore[attr-defined]
        is_network_enabled,
        set_network_enabled,
    )

    before = is_network_enabled()
    set_network_enabled(False)
    try:
        with warnings.catch_warnings():
            # pyproj warns of a missing grid; the gate below refuses instead
            warnings.simplefilter("ignore", UserWarning)
            yield
    finally:
        set_network_enabled(before)
