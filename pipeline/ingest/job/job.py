"""The job file: ``job.toml`` into `Job`, every mistake named with its line."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from dataclasses import fields, is_dataclass, replace
from functools import cache
from itertools import pairwise
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import JobError
from pipeline.ingest.source import shown
from pipeline.model.telling import counted
from pipeline.settings import Job

if TYPE_CHECKING:
    from pydantic import TypeAdapter

JOB_FILE = "job.toml"
MOST_MISTAKES = 20
"""Mistakes that are told one by one; the rest are counted."""
OWN_FIELDS = frozenset({"folder", "given"})
"""Fields that the reader sets, not the crew."""

RISING = (
    ("edge.watch_m", "edge.paint_m", "edge.stop_m"),
    ("bank.missing_m", "bank.least_m", "bank.most_m", "bank.heavy_m"),
    ("hazards.hand_m", "hazards.slow_m"),
    ("checks.control_warn_h_m", "checks.control_stop_h_m"),
    ("checks.control_warn_v_m", "checks.control_stop_v_m"),
    ("design.limits.crossfall_least_pct", "design.limits.crossfall_most_pct"),
)
"""Limits of one thing, the milder first: out of order, one of them would never be met."""


def read_job(folder: Path) -> Job:
    """The job in `folder`.

    Parameters
    ----------
    folder : Path
        The job folder, or its ``job.toml``.

    Returns
    -------
    Job
        With `folder` set and `given` holding the dotted keys that the file states.

    Raises
    ------
    JobError
        No such file, not TOML, an unknown key, a value of the wrong kind or out
        of range. All mistakes are listed at once, each with its line.
    """
    path = job_file(folder)
    text = _read_text(path)
    stated = _parse(path, text)
    job = _validate(path, text, stated)
    _check_layers(path, text, job)
    _check_orders(path, text, job)
    return replace(job, folder=path.parent.resolve(), given=frozenset(_dotted(stated)))


def job_file(folder: Path) -> Path:
    """The job file that `folder` means: the folder's, or the file itself."""
    return folder if folder.name == JOB_FILE else folder / JOB_FILE


def job_path(job: Job, relative: str) -> Path:
    """`relative` inside the job folder.

    Raises
    ------
    JobError
        The path leaves the job folder and the job does not say ``outside = true``.
    """
    try:
        path = (job.folder / relative).resolve()
    except (OSError, ValueError, RuntimeError):  # a zero in it; links that go round in a ring
        raise JobError(
            f"{JOB_FILE}, path {shown(repr(relative))}", "leads nowhere", "name a file of the job"
        ) from None
    if not job.outside and not path.is_relative_to(job.folder.resolve()):
        raise JobError(
            f"{JOB_FILE}, path {relative!r}",
            f"leads out of the job folder, to {path.name!r}",
            "move the file into the job folder, or state outside = true",
        )
    return path


def _read_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise JobError(str(path), "no such file", "name a job folder; it holds job.toml") from None
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(str(path), f"cannot be read ({error})", "save it as UTF-8 text") from None


