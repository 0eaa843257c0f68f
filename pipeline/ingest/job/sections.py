"""The cross-sections of a street: ``sections.toml``."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Literal

from pipeline.errors import DesignError
from pipeline.ingest.job.design_keys import Keys, design_text
from pipeline.ingest.job.section_changes import KINDS, read_changes
from pipeline.model import BreakRow, SectionLayer, SectionRow, SectionTable


def read_sections(path: Path) -> SectionTable:
    """The cross-sections of a ``sections.toml``.

    Parameters
    ----------
    path : Path
        ``[[section]]`` with ``name``, ``from``, ``to``, and under each
        ``[section.layers.<name>]`` with ``drop_m`` (crown below the profile),
        ``crown_offset_m``, ``right`` and ``left``: lists, from the crown outward, of
        ``{to, width_m, fall_pct}`` or ``{to, width_m, step_m}``; ``left`` may be
        ``"mirror"``. ``fall_pct`` + is down going away from the crown, ``step_m`` + is up.
        Besides, lists of what changes them by station, see `read_changes`.

    Returns
    -------
    SectionTable
        In the order of the file; whether the sections fit together is for the design to say.

    Raises
    ------
    DesignError
        The file cannot be read, is not TOML, has an unknown key or lacks one, or a
        value is not what belongs there. File, section, layer, entry and key are named.
    """
    try:
        top = Keys(path.name, tomllib.loads(design_text(path)))
    except (ValueError, RecursionError) as error:
        raise DesignError(path.name, f"it is not TOML: {error}", "correct it there") from None
    top.only("section", *KINDS)
    rows = [_section(keys) for keys in top.tables("section")]
    if not rows:
        top.refuse("section", "at least one [[section]]")
    return SectionTable(path.name, tuple(rows), read_changes(top))


def _section(keys: Keys) -> SectionRow:
    keys.only("name", "from", "to", "layers")
    name = keys.text("name")
    named = Keys(f"{keys.where} {name!r}", keys.values)
    start, end = named.station("from"), named.station("to")
    if not start < end:
        named.refuse("to", f"a station past {start:g}")
    layers = named.values.get("layers")
    if not isinstance(layers, dict) or not layers:
        named.refuse("layers", "at least one [section.layers.<name>]")
    return SectionRow(
        name=name,
        start=start,
        end=end,
        layers=tuple(_layer(named, layer, values) for layer, values in layers.items()),
        where=keys.where,
    )


def _layer(section: Keys, name: str, values: object) -> SectionLayer:
    if not isinstance(values, dict) or not name.strip():
        section.refuse("layers", "a named table for each layer, such as [section.layers.finish]")
    keys = Keys(f"{section.where}, layer {name!r}", values)
    keys.only("drop_m", "crown_offset_m", "right", "left")
    right = _half(keys, "right")
    left = right if keys.values.get("left") == "mirror" else _half(keys, "left")
    if not right and not left:
        keys.refuse("right", "at least one entry on one of the sides")
    return SectionLayer(
        name=name.strip(),
        right=right,
        left=left,
        drop=keys.number("drop_m", 0.0),
        crown_offset=keys.number("crown_offset_m", 0.0),
    )


def _half(keys: Keys, side: Literal["right", "left"]) -> tuple[BreakRow, ...]:
    if isinstance(keys.values.get(side), str) and side == "left":
        keys.refuse(side, 'a list of entries, or "mirror"')
    return tuple(_break(entry) for entry in keys.tables(side))


def _break(keys: Keys) -> BreakRow:
    keys.only("to", "width_m", "fall_pct", "step_m")
    name = keys.text("to")
    width = keys.number("width_m")
    if width < 0.0:
        keys.refuse("width_m", "a width in metres, not below zero")
    both = {"fall_pct", "step_m"} & keys.values.keys()
    if len(both) != 1:
        found = f"it gives {'both' if both else 'neither'} of fall_pct and step_m"
        raise DesignError(f"{keys.where} to {name!r}", found, "give exactly one of them")
    if "step_m" in keys.values:
        return BreakRow(name, width, step=keys.number("step_m"))
    return BreakRow(name, width, fall=keys.number("fall_pct") / 100.0)
