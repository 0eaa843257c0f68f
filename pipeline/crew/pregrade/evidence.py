"""Where every figure of the decision comes from: the job, a source, practice, or an assumption."""

from __future__ import annotations

import math
from typing import TypeAlias

from pipeline.crew.measures import measures
from pipeline.crew.pregrade.model import loss_error_of, optimum_of
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.strip import used_words
from pipeline.model import Table
from pipeline.settings import Job

ASSUMED = "assumed"
PRACTICE = "common practice, no source"
STATED = "job"


def evidence(found: Decision, job: Job) -> Table:
    """Every input with its value and where it comes from: job, assumed, practice or a source."""
    rows, unit = [], measures(job.rounding)
    for what, keys, value, of, mark in (*_mix_rows(found), *_error_rows(found), *_job_rows(job)):
        stated = any(key in found.given for key in keys.split())
        changed = keys == "stabilising.spread_kg_m2" and not math.isclose(
            found.rules.spread_kg_m2, job.stabilising.spread_kg_m2
        )
        origin = "asked for now" if changed else STATED if stated else mark
        rows.append((what, value, of, origin))
    rows += [
        ("rise of a test strip", text, "", "measured") for text in used_words(found.belief, unit)
    ]
    columns = ("input", "value", "unit", "evidence")
    return Table("pregrade_inputs", columns, tuple(rows), frozenset(columns))


_Row: TypeAlias = tuple[str, str, str, str, str]


def _mix_rows(found: Decision) -> list[_Row]:
    """The mass balance's inputs."""
    given, soil = found.inputs, f"{ASSUMED}, for {found.rules.soil}"
    wet = f"{ASSUMED}, for {found.rules.moisture} clay"
    tuned = f"{soil}; chosen to meet the rule of thumb"
    return [
        ("soil class", "stabilising.soil", found.rules.soil, "", ASSUMED),
        ("moisture class", "stabilising.moisture", found.rules.moisture, "", ASSUMED),
        ("cement spread", "stabilising.spread_kg_m2", f"{given.spread:g}", "kg/m2", PRACTICE),
        ("lost as dust", "stabilising.loss", f"{100 * given.loss:g}", "%", ASSUMED),
        ("mixing depth", "stabilising.mixing_depth_m", f"{given.depth:g}", "m",
         f"{ASSUMED}: the foreman confirms the rotor"),
        ("greatest dry density", "stabilising.max_density_kg_m3", f"{given.density:.0f}",
         "kg/m3", f"{soil}, inside usual ranges"),
        ("optimum moisture", "stabilising.optimum_moisture",
         f"{100 * optimum_of(found.rules):g}", "%", f"{soil}, inside usual ranges"),
        ("compaction before", "stabilising.compaction_before", f"{100 * given.before:g}", "%",
         soil),
        ("compaction after", "stabilising.compaction_after", f"{100 * given.after:g}", "%",
         ASSUMED),
        ("density loss by cement", "stabilising.density_loss", f"{given.density_loss:g}",
         "% per %", tuned),
        ("moisture before", "stabilising.moisture_before stabilising.optimum_moisture",
         f"{100 * given.moisture_before:.1f}", "%", wet),
        ("moisture after", "stabilising.moisture_after", f"{100 * given.moisture_after:.1f}",
         "%", wet),
        ("density of solids", "stabilising.solids_kg_m3", f"{given.solids:.0f}", "kg/m3",
         f"{ASSUMED}; 2600-2800 for most soils, FM 5-472/NAVFAC MO 330"),
        ("saturation cap", "stabilising.saturation", f"{100 * given.saturation:g}", "%", ASSUMED),
    ]  # fmt: skip


def _error_rows(found: Decision) -> list[_Row]:
    """The standard errors, and the rules of the decision."""
    rules = found.rules
    shares = (
        ("spread", rules.spread_error, "spread_error"),
        ("greatest dry density", rules.density_error, "density_error"),
        ("saturation cap", rules.saturation_error, "saturation_error"),
        ("compaction before", rules.compaction_before_error, "compaction_before_error"),
        ("compaction after", rules.compaction_after_error, "compaction_after_error"),
    )
    rows = [
        (f"error of {what}", f"stabilising.{key}", f"{100 * value:g}", "%", ASSUMED)
        for what, value, key in shares
    ]
    loss = loss_error_of(rules)
    lengths = (
        ("error of mixing depth", rules.depth_error_m, "depth_error_m", ASSUMED),
        ("spots about the mean", rules.spot_error_m, "spot_error_m", ASSUMED),
        ("strip against the rest", rules.lot_error_m, "lot_error_m", ASSUMED),
        ("least sure strip", rules.strip_limit_m, "strip_limit_m", ASSUMED),
        ("tolerance of the top", rules.top_tolerance_m, "top_tolerance_m",
         "13 mm, half an inch: Kentucky tolerances; Indiana town code 155.080"),
        ("rounded to", rules.round_m, "round_m", f"{ASSUMED}: what a grader can hold"),
        ("built high by, to trim", rules.trim_m, "trim_m",
         "25 mm, one inch: Ohio DOT, Manual of Procedures 206 (2006)"),
    )  # fmt: skip
    return [
        *rows,
        ("error of density loss", "stabilising.density_loss_error", f"{loss:g}", "% per %",
         ASSUMED),
        ("compactions correlated", "stabilising.correlation", f"{rules.correlation:g}", "",
         ASSUMED),
        *((what, f"stabilising.{key}", f"{1000 * value:g}", "mm", mark)
          for what, value, key, mark in lengths),
        ("error of the surface's mean", "", f"{1000 * found.lot.mean_error_m:.1f}", "mm",
         "from the shots"),
    ]  # fmt: skip


def _job_rows(job: Job) -> list[_Row]:
    """Trucks, bulking and costs."""
    hauling, bulking = job.hauling, job.bulking
    army = f"{ASSUMED}: clay, US Army FM 5-434 Table 1-1, from memory"
    rows = [
        ("loose for bank", "bulking.loose_per_bank", f"{bulking.loose_per_bank:g}", "", army),
        ("compacted for bank", "bulking.compacted_per_bank", f"{bulking.compacted_per_bank:g}",
         "", army),
        ("truck box", "hauling.box_m3", f"{hauling.box_m3:g}", "m3", ASSUMED),
        ("box filled", "hauling.fill", f"{100 * hauling.fill:g}", "%", ASSUMED),
        ("payload", "hauling.payload_t", f"{hauling.payload_t:g}", "t", ASSUMED),
        ("wet clay", "hauling.clay_t_m3", f"{hauling.clay_t_m3:g}", "t/m3", ASSUMED),
        ("gravel", "hauling.gravel_t_m3", f"{hauling.gravel_t_m3:g}", "t/m3", ASSUMED),
        ("water tanker", "hauling.tanker_m3", f"{hauling.tanker_m3:g}", "m3", ASSUMED),
    ]  # fmt: skip
    costs = (("surplus", "surplus_per_m3"), ("shortage", "shortage_per_m3"))
    for what, key in costs:
        value = getattr(job.costs, key)
        shown = "" if value is None else f"{value:g}"
        unit = f"{job.costs.currency}/m3".lstrip("/")
        rows.append((f"cost of a {what}", f"costs.{key}", shown, unit, "not stated: no default"))
    return rows
