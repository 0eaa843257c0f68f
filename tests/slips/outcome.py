"""What comes of a slip, from the real run of the street it was planted in."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pipeline import publish, run
from pipeline.errors import LathError
from pipeline.ingest.job.inputs import read_inputs
from pipeline.judging import judge
from pipeline.model import Finding
from pipeline.ongrid import on_grid
from tests.slips.slip import Slip
from tests.slips.street import Street


@dataclass(frozen=True)
class Outcome:
    """``refused``, ``held``, ``told`` or ``silent``, and the words of it."""

    came_to: str
    words: str = ""


def outcome(slip: Slip) -> Outcome:
    """Plant the slip in a copy of its fixture, run it, and look for what has to say so."""
    with tempfile.TemporaryDirectory(prefix="slips-") as scratch:
        street = Street(Path(scratch) / "street", slip.kind)
        slip.plant(street)
        try:
            return _of_findings(slip, street)
        except LathError as refusal:
            said = str(refusal)
            return Outcome("refused" if slip.says in said else "silent", said)


def _of_findings(slip: Slip, street: Street) -> Outcome:
    early, _ = ground_findings(street.folder)
    words = _said(slip, early)
    if words is None:
        # what only the crew's lists see, and the rest of the day's refusals
        day = publish.complete(run.run_day(street.folder, None, run.Stopwatch()))
        words = _said(slip, day.findings)
    return words or Outcome("silent")


def _said(slip: Slip, findings: tuple[Finding, ...]) -> Outcome | None:
    """The finding that names the slip, unless the clean demo has the very same."""
    rank = {"stop": 0, "person": 1, "note": 2}
    for one in sorted(findings, key=lambda finding: rank[finding.severity]):
        same = one.kind == slip.says and one.severity != "note"
        if same and (one.text not in clean_texts(slip.kind) or slip.in_the_demo):
            return Outcome("held" if one.severity == "stop" else "told", one.text)
    return None


def ground_findings(folder: Path) -> tuple[tuple[Finding, ...], object]:
    """The findings of a day up to its ground: all that the checks see."""
    inputs = read_inputs(folder, None)
    design = run.build_corridor(inputs)
    morning, ground = run.build_ground(judge(inputs, on_grid(inputs), design))
    return morning.findings, ground


@cache
def clean_texts(kind: str) -> frozenset[str]:
    """Everything that is said of a fixture as it is."""
    with tempfile.TemporaryDirectory(prefix="slips-") as scratch:
        folder = Street(Path(scratch) / "street", kind).folder
        day = publish.complete(run.run_day(folder, None, run.Stopwatch()))
        return frozenset(finding.text for finding in day.findings)
