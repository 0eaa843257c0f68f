"""Tests of a loop that has two forms, numpy and compiled: each test is run with both."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

NO_NUMBA = "numba is not installed: pip install 'lath[fast]'"


def both_forms(*places: str) -> Any:
    """A fixture for a module's every test: once by numpy, once by compiled loops.

    ``places`` are the break-evens, ``module.NAME``; the compiled form gets the smallest of work.
    """

    @pytest.fixture(params=["numpy", "compiled"], scope="module", autouse=True)
    def form(request: pytest.FixtureRequest) -> Iterator[str]:
        if request.param == "compiled":
            pytest.importorskip("numba", reason=NO_NUMBA)
        with pytest.MonkeyPatch.context() as patch:
            for place in places:
                patch.setattr(place, 0 if request.param == "compiled" else 1 << 62)
            yield request.param

    return form
