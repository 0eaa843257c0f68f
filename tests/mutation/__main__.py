"""`python -m tests.mutation [TARGET...]`: small faults in the computations, and who notices."""

from __future__ import annotations

import argparse
import importlib
import json
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

from tests.mutation.changes import changes
from tests.mutation.trial import SURVIVED, Outcome, Trial, source_of

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
_NUMBERS = "tests/numerics"
TARGETS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "alignment": (
        ("design.alignment", "design.element"),
        ("tests/design/test_alignment.py", "tests/design/test_element.py", _NUMBERS),
    ),
    "profile": (
        ("design.profile", "design.grade_line"), ("tests/design/test_profile.py", _NUMBERS)
    ),
    "section": (
        ("design.section",), ("tests/design/test_section.py", "tests/design/test_corridor.py")
    ),
    "volume": (
        ("compare.overlay", "compare.quantities", "compare.pieces", "compare.differences"),
        ("tests/compare/test_overlay.py", "tests/compare/test_quantities.py",
         "tests/compare/test_pieces.py", "tests/compare/test_differences.py", _NUMBERS),
    ),
    "stakes": (
        ("crew.hubs.stakes", "crew.dots"),
        ("tests/crew/test_points.py", "tests/crew/test_dots.py", "tests/crew/test_layout.py",
         "tests/crew/test_rows.py", "tests/crew/test_marks.py",
         "tests/crew/test_street_layout.py"),
    ),
}  # fmt: skip
"""Modules of each target, and the tests that are to notice."""


def main(arguments: Sequence[str]) -> int:
    """Try the changes, print the figures and every survivor without an explanation."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("targets", nargs="*", help=f"of {', '.join(TARGETS)}; all without one")
    parser.add_argument("--module", help="one module of the target, such as design.element")
    parser.add_argument("--function", default="", help="only in functions whose name has this")
    parser.add_argument("--jobs", type=int, default=2, help="forks at a time")
    parser.add_argument("--test-s", type=float, default=3.0, help="longest test that takes part")
    parser.add_argument("--all-s", type=float, default=10.0, help="most that one change may cost")
    parser.add_argument("--survivors", type=Path, help="write those that live as JSON")
    parser.add_argument("--among", type=Path, help="only those of such a file")
    parser.add_argument("--open", action="store_true", help="leave out those explained before")
    asked = parser.parse_args(arguments)
    if unknown := set(asked.targets) - set(TARGETS):
        parser.error(f"{', '.join(sorted(unknown))}: the targets are {', '.join(TARGETS)}")
    settings.register_profile(
        "mutation",
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    settings.load_profile("mutation")
    outcomes: list[Outcome] = []
    for target in asked.targets or TARGETS:
        outcomes += _tried(target, asked)
    told(outcomes)
    if asked.survivors:
        live = [[one.module, one.change.key] for one in outcomes if one.end == SURVIVED]
        asked.survivors.write_text(json.dumps(live, indent=0), encoding="utf-8")
    return int(any(one.end == SURVIVED and not explained(one) for one in outcomes))


def _tried(target: str, asked: argparse.Namespace) -> list[Outcome]:
    names, tests = TARGETS[target]
    among = json.loads(asked.among.read_text(encoding="utf-8")) if asked.among else None
    chosen = []
    for name in names:
        if asked.module in (None, name):
            module = importlib.import_module(f"pipeline.{name}")
            chosen.append((module, [
                one for one in changes(source_of(module))
                if asked.function in one.function
                and (among is None or [module.__name__, one.key] in among)
                and not (asked.open and explained(Outcome(module.__name__, one, SURVIVED)))
            ]))  # fmt: skip
    if not any(many for _, many in chosen):
        return []
    with tempfile.TemporaryDirectory(prefix="lath-mutation-") as folder:
        trial = Trial(chosen, asked.jobs, (asked.test_s, asked.all_s), Path(folder))
        pytest.main(
            ["-o", "addopts=--import-mode=importlib", "-p", "no:cacheprovider", "-p", "no:terminal",
             "-p", "no:faulthandler", "-W", "ignore::pytest.PytestAssertRewriteWarning",
             *(str(ROOT / one) for one in tests)],
            plugins=[trial],
        )  # fmt: skip
    sys.stderr.write("\n")
    return trial.outcomes


def explained(outcome: Outcome) -> str:
    """Why no test can or need notice a change, empty where nobody has said."""
    text = (HERE / "explained.toml").read_text(encoding="utf-8")
    for reason in tomllib.loads(text).get(outcome.module, []):
        if outcome.change.key in reason["changes"]:
            return str(reason["why"])
    return ""


def told(outcomes: Sequence[Outcome]) -> None:
    """Print the figures of each module, then the survivors that nobody has explained."""
    print(f"{'module':34}{'changes':>8}{'noticed':>8}{'share':>8}{'explained':>10}{'open':>6}")
    for module in [*dict.fromkeys(one.module for one in outcomes), "all"]:
        mine = [one for one in outcomes if module in (one.module, "all")]
        live = [one for one in mine if one.end == SURVIVED]
        known = sum(bool(explained(one)) for one in live)
        noticed = len(mine) - len(live)
        share = 100.0 * noticed / len(mine)
        print(f"{module:34}{len(mine):8}{noticed:8}{share:7.1f}%{known:10}{len(live) - known:6}")
    for one in outcomes:
        if one.end == SURVIVED and not explained(one):
            path = one.module.replace(".", "/")
            print(f"{path}.py:{one.change.line} {one.change.key}")
    print("by " + ", ".join(f"{end} {n}" for end, n in Counter(o.end for o in outcomes).items()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
