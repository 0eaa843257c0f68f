"""Figures as a page: the machine, each group with its ratios, growth, and the targets."""

from __future__ import annotations

import json
import math
import os
import platform
from importlib.metadata import version
from pathlib import Path
from typing import TypeAlias

from benchmarks.plan import GROUPS, SCRIPT, TARGETS, Group, Target

Found: TypeAlias = dict[tuple[str, int], dict[str, float]]
LIBRARIES = ("numpy", "scipy", "pythoncdt", "ezdxf", "laspy", "shapely", "matplotlib", "startinpy")


def read(printed: str) -> dict[str, float]:
    return json.loads(printed.strip().splitlines()[-1])


def text(found: Found, starts: list[tuple[str, float, float, float]]) -> str:
    add_script(found)
    lines = ["# Results", "", *machine(), "", *targets(found, starts), ""]
    for group in GROUPS:
        lines += table(group, found)
    notes = Path(__file__).parent / "notes.md"
    return "\n".join([*lines, notes.read_text("utf-8")])


def machine() -> list[str]:
    names = Path("/proc/cpuinfo")
    model = platform.processor() or "unknown"
    if names.exists():
        model = next(
            line.split(":", 1)[1].strip()
            for line in names.read_text("utf-8").splitlines()
            if line.startswith("model name")
        )
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    kept = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return [
        "Written by `python -m benchmarks --write`. Seconds are processor seconds of the measured",
        "work in a process of its own, in turn; wall time says as much about who else used the",
        "machine. Peak is the greatest memory of the process. `x` is a time over that of the first",
        "column; `from 3%`: measured on a part, and divided by it. Compare ratios, not seconds.",
        "",
        f"- Machine: {model}, {os.cpu_count()} cores, {platform.system()}",
        f"- Python {platform.python_version()}, {kept}",
        f"- load at the end (1, 5, 15 min): {load}",
    ]


def add_script(found: Found) -> None:
    for n in {n for _, n in found}:
        steps = [found[name, n] for name in SCRIPT if (name, n) in found]
        if len(steps) == len(SCRIPT):
            found["script", n] = {
                "cpu": sum(step["cpu"] for step in steps),
                "wall": sum(step["wall"] for step in steps),
                "peak_mb": max(step["peak_mb"] for step in steps),
                "part": min(step["part"] for step in steps),
            }


def targets(found: Found, starts: list[tuple[str, float, float, float]]) -> list[str]:
    lines = ["## Targets", "", "| target | figure | |", "| --- | --- | --- |"]
    for what, limit, wall, cpu in starts:
        met = "pass" if cpu <= limit else "miss"
        lines.append(f"| {what} under {limit:g} s | {cpu:.2f} s ({wall:.2f} s wall) | {met} |")
    for target in TARGETS:
        figure = value(target, found)
        if figure is None:
            lines.append(f"| {target.text} | not measured | |")
            continue
        met = figure >= target.limit if target.at_least else figure <= target.limit
        unit = " x" if target.over else " s"
        lines.append(f"| {target.text} | {figure:.2f}{unit} | {'pass' if met else 'miss'} |")
    return lines


def value(target: Target, found: Found) -> float | None:
    key = "peak_mb" if target.memory else "wall" if target.wall else "cpu"
    top = found.get((target.case, target.size))
    below = found.get((target.over, target.over_size)) if target.over else None
    if top is None or (target.over and below is None):
        return None
    return top[key] / below[key] if below else top[key]


def table(group: Group, found: Found) -> list[str]:
    names = [name for name in group.cases if any((name, n) in found for n in group.sizes)]
    if group.cases[0] == "run lath" and names:
        names.append("script")
    if not names:
        return []
    lines = [f"## {group.title}", ""]
    if group.note:
        lines += [group.note, ""]
    lines += ["| n | " + " | ".join(names) + " |", "| --- |" + " --- |" * len(names)]
    for n in group.sizes:
        if any((name, n) in found for name in names):
            lines.append(f"| {n:,} | " + " | ".join(cell(found, names, name, n) for name in names)
                         + " |")  # fmt: skip
    lines.append(
        "| exponent | " + " | ".join(exponent(found, name, group) for name in names) + " |"
    )
    return [*lines, ""]


def cell(found: Found, names: list[str], name: str, n: int) -> str:
    one, first = found.get((name, n)), found.get((names[0], n))
    if one is None:
        return "-"
    ratio = f", {one['cpu'] / first['cpu']:.2g} x" if first and name != names[0] else ""
    part = f", from {one['part']:.0%}" if one["part"] < 1 else ""
    return f"{one['cpu']:.3g} s, {one['peak_mb']:.0f} MB{ratio}{part}"


def exponent(found: Found, name: str, group: Group) -> str:
    """Of the two largest sizes: 1 is in step with n."""
    sizes = [n for n in group.sizes if (name, n) in found]
    if len(sizes) < 2:
        return "-"
    a, b = sizes[-2:]
    return f"{math.log(found[name, b]['cpu'] / found[name, a]['cpu']) / math.log(b / a):.2f}"