def _parse(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError as error:  # a number of thousands of digits is no TOMLDecodeError
        hint = "see the place named"
        place = re.search(r"at line (\d+)", str(error))
        line = text.split("\n")[int(place[1]) - 1 if place else -1]
        if re.search(r"=\s*-?\d+,\d", line):
            hint = "write decimals with a point: 0.5, not 0,5"
        elif "\\" in line:
            hint = "write paths with / instead of \\"
        found = str(error).replace("Cannot overwrite a value", "one name stands there twice")
        raise JobError(path.name, f"not valid TOML, {shown(found, 120)}", hint) from None
    except RecursionError:
        raise JobError(path.name, "nested too deeply", "write the tables flat") from None


def _validate(path: Path, text: str, stated: dict[str, Any]) -> Job:
    from pydantic import ValidationError

    for name in OWN_FIELDS & stated.keys():
        raise JobError(
            f"{path.name} line {_line_of(text, [name])}, key {name!r}",
            "is set by the program",
            "leave it out",
        )
    try:
        # strict validation takes tables for dataclasses only from JSON
        return _adapter().validate_json(json.dumps(stated, default=str))
    except RecursionError:
        raise JobError(path.name, "nested too deeply", "write the tables flat") from None
    except ValidationError as error:
        found = error.errors()
        lines = [_mistake(text, detail) for detail in found[:MOST_MISTAKES]]
        if len(found) > MOST_MISTAKES:
            lines.append(f"and {len(found) - MOST_MISTAKES} more")
        raise JobError(
            path.name, "; ".join(lines), f"correct {counted(len(found), 'setting')}"
        ) from None


@cache
def _adapter() -> TypeAdapter[Job]:
    """What checks a job; making it takes longer than checking a hundred."""
    from pydantic import TypeAdapter

    return TypeAdapter(Job)


def _mistake(text: str, detail: Any) -> str:
    """``line 12, surface.max_edge_m = 'x': Input should be ...`` for one pydantic error."""
    keys = [part for part in detail["loc"] if not (isinstance(part, str) and "[" in part)]
    dotted = shown(".".join(str(part) for part in keys), 120)
    line = _line_of(text, [part for part in keys if isinstance(part, str)])
    if detail["type"] in {"unexpected_keyword_argument", "extra_forbidden"}:
        near = difflib.get_close_matches(str(keys[-1])[:80], _known_keys(), n=1)
        return f"line {line}, {dotted}: no such setting" + (
            f" (did you mean {near[0]!r}?)" if near else ""
        )
    if detail["type"] in {"missing", "missing_keyword_only_argument", "missing_argument"}:
        return f"line {line}, {dotted}: missing"
    return f"line {line}, {dotted} = {shown(repr(detail['input']), 120)}: {detail['msg']}"


def _known_keys() -> list[str]:
    import pipeline.settings as tables

    names: set[str] = set()
    for table in vars(tables).values():
        if isinstance(table, type) and is_dataclass(table):
            names.update(item.name for item in fields(table))
    return sorted(names - OWN_FIELDS)


def _line_of(text: str, keys: list[str]) -> int:
    """Line on which the last key that can be found is written; 1 where none is."""
    found, start = 1, 0
    lines = text.splitlines()
    for key in keys:
        word = rf"(?:{re.escape(key)}|\"{re.escape(key)}\"|'{re.escape(key)}')"
        pattern = re.compile(rf"^\s*(?:\[+(?:.*\.)?{word}(?:\..*)?\]+|(?:.*\.)?{word}\s*=)")
        for number in range(start, len(lines)):
            if pattern.match(lines[number]):
                found, start = number + 1, number
                break
    return found


def _dotted(table: dict[str, Any], prefix: str = "") -> list[str]:
    keys: list[str] = []
    for name, value in table.items():
        dotted = f"{prefix}{name}"
        keys.append(dotted)
        if isinstance(value, dict):
            keys.extend(_dotted(value, f"{dotted}."))
        elif isinstance(value, list):
            # tables of a list are counted from one, as a person does
            for place, one in enumerate(value, 1):
                keys.extend(_dotted(one, f"{dotted}.{place}.") if isinstance(one, dict) else ())
    return keys


def _check_layers(path: Path, text: str, job: Job) -> None:
    names = [layer.name for layer in job.layers]
    for name in names:
        if names.count(name) > 1:
            raise JobError(
                f"{path.name} line {_line_of(text, ['layers'])}",
                f"layer {name!r} is named twice",
                "give each layer its own name",
            )
    if job.target.layer not in names:
        raise JobError(
            f"{path.name} line {_line_of(text, ['target', 'layer'])}, target.layer",
            f"found {job.target.layer!r}, but the layers are {', '.join(names)}",
            "name one of them",
        )


def _check_orders(path: Path, text: str, job: Job) -> None:
    """Refuse limits of one thing that do not rise."""
    for keys in RISING:
        values = [attrgetter(key)(job) for key in keys]
        for (low, low_value), (high, value) in pairwise(zip(keys, values, strict=True)):
            if low_value > value:
                line = _line_of(text, high.split("."))
                raise JobError(
                    f"{path.name} line {line}, {high} = {value:g}",
                    f"is less than {low} = {low_value:g}",
                    "let the limits rise in this order",
                )
