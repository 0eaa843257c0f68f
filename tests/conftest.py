"""Published check values for every test: one entry by its id, its source in the failure text."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# no test is timed: a busy core is no fault of the code
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
# before numpy is imported: two threads that wait for each other over small matrices cost the
# test of the intervals nine times its work (130 s for 15 s of it, on two busy cores)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# the child of the fuzzer runs by itself and needs atheris, which the tests do not
collect_ignore = ["fuzz/child.py"]
ROOT = Path(__file__).resolve().parent.parent
REFERENCES = ROOT / "shared" / "references.toml"


@dataclass(frozen=True)
class Published:
    """One published check value; ``check`` compares with its own tolerance, rtol 0."""

    id: str
    source: str
    inputs: dict[str, Any]
    expected: dict[str, Any]
    tolerance: dict[str, float]

    def check(self, key: str, got: Any) -> None:
        atol = self.tolerance[key if key in self.tolerance else "default"]
        import numpy as np

        np.testing.assert_allclose(
            got, self.expected[key], rtol=0, atol=atol, err_msg=f"{self.id} {key}: {self.source}"
        )


@pytest.fixture(scope="session", autouse=True)
def _nothing_kept_between_runs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Commands keep their results in a folder of this run, never in the user's own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LATH_CACHE", str(tmp_path_factory.mktemp("kept-results")))
        yield


@pytest.fixture(scope="session")
def published() -> Callable[[str], Published]:
    """`published("REF-HC-1")`: an entry of shared/references.toml."""
    entries = {
        ref["id"]: ref for ref in tomllib.loads(REFERENCES.read_text(encoding="utf-8"))["ref"]
    }

    def entry(reference_id: str) -> Published:
        ref = entries[reference_id]
        return Published(
            id=ref["id"],
            source=ref["source"],
            inputs=ref.get("inputs", {}),
            expected=ref.get("expected", {}),
            tolerance=ref.get("tolerance", {}),
        )

    return entry
