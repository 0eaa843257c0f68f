"""The closing words: what a foreman wants to know when the screen stops moving."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.compare.uncertainty import StandardError, Uncertainty
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.volume_sheet import sure_to
from pipeline.model import Finding, Findings, Quantity
from pipeline.model.telling import listed


@dataclass(frozen=True, slots=True)
class Summary:
    """The figures of a day that the closing words are made of."""

    job: str
    day: str
    read: int
    used: int
    refused: int
    reasons: tuple[tuple[str, int], ...]
    quantities: tuple[Quantity, ...]
    target: str
    extremes: tuple[str, ...]
    numbers: tuple[tuple[str, int], ...]
    findings: Findings
    assumed: tuple[str, ...]
    withheld: bool = False
    unit: Measures = METRIC
    progress: tuple[str, ...] = ()
    sure: tuple[Uncertainty, ...] = ()
    """How sure cut and fill of each layer are, once that has been worked out."""


def words(summary: Summary) -> list[str]:
    """Lines of plain text, 100 columns at most where names allow."""
    shots = f"{summary.read} read, {summary.used} used, {summary.refused} not used, all listed"
    lines = [f"{summary.job}, {summary.day}", f"Shots      {shots}"]
    lines += [f"           {count:5d} {reason}" for reason, count in summary.reasons]
    lines += _layer_lines(summary.quantities, summary.target, summary.sure, summary.unit)
    lines += [
        f"{'' if number else 'Progress':11s}{text}" for number, text in enumerate(summary.progress)
    ]
    lines += [f"Mark       {text}" for text in summary.extremes]
    if summary.withheld:
        lines.append("WITHHELD   stakes, cut sheet, numbers and map, until the stop is settled")
    else:
        lines.append(
            "To paint   " + ", ".join(f"{count} {what}" for what, count in summary.numbers)
        )
    lines += _finding_lines(summary.findings)
    if summary.assumed:
        lines.append("Assumed    " + "; ".join(summary.assumed))
    lines.append("Caution    " + CAUTION)
    return lines


SHOWN = 3
"""Findings of one kind that are printed in full; all of them are in ``findings.json``."""

NEVER_CUT = frozenset({"in reach of blade or rotor", "shot, not on the list"})
"""Kinds of which every finding is printed: nobody is to hit the fourth valve, nor a fourth one
whose depth is on no record."""

CAUTION = (
    "Arithmetic on surveyed and recorded heights, not a locate. Call and renew the locate ticket,"
    " expose by hand, keep to local rules; if marks and this list disagree, stop and ask."
)


def _layer_lines(
    quantities: Sequence[Quantity], target: str, sure: Sequence[Uncertainty], unit: Measures
) -> list[str]:
    """Cut and fill of every layer, with what holds them in 95 of 100 cases once that is known."""
    either = {one.layer: (one.cut, one.fill) for one in sure}
    volume, area = unit.volume_unit, unit.area_unit
    titles = f"{f'cut {volume}':14s}{f'fill {volume}':14s}{f'compared {area}':>13s}"
    mean_of = "mean" if unit.unit == "m" else "mean ft"
    lines = [f"Layer      {mean_of:10s}{titles}{f'not surveyed {area}':>18s}"]
    for row in quantities:
        mean = mean_words(row.mean_cut_m, unit)
        arrow = "  <- today's layer" if row.layer == target else ""
        cut, fill = (
            _give_or_take(one, error, unit)
            for one, error in zip(
                (row.cut_m3, row.fill_m3), either.get(row.layer, (None, None)), strict=True
            )
        )
        lines.append(
            f"           {mean:10s}{cut:14s}{fill:14s}"
            f"{unit.area(row.compared_area_m2):>13s}{unit.area(row.uncovered_area_m2):>18s}"
            f"   {row.layer}{arrow}"
        )
    return [*lines, "           +- holds 95 of 100 cases"] if either else lines


def _give_or_take(volume: float, error: StandardError | None, unit: Measures) -> str:
    """A volume with what holds it in 95 of 100 cases; ``?`` where the shots are too few."""
    if error is None:
        return unit.volume(volume)
    if math.isnan(error.total):
        return f"{unit.volume(volume)} +- ?"
    return " +- ".join(sure_to(volume, error, unit))


def mean_words(mean_cut_m: float, unit: Measures = METRIC) -> str:
    """``C 0.012`` or ``F 0.034``: the mean of cut (+) and fill (-), to a millimetre or 0.01 ft."""
    text = unit.long(abs(mean_cut_m), 0.001)
    if not text or float(text) == 0:
        return text
    return f"{'C' if mean_cut_m > 0 else 'F'} {text}"


def _finding_lines(findings: Findings) -> list[str]:
    """Stops and what a person has to look at, the first few of each kind; notes only counted."""
    lines: list[str] = []
    for severity, word in (("stop", "STOP"), ("person", "Look")):
        of_kind: dict[str, list[Finding]] = {}
        for finding in findings:
            if finding.severity == severity:
                of_kind.setdefault(finding.kind, []).append(finding)
        for kind, alike in of_kind.items():
            shown = len(alike) if kind in NEVER_CUT else SHOWN
            lines += [f"{word:11s}{_sentence(finding)}" for finding in alike[:shown]]
            if len(alike) > shown:
                lines.append(f"{'':11s}{len(alike) - shown} more: {kind}, see findings.json")
    notes = sum(finding.severity == "note" for finding in findings)
    if notes:
        lines.append(f"Noted      {notes} more in findings.json, nothing to do")
    return lines


def _sentence(finding: Finding) -> str:
    place = f"{finding.file}{f' line {finding.line}' if finding.line else ''}"
    # readers put the place into their text themselves
    where = f"{place}: " if finding.file and not finding.text.startswith(finding.file) else ""
    what = f"{finding.do[:1].upper()}{finding.do[1:]}"
    return f"{where}{_points(finding.points)}{finding.text}. {what}."


def _points(points: tuple[str, ...]) -> str:
    if not points:
        return ""
    return f"point{'s' if len(points) > 1 else ''} {listed(points)}, "
